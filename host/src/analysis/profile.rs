//! Every threshold the analysis uses, by name, with the grade of what stands behind it.
//!
//! All of them can be set. None of them is a standard: the only published band for pin torque
//! (GOST 24262-89, clause 1.2.6, friction moment in the finished upright: 7–20 N·m, tighter class
//! 9–17) was written for new uprights of its day.

use std::fmt;

/// How well a number of the trade is supported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Grade {
    /// A standard, handbook, paper or maker's table.
    Published,
    /// Common practice: several technicians agree, no citable source.
    Practice,
    /// One citable report: a data point, not a rule.
    OneReport,
    /// From memory, unconfirmed.
    Memory,
    /// Derived here from the others, or chosen by us.
    Derived,
    /// Set by the user of this program.
    User,
}

impl Grade {
    /// The short mark printed beside a number.
    pub const fn mark(self) -> &'static str {
        match self {
            Grade::Published => "PUB",
            Grade::Practice => "PRAC",
            Grade::OneReport => "ONE",
            Grade::Memory => "MEM",
            Grade::Derived => "DER",
            Grade::User => "USER",
        }
    }

    /// What the mark means, in a line for a legend.
    pub const fn meaning(self) -> &'static str {
        match self {
            Grade::Published => "a standard, handbook, paper or maker's table",
            Grade::Practice => "common practice, no citable source",
            Grade::OneReport => "one report: a data point, not a rule",
            Grade::Memory => "from memory, unconfirmed",
            Grade::Derived => "derived or chosen by this program",
            Grade::User => "set by the user",
        }
    }

    /// All grades, strongest first.
    pub const ALL: [Grade; 6] = [
        Grade::Published,
        Grade::Practice,
        Grade::OneReport,
        Grade::Memory,
        Grade::Derived,
        Grade::User,
    ];
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.mark())
    }
}

/// A threshold and what stands behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Graded {
    /// The number, in the unit its name ends with.
    pub value: f64,
    /// Its grade.
    pub grade: Grade,
    /// Where it comes from, in a few words.
    pub source: &'static str,
}

impl Graded {
    /// A threshold with its support.
    pub const fn new(value: f64, grade: Grade, source: &'static str) -> Graded {
        Graded { value, grade, source }
    }

    /// The same threshold set by the user.
    pub const fn set(self, value: f64) -> Graded {
        Graded { value, grade: Grade::User, source: "set by the user" }
    }
}

/// All thresholds. [`Profile::default`] is ours and is shown as ours.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Friction above which a pin is over-tight, N·m.
    pub over_tight_nm: Graded,
    /// Friction above which a pin is tight, N·m.
    pub tight_nm: Graded,
    /// Friction from which a pin is as new, N·m.
    pub as_new_nm: Graded,
    /// Friction from which a pin is serviceable, N·m.
    pub serviceable_nm: Graded,
    /// Friction below which a pin is doubtful, N·m.
    pub doubtful_nm: Graded,
    /// Friction below which a pin is failing, N·m.
    pub failing_nm: Graded,
    /// Holding factor below which a pin is doubtful.
    pub doubtful_factor: Graded,
    /// Holding factor below which a pin is failing.
    pub failing_factor: Graded,
    /// Holding factor below which a pin does not hold.
    pub not_holding_factor: Graded,
    /// Share doubtful or worse up to which single pins are treated.
    pub share_treat: Graded,
    /// Share up to which pins or a section are treated.
    pub share_section: Graded,
    /// Share up to which larger pins go into a section or the whole; above it, restring.
    pub share_restring: Graded,
    /// Coefficient of variation inside one plank above which it is suspicious.
    pub suspicious_variation: Graded,
    /// Share of sound planks on which at least one zone may be reported.
    pub false_alarm_rate: Graded,
    /// Risk of the wrong side that a settled band may carry (guard band).
    pub guard_risk: Graded,
    /// Highest confidence of `plank` while no parted plies have been seen.
    pub plank_confidence_cap: Graded,
    /// Highest confidence of a verdict when every torque is of a lever in doubt (not calibrated,
    /// its calibration unknown, or its check failed).
    pub doubted_lever_confidence_cap: Graded,
    /// Chance of being right below which the verdict is left open.
    pub undecided_below: Graded,
    /// Pins read below which torque alone decides nothing.
    pub pins_min: Graded,
    /// Pin diameter from which a pin counts as larger than a first stringing, micrometres.
    pub oversize_um: Graded,
    /// Largest practical pin diameter where the survey names none, micrometres.
    pub largest_pin_um: Graded,
    /// One step in pin size, micrometres.
    pub size_step_um: Graded,
    /// Friction gained per millimetre of pin diameter, N·m/mm: best guess.
    pub gain_nm_per_mm: Graded,
    /// Standard uncertainty of that gain, N·m/mm.
    pub gain_u_nm_per_mm: Graded,
    /// Relative humidity under which a plank is expected to have dried out, 0–1.
    pub dry_relative_humidity: Graded,
    /// Years the verdict looks ahead.
    pub horizon_years: Graded,
    /// Bootstrap planks drawn for the false-alarm rate.
    pub bootstrap_count: usize,
}

const GOST: &str = "edge of a band of GOST 24262-89 cl. 1.2.6 (new uprights), used as a default";
const TALK: &str = "technicians' talk of 50 and 30 in·lbf; disputed";
const OURS: &str = "our choice; no citable rule exists";

impl Default for Profile {
    fn default() -> Profile {
        use Grade::{Derived, Memory, OneReport, Practice};
        Profile {
            over_tight_nm: Graded::new(20.0, Derived, GOST),
            tight_nm: Graded::new(17.0, Derived, GOST),
            as_new_nm: Graded::new(9.0, Derived, GOST),
            serviceable_nm: Graded::new(7.0, Derived, GOST),
            doubtful_nm: Graded::new(5.6, Practice, TALK),
            failing_nm: Graded::new(3.4, Practice, TALK),
            doubtful_factor: Graded::new(1.5, Derived, OURS),
            failing_factor: Graded::new(1.2, Derived, OURS),
            not_holding_factor: Graded::new(1.0, Derived, "mechanics: friction below the pull"),
            share_treat: Graded::new(0.03, Derived, OURS),
            share_section: Graded::new(0.15, Derived, OURS),
            share_restring: Graded::new(0.40, Derived, OURS),
            suspicious_variation: Graded::new(0.25, Memory, "10–15 % is usual in a sound plank"),
            false_alarm_rate: Graded::new(0.01, Derived, OURS),
            guard_risk: Graded::new(0.05, Derived, "guard band after JCGM 106; risk is our choice"),
            plank_confidence_cap: Graded::new(0.7, Derived, OURS),
            doubted_lever_confidence_cap: Graded::new(0.7, Derived, OURS),
            undecided_below: Graded::new(0.5, Derived, OURS),
            pins_min: Graded::new(8.0, Derived, OURS),
            oversize_um: Graded::new(7_240.0, Memory, "size 3/0 is .286 in"),
            largest_pin_um: Graded::new(7_520.0, Memory, "practical top 4/0 to 5/0"),
            size_step_um: Graded::new(120.0, Memory, "steps are .004 to .006 in"),
            gain_nm_per_mm: Graded::new(
                40.0,
                OneReport,
                "one case of 56 in a dense multi-ply plank, part of it fresh thread",
            ),
            gain_u_nm_per_mm: Graded::new(25.0, Derived, "wide on purpose: fit trial pins"),
            dry_relative_humidity: Graded::new(0.40, Derived, OURS),
            horizon_years: Graded::new(5.0, Derived, OURS),
            bootstrap_count: 199,
        }
    }
}

impl Profile {
    /// Every threshold with its name and unit, for the report's table.
    pub fn thresholds(&self) -> Vec<(&'static str, &'static str, Graded)> {
        vec![
            ("over-tight above", "N·m", self.over_tight_nm),
            ("tight above", "N·m", self.tight_nm),
            ("as new from", "N·m", self.as_new_nm),
            ("serviceable from", "N·m", self.serviceable_nm),
            ("doubtful below", "N·m", self.doubtful_nm),
            ("failing below", "N·m", self.failing_nm),
            ("doubtful below, holding factor", "", self.doubtful_factor),
            ("failing below, holding factor", "", self.failing_factor),
            ("not holding below, holding factor", "", self.not_holding_factor),
            ("share to treat single pins, up to", "%", percent(self.share_treat)),
            ("share for pins or a section, up to", "%", percent(self.share_section)),
            ("share for larger pins, up to", "%", percent(self.share_restring)),
            ("spread suspicious above", "%", percent(self.suspicious_variation)),
            ("false zones on sound planks", "%", percent(self.false_alarm_rate)),
            ("risk a settled band carries", "%", percent(self.guard_risk)),
            (
                "highest confidence in a new plank on torque",
                "%",
                percent(self.plank_confidence_cap),
            ),
            (
                "highest confidence with a doubted lever",
                "%",
                percent(self.doubted_lever_confidence_cap),
            ),
            ("left open below a chance of", "%", percent(self.undecided_below)),
            ("left open below", "pins", self.pins_min),
            ("larger than first stringing from", "µm", self.oversize_um),
            ("largest practical pin", "µm", self.largest_pin_um),
            ("one size", "µm", self.size_step_um),
            ("friction gained per mm of pin", "N·m/mm", self.gain_nm_per_mm),
            ("its standard uncertainty", "N·m/mm", self.gain_u_nm_per_mm),
            ("dry room below, relative humidity", "%", percent(self.dry_relative_humidity)),
            ("horizon", "years", self.horizon_years),
        ]
    }
}

fn percent(share: Graded) -> Graded {
    Graded { value: share.value * 100.0, ..share }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn default_bands_are_in_order() {
        let p = Profile::default();
        let limits = [
            p.over_tight_nm,
            p.tight_nm,
            p.as_new_nm,
            p.serviceable_nm,
            p.doubtful_nm,
            p.failing_nm,
        ];
        assert!(limits.windows(2).all(|pair| pair[0].value > pair[1].value));
        assert!(p.doubtful_factor.value > p.failing_factor.value);
        assert!(p.share_treat.value < p.share_section.value);
    }

    #[test]
    fn a_set_threshold_says_who_set_it() {
        let limit = Profile::default().doubtful_nm.set(5.0);
        assert_eq!((limit.value, limit.grade), (5.0, Grade::User));
    }
}

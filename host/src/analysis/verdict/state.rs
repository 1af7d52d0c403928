//! What may ail a plank: the states the verdict weighs, how often each is met beforehand, and
//! what each would show.
//!
//! The numbers are ours (DER) and coarse on purpose; they turn the trade's pattern rules (graded
//! ONE, PRAC and MEM in `ZoneShape::usual_readings`) into chances that can be multiplied. None
//! was fitted to simulated planks; how much torque counts against the record was
//! ([`super::evidence`]).

use super::super::stats::{log_beta, log_normal_density};
use super::super::zones::ZoneShape;

/// A state of the plank. One is taken to rule the verdict, though several can be present.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlankState {
    /// Sound; single pins may be bad.
    Sound,
    /// Sound and very tight.
    Tight,
    /// Dried out or worn as a whole.
    Dried,
    /// A ply parted or split inside.
    Split,
    /// Fibre crushed along the flange.
    FlangeCrushed,
    /// Bad holes here and there.
    BadHoles,
    /// Oil or liquid in the wood.
    Contaminated,
    /// Already on larger pins, and loose again.
    OversizeLoose,
    /// A row drilled or fitted badly.
    RowBadlyDrilled,
    /// Pins hold; the plank has left its seat, or the fault is elsewhere.
    FaultElsewhere,
}

/// Chance that a plank with a fault in one place is dry or worn besides (DER).
const ALSO_DRY_CHANCE: f64 = 0.15;

/// Share of low sections that are no section but the last notes of the treble: one end of one of
/// some five (DER).
const HIGH_TREBLE_SHARE: f64 = 0.2;

/// Number of states.
pub const STATE_COUNT: usize = 10;

impl PlankState {
    /// All states.
    pub const ALL: [PlankState; STATE_COUNT] = [
        PlankState::Sound,
        PlankState::Tight,
        PlankState::Dried,
        PlankState::Split,
        PlankState::FlangeCrushed,
        PlankState::BadHoles,
        PlankState::Contaminated,
        PlankState::OversizeLoose,
        PlankState::RowBadlyDrilled,
        PlankState::FaultElsewhere,
    ];

    /// The state in words, as it follows "the plank is …" or "the likely state is …".
    pub const fn words(self) -> &'static str {
        match self {
            PlankState::Sound => "sound",
            PlankState::Tight => "sound and very tight",
            PlankState::Dried => "dried out or worn as a whole",
            PlankState::Split => "split or delaminated inside",
            PlankState::FlangeCrushed => "crushed along the flange",
            PlankState::BadHoles => "sound with bad holes here and there",
            PlankState::Contaminated => "contaminated in one place",
            PlankState::OversizeLoose => "on larger pins already and loose again",
            PlankState::RowBadlyDrilled => "low along one row by drilling or fitting",
            PlankState::FaultElsewhere => "holding its pins, with the fault elsewhere",
        }
    }

    /// Word for JSON.
    pub const fn word(self) -> &'static str {
        match self {
            PlankState::Sound => "sound",
            PlankState::Tight => "tight",
            PlankState::Dried => "dried",
            PlankState::Split => "split",
            PlankState::FlangeCrushed => "flange-crushed",
            PlankState::BadHoles => "bad-holes",
            PlankState::Contaminated => "contaminated",
            PlankState::OversizeLoose => "oversize-loose-again",
            PlankState::RowBadlyDrilled => "row-badly-drilled",
            PlankState::FaultElsewhere => "fault-elsewhere",
        }
    }

    /// Chance before any reading, for an instrument that somebody thought worth surveying. No count
    /// of planks is known that it could come from: sound ones most often, the rest near each other.
    pub const fn prior(self) -> f64 {
        match self {
            PlankState::Sound => 0.25,
            PlankState::Tight => 0.05,
            PlankState::Dried => 0.15,
            PlankState::Split => 0.10,
            PlankState::FlangeCrushed => 0.08,
            PlankState::BadHoles => 0.10,
            PlankState::Contaminated => 0.06,
            PlankState::OversizeLoose => 0.07,
            PlankState::RowBadlyDrilled => 0.03,
            PlankState::FaultElsewhere => 0.11,
        }
    }

    /// Chance that the gravest zone of a whole survey has this shape; `None`: no zone.
    pub const fn shape_chance(self, shape: Option<ZoneShape>) -> f64 {
        let [none, ragged, row, flange, patch, scattered, sections, everywhere] = match self {
            PlankState::Sound => [0.93, 0.005, 0.01, 0.005, 0.005, 0.03, 0.01, 0.005],
            PlankState::Tight => [0.95, 0.005, 0.01, 0.005, 0.005, 0.02, 0.004, 0.001],
            PlankState::Dried => [0.25, 0.01, 0.01, 0.03, 0.02, 0.10, 0.13, 0.45],
            PlankState::Split => [0.09, 0.68, 0.03, 0.06, 0.08, 0.03, 0.02, 0.01],
            PlankState::FlangeCrushed => [0.09, 0.02, 0.07, 0.72, 0.05, 0.03, 0.01, 0.01],
            PlankState::BadHoles => [0.15, 0.03, 0.01, 0.02, 0.04, 0.72, 0.02, 0.01],
            PlankState::Contaminated => [0.08, 0.04, 0.01, 0.06, 0.68, 0.07, 0.05, 0.01],
            PlankState::OversizeLoose => [0.06, 0.04, 0.01, 0.04, 0.05, 0.12, 0.54, 0.14],
            PlankState::RowBadlyDrilled => [0.10, 0.04, 0.78, 0.04, 0.01, 0.01, 0.01, 0.01],
            PlankState::FaultElsewhere => [0.92, 0.01, 0.01, 0.01, 0.01, 0.03, 0.005, 0.005],
        };
        match shape {
            None => none,
            Some(ZoneShape::RaggedLineInside) => ragged,
            Some(ZoneShape::WholeRow) => row,
            Some(ZoneShape::AlongFlange) => flange,
            Some(ZoneShape::Patch) => patch,
            Some(ZoneShape::HighTreble) => HIGH_TREBLE_SHARE * sections,
            Some(ZoneShape::Scattered) => scattered,
            Some(ZoneShape::WholeSection) => (1.0 - HIGH_TREBLE_SHARE) * sections,
            Some(ZoneShape::Everywhere) => everywhere,
        }
    }

    /// A fault in one place, beside which the plank can be dry or worn as well.
    const fn is_local(self) -> bool {
        matches!(
            self,
            PlankState::Split
                | PlankState::FlangeCrushed
                | PlankState::BadHoles
                | PlankState::Contaminated
                | PlankState::RowBadlyDrilled
        )
    }

    /// Logarithm of how well this many pins doubtful or worse among those read fit
    /// (beta-binomial; both may be fractions).
    pub fn log_share_fit(self, doubtful_count: f64, read_count: f64) -> f64 {
        let (a, b) = match self {
            PlankState::Sound | PlankState::FaultElsewhere => (0.6, 40.0),
            PlankState::Tight => (0.4, 60.0),
            PlankState::Dried => (1.1, 1.8),
            PlankState::OversizeLoose => (2.0, 7.0),
            _ => (1.6, 14.0),
        };
        let rest = (read_count - doubtful_count).max(0.0);
        let fit = log_beta(a + doubtful_count.max(0.0), b + rest) - log_beta(a, b);
        if self.is_local() {
            let dry = PlankState::Dried.log_share_fit(doubtful_count, read_count);
            mix(fit, dry, ALSO_DRY_CHANCE)
        } else {
            fit
        }
    }

    /// Logarithm of how well the level of the pins outside zones fits: its natural logarithm in
    /// N·m with this variance. New 9–13.6 and aged decent 5.6–7.9 N·m are practice (PRAC).
    pub fn log_level_fit(self, log_level: f64, variance: f64) -> f64 {
        let (centre_nm, sd) = match self {
            PlankState::Sound | PlankState::FaultElsewhere => (10.0, 0.22),
            PlankState::Tight => (17.5, 0.14),
            PlankState::Dried => (6.3, 0.25),
            _ => (9.5, 0.30),
        };
        let fit = heavy(log_level - libm::log(centre_nm), sd, variance);
        if self.is_local() {
            let dry = PlankState::Dried.log_level_fit(log_level, variance);
            mix(fit, dry, ALSO_DRY_CHANCE)
        } else {
            fit
        }
    }

    /// Logarithm of how well a relative scatter of ordinary pins fits. A sound plank has 10–15 %,
    /// over 25 % is suspicious (MEM).
    pub fn log_scatter_fit(self, scatter: f64, pin_count: usize) -> f64 {
        let (centre, sd) = match self {
            PlankState::Sound | PlankState::Tight | PlankState::FaultElsewhere => (0.125, 0.30),
            PlankState::Dried | PlankState::OversizeLoose => (0.19, 0.40),
            _ => (0.14, 0.40),
        };
        // A standard deviation from n pins has a relative variance of about 1/2n.
        let variance = 0.5 / (pin_count as f64 + 8.0);
        heavy(libm::log(scatter / centre), sd, variance)
    }

    /// Chance that somebody says the strings do not stay in tune for weeks, who may be wrong.
    pub const fn unstable_chance(self) -> f64 {
        match self {
            PlankState::Sound | PlankState::Tight => 0.08,
            PlankState::Dried => 0.65,
            PlankState::Split => 0.75,
            PlankState::FlangeCrushed => 0.65,
            PlankState::BadHoles => 0.65,
            PlankState::Contaminated => 0.70,
            PlankState::OversizeLoose => 0.85,
            PlankState::RowBadlyDrilled => 0.50,
            PlankState::FaultElsewhere => 0.96,
        }
    }

    /// Chances of what is seen where the plank can be seen: sound, plies parted, off the back.
    /// A clean edge clears little (ONE), so a split plank shows one nearly every second time.
    pub const fn sight_chances(self) -> [f64; 3] {
        match self {
            PlankState::Split => [0.42, 0.55, 0.03],
            PlankState::OversizeLoose => [0.80, 0.16, 0.04],
            PlankState::FaultElsewhere => [0.30, 0.02, 0.68],
            PlankState::Dried => [0.90, 0.06, 0.04],
            _ => [0.965, 0.015, 0.02],
        }
    }

    /// Chance that oil, stain or glue is seen at the pins.
    pub const fn stain_chance(self) -> f64 {
        match self {
            PlankState::Contaminated => 0.92,
            PlankState::BadHoles | PlankState::OversizeLoose | PlankState::Dried => 0.10,
            _ => 0.05,
        }
    }

    /// Chance that the loose pins are larger than a first stringing's, or than their neighbours.
    pub const fn oversize_chance(self) -> f64 {
        match self {
            PlankState::OversizeLoose => 0.95,
            PlankState::Split | PlankState::BadHoles | PlankState::Dried => 0.10,
            _ => 0.05,
        }
    }

    /// Chance that the room has been dry.
    pub const fn dry_room_chance(self) -> f64 {
        match self {
            PlankState::Dried => 0.60,
            PlankState::Split => 0.45,
            _ => 0.30,
        }
    }

    /// Chance that most loose pins feel spongy, without a clear knee.
    pub const fn spongy_chance(self) -> f64 {
        match self {
            PlankState::Contaminated => 0.55,
            PlankState::BadHoles => 0.10,
            _ => 0.05,
        }
    }
}

/// Logarithm of a mixture of two likelihoods given by their logarithms.
fn mix(main: f64, other: f64, other_share: f64) -> f64 {
    let top = main.max(other);
    let sum = (1.0 - other_share) * libm::exp(main - top) + other_share * libm::exp(other - top);
    top + libm::log(sum)
}

/// Normal with a twentieth of a law three times as wide: one odd number must not decide alone.
fn heavy(difference: f64, sd: f64, variance: f64) -> f64 {
    let narrow = log_normal_density(difference, 0.0, sd * sd + variance);
    let wide = log_normal_density(difference, 0.0, 9.0 * sd * sd + variance);
    libm::log(0.95 * libm::exp(narrow) + 0.05 * libm::exp(wide) + 1e-12)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_add_up() {
        let priors: f64 = PlankState::ALL.iter().map(|state| state.prior()).sum();
        assert!((priors - 1.0).abs() < 1e-12);
        for state in PlankState::ALL {
            let shapes = ZoneShape::ALL.into_iter().map(Some).chain([None]);
            let sum: f64 = shapes.map(|shape| state.shape_chance(shape)).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{state:?} {sum}");
            assert!((state.sight_chances().iter().sum::<f64>() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn absurd_levels_stay_finite() {
        for state in PlankState::ALL {
            assert!(state.log_level_fit(40.0, 0.0).is_finite());
            assert!(state.log_scatter_fit(1e-9, 0).is_finite());
            for (doubtful, read) in [(0.0, 0.0), (0.0, 250.0), (250.0, 250.0), (3.0, 2.0)] {
                assert!(state.log_share_fit(doubtful, read).is_finite());
            }
        }
    }
}

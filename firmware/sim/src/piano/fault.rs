//! The faults that can be hidden in an invented instrument, and the remedies that would be right.
//!
//! Deliberately not here: how a fault shows (see [`super::trouble`]) and how it might be found.

use core::fmt;
use core::str::FromStr;

/// What is wrong with an instrument's pins, if anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// Nothing.
    None,
    /// Dried out: lower and more scattered all over, bass first by holding factor.
    Dry,
    /// A cracked ply: a ragged part of one row inside the field, some pins in it still tight.
    Split,
    /// Crushed fibre along the plate flange, bass or low tenor.
    Flange,
    /// Single bad holes.
    Scattered,
    /// A patch of oil or dope across rows.
    Contaminated,
    /// Bass already on large pins, and loose again.
    RespunBass,
    /// All strings 100 cents flat, plank sound.
    FlatPitch,
    /// New and very tight.
    TightNew,
    /// Plank off the back: torque normal, tuning unstable.
    OffBack,
}

/// How plain the fault is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Well beyond any decision limit.
    Plain,
    /// Near the limits.
    Marginal,
}

impl Severity {
    /// Both, plain first.
    pub const ALL: [Severity; 2] = [Severity::Plain, Severity::Marginal];
}

impl fmt::Display for Severity {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(match self {
            Severity::Plain => "plain",
            Severity::Marginal => "marginal",
        })
    }
}

/// The name is not that of a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownFault {
    /// The name given.
    pub name: String,
}

impl fmt::Display for UnknownFault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "no fault is called {:?}; known are", self.name)?;
        for fault in Fault::ALL {
            write!(formatter, " {fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for UnknownFault {}

impl Fault {
    /// Every fault, in the order they are listed in.
    pub const ALL: [Fault; 10] = [
        Fault::None,
        Fault::Dry,
        Fault::Split,
        Fault::Flange,
        Fault::Scattered,
        Fault::Contaminated,
        Fault::RespunBass,
        Fault::FlatPitch,
        Fault::TightNew,
        Fault::OffBack,
    ];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Fault::None => "none",
            Fault::Dry => "dry",
            Fault::Split => "split",
            Fault::Flange => "flange",
            Fault::Scattered => "scattered",
            Fault::Contaminated => "contaminated",
            Fault::RespunBass => "respun-bass",
            Fault::FlatPitch => "flat-pitch",
            Fault::TightNew => "tight-new",
            Fault::OffBack => "off-back",
        }
    }

    /// Remedies that a careful technician could defend, the best first.
    ///
    /// They follow the trade's reading of patterns (PRAC and ONE, none of them a rule) and our
    /// proposed, settable shares of doubtful pins (under 3 %, 3–15 %, 15–40 %, over 40 %).
    pub const fn accepted(self, severity: Severity) -> &'static [&'static str] {
        match (self, severity) {
            // Friction and holding factor sound everywhere: touching it would be harm.
            (Fault::None, _) => &["leave"],
            // Most pins doubtful, plies sound, pins small: all on larger pins; but a dry plank
            // may recover in a humid spell (ONE: twenty pins in a month), so climate first is right
            // too. Larger pins without restringing is the same cure short of new wire.
            (Fault::Dry, Severity::Plain) => &["restring", "larger", "climate"],
            // A minority doubtful: stabilise and retest first, or larger pins where it is weak.
            // Restringing the whole would be out of proportion.
            (Fault::Dry, Severity::Marginal) => &["climate", "larger"],
            // A ragged line inside the field is usually a cracked ply: a new plank, with things
            // to confirm first; or the row repaired with plugs or an inlay on a modest piano.
            // Larger pins would drive the crack wider.
            (Fault::Split, _) => &["plank", "repair-block"],
            // Often only crushed fibre: treat or larger pins; rebush where pins lean in a bushed
            // plate. It clears no crack, but a plank on this alone is out of proportion.
            (Fault::Flange, _) => &["treat", "larger", "rebush"],
            // Single bad holes in sound wood are the hopeful case: treat them pin by pin; larger
            // pins in those holes are the next step.
            (Fault::Scattered, _) => &["treat", "larger"],
            // Oil keeps glue from holding and spoils a larger pin's fit, so the wood has to go:
            // plug and redrill the patch (repair-block), or hole by hole (a treatment of single
            // pins).
            (Fault::Contaminated, Severity::Plain) => &["repair-block", "treat"],
            // Slight contamination: one size larger may still reach clean wood.
            (Fault::Contaminated, Severity::Marginal) => &["treat", "repair-block", "larger"],
            // Already oversize and loose again: no practical size left (ONE, several agree).
            (Fault::RespunBass, _) => &["plank", "repair-block"],
            // The plank is sound; pitch is a tuner's business.
            (Fault::FlatPitch, _) => &["leave"],
            // Tight is not broken.
            (Fault::TightNew, _) => &["leave"],
            // Good torque with poor stability is a fault elsewhere (PRAC).
            (Fault::OffBack, _) => &["elsewhere"],
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(self.name())
    }
}

impl FromStr for Fault {
    type Err = UnknownFault;

    fn from_str(name: &str) -> Result<Fault, UnknownFault> {
        let found = Fault::ALL.into_iter().find(|fault| fault.name() == name);
        found.ok_or_else(|| UnknownFault { name: name.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_go_both_ways() {
        for fault in Fault::ALL {
            assert_eq!(fault.to_string().parse::<Fault>(), Ok(fault));
        }
        let error = "spilt".parse::<Fault>().unwrap_err();
        assert!(error.to_string().contains("\"spilt\"") && error.to_string().contains("off-back"));
    }

    #[test]
    fn every_fault_accepts_some_remedy_and_only_known_ones() {
        let known = [
            "leave",
            "climate",
            "treat",
            "larger",
            "restring",
            "rebush",
            "repair-block",
            "plank",
            "elsewhere",
        ];
        for fault in Fault::ALL {
            for severity in Severity::ALL {
                let accepted = fault.accepted(severity);
                assert!(!accepted.is_empty());
                assert!(accepted.iter().all(|remedy| known.contains(remedy)));
            }
        }
    }
}

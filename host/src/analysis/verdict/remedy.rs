//! Remedies, and how well each would suit each state of the plank.
//!
//! A suitability is the chance that, were the plank in that state, a good technician would call
//! the remedy a right answer. Several remedies can be right, so suitabilities of one state do
//! not add up to 1. The numbers are ours (DER); they follow the trade's shares: under 3 % treat,
//! 3–15 % pins or a section, 15–40 % larger pins, above that restring or plank. No citable rule
//! turns a share into an action.

use super::super::input::{Condition, Estimate};
use super::super::profile::Profile;
use super::super::stats::probability_below;
use super::state::PlankState;

/// A remedy with its size where it has one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remedy {
    /// Do nothing to the plank.
    Leave,
    /// Stabilise the climate and retest.
    Climate,
    /// Treat single pins: tap, shim, glue, longer pin, plug.
    Treat,
    /// Larger pins in places.
    Larger {
        /// Diameter fitted now, micrometres, when known.
        from_um: Option<u32>,
        /// Diameter to fit, micrometres, when it can be told.
        to_um: Option<u32>,
        /// Pins to change.
        pin_count: usize,
    },
    /// The whole instrument on larger pins.
    Restring {
        /// Diameter to fit, micrometres, when it can be told.
        to_um: Option<u32>,
    },
    /// New plate bushings.
    Rebush,
    /// Plug a row or section, inlay, refit to the back.
    RepairBlock,
    /// A new plank.
    Plank,
    /// Not the plank: look elsewhere.
    Elsewhere,
    /// Not worth repairing.
    NotWorth,
    /// Cannot be told yet.
    Undecided,
}

/// A remedy without its size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RemedyKind {
    /// See [`Remedy::Leave`].
    Leave,
    /// See [`Remedy::Climate`].
    Climate,
    /// See [`Remedy::Treat`].
    Treat,
    /// See [`Remedy::Larger`].
    Larger,
    /// See [`Remedy::Restring`].
    Restring,
    /// See [`Remedy::Rebush`].
    Rebush,
    /// See [`Remedy::RepairBlock`].
    RepairBlock,
    /// See [`Remedy::Plank`].
    Plank,
    /// See [`Remedy::Elsewhere`].
    Elsewhere,
    /// See [`Remedy::NotWorth`].
    NotWorth,
    /// See [`Remedy::Undecided`].
    Undecided,
}

impl Remedy {
    /// Without its size.
    pub const fn kind(self) -> RemedyKind {
        match self {
            Remedy::Leave => RemedyKind::Leave,
            Remedy::Climate => RemedyKind::Climate,
            Remedy::Treat => RemedyKind::Treat,
            Remedy::Larger { .. } => RemedyKind::Larger,
            Remedy::Restring { .. } => RemedyKind::Restring,
            Remedy::Rebush => RemedyKind::Rebush,
            Remedy::RepairBlock => RemedyKind::RepairBlock,
            Remedy::Plank => RemedyKind::Plank,
            Remedy::Elsewhere => RemedyKind::Elsewhere,
            Remedy::NotWorth => RemedyKind::NotWorth,
            Remedy::Undecided => RemedyKind::Undecided,
        }
    }

    /// The word in reports and in JSON.
    pub const fn word(self) -> &'static str {
        self.kind().word()
    }
}

impl RemedyKind {
    /// Remedies that are weighed against each other, gentlest first.
    pub const WEIGHED: [RemedyKind; 10] = [
        RemedyKind::Leave,
        RemedyKind::Climate,
        RemedyKind::Elsewhere,
        RemedyKind::Treat,
        RemedyKind::Rebush,
        RemedyKind::Larger,
        RemedyKind::Restring,
        RemedyKind::RepairBlock,
        RemedyKind::Plank,
        RemedyKind::NotWorth,
    ];

    /// The word in reports and in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            RemedyKind::Leave => "leave",
            RemedyKind::Climate => "climate",
            RemedyKind::Treat => "treat",
            RemedyKind::Larger => "larger",
            RemedyKind::Restring => "restring",
            RemedyKind::Rebush => "rebush",
            RemedyKind::RepairBlock => "repair-block",
            RemedyKind::Plank => "plank",
            RemedyKind::Elsewhere => "elsewhere",
            RemedyKind::NotWorth => "not-worth",
            RemedyKind::Undecided => "undecided",
        }
    }

    /// What it means, for a customer.
    pub const fn sentence(self) -> &'static str {
        match self {
            RemedyKind::Leave => "Leave the pins and the plank as they are.",
            RemedyKind::Climate => "Steady the room's climate, wait some weeks and read again.",
            RemedyKind::Treat => {
                "Treat the bad pins one by one: tap, shim, thin glue, longer pin, or plug."
            }
            RemedyKind::Larger => "Fit larger pins where they are loose.",
            RemedyKind::Restring => "Restring the whole on larger pins.",
            RemedyKind::Rebush => "Renew the plate bushings, in line with the holes of the plank.",
            RemedyKind::RepairBlock => {
                "Repair the plank in place: plug a row or section, inlay, or refit it."
            }
            RemedyKind::Plank => "A new plank looks needed; confirm by eye before acting.",
            RemedyKind::Elsewhere => "The pins hold. Look for the fault elsewhere.",
            RemedyKind::NotWorth => "The repair looks larger than the piano is worth to its owner.",
            RemedyKind::Undecided => "Not to be told yet from what was measured and seen.",
        }
    }

    /// It cannot be undone once begun.
    pub const fn is_irreversible(self) -> bool {
        use RemedyKind::{Larger, Plank, Rebush, RepairBlock, Restring, Treat};
        matches!(self, Treat | Larger | Restring | Rebush | RepairBlock | Plank)
    }

    /// Taken off a suitability when remedies are ranked, so that of two equally right answers
    /// the gentler one leads (DER).
    pub const fn burden(self) -> f64 {
        match self {
            RemedyKind::Leave | RemedyKind::Elsewhere | RemedyKind::Undecided => 0.0,
            RemedyKind::Climate => 0.01,
            RemedyKind::Treat => 0.02,
            RemedyKind::Rebush | RemedyKind::Larger => 0.04,
            RemedyKind::Restring => 0.06,
            RemedyKind::RepairBlock => 0.07,
            RemedyKind::Plank => 0.09,
            RemedyKind::NotWorth => 0.05,
        }
    }
}

/// What bears on remedies beside the state of the plank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circumstances {
    /// Chances that the share doubtful or worse lies in each part of the share table.
    pub share_chances: [f64; 4],
    /// Chance that single pins want treatment whatever the plank's state.
    pub treat_chance: f64,
    /// Chance that a larger size still fits.
    pub room: f64,
    /// Chance that up to two sizes larger bring the loose pins back to serviceable.
    pub larger_success: f64,
    /// Of larger pins that may not do it, the part hoped for all the same, 0–1: what is known of
    /// their gain is a guess until trial pins were read.
    pub larger_hope: f64,
    /// Chance that the typical pin is only weak, not yet doubtful.
    pub only_weak: f64,
    /// The room has been dry; `None` unknown.
    pub dry_room: Option<bool>,
    /// The plate has wooden bushings; `None` unknown.
    pub bushed: Option<bool>,
    /// Worth repairing at the owner's ceiling; `None` unknown.
    pub worth: Option<bool>,
    /// It does not stay in tune; `None` unknown.
    pub unstable: Option<bool>,
}

/// Chances that a share lies in each part of the share table.
pub fn share_chances(share: Estimate, profile: &Profile) -> [f64; 4] {
    let below = |limit: f64| probability_below(limit, share.value, share.u.max(0.004));
    let treat = below(profile.share_treat.value);
    let section = below(profile.share_section.value).max(treat);
    let restring = below(profile.share_restring.value).max(section);
    [treat, section - treat, restring - section, 1.0 - restring]
}

/// Largest diameter that can be fitted, micrometres.
pub fn largest_um(condition: &Condition, profile: &Profile) -> f64 {
    let told = condition.largest_pin_um.filter(|d| (6_000..=9_000).contains(d));
    told.map_or(profile.largest_pin_um.value, f64::from)
}

/// The table's numbers are what one technician would say of another's choice, seldom above nineteen
/// in twenty. Whether a choice is among those that can be defended is surer than that, and the
/// chance stated with a verdict is a chance of just that: log odds times this. One number, from
/// 1300 invented instruments, single faults and mixed ones (tuning seeds 2000–2899 and 3000–3399),
/// where stated and true shares then agree; it hardly moves which remedy leads.
const FIRMNESS: f64 = 1.75;
/// Nothing is surer than this, either way.
const SUITABILITY_MIN: f64 = 0.001;

/// Suitability of a remedy in a state.
pub fn suitability(remedy: RemedyKind, state: PlankState, c: &Circumstances) -> f64 {
    let plain = tabled(remedy, state, c).clamp(SUITABILITY_MIN, 1.0 - SUITABILITY_MIN);
    let odds = libm::exp(FIRMNESS * libm::log(plain / (1.0 - plain)));
    odds / (1.0 + odds)
}

/// The table of suitabilities. Longer than most functions: it is one table, kept whole.
fn tabled(remedy: RemedyKind, state: PlankState, c: &Circumstances) -> f64 {
    let by_share = |row: [f64; 4]| {
        row.iter().zip(c.share_chances).fold(0.0, |sum, (suits, chance)| sum + suits * chance)
    };
    // Larger pins need a size that fits and wood that still grips.
    let grows = c.room * (c.larger_hope + (1.0 - c.larger_hope) * c.larger_success);
    let climate = match c.dry_room {
        Some(true) => 1.0,
        None => 0.75,
        Some(false) => 0.25,
    };
    // In a dry room a plank that is only weak may come back: humidity first, pins after.
    let wait = if c.dry_room == Some(true) { c.only_weak } else { 0.0 };
    let astray = if c.unstable == Some(true) { 1.0 } else { 0.0 };
    let bushed = match c.bushed {
        Some(true) => 1.0,
        None => 0.3,
        Some(false) => 0.0,
    };
    use PlankState as S;
    use RemedyKind as R;
    match (remedy, state) {
        // Whether two or three bad pins of a sound plank are treated or left and watched, careful
        // technicians disagree; what does not stay in tune is not left.
        (R::Leave, S::Sound | S::Tight) => 0.98 - 0.45 * c.treat_chance - 0.6 * astray,
        (R::Leave, S::Dried) => by_share([0.7, 0.1, 0.0, 0.0]),
        (R::Leave, S::FaultElsewhere) => 0.15,
        (R::Leave, S::BadHoles) => by_share([0.25, 0.0, 0.0, 0.0]),
        (R::Leave, S::RowBadlyDrilled) => by_share([0.85, 0.2, 0.0, 0.0]),
        (R::Leave, _) => by_share([0.15, 0.0, 0.0, 0.0]),

        (R::Climate, S::Dried) => {
            climate * by_share([0.97, 0.92, 0.55 + 0.35 * wait, 0.15 + 0.35 * wait])
        }
        (R::Climate, _) => 0.05,

        (R::Elsewhere, S::FaultElsewhere) => 0.97,
        // Pins that hold, and yet it does not stay in tune: a fault elsewhere (PRAC).
        // Pins that do not hold would be reason enough.
        (R::Elsewhere, S::Sound | S::Tight) => 0.4 * astray * (1.0 - 0.7 * c.treat_chance),
        (R::Elsewhere, _) => 0.0,

        (R::Treat, S::Sound | S::Tight) => {
            (0.1 + 0.85 * c.treat_chance) * (1.0 - 0.6 * astray * (1.0 - c.treat_chance))
        }
        (R::Treat, S::FlangeCrushed) => by_share([0.97, 0.95, 0.45, 0.1]),
        (R::Treat, S::BadHoles) => by_share([0.97, 0.95, 0.5, 0.1]),
        (R::Treat, S::RowBadlyDrilled) => by_share([0.7, 0.7, 0.4, 0.1]),
        (R::Treat, S::Contaminated) => by_share([0.55, 0.45, 0.2, 0.0]),
        (R::Treat, S::Dried) => by_share([0.4, 0.45, 0.1, 0.0]),
        (R::Treat, S::Split) => by_share([0.35, 0.2, 0.05, 0.0]),
        (R::Treat, S::OversizeLoose) => by_share([0.3, 0.2, 0.05, 0.0]),
        (R::Treat, S::FaultElsewhere) => 0.05 + 0.2 * c.treat_chance,

        (R::Rebush, S::FlangeCrushed) => 0.8 * bushed,
        (R::Rebush, _) => 0.05 * bushed,

        (R::Larger, S::FlangeCrushed) => grows * by_share([0.75, 0.9, 0.9, 0.5]),
        (R::Larger, S::BadHoles) => grows * by_share([0.6, 0.8, 0.95, 0.6]),
        (R::Larger, S::RowBadlyDrilled) => grows * by_share([0.7, 0.95, 0.9, 0.5]),
        (R::Larger, S::Dried) => grows * (1.0 - 0.3 * wait) * by_share([0.15, 0.8, 0.97, 0.75]),
        (R::Larger, S::Contaminated) => grows * by_share([0.5, 0.6, 0.5, 0.3]),
        (R::Larger, S::Split) => grows * by_share([0.3, 0.3, 0.2, 0.1]),
        (R::Larger, S::OversizeLoose) => grows * by_share([0.3, 0.3, 0.3, 0.2]),
        (R::Larger, S::Sound | S::Tight) => grows * by_share([0.02, 0.15, 0.4, 0.5]),
        (R::Larger, S::FaultElsewhere) => 0.02,

        (R::Restring, S::Dried) => grows * (1.0 - 0.3 * wait) * by_share([0.0, 0.25, 0.8, 0.97]),
        (R::Restring, S::BadHoles) => grows * by_share([0.0, 0.1, 0.5, 0.9]),
        (R::Restring, S::OversizeLoose) => grows * by_share([0.0, 0.1, 0.2, 0.2]),
        (R::Restring, _) => grows * by_share([0.0, 0.05, 0.2, 0.4]),

        (R::RepairBlock, S::Split) => by_share([0.9, 0.85, 0.7, 0.4]),
        (R::RepairBlock, S::Contaminated) => by_share([0.85, 0.93, 0.8, 0.4]),
        (R::RepairBlock, S::OversizeLoose) => by_share([0.75, 0.8, 0.7, 0.4]),
        (R::RepairBlock, S::FlangeCrushed) => by_share([0.3, 0.45, 0.55, 0.4]),
        (R::RepairBlock, S::RowBadlyDrilled) => by_share([0.3, 0.5, 0.5, 0.3]),
        (R::RepairBlock, S::FaultElsewhere) => 0.2,
        (R::RepairBlock, _) => by_share([0.02, 0.1, 0.15, 0.1]),

        (R::Plank, S::Split) => by_share([0.8, 0.92, 0.97, 0.98]),
        (R::Plank, S::OversizeLoose) => by_share([0.6, 0.85, 0.95, 0.98]),
        (R::Plank, S::Contaminated) => by_share([0.1, 0.25, 0.5, 0.8]),
        (R::Plank, S::Dried) => {
            by_share([0.0, 0.02, 0.08, 0.3]) + 0.5 * c.share_chances[3] * (1.0 - grows)
        }
        (R::Plank, S::FlangeCrushed) => by_share([0.02, 0.1, 0.3, 0.6]),
        (R::Plank, S::BadHoles | S::RowBadlyDrilled) => by_share([0.0, 0.03, 0.15, 0.4]),
        (R::Plank, _) => 0.01,

        (R::NotWorth, S::Sound | S::Tight | S::FaultElsewhere) => 0.0,
        (R::NotWorth, S::Split | S::OversizeLoose) if c.worth == Some(false) => 0.95,
        (R::NotWorth, _) if c.worth == Some(false) => by_share([0.0, 0.1, 0.7, 0.95]),
        (R::NotWorth | R::Undecided, _) => 0.0,
    }
}

/// Remedies with their chance of being a right answer, best first after burden.
pub fn rank(state_chances: &[f64], circumstances: &Circumstances) -> Vec<(RemedyKind, f64)> {
    let mut ranked: Vec<(RemedyKind, f64)> = RemedyKind::WEIGHED
        .into_iter()
        .map(|remedy| {
            let chance = PlankState::ALL
                .iter()
                .zip(state_chances)
                .fold(0.0, |sum, (state, p)| sum + p * suitability(remedy, *state, circumstances));
            (remedy, chance.clamp(0.0, 1.0))
        })
        .collect();
    ranked
        .sort_by(|a, b| (b.1 - b.0.burden()).total_cmp(&(a.1 - a.0.burden())).then(a.0.cmp(&b.0)));
    ranked
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circumstances(share_chances: [f64; 4]) -> Circumstances {
        Circumstances {
            share_chances,
            treat_chance: 0.2,
            room: 1.0,
            larger_success: 0.8,
            larger_hope: 0.55,
            only_weak: 0.5,
            dry_room: None,
            bushed: None,
            worth: None,
            unstable: None,
        }
    }

    #[test]
    fn suitabilities_are_chances() {
        for state in PlankState::ALL {
            for remedy in RemedyKind::WEIGHED {
                for bin in 0..4 {
                    let mut chances = [0.0; 4];
                    chances[bin] = 1.0;
                    let suits = suitability(remedy, state, &circumstances(chances));
                    assert!((0.0..=1.0).contains(&suits), "{remedy:?} {state:?} {suits}");
                }
            }
        }
    }

    #[test]
    fn every_state_has_a_good_answer() {
        for (i, state) in PlankState::ALL.iter().enumerate() {
            let mut certain = [0.0; PlankState::ALL.len()];
            certain[i] = 1.0;
            let best = rank(&certain, &circumstances([0.3, 0.7, 0.0, 0.0]))[0];
            assert!(best.1 > 0.6, "{state:?} {best:?}");
        }
    }

    #[test]
    fn a_ragged_line_overrides_the_share() {
        let mut split = [0.0; PlankState::ALL.len()];
        split[3] = 1.0;
        for share in [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]] {
            let best = rank(&split, &circumstances(share))[0].0;
            assert!(matches!(best, RemedyKind::Plank | RemedyKind::RepairBlock), "{best:?}");
        }
    }
}

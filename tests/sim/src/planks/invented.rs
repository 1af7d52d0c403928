//! Planks of the physics simulator's invented pianos, as this harness holds planks.
//!
//! Deliberately not here: how they are invented.

use pinhold::cli::demo::{condition_of, instrument_of};
use pinhold_sim::piano::{Fault, Piano, Plan, Severity};

use super::{Generator, Plank, PlankFault, Role, TruePin};

/// The simulator's fault for one of ours; the nearest where it has none of the kind.
const fn fault_of(fault: PlankFault, seed: u64) -> Fault {
    match fault {
        // Three kinds of sound plank, by turns.
        PlankFault::Sound | PlankFault::Restrung => match seed % 4 {
            0 => Fault::FlatPitch,
            1 => Fault::TightNew,
            _ => Fault::None,
        },
        PlankFault::OffBack => Fault::OffBack,
        PlankFault::SplitInside | PlankFault::SplitUnderStrut => Fault::Split,
        PlankFault::FlangeLine | PlankFault::WholeRow => Fault::Flange,
        PlankFault::Patch | PlankFault::HighTreble => Fault::Contaminated,
        PlankFault::Scattered => Fault::Scattered,
        PlankFault::Dry => Fault::Dry,
        PlankFault::RespunBass | PlankFault::LowSection => Fault::RespunBass,
    }
}

/// Faults of ours that the simulator has too.
pub(super) const fn has(fault: PlankFault) -> bool {
    !matches!(
        fault,
        PlankFault::Restrung
            | PlankFault::SplitUnderStrut
            | PlankFault::WholeRow
            | PlankFault::HighTreble
            | PlankFault::LowSection
    )
}

fn plan_of(seed: u64) -> Plan {
    match seed % 5 {
        0 => Plan::upright_88(seed),
        1 => Plan::upright_85(seed),
        _ => Plan::grand_88(seed),
    }
}

pub(super) fn drawn(fault: PlankFault, severity: Severity, seed: u64) -> Plank {
    let piano = Piano::invent_with(plan_of(seed), seed, fault_of(fault, seed), severity);
    let all_are_loose = matches!(fault, PlankFault::Dry);
    let pins = piano
        .pins
        .iter()
        .map(|pin| TruePin {
            smooth_nm: pin.resisting_nm(),
            sound_nm: pin.resisting_nm(),
            friction_nm: pin.resisting_nm(),
            moment_at_pitch_nm: pin.moment_at_pitch_nm,
            role: if pin.loose || all_are_loose { Role::Loose } else { Role::Sound },
        })
        .collect();
    Plank {
        seed,
        generator: Generator::Invented,
        fault,
        severity,
        instrument: instrument_of(&piano, "Invented"),
        condition: condition_of(&piano.facts),
        pins,
        recipe: String::new(),
    }
}

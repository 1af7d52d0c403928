//! Instruments that do not fit one drawer: two faults at once, faults that hardly show, planks
//! generally higher or lower than others, and a record in which people were wrong.
//!
//! They are for asking how sure a verdict may be, where single faults would let any verdict look
//! right. Shares and ranges are invented; which remedies are right follows from the parts
//! ([`Fault::accepted`]) and from how many pins are truly doubtful.
//!
//! Deliberately not here: any judgement of a verdict.

use super::{Facts, Fault, Piano, Plan, PlankSight, Severity, invent, trouble};
use crate::rng::Random;

/// Friction from which a pin is no longer called doubtful, N·m (PRAC, in several places).
const DOUBTFUL_NM: f64 = 5.6;
/// So many doubtful pins may be left and watched.
const LEFT_COUNT_MAX: usize = 2;

/// Chance of a second fault in one place.
const SECOND_CHANCE: f64 = 0.45;
/// Chance that faults show less than they would alone, and by how much at most, as a share.
const SOFTENED_CHANCE: f64 = 0.5;
const SOFTENED_MAX: f64 = 0.8;
/// Chance that the whole plank is off its class, and by how much at most, natural-log units.
const SHIFTED_CHANCE: f64 = 0.4;
const SHIFT_MAX: f64 = 0.2;
/// Chances that the record is wrong about tuning and about stain, and that an edge of a split
/// plank looks sound.
const TUNE_WRONG_CHANCE: f64 = 0.04;
const STAIN_WRONG_CHANCE: f64 = 0.06;
const CLEAN_EDGE_CHANCE: f64 = 0.15;
/// Chance that anybody knows how it holds its tune, and that one or two doubtful pins are heard.
const TUNE_KNOWN_CHANCE: f64 = 0.8;
const FEW_HEARD_CHANCE: f64 = 0.5;
/// Shares of doubtful pins of a dry plank: from the first, restringing the whole is in proportion,
/// and below the second so is anything short of it. Between them opinions differ.
const DRY_PLAIN_FROM: f64 = 0.3;
const DRY_MARGINAL_TO: f64 = 0.5;

/// Faults in one place, of which a second may be added to any first.
const LOCAL: [Fault; 4] = [Fault::Split, Fault::Flange, Fault::Scattered, Fault::Contaminated];

/// An instrument with what ails it, all of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixed {
    /// The instrument; its fault and severity are those of the first part.
    pub piano: Piano,
    /// Truth: a second fault, where there is one.
    pub second: Option<(Fault, Severity)>,
    /// Truth: pins below what is called doubtful.
    pub doubtful_count: usize,
    /// Truth: remedies that a careful technician could defend, in no order.
    pub accepted: Vec<&'static str>,
}

impl Piano {
    /// Invents an 88-note grand in which more than one thing may be wrong, or hardly any.
    pub fn invent_mixed(seed: u64) -> Mixed {
        let root = Random::new(seed).fork("mixed");
        let mut random = root.fork("parts");
        let severity = |random: &mut Random| Severity::ALL[random.whole(0, 1)];
        let first = Fault::ALL[random.whole(0, Fault::ALL.len() - 1)];
        let first_severity = severity(&mut random);
        let other = LOCAL[random.whole(0, LOCAL.len() - 1)];
        let second = (random.chance(SECOND_CHANCE) && other != first)
            .then(|| (other, severity(&mut random)));
        let mut piano = invent::invent(Plan::grand_88(seed), seed, first, first_severity);
        if let Some((fault, severity)) = second {
            trouble::inflict(fault, severity, &mut piano.pins, &mut root.fork("second"));
        }
        if random.chance(SOFTENED_CHANCE) {
            soften(&mut piano, random.uniform(0.0, SOFTENED_MAX));
        }
        if random.chance(SHIFTED_CHANCE) {
            shift(&mut piano, libm::exp(random.uniform(-SHIFT_MAX, SHIFT_MAX)));
        }
        let parts: Vec<(Fault, Severity)> =
            core::iter::once((first, first_severity)).chain(second).collect();
        let doubtful = |pin: &&super::PianoPin| pin.resisting_nm() < DOUBTFUL_NM;
        let doubtful_count = piano.pins.iter().filter(doubtful).count();
        record(&mut piano.facts, &parts, doubtful_count, &mut root.fork("record"));
        let accepted = accepted(&parts, doubtful_count, piano.pins.len());
        Mixed { piano, second, doubtful_count, accepted }
    }
}

/// Brings loose pins nearer to what sound ones of the same instrument have.
fn soften(piano: &mut Piano, share: f64) {
    let mut sound: Vec<f64> =
        piano.pins.iter().filter(|pin| !pin.loose).map(|pin| pin.friction_nm).collect();
    sound.sort_by(f64::total_cmp);
    let Some(typical) = sound.get(sound.len() / 2).copied() else { return };
    for pin in piano.pins.iter_mut().filter(|pin| pin.loose) {
        let friction_nm = pin.friction_nm + share * (typical - pin.friction_nm).max(0.0);
        pin.set_friction(friction_nm, 0.93);
    }
}

fn shift(piano: &mut Piano, factor: f64) {
    for pin in &mut piano.pins {
        let friction_nm = pin.friction_nm * factor;
        pin.set_friction(friction_nm, 0.95);
    }
}

/// What is known, some of it wrong: a string strays because its pin does not hold, or because the
/// plank has left its seat.
fn record(
    facts: &mut Facts,
    parts: &[(Fault, Severity)],
    doubtful_count: usize,
    random: &mut Random,
) {
    let has = |fault: Fault| parts.iter().any(|part| part.0 == fault);
    let heard = match doubtful_count {
        0 => false,
        count if count <= LEFT_COUNT_MAX => random.chance(FEW_HEARD_CHANCE),
        _ => true,
    };
    let unstable = has(Fault::OffBack) || heard;
    let is_wrong = random.chance(TUNE_WRONG_CHANCE);
    facts.tune_stable = random.chance(TUNE_KNOWN_CHANCE).then_some(unstable == is_wrong);
    if has(Fault::Contaminated) {
        facts.contamination_seen = random.chance(0.85).then_some(true);
    }
    if random.chance(STAIN_WRONG_CHANCE) {
        facts.contamination_seen = facts.contamination_seen.map(|seen| !seen);
    }
    if has(Fault::Split) && facts.plank_sight != Some(PlankSight::PliesParted) {
        facts.plank_sight = random.chance(CLEAN_EDGE_CHANCE).then_some(PlankSight::SeenSound);
    }
}

/// What could be defended.
fn accepted(
    parts: &[(Fault, Severity)],
    doubtful_count: usize,
    pin_count: usize,
) -> Vec<&'static str> {
    let share = doubtful_count as f64 / pin_count.max(1) as f64;
    let has = |fault: Fault| parts.iter().any(|part| part.0 == fault);
    let is_sound = |fault: Fault| matches!(fault, Fault::None | Fault::FlatPitch | Fault::TightNew);
    let few = doubtful_count <= LEFT_COUNT_MAX;
    // A split spoils what larger pins or a treatment would do beside it, and so do pins that are
    // at the last size already.
    let gravest = [Fault::Split, Fault::RespunBass].into_iter().find(|fault| has(*fault));
    let mut words: Vec<&'static str> = match gravest {
        Some(fault) => fault.accepted(Severity::Plain).to_vec(),
        None => {
            let ailing = parts.iter().filter(|part| !is_sound(part.0));
            ailing.flat_map(|(fault, severity)| of_part(*fault, *severity, share)).collect()
        }
    };
    if words.is_empty() {
        // Sound wood, though a low plank has doubtful pins by the spread of its holes.
        words.push("leave");
        if !few {
            words.extend(["treat", "climate", "larger"]);
        }
    } else if few && has(Fault::OffBack) {
        // Whatever else may be wrong, it is not what keeps it from staying in tune.
        words.push("elsewhere");
    } else if few {
        // What hardly shows may be watched.
        words.push("leave");
    }
    words.sort_unstable();
    words.dedup();
    words
}

/// What one fault accepts; a dry plank by how many pins it has made doubtful.
fn of_part(fault: Fault, severity: Severity, doubtful_share: f64) -> Vec<&'static str> {
    if fault != Fault::Dry {
        return fault.accepted(severity).to_vec();
    }
    let plain = (doubtful_share >= DRY_PLAIN_FROM).then_some(Severity::Plain);
    let marginal = (doubtful_share < DRY_MARGINAL_TO).then_some(Severity::Marginal);
    plain
        .into_iter()
        .chain(marginal)
        .flat_map(|severity| fault.accepted(severity).to_vec())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_instrument() {
        assert_eq!(Piano::invent_mixed(3), Piano::invent_mixed(3));
        assert_ne!(Piano::invent_mixed(3), Piano::invent_mixed(4));
    }

    #[test]
    fn a_split_beside_another_fault_is_still_a_split() {
        let parts = [(Fault::Dry, Severity::Plain), (Fault::Split, Severity::Marginal)];
        assert_eq!(accepted(&parts, 60, 227), ["plank", "repair-block"]);
    }

    #[test]
    fn what_hardly_shows_may_be_left() {
        let parts = [(Fault::Flange, Severity::Marginal)];
        assert!(accepted(&parts, 1, 227).contains(&"leave"));
        assert!(!accepted(&parts, 8, 227).contains(&"leave"));
    }

    #[test]
    fn a_sound_plank_is_left_unless_it_is_low() {
        let parts = [(Fault::None, Severity::Plain)];
        assert_eq!(accepted(&parts, 0, 227), ["leave"]);
        assert!(accepted(&parts, 9, 227).contains(&"treat"));
    }

    #[test]
    fn the_population_is_as_mixed_as_it_says() {
        let drawn: Vec<Mixed> = (0..200).map(Piano::invent_mixed).collect();
        let double = drawn.iter().filter(|mixed| mixed.second.is_some()).count();
        assert!((50..=110).contains(&double), "{double}");
        let hardly = drawn.iter().filter(|mixed| mixed.doubtful_count <= LEFT_COUNT_MAX).count();
        assert!((30..=150).contains(&hardly), "{hardly}");
    }
}

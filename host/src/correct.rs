//! Which reading goes to which pin after a slip in counting: a run shifted along an order, one
//! reading given another pin, or set aside.
//!
//! Pure: readings in, moves out. Deliberately not here: the store, and what is said.
//!
//! Invariant: no two pins' readings come to stand on one pin. A run may change places within
//! itself, but a pin that keeps a reading of its own takes no other's.

use std::collections::{BTreeMap, BTreeSet};

use pinhold_protocol::record::Pin;

use crate::instrument::pin_name;

/// A reading as it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Its record's number.
    pub number: u32,
    /// The pin it counts for; `None` when it counts for none.
    pub pin: Option<Pin>,
}

/// What is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Correction {
    /// The readings from one pin to another, in the order, `by` places further (back when
    /// negative).
    Shift {
        /// First pin of the run.
        from: Pin,
        /// Last pin of the run.
        to: Pin,
        /// Places.
        by: i32,
    },
    /// All readings of a pin, to another one; `None` sets them aside.
    Pin {
        /// Where they stand.
        from: Pin,
        /// Where they belong.
        to: Option<Pin>,
    },
    /// One reading by its record number, to another pin; `None` sets it aside.
    Number {
        /// The record's number.
        number: u32,
        /// Where it belongs.
        to: Option<Pin>,
    },
}

/// Why a correction cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CorrectError {
    /// A pin that is not in the order.
    #[error("pin {} is not of this survey's pins", pin_name(*.pin))]
    NoSuchPin {
        /// The pin.
        pin: Pin,
    },
    /// A run that ends before it begins.
    #[error(
        "{} comes behind {} in the order of this survey; name the first pin of the run with \
         --from and the last with --to",
        pin_name(*.from), pin_name(*.to)
    )]
    Backwards {
        /// First pin named.
        from: Pin,
        /// Last pin named.
        to: Pin,
    },
    /// Nothing was read there.
    #[error("no reading stands there; 'pinhold readings NAME' lists those there are")]
    NothingThere,
    /// It would leave the order.
    #[error(
        "the reading of {} would come to stand beyond the {} pin of this survey; leave it out of \
         the run, or set it aside first (--pin {} --void)",
        pin_name(*.pin), if *.beyond_last { "last" } else { "first" }, spelled(*.pin)
    )]
    OutOfOrder {
        /// Where it stands.
        pin: Pin,
        /// Which end.
        beyond_last: bool,
    },
    /// A pin that keeps a reading of its own.
    #[error(
        "{} has a reading already and would get {}; take its own into the run, or set that aside \
         first (--pin {} --void)",
        pin_name(*.pin),
        offered(*.from),
        spelled(*.pin)
    )]
    Collision {
        /// The pin.
        pin: Pin,
        /// Whose reading it would get; `None`: one that was set aside.
        from: Option<Pin>,
    },
    /// Several levers or epochs have that number.
    #[error("several readings of this survey have the record number {number}; name the pin")]
    Ambiguous {
        /// The number.
        number: u32,
    },
    /// It changes nothing.
    #[error("that changes nothing")]
    Nothing,
}

/// What a pin would get in a collision.
fn offered(from: Option<Pin>) -> String {
    from.map_or("one that was set aside".to_owned(), |pin| format!("that of {}", pin_name(pin)))
}

/// A pin as it is typed, such as `49L`.
pub fn spelled(pin: Pin) -> String {
    format!("{}{}", pin.note, pin.string.letter())
}

/// A reading to be moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Planned {
    /// Index of the reading among those given.
    pub index: usize,
    /// Where it stands.
    pub before: Option<Pin>,
    /// Where it is to stand.
    pub after: Option<Pin>,
}

/// The moves a correction takes. `order` is the order pins were read in: the survey's plan, else
/// the instrument's pins from bass to treble.
///
/// # Errors
/// [`CorrectError`]; nothing is half done.
pub fn plan(
    readings: &[Standing],
    order: &[Pin],
    correction: Correction,
) -> Result<Vec<Planned>, CorrectError> {
    let moves = match correction {
        Correction::Shift { from, to, by } => shift(readings, order, (from, to), by)?,
        Correction::Pin { from, to } => {
            let of_pin = (0..).zip(readings).filter(|(_, reading)| reading.pin == Some(from));
            of_pin.map(|(index, reading)| planned(index, reading, to)).collect()
        }
        Correction::Number { number, to } => {
            let named: Vec<_> =
                (0..).zip(readings).filter(|(_, reading)| reading.number == number).collect();
            if named.len() > 1 {
                return Err(CorrectError::Ambiguous { number });
            }
            named.into_iter().map(|(index, reading)| planned(index, reading, to)).collect()
        }
    };
    if moves.is_empty() {
        return Err(CorrectError::NothingThere);
    }
    check_collisions(readings, order, &moves)?;
    let moves: Vec<Planned> =
        moves.into_iter().filter(|planned| planned.before != planned.after).collect();
    if moves.is_empty() { Err(CorrectError::Nothing) } else { Ok(moves) }
}

fn planned(index: usize, reading: &Standing, after: Option<Pin>) -> Planned {
    Planned { index, before: reading.pin, after }
}

fn shift(
    readings: &[Standing],
    order: &[Pin],
    (from, to): (Pin, Pin),
    by: i32,
) -> Result<Vec<Planned>, CorrectError> {
    let place = |wanted: Pin| order.iter().position(|pin| *pin == wanted);
    let first = place(from).ok_or(CorrectError::NoSuchPin { pin: from })?;
    let last = place(to).ok_or(CorrectError::NoSuchPin { pin: to })?;
    if last < first {
        return Err(CorrectError::Backwards { from, to });
    }
    let mut moves = Vec::new();
    for (index, reading) in (0..).zip(readings) {
        let Some(pin) = reading.pin else { continue };
        let Some(at) = place(pin).filter(|at| (first..=last).contains(at)) else { continue };
        let target = i64::try_from(at).unwrap_or(i64::MAX).saturating_add(i64::from(by));
        let target = usize::try_from(target).ok().and_then(|at| order.get(at));
        let target = target.ok_or(CorrectError::OutOfOrder { pin, beyond_last: by > 0 })?;
        moves.push(planned(index, reading, Some(*target)));
    }
    Ok(moves)
}

/// Whether every pin's readings come from one pin: those moved there from one only, and none that
/// stays.
fn check_collisions(
    readings: &[Standing],
    order: &[Pin],
    moves: &[Planned],
) -> Result<(), CorrectError> {
    let moved: BTreeSet<usize> = moves.iter().map(|planned| planned.index).collect();
    let mut source: BTreeMap<Pin, Option<Pin>> = BTreeMap::new();
    for planned in moves {
        let Some(target) = planned.after else { continue };
        if !order.contains(&target) {
            return Err(CorrectError::NoSuchPin { pin: target });
        }
        if *source.entry(target).or_insert(planned.before) != planned.before {
            return Err(CorrectError::Collision { pin: target, from: planned.before });
        }
    }
    for (index, reading) in (0..).zip(readings) {
        let Some(pin) = reading.pin else { continue };
        let stays = !moved.contains(&index);
        if let Some(from) = source.get(&pin)
            && stays
            && *from != Some(pin)
        {
            return Err(CorrectError::Collision { pin, from: *from });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use pinhold_protocol::record::StringPosition;

    fn pin(note: u8) -> Pin {
        Pin { note, string: StringPosition::Centre }
    }

    /// Readings at these notes, numbered from 0; 0 stands for one set aside.
    fn standing(notes: &[u8]) -> Vec<Standing> {
        let at = |note: u8| (note > 0).then(|| pin(note));
        (0..).zip(notes).map(|(number, note)| Standing { number, pin: at(*note) }).collect()
    }

    /// Notes the readings stand at after a correction; the order is notes 1 to 9.
    fn after(notes: &[u8], correction: Correction) -> Result<Vec<u8>, CorrectError> {
        let readings = standing(notes);
        let order: Vec<Pin> = (1..10).map(pin).collect();
        let mut notes = notes.to_vec();
        for planned in plan(&readings, &order, correction)? {
            assert_eq!(planned.before, readings[planned.index].pin);
            notes[planned.index] = planned.after.map_or(0, |pin| pin.note);
        }
        Ok(notes)
    }

    fn shift(from: u8, to: u8, by: i32) -> Correction {
        Correction::Shift { from: pin(from), to: pin(to), by }
    }

    fn one(from: u8, to: u8) -> Correction {
        Correction::Pin { from: pin(from), to: (to > 0).then(|| pin(to)) }
    }

    fn number(number: u32, to: u8) -> Correction {
        Correction::Number { number, to: (to > 0).then(|| pin(to)) }
    }

    #[test]
    fn a_run_moves_along_the_order_with_its_repeats() {
        assert_eq!(after(&[1, 2, 2, 3], shift(1, 3, 1)), Ok(vec![2, 3, 3, 4]));
        assert_eq!(after(&[1, 3, 4], shift(3, 4, -1)), Ok(vec![1, 2, 3]));
        assert_eq!(after(&[0, 4, 9], shift(1, 9, 0)), Err(CorrectError::Nothing));
    }

    #[test]
    fn a_pin_that_keeps_its_reading_takes_no_other() {
        let refused = CorrectError::Collision { pin: pin(3), from: Some(pin(2)) };
        assert_eq!(after(&[1, 2, 3], shift(1, 2, 1)), Err(refused.clone()));
        assert_eq!(after(&[2, 3], one(2, 3)), Err(refused));
        assert_eq!(after(&[2, 3, 0], one(3, 0)), Ok(vec![2, 0, 0]));
        let aside = CorrectError::Collision { pin: pin(3), from: None };
        assert_eq!(after(&[3, 0], number(1, 3)), Err(aside));
        assert_eq!(after(&[3, 0], number(1, 4)), Ok(vec![3, 4]));
        // One of two readings of a pin may leave it, but not join another's.
        assert_eq!(after(&[3, 3], number(1, 4)), Ok(vec![3, 4]));
        assert!(after(&[3, 3, 4], number(1, 4)).is_err());
    }

    #[test]
    fn what_leads_nowhere_is_said() {
        let beyond = |note, beyond_last| CorrectError::OutOfOrder { pin: pin(note), beyond_last };
        assert_eq!(after(&[8, 9], shift(8, 9, 1)), Err(beyond(9, true)));
        assert_eq!(after(&[1, 2], shift(1, 2, -1)), Err(beyond(1, false)));
        assert_eq!(after(&[1], shift(1, 1, i32::MAX)), Err(beyond(1, true)));
        assert_eq!(after(&[1], shift(1, 1, i32::MIN)), Err(beyond(1, false)));
        assert_eq!(after(&[1], shift(2, 3, 1)), Err(CorrectError::NothingThere));
        assert_eq!(after(&[1], number(7, 3)), Err(CorrectError::NothingThere));
        let (from, to) = (pin(3), pin(2));
        assert_eq!(after(&[1], shift(3, 2, 1)), Err(CorrectError::Backwards { from, to }));
        assert_eq!(after(&[1], one(1, 40)), Err(CorrectError::NoSuchPin { pin: pin(40) }));
        assert_eq!(after(&[1], one(1, 1)), Err(CorrectError::Nothing));
    }
}

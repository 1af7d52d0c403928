//! What to order and how to go about it: pins by size and length with spares, bushings, wire and
//! bass strings to consider, bits to try, the sequence of work.
//!
//! Made from a verdict's parts list and what is recorded beside torque. Deliberately not here:
//! which remedy (`verdict`), prices, and any maker's article numbers.

pub mod drilling;
pub mod sizes;
pub mod work;

use pinhold_protocol::record::Pin;

use crate::analysis::Assessment;
use crate::analysis::verdict::{PartsLine, RemedyKind, spares};
use crate::condition::ConditionRecord;
use crate::instrument::scale::neighbours::kind_of;
use crate::instrument::scale::tension::StringKind;
use crate::instrument::{FieldPin, Instrument};
use crate::words::{Said, Word};
use drilling::Drilling;
use work::{Job, Step};

/// Plank left below a pin that is driven by the usual 30 mm (ONE), µm; less wants shorter pins.
const DRIVEN_UM: u32 = 30_000;
/// Least of a pin's length in the plies of the plank, µm (ONE).
const GRIP_UM_MIN: u32 = 24_000;

/// Pins of one place, size and length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PinsOfPlace {
    /// Where.
    pub place: Said,
    /// Pins.
    pub pin_count: usize,
    /// Spares beside them.
    pub spare_count: usize,
    /// Diameter fitted now, µm, when known.
    pub from_um: Option<u32>,
    /// Diameter to order, µm; `None`: to be decided at the pin.
    pub to_um: Option<u32>,
    /// Length fitted now, µm, when recorded.
    pub length_um: Option<u32>,
    /// What to mind.
    pub note: Word,
}

/// Pins of one size and length over all places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PinTotal {
    /// Diameter, µm; `None`: to be decided at the pin.
    pub diameter_um: Option<u32>,
    /// Length, µm, when recorded.
    pub length_um: Option<u32>,
    /// Pins.
    pub pin_count: usize,
    /// Spares.
    pub spare_count: usize,
}

/// Strings that the work touches.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StringsTouched {
    /// Plain ones.
    pub plain_count: usize,
    /// Wound ones: custom-made when renewed.
    pub wound_count: usize,
    /// Of unknown kind.
    pub unknown_count: usize,
    /// Plain wire by diameter, m, with strings and total length, m, where every length is known;
    /// thinnest first. Only of strings with a measured wire.
    pub wire: Vec<(f64, usize, Option<f64>)>,
    /// New wire goes with the remedy; else old wire may serve again.
    pub is_renewed: bool,
}

/// An order and work list.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkOrder {
    /// Pins by place, bass first.
    pub pins: Vec<PinsOfPlace>,
    /// Pins over all places, by size.
    pub totals: Vec<PinTotal>,
    /// Finish fitted now, as recorded.
    pub finish: Option<String>,
    /// What bears on the pins' length.
    pub length_notes: Vec<String>,
    /// Bushings to renew, spares included; `None`: none, or not known whether there are any.
    pub bushing_count: Option<usize>,
    /// Nobody recorded whether the plate has bushings.
    pub bushings_unknown: bool,
    /// Strings that the work touches; `None` when it touches none.
    pub strings: Option<StringsTouched>,
    /// Bits to try in scrap, where holes are drilled, one for each size.
    pub drilling: Vec<Drilling>,
    /// The work, in order.
    pub steps: Vec<Step>,
}

/// The order of an assessment. `spare_share`: spares beside every hundred pins, 0–1, rounded up.
pub fn work_order(
    instrument: &Instrument,
    assessment: &Assessment,
    recorded: &ConditionRecord,
    spare_share: f64,
) -> WorkOrder {
    let verdict = &assessment.verdict;
    let remedy = verdict.remedy.kind();
    let pins: Vec<PinsOfPlace> =
        verdict.parts.iter().map(|line| of_place(line, recorded, spare_share)).collect();
    let touched: Vec<Pin> = verdict.parts.iter().flat_map(|l| l.pins.iter().copied()).collect();
    let is_drilled = matches!(remedy, RemedyKind::Plank | RemedyKind::RepairBlock);
    let mut sizes: Vec<u32> = pins.iter().filter_map(|line| line.to_um).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let bushed = verdict.condition.bushed_plate;
    let renews_bushings = match remedy {
        RemedyKind::Rebush => Some(instrument.pins.len()),
        RemedyKind::Larger | RemedyKind::Restring | RemedyKind::Plank => Some(touched.len()),
        _ => None,
    };
    WorkOrder {
        totals: totals(&pins),
        finish: recorded.text("pins.finish").map(str::to_owned),
        length_notes: if pins.is_empty() { Vec::new() } else { length_notes(recorded) },
        bushing_count: renews_bushings
            .filter(|_| bushed == Some(true))
            .map(|count| count + spares(count, spare_share)),
        bushings_unknown: renews_bushings.is_some() && bushed.is_none(),
        strings: strings(instrument, remedy, &touched),
        drilling: sizes.into_iter().filter(|_| is_drilled).map(Drilling::for_pin).collect(),
        steps: work::steps(&Job {
            remedy,
            condition: &verdict.condition,
            coil_gap_um: recorded.lengths_um("pins.coil_gap").min(),
        }),
        pins,
    }
}

fn of_place(line: &PartsLine, recorded: &ConditionRecord, spare_share: f64) -> PinsOfPlace {
    let length_um = recorded.length_in_section_um("pins.length", line.section);
    PinsOfPlace {
        place: line.place.clone(),
        pin_count: line.pin_count,
        spare_count: spares(line.pin_count, spare_share),
        from_um: line.from_um,
        to_um: line.to_um,
        length_um,
        note: line.note,
    }
}

fn totals(pins: &[PinsOfPlace]) -> Vec<PinTotal> {
    let mut totals: Vec<PinTotal> = Vec::new();
    for line in pins {
        let same = |total: &&mut PinTotal| {
            total.diameter_um == line.to_um && total.length_um == line.length_um
        };
        match totals.iter_mut().find(same) {
            Some(total) => {
                total.pin_count += line.pin_count;
                total.spare_count += line.spare_count;
            }
            None => totals.push(PinTotal {
                diameter_um: line.to_um,
                length_um: line.length_um,
                pin_count: line.pin_count,
                spare_count: line.spare_count,
            }),
        }
    }
    totals.sort_by_key(|total| (total.diameter_um, total.length_um));
    totals
}

fn length_notes(recorded: &ConditionRecord) -> Vec<String> {
    let mut notes = Vec::new();
    if recorded.lengths_um("pins.length").next().is_none() {
        notes.push(
            "length was not recorded: measure a drawn pin in each section before ordering".into(),
        );
    }
    match recorded.lengths_um("plank.thickness").next() {
        None => notes.push(
            "plank thickness was not recorded: pins are driven about 30 mm, at least 24 mm of it \
             in the plies (one report), and some upright planks are thinner than that"
                .into(),
        ),
        Some(um) if um <= DRIVEN_UM => notes.push(format!(
            "the plank is {} mm thick: a pin driven by the usual 30 mm (one report) would come \
             through; {}",
            um / 1000,
            if um < GRIP_UM_MIN { "order by measure" } else { "order shorter ones" }
        )),
        Some(_) => {}
    }
    notes
}

fn strings(instrument: &Instrument, remedy: RemedyKind, touched: &[Pin]) -> Option<StringsTouched> {
    let is_renewed = matches!(remedy, RemedyKind::Restring | RemedyKind::Plank);
    let touches = is_renewed || matches!(remedy, RemedyKind::Larger | RemedyKind::RepairBlock);
    if !touches {
        return None;
    }
    let mut found = StringsTouched { is_renewed, ..StringsTouched::default() };
    let mut wires: Vec<(f64, Option<f64>)> = Vec::new();
    for FieldPin { pin, .. } in instrument.pins.iter().filter(|f| touched.contains(&f.pin)) {
        match kind_of(instrument, pin.note) {
            Some(StringKind::Plain) => {
                found.plain_count += 1;
                let row = instrument.strings.row_of(*pin).filter(|row| row.winding.is_none());
                wires.extend(row.map(|row| (row.wire_m, row.total_length_m)));
            }
            Some(StringKind::Wound) => found.wound_count += 1,
            None => found.unknown_count += 1,
        }
    }
    wires.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (wire_m, length_m) in wires {
        match found.wire.last_mut().filter(|(last, ..)| (last - wire_m).abs() < 1e-6) {
            Some((_, count, total)) => {
                *count += 1;
                *total = total.zip(length_m).map(|(sum, length)| sum + length);
            }
            None => found.wire.push((wire_m, 1, length_m)),
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests;

//! Strings without a row, from those like them: a smooth course along the scale, after the class's
//! own shape.
//!
//! The logarithm of a string's moment over that of its class is taken as a random course along the
//! notes: its prior spread is the class's uncertainty, near notes share it, far ones do not, and
//! each string steps about it by what whole wire sizes leave. So the estimate follows near rows and
//! returns to the class far from them. Rows out of line with all others are given less weight.
//! Deliberately not here: strings with a row of their own.
//!
//! Invariants: nothing is carried across the bass break, between plain and wound, or between wound
//! strings of different unisons; an estimate's uncertainty is never below the scatter that leaving
//! each row out shows.

use super::tension::StringKind;
use crate::analysis::gp::GaussianProcess;
use crate::analysis::stats::median;
use crate::instrument::Instrument;
use crate::instrument::moment::{
    ClassString, PIN_DIAMETER_UM_DEFAULT, WOUND_NOTE_MAX, class_string,
};

/// Notes over which a scale forgets its course: two octaves, about a section (DER).
const COURSE_NOTES: f64 = 24.0;
/// A string's own step about the course: half a gauge number is 5.3 % of tension, rectangular
/// (DER).
const STEP_RELATIVE_U: f64 = 0.015;
/// Standard deviations beyond which a row is taken to be out of line.
const OUT_OF_LINE_SIGMA: f64 = 2.5;
/// Rounds of taking weight from rows out of line.
const ROUNDS: usize = 4;
/// Fewest rows whose scatter is worth a number.
const FEW_ROWS: f64 = 4.0;
/// Standard deviations from all others at which a row is told to be looked at.
const SUSPECT_SIGMA: f64 = 4.0;

/// Strings between which a course is carried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Family {
    /// Plain or wound.
    pub kind: StringKind,
    /// Strings of the unison, for wound strings; 0 for plain ones.
    pub unison: u8,
    /// In the bass block.
    pub is_bass: bool,
}

/// An estimate from neighbours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NeighbourEstimate {
    /// Its kind.
    pub kind: StringKind,
    /// Moment about a pin of the default diameter, N·m.
    pub moment_nm: f64,
    /// Its relative standard uncertainty, the pin's aside.
    pub relative_u: f64,
    /// The part of it that rows share with this string, so that they cannot show it.
    pub shared_relative_u: f64,
    /// Diameter of the wire on the pin, m: of the nearest rows.
    pub wire_m: f64,
    /// Speaking length, m, of the shorter of the nearest rows.
    pub speaking_length_m: f64,
    /// Notes from here to the nearest row.
    pub distance_notes: u8,
}

/// A row that does not fit the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SuspectRow {
    /// Its note.
    pub note: u8,
    /// Its moment over what all others lead to expect.
    pub ratio: f64,
}

/// One note's rows, averaged.
#[derive(Clone, Copy, Debug)]
struct Known {
    note: u8,
    unison: u8,
    /// Logarithm of moment over class.
    log_ratio: f64,
    /// Its own variance.
    variance: f64,
    /// Relative standard uncertainty it shares with all others.
    shared_u: f64,
    wire_m: f64,
    speaking_length_m: f64,
}

/// The course fitted to a family.
struct Course {
    known: Vec<Known>,
    process: GaussianProcess,
    /// Each row less its prediction from all others, and the variance of that difference.
    left_out: Vec<(f64, f64)>,
}

/// What neighbours say of a note's strings; `None` when no row is of its family, or it lies between
/// wound and plain rows so that its kind is open.
pub fn estimate(instrument: &Instrument, note: u8) -> Option<NeighbourEstimate> {
    let family = family_of(instrument, note)?;
    let course = Course::fit(known_of(instrument, family))?;
    let unison = instrument.string_count(note).max(1);
    let class = class_string(note, unison);
    let cross: Vec<f64> =
        course.known.iter().map(|known| shared_variance(known, note, &class)).collect();
    let log_ratio = course.process.mean(&cross);
    let prior = class.relative_u * class.relative_u;
    let model = course.process.variance(&cross, prior) + STEP_RELATIVE_U * STEP_RELATIVE_U;
    let own = (course.inflation() * model).max(course.scatter_variance());
    let shared = course.known.iter().map(|known| known.shared_u).fold(0.0, f64::max);
    let nearest = nearest_rows(&course.known, note);
    let mean_wire = nearest.iter().map(|known| known.wire_m).sum::<f64>() / nearest.len() as f64;
    let lengths = nearest.iter().map(|known| known.speaking_length_m);
    Some(NeighbourEstimate {
        kind: family.kind,
        moment_nm: class.moment_nm(default_pin_m()) * libm::exp(log_ratio),
        relative_u: libm::hypot(own.sqrt(), shared),
        shared_relative_u: shared,
        wire_m: mean_wire,
        speaking_length_m: lengths.fold(f64::INFINITY, f64::min),
        distance_notes: nearest.iter().map(|known| known.note.abs_diff(note)).min().unwrap_or(0),
    })
}

/// Rows far out of line with all others of their family, by note.
pub fn suspects(instrument: &Instrument) -> Vec<SuspectRow> {
    let mut families: Vec<Family> = Vec::new();
    for row in &instrument.strings.rows {
        let family = family_of_row(instrument, row.note, row.kind());
        if !families.contains(&family) {
            families.push(family);
        }
    }
    let mut found = Vec::new();
    for family in families {
        let Some(course) = Course::fit(known_of(instrument, family)) else { continue };
        // With two rows nobody knows which of them is wrong.
        if course.known.len() < 3 {
            continue;
        }
        let spread = course.inflation().sqrt();
        for (known, (residual, variance)) in course.known.iter().zip(&course.left_out) {
            if residual.abs() > SUSPECT_SIGMA * spread * variance.sqrt() {
                found.push(SuspectRow { note: known.note, ratio: libm::exp(*residual) });
            }
        }
    }
    found.sort_by_key(|row| row.note);
    found
}

/// The kind of a note's strings: its row's, else that of the nearest rows of as many strings on
/// its side of the bass break, else by the usual rule; `None` when the nearest on both sides
/// disagree.
pub fn kind_of(instrument: &Instrument, note: u8) -> Option<StringKind> {
    let rows = &instrument.strings.rows;
    if let Some(row) = rows.iter().find(|row| row.note == note) {
        return Some(row.kind());
    }
    let (unison, is_bass) = (instrument.string_count(note), is_bass(instrument, note));
    let alike = || {
        rows.iter().filter(move |row| {
            instrument.string_count(row.note) == unison
                && self::is_bass(instrument, row.note) == is_bass
        })
    };
    let below = alike().filter(|row| row.note < note).max_by_key(|row| row.note);
    let above = alike().filter(|row| row.note > note).min_by_key(|row| row.note);
    match (below.map(|row| row.kind()), above.map(|row| row.kind())) {
        (Some(below), Some(above)) if below != above => None,
        // Wound strings lie below plain ones: what is plain below stays plain, what is wound above
        // was wound already.
        (_, Some(StringKind::Wound)) => Some(StringKind::Wound),
        (Some(StringKind::Plain), _) => Some(StringKind::Plain),
        _ if unison <= 2 && note <= WOUND_NOTE_MAX => Some(StringKind::Wound),
        // Where wound unisons of three end, no row says.
        (Some(StringKind::Wound), None) => None,
        _ => Some(StringKind::Plain),
    }
}

fn family_of(instrument: &Instrument, note: u8) -> Option<Family> {
    kind_of(instrument, note).map(|kind| family_of_row(instrument, note, kind))
}

fn family_of_row(instrument: &Instrument, note: u8, kind: StringKind) -> Family {
    let unison = match kind {
        StringKind::Plain => 0,
        StringKind::Wound => instrument.string_count(note),
    };
    Family { kind, unison, is_bass: is_bass(instrument, note) }
}

/// Whether a note's pins stand in the bass block: section 0 of several.
fn is_bass(instrument: &Instrument, note: u8) -> bool {
    let sections = instrument.pins.iter().map(|field| field.section).max().unwrap_or(0);
    let own = instrument.pins.iter().find(|field| field.pin.note == note);
    sections > 0 && own.is_some_and(|field| field.section == 0)
}

/// The rows of a family, one entry a note.
fn known_of(instrument: &Instrument, family: Family) -> Vec<Known> {
    let scale = &instrument.strings;
    let mut known: Vec<Known> = Vec::new();
    for note in instrument.first_note..=instrument.last_note {
        let unison = instrument.string_count(note).max(1);
        let class = class_string(note, unison);
        let rows: Vec<_> = scale
            .rows
            .iter()
            .filter(|row| row.note == note && family_of_row(instrument, note, row.kind()) == family)
            .collect();
        let Some(first) = rows.first() else { continue };
        let pulls: Vec<_> = rows.iter().map(|row| row.pull(scale.a4_hz, default_pin_m())).collect();
        let moments: Vec<f64> = pulls.iter().map(|pull| pull.moment_nm).collect();
        let Some(middle_nm) = median(&moments).filter(|middle| *middle > 0.0) else { continue };
        let own = pulls.iter().map(|pull| pull.own_relative_u).fold(0.0, f64::max);
        known.push(Known {
            note,
            unison,
            log_ratio: libm::log(middle_nm / class.moment_nm(default_pin_m())),
            variance: own * own + STEP_RELATIVE_U * STEP_RELATIVE_U,
            shared_u: pulls.iter().map(|pull| pull.shared_relative_u).fold(0.0, f64::max),
            wire_m: first.wire_m,
            speaking_length_m: first.speaking_length_m,
        });
    }
    known
}

/// The nearest row below and the nearest above, or the one there is.
fn nearest_rows(known: &[Known], note: u8) -> Vec<&Known> {
    let below = known.iter().filter(|known| known.note <= note).max_by_key(|known| known.note);
    let above = known.iter().filter(|known| known.note > note).min_by_key(|known| known.note);
    below.into_iter().chain(above).collect()
}

/// What a row's course and a note's have in common, as a variance.
fn shared_variance(known: &Known, note: u8, class: &ClassString) -> f64 {
    let own = class_string(known.note, known.unison).relative_u;
    let distance = f64::from(known.note.abs_diff(note));
    own * class.relative_u * libm::exp(-distance / COURSE_NOTES)
}

fn default_pin_m() -> f64 {
    f64::from(PIN_DIAMETER_UM_DEFAULT) * 1e-6
}

impl Course {
    /// Fits, taking weight from rows out of line; `None` without rows.
    fn fit(known: Vec<Known>) -> Option<Course> {
        if known.is_empty() {
            return None;
        }
        let observed: Vec<f64> = known.iter().map(|known| known.log_ratio).collect();
        let classes: Vec<ClassString> =
            known.iter().map(|known| class_string(known.note, known.unison)).collect();
        let covariance =
            |i: usize, j: usize| shared_variance(&known[i], known[j].note, &classes[j]);
        let mut noise: Vec<f64> = known.iter().map(|known| known.variance).collect();
        let mut process = GaussianProcess::fit(&observed, &noise, covariance)?;
        let mut left_out = process.leave_one_out(&process.precision());
        for _ in 0..ROUNDS {
            for (index, (residual, variance)) in left_out.iter().enumerate() {
                // The row's own noise is made to explain what goes beyond the limit.
                let prediction = variance - noise[index];
                let needed = (residual / OUT_OF_LINE_SIGMA) * (residual / OUT_OF_LINE_SIGMA);
                noise[index] = known[index].variance.max(needed - prediction);
            }
            process = GaussianProcess::fit(&observed, &noise, covariance)?;
            left_out = process.leave_one_out(&process.precision());
        }
        // Judged by the variance they should have had, not by the one they were given.
        for (index, entry) in left_out.iter_mut().enumerate() {
            entry.1 -= noise[index] - known[index].variance;
        }
        Some(Course { known, process, left_out })
    }

    /// By how much the rows scatter beyond the model, as a variance ratio, at least 1. Of few rows
    /// it is widened as JCGM 101 (6.4.9) has it for a scatter from few values, (n − 1)/(n − 3).
    fn inflation(&self) -> f64 {
        let limit = OUT_OF_LINE_SIGMA * OUT_OF_LINE_SIGMA;
        let squares =
            self.left_out.iter().map(|(residual, variance)| residual * residual / variance);
        let sum: f64 = squares.map(|square| square.min(limit)).sum();
        let count = self.left_out.len() as f64;
        let few = count.max(FEW_ROWS);
        (sum / count * (few - 1.0) / (few - 3.0)).max(1.0)
    }

    /// Mean square of what leaving each row out shows, rows out of line cut to the limit.
    fn scatter_variance(&self) -> f64 {
        let limit = OUT_OF_LINE_SIGMA * OUT_OF_LINE_SIGMA;
        let squares = self
            .left_out
            .iter()
            .map(|(residual, variance)| (residual * residual).min(limit * variance));
        match self.left_out.len() {
            // One row left out leaves nothing to compare it with.
            0 | 1 => 0.0,
            count => squares.sum::<f64>() / count as f64,
        }
    }
}

#[cfg(test)]
#[path = "neighbours_tests.rs"]
mod tests;

//! Strings, sizes, the flange and single pins of a layout file.

use std::ops::RangeInclusive;

use pinhold_protocol::record::Pin;
use toml::Spanned;

use super::error::LayoutError;
use super::file::{FLANGE_MM, File, FlangeFile, Given, Reader, metres_of};
use super::words::RangeWord;
use super::{Flange, Section, SizeRange};
use crate::instrument::pin_name;
use crate::instrument::places::{Correction, DIAMETER_UM, PLACE_NUMBER_MAX};
use crate::instrument::stringing::{STRING_COUNT_MAX, Stringing};

/// Most points of a flange's curve.
const CURVE_COUNT_MAX: usize = 64;
/// How much farther a flange may be somewhere, mm.
const CURVE_MM: RangeInclusive<f64> = -300.0..=300.0;
/// Places along the plank, mm.
const ALONG_MM: RangeInclusive<f64> = -3000.0..=3000.0;

/// Pins placed exactly, and the line of each.
type ExactPins = (Vec<(Pin, Correction)>, Vec<usize>);

impl Reader<'_> {
    pub(super) fn stringing(&self, file: &File) -> Result<Stringing, LayoutError> {
        let RangeWord(first, last) = *file.compass.get_ref();
        let refused = |error: crate::instrument::stringing::StringingError| match &file.stringing {
            Some(given) => self.fault(given, "stringing", error.to_string()),
            None => self.fault(&file.compass, "compass", error.to_string()),
        };
        let base = match &file.stringing {
            Some(text) => Stringing::from_text(text.get_ref(), first, last).map_err(refused)?,
            None => Stringing::common_over(first, last).map_err(refused)?,
        };
        let mut counts: Vec<u8> = (first..=last).map(|note| base.string_count(note)).collect();
        let mut set = vec![false; counts.len()];
        for (range, count) in &file.strings.0 {
            let whole = self.whole(count, "strings", 1, STRING_COUNT_MAX)?;
            for note in self.notes(range, "strings", first, last)? {
                let at = usize::from(note - first);
                self.once(&mut set[at], range, "strings", note)?;
                counts[at] = whole;
            }
        }
        Stringing::new(first, counts).map_err(refused)
    }

    /// The notes of a range, all within the compass.
    fn notes(
        &self,
        range: &Spanned<RangeWord>,
        field: &'static str,
        first: u8,
        last: u8,
    ) -> Result<RangeInclusive<u8>, LayoutError> {
        let RangeWord(from, to) = *range.get_ref();
        if from < first || to > last {
            let reason =
                format!("notes {from} to {to} are not within the compass, {first} to {last}");
            return Err(self.fault(range, field, reason));
        }
        Ok(from..=to)
    }

    /// Marks a note as spoken for; refuses the second time.
    fn once(
        &self,
        set: &mut bool,
        range: &Spanned<RangeWord>,
        field: &'static str,
        note: u8,
    ) -> Result<(), LayoutError> {
        if std::mem::replace(set, true) {
            let reason = format!("note {note} is in two ranges; keep them apart");
            return Err(self.fault(range, field, reason));
        }
        Ok(())
    }

    pub(super) fn sizes(
        &self,
        file: &File,
        stringing: &Stringing,
        sections: &[Section],
    ) -> Result<Vec<SizeRange>, LayoutError> {
        let (first, last) = (stringing.first_note(), stringing.last_note());
        let common = self.diameter(&file.pin_mm)?;
        let mut sizes: Vec<Option<u32>> = vec![common; usize::from(last - first) + 1];
        let mut from = first;
        for (section, made) in file.section.iter().zip(sections) {
            if let Some(um) = self.diameter(&section.get_ref().pin_mm)? {
                sizes[usize::from(from - first)..=usize::from(made.last_note - first)]
                    .fill(Some(um));
            }
            from = made.last_note.saturating_add(1);
        }
        let mut set = vec![false; sizes.len()];
        for (range, size) in &file.pin_sizes.0 {
            let um = self.diameter_of(size, "pin_sizes")?;
            for note in self.notes(range, "pin_sizes", first, last)? {
                let at = usize::from(note - first);
                self.once(&mut set[at], range, "pin_sizes", note)?;
                sizes[at] = Some(um);
            }
        }
        Ok(SizeRange::of_notes(first, &sizes))
    }

    fn diameter(&self, given: &Given<f64>) -> Result<Option<u32>, LayoutError> {
        given.as_ref().map(|given| self.diameter_of(given, "pin_mm")).transpose()
    }

    fn diameter_of(&self, given: &Spanned<f64>, field: &'static str) -> Result<u32, LayoutError> {
        let um = (given.get_ref() * 1e3).round();
        let possible = f64::from(*DIAMETER_UM.start())..=f64::from(*DIAMETER_UM.end());
        if possible.contains(&um) {
            // Within bounds, so the cast fits.
            return Ok(um as u32);
        }
        let reason = format!("a pin of {} mm is not within 5 to 9 mm", given.get_ref());
        Err(self.fault(given, field, reason))
    }

    pub(super) fn flange(&self, file: &FlangeFile) -> Result<Flange, LayoutError> {
        let distance_m = self.length(&file.distance_mm, "flange.distance_mm", FLANGE_MM)?;
        let mut curve_m: Vec<[f64; 2]> = Vec::new();
        if let Some(curve) = &file.curve_mm {
            let field = "flange.curve_mm";
            if curve.get_ref().len() > CURVE_COUNT_MAX {
                let reason = format!("at most {CURVE_COUNT_MAX} points are possible");
                return Err(self.fault(curve, field, reason));
            }
            for [x_mm, farther_mm] in curve.get_ref() {
                if !ALONG_MM.contains(x_mm) || !CURVE_MM.contains(farther_mm) {
                    let reason = format!(
                        "[{x_mm}, {farther_mm}] is no point; write [x, how much farther the \
                         flange is there] in mm"
                    );
                    return Err(self.fault(curve, field, reason));
                }
                let x_m = metres_of(*x_mm);
                if curve_m.last().is_some_and(|before| before[0] >= x_m) {
                    let reason = "points go from bass to treble, each x once".to_owned();
                    return Err(self.fault(curve, field, reason));
                }
                curve_m.push([x_m, metres_of(*farther_mm)]);
            }
        }
        Ok(Flange { distance_m, curve_m })
    }

    pub(super) fn missing(
        &self,
        file: &File,
        stringing: &Stringing,
    ) -> Result<Vec<Pin>, LayoutError> {
        let there = stringing.pins();
        let mut missing = Vec::new();
        for word in &file.missing {
            let pin = word.get_ref().0;
            if !there.contains(&pin) {
                let reason = format!(
                    "pin {} is not there anyway: its note has {} strings",
                    pin_name(pin),
                    stringing.string_count(pin.note)
                );
                return Err(self.fault(word, "missing", reason));
            }
            if missing.contains(&pin) {
                let reason = format!("pin {} is named twice", pin_name(pin));
                return Err(self.fault(word, "missing", reason));
            }
            missing.push(pin);
        }
        missing.sort_unstable();
        Ok(missing)
    }

    pub(super) fn exact(&self, file: &File, missing: &[Pin]) -> Result<ExactPins, LayoutError> {
        let mut exact: Vec<(Pin, Correction)> = Vec::new();
        let mut lines = Vec::new();
        for entry in &file.pin {
            let given = entry.get_ref();
            let pin = given.pin.get_ref().0;
            let twice = exact.iter().any(|(other, _)| *other == pin);
            if twice || missing.contains(&pin) {
                let reason = format!("pin {} is named twice", pin_name(pin));
                return Err(self.fault(&given.pin, "pin", reason));
            }
            let number = |given: &Given<i64>, field| {
                given.as_ref().map(|n| self.whole(n, field, 0, PLACE_NUMBER_MAX)).transpose()
            };
            let correction = Correction {
                x_m: self.metres(&given.x_mm, "x_mm", ALONG_MM)?,
                y_m: self.metres(&given.y_mm, "y_mm", ALONG_MM)?,
                row: number(&given.row, "row")?,
                section: number(&given.section, "section")?,
                flange_distance_m: self.metres(&given.flange_mm, "flange_mm", FLANGE_MM)?,
                diameter_um: self.diameter(&given.pin_mm)?,
            };
            if correction.is_empty() {
                let reason = "nothing is said of this pin; give x_mm, y_mm, row or pin_mm";
                return Err(self.fault(&given.pin, "pin", reason.to_owned()));
            }
            lines.push(self.line(given.pin.span().start));
            exact.push((pin, correction));
        }
        Ok((exact, lines))
    }
}

impl SizeRange {
    /// Ranges of one size each, from the sizes note by note.
    pub(super) fn of_notes(first: u8, sizes: &[Option<u32>]) -> Vec<SizeRange> {
        let mut ranges: Vec<SizeRange> = Vec::new();
        for (note, size) in (first..).zip(sizes) {
            let Some(diameter_um) = *size else { continue };
            match ranges.last_mut() {
                Some(range) if range.diameter_um == diameter_um && range.last + 1 == note => {
                    range.last = note;
                }
                _ => ranges.push(SizeRange { first: note, last: note, diameter_um }),
            }
        }
        ranges
    }
}

//! The string's moment at target pitch: from the string scale where it was measured, from strings
//! like it where those were, else an estimate from the kind of unison and the register, with an
//! uncertainty that says how little is known.
//!
//! Tensions by register are MEM defaults (monochords 200–330, bichords 160–200, tenor 120–170,
//! middle 155–170, top treble 150–165 lbf); one string of an average instrument carries 150 to
//! 187 lbf (PRAC). Deliberately not here: the moment a survey measured. A string that slipped has
//! let its moment fall to what friction holds, so it must not judge its own pin.

use pinhold_protocol::record::Pin;

use super::pitch::tension_ratio_at_cents;
use super::scale::neighbours::{self, NeighbourEstimate};
use super::scale::tension::StringKind;
use super::scale::{StringRow, StringSource};
use super::strings::{METRES_PER_INCH, NEWTONS_PER_LBF, string_moment_nm};
use super::{FieldPin, Instrument};
use crate::analysis::input::Estimate;

/// Pin diameter where none is known, µm: size 2/0, .282 in (ONE ×3).
pub const PIN_DIAMETER_UM_DEFAULT: u32 = 7163;
/// Standard uncertainty of an unknown pin diameter, m: 1/0 to 4/0 (.276 to .291 in), rectangular.
const PIN_DIAMETER_UNKNOWN_U_M: f64 = 0.000_110;
/// Standard uncertainty of a labelled pin diameter, m: pins scatter ±.001 to .005 in (ONE).
const PIN_DIAMETER_KNOWN_U_M: f64 = 0.000_045;
/// Standard uncertainty of the assumed wire diameter, m: about two and a half gauge numbers
/// (.005 in), rectangular (DER).
const WIRE_DIAMETER_U_M: f64 = 0.000_075;
/// Relative standard uncertainty between instruments: averages of 150 to 187 lbf, rectangular,
/// (187 − 150)/(2·√3·168.5) (DER from PRAC).
const BETWEEN_INSTRUMENTS_RELATIVE_U: f64 = 0.063;
/// Notes above this carry plain wire whatever the count: a lone string there is no bass
/// monochord (DER).
pub const WOUND_NOTE_MAX: u8 = 44;

/// What is assumed of one string.
#[derive(Clone, Copy, Debug, PartialEq)]
struct AssumedString {
    tension_lbf: f64,
    /// Half the width of the tension's stated range.
    tension_half_width_lbf: f64,
    /// Diameter of the wire that winds on the pin: the core, where the string is wound.
    wire_inch: f64,
}

/// Plain wire by register: note at its middle, tension's mid-range and half width, wire.
const PLAIN_REGISTERS: [(f64, AssumedString); 3] = [
    (30.0, AssumedString { tension_lbf: 145.0, tension_half_width_lbf: 25.0, wire_inch: 0.043 }),
    (52.0, AssumedString { tension_lbf: 162.5, tension_half_width_lbf: 7.5, wire_inch: 0.039 }),
    (80.0, AssumedString { tension_lbf: 157.5, tension_half_width_lbf: 7.5, wire_inch: 0.035 }),
];
/// Mid-range 265 of 200 to 330 lbf.
const MONOCHORD: AssumedString =
    AssumedString { tension_lbf: 265.0, tension_half_width_lbf: 65.0, wire_inch: 0.051 };
/// Mid-range 180 of 160 to 200 lbf.
const BICHORD: AssumedString =
    AssumedString { tension_lbf: 180.0, tension_half_width_lbf: 20.0, wire_inch: 0.044 };

/// What a kind of string usually has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassString {
    /// Plain or wound.
    pub kind: StringKind,
    /// Tension, N.
    pub tension_n: f64,
    /// Its relative standard uncertainty: register and instrument.
    pub relative_u: f64,
    /// Diameter of the wire on the pin, m.
    pub wire_m: f64,
}

impl ClassString {
    /// Moment about a pin, N·m.
    pub fn moment_nm(&self, pin_diameter_m: f64) -> f64 {
        string_moment_nm(self.tension_n, pin_diameter_m, self.wire_m)
    }
}

/// The class of a note's strings, by their number.
pub fn class_string(note: u8, string_count: u8) -> ClassString {
    let (kind, assumed) = assumed_string(note, string_count);
    ClassString {
        kind,
        tension_n: assumed.tension_lbf * NEWTONS_PER_LBF,
        relative_u: libm::hypot(assumed.register_relative_u(), BETWEEN_INSTRUMENTS_RELATIVE_U),
        wire_m: assumed.wire_inch * METRES_PER_INCH,
    }
}

/// A pin's string at target pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinString {
    /// Plain or wound, as far as anything says so.
    pub kind: StringKind,
    /// Tension, N.
    pub tension_n: Estimate,
    /// Moment about its pin, N·m.
    pub moment_nm: Estimate,
    /// Diameter of the wire on the pin, m.
    pub wire_m: f64,
    /// Speaking length, m, of its own row or the nearest ones'.
    pub speaking_length_m: Option<f64>,
    /// The whole wire from hitch to pin, m, where its row gives it.
    pub total_length_m: Option<f64>,
    /// Where all this comes from.
    pub source: StringSource,
}

/// The string on a pin at target pitch, from the best that is known of it.
///
/// `diameter_um` is the pin's, when known; the field's is used when it is not given.
pub fn string_on_pin(instrument: &Instrument, pin: Pin, diameter_um: Option<u32>) -> PinString {
    let known = diameter_um.or_else(|| instrument.find_pin(pin)?.diameter_um);
    let diameter = pin_diameter_m(known);
    if let Some(row) = instrument.strings.row_of(pin) {
        return measured(row, instrument.strings.a4_hz, diameter);
    }
    let near = (!instrument.strings.is_empty()).then(|| neighbours::estimate(instrument, pin.note));
    match near.flatten() {
        Some(near) => of_neighbours(&near, diameter),
        None => of_class(pin, instrument.string_count(pin.note).max(1), known),
    }
}

/// From its own row.
fn measured(row: &StringRow, a4_hz: f64, (diameter_m, u_diameter_m): (f64, f64)) -> PinString {
    let pull = row.pull(a4_hz, diameter_m);
    PinString {
        kind: row.kind(),
        tension_n: pull.tension(),
        moment_nm: pull.moment(diameter_m + row.wire_m, u_diameter_m),
        wire_m: row.wire_m,
        speaking_length_m: Some(row.speaking_length_m),
        total_length_m: row.total_length_m,
        source: StringSource::Data,
    }
}

/// From rows of strings like it.
fn of_neighbours(near: &NeighbourEstimate, (diameter_m, u_diameter_m): (f64, f64)) -> PinString {
    let arm_m = diameter_m + near.wire_m;
    let (default_m, _) = pin_diameter_m(None);
    let tension_n = 2.0 * near.moment_nm / (default_m + near.wire_m);
    let moment_nm = tension_n * arm_m / 2.0;
    let relative_u = libm::hypot(near.relative_u, u_diameter_m / arm_m);
    PinString {
        kind: near.kind,
        tension_n: Estimate { value: tension_n, u: tension_n * near.relative_u },
        moment_nm: Estimate { value: moment_nm, u: moment_nm * relative_u },
        wire_m: near.wire_m,
        speaking_length_m: Some(near.speaking_length_m),
        total_length_m: None,
        source: StringSource::Neighbours { distance_notes: near.distance_notes },
    }
}

/// From its kind.
fn of_class(pin: Pin, string_count: u8, diameter_um: Option<u32>) -> PinString {
    let class = class_string(pin.note, string_count);
    PinString {
        kind: class.kind,
        tension_n: Estimate { value: class.tension_n, u: class.tension_n * class.relative_u },
        moment_nm: moment_at_pitch(pin, string_count, diameter_um),
        wire_m: class.wire_m,
        speaking_length_m: None,
        total_length_m: None,
        source: StringSource::Class,
    }
}

/// A pin's diameter and its standard uncertainty, m.
fn pin_diameter_m(diameter_um: Option<u32>) -> (f64, f64) {
    match diameter_um {
        Some(um) => (f64::from(um) * 1e-6, PIN_DIAMETER_KNOWN_U_M),
        None => (f64::from(PIN_DIAMETER_UM_DEFAULT) * 1e-6, PIN_DIAMETER_UNKNOWN_U_M),
    }
}

/// Kind and assumptions by note and number of strings.
fn assumed_string(note: u8, string_count: u8) -> (StringKind, AssumedString) {
    match string_count {
        1 if note <= WOUND_NOTE_MAX => (StringKind::Wound, MONOCHORD),
        2 if note <= WOUND_NOTE_MAX => (StringKind::Wound, BICHORD),
        _ => (StringKind::Plain, plain_string(note)),
    }
}

impl AssumedString {
    /// The register's range as a relative standard uncertainty of tension.
    fn register_relative_u(&self) -> f64 {
        self.tension_half_width_lbf / self.tension_lbf / 3.0_f64.sqrt()
    }
}

/// Moment M₀ of the string on a pin at target pitch when nothing but its kind is known, N·m, with
/// its standard uncertainty.
///
/// `string_count` is that of the pin's unison (1 to 4); `diameter_um` the pin's, when known.
///
/// ```
/// use pinhold::instrument::moment::moment_at_pitch;
/// use pinhold_protocol::record::{Pin, StringPosition};
/// let moment = moment_at_pitch(Pin { note: 3, string: StringPosition::Centre }, 1, None);
/// assert!((moment.value - 5.0).abs() < 0.1 && moment.u > 0.5);
/// ```
pub fn moment_at_pitch(pin: Pin, string_count: u8, diameter_um: Option<u32>) -> Estimate {
    let (_, assumed) = assumed_string(pin.note, string_count);
    let (diameter_m, _) = pin_diameter_m(diameter_um);
    let wire_m = assumed.wire_inch * METRES_PER_INCH;
    let value = string_moment_nm(assumed.tension_lbf * NEWTONS_PER_LBF, diameter_m, wire_m);
    let parts = class_parts(pin, string_count, diameter_um);
    let relative_u = parts.iter().map(|part| part.relative_u * part.relative_u).sum::<f64>().sqrt();
    Estimate { value, u: value * relative_u }
}

/// One of the things not known of a string of which only the kind is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassPart {
    /// What it does to the moment, relative standard uncertainty.
    pub relative_u: f64,
    /// It has bounds, alike likely between; else it is normal.
    pub rectangular: bool,
}

/// What [`moment_at_pitch`] is uncertain by: register, instrument, pin and wire, independent.
pub fn class_parts(pin: Pin, string_count: u8, diameter_um: Option<u32>) -> [ClassPart; 4] {
    let (_, assumed) = assumed_string(pin.note, string_count);
    let (diameter_m, diameter_u_m) = pin_diameter_m(diameter_um);
    let arm_m = diameter_m + assumed.wire_inch * METRES_PER_INCH;
    let bounded = |relative_u| ClassPart { relative_u, rectangular: true };
    [
        bounded(assumed.register_relative_u()),
        bounded(BETWEEN_INSTRUMENTS_RELATIVE_U),
        ClassPart { relative_u: diameter_u_m / arm_m, rectangular: diameter_um.is_none() },
        bounded(WIRE_DIAMETER_U_M / arm_m),
    ]
}

/// Moment at target pitch on a pin from the best that is known of its string, N·m; see
/// [`string_on_pin`].
pub fn moment_on_pin(instrument: &Instrument, pin: Pin, diameter_um: Option<u32>) -> Estimate {
    string_on_pin(instrument, pin, diameter_um).moment_nm
}

/// Moment at target pitch of a pin in its instrument's field.
pub fn moment_in_field(instrument: &Instrument, pin: &FieldPin) -> Estimate {
    moment_on_pin(instrument, pin.pin, pin.diameter_um)
}

/// The moment at a pitch `cents` from target, scaled with tension: (f/f₀)².
pub fn moment_at_cents(at_pitch: Estimate, cents: f64) -> Estimate {
    let ratio = tension_ratio_at_cents(cents);
    Estimate { value: at_pitch.value * ratio, u: at_pitch.u * ratio }
}

/// Plain wire at a note, linear between the middles of the registers.
fn plain_string(note: u8) -> AssumedString {
    let note = f64::from(note);
    let [low, middle, high] = PLAIN_REGISTERS;
    let (from, to) = if note < middle.0 { (low, middle) } else { (middle, high) };
    let share = ((note - from.0) / (to.0 - from.0)).clamp(0.0, 1.0);
    let between = |a: f64, b: f64| a + (b - a) * share;
    AssumedString {
        tension_lbf: between(from.1.tension_lbf, to.1.tension_lbf),
        tension_half_width_lbf: between(from.1.tension_half_width_lbf, to.1.tension_half_width_lbf),
        wire_inch: between(from.1.wire_inch, to.1.wire_inch),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::stringing::Stringing;
    use pinhold_protocol::record::StringPosition::Centre;

    #[test]
    fn every_register_covers_its_table_value_within_two_uncertainties() {
        // Note, strings of the unison, N·m: DER, T·(d_pin + d_wire)/2 for typical strings.
        for (note, count, table_nm) in
            [(80, 3, 2.69), (52, 3, 2.90), (30, 3, 2.20), (20, 2, 3.31), (3, 1, 5.04)]
        {
            let moment = moment_at_pitch(Pin { note, string: Centre }, count, None);
            let off = (moment.value - table_nm).abs();
            assert!(off <= 2.0 * moment.u, "note {note}: {moment:?}");
            assert!(moment.u / moment.value > 0.06, "never claimed better than instruments differ");
        }
    }

    #[test]
    fn a_lone_string_in_the_treble_is_plain_wire() {
        let lone = moment_at_pitch(Pin { note: 60, string: Centre }, 1, None);
        let third = moment_at_pitch(Pin { note: 60, string: Centre }, 3, None);
        assert_eq!(lone, third);
    }

    #[test]
    fn a_thicker_pin_has_a_longer_arm() {
        let pin = Pin { note: 49, string: Centre };
        let small = moment_at_pitch(pin, 3, Some(7000));
        let large = moment_at_pitch(pin, 3, Some(7500));
        assert!((large.value / small.value - 8.0 / 7.5).abs() < 0.01);
        assert!(small.u < moment_at_pitch(pin, 3, None).u);
    }

    #[test]
    fn a_hundred_cents_flat_takes_eleven_percent() {
        let at_pitch = moment_at_pitch(Pin { note: 49, string: Centre }, 3, None);
        let flat = moment_at_cents(at_pitch, -100.0);
        assert!((flat.value / at_pitch.value - 0.8909).abs() < 1e-4);
    }

    #[test]
    fn total_pull_of_a_common_instrument_is_in_the_usual_range() {
        // Total 150 to 200 kN (PRAC).
        let pins = Stringing::modern_88().pins();
        let total_n: f64 = pins
            .iter()
            .map(|pin| {
                let count = Stringing::modern_88().string_count(pin.note);
                let arm_m = (0.007_163 + 0.001) / 2.0;
                moment_at_pitch(*pin, count, None).value / arm_m
            })
            .sum();
        assert!((150e3..200e3).contains(&total_n), "{total_n}");
    }
}

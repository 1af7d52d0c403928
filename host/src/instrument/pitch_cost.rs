//! What turning a pin does to the pitch: bounds in cents, for a note and for a reading.
//!
//! Bounds, not values: the wire is taken as elastic from hitch to pin without friction, and where
//! nobody measured the whole wire it is taken as short as it may be. On a real instrument the
//! bearing takes the first 0.5 to 1.5 degrees (DER), so that nothing may be heard at all and the
//! string may still drift when it is played. Deliberately not here: which readings belong together
//! (the survey's business).

use pinhold_protocol::record::{Pin, Reading, reading_flags};

use super::moment::{PinString, string_on_pin};
use super::pitch::{A4_HZ_ISO16, frequency_hz};
use super::scale::StringSource;
use super::scale::tension::StringKind;
use super::strings::{
    STEEL_DENSITY_KG_M3, STEEL_MODULUS_PA, cents_for_tension_change, tension_change_per_rotation_n,
    wire_area_m2,
};
use super::{FieldPin, Instrument};

/// Cents of net change from which a string is put on the list to be retuned.
pub const RETUNE_CENTS: f64 = 5.0;
/// Least wire between the bearing and the pin, m: 60 to 200 mm occur (DER).
const PIN_SIDE_M_MIN: f64 = 0.060;
/// Least wire between bridge and hitch, m (MEM).
const HITCH_SIDE_M_MIN: f64 = 0.030;
/// Shortest wound string of small uprights, m (MEM).
const WOUND_LENGTH_M_MIN: f64 = 0.7;
/// A pitch is followed down to an octave flat: below, the string is slack.
const CENTS_MIN: f64 = -1200.0;

/// How far one degree of a pin can move its string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PitchBound {
    /// Cents for one degree sharp, at most.
    pub cents_per_degree: f64,
    /// Tension at target pitch, N.
    tension_n: f64,
    /// Rise of tension for a radian, N.
    newtons_per_radian: f64,
    /// Where the string's numbers come from.
    pub source: StringSource,
}

impl PitchBound {
    /// Of the string on a pin.
    pub fn of(instrument: &Instrument, pin: Pin) -> PitchBound {
        let string = string_on_pin(instrument, pin, None);
        let diameter_um = instrument.find_pin(pin).and_then(|field: &FieldPin| field.diameter_um);
        let diameter_um = diameter_um.unwrap_or(super::moment::PIN_DIAMETER_UM_DEFAULT);
        PitchBound::of_string(pin, &string, f64::from(diameter_um) * 1e-6)
    }

    fn of_string(pin: Pin, string: &PinString, pin_diameter_m: f64) -> PitchBound {
        let tension_n = match string.source {
            StringSource::Data => string.tension_n.value,
            // A slacker string moves more: the bound stands two uncertainties down.
            _ => string.tension_n.value - 2.0 * string.tension_n.u,
        };
        let total_m = string.total_length_m.unwrap_or_else(|| {
            let speaking_m = string.speaking_length_m;
            let speaking_m = speaking_m.unwrap_or_else(|| least_length_m(pin, string, tension_n));
            speaking_m + PIN_SIDE_M_MIN + HITCH_SIDE_M_MIN
        });
        let (modulus, wire_m) = (STEEL_MODULUS_PA, string.wire_m);
        let newtons_per_radian =
            tension_change_per_rotation_n(modulus, wire_m, pin_diameter_m, total_m, 1.0);
        let mut bound = PitchBound {
            cents_per_degree: 0.0,
            tension_n,
            newtons_per_radian,
            source: string.source,
        };
        bound.cents_per_degree = bound.cents(1.0_f64.to_radians());
        bound
    }

    /// Change of pitch for a rotation of the coil, cents, sharp positive: at most this far from
    /// zero, and not below an octave flat.
    pub fn cents(&self, rotation_rad: f64) -> f64 {
        let change_n = self.newtons_per_radian * rotation_rad;
        if change_n <= -0.75 * self.tension_n {
            return CENTS_MIN;
        }
        cents_for_tension_change(self.tension_n, change_n).max(CENTS_MIN)
    }
}

/// Speaking length that goes with a tension, m, where only the kind of string is known.
fn least_length_m(pin: Pin, string: &PinString, tension_n: f64) -> f64 {
    match string.kind {
        StringKind::Wound => WOUND_LENGTH_M_MIN,
        // T = m·(2Lf)² for L.
        StringKind::Plain => {
            let mass = STEEL_DENSITY_KG_M3 * wire_area_m2(string.wire_m);
            (tension_n / mass).sqrt() / (2.0 * frequency_hz(pin.note, A4_HZ_ISO16))
        }
    }
}

/// What readings of one pin did to its coil, and what that can be in pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PitchCost {
    /// The pin.
    pub pin: Pin,
    /// Readings behind it.
    pub reading_count: usize,
    /// Farthest flat of where the pin was found, degrees, zero or negative.
    pub flat_deg: f64,
    /// The same in cents, at most.
    pub flat_cents: f64,
    /// Farthest sharp of where the pin was found, degrees, zero or positive.
    pub sharp_deg: f64,
    /// The same in cents, at most.
    pub sharp_cents: f64,
    /// From before the first stroke to after the last, degrees, sharp positive.
    pub net_deg: f64,
    /// The same in cents, at most.
    pub net_cents: f64,
    /// Cents for one degree, at most.
    pub cents_per_degree: f64,
    /// Whether this is a string to be retuned: the net change can exceed [`RETUNE_CENTS`], or the
    /// lever asked for it. Pins without a string never are.
    pub wants_retuning: bool,
}

impl PitchCost {
    /// Of a pin's readings, in the order they were taken; `None` without readings.
    ///
    /// Where a pin was read again, the later reading began where the earlier one had left it.
    pub fn of(instrument: &Instrument, pin: Pin, readings: &[&Reading]) -> Option<PitchCost> {
        let last = readings.last()?;
        let (mut flat_rad, mut sharp_rad, mut net_rad) = (0.0_f64, 0.0_f64, 0.0_f64);
        for reading in readings {
            flat_rad = flat_rad.min(net_rad + reading.excursion_flat.radians());
            sharp_rad = sharp_rad.max(net_rad + reading.excursion_sharp.radians());
            net_rad += reading.net_rotation.radians();
        }
        let bound = PitchBound::of(instrument, pin);
        let net_cents = bound.cents(net_rad);
        let asked = readings.iter().any(|reading| reading.flags & reading_flags::RETUNE != 0);
        let unstrung = last.flags & reading_flags::UNSTRUNG != 0;
        Some(PitchCost {
            pin,
            reading_count: readings.len(),
            flat_deg: flat_rad.to_degrees(),
            flat_cents: bound.cents(flat_rad),
            sharp_deg: sharp_rad.to_degrees(),
            sharp_cents: bound.cents(sharp_rad),
            net_deg: net_rad.to_degrees(),
            net_cents,
            cents_per_degree: bound.cents_per_degree,
            wants_retuning: !unstrung && (net_cents.abs() > RETUNE_CENTS || asked),
        })
    }

    /// Of every pin that was read, in order of pin. `readings` are in the order they were taken.
    pub fn of_all(instrument: &Instrument, readings: &[(Pin, &Reading)]) -> Vec<PitchCost> {
        let mut pins: Vec<Pin> = readings.iter().map(|(pin, _)| *pin).collect();
        pins.sort_unstable();
        pins.dedup();
        let of_pin = |pin: Pin| {
            let own = readings.iter().filter(|(other, _)| *other == pin);
            let own: Vec<&Reading> = own.map(|(_, reading)| *reading).collect();
            PitchCost::of(instrument, pin, &own)
        };
        pins.into_iter().filter_map(of_pin).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::input::Estimate;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;
    use crate::instrument::scale::StringRow;
    use pinhold_protocol::record::{Outcome, SampleCoverage, StringPosition};
    use pinhold_protocol::units::{Angle, DeviceTime};

    const A4: Pin = Pin { note: 49, string: StringPosition::Left };

    fn turned(flat_deg: f64, sharp_deg: f64, net_deg: f64) -> Reading {
        let angle = |degrees: f64| Angle::from_radians(degrees.to_radians()).unwrap();
        Reading {
            survey: 1,
            pin: A4,
            started: DeviceTime::from_microseconds(1),
            duration_ms: 5000,
            outcome: Outcome::Measured,
            flags: 0,
            friction: None,
            string_moment: None,
            sharp: None,
            flat: None,
            net_rotation: angle(net_deg),
            excursion_flat: angle(flat_deg),
            excursion_sharp: angle(sharp_deg),
            temperature_centi_celsius: 2100,
            attitude_milli_g: [0, 0, 1000],
            calibration: 1,
            samples: SampleCoverage::None,
            strokes: Default::default(),
        }
    }

    #[test]
    fn bounds_stand_above_the_figures_of_common_strings() {
        // C3 11, A4 21, C6 31, C8 54 cents for a degree, rigid frame (DER): a bound by class is
        // above them, and not by more than three times.
        let instrument = modern_88("x", InstrumentKind::Grand);
        for (note, cents) in [(28, 11.0), (49, 21.0), (64, 31.0), (88, 54.0)] {
            let pin = Pin { note, string: StringPosition::Centre };
            let bound = PitchBound::of(&instrument, pin).cents_per_degree;
            assert!((cents..3.0 * cents).contains(&bound), "note {note}: {bound}");
        }
    }

    #[test]
    fn a_measured_wire_gives_its_own_bound() {
        // STR-P07's string: 15.26 cents for a degree at E 200 GPa and 7.0 mm pin.
        let string = PinString {
            kind: StringKind::Plain,
            tension_n: Estimate { value: 648.878_325_887_613_9, u: 5.0 },
            moment_nm: Estimate { value: 2.6, u: 0.1 },
            wire_m: 0.001,
            speaking_length_m: Some(0.62),
            total_length_m: Some(0.95),
            source: StringSource::Data,
        };
        let bound = PitchBound::of_string(A4, &string, 0.007);
        let expected = 15.263_758_446_453_975 * STEEL_MODULUS_PA / 200e9;
        assert!((bound.cents_per_degree / expected - 1.0).abs() < 0.001);
        let shorter = PinString { total_length_m: None, ..string };
        let least = PitchBound::of_string(A4, &shorter, 0.007).cents_per_degree;
        assert!((least / bound.cents_per_degree - 0.95 / 0.71).abs() < 0.01, "{least}");
        assert_eq!(bound.cents(-3.0), -1200.0);
    }

    #[test]
    fn excursion_and_net_are_counted_from_where_the_pin_was_found() {
        let instrument = modern_88("x", InstrumentKind::Grand);
        let readings = [turned(-0.7, 0.0, -0.1), turned(-0.6, 0.2, 0.05)];
        let both: Vec<&Reading> = readings.iter().collect();
        let cost = PitchCost::of(&instrument, A4, &both).unwrap();
        for (got, wanted) in [(cost.flat_deg, -0.7), (cost.sharp_deg, 0.1), (cost.net_deg, -0.05)] {
            assert!((got - wanted).abs() < 1e-4, "{cost:?}");
        }
        assert!(cost.flat_cents < -20.0 && cost.net_cents < 0.0 && cost.sharp_cents > 0.0);
        assert_eq!(PitchCost::of(&instrument, A4, &[]), None);
    }

    #[test]
    fn only_a_net_of_more_than_five_cents_is_to_be_retuned() {
        let mut instrument = modern_88("x", InstrumentKind::Grand);
        // A4 with 400 mm of speaking length, 600 mm of wire.
        instrument.strings.rows = vec![StringRow {
            note: 49,
            string: None,
            speaking_length_m: 0.4,
            u_speaking_length_m: None,
            wire_m: 0.001,
            u_wire_m: None,
            winding: None,
            total_length_m: Some(0.6),
        }];
        let per_degree = PitchBound::of(&instrument, A4).cents_per_degree;
        let wants =
            |reading: Reading| PitchCost::of(&instrument, A4, &[&reading]).unwrap().wants_retuning;
        assert!(!wants(turned(-1.5, 0.5, 4.8 / per_degree)), "an excursion is not a net cost");
        assert!(wants(turned(0.0, 0.0, 5.2 / per_degree)));
        assert!(wants(turned(0.0, 0.0, -5.3 / per_degree)));
        let mut asked = turned(0.0, 0.0, 0.0);
        asked.flags = reading_flags::RETUNE;
        assert!(wants(asked.clone()));
        asked.flags |= reading_flags::UNSTRUNG;
        assert!(!wants(asked), "no string, no pitch");
    }
}

//! The string scale of an invented instrument: tension, wire and stiffness by note.
//!
//! Register defaults from memory (MEM): singles 200–330 lbf, pairs 160–200, tenor 120–170,
//! middle 155–170, top 150–165; wire from .051 in (core) to .035 in. With 7.16 mm pins that gives
//! moments of about 5.0, 3.3, 2.2, 2.9 and 2.7 N·m (DER).
//!
//! Deliberately not here: any real instrument's scale.

use super::Plan;
use crate::NEWTON_PER_LBF;
use crate::wire::coil_stiffness_nm_per_rad;

const METRE_PER_INCH: f64 = 0.0254;
/// Density of steel wire, kg/m³.
const STEEL_DENSITY_KG_M3: f64 = 7850.0;

/// One note's string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaledString {
    /// Tension at target pitch, N.
    pub tension_n: f64,
    /// Wire diameter, the core's for wound strings, m.
    pub wire_diameter_m: f64,
    /// Speaking length, m.
    pub speaking_length_m: f64,
}

/// Frequency of a note in equal temperament, Hz: 440 Hz at A4 = note 49 (ISO 16:1975).
pub fn frequency_hz(note: u8) -> f64 {
    440.0 * libm::exp2((f64::from(note) - 49.0) / 12.0)
}

/// Value of a polyline through (position, value) points, ascending in position.
fn along(points: &[(f64, f64)], position: f64) -> f64 {
    let Some(first) = points.first() else { return 0.0 };
    let mut last = *first;
    if position <= last.0 {
        return last.1;
    }
    for point in points {
        if position <= point.0 {
            let share = (position - last.0) / (point.0 - last.0).max(1e-12);
            return last.1 + (point.1 - last.1) * share;
        }
        last = *point;
    }
    last.1
}

/// The scale of one note on a plan.
pub fn scaled_string(plan: &Plan, note: u8) -> ScaledString {
    let position = f64::from(note);
    let singles = f64::from(plan.single_count);
    let bass = singles + f64::from(plan.bichord_count);
    let (tension_lbf, wire_in) = if note <= plan.single_count {
        let tension = along(&[(1.0, 300.0), (singles.max(2.0), 236.0)], position);
        (tension, along(&[(1.0, 0.055), (singles.max(2.0), 0.047)], position))
    } else if note <= plan.single_count + plan.bichord_count {
        let tension = along(&[(singles + 1.0, 186.0), (bass, 174.0)], position);
        (tension, along(&[(singles + 1.0, 0.046), (bass, 0.042)], position))
    } else {
        let tenor = bass + 1.0;
        let tension = [(tenor, 118.0), (40.0, 150.0), (49.0, 160.0), (70.0, 160.0), (88.0, 150.0)];
        let wire = [(tenor, 0.043), (49.0, 0.039), (88.0, 0.035)];
        (along(&tension, position), along(&wire, position))
    };
    let tension_n = tension_lbf * NEWTON_PER_LBF;
    let wire_diameter_m = wire_in * METRE_PER_INCH;
    let speaking_length_m = if position <= bass {
        along(&[(1.0, 1.35), (bass, 0.95)], position)
    } else {
        let area_m2 = core::f64::consts::PI * wire_diameter_m * wire_diameter_m / 4.0;
        let wave_speed = (tension_n / (STEEL_DENSITY_KG_M3 * area_m2)).sqrt();
        wave_speed / (2.0 * frequency_hz(note))
    };
    ScaledString { tension_n, wire_diameter_m, speaking_length_m }
}

/// Stiffness behind and before the bearing, N·m per degree of coil.
///
/// The segment behind the bearing is 60–200 mm of wire, 0.3–0.8 N·m/deg (DER).
pub fn stiffness_nm_per_deg(string: &ScaledString, pin_m: f64, segment_m: f64) -> (f64, f64) {
    let wire_m = string.wire_diameter_m;
    let segment = coil_stiffness_nm_per_rad(wire_m, pin_m, segment_m).to_radians();
    let speaking = coil_stiffness_nm_per_rad(wire_m, pin_m, string.speaking_length_m).to_radians();
    (segment.clamp(0.3, 0.8), speaking)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::moment_nm;

    #[test]
    fn reference_frequencies() {
        // ISO 16: A4 = 440 Hz; C8 = 4186.009 Hz follows.
        assert_eq!(frequency_hz(49), 440.0);
        assert_eq!(frequency_hz(1), 27.5);
        assert!((frequency_hz(88) - 4186.009).abs() < 0.001);
    }

    #[test]
    fn moments_by_register_are_those_of_the_table() {
        let plan = Plan::grand_88(1);
        let mean = |notes: core::ops::RangeInclusive<u8>| {
            let count = notes.clone().count() as f64;
            let moment = |note| {
                let string = scaled_string(&plan, note);
                moment_nm(string.tension_n, 0.007_163, string.wire_diameter_m)
            };
            notes.map(moment).sum::<f64>() / count
        };
        assert!((mean(1..=10) - 5.04).abs() < 0.15, "{}", mean(1..=10));
        assert!((mean(11..=27) - 3.31).abs() < 0.10, "{}", mean(11..=27));
        assert!((mean(28..=29) - 2.20).abs() < 0.10, "{}", mean(28..=29));
        assert!((mean(45..=55) - 2.90).abs() < 0.10, "{}", mean(45..=55));
        assert!((mean(86..=88) - 2.69).abs() < 0.10, "{}", mean(86..=88));
    }

    #[test]
    fn speaking_lengths_are_a_piano_s() {
        let plan = Plan::grand_88(1);
        let top = scaled_string(&plan, 88).speaking_length_m;
        let middle = scaled_string(&plan, 40).speaking_length_m;
        assert!((0.04..0.07).contains(&top), "{top}");
        assert!((0.5..0.8).contains(&middle), "{middle}");
    }
}

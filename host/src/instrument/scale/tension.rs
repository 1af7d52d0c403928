//! Tension and moment of a measured string at target pitch, with their uncertainty (JCGM 100).
//!
//! Classes of uncertainty stand here for what a row does not state. Deliberately not here: strings
//! without a row ([`super::neighbours`], [`crate::instrument::moment`]).

use core::f64::consts::PI;

use super::{StringRow, StringScale, Winding, WindingMetal};
use crate::analysis::input::Estimate;
use crate::instrument::pitch::frequency_hz;
use crate::instrument::strings::{
    STEEL_DENSITY_KG_M3, STEEL_MODULUS_PA, stiffness_pull_n, string_moment_nm, wire_area_m2,
};
use crate::metrology::propagation::root_sum_of_squares;

/// Speaking length by a rule: ±1 mm, rectangular (MEM).
const LENGTH_U_M: f64 = 0.001 / SQRT_3;
/// And 0.2 % of the length, rectangular, for where agraffe and bridge pin really end it (MEM).
const LENGTH_RELATIVE_U: f64 = 0.002 / SQRT_3;
/// Music wire as delivered: ±.0004 in, rectangular (MEM, tolerance of ASTM A228 at these sizes).
const WIRE_U_M: f64 = 0.000_010_2 / SQRT_3;
/// Diameter over a winding by a caliper: ±0.02 mm, rectangular (MEM).
const OUTER_U_M: f64 = 0.000_02 / SQRT_3;
/// Density of music wire, relative: ±0.5 %, rectangular (MEM; 7850 PUB).
const DENSITY_RELATIVE_U: f64 = 0.005 / SQRT_3;
/// A stated mass per length without its uncertainty: ±1 %, rectangular (MEM).
const MASS_RELATIVE_U: f64 = 0.01 / SQRT_3;
/// Round wire laid turn to turn fills π/4 of its ring (DER); drawn tight and flattened up to
/// .89 (MEM): the middle.
const PACKING: f64 = 0.84;
/// Half of that range, rectangular.
const PACKING_U: f64 = 0.055 / SQRT_3;
/// Where unisons are really tuned, cents about equal temperament: ±5 in the middle, rectangular,
/// and the stretch towards both ends, up to 30 at C8 and 15 at A0 (MEM), as a half width.
const PITCH_CENTS: f64 = 5.0;
/// Notes of the middle, where nothing is stretched.
const UNSTRETCHED_NOTES: (f64, f64) = (28.0, 60.0);

const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// Kind of a string.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StringKind {
    /// Bare steel wire.
    Plain,
    /// A core with a winding.
    Wound,
}

impl StringKind {
    /// The word in tables and documents.
    pub const fn word(self) -> &'static str {
        match self {
            StringKind::Plain => "plain",
            StringKind::Wound => "wound",
        }
    }
}

/// A measured string at target pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pull {
    /// Tension, N.
    pub tension_n: f64,
    /// Moment about a pin of the diameter asked for, N·m.
    pub moment_nm: f64,
    /// Relative standard uncertainty of the moment from this string alone: length, wire, mass.
    pub own_relative_u: f64,
    /// The same from what all strings share: density, packing, where the pitch is set.
    pub shared_relative_u: f64,
    /// The same, of the tension, both together.
    pub tension_relative_u: f64,
}

impl StringRow {
    /// Plain or wound.
    pub const fn kind(&self) -> StringKind {
        match self.winding {
            None => StringKind::Plain,
            Some(_) => StringKind::Wound,
        }
    }

    /// Mass of the sounding string per length, kg/m. Bare ends of a wound string are so short and
    /// so near its nodes that they change nothing (under 0.02 %, DER).
    pub fn mass_kg_per_m(&self) -> f64 {
        match self.winding {
            None => core_mass_kg_per_m(self.wire_m),
            Some(Winding::Mass { mass_kg_per_m, .. }) => mass_kg_per_m,
            Some(Winding::Cover { outer_m, metal, packing, .. }) => {
                let share = packing.unwrap_or(PACKING);
                core_mass_kg_per_m(self.wire_m) + share * ring_kg_per_m(self.wire_m, outer_m, metal)
            }
        }
    }

    /// Tension at a frequency, N, with a pin of this diameter: T = m·(2Lf)² less what stiffness
    /// adds to the frequency (H. Fletcher, J. Acoust. Soc. Am. 36, 1964).
    pub fn pull(&self, a4_hz: f64, pin_diameter_m: f64) -> Pull {
        let length_m = self.speaking_length_m;
        let mass = self.mass_kg_per_m();
        let speed_m_s = 2.0 * length_m * frequency_hz(self.note, a4_hz);
        let flexible_n = mass * speed_m_s * speed_m_s;
        let stiff_n = stiffness_pull_n(STEEL_MODULUS_PA, self.wire_m, length_m);
        let tension_n = flexible_n - stiff_n;
        let arm_m = pin_diameter_m + self.wire_m;
        let default_length_u = libm::hypot(LENGTH_U_M, LENGTH_RELATIVE_U * length_m);
        let length = 2.0 * self.u_speaking_length_m.unwrap_or(default_length_u) / length_m;
        let by_wire = self.u_wire_m.unwrap_or(WIRE_U_M) / self.wire_m;
        // A thicker wire is heavier and has the longer arm: both, of one error.
        let wire_tension = self.mass_by_wire() * by_wire;
        let wire_moment = wire_tension + self.wire_m / arm_m * by_wire;
        let (own_mass, shared_mass) = self.mass_relative_u(mass);
        // Ends are neither hinged nor clamped: half of what stiffness takes is in doubt.
        let stiff = stiff_n / flexible_n / 2.0 / SQRT_3;
        let pitch = 2.0 * pitch_relative_u(self.note);
        let own = |wire: f64| root_sum_of_squares([length, wire, own_mass]);
        let shared = root_sum_of_squares([shared_mass, stiff, pitch]);
        Pull {
            tension_n,
            moment_nm: string_moment_nm(tension_n, pin_diameter_m, self.wire_m),
            own_relative_u: own(wire_moment),
            shared_relative_u: shared,
            tension_relative_u: libm::hypot(own(wire_tension), shared),
        }
    }

    /// Relative change of mass for a relative change of the wire's diameter.
    fn mass_by_wire(&self) -> f64 {
        let core = core_mass_kg_per_m(self.wire_m);
        match self.winding {
            None => 2.0,
            // Weighed: the core's diameter is in it already.
            Some(Winding::Mass { .. }) => 0.0,
            Some(Winding::Cover { metal, packing, .. }) => {
                // The core displaces winding of the same outside.
                let share = packing.unwrap_or(PACKING) * metal.density_kg_m3();
                2.0 * core * (1.0 - share / STEEL_DENSITY_KG_M3) / self.mass_kg_per_m()
            }
        }
    }

    /// Relative standard uncertainty of the mass beside the wire's: own, and shared by all strings.
    fn mass_relative_u(&self, mass: f64) -> (f64, f64) {
        match self.winding {
            None => (0.0, DENSITY_RELATIVE_U),
            Some(Winding::Mass { u_relative, .. }) => (u_relative.unwrap_or(MASS_RELATIVE_U), 0.0),
            Some(Winding::Cover { outer_m, metal, packing, u_packing }) => {
                let ring = ring_kg_per_m(self.wire_m, outer_m, metal) / mass;
                let share = packing.unwrap_or(PACKING);
                let outer = share * metal.density_kg_m3() * PI * outer_m / 2.0 * OUTER_U_M / mass;
                // A packing that was given without its doubt is not better known than half the
                // usual range.
                let given = packing.map(|_| PACKING_U / 2.0);
                let u_packing = u_packing.or(given).unwrap_or(PACKING_U);
                (outer, libm::hypot(u_packing * ring, DENSITY_RELATIVE_U))
            }
        }
    }
}

impl Pull {
    /// Tension with its standard uncertainty, N.
    pub fn tension(&self) -> Estimate {
        Estimate { value: self.tension_n, u: self.tension_n * self.tension_relative_u }
    }

    /// Moment about a pin of a diameter known to `pin_u_m`, N·m.
    pub fn moment(&self, arm_m: f64, pin_u_m: f64) -> Estimate {
        let parts = [self.own_relative_u, self.shared_relative_u, pin_u_m / arm_m];
        Estimate { value: self.moment_nm, u: self.moment_nm * root_sum_of_squares(parts) }
    }
}

impl StringScale {
    /// Rows whose numbers cannot be a piano string's, with the reason.
    pub fn implausible(&self) -> Vec<(StringRow, String)> {
        let reason = |row: &StringRow| implausible(row, self.a4_hz).map(|reason| (*row, reason));
        self.rows.iter().filter_map(reason).collect()
    }
}

/// Least and largest tension believed, N: 120 to 330 lbf occur (MEM), with room on both sides.
const TENSION_N: (f64, f64) = (250.0, 2200.0);
/// Largest stress believed, Pa: music wire breaks at 1.9 to 2.8 GPa (PUB, ASTM A228 sizes).
const STRESS_PA_MAX: f64 = 2.4e9;

/// Why a row cannot be a piano string; `None` when it can.
pub fn implausible(row: &StringRow, a4_hz: f64) -> Option<String> {
    // Without the stiffness: of absurd rows it would leave less than nothing.
    let speed_m_s = 2.0 * row.speaking_length_m * frequency_hz(row.note, a4_hz);
    let tension_n = row.mass_kg_per_m() * speed_m_s * speed_m_s;
    let (least, most) = TENSION_N;
    let hint = match row.winding {
        None if tension_n < least => "; if the string is wound, give its winding",
        _ => "",
    };
    if !(least..=most).contains(&tension_n) {
        return Some(format!(
            "it gives a tension of {tension_n:.0} N, and piano strings have {least:.0} to \
             {most:.0}: check length, wire and their units{hint}"
        ));
    }
    let stress_pa = tension_n / wire_area_m2(row.wire_m);
    (stress_pa > STRESS_PA_MAX).then(|| {
        format!(
            "its wire would carry {:.0} N/mm² and break: check length, wire and their units",
            stress_pa / 1e6
        )
    })
}

/// Mass of bare steel wire per length, kg/m.
fn core_mass_kg_per_m(wire_m: f64) -> f64 {
    STEEL_DENSITY_KG_M3 * wire_area_m2(wire_m)
}

/// Mass per length of a solid ring between core and outside, kg/m.
fn ring_kg_per_m(wire_m: f64, outer_m: f64, metal: WindingMetal) -> f64 {
    metal.density_kg_m3() * (wire_area_m2(outer_m) - wire_area_m2(wire_m))
}

/// Relative standard uncertainty of the frequency a note is really tuned to.
fn pitch_relative_u(note: u8) -> f64 {
    let (low, high) = UNSTRETCHED_NOTES;
    let note = f64::from(note);
    let stretch = if note > high {
        30.0 * (note - high) / (88.0 - high)
    } else {
        15.0 * (low - note).max(0.0) / (low - 1.0)
    };
    // ln 2 / 1200 of a frequency in a cent.
    libm::hypot(PITCH_CENTS, stretch) / SQRT_3 * core::f64::consts::LN_2 / 1200.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(note: u8, length_m: f64, wire_m: f64) -> StringRow {
        StringRow {
            note,
            string: None,
            speaking_length_m: length_m,
            u_speaking_length_m: None,
            wire_m,
            u_wire_m: None,
            winding: None,
            total_length_m: None,
        }
    }

    /// Half the difference of a quantity when one input moves by ± its uncertainty.
    fn moved(base: StringRow, change: impl Fn(&mut StringRow, f64)) -> f64 {
        let at = |sign: f64| {
            let mut row = base;
            change(&mut row, sign);
            row.pull(440.0, 0.007).moment_nm
        };
        (at(1.0) - at(-1.0)) / 2.0 / base.pull(440.0, 0.007).moment_nm
    }

    #[test]
    fn a_plain_string_pulls_what_the_formula_says_less_its_stiffness() {
        // T = ρ·(πd²/4)·(2Lf)²; C4 of 620 mm and 1 mm wire: 648.88 N, B 3.9e-4 (closed forms).
        let pull = plain(40, 0.62, 0.001).pull(440.0, 0.007);
        assert!((pull.tension_n - 648.878 * (1.0 - 3.98e-4)).abs() < 0.02, "{pull:?}");
        assert!((pull.moment_nm / pull.tension_n - 0.004).abs() < 1e-15);
    }

    #[test]
    fn own_uncertainty_is_what_moving_each_input_gives() {
        let base = StringRow {
            u_speaking_length_m: Some(0.002),
            u_wire_m: Some(0.000_02),
            ..plain(49, 0.4, 0.001)
        };
        let length = moved(base, |row, sign| row.speaking_length_m += sign * 0.002);
        let wire = moved(base, |row, sign| row.wire_m += sign * 0.000_02);
        let expected = libm::hypot(length, wire);
        let own = base.pull(440.0, 0.007).own_relative_u;
        assert!((own / expected - 1.0).abs() < 0.005, "{own} {expected}");
    }

    #[test]
    fn a_cover_weighs_what_core_and_ring_weigh() {
        let cover = Winding::Cover {
            outer_m: 0.003,
            metal: WindingMetal::Copper,
            packing: Some(0.8),
            u_packing: Some(0.02),
        };
        let base = StringRow { winding: Some(cover), ..plain(10, 1.2, 0.0012) };
        // 7850·π/4·1.2² + 0.8·8960·π/4·(3² − 1.2²), per mm².
        let mass: f64 = (7850.0 * 1.44 + 0.8 * 8960.0 * (9.0 - 1.44)) * PI / 4.0 * 1e-6;
        assert!((base.mass_kg_per_m() - mass).abs() < 1e-12);
        let with_packing = |row: &mut StringRow, sign: f64| {
            let Some(Winding::Cover { packing, .. }) = &mut row.winding else { unreachable!() };
            *packing = Some(0.8 + sign * 0.02);
        };
        let shared = base.pull(440.0, 0.007).shared_relative_u;
        let packing = moved(base, with_packing);
        let rest = [DENSITY_RELATIVE_U, 2.0 * pitch_relative_u(10)];
        let expected = root_sum_of_squares([packing, rest[0], rest[1]]);
        assert!((shared / expected - 1.0).abs() < 0.01, "{shared} {expected}");
        let wire = moved(base, |row, sign| row.wire_m += sign * WIRE_U_M);
        let by_wire = base.mass_by_wire() * WIRE_U_M / 0.0012 + WIRE_U_M / 0.0082;
        assert!((wire / by_wire - 1.0).abs() < 0.01, "{wire} {by_wire}");
    }

    #[test]
    fn a_weighed_winding_forgets_the_core_but_for_the_arm() {
        let weighed = Winding::Mass { mass_kg_per_m: 0.05, u_relative: Some(0.0) };
        let base = StringRow {
            winding: Some(weighed),
            u_speaking_length_m: Some(0.0),
            ..plain(10, 1.2, 0.0012)
        };
        let own = base.pull(440.0, 0.007).own_relative_u;
        assert!((own - WIRE_U_M / 0.0082).abs() < 1e-12, "{own}");
    }

    #[test]
    fn slips_of_unit_give_no_piano_string() {
        // A length in cm, a wire in inches taken for mm, a wound string told as plain.
        for (row, word) in [
            (plain(49, 0.039, 0.001), "tension"),
            (plain(49, 4.0, 0.001), "tension"),
            (plain(5, 1.2, 0.0013), "if the string is wound"),
            (plain(88, 0.07, 0.000_6), "break"),
        ] {
            let reason = implausible(&row, 440.0).expect("refused");
            assert!(reason.contains(word), "{reason}");
        }
        assert_eq!(implausible(&plain(49, 0.4, 0.001), 440.0), None);
    }
}

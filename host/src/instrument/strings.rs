//! Strings and wire: tension, moment about the pin, stiffness against rotation.
//!
//! Plain formulas in SI units for one string. Deliberately not here: what the strings of an
//! instrument are assumed to be when nobody measured them (see [`super::moment`]).

use core::f64::consts::PI;

/// Newtons in one pound-force (NIST SP 811: 4.4482216; exact from kg and standard gravity).
pub const NEWTONS_PER_LBF: f64 = 0.453_592_37 * 9.806_65;
/// Metres in one inch, exact (NIST SP 811).
pub const METRES_PER_INCH: f64 = 0.0254;
/// Density of steel music wire, kg/m³ (PUB: 7850 in public string tables).
pub const STEEL_DENSITY_KG_M3: f64 = 7850.0;
/// Young's modulus of steel music wire, Pa (PRAC; published values run 200 to 207 GPa).
pub const STEEL_MODULUS_PA: f64 = 205.0e9;

/// Tension of a plain string, N: T = ρ·(πd²/4)·(2Lf)².
///
/// Density in kg/m³, wire diameter and speaking length in m, fundamental in Hz.
pub fn string_tension_n(
    density_kg_m3: f64,
    diameter_m: f64,
    length_m: f64,
    frequency_hz: f64,
) -> f64 {
    let mass_per_metre = density_kg_m3 * wire_area_m2(diameter_m);
    let speed = 2.0 * length_m * frequency_hz;
    mass_per_metre * speed * speed
}

/// Tension from the mass of the speaking length, N: T = 4·m·L·f².
pub fn tension_from_mass_n(length_m: f64, mass_kg: f64, frequency_hz: f64) -> f64 {
    4.0 * mass_kg * length_m * frequency_hz * frequency_hz
}

/// Fundamental of an ideal string of this length, mass and tension, Hz: √(T/(m·L))/2.
pub fn fundamental_hz(length_m: f64, mass_kg: f64, tension_n: f64) -> f64 {
    0.5 * (tension_n / (mass_kg * length_m)).sqrt()
}

/// Speed of a transverse wave, m/s: √(T/μ).
pub fn wave_speed_m_s(tension_n: f64, mass_per_metre_kg: f64) -> f64 {
    (tension_n / mass_per_metre_kg).sqrt()
}

/// Moment of a string about its pin, N·m: the pull at the wire's centre line, T·(d_pin + d_wire)/2.
///
/// ```
/// use pinhold::instrument::strings::string_moment_nm;
/// assert!((string_moment_nm(700.0, 0.007, 0.001) - 2.8).abs() < 1e-12);
/// ```
pub fn string_moment_nm(tension_n: f64, pin_diameter_m: f64, wire_diameter_m: f64) -> f64 {
    tension_n * (pin_diameter_m + wire_diameter_m) / 2.0
}

/// Cross-section of a round wire, m².
pub fn wire_area_m2(diameter_m: f64) -> f64 {
    PI * diameter_m * diameter_m / 4.0
}

/// Diameter of music wire by gauge number, inches: (2·gauge + 5)/1000.
///
/// Whole and half gauges from 12 to 22 (ASTM A228 sizes as tabulated in public references);
/// `None` for anything else, since the lists differ from 23 up.
///
/// ```
/// use pinhold::instrument::strings::wire_diameter_inch;
/// assert_eq!(wire_diameter_inch(15.5), Some(0.036));
/// assert_eq!(wire_diameter_inch(23.0), None);
/// ```
pub fn wire_diameter_inch(gauge: f64) -> Option<f64> {
    let doubled = 2.0 * gauge;
    // A half gauge doubles to a whole number; the division keeps the decimal exact.
    let whole_or_half = doubled == doubled.trunc();
    ((24.0..=44.0).contains(&doubled) && whole_or_half).then(|| (doubled + 5.0) / 1000.0)
}

/// Diameter of music wire by gauge number, m; `None` as for [`wire_diameter_inch`].
pub fn wire_diameter_m(gauge: f64) -> Option<f64> {
    wire_diameter_inch(gauge).map(|inches| inches * METRES_PER_INCH)
}

/// Rise of tension when the pin turns sharp, N, with frictionless bearings: ΔT = E·A·r·φ/L.
///
/// `total_length_m` is the whole wire from hitch to pin and r the arm to the wire's centre line,
/// (d_pin + d_wire)/2. An upper bound on a real instrument, where bearing friction must be
/// overcome first.
pub fn tension_change_per_rotation_n(
    modulus_pa: f64,
    wire_diameter_m: f64,
    pin_diameter_m: f64,
    total_length_m: f64,
    rotation_rad: f64,
) -> f64 {
    let stretch_m = (pin_diameter_m + wire_diameter_m) / 2.0 * rotation_rad;
    modulus_pa * wire_area_m2(wire_diameter_m) * stretch_m / total_length_m
}

/// Change of pitch for a change of tension, cents: 600·log₂(1 + ΔT/T).
pub fn cents_for_tension_change(tension_n: f64, tension_change_n: f64) -> f64 {
    600.0 * libm::log2(1.0 + tension_change_n / tension_n)
}

/// Change of pitch for one degree of pin rotation, cents: the two formulas above in one.
pub fn cents_per_degree(
    modulus_pa: f64,
    wire_diameter_m: f64,
    pin_diameter_m: f64,
    total_length_m: f64,
    tension_n: f64,
) -> f64 {
    let change_n = tension_change_per_rotation_n(
        modulus_pa,
        wire_diameter_m,
        pin_diameter_m,
        total_length_m,
        1.0_f64.to_radians(),
    );
    cents_for_tension_change(tension_n, change_n)
}

/// Pull behind a bearing over the pull before it, while the wire slides over it: e^(μφ), with the
/// wrap φ in radians (Euler-Eytelwein).
///
/// ```
/// use pinhold::instrument::strings::bearing_tension_ratio;
/// assert_eq!(bearing_tension_ratio(0.2, 0.0), 1.0);
/// ```
pub fn bearing_tension_ratio(friction_coefficient: f64, wrap_rad: f64) -> f64 {
    libm::exp(friction_coefficient * wrap_rad)
}

/// What stiffness alone adds to the frequency, as a pull, N: π³·E·d⁴/(64·L²), the part of a stiff
/// string's fundamental that no tension answers for (the same source).
pub fn stiffness_pull_n(modulus_pa: f64, diameter_m: f64, length_m: f64) -> f64 {
    inharmonicity(modulus_pa, diameter_m, 1.0, length_m)
}

/// Inharmonicity coefficient of a stiff string, B = π³·E·d⁴/(64·T·L²)
/// (H. Fletcher, J. Acoust. Soc. Am. 36, 1964).
pub fn inharmonicity(modulus_pa: f64, diameter_m: f64, tension_n: f64, length_m: f64) -> f64 {
    let d2 = diameter_m * diameter_m;
    PI * PI * PI * modulus_pa * d2 * d2 / (64.0 * tension_n * length_m * length_m)
}

/// Frequency of a partial of a stiff string, Hz: n·f₀·√(1 + B·n²), n from 1 (same source).
pub fn partial_hz(ideal_fundamental_hz: f64, inharmonicity: f64, partial: u32) -> f64 {
    let n = f64::from(partial);
    n * ideal_fundamental_hz * (1.0 + inharmonicity * n * n).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "{got} is not {want}");
    }

    #[test]
    fn tension_of_a_sized_string_as_a_technicians_calculation_has_it() {
        // mmdigest.com, wire size calculation, 1996-04-25: C#5 554.37 Hz, 14 in speaking length,
        // gauges 14/15/16/17 give 151/170/190/211 lbf.
        for (gauge, printed_lbf) in [(14.0, 151.0), (15.0, 170.0), (16.0, 190.0), (17.0, 211.0)] {
            let diameter_m = wire_diameter_m(gauge).unwrap();
            let tension_n = string_tension_n(STEEL_DENSITY_KG_M3, diameter_m, 0.3556, 554.37);
            let lbf = tension_n / NEWTONS_PER_LBF;
            assert!((lbf - printed_lbf).abs() < 1.5, "gauge {gauge}: {lbf} lbf");
        }
    }

    #[test]
    fn published_string_of_middle_c() {
        // Chaigne & Askenfelt, J. Acoust. Soc. Am. 95 (1994): C4, 0.62 m, 3.93 g, 670 N, 262 Hz.
        close(fundamental_hz(0.62, 0.003_93, 670.0), 262.189_494_203_878_5, 1e-12);
        close(tension_from_mass_n(0.62, 0.003_93, 262.189_494_203_878_5), 670.0, 1e-12);
    }

    #[test]
    fn moments_of_common_strings() {
        // lbf, pin and wire inches, in·lbf: DER, T·(d_pin + d_wire)/2.
        for (lbf, wire, inch_lbf) in [(150.0, 0.035, 23.8), (268.0, 0.051, 44.6)] {
            let moment_nm = string_moment_nm(
                lbf * NEWTONS_PER_LBF,
                0.282 * METRES_PER_INCH,
                wire * METRES_PER_INCH,
            );
            let moment = moment_nm / crate::units::NM_PER_INLBF;
            assert!((moment - inch_lbf).abs() < 0.1, "{moment}");
        }
    }

    #[test]
    fn gauges_have_their_tabulated_sizes() {
        for (gauge, inch) in [(12.0, 0.029), (13.5, 0.032), (18.5, 0.042), (22.0, 0.049)] {
            assert_eq!(wire_diameter_inch(gauge), Some(inch));
        }
        for gauge in [11.5, 22.5, 13.25, f64::NAN, f64::INFINITY] {
            assert_eq!(wire_diameter_inch(gauge), None);
        }
    }

    #[test]
    fn one_degree_of_middle_c() {
        // Hooke and Taylor, closed form.
        let tension = string_tension_n(7850.0, 0.001, 0.62, 261.625_565_3);
        close(tension, 648.878_325_887_613_9, 1e-9);
        close(cents_per_degree(200e9, 0.001, 0.007, 0.95, tension), 15.263_758_446_453_975, 1e-9);
    }
}

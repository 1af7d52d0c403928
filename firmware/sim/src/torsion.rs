//! Elastic twist of round bars.
//!
//! Deliberately not here: friction. Angles in radians, lengths in metres, torque in N·m.

/// Shear modulus of steel, Pa (handbook value 11.5e6 psi = 79.3 GPa; Gere, *Mechanics of
/// Materials*, tables of material properties).
pub const STEEL_SHEAR_MODULUS_PA: f64 = 79.3e9;

/// Polar second moment of area of a solid round bar, m⁴.
pub fn polar_second_moment_m4(diameter_m: f64) -> f64 {
    let square = diameter_m * diameter_m;
    core::f64::consts::PI * square * square / 32.0
}

/// Torsional rigidity G·J of a solid round bar, N·m².
pub fn rigidity_nm2(shear_modulus_pa: f64, diameter_m: f64) -> f64 {
    shear_modulus_pa * polar_second_moment_m4(diameter_m)
}

/// Twist of a bar under one torque over its whole length, rad: T·L/(G·J).
pub fn twist_rad(torque_nm: f64, length_m: f64, rigidity_nm2: f64) -> f64 {
    torque_nm * length_m / rigidity_nm2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_solid_bar() {
        // J. M. Gere, Mechanics of Materials, Example 3.1: 1.62 degrees as printed.
        let rigidity = rigidity_nm2(11.5e6, 1.5);
        let twist_deg = twist_rad(3000.0, 54.0, rigidity).to_degrees();
        assert_eq!((twist_deg * 100.0).round() / 100.0, 1.62);
        assert!((twist_deg / 1.623_958_310_343_974 - 1.0).abs() < 1e-9);
        assert!((rigidity / 54.0 / 105_844.674_364_109_23 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn wind_up_of_the_free_part_of_a_pin() {
        // Closed form G·J/L, computed independently: stiffness and twist at 15 N·m.
        let cases = [
            (0.007, 0.03, 623.080_252_217_332_5, 1.379_335_470_250_886),
            (0.007_25, 0.025, 860.369_684_249_779_7, 0.998_915_592_249_907_8),
            (0.006_8, 0.036_5, 456.053_578_731_474_3, 1.884_508_164_779_195),
        ];
        for (diameter_m, length_m, stiffness, twist_deg) in cases {
            let rigidity = rigidity_nm2(STEEL_SHEAR_MODULUS_PA, diameter_m);
            assert!((rigidity / length_m / stiffness - 1.0).abs() < 1e-9);
            let got = twist_rad(15.0, length_m, rigidity).to_degrees();
            assert!((got / twist_deg - 1.0).abs() < 1e-9);
        }
    }
}

//! Local gravity, for turning a calibration weight into a force.

/// Standard gravity, m/s², exact by definition (NIST SP 811).
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// Normal gravity at the equator, m/s² (NIMA TR8350.2, WGS 84, 2000).
const EQUATOR: f64 = 9.780_325_335_9;
/// Somigliana's k (same source).
const K: f64 = 0.001_931_852_652_41;
/// First eccentricity squared (same source).
const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_13;

/// Normal gravity at sea level at a latitude in degrees (−90 to 90), m/s².
///
/// Somigliana's formula with the WGS 84 coefficients of NIMA TR8350.2 (2000). Local gravity
/// differs from it by up to about 1 part in 10 000, and by 3·10⁻⁶ m/s² per metre of height.
///
/// ```
/// use pinhold::instrument::gravity::normal_gravity;
/// assert!((normal_gravity(90.0) - 9.8321849378).abs() < 1e-9);
/// ```
pub fn normal_gravity(latitude_deg: f64) -> f64 {
    let sine = libm::sin(latitude_deg.to_radians());
    let sine_squared = sine * sine;
    EQUATOR * (1.0 + K * sine_squared) / (1.0 - ECCENTRICITY_SQUARED * sine_squared).sqrt()
}

/// How gravity falls with height, 1/s²: the free-air gradient near the ground (Torge, *Geodesy*,
/// 3rd ed. 2001: 3.086·10⁻⁶).
const FREE_AIR_PER_S2: f64 = 3.086e-6;

/// Normal gravity at a latitude in degrees and a height above sea level in metres, m/s².
///
/// ```
/// use pinhold::instrument::gravity::local_gravity;
/// assert!((local_gravity(46.0, 1000.0) - (local_gravity(46.0, 0.0) - 3.086e-3)).abs() < 1e-12);
/// ```
pub fn local_gravity(latitude_deg: f64, height_m: f64) -> f64 {
    normal_gravity(latitude_deg) - FREE_AIR_PER_S2 * height_m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_values_at_equator_and_pole() {
        assert!((normal_gravity(0.0) - 9.780_325_335_9).abs() < 1e-9);
        assert!((normal_gravity(90.0) - 9.832_184_937_8).abs() < 1e-9);
        assert_eq!(normal_gravity(-45.0).to_bits(), normal_gravity(45.0).to_bits());
    }
}

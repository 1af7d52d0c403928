//! Wood and the air round it: the moisture it tends to, how slowly, and how it moves.
//!
//! USDA Forest Products Laboratory, *Wood Handbook* (FPL-GTR-190, 2010): equation 4-5 for the
//! equilibrium moisture content (Hailwood and Horrobin's form; W. T. Simpson, FPL-RN-0268, 1998),
//! equation 13-2 and table 13-5 for dimensions. The first-order approach is a choice of modelling.
//! Deliberately not here: torque. How it follows moisture is asked of the instrument's own surveys
//! ([`super::moisture`]), never taken from shrinkage.

use super::HistoryError;

/// Temperatures the equation is tabled for, °C: −1.1 to 54.4 (30 to 130 °F).
pub const CELSIUS_RANGE: (f64, f64) = (-1.2, 54.5);

/// Air, as wood feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature, °C, within [`CELSIUS_RANGE`].
    pub celsius: f64,
    /// Relative humidity, 0 to 1.
    pub humidity: f64,
}

/// Moisture content wood tends to in this air, percent of its dry mass.
///
/// # Errors
/// When temperature or humidity is outside its range.
pub fn equilibrium_moisture_percent(air: Air) -> Result<f64, HistoryError> {
    let (low, high) = CELSIUS_RANGE;
    if !(low..=high).contains(&air.celsius) {
        return Err(HistoryError::OutOfRange { what: "the temperature" });
    }
    if !(0.0..=1.0).contains(&air.humidity) {
        return Err(HistoryError::OutOfRange { what: "the relative humidity" });
    }
    Ok(moisture(air.celsius, air.humidity))
}

fn moisture(t: f64, h: f64) -> f64 {
    let at = |[constant, linear, square]: [f64; 3]| constant + t * (linear + t * square);
    let w = at([349.0, 1.29, 0.0135]);
    let k = at([0.805, 0.000_736, -0.000_002_73]);
    let k1 = at([6.27, -0.009_38, -0.000_303]);
    let k2 = at([1.91, 0.0407, -0.000_293]);
    let kh = k * h;
    let (first, second) = (k1 * kh, k1 * k2 * kh * kh);
    1800.0 / w * (kh / (1.0 - kh) + (first + 2.0 * second) / (1.0 + first + second))
}

/// Relative humidity, 0 to 1, in which wood of this moisture would neither take up water nor give
/// it off.
///
/// # Errors
/// When the temperature is outside its range, or no air makes wood so moist.
pub fn humidity_for_moisture(percent: f64, celsius: f64) -> Result<f64, HistoryError> {
    let most = equilibrium_moisture_percent(Air { celsius, humidity: 1.0 })?;
    if !(0.0..=most).contains(&percent) {
        return Err(HistoryError::OutOfRange { what: "the moisture content" });
    }
    // It rises with humidity throughout: halving finds the one place.
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if moisture(celsius, middle) < percent { low = middle } else { high = middle }
    }
    Ok(0.5 * (low + high))
}

/// How a wood moves with moisture, within 6 to 14 percent: change of size per percent point, as a
/// share of the size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Movement {
    /// Across the growth rings.
    pub radial: f64,
    /// Along them.
    pub tangential: f64,
}

/// Sugar maple, the common wood of pinblocks (table 13-5).
pub const SUGAR_MAPLE: Movement = Movement { radial: 0.001_65, tangential: 0.003_53 };
/// American beech (table 13-5).
pub const AMERICAN_BEECH: Movement = Movement { radial: 0.001_90, tangential: 0.004_31 };

/// Change of a size, in its unit, between two moisture contents: positive where it grows.
pub fn size_change(size: f64, coefficient: f64, from_percent: f64, to_percent: f64) -> f64 {
    size * coefficient * (to_percent - from_percent)
}

/// Coefficient per percent point from the shrinkage, percent, between green and oven-dry.
///
/// # Errors
/// When the shrinkage is not above 0 and below 100.
pub fn coefficient_from_shrinkage(shrinkage_percent: f64) -> Result<f64, HistoryError> {
    if !(shrinkage_percent > 0.0 && shrinkage_percent < 100.0) {
        return Err(HistoryError::OutOfRange { what: "the shrinkage" });
    }
    // Green is 30 percent, the range's middle 10 percent.
    Ok(1.0 / (3000.0 / shrinkage_percent - 30.0 + 10.0))
}

/// Moisture, percent, that was `from_percent` and has tended to `to_percent` for `days`: the
/// distance falls to 1/e within `constant_days`.
///
/// # Errors
/// When the time constant is not above 0, a number is not finite, or `days` is below 0.
pub fn moisture_after(
    from_percent: f64,
    to_percent: f64,
    constant_days: f64,
    days: f64,
) -> Result<f64, HistoryError> {
    let finite = from_percent.is_finite() && to_percent.is_finite() && days.is_finite();
    if !(finite && days >= 0.0 && constant_days > 0.0 && constant_days.is_finite()) {
        return Err(HistoryError::OutOfRange { what: "a moisture, a time or its constant" });
    }
    Ok(to_percent + (from_percent - to_percent) * libm::exp(-days / constant_days))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn out_of_range_is_told() {
        let air = |celsius, humidity| equilibrium_moisture_percent(Air { celsius, humidity });
        assert!(air(20.0, 1.01).is_err() && air(20.0, f64::NAN).is_err());
        assert!(air(-10.0, 0.5).is_err() && air(f64::NAN, 0.5).is_err());
        assert_eq!(air(20.0, 0.0), Ok(0.0));
        assert!(humidity_for_moisture(40.0, 20.0).is_err());
        assert!(humidity_for_moisture(8.0, 90.0).is_err());
        assert!(coefficient_from_shrinkage(0.0).is_err());
        assert!(moisture_after(8.0, 11.0, 0.0, 3.0).is_err());
        assert!(moisture_after(8.0, 11.0, 20.0, -3.0).is_err());
    }

    #[test]
    fn moisture_rises_with_humidity_everywhere() {
        for celsius in [0.0, 10.0, 20.0, 30.0, 50.0] {
            let at = |step: u32| moisture(celsius, f64::from(step) / 100.0);
            assert!((0..100).all(|step| at(step) < at(step + 1)), "{celsius}");
        }
    }
}

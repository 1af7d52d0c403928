//! Control charts: is a quantity that should stay as it is staying?
//!
//! Individuals with their moving range (W. A. Shewhart's limits at three standard deviations, taken
//! from the mean moving range over d₂ = 1.128), and the exponentially weighted mean, which sees a
//! small lasting shift sooner (S. W. Roberts, 1959). Sources: NIST/SEMATECH e-Handbook of
//! Statistical Methods, 6.3.2.2 and 6.3.2.4. For a lever's checks and an instrument's steady pins.

use super::{HistoryError, checked};
use crate::analysis::stats::mean;

/// Expected range of two normal values, in standard deviations: 2/√π.
const D2_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;
/// Upper limit of the moving range of two, in mean ranges: 1 + 3·d₃/d₂ (the handbooks' 3.267).
const D4_OF_TWO: f64 = 3.266_531_7;
/// Standard deviations of a Shewhart chart's limits.
pub const LIMIT_FACTOR: f64 = 3.0;

/// A chart's point with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartPoint {
    /// The value charted.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl ChartPoint {
    /// Whether the point lies outside its limits.
    pub fn is_out(self) -> bool {
        self.value < self.low || self.value > self.high
    }
}

/// Individuals and moving ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Individuals {
    /// Mean of the values.
    pub centre: f64,
    /// Standard deviation from the mean moving range.
    pub sd: f64,
    /// Each value with limits.
    pub points: Vec<ChartPoint>,
    /// Distance of each value from the one before, with limits; one fewer.
    pub ranges: Vec<ChartPoint>,
}

/// Chart of individuals and moving ranges.
///
/// # Errors
/// For fewer than three values, one that is no number, or all the same.
pub fn individuals(values: &[f64]) -> Result<Individuals, HistoryError> {
    checked(values, 3)?;
    let ranges: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let mean_range = mean(&ranges).unwrap_or(0.0);
    if mean_range == 0.0 {
        return Err(HistoryError::AllTied);
    }
    let centre = mean(values).unwrap_or(0.0);
    let sd = mean_range / D2_OF_TWO;
    let (low, high) = (centre - LIMIT_FACTOR * sd, centre + LIMIT_FACTOR * sd);
    let range_high = D4_OF_TWO * mean_range;
    let point = |value: &f64| ChartPoint { value: *value, low, high };
    let range = |value: &f64| ChartPoint { value: *value, low: 0.0, high: range_high };
    Ok(Individuals {
        centre,
        sd,
        points: values.iter().map(point).collect(),
        ranges: ranges.iter().map(range).collect(),
    })
}

/// How an exponentially weighted mean is set up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    /// Weight of the newest value, above 0 and at most 1.
    pub weight: f64,
    /// Where it starts: the value aimed at.
    pub target: f64,
    /// Standard deviation of a value, above 0.
    pub sd: f64,
    /// Standard deviations of the limits, above 0.
    pub factor: f64,
}

impl Ewma {
    /// The weighted mean after each value, with the limits of that moment: narrow at the start, as
    /// few values are in it yet.
    ///
    /// # Errors
    /// When the set-up is out of range or a value is no number.
    pub fn chart(&self, values: &[f64]) -> Result<Vec<ChartPoint>, HistoryError> {
        self.check()?;
        checked(values, 1)?;
        let keep = 1.0 - self.weight;
        let (mut level, mut kept) = (self.target, 1.0);
        let point = |value: &f64| {
            level = self.weight * value + keep * level;
            kept *= keep * keep;
            let half = self.half_width() * (1.0 - kept).sqrt();
            ChartPoint { value: level, low: self.target - half, high: self.target + half }
        };
        Ok(values.iter().map(point).collect())
    }

    /// The limits a long chart settles at.
    ///
    /// # Errors
    /// When the set-up is out of range.
    pub fn settled_limits(&self) -> Result<(f64, f64), HistoryError> {
        self.check()?;
        Ok((self.target - self.half_width(), self.target + self.half_width()))
    }

    fn half_width(&self) -> f64 {
        self.factor * self.sd * (self.weight / (2.0 - self.weight)).sqrt()
    }

    fn check(&self) -> Result<(), HistoryError> {
        let above = |value: f64| value > 0.0 && value.is_finite();
        let fits = above(self.sd) && above(self.factor) && self.target.is_finite();
        if fits && above(self.weight) && self.weight <= 1.0 {
            return Ok(());
        }
        Err(HistoryError::OutOfRange { what: "the chart's set-up" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn individuals_follow_the_handbook() {
        // NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches: centre 50.81, mean moving
        // range 1.8778, limits 55.8041 and 45.8159, printed there and carried over from memory.
        let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = individuals(&flow).unwrap();
        assert!((chart.centre - 50.81).abs() < 1e-9);
        // The handbook rounds d2 to 1.128.
        let point = chart.points[0];
        assert!((point.high - 55.8041).abs() < 2e-3 && (point.low - 45.8159).abs() < 2e-3);
        assert!(chart.points.iter().chain(&chart.ranges).all(|point| !point.is_out()));
        // 3.267 in the handbooks' tables.
        assert!((chart.ranges[0].high / 1.877_777_8 - 3.267).abs() < 1e-3);
    }

    #[test]
    fn a_jump_is_out_of_limits() {
        let mut values: Vec<f64> = (0..20).map(|at| 5.0 + 0.1 * f64::from(at % 3)).collect();
        values.push(6.5);
        let chart = individuals(&values).unwrap();
        assert!(chart.points[20].is_out() && chart.ranges[19].is_out());
        assert_eq!(chart.points.iter().filter(|point| point.is_out()).count(), 1);
    }

    #[test]
    fn what_says_nothing_is_told() {
        assert_eq!(individuals(&[1.0; 5]), Err(HistoryError::AllTied));
        assert!(individuals(&[1.0, 2.0]).is_err());
        let bad = Ewma { weight: 0.0, target: 0.0, sd: 1.0, factor: 3.0 };
        assert!(bad.chart(&[1.0]).is_err() && bad.settled_limits().is_err());
        let good = Ewma { weight: 0.2, ..bad };
        assert!(good.chart(&[f64::NAN]).is_err());
    }
}

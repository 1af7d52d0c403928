//! How unlike values are at a distance: the empirical variogram, a curve through it, and what it
//! says about holes and wood.
//!
//! G. Matheron's estimator ("Principles of geostatistics", *Economic Geology* 58, 1963, 1246–1266)
//! over bins of equal width; curves fitted by least squares with weights N/h², after N. Cressie,
//! *Mathematical Geology* 17 (1985) 563–586, in E. Pebesma's simpler form. Independent of the
//! field model's likelihood, and so a second opinion on it. Deliberately not here: kriging.

use serde::Serialize;

use super::weights::separation;

/// Ranges tried before the best is narrowed down, evenly on a logarithmic scale.
const RANGE_COUNT: usize = 64;
/// Halvings of the interval about the best range (golden section): to 1e-10 of it.
const NARROWING_COUNT: usize = 60;
/// Golden section.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// Pairs of values some distance apart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct VariogramBin {
    /// Pairs.
    pub pair_count: usize,
    /// Their mean distance, in the places' unit.
    pub mean_distance: f64,
    /// Half their mean squared difference, in the values' unit squared.
    pub semivariance: f64,
}

/// Half the mean squared difference of pairs by distance, in bins (0, w], (w, 2w] … of
/// `bin_width`; pairs farther apart than the last bin are left out, and bins without a pair.
///
/// Empty when `bin_width` is not above zero. Coordinates and values must be finite.
pub fn empirical(
    places: &[[f64; 2]],
    values: &[f64],
    bin_width: f64,
    bin_count: usize,
) -> Vec<VariogramBin> {
    if bin_width.is_nan() || bin_width <= 0.0 {
        return Vec::new();
    }
    let mut sums = vec![(0_usize, 0.0, 0.0); bin_count];
    let count = places.len().min(values.len());
    for one in 0..count {
        for other in 0..one {
            let distance = separation(&places[one], &places[other]);
            let bin = (distance / bin_width).ceil().max(1.0) as usize - 1;
            let Some(sum) = sums.get_mut(bin) else { continue };
            let difference = values[one] - values[other];
            *sum = (sum.0 + 1, sum.1 + distance, sum.2 + difference * difference);
        }
    }
    let filled = sums.into_iter().filter(|(pairs, ..)| *pairs > 0);
    filled
        .map(|(pair_count, distances, squares)| VariogramBin {
            pair_count,
            mean_distance: distances / pair_count as f64,
            semivariance: squares / (2.0 * pair_count as f64),
        })
        .collect()
}

/// How a variogram rises to its sill.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum VariogramShape {
    /// Reaches the sill at the range: 1.5 h/a − 0.5 (h/a)³.
    Spherical,
    /// Nears the sill: 1 − exp(−h/a); 95 % of it at three ranges.
    Exponential,
}

impl VariogramShape {
    /// Share of the sill reached at a distance in ranges, 0–1.
    pub fn rise(self, ranges: f64) -> f64 {
        match self {
            VariogramShape::Spherical if ranges >= 1.0 => 1.0,
            VariogramShape::Spherical => 1.5 * ranges - 0.5 * ranges * ranges * ranges,
            VariogramShape::Exponential => 1.0 - libm::exp(-ranges),
        }
    }
}

/// A curve through a variogram.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct VariogramModel {
    /// How it rises.
    pub shape: VariogramShape,
    /// What values at one place differ by: scatter from hole to hole, and measurement. Values'
    /// unit squared, at least 0.
    pub nugget: f64,
    /// What distance adds at most, values' unit squared, at least 0.
    pub partial_sill: f64,
    /// Distance over which it does, places' unit, above 0.
    pub range: f64,
}

impl VariogramModel {
    /// Semivariance at a distance above zero.
    pub fn semivariance(&self, distance: f64) -> f64 {
        self.nugget + self.partial_sill * self.shape.rise(distance / self.range)
    }

    /// Covariance of what neighbours share (the nugget left out) at a distance.
    pub fn covariance(&self, distance: f64) -> f64 {
        self.partial_sill * (1.0 - self.shape.rise(distance / self.range))
    }

    /// Covariance of two readings at a distance: at one place the nugget too, as they are then one
    /// and the same.
    pub fn covariance_of_readings(&self, distance: f64) -> f64 {
        let own = if distance == 0.0 { self.nugget } else { 0.0 };
        own + self.covariance(distance)
    }

    /// Distance from which on the covariance is exactly zero; infinite where it never is.
    pub fn reach(&self) -> f64 {
        match self.shape {
            VariogramShape::Spherical => self.range,
            VariogramShape::Exponential => f64::INFINITY,
        }
    }
}

/// The curve of this shape nearest to the bins, each weighted by its pairs over its squared
/// distance. Nugget and sill are linear and solved for at each range, the range is searched.
///
/// `None` with fewer than three bins, or bins that are not finite.
pub fn fit(bins: &[VariogramBin], shape: VariogramShape) -> Option<VariogramModel> {
    let usable = bins.iter().all(|bin| {
        bin.mean_distance.is_finite() && bin.mean_distance > 0.0 && bin.semivariance.is_finite()
    });
    if bins.len() < 3 || !usable {
        return None;
    }
    let distances = || bins.iter().map(|bin| bin.mean_distance);
    let least = libm::log(0.5 * distances().fold(f64::MAX, f64::min));
    let greatest = libm::log(3.0 * distances().fold(0.0, f64::max));
    let step = (greatest - least) / (RANGE_COUNT - 1) as f64;
    let cost = |log_range: f64| at_range(bins, shape, libm::exp(log_range)).1;
    let tried = (0..RANGE_COUNT).map(|i| least + step * i as f64);
    let best = tried.min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
    let (mut low, mut high) = (best - step, best + step);
    for _ in 0..NARROWING_COUNT {
        let (one, other) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if cost(one) <= cost(other) {
            high = other;
        } else {
            low = one;
        }
    }
    Some(at_range(bins, shape, libm::exp(0.5 * (low + high))).0)
}

/// Best nugget and sill at a range, and the weighted sum of squares they leave.
fn at_range(bins: &[VariogramBin], shape: VariogramShape, range: f64) -> (VariogramModel, f64) {
    let rows = || {
        bins.iter().map(|bin| {
            let weight = bin.pair_count as f64 / (bin.mean_distance * bin.mean_distance);
            (weight, shape.rise(bin.mean_distance / range), bin.semivariance)
        })
    };
    let sum = |of: fn((f64, f64, f64)) -> f64| rows().fold(0.0, |sum, row| sum + of(row));
    let w = sum(|(w, ..)| w);
    let wr = sum(|(w, r, _)| w * r);
    let wrr = sum(|(w, r, _)| w * r * r);
    let wg = sum(|(w, _, g)| w * g);
    let wrg = sum(|(w, r, g)| w * r * g);
    let determinant = w * wrr - wr * wr;
    let only_nugget = (wg / w, 0.0);
    let only_sill = (0.0, wrg / wrr);
    let both = ((wrr * wg - wr * wrg) / determinant, (w * wrg - wr * wg) / determinant);
    let left = |(nugget, sill): (f64, f64)| {
        rows().fold(0.0, |sum, (w, r, g)| {
            let off = g - nugget - sill * r;
            sum + w * off * off
        })
    };
    // Where the free minimum is not allowed, the least lies on an edge.
    let (nugget, partial_sill) = if both.0 >= 0.0 && both.1 >= 0.0 {
        both
    } else if left(only_nugget) <= left(only_sill) {
        only_nugget
    } else {
        only_sill
    };
    let model = VariogramModel { shape, nugget, partial_sill, range };
    (model, left((nugget, partial_sill)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_hold_their_pairs() {
        let places = [[0.0, 0.0], [1.0, 0.0], [3.0, 0.0], [3.0, 0.0]];
        let bins = empirical(&places, &[0.0, 2.0, 4.0, 5.0], 1.0, 3);
        // Distances 0, 1, 2, 2, 3, 3.
        let counts: Vec<usize> = bins.iter().map(|bin| bin.pair_count).collect();
        assert_eq!(counts, [2, 2, 2]);
        assert_eq!((bins[0].mean_distance, bins[0].semivariance), (0.5, (1.0 + 4.0) / 4.0));
        assert_eq!(bins[1].semivariance, (4.0 + 9.0) / 4.0);
        assert!(empirical(&places, &[1.0; 4], 0.0, 3).is_empty());
        assert!(empirical(&places, &[1.0; 4], f64::NAN, 3).is_empty());
        assert_eq!(empirical(&places, &[1.0; 4], 1e-300, 3).len(), 1);
    }

    fn bins_of(model: VariogramModel) -> Vec<VariogramBin> {
        (1..=12)
            .map(|i| {
                let mean_distance = f64::from(i) * 0.03;
                let semivariance = model.semivariance(mean_distance);
                VariogramBin { pair_count: 100 + 10 * i as usize, mean_distance, semivariance }
            })
            .collect()
    }

    #[test]
    fn a_curve_is_found_again() {
        for shape in [VariogramShape::Spherical, VariogramShape::Exponential] {
            let model = VariogramModel { shape, nugget: 0.012, partial_sill: 0.03, range: 0.17 };
            let got = fit(&bins_of(model), shape).expect("bins");
            assert!((got.nugget - model.nugget).abs() < 1e-7, "{got:?}");
            assert!((got.partial_sill - model.partial_sill).abs() < 1e-7, "{got:?}");
            assert!((got.range - model.range).abs() < 1e-6, "{got:?}");
            assert!((got.covariance(0.0) - got.partial_sill).abs() < 1e-15);
            let one = got.covariance_of_readings(0.0);
            assert!((one - got.nugget - got.partial_sill).abs() < 1e-15);
            let reach = got.reach();
            assert!(reach.is_infinite() || got.covariance_of_readings(reach) == 0.0);
        }
    }

    #[test]
    fn what_falls_or_is_flat_has_no_negative_part() {
        let flat = VariogramModel {
            shape: VariogramShape::Spherical,
            nugget: 0.02,
            partial_sill: 0.0,
            range: 0.1,
        };
        let mut bins = bins_of(flat);
        let got = fit(&bins, VariogramShape::Spherical).expect("bins");
        assert!((got.semivariance(0.2) - 0.02).abs() < 1e-9, "{got:?}");
        for (i, bin) in bins.iter_mut().enumerate() {
            bin.semivariance = 1.0 - 0.05 * i as f64;
        }
        let got = fit(&bins, VariogramShape::Exponential).expect("bins");
        assert!(got.nugget >= 0.0 && got.partial_sill >= 0.0 && got.range > 0.0, "{got:?}");
        bins[3].semivariance = f64::NAN;
        assert_eq!(fit(&bins, VariogramShape::Exponential), None);
        assert_eq!(fit(&bins[..2], VariogramShape::Exponential), None);
    }
}

//! Ordinary kriging of many places by a covariance that ends (E. H. Isaaks and R. M. Srivastava,
//! *An Introduction to Applied Geostatistics*, 1989, chapter 12), by the machinery of the map.
//!
//! The map itself has more shapes than one constant; this is the plain case, in which it can be
//! compared with other programs number by number.

use super::linear::{Design, LinearField};
use super::window::{LANES, Lanes, Window};

/// Estimate and kriging variance at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kriged {
    /// Estimate, in the unit of the values.
    pub value: f64,
    /// Kriging variance, in its square.
    pub variance: f64,
}

/// Kriges `values` observed at `points` to `cells`, with no noise beside what the covariance has.
///
/// `covariance` of a distance is 0 from `reach` on; a nugget is a covariance higher at 0 than just
/// beyond. `None` when lengths differ, a number is not finite, there is no point, or the system is
/// not positive definite (two points at one place).
pub fn ordinary_kriging(
    points: &[[f64; 2]],
    values: &[f64],
    covariance: impl Fn(f64) -> f64,
    reach: f64,
    cells: &[[f64; 2]],
) -> Option<Vec<Kriged>> {
    let finite = |all: &[[f64; 2]]| all.iter().flatten().all(|x| x.is_finite());
    let all_finite = finite(points) && finite(cells) && values.iter().all(|v| v.is_finite());
    if points.is_empty() || points.len() != values.len() || !all_finite || reach.is_nan() {
        return None;
    }
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|a, b| points[*a][0].total_cmp(&points[*b][0]).then(a.cmp(b)));
    let sorted: Vec<[f64; 2]> = order.iter().map(|i| points[*i]).collect();
    let observed: Vec<f64> = order.iter().map(|i| values[*i]).collect();
    let between = |a: [f64; 2], b: [f64; 2]| {
        let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
        let distance = (dx * dx + dy * dy).sqrt();
        if distance < reach { covariance(distance) } else { 0.0 }
    };
    let design = Design::from_rows(1, sorted.iter().map(|_| vec![1.0]));
    let noise = vec![0.0; sorted.len()];
    let field =
        LinearField::fit_correlated(&design, &observed, &noise, &[f64::INFINITY], |i, j| {
            between(sorted[i], sorted[j])
        })?;
    let window = Window::new(&field)?;
    let constant = window.shape_part(&[1.0], 0..sorted.len());
    let own = covariance(0.0);
    let mut kriged = Vec::with_capacity(cells.len());
    let (mut active, mut cross) = (Vec::new(), Vec::new());
    for together in cells.chunks(LANES) {
        let x = together.iter().map(|cell| cell[0]);
        let (low, high) = x.fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
        let from = sorted.partition_point(|point| point[0] <= low - reach);
        active.clear();
        cross.clear();
        for (i, point) in sorted.iter().enumerate().skip(from) {
            if point[0] >= high + reach {
                break;
            }
            let mut lanes: Lanes = [0.0; LANES];
            for (lane, cell) in lanes.iter_mut().zip(together) {
                *lane = between(*point, *cell);
            }
            if lanes.iter().any(|lane| *lane != 0.0) {
                active.push(i);
                cross.push(lanes);
            }
        }
        let part = window.reach_part(&active, &cross);
        for lane in 0..together.len() {
            let linked = active
                .iter()
                .zip(&cross)
                .fold(0.0, |sum, (observation, k)| sum + constant.links[*observation] * k[lane]);
            let open = own + constant.spread[0] - 2.0 * linked - part.known[lane];
            let value = constant.mean + part.mean[lane];
            kriged.push(Kriged { value, variance: open.max(0.0) });
        }
    }
    Some(kriged)
}

#[cfg(test)]
mod tests {
    use super::super::super::random::Random;
    use super::*;

    fn spherical(distance: f64) -> f64 {
        let h = distance / 0.3;
        if h >= 1.0 { 0.0 } else { 1.0 - 1.5 * h + 0.5 * h * h * h }
    }

    #[test]
    fn windows_of_observations_are_the_whole_system() {
        let mut random = Random::new(11);
        let points: Vec<[f64; 2]> =
            (0..60).map(|_| [1.2 * random.uniform(), 0.1 * random.uniform()]).collect();
        let values: Vec<f64> = (0..60).map(|_| 9.0 + random.normal()).collect();
        let cells: Vec<[f64; 2]> =
            (0..43).map(|_| [1.6 * random.uniform() - 0.2, 0.1 * random.uniform()]).collect();
        let quick = ordinary_kriging(&points, &values, spherical, 0.3, &cells).expect("definite");
        let distance = |a: &[f64; 2], b: &[f64; 2]| {
            ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
        };
        let design = Design::from_rows(1, points.iter().map(|_| vec![1.0]));
        let flat = [f64::INFINITY];
        let whole = LinearField::fit_correlated(&design, &values, &[0.0; 60], &flat, |i, j| {
            spherical(distance(&points[i], &points[j]))
        })
        .expect("definite");
        for (cell, kriged) in cells.iter().zip(&quick) {
            let cross: Vec<f64> = points.iter().map(|p| spherical(distance(p, cell))).collect();
            assert!((kriged.value - whole.mean(&[1.0], &cross)).abs() < 1e-10);
            assert!((kriged.variance - whole.variance(&[1.0], &cross, 1.0)).abs() < 1e-10);
        }
    }

    #[test]
    fn a_point_is_kriged_to_itself_and_nonsense_to_nothing() {
        let points = [[0.0, 0.0], [0.1, 0.0], [0.25, 0.1]];
        let values = [3.0, 5.0, 4.0];
        let quick = ordinary_kriging(&points, &values, spherical, 0.3, &points).expect("definite");
        for (kriged, value) in quick.iter().zip(values) {
            assert!((kriged.value - value).abs() < 1e-12 && kriged.variance < 1e-12);
        }
        let same = [[0.0, 0.0]; 3];
        assert_eq!(ordinary_kriging(&same, &values, spherical, 0.3, &points), None);
        assert_eq!(ordinary_kriging(&points, &values[..2], spherical, 0.3, &points), None);
        assert_eq!(ordinary_kriging(&[], &[], spherical, 0.3, &points), None);
        let broken = [[f64::NAN, 0.0]];
        assert_eq!(ordinary_kriging(&points, &values, spherical, 0.3, &broken), None);
    }
}

//! Getis and Ord's local G: is the neighbourhood of a place high or low as a whole?
//!
//! After J. K. Ord and A. Getis, "Local spatial autocorrelation statistics", *Geographical
//! Analysis* 27 (1995) 286–306, equations 12 to 14. Deliberately not here: how many of many such
//! tests to believe ([`super::many_tests`]).

use super::centre_of;
use super::weights::Weights;

/// For every place, how far the weighted sum of its neighbours, itself left out, lies above what
/// chance would give, in standard deviations.
///
/// `None` where there is no neighbour, everyone is one, or the other values do not vary; and for
/// all when values and weights are not of one count.
pub fn local_g(values: &[f64], weights: &Weights) -> Vec<Option<f64>> {
    (0..values.len()).map(|place| one(values, weights, place)).collect()
}

/// As [`local_g`], with the place itself among its neighbours at weight `own` (1 beside binary
/// weights): G*.
pub fn local_g_star(values: &[f64], weights: &Weights, own: f64) -> Vec<Option<f64>> {
    let (mean, squares) = centre_of(values);
    let n = values.len() as f64;
    (0..values.len())
        .map(|place| {
            let sums = Neighbourhood::of(values, weights, place)?;
            let sum = sums.weighted + own * values[place];
            let (weight, square) = (sums.weight + own, sums.square + own * own);
            standardised(
                sum - weight * mean,
                squares / n,
                (n * square - weight * weight) / (n - 1.0),
            )
        })
        .collect()
}

fn one(values: &[f64], weights: &Weights, place: usize) -> Option<f64> {
    let sums = Neighbourhood::of(values, weights, place)?;
    let others: Vec<f64> =
        values.iter().enumerate().filter(|(i, _)| *i != place).map(|(_, value)| *value).collect();
    let (mean, squares) = centre_of(&others);
    let m = others.len() as f64;
    let spread = (m * sums.square - sums.weight * sums.weight) / (m - 1.0);
    standardised(sums.weighted - sums.weight * mean, squares / m, spread)
}

fn standardised(difference: f64, variance: f64, spread: f64) -> Option<f64> {
    let z = difference / (variance * spread).sqrt();
    z.is_finite().then_some(z)
}

/// Sums over a place's neighbours, itself left out.
struct Neighbourhood {
    weighted: f64,
    weight: f64,
    square: f64,
}

impl Neighbourhood {
    fn of(values: &[f64], weights: &Weights, place: usize) -> Option<Neighbourhood> {
        if values.len() != weights.count() || values.len() < 3 {
            return None;
        }
        let start = Neighbourhood { weighted: 0.0, weight: 0.0, square: 0.0 };
        let others = weights.neighbours(place).iter().filter(|(to, _)| *to != place);
        let sums = others.fold(start, |sums, (to, weight)| Neighbourhood {
            weighted: sums.weighted + weight * values[*to],
            weight: sums.weight + weight,
            square: sums.square + weight * weight,
        });
        (sums.weight > 0.0).then_some(sums)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_low_corner_shows_low_and_only_there() {
        let places: Vec<[f64; 2]> = (0..64).map(|i| [f64::from(i % 8), f64::from(i / 8)]).collect();
        let values: Vec<f64> = (0..64)
            .map(|i| if i % 8 < 2 && i / 8 < 2 { 1.0 } else { 9.0 + f64::from((i * 5) % 7) * 0.1 })
            .collect();
        let weights = Weights::within(&places, 1.5);
        for star in [local_g(&values, &weights), local_g_star(&values, &weights, 1.0)] {
            let z: Vec<f64> = star.into_iter().map(|z| z.expect("neighbours")).collect();
            assert!(z[0] < -5.0 && z[63] > 0.0);
            assert!(z.iter().skip(27).all(|z| *z > -1.0));
        }
    }

    #[test]
    fn no_neighbour_or_no_variation_is_no_answer() {
        let alone = Weights::within(&[[0.0, 0.0], [1.0, 0.0], [50.0, 0.0]], 1.0);
        assert_eq!(local_g(&[1.0, 2.0, 3.0], &alone)[2], None);
        assert_eq!(local_g(&[2.0; 3], &alone), [None; 3]);
        assert_eq!(local_g_star(&[2.0; 3], &alone, 1.0), [None; 3]);
        assert_eq!(local_g(&[1.0, 2.0], &alone), [None; 2]);
    }
}

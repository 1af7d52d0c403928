//! One-way analysis of variance: how values scatter within groups and between them.
//!
//! A group is a pin read again and again, a person, a day. Components of variance after the
//! method of moments (JCGM 100, H.5). Deliberately not here: nested or crossed groups.

use super::double::{Double, sum};
use super::lack_of_fit::FTest;

/// What scatters how much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWay {
    /// Mean of all values.
    pub mean: f64,
    /// Squares of the groups' means about the mean of all.
    pub between_ss: f64,
    /// Groups less one.
    pub between_dof: u32,
    /// Squares of the values about their groups' means.
    pub within_ss: f64,
    /// Values less groups.
    pub within_dof: u32,
    /// Whether the groups differ by more than the scatter within.
    pub test: FTest,
    /// Share of all squares that lies between the groups, 0–1; NaN when all values are equal.
    pub r_squared: f64,
    /// Values of a typical group: their number, corrected where it varies.
    pub typical_count: f64,
}

impl OneWay {
    /// Standard deviation within a group: repeatability.
    pub fn within_sd(&self) -> f64 {
        (self.within_ss / f64::from(self.within_dof)).sqrt()
    }

    /// Variance between the groups' true means; below zero when the groups' means lie closer
    /// together than the scatter within explains.
    pub fn between_variance(&self) -> f64 {
        let between = self.between_ss / f64::from(self.between_dof);
        (between - self.within_ss / f64::from(self.within_dof)) / self.typical_count
    }

    /// Standard deviation between the groups' true means, 0 where the variance comes out negative.
    pub fn between_sd(&self) -> f64 {
        self.between_variance().max(0.0).sqrt()
    }
}

/// Analyses groups of values; empty groups count for nothing.
///
/// `None` with fewer than two groups, without two values in any, or with a value not finite.
pub fn one_way(groups: &[Vec<f64>]) -> Option<OneWay> {
    let groups: Vec<&Vec<f64>> = groups.iter().filter(|group| !group.is_empty()).collect();
    if groups.iter().any(|group| group.iter().any(|value| !value.is_finite())) {
        return None;
    }
    let count = groups.iter().fold(0, |sum, group| sum + group.len());
    let between_dof = u32::try_from(groups.len().checked_sub(1)?).ok()?;
    let within_dof = u32::try_from(count.checked_sub(groups.len())?).ok()?;
    if between_dof == 0 || within_dof == 0 {
        return None;
    }
    let total = |values: &[f64]| sum(values.iter().map(|value| Double::from(*value)));
    let number = |count: usize| Double::from(count as f64);
    let mean = sum(groups.iter().map(|group| total(group))) / number(count);
    let (mut within, mut between) = (Double::ZERO, Double::ZERO);
    let mut square_count = 0.0;
    for group in &groups {
        let own = total(group) / number(group.len());
        within = within + sum(group.iter().map(|value| (Double::from(*value) - own).squared()));
        between = between + (own - mean).squared() * number(group.len());
        square_count += (group.len() * group.len()) as f64;
    }
    let (within_ss, between_ss) = (within.rounded(), between.rounded());
    let all = (within + between).rounded();
    Some(OneWay {
        mean: mean.rounded(),
        between_ss,
        between_dof,
        within_ss,
        within_dof,
        test: FTest::new((between_ss, between_dof), (within_ss, within_dof), 0.0),
        r_squared: between_ss / all,
        typical_count: (count as f64 - square_count / count as f64) / f64::from(between_dof),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unequal_groups_by_hand() {
        // Means 2, 5, 7; of all 26/6. Between 2·(7/3)² + 3·(2/3)² + (8/3)² = 58/3, within 2 + 2.
        let groups = [vec![1.0, 3.0], vec![4.0, 5.0, 6.0], vec![], vec![7.0]];
        let result = one_way(&groups).unwrap();
        assert!((result.mean - 26.0 / 6.0).abs() < 1e-15);
        assert!((result.between_ss - 58.0 / 3.0).abs() < 1e-14);
        assert!((result.within_ss - 4.0).abs() < 1e-15);
        assert_eq!((result.between_dof, result.within_dof), (2, 3));
        assert!((result.test.f - 7.25).abs() < 1e-14);
        // (6 − (4 + 9 + 1)/6)/2 values in a typical group.
        assert!((result.typical_count - 11.0 / 6.0).abs() < 1e-15);
        let variance = (29.0 / 3.0 - 4.0 / 3.0) / (11.0 / 6.0);
        assert!((result.between_variance() - variance).abs() < 1e-14);
        assert!((result.within_sd() - (4.0_f64 / 3.0).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn groups_closer_than_their_scatter_have_no_component() {
        let result = one_way(&[vec![1.0, 3.0], vec![3.1, 1.0]]).unwrap();
        assert!(result.between_variance() < 0.0);
        assert_eq!(result.between_sd(), 0.0);
    }

    #[test]
    fn what_says_nothing_gives_nothing() {
        assert_eq!(one_way(&[vec![1.0, 2.0]]), None);
        assert_eq!(one_way(&[vec![1.0], vec![2.0]]), None);
        assert_eq!(one_way(&[]), None);
        assert_eq!(one_way(&[vec![1.0, f64::NAN], vec![2.0, 3.0]]), None);
    }
}

//! The field's local part: a correlation that ends.
//!
//! Wendland's function of smoothness 2 (H. Wendland, "Piecewise polynomial, positive definite and
//! compactly supported radial functions of minimal degree", *Adv. Comput. Math.* 4, 1995):
//! (1 − r)⁴·(1 + 4r) for r < 1 and 0 beyond, positive definite in up to three dimensions. Because
//! it ends, a place on the plank depends on the pins within reach only, and a fine grid is quick
//! and exact.
//!
//! Two parts share it: one that runs on beneath a plate strut, because the wood does, and one
//! within each section, because a section was strung by itself.

/// Size and reach of the local part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalPart {
    /// Variance, natural-log units squared.
    pub variance: f64,
    /// Distance along the plank at which correlation ends, m.
    pub reach_along_m: f64,
    /// Distance across the rows at which correlation ends, m.
    pub reach_across_m: f64,
    /// Share of the variance that runs on beneath struts, 0–1; the rest stays within a section.
    pub shared: f64,
}

/// Correlation at a scaled distance, 0–1.
pub fn wendland(scaled_distance: f64) -> f64 {
    if scaled_distance >= 1.0 {
        return 0.0;
    }
    let rest = 1.0 - scaled_distance;
    let square = rest * rest;
    square * square * (1.0 + 4.0 * scaled_distance)
}

impl LocalPart {
    /// Covariance of two places `along_m` and `across_m` apart.
    pub fn covariance(&self, along_m: f64, across_m: f64, same_section: bool) -> f64 {
        let along = along_m / self.reach_along_m;
        let across = across_m / self.reach_across_m;
        let squared = along * along + across * across;
        if squared >= 1.0 {
            return 0.0;
        }
        let share = if same_section { 1.0 } else { self.shared };
        self.variance * share * wendland(squared.sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::linalg::{Cholesky, SquareMatrix};
    use super::*;

    #[test]
    fn it_starts_at_one_ends_at_its_reach_and_falls_between() {
        assert_eq!(wendland(0.0), 1.0);
        assert_eq!(wendland(1.0), 0.0);
        assert!((wendland(0.5) - 3.0 / 16.0).abs() < 1e-15);
        let all: Vec<f64> = (0..=20).map(|i| wendland(f64::from(i) / 20.0)).collect();
        assert!(all.windows(2).all(|pair| pair[1] < pair[0]));
    }

    #[test]
    fn it_is_positive_definite_on_a_field_of_pins() {
        let part =
            LocalPart { variance: 0.2, reach_along_m: 0.12, reach_across_m: 0.05, shared: 0.4 };
        let place = |i: usize| ((i / 3) as f64 * 0.0135, (i % 3) as f64 * 0.021, i / 100);
        let matrix = SquareMatrix::from_lower(200, |row, column| {
            let (a, b) = (place(row), place(column));
            part.covariance(a.0 - b.0, a.1 - b.1, a.2 == b.2)
        });
        assert!(Cholesky::new(&matrix).is_some());
    }
}

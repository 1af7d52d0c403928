//! What one run up and down says of a torque cell: nonlinearity, hysteresis, zero return.
//!
//! The usual terms of load cell data sheets, each as a share of the full-scale change.
//! Deliberately not here: what they contribute to a budget.

use super::least_squares::Observations;
use super::polynomial::{Powers, fit_polynomial};

/// One run: loads rising, and what was read going up and coming down, load by load.
#[derive(Clone, Copy, Debug)]
pub struct UpDownRun<'a> {
    /// Loads, the first the smallest, the last the largest.
    pub loads: &'a [f64],
    /// Readings going up.
    pub up: &'a [f64],
    /// Readings coming down, in the order of the loads.
    pub down: &'a [f64],
}

/// A torque cell's terms; shares are of the change from the first to the last load, going up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TransducerTerms {
    /// Largest distance of the way up from the line through its ends.
    pub terminal_nonlinearity: f64,
    /// Largest distance between the two ways at one load.
    pub hysteresis: f64,
    /// Distance of the first load's reading after from before.
    pub zero_return: f64,
    /// The best line through the way up: constant and slope.
    pub best_line: [f64; 2],
    /// Farthest residual from that line, with its sign, in units of the reading.
    pub best_line_residual: f64,
}

/// A run's terms. `None` with fewer than three loads, lists of different lengths, loads that do
/// not rise, values that are not finite, or no change from end to end.
pub fn transducer_terms(run: UpDownRun<'_>) -> Option<TransducerTerms> {
    let UpDownRun { loads, up, down } = run;
    if up.len() != loads.len() || down.len() != loads.len() || loads.len() < 3 {
        return None;
    }
    let finite = |values: &[f64]| values.iter().all(|value| value.is_finite());
    if !loads.is_sorted_by(|one, next| one < next) || !finite(down) {
        return None;
    }
    let line = fit_polynomial(loads, Observations::equal(up), Powers::UpTo(1)).ok()?.fit;
    let last = loads.len() - 1;
    let full_scale = up[last] - up[0];
    if full_scale == 0.0 {
        return None;
    }
    let slope = full_scale / (loads[last] - loads[0]);
    let from_terminal = |(load, reading): (&f64, &f64)| reading - up[0] - slope * (load - loads[0]);
    let largest = |values: &mut dyn Iterator<Item = f64>| {
        values.fold(0.0, |largest: f64, value| largest.max(value.abs()))
    };
    let nonlinearity = largest(&mut loads.iter().zip(up).map(from_terminal));
    let hysteresis = largest(&mut up.iter().zip(down).map(|(up, down)| down - up));
    let farther = |one: f64, other: &f64| if other.abs() > one.abs() { *other } else { one };
    Some(TransducerTerms {
        terminal_nonlinearity: nonlinearity / full_scale.abs(),
        hysteresis: hysteresis / full_scale.abs(),
        zero_return: (down[0] - up[0]).abs() / full_scale.abs(),
        best_line: [line.coefficients[0], line.coefficients[1]],
        best_line_residual: line.residuals.iter().fold(0.0, farther),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_falling_cell_has_the_same_terms() {
        let loads = [0.0, 10.0, 20.0];
        let rising = UpDownRun { loads: &loads, up: &[0.0, 1.1, 2.0], down: &[0.02, 1.2, 2.0] };
        let falling =
            UpDownRun { loads: &loads, up: &[0.0, -1.1, -2.0], down: &[-0.02, -1.2, -2.0] };
        let one = transducer_terms(rising).unwrap();
        let other = transducer_terms(falling).unwrap();
        assert!((one.terminal_nonlinearity - 0.05).abs() < 1e-15);
        assert!((one.hysteresis - 0.05).abs() < 1e-15);
        assert!((one.zero_return - 0.01).abs() < 1e-15);
        assert_eq!(one.hysteresis, other.hysteresis);
        assert_eq!(one.best_line_residual, -other.best_line_residual);
    }

    #[test]
    fn a_run_that_is_none_is_refused() {
        let good = [0.0, 1.0, 2.0];
        let with = |loads, up, down| transducer_terms(UpDownRun { loads, up, down });
        assert!(with(&good, &good, &good).is_some());
        assert_eq!(with(&[0.0, 2.0, 1.0], &good, &good), None);
        assert_eq!(with(&good, &good[..2], &good), None);
        assert_eq!(with(&good, &[1.0, 2.0, 1.0], &good), None);
        assert_eq!(with(&good, &good, &[0.0, f64::NAN, 2.0]), None);
    }
}

//! The least value of a function of a few numbers, without derivatives (J. A. Nelder and R. Mead,
//! "A simplex method for function minimization", *The Computer Journal* 7, 1965), with a bounded
//! number of evaluations.
//!
//! Deliberately not here: a choice of starts, constraints (the function may return infinity).
//!
//! Invariant: the same start and function give the same bits; no evaluation is left to chance.

/// Where a search ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The best point seen.
    pub at: Vec<f64>,
    /// The function's value there.
    pub value: f64,
}

/// Searches from `start` with a first simplex of edges `steps`.
///
/// Ends when values of the simplex agree to `tolerance` or after `evaluation_count_max`
/// evaluations. A value that is NaN counts as infinite.
pub fn minimise(
    start: &[f64],
    steps: &[f64],
    evaluation_count_max: usize,
    tolerance: f64,
    mut of: impl FnMut(&[f64]) -> f64,
) -> Found {
    let mut count = 0;
    let mut value = |at: &[f64]| {
        count += 1;
        let value = of(at);
        (if value.is_nan() { f64::INFINITY } else { value }, count)
    };
    let mut corners = vec![Found { at: start.to_vec(), value: value(start).0 }];
    for (axis, step) in steps.iter().enumerate().take(start.len()) {
        let mut at = start.to_vec();
        at[axis] += step;
        corners.push(Found { value: value(&at).0, at });
    }
    let worst = corners.len() - 1;
    loop {
        corners.sort_by(|a, b| a.value.total_cmp(&b.value));
        let (least, most) = (corners[0].value, corners[worst].value);
        if worst == 0 || most - least <= tolerance {
            break;
        }
        let middle = middle(&corners[..worst]);
        let along = |corners: &[Found], share: f64| -> Vec<f64> {
            let from = corners[worst].at.iter();
            middle.iter().zip(from).map(|(m, c)| m + share * (m - c)).collect()
        };
        let mirrored = along(&corners, 1.0);
        let (mirrored_value, mut spent) = value(&mirrored);
        let mut best = Found { at: mirrored, value: mirrored_value };
        let accepted = if best.value < least {
            let at = along(&corners, 2.0);
            let (further, after) = value(&at);
            spent = after;
            if further < best.value {
                best = Found { at, value: further };
            }
            true
        } else if best.value < corners[worst - 1].value {
            true
        } else {
            let share = if best.value < most { 0.5 } else { -0.5 };
            let at = along(&corners, share);
            let (nearer, after) = value(&at);
            spent = after;
            let better = nearer < best.value.min(most);
            if better {
                best = Found { at, value: nearer };
            }
            better
        };
        if accepted {
            corners[worst] = best;
        } else {
            let top = corners[0].at.clone();
            for corner in &mut corners[1..] {
                corner.at.iter_mut().zip(&top).for_each(|(c, t)| *c = t + 0.5 * (*c - t));
                (corner.value, spent) = value(&corner.at);
            }
        }
        if spent >= evaluation_count_max {
            break;
        }
    }
    corners.sort_by(|a, b| a.value.total_cmp(&b.value));
    corners.swap_remove(0)
}

fn middle(corners: &[Found]) -> Vec<f64> {
    let mut sum = vec![0.0; corners[0].at.len()];
    for corner in corners {
        sum.iter_mut().zip(&corner.at).for_each(|(sum, value)| *sum += value);
    }
    sum.iter_mut().for_each(|value| *value /= corners.len() as f64);
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_finds_the_floor_of_rosenbrocks_valley() {
        // Nelder and Mead's own first test function; least value 0 at (1, 1).
        let valley = |at: &[f64]| {
            let bend = at[1] - at[0] * at[0];
            100.0 * bend * bend + (1.0 - at[0]) * (1.0 - at[0])
        };
        let found = minimise(&[-1.2, 1.0], &[0.5, 0.5], 400, 1e-14, valley);
        assert!((found.at[0] - 1.0).abs() < 1e-5 && (found.at[1] - 1.0).abs() < 1e-5, "{found:?}");
    }

    #[test]
    fn it_keeps_to_its_evaluations_and_off_what_is_not_a_number() {
        let mut count = 0;
        let found = minimise(&[3.0, 3.0, 3.0], &[1.0; 3], 30, 0.0, |at| {
            count += 1;
            if at[0] > 3.5 { f64::NAN } else { at.iter().map(|x| x * x).sum() }
        });
        // One step of the simplex may finish after the last.
        assert!((30..=35).contains(&count), "{count}");
        assert!(found.value < 27.0 && found.at[0] <= 3.5);
        assert_eq!(minimise(&[], &[], 9, 0.0, |_| 2.0).value, 2.0);
    }
}

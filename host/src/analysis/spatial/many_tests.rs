//! Many tests at once: p-values adjusted so that a list of findings keeps its promise.
//!
//! Benjamini and Hochberg, *J. R. Statist. Soc. B* 57 (1995) 289–300: of the findings, on average
//! at most this share is false. Holm, *Scand. J. Statist.* 6 (1979) 65–70: no false finding at all
//! but for this chance, whatever the tests' dependence; never worse than Bonferroni's product.

/// Adjusted after Benjamini and Hochberg: the least rate of false findings at which a test would
/// be one. In the order given; a NaN stands as 1.
///
/// ```
/// use pinhold::analysis::spatial::many_tests::benjamini_hochberg;
/// assert_eq!(benjamini_hochberg(&[0.5, 0.01]), [0.5, 0.02]);
/// ```
pub fn benjamini_hochberg(p_values: &[f64]) -> Vec<f64> {
    let count = p_values.len() as f64;
    let order = ascending(p_values);
    let mut adjusted = vec![1.0; p_values.len()];
    let mut least: f64 = 1.0;
    for (rank, index) in order.iter().enumerate().rev() {
        least = least.min(clean(p_values[*index]) * count / (rank + 1) as f64);
        adjusted[*index] = least;
    }
    adjusted
}

/// Adjusted after Holm: the least chance of any false finding at which a test would be one. In
/// the order given; a NaN stands as 1.
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut adjusted = vec![1.0; p_values.len()];
    let mut greatest: f64 = 0.0;
    for (rank, index) in ascending(p_values).into_iter().enumerate() {
        let left = (p_values.len() - rank) as f64;
        greatest = greatest.max((left * clean(p_values[index])).min(1.0));
        adjusted[index] = greatest;
    }
    adjusted
}

/// A p-value inside 0–1; NaN is no evidence.
fn clean(p: f64) -> f64 {
    if p.is_nan() { 1.0 } else { p.clamp(0.0, 1.0) }
}

fn ascending(p_values: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| clean(p_values[*a]).total_cmp(&clean(p_values[*b])).then(a.cmp(b)));
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_monotone_and_hostile_numbers_harmless() {
        let p = [0.04, f64::NAN, 0.01, -3.0, 0.03, 7.0];
        for adjusted in [benjamini_hochberg(&p), holm(&p)] {
            let order = ascending(&p);
            assert!(order.windows(2).all(|w| adjusted[w[0]] <= adjusted[w[1]]), "{adjusted:?}");
            assert!(adjusted.iter().all(|p| (0.0..=1.0).contains(p)));
            assert_eq!(adjusted[1], 1.0);
        }
        assert!(benjamini_hochberg(&[]).is_empty() && holm(&[]).is_empty());
    }
}

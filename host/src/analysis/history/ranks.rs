//! Ranks with ties shared, and how many values are tied.

/// Mid-ranks from 1: equal values share the mean of the ranks they take up. Values are finite.
pub(super) fn mid_ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|one, other| values[*one].total_cmp(&values[*other]));
    let mut ranks = vec![0.0; values.len()];
    for group in order.chunk_by(|one, other| values[*one] == values[*other]) {
        let below = order.iter().take_while(|index| values[**index] < values[group[0]]).count();
        let rank = below as f64 + (group.len() as f64 + 1.0) / 2.0;
        for index in group {
            ranks[*index] = rank;
        }
    }
    ranks
}

/// Sizes of the groups of equal values, those of one value included.
pub(super) fn group_sizes(values: &[f64]) -> Vec<f64> {
    // Zero and minus zero are equal values.
    let mut sorted: Vec<f64> = values.iter().map(|value| value + 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|one, other| one == other).map(|group| group.len() as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_share_their_ranks() {
        assert_eq!(mid_ranks(&[3.0, 1.0, 3.0, 2.0]), [3.5, 1.0, 3.5, 2.0]);
        assert_eq!(mid_ranks(&[0.0, -0.0]), [1.5, 1.5]);
        assert_eq!(group_sizes(&[0.0, 2.0, -0.0, 5.0]), [2.0, 1.0, 1.0]);
        assert!(mid_ranks(&[]).is_empty());
    }
}

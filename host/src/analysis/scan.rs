//! The normal-model scan for the circle with the lowest mean (Kulldorff, Huang and Konty, "A scan
//! statistic for continuous data based on the normal probability model", *Int. J. Health
//! Geographics* 8:58, 2009).
//!
//! The pin field's own scan (in `zones`) uses a mixture law instead, so that one bad hole is not
//! taken for a zone; this one is the textbook statistic, for cross-checks and simple maps.

/// The best zone of a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct LowZone {
    /// Index of the point at the circle's centre.
    pub centre: usize,
    /// Members of the circle, nearest first.
    pub members: Vec<usize>,
    /// Log-likelihood ratio, n/2 · ln(S₀/S₁).
    pub log_likelihood_ratio: f64,
    /// Mean inside.
    pub mean_inside: f64,
    /// Mean outside.
    pub mean_outside: f64,
}

/// Scans all circles centred on points, points at equal distance entering together, with
/// between `size_min` and `size_max` members and a mean below the mean outside.
///
/// `None` when no such circle exists or the values do not vary.
pub fn scan_lowest_mean(
    points: &[[f64; 2]],
    values: &[f64],
    size_min: usize,
    size_max: usize,
) -> Option<LowZone> {
    let count = points.len().min(values.len());
    let total = values[..count].iter().fold(0.0, |sum, value| sum + value);
    let mean = total / count as f64;
    let spread = values[..count].iter().fold(0.0, |sum, v| sum + (v - mean) * (v - mean));
    let mut best: Option<LowZone> = None;
    for centre in 0..count {
        let squared = |other: &usize| {
            let dx = points[*other][0] - points[centre][0];
            let dy = points[*other][1] - points[centre][1];
            dx * dx + dy * dy
        };
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by(|a, b| squared(a).total_cmp(&squared(b)).then(a.cmp(b)));
        let mut inside = 0.0;
        for size in 1..count.min(size_max + 1) {
            inside += values[order[size - 1]];
            let tied = squared(&order[size]) == squared(&order[size - 1]);
            if size < size_min || tied {
                continue;
            }
            let mean_inside = inside / size as f64;
            let mean_outside = (total - inside) / (count - size) as f64;
            if mean_inside >= mean_outside {
                continue;
            }
            // Between-group sum of squares taken off the total leaves the common variance.
            let between = size as f64 * (mean_inside - mean) * (mean_inside - mean)
                + (count - size) as f64 * (mean_outside - mean) * (mean_outside - mean);
            let rest = spread - between;
            if rest <= 0.0 || spread <= 0.0 {
                continue;
            }
            let ratio = 0.5 * count as f64 * libm::log(spread / rest);
            if best.as_ref().is_none_or(|zone| ratio > zone.log_likelihood_ratio) {
                best = Some(LowZone {
                    centre,
                    members: order[..size].to_vec(),
                    log_likelihood_ratio: ratio,
                    mean_inside,
                    mean_outside,
                });
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_low_corner() {
        let points: Vec<[f64; 2]> = (0..36).map(|i| [f64::from(i % 6), f64::from(i / 6)]).collect();
        let values: Vec<f64> = (0..36)
            .map(|i| {
                let wobble = f64::from((i * 7) % 5) * 0.1;
                if i % 6 < 2 && i / 6 < 2 { 2.0 + wobble } else { 9.0 + wobble }
            })
            .collect();
        let zone = scan_lowest_mean(&points, &values, 2, 18).expect("a zone");
        let mut members = zone.members.clone();
        members.sort_unstable();
        assert_eq!(members, [0, 1, 6, 7]);
        assert!(zone.mean_inside < 2.5 && zone.mean_outside > 9.0);
    }

    #[test]
    fn nothing_to_scan_is_no_zone() {
        assert_eq!(scan_lowest_mean(&[], &[], 2, 5), None);
        assert_eq!(scan_lowest_mean(&[[0.0, 0.0], [1.0, 0.0]], &[3.0, 3.0], 1, 1), None);
    }
}

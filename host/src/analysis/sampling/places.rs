//! The pin field as a walk and as lines: which pins stand in one row, and how far apart.
//!
//! Deliberately not here: readings. Everything follows from the instrument alone.

use std::collections::BTreeMap;

use crate::analysis::survey::Site;

/// Indices of the pins of each row within each section, from bass to treble. Rows by section, then
/// from the flange inwards.
pub(super) fn rows_by_section(sites: &[Site]) -> Vec<Vec<usize>> {
    let mut rows: BTreeMap<(u8, u8), Vec<usize>> = BTreeMap::new();
    for (index, site) in sites.iter().enumerate() {
        rows.entry((site.section, site.row)).or_default().push(index);
    }
    rows.into_values().map(|row| along(row, sites)).collect()
}

/// Indices of the pins of each row over all sections, from bass to treble: the wood runs on
/// beneath a strut.
pub(super) fn rows(sites: &[Site]) -> Vec<Vec<usize>> {
    let mut rows: BTreeMap<u8, Vec<usize>> = BTreeMap::new();
    for (index, site) in sites.iter().enumerate() {
        rows.entry(site.row).or_default().push(index);
    }
    rows.into_values().map(|row| along(row, sites)).collect()
}

/// Indices of the pins that line the flange, from bass to treble.
pub(super) fn flange_line(sites: &[Site]) -> Vec<usize> {
    along((0..sites.len()).filter(|i| sites[*i].at_flange).collect(), sites)
}

/// Indices sorted from bass to treble.
pub(super) fn along(mut indices: Vec<usize>, sites: &[Site]) -> Vec<usize> {
    indices.sort_by(|a, b| sites[*a].x_m.total_cmp(&sites[*b].x_m).then(a.cmp(b)));
    indices
}

/// For each pin the `count` nearest pins, itself first.
pub(super) fn nearest(sites: &[Site], count: usize) -> Vec<Vec<usize>> {
    (0..sites.len())
        .map(|centre| {
            let mut near: Vec<(f64, usize)> =
                (0..sites.len()).map(|i| (distance_m(&sites[centre], &sites[i]), i)).collect();
            near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            near.truncate(count);
            near.into_iter().map(|(_, i)| i).collect()
        })
        .collect()
}

/// Distance on the plank, metres.
pub(super) fn distance_m(a: &Site, b: &Site) -> f64 {
    let (dx, dy) = (a.x_m - b.x_m, a.y_m - b.y_m);
    (dx * dx + dy * dy).sqrt()
}

//! Which mass does not weigh what was typed, and at which point other masses hung than typed.
//!
//! Each step between points that differ by one mass weighs that mass against the lever; the median
//! of a mass's steps stands for it. The lever's scale is the one most masses agree on. A mass away
//! from that scale is wrong, or swapped with another; a point away from the sum of its masses had
//! other weights on it.

use super::{Loaded, Seen, mass_names, median};
use crate::calibration::loads;
use crate::calibration::suspicion::Suspicion;

/// A mass may be off by this share.
const MASS_TOLERANCE: f64 = 0.006;
/// And by this torque at the shortest arm, N·m: drift and hysteresis.
const MASS_TOLERANCE_NM: f64 = 0.045;
/// And by this many of its standard uncertainties.
const MASS_SIGMA: f64 = 4.0;
/// A point may be off by this share.
const POINT_TOLERANCE: f64 = 0.008;
/// And by this torque, N·m.
const POINT_TOLERANCE_NM: f64 = 0.06;
/// And by this many of the scatter's standard deviations.
const POINT_SIGMA: f64 = 7.0;
/// Standard deviation over median absolute deviation of a normal law.
const SD_PER_MAD: f64 = 1.4826;
/// Masses that stand for each other fit within this share.
const SWAP_TOLERANCE: f64 = 0.02;

/// A point as the lever weighs it.
struct Weighed {
    point: Loaded,
    /// What hung as typed, sorted.
    masses: Vec<usize>,
    /// What hung by the lever's nominal span, kg, positions brought to one scale.
    seen_kg: f64,
}

/// Looks at every mass and every point.
pub(super) fn masses(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    let series = weighed(seen);
    let weights: Vec<Option<f64>> =
        (0..seen.bench.masses.len()).map(|mass| weight_of(mass, &series)).collect();
    let Some(scale) = scale(seen, &weights) else { return };
    wrong_masses(seen, &weights, scale, found);
    wrong_points(seen, &series, &weights, scale, found);
}

/// The masses as the readings have them, kg, where some are not what was typed.
pub(super) fn as_read_kg(seen: &Seen<'_>) -> Option<Vec<f64>> {
    let series = weighed(seen);
    let weights: Vec<Option<f64>> =
        (0..seen.bench.masses.len()).map(|mass| weight_of(mass, &series)).collect();
    let scale = scale(seen, &weights)?;
    let mut found = Vec::new();
    wrong_masses(seen, &weights, scale, &mut found);
    let typed = seen.bench.masses.iter().map(|mass| mass.mass_kg.value);
    let read = typed.zip(&weights).map(|(typed, weight)| weight.map_or(typed, |kg| kg / scale));
    (!found.is_empty()).then(|| read.collect())
}

/// Every series' points in kilograms.
fn weighed(seen: &Seen<'_>) -> Vec<Vec<Weighed>> {
    let mut series: Vec<(usize, Vec<Weighed>)> = Vec::new();
    for one in &seen.series {
        let points = seen.points(one).into_iter().filter(|point| point.nm_per_kg != 0.0);
        let weigh = |point: Loaded| {
            let mut masses = loads::hung(&seen.bench.points[point.index]).unwrap_or(&[]).to_vec();
            masses.sort_unstable();
            Weighed { seen_kg: point.shown_nm / point.nm_per_kg, masses, point }
        };
        series.push((one.position, points.map(weigh).collect()));
    }
    // Positions differ in scale by arm and hand: all are brought to the first one's.
    let Some(first) = series.first().map(|(position, _)| *position) else { return Vec::new() };
    let at = |position: usize, series: &[(usize, Vec<Weighed>)]| -> Vec<(Vec<usize>, f64)> {
        let own = series.iter().filter(|(own, _)| *own == position);
        let points = own.flat_map(|(_, points)| points).filter(|point| !point.masses.is_empty());
        points.map(|point| (point.masses.clone(), point.seen_kg)).collect()
    };
    let reference = at(first, &series);
    let ratios: Vec<f64> = (0..seen.bench.positions.len())
        .map(|position| {
            let own = at(position, &series);
            let middle = |points: &[(Vec<usize>, f64)], masses: &[usize]| {
                let same = points.iter().filter(|(other, _)| other == masses);
                median(same.map(|(_, kg)| *kg).collect())
            };
            let ratio = |(masses, _): &(Vec<usize>, f64)| {
                Some(middle(&own, masses)? / middle(&reference, masses)?)
            };
            median(own.iter().filter_map(ratio).collect()).unwrap_or(1.0)
        })
        .collect();
    series
        .into_iter()
        .map(|(position, mut points)| {
            for point in &mut points {
                point.seen_kg /= ratios[position];
            }
            points
        })
        .collect()
}

/// A mass by all steps that put it on or took it off alone.
fn weight_of(mass: usize, series: &[Vec<Weighed>]) -> Option<f64> {
    let mut steps = Vec::new();
    for points in series {
        for pair in points.windows(2) {
            let [a, b] = [&pair[0], &pair[1]];
            let (more, less) = if a.masses.len() > b.masses.len() { (a, b) } else { (b, a) };
            let added: Vec<usize> =
                more.masses.iter().copied().filter(|one| !less.masses.contains(one)).collect();
            if added == [mass] && more.masses.len() == less.masses.len() + 1 {
                steps.push(more.seen_kg - less.seen_kg);
            }
        }
    }
    median(steps)
}

fn tolerance_kg(seen: &Seen<'_>, mass: usize) -> f64 {
    let mass = seen.bench.masses[mass].mass_kg;
    let arms = seen.bench.positions.iter().map(|position| position.arm_m.value);
    let shortest_m = arms.fold(f64::INFINITY, f64::min);
    let torque_kg = MASS_TOLERANCE_NM / (seen.bench.gravity.value_m_s2.value * shortest_m);
    (MASS_TOLERANCE * mass.value).max(torque_kg).max(MASS_SIGMA * mass.u)
}

/// The lever's scale: the one most masses agree on, of equals the one nearest to the design.
fn scale(seen: &Seen<'_>, weights: &[Option<f64>]) -> Option<f64> {
    let typed = |mass: usize| seen.bench.masses[mass].mass_kg.value;
    let agree = |scale: f64| {
        let fits = |(mass, weight): &(usize, &Option<f64>)| {
            weight.is_some_and(|kg| (kg / scale - typed(*mass)).abs() < tolerance_kg(seen, *mass))
        };
        weights.iter().enumerate().filter(fits).count()
    };
    let known = weights.iter().enumerate();
    known
        .filter_map(|(mass, weight)| Some((*weight)? / typed(mass)))
        .filter(|scale| *scale > 0.0)
        .max_by(|a, b| {
            let nearness = |scale: f64| -(scale - 1.0).abs();
            agree(*a).cmp(&agree(*b)).then(nearness(*a).total_cmp(&nearness(*b)))
        })
}

fn wrong_masses(seen: &Seen<'_>, weights: &[Option<f64>], scale: f64, found: &mut Vec<Suspicion>) {
    let typed = |mass: usize| seen.bench.masses[mass].mass_kg.value;
    let name = |mass: usize| seen.bench.masses[mass].name.clone();
    let mut wrong: Vec<(usize, f64)> = weights
        .iter()
        .enumerate()
        .filter_map(|(mass, weight)| Some((mass, (*weight)? / scale)))
        .filter(|(mass, kg)| (kg - typed(*mass)).abs() > tolerance_kg(seen, *mass))
        .collect();
    let near = |kg: f64, other: f64| (kg / other - 1.0).abs() < SWAP_TOLERANCE;
    while let Some((mass, kg)) = wrong.first().copied() {
        wrong.remove(0);
        let twin = wrong
            .iter()
            .position(|(other, other_kg)| near(kg, typed(*other)) && near(*other_kg, typed(mass)));
        match twin {
            Some(at) => {
                let (other, _) = wrong.remove(at);
                found.push(Suspicion::MassesSwapped { first: name(mass), second: name(other) });
            }
            None => found.push(Suspicion::MassWrong {
                name: name(mass),
                typed_kg: typed(mass),
                fits_kg: kg,
            }),
        }
    }
}

fn wrong_points(
    seen: &Seen<'_>,
    series: &[Vec<Weighed>],
    weights: &[Option<f64>],
    scale: f64,
    found: &mut Vec<Suspicion>,
) {
    let sum = |masses: &[usize]| -> Option<f64> {
        masses.iter().map(|mass| weights.get(*mass).copied().flatten()).sum()
    };
    let off: Vec<(&Weighed, f64)> = series
        .iter()
        .flatten()
        .filter(|point| !point.masses.is_empty())
        .filter_map(|point| Some((point, point.seen_kg - sum(&point.masses)?)))
        .collect();
    let torque = |point: &Weighed, kg: f64| (kg * point.point.nm_per_kg).abs();
    let sizes = off.iter().map(|(point, kg)| torque(point, *kg)).collect();
    let scatter_nm = SD_PER_MAD * median(sizes).unwrap_or(0.0);
    for (point, off_kg) in off {
        let load_nm = torque(point, point.seen_kg);
        let limit_nm =
            (POINT_TOLERANCE * load_nm).max(POINT_TOLERANCE_NM).max(POINT_SIGMA * scatter_nm);
        if torque(point, off_kg) <= limit_nm {
            continue;
        }
        let place = seen.place(point.point.index);
        let typed_nm = point.point.load_nm;
        let fits_nm = point.seen_kg / scale * point.point.nm_per_kg;
        // Of the sets that would fit, the one fewest changes away is the likeliest.
        let near_nm = limit_nm.min(POINT_TOLERANCE_NM);
        let other = subsets(weights.len())
            .filter_map(|masses| Some(((sum(&masses)? - point.seen_kg).abs(), masses)))
            .filter(|(kg, masses)| *masses != point.masses && torque(point, *kg) <= near_nm)
            .min_by(|a, b| {
                let changes = |masses: &[usize]| {
                    let in_both = masses.iter().filter(|one| point.masses.contains(one)).count();
                    masses.len() + point.masses.len() - 2 * in_both
                };
                changes(&a.1).cmp(&changes(&b.1)).then(a.0.total_cmp(&b.0))
            });
        found.push(match other {
            Some((_, masses)) => Suspicion::OtherWeights {
                place,
                typed_nm,
                fits_nm,
                fits: mass_names(seen.bench, &masses),
            },
            None => Suspicion::LoadWrong { place, typed_nm, fits_nm },
        });
    }
}

/// Every set of masses, sorted within.
fn subsets(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (0..1_usize << count.min(crate::calibration::bench::MASS_COUNT_MAX))
        .map(move |bits| (0..count).filter(|mass| bits >> mass & 1 == 1).collect())
}

//! What looks wrong in a bench before anything is fitted to it.
//!
//! Everything here compares what was typed with what the lever says, by the design's nominal
//! span and by medians, which one wrong entry does not move. Limits are set well beyond what an
//! honest bench of a lever in order shows (DER, tuned on simulated benches). Deliberately not
//! here: the sentences ([`super::suspicion`]), and errors of form ([`super::shape`]).

mod masses;
mod scale;
mod series;

use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN};

use super::bench::{Bench, BenchPoint, Setting};
use super::loads::{self, Series, Shared};
use super::suspicion::{Place, Suspicion, direction_word, shown};

/// Newton-metres per bridge count of the reference design: a 2 mV/V cell at 30 N·m, converter gain
/// 128 on half the supply (as the lever's firmware has it).
pub const NOMINAL_SPAN_NM_PER_COUNT: f64 = 58.593_75 / 8_388_608.0;
/// Handle further from level than this is told, degrees; 5° is 0.4 % of cosine (DER).
pub const TILT_TOLD_DEG: f64 = 5.0;
/// Handle further from level than this is grave, degrees.
pub const TILT_GRAVE_DEG: f64 = 12.0;
/// Temperature that moves more than this is told, K: the margin a calibration is good for (DER).
pub const TEMPERATURE_SPREAD_TOLD_K: f64 = 5.0;
/// Temperature that moves more than this is grave, K.
pub const TEMPERATURE_SPREAD_GRAVE_K: f64 = 10.0;
/// Largest torque the lever is made for, N·m (DER, its design).
pub const LOAD_MAX_NM: f64 = 25.0;
/// Above this a load is refused, N·m: a rounding beyond [`LOAD_MAX_NM`].
const LOAD_REFUSED_NM: f64 = 26.0;
/// Share of the converter's range at which a code counts as its end.
const RANGE_SHARE_MAX: f64 = 0.995;
/// Specific force at rest differs from gravity by no more than this, units of gravity.
const FORCE_TOLERANCE_G: f64 = 0.08;
/// Torque at rest scatters by no more than this, N·m; noise is a hundredth of it.
const SWING_SD_MAX_NM: f64 = 0.1;
/// Gravity on land, m/s², with room for heights.
const GRAVITY_RANGE_M_S2: (f64, f64) = (9.76, 9.84);
/// Suspicions of one kind told at most.
const KIND_COUNT_MAX: usize = 4;

/// A bench with what follows from it directly.
struct Seen<'a> {
    bench: &'a Bench,
    shared: Shared,
    series: Vec<Series>,
}

/// A loaded point as the lever saw it.
#[derive(Clone, Copy, Debug)]
struct Loaded {
    /// Index into the bench's points.
    index: usize,
    /// Load by what was typed, N·m, signed.
    load_nm: f64,
    /// Torque by the nominal span, less the zero, N·m, signed.
    shown_nm: f64,
    /// Torque of one kilogram, N·m, signed.
    nm_per_kg: f64,
}

impl<'a> Seen<'a> {
    fn of(bench: &'a Bench) -> Seen<'a> {
        Seen { bench, shared: Shared::of(bench), series: loads::series_of(bench) }
    }

    /// The points of a series with and without load, in order.
    fn points(&self, series: &Series) -> Vec<Loaded> {
        let read = |index: &usize| {
            let point = &self.bench.points[*index];
            let zero = loads::zero_code_at(self.bench, series, *index);
            Loaded {
                index: *index,
                load_nm: self.shared.load_nm(point),
                shown_nm: (point.mean_code - zero) * NOMINAL_SPAN_NM_PER_COUNT,
                nm_per_kg: self.shared.torque_nm_per_kg(point),
            }
        };
        series.points.iter().map(read).collect()
    }

    /// Loaded points at a position, over all its series.
    fn loaded_at(&self, position: usize) -> Vec<Loaded> {
        let series = self.series.iter().filter(|series| series.position == position);
        let mut points: Vec<Loaded> = series.flat_map(|series| self.points(series)).collect();
        points.retain(|point| point.load_nm != 0.0);
        points
    }

    fn place(&self, index: usize) -> Place {
        Place { number: index + 1, what: what(self.bench, &self.bench.points[index]) }
    }
}

/// Hand position, direction and what hangs, as text.
pub(super) fn what(bench: &Bench, point: &BenchPoint) -> String {
    match &point.setting {
        Setting::Free => "off the square".to_owned(),
        Setting::Loaded { position, direction, masses, .. } => format!(
            "{}, {}, {}",
            bench.positions.get(*position).map_or(String::new(), |place| shown(&place.name)),
            direction_word(*direction),
            mass_names(bench, masses)
        ),
    }
}

/// Names of masses, joined.
pub(super) fn mass_names(bench: &Bench, masses: &[usize]) -> String {
    if masses.is_empty() {
        return "no load".to_owned();
    }
    let name = |at: &usize| bench.masses.get(*at).map_or(String::new(), |mass| shown(&mass.name));
    masses.iter().map(name).collect::<Vec<_>>().join(" + ")
}

/// Everything that looks wrong, gravest explanation first. The bench must have passed
/// [`super::shape::check`].
pub fn diagnose(bench: &Bench) -> Vec<Suspicion> {
    let seen = Seen::of(bench);
    let mut found = Vec::new();
    let gravity = bench.gravity.value_m_s2.value;
    if gravity < GRAVITY_RANGE_M_S2.0 || gravity > GRAVITY_RANGE_M_S2.1 {
        found.push(Suspicion::GravityOdd { value_m_s2: gravity });
    }
    let saturated = points(&seen, &mut found);
    temperature(bench, &mut found);
    series::directions(&seen, &mut found);
    let scale = scale::scale(&seen, &mut found);
    if scale.reversed || saturated {
        return few(found);
    }
    series::typed_order(&seen, &mut found);
    if scale.fits {
        let flat = series::flattening(&seen, &mut found);
        if !flat {
            masses::masses(&seen, &mut found);
        }
        overload(&seen, &mut found);
        series::monotone(&seen, &mut found);
        series::zeros(&seen, &mut found);
    }
    few(found)
}

/// At most [`KIND_COUNT_MAX`] of a kind.
fn few(found: Vec<Suspicion>) -> Vec<Suspicion> {
    let mut kept: Vec<Suspicion> = Vec::new();
    for one in found {
        let kind = std::mem::discriminant(&one);
        let alike = kept.iter().filter(|other| std::mem::discriminant(*other) == kind);
        if alike.count() < KIND_COUNT_MAX {
            kept.push(one);
        }
    }
    kept
}

/// Point by point; whether the converter stood at its end.
fn points(seen: &Seen<'_>, found: &mut Vec<Suspicion>) -> bool {
    let mut saturated = false;
    for (index, point) in seen.bench.points.iter().enumerate() {
        let place = || seen.place(index);
        let ends = (f64::from(BRIDGE_CODE_MIN), f64::from(BRIDGE_CODE_MAX));
        if point.mean_code <= ends.0 * RANGE_SHARE_MAX
            || point.mean_code >= ends.1 * RANGE_SHARE_MAX
        {
            saturated = true;
            found.push(Suspicion::Saturated { place: place() });
        }
        let force_g = point.force_g.iter().map(|part| part * part).sum::<f64>().sqrt();
        if (force_g - 1.0).abs() > FORCE_TOLERANCE_G {
            found.push(Suspicion::NotStill { place: place(), force_g });
        }
        let sd_nm = point.code_sd * NOMINAL_SPAN_NM_PER_COUNT;
        if sd_nm > SWING_SD_MAX_NM {
            found.push(Suspicion::Swinging { place: place(), sd_nm });
        }
        if matches!(point.setting, Setting::Loaded { .. }) {
            let across = seen.shared.across(point).abs().clamp(0.0, 1.0);
            let tilt_deg = libm::acos(across).to_degrees();
            if tilt_deg > TILT_TOLD_DEG {
                found.push(Suspicion::Tilted { place: place(), tilt_deg });
            }
        }
    }
    saturated
}

fn temperature(bench: &Bench, found: &mut Vec<Suspicion>) {
    let from_to_c = temperature_range_c(bench);
    if from_to_c.1 - from_to_c.0 > TEMPERATURE_SPREAD_TOLD_K {
        found.push(Suspicion::TemperatureMoved { from_to_c });
    }
}

/// Lowest and highest lever temperature, °C.
pub(super) fn temperature_range_c(bench: &Bench) -> (f64, f64) {
    bench
        .points
        .iter()
        .map(|point| point.temperature_c)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), temperature_c| {
            (low.min(temperature_c), high.max(temperature_c))
        })
}

fn overload(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    for (index, point) in seen.bench.points.iter().enumerate() {
        let load_nm = seen.shared.load_nm(point).abs();
        if load_nm > LOAD_REFUSED_NM {
            found.push(Suspicion::Overloaded { place: seen.place(index), load_nm });
        }
    }
}

/// The middle of some numbers; `None` of none.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let high = *values.get(middle)?;
    if values.len() % 2 == 1 { Some(high) } else { Some((values.get(middle - 1)? + high) / 2.0) }
}

//! What a calibration or check read back from a file must be before anything relies on it.
//!
//! A document may have been written by anything. What passes here can be computed with and listed
//! without looking again: every number is finite, every index points at something, uncertainties
//! are not negative. Deliberately not here: whether a calibration is a good one.

use super::bench::{Bench, Setting};
use super::characteristics::Characteristics;
use super::check::{CheckRecord, Comparison};
use super::record::{CalibrationCurve, CalibrationRecord, LeverConstants};
use super::terms::{Basis, LeverTerms};
use crate::metrology::Estimate;

/// Points, seatings, people or remarks of one calibration at most.
const LIST_COUNT_MAX: usize = 10_000;
/// Coefficients of a curve.
const COEFFICIENT_COUNT: std::ops::RangeInclusive<usize> = 2..=3;

/// What is impossible about a calibration; `None` when nothing is.
pub fn impossible_calibration(record: &CalibrationRecord) -> Option<&'static str> {
    let result = &record.result;
    let basis = Basis::Calibration { number: record.number };
    let lists = [record.people.len(), result.remarks.len()];
    let optional = [record.relative_humidity, record.room_temperature_c];
    first_of(&[
        (record.number > 0, "its number"),
        (record.due_ms >= record.made_ms, "its due date"),
        (optional.into_iter().flatten().all(f64::is_finite), "the room's air"),
        (lists.into_iter().all(|count| count <= LIST_COUNT_MAX), "a list's length"),
        (bench_holds(&record.bench), "its bench"),
        (curve_holds(&result.curve), "its curve"),
        (constants_hold(&result.constants), "its constants"),
        (result.terms.basis == basis, "the number in its terms"),
        (terms_hold(&result.terms), "its terms"),
        (characteristics_hold(&result.characteristics, &record.bench), "its characteristics"),
    ])
}

/// What is impossible about a check; `None` when nothing is.
pub fn impossible_check(record: &CheckRecord) -> Option<&'static str> {
    let result = &record.result;
    let comparison = |one: &Comparison| {
        holds(one.difference_nm) && one.limit_nm.is_finite() && one.limit_nm >= 0.0
    };
    let compared = [&result.weight, &result.zero_return, &result.zero];
    first_of(&[
        (record.calibration > 0, "the calibration's number"),
        (bench_holds(&record.bench), "its bench"),
        (record.temperature_c().is_some(), "its bench"),
        (holds(result.load_nm) && holds(result.read_nm), "its torques"),
        (compared.into_iter().all(comparison), "a difference"),
    ])
}

fn first_of(conditions: &[(bool, &'static str)]) -> Option<&'static str> {
    conditions.iter().find(|(holds, _)| !holds).map(|(_, what)| *what)
}

fn holds(estimate: Estimate) -> bool {
    estimate.value.is_finite() && is_spread(estimate.u)
}

fn is_spread(u: f64) -> bool {
    u.is_finite() && u >= 0.0
}

fn in_order(range: Option<(f64, f64)>) -> bool {
    range.is_none_or(|(low, high)| low.is_finite() && high.is_finite() && low <= high)
}

fn bench_holds(bench: &Bench) -> bool {
    let counted = bench.points.len() <= LIST_COUNT_MAX
        && bench.seatings.len() <= LIST_COUNT_MAX
        && bench.masses.len() <= LIST_COUNT_MAX
        && bench.positions.len() <= LIST_COUNT_MAX;
    let positive = |estimate: Estimate| holds(estimate) && estimate.value > 0.0;
    let points = bench.points.iter().all(|point| {
        let set = match &point.setting {
            Setting::Loaded { position, masses, .. } => {
                *position < bench.positions.len()
                    && masses.iter().all(|mass| *mass < bench.masses.len())
            }
            Setting::Free => true,
        };
        set && point.mean_code.is_finite()
            && is_spread(point.code_sd)
            && point.force_g.iter().all(|force| force.is_finite())
            && point.temperature_c.is_finite()
    });
    let seatings = bench
        .seatings
        .iter()
        .all(|seating| seating.friction_nm.is_finite() && seating.moment_nm.is_finite());
    counted
        && bench.masses.iter().all(|mass| positive(mass.mass_kg))
        && bench.positions.iter().all(|position| positive(position.arm_m))
        && positive(bench.gravity.value_m_s2)
        && points
        && seatings
}

fn curve_holds(curve: &CalibrationCurve) -> bool {
    let count = curve.coefficients.len();
    COEFFICIENT_COUNT.contains(&count)
        && curve.coefficients.iter().all(|coefficient| coefficient.is_finite())
        && curve.covariance.len() == count
        && curve.covariance.iter().enumerate().all(|(at, row)| {
            row.len() == count
                && row.iter().all(|entry| entry.is_finite())
                && row.get(at).is_some_and(|variance| *variance >= 0.0)
        })
        && is_spread(curve.residual_sd)
        && curve.r_squared.is_finite()
}

fn constants_hold(constants: &LeverConstants) -> bool {
    constants.zero_code.is_finite()
        && constants.span_nm_per_count.is_finite()
        && constants.span_nm_per_count > 0.0
        && constants.weight_moment_nm.is_finite()
}

fn terms_hold(terms: &LeverTerms) -> bool {
    let spreads = [
        terms.scale_relative_u,
        terms.hysteresis_half_width_nm,
        terms.repeatability_u_nm,
        terms.zero_u_nm,
        terms.seating_relative_u,
        terms.person_relative_u,
        terms.cross_load_relative_half_width,
        terms.temperature_relative_per_k,
        terms.resolution_nm,
    ];
    let covariance = terms.error_covariance.iter().enumerate().all(|(at, row)| {
        row.iter().all(|entry| entry.is_finite()) && row.get(at).is_some_and(|v| *v >= 0.0)
    });
    spreads.into_iter().all(is_spread)
        && terms.error_curve.iter().all(|part| part.is_finite())
        && covariance
        && in_order(terms.temperature_c)
        && in_order(terms.range_nm)
}

/// Indices alone: what is listed is looked up by them.
fn characteristics_hold(characteristics: &Characteristics, bench: &Bench) -> bool {
    let masses = |masses: &[usize]| masses.iter().all(|mass| *mass < bench.masses.len());
    characteristics.points.iter().all(|point| point.point < bench.points.len())
        && characteristics.positions.iter().all(|one| one.position < bench.positions.len())
        && characteristics.hysteresis.iter().all(|one| masses(&one.masses))
}

#[cfg(test)]
mod tests {
    use super::super::check_tests::calibration;
    use super::*;

    #[test]
    fn what_nothing_writes_is_told() {
        assert_eq!(impossible_calibration(&calibration()), None);
        let told = |change: &dyn Fn(&mut CalibrationRecord)| {
            let mut record = calibration();
            change(&mut record);
            impossible_calibration(&record)
        };
        type Change = fn(&mut CalibrationRecord);
        let cases: [(Change, &str); 14] = [
            (|r| r.number = 0, "its number"),
            (|r| r.due_ms = r.made_ms - 1, "its due date"),
            (|r| r.relative_humidity = Some(f64::INFINITY), "the room's air"),
            (|r| r.bench.masses.clear(), "its bench"),
            (|r| r.bench.positions[0].arm_m.u = -1.0, "its bench"),
            (|r| r.bench.gravity.value_m_s2.value = 0.0, "its bench"),
            (|r| r.bench.points[0].mean_code = f64::NAN, "its bench"),
            (|r| r.result.curve.covariance[1].clear(), "its curve"),
            (|r| r.result.curve.coefficients.clear(), "its curve"),
            (|r| r.result.constants.span_nm_per_count = 0.0, "its constants"),
            (|r| r.result.terms.basis = Basis::Class, "the number in its terms"),
            (|r| r.result.terms.error_covariance[2][2] = -1e-9, "its terms"),
            (|r| r.result.terms.range_nm = Some((3.0, 2.0)), "its terms"),
            (
                |r| {
                    let point = crate::calibration::characteristics::PointResult {
                        point: 99,
                        load_nm: 0.0,
                        code: 0.0,
                        residual_nm: 0.0,
                    };
                    r.result.characteristics.points.push(point);
                },
                "its characteristics",
            ),
        ];
        for (change, what) in cases {
            assert_eq!(told(&change), Some(what));
        }
    }
}

//! Which surveys were taken in like air.

use super::super::climate::moisture;
use super::super::surveys::{DAY_MS, Numbered};
use crate::analysis::history::moisture::MoistureEffect;
use crate::analysis::history::trend::Trend;
use crate::store::{NewClimate, StoredClimate};

/// Days before a survey whose climate the wood has felt: six to eight weeks; common practice, no
/// source.
pub(super) const WEEKS_BEFORE_DAYS: i64 = 56;
/// Days of them that the log must span, and readings it must have, for a mean that is one (ours).
const SPAN_DAYS_MIN: i64 = 28;
const READING_COUNT_MIN: usize = 3;
/// Percent points of moisture within which surveys are in like air (ours: half of what separates
/// the seasons of a heated room).
const LIKE_MOISTURE_PERCENT: f64 = 1.0;
/// Months within which a season is the same.
const SEASON_MONTHS: i32 = 1;

/// Mean moisture the wood tended to over the weeks before a moment, percent; `None` where the log
/// does not tell. A day with many readings counts as one with few.
pub(super) fn weeks_before(log: &[StoredClimate], ms: i64) -> Option<f64> {
    mean_before(log, ms, moisture)
}

/// Mean relative humidity over the weeks before a moment, 0–1; `None` where the log does not tell.
pub(in crate::cli) fn humidity_before(log: &[StoredClimate], ms: i64) -> Option<f64> {
    mean_before(log, ms, |new| Some(new.humidity()))
}

fn mean_before(
    log: &[StoredClimate],
    ms: i64,
    of: impl Fn(&NewClimate) -> Option<f64>,
) -> Option<f64> {
    let from = ms - WEEKS_BEFORE_DAYS * DAY_MS;
    let mut days: Vec<(i64, f64, f64)> = Vec::new();
    let mut count = 0;
    for stored in log.iter().filter(|stored| (from..=ms).contains(&stored.new.taken_ms)) {
        let Some(value) = of(&stored.new) else { continue };
        count += 1;
        let day = stored.new.taken_ms.div_euclid(DAY_MS);
        match days.last_mut() {
            Some((last, sum, readings)) if *last == day => {
                *sum += value;
                *readings += 1.0;
            }
            _ => days.push((day, value, 1.0)),
        }
    }
    let (first, last) = (days.first()?.0, days.last()?.0);
    if count < READING_COUNT_MIN || last - first < SPAN_DAYS_MIN {
        return None;
    }
    Some(days.iter().map(|(_, sum, count)| sum / count).sum::<f64>() / days.len() as f64)
}

/// Month of a date, 1 to 12.
fn month(survey: &Numbered) -> Option<i32> {
    survey.survey.started.get(5..7)?.parse().ok().filter(|month| (1..=12).contains(month))
}

fn same_season(used: &[&Numbered]) -> bool {
    let months: Option<Vec<i32>> = used.iter().map(|survey| month(survey)).collect();
    let Some(months) = months else { return false };
    let apart = |one: i32, other: i32| {
        let plain = (one - other).abs();
        plain.min(12 - plain)
    };
    months.iter().all(|one| months.iter().all(|other| apart(*one, *other) <= SEASON_MONTHS))
}

/// What is said of the air of the surveys of a trend.
pub(super) fn told(used: &[&Numbered], trend: &Trend) -> String {
    if used.len() < 2 {
        return String::new();
    }
    let effect = match trend.moisture {
        MoistureEffect::Seen(slope) if trend.moisture_range.is_some() => {
            return format!(
                "this instrument's own surveys show {:+.2} N·m per percent point of moisture (± \
                 {:.2}); the trend is of the surveys carried to {:.1} %",
                slope.per_percent, slope.per_percent_u, slope.reference_percent
            );
        }
        MoistureEffect::Seen(_) | MoistureEffect::Steady { .. } => String::new(),
        MoistureEffect::TooFew { found } => {
            format!(
                "; {found} surveys with a logged climate are too few to tell what moisture does"
            )
        }
        MoistureEffect::InStep { .. } => {
            "; moisture went with time, so that the two cannot be told apart".to_owned()
        }
        MoistureEffect::NoneSeen { .. } => "; no effect of moisture stands out".to_owned(),
    };
    match trend.moisture_range {
        Some(range) if range <= LIKE_MOISTURE_PERCENT => format!(
            "in like air: over the eight weeks before each, wood tended to moistures within \
             {range:.1} percent points"
        ),
        Some(range) => format!(
            "not in like air: over the eight weeks before each, wood tended to moistures \
             {range:.1} percent points apart{effect}"
        ),
        None if same_season(used) => {
            "of the same season; the climate of the weeks before was not logged for all of them"
                .to_owned()
        }
        None => "not of the same season, and the climate of the weeks before was not logged for \
                 all of them: a part of the change may be the wood's moisture; log it with \
                 `pinhold climate`"
            .to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(days: &[i64]) -> Vec<StoredClimate> {
        let reading = |day: &i64| NewClimate {
            taken: String::new(),
            taken_ms: day * DAY_MS,
            humidity_permille: 400,
            temperature_centi_celsius: None,
            source: String::new(),
        };
        days.iter().map(|day| StoredClimate { number: *day, new: reading(day) }).collect()
    }

    #[test]
    fn a_mean_needs_weeks_not_hours() {
        let at = |days: &[i64]| weeks_before(&log(days), 100 * DAY_MS);
        // Wood Handbook's equation: 40 % at 20 °C is 7.7 %.
        assert!((at(&[50, 70, 90]).unwrap() - 7.7).abs() < 0.1);
        assert_eq!(at(&[90, 95, 99]), None, "nine days");
        assert_eq!(at(&[50, 99]), None, "two readings");
        assert_eq!(at(&[1, 20, 40]), None, "long before");
        assert_eq!(at(&[110, 130, 150]), None, "after it");
        assert_eq!(at(&[]), None);
    }
}

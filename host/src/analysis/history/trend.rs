//! Surveys of one instrument in time: which pins can be compared, their trend, and when it reaches
//! a limit.
//!
//! Like with like: a trend is of the pins that every survey used read in the same way. The slope is
//! through medians, its interval by ranks from five surveys on, by least squares for three or four;
//! where the instrument's own surveys show that torque follows moisture, both are of the surveys
//! carried to one moisture. When a limit is reached is told by least squares with the scatter of
//! the surveys, and not at all below three surveys or a year.
//!
//! Deliberately not here: which surveys a repair divides (the caller hands in those that belong
//! together), and dates (time is in years).

use std::collections::BTreeMap;

use pinhold_protocol::record::Pin;

use super::compare::{common_level_u, has_friction, is_alike};
use super::crossing::{Crossing, fit_line};
use super::kendall::mann_kendall;
use super::moisture::{MoistureEffect, moisture_effect};
use super::pettitt::pettitt;
use super::slope::theil_sen;
use crate::analysis::band::finite;
use crate::analysis::input::PinReading;
use crate::analysis::stats::{mean, median, quantile};

/// Level of the intervals.
pub const LEVEL: f64 = 0.95;
/// Surveys from which a slope's interval is by ranks.
const RANKS_COUNT_MIN: usize = 5;
/// Surveys from which there is an interval at all.
pub const SURVEY_COUNT_MIN: usize = 3;
/// Years from which a limit's year is told: less is one season, or part of one.
pub const SPAN_YEARS_MIN: f64 = 1.0;
/// Pins of a group from which surveys are not dropped to have more in common.
const PIN_COUNT_MIN: usize = 5;
/// Chance below which a change of level is told.
const CHANGE_P: f64 = 0.05;

/// What of the pins is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Their median friction.
    Median,
    /// Friction a tenth of them are below.
    LowestDecile,
}

impl Measure {
    fn of(self, frictions_nm: &[f64]) -> Option<f64> {
        match self {
            Measure::Median => median(frictions_nm),
            Measure::LowestDecile => quantile(frictions_nm, 0.1),
        }
    }
}

/// A survey in time.
#[derive(Clone, Copy, Debug)]
pub struct SurveyAt<'a> {
    /// When, years on any scale.
    pub years: f64,
    /// What its pins say.
    pub readings: &'a [PinReading],
    /// Moisture the wood tended to over the weeks before, percent, when known.
    pub moisture_percent: Option<f64>,
}

/// How the slope's interval was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlopeBy {
    /// Ranks of the pairs of surveys.
    Ranks,
    /// Least squares over time.
    LeastSquares,
    /// Least squares over time and moisture.
    TimeAndMoisture,
}

/// When a limit is reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reach {
    /// Too few surveys, or too short a time.
    NotEnoughHistory,
    /// What the surveys say.
    Told(Crossing),
}

/// A trend.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Indices of the surveys used, in order.
    pub used: Vec<usize>,
    /// Pins all of them read alike.
    pub pins: Vec<Pin>,
    /// The measure at each survey used, N·m.
    pub values_nm: Vec<f64>,
    /// Years from the first to the last of them.
    pub span_years: f64,
    /// Change per year, N·m; `None` for one survey, or several at one time.
    pub slope_nm: Option<f64>,
    /// Its interval; `None` for too few surveys.
    pub interval_nm: Option<(f64, f64)>,
    /// How that was found.
    pub by: SlopeBy,
    /// Chance of such a trend where there is none (Mann and Kendall); `None` for too few surveys.
    pub p: Option<f64>,
    /// What the surveys with a known climate say of moisture.
    pub moisture: MoistureEffect,
    /// Range of moisture where it is known of all surveys used, percent points.
    pub moisture_range: Option<f64>,
    /// Index of the last survey before the level changed at once; `None` where it did not.
    pub changed_after: Option<usize>,
    /// When the limit is reached.
    pub reach: Reach,
}

impl Trend {
    /// Whether the fall is clear.
    pub fn falls(&self) -> bool {
        self.interval_nm.is_some_and(|(_, high)| high < 0.0)
    }
}

/// The pins that surveys have in common, read alike and with a friction; and the surveys kept.
///
/// While there are fewer than five, or than the surveys ever read, the survey with the fewest is
/// dropped, as long as three stay.
pub fn in_common(surveys: &[SurveyAt<'_>], wanted: impl Fn(Pin) -> bool) -> (Vec<Pin>, Vec<usize>) {
    let by_pin: Vec<BTreeMap<Pin, &PinReading>> = surveys
        .iter()
        .map(|survey| {
            let readings = survey.readings.iter();
            let counting = readings.filter(|reading| wanted(reading.pin) && has_friction(reading));
            counting.map(|reading| (reading.pin, reading)).collect()
        })
        .collect();
    let mut kept: Vec<usize> =
        (0..surveys.len()).filter(|index| !by_pin[*index].is_empty()).collect();
    let most = by_pin.iter().map(BTreeMap::len).max().unwrap_or(0);
    loop {
        let pins = common(&by_pin, &kept);
        if pins.len() >= most.min(PIN_COUNT_MIN) || kept.len() <= SURVEY_COUNT_MIN {
            return (pins, kept);
        }
        let Some(least) = kept.iter().copied().min_by_key(|index| by_pin[*index].len()) else {
            return (pins, kept);
        };
        kept.retain(|index| *index != least);
    }
}

fn common(by_pin: &[BTreeMap<Pin, &PinReading>], kept: &[usize]) -> Vec<Pin> {
    let Some((first, rest)) = kept.split_first() else { return Vec::new() };
    let in_all = |pin: &Pin, one: &PinReading| {
        rest.iter().all(|index| by_pin[*index].get(pin).is_some_and(|other| is_alike(one, other)))
    };
    let pins = by_pin[*first].iter().filter(|(pin, reading)| in_all(pin, reading));
    pins.map(|(pin, _)| *pin).collect()
}

/// The trend of the pins wanted; `same_tool` whether one lever with one calibration took all,
/// `limit_nm` what it may fall to, `now_years` on the surveys' scale.
///
/// `None` where the surveys have no pin in common.
pub fn trend(
    surveys: &[SurveyAt<'_>],
    wanted: impl Fn(Pin) -> bool,
    measure: Measure,
    same_tool: bool,
    limit_nm: f64,
    now_years: f64,
) -> Option<Trend> {
    let (pins, used) = in_common(surveys, wanted);
    let mut values_nm = Vec::new();
    let mut own_u = Vec::new();
    for index in &used {
        let of: Vec<&PinReading> = surveys[*index]
            .readings
            .iter()
            .filter(|reading| pins.binary_search(&reading.pin).is_ok())
            .collect();
        let frictions: Vec<(f64, f64)> = of
            .iter()
            .filter_map(|reading| finite(reading.friction_nm))
            .map(|friction| (friction.value, friction.u))
            .collect();
        let values: Vec<f64> = frictions.iter().map(|(value, _)| *value).collect();
        values_nm.push(measure.of(&values)?);
        let shared = common_level_u(&of, same_tool);
        // What is each reading's own falls with their number.
        let reading_u = median(&frictions.iter().map(|(_, u)| *u).collect::<Vec<f64>>())?;
        own_u.push(libm::hypot(shared, reading_u / (frictions.len() as f64).sqrt()));
    }
    let years: Vec<f64> = used.iter().map(|index| surveys[*index].years).collect();
    let own_u = mean(&own_u)?;
    let moistures: Vec<Option<f64>> =
        used.iter().map(|index| surveys[*index].moisture_percent).collect();
    Some(fitted(Fitted { pins, used, values_nm, years, own_u, moistures }, limit_nm, now_years))
}

struct Fitted {
    pins: Vec<Pin>,
    used: Vec<usize>,
    values_nm: Vec<f64>,
    years: Vec<f64>,
    own_u: f64,
    moistures: Vec<Option<f64>>,
}

fn fitted(series: Fitted, limit_nm: f64, now_years: f64) -> Trend {
    let Fitted { pins, used, values_nm, years, own_u, moistures } = series;
    let known: Vec<(f64, f64, f64)> = years
        .iter()
        .zip(&values_nm)
        .zip(&moistures)
        .filter_map(|((years, value), moisture)| Some((*years, (*moisture)?, *value)))
        .collect();
    let moisture = moisture_effect(&known).unwrap_or(MoistureEffect::TooFew { found: known.len() });
    let moisture_range = (known.len() == used.len() && !known.is_empty()).then(|| {
        let top = known.iter().map(|survey| survey.1).fold(f64::NEG_INFINITY, f64::max);
        known.iter().map(|survey| top - survey.1).fold(0.0, f64::max)
    });
    let ends = |of: fn(f64, f64) -> f64| years.iter().copied().reduce(of).unwrap_or(0.0);
    let span_years = ends(f64::max) - ends(f64::min);
    let mut told = Trend {
        changed_after: None,
        span_years,
        slope_nm: None,
        interval_nm: None,
        by: SlopeBy::Ranks,
        p: None,
        moisture_range,
        reach: Reach::NotEnoughHistory,
        moisture,
        pins,
        used,
        values_nm,
    };
    let seen = match told.moisture {
        // Carried only where the climate of every survey is known.
        MoistureEffect::Seen(slope) if moisture_range.is_some() => Some(slope),
        _ => None,
    };
    let values: Vec<f64> = match seen {
        None => told.values_nm.clone(),
        Some(slope) => known.iter().map(|(_, m, value)| slope.carried(*value, *m)).collect(),
    };
    told.p = mann_kendall(&values).ok().map(|test| test.p);
    let change = pettitt(&values).ok().filter(|change| change.p < CHANGE_P);
    told.changed_after = change.and_then(|change| told.used.get(change.after - 1).copied());
    let robust = theil_sen(&years, &values, LEVEL).ok();
    told.slope_nm = robust.map(|line| line.slope);
    if values.len() < SURVEY_COUNT_MIN {
        return told;
    }
    // The moisture's slope is uncertain too: no surer than the fit over both.
    let centre = mean(&years).unwrap_or(0.0);
    let spread = years.iter().map(|year| (year - centre) * (year - centre)).sum::<f64>().sqrt();
    let own_u = seen.map_or(own_u, |slope| own_u.max(slope.per_time_u * spread));
    let Ok(line) = fit_line(&years, &values, own_u) else { return told };
    let line = if seen.is_some() { line.of_fitted_values() } else { line };
    (told.by, told.interval_nm) = match (seen, robust) {
        (Some(slope), _) => {
            told.slope_nm = Some(slope.per_time);
            (SlopeBy::TimeAndMoisture, slope.per_time_interval(LEVEL))
        }
        (None, Some(robust)) if values.len() >= RANKS_COUNT_MIN => {
            (SlopeBy::Ranks, robust.interval)
        }
        _ => {
            told.slope_nm = Some(line.slope);
            (SlopeBy::LeastSquares, line.slope_interval(LEVEL).ok())
        }
    };
    if span_years >= SPAN_YEARS_MIN
        && let Ok(crossing) = line.falls_to(limit_nm, now_years, LEVEL)
    {
        told.reach = Reach::Told(crossing);
    }
    told
}

#[cfg(test)]
mod tests {
    use pinhold_protocol::record::StringPosition;

    use super::*;
    use crate::analysis::input::Estimate;

    fn reading(note: u8, friction: f64) -> PinReading {
        let pin = Pin { note, string: StringPosition::Left };
        let mut reading = PinReading::without_torques(pin, Estimate { value: 3.0, u: 0.2 });
        reading.friction_nm = Some(Estimate { value: friction, u: 0.2 });
        reading.sharp_nm = reading.friction_nm;
        reading
    }

    fn level(level: f64, notes: std::ops::RangeInclusive<u8>) -> Vec<PinReading> {
        notes.map(|note| reading(note, level + f64::from(note % 3) * 0.1)).collect()
    }

    fn told(surveys: &[(f64, Vec<PinReading>, Option<f64>)], limit_nm: f64) -> Option<Trend> {
        let at: Vec<SurveyAt<'_>> = surveys
            .iter()
            .map(|(years, readings, moisture_percent)| SurveyAt {
                years: *years,
                readings,
                moisture_percent: *moisture_percent,
            })
            .collect();
        let now = at.last().map_or(0.0, |survey| survey.years);
        trend(&at, |_| true, Measure::Median, true, limit_nm, now)
    }

    /// Falls half a newton-metre a year.
    fn falling(count: u8) -> Vec<(f64, Vec<PinReading>, Option<f64>)> {
        let wobble = |year: u8| if year.is_multiple_of(2) { 0.03 } else { -0.03 };
        (0..count)
            .map(|year| {
                let friction = 9.0 - 0.5 * f64::from(year) + wobble(year);
                (2000.0 + f64::from(year), level(friction, 1..=20), None)
            })
            .collect()
    }

    #[test]
    fn a_fall_is_told_with_interval_and_year() {
        let got = told(&falling(7), 4.0).unwrap();
        assert_eq!((got.by, got.pins.len(), got.used.len()), (SlopeBy::Ranks, 20, 7));
        assert!((got.slope_nm.unwrap() + 0.5).abs() < 0.02 && got.falls());
        let Reach::Told(Crossing::Between(low, own, high)) = got.reach else { panic!("{got:?}") };
        assert!(low < own && own < high && (own - 2010.2).abs() < 0.5, "{low} {own} {high}");
        assert_eq!(got.moisture, MoistureEffect::TooFew { found: 0 });
    }

    #[test]
    fn little_history_says_so() {
        assert_eq!(told(&falling(2), 4.0).unwrap().reach, Reach::NotEnoughHistory);
        let three = told(&falling(3), 4.0).unwrap();
        assert_eq!(three.by, SlopeBy::LeastSquares);
        assert!(matches!(three.reach, Reach::Told(_)));
        let mut weeks = falling(5);
        weeks.iter_mut().for_each(|survey| survey.0 = 2000.0 + (survey.0 - 2000.0) / 10.0);
        assert_eq!(told(&weeks, 4.0).unwrap().reach, Reach::NotEnoughHistory);
        assert!(told(&[], 4.0).is_none());
    }

    #[test]
    fn a_survey_of_other_pins_is_dropped_not_averaged_in() {
        let mut surveys = falling(6);
        surveys[3].1 = level(2.0, 60..=62);
        let got = told(&surveys, 4.0).unwrap();
        assert_eq!(got.used, [0, 1, 2, 4, 5]);
        assert!((got.slope_nm.unwrap() + 0.5).abs() < 0.05);
    }

    #[test]
    fn moisture_is_taken_out_where_the_surveys_show_it() {
        let moistures = [6.0, 10.0, 9.0, 6.5, 6.2, 9.8, 10.1, 6.1];
        let surveys: Vec<_> = moistures
            .iter()
            .enumerate()
            .map(|(year, moisture)| {
                let wobble = if year % 2 == 0 { 0.02 } else { -0.02 };
                let friction = 9.0 - 0.2 * year as f64 + 0.4 * (moisture - 8.0) + wobble;
                (year as f64, level(friction, 1..=20), Some(*moisture))
            })
            .collect();
        let got = told(&surveys, 4.0).unwrap();
        assert_eq!(got.by, SlopeBy::TimeAndMoisture);
        assert!((got.slope_nm.unwrap() + 0.2).abs() < 0.05 && got.falls(), "{got:?}");
        // One survey of unknown climate, and nothing is carried.
        let mut unknown = surveys;
        unknown[2].2 = None;
        assert_ne!(told(&unknown, 4.0).unwrap().by, SlopeBy::TimeAndMoisture);
    }

    #[test]
    fn a_step_nobody_noted_is_told() {
        let surveys: Vec<_> = (0..12)
            .map(|year| {
                let friction = if year < 6 { 9.0 } else { 6.0 } + f64::from(year % 3) * 0.05;
                (f64::from(year), level(friction, 1..=20), None)
            })
            .collect();
        assert_eq!(told(&surveys, 4.0).unwrap().changed_after, Some(5));
    }
}

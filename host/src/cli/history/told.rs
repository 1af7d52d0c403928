//! A history as text and as a document.

use serde_json::{Value, json};

use super::{Group, climate};
use crate::analysis::band::finite;
use crate::analysis::history::crossing::Crossing;
use crate::analysis::history::moisture::MoistureEffect;
use crate::analysis::history::trend::{Measure, Reach, SlopeBy};
use crate::analysis::stats::{median, quantile};
use crate::cli::context::day_of;
use crate::cli::correct::pin_value;
use crate::cli::surveys::{Numbered, ms_of};
use crate::instrument::pin_name;
use crate::report::numbers::{fixed, signed};
use crate::report::terminal::wrap;
use crate::store::StoredClimate;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Years ahead beyond which no year is told: nothing goes on so for so long (ours).
const YEARS_AHEAD_MAX: f64 = 30.0;

fn frictions(survey: &Numbered) -> Vec<f64> {
    let all = survey.readings.iter().filter_map(|reading| finite(reading.friction_nm));
    all.map(|friction| friction.value).collect()
}

/// A torque without its unit.
fn plain(value_nm: f64, unit: TorqueUnit) -> String {
    fixed(unit.from_newton_metres(value_nm), unit.decimals())
}

/// A rate with its interval and unit.
pub(super) fn rate(value_nm: f64, interval_nm: (f64, f64), unit: TorqueUnit) -> String {
    let shown = |value: f64| fixed(unit.from_newton_metres(value), unit.decimals() + 1);
    format!("{} {unit} ({} to {})", shown(value_nm), shown(interval_nm.0), shown(interval_nm.1))
}

/// A survey in a line.
pub(super) fn survey_line(survey: &Numbered, unit: TorqueUnit) -> String {
    let frictions = frictions(survey);
    let level = match (median(&frictions), quantile(&frictions, 0.1)) {
        (Some(middle), Some(tenth)) => {
            format!("median {} {unit}, a tenth below {}", plain(middle, unit), plain(tenth, unit))
        }
        _ => "no friction".to_owned(),
    };
    let humidity =
        survey.humidity.map_or(String::new(), |share| format!(", {:.0} % RH", 100.0 * share));
    format!(
        "{:>4}  {}  {:<9} {:>3} pins  {level}{humidity}\n",
        survey.number,
        printable(&survey.date()),
        survey.survey.source.word(),
        survey.readings.len(),
    )
}

/// A survey in a document.
pub(super) fn survey_value(survey: &Numbered, log: &[StoredClimate]) -> Value {
    let frictions = frictions(survey);
    let moisture = ms_of(&survey.survey.started).and_then(|ms| climate::weeks_before(log, ms));
    json!({
        "number": survey.number,
        "started": survey.survey.started,
        "source": survey.survey.source.word(),
        "pins": survey.readings.len(),
        "median_nm": median(&frictions),
        "lowest_decile_nm": quantile(&frictions, 0.1),
        "relative_humidity": survey.humidity,
        "wood_moisture_percent_weeks_before": moisture,
    })
}

/// A trend for reading.
pub(super) fn group_text(group: &Group, limit_nm: f64, unit: TorqueUnit, width: usize) -> String {
    let trend = &group.trend;
    let numbers = &group.numbers;
    let of = match numbers.as_slice() {
        [one] => format!("survey {one}"),
        [first, .., last] if last - first + 1 == numbers.len() => {
            format!("surveys {first} to {last}")
        }
        all => {
            let words: Vec<String> = all.iter().map(usize::to_string).collect();
            format!("surveys {}", words.join(", "))
        }
    };
    let pins = match trend.pins.len() {
        0 => "no pin in common".to_owned(),
        1 => "1 pin".to_owned(),
        count => format!("{count} pins"),
    };
    let rate_nm = match (trend.slope_nm, trend.interval_nm) {
        (Some(slope), Some((low, high))) => {
            let shown = |value: f64| signed(unit.from_newton_metres(value), unit.decimals() + 1);
            let (slope, low, high) = (shown(slope), shown(low), shown(high));
            let by = match trend.by {
                SlopeBy::TimeAndMoisture => ", moisture taken out",
                _ => "",
            };
            format!("{slope} {unit} a year ({low} to {high}, 95 %{by})")
        }
        _ => "not enough history for a trend".to_owned(),
    };
    let mut text = format!("{rate_nm}; {pins} of {of}; {}", reach(group, limit_nm, unit));
    if let Some(done) = &group.since {
        text.push_str(&format!("; since the repair of {}", printable(day_of(done))));
    }
    match group.repaired_count {
        0 => {}
        1 => text.push_str("; 1 repaired pin left out"),
        count => text.push_str(&format!("; {count} repaired pins left out")),
    }
    if let Some(place) = trend.changed_after.and_then(|after| {
        let place = trend.used.iter().position(|index| *index == after)?;
        group.numbers.get(place)
    }) {
        text.push_str(&format!(
            "; the level changed at once after survey {place}, without a repair noted there"
        ));
    }
    wrap(&format!("{}: {text}", group.name), "  ", width)
}

/// When it reaches the limit, in words.
fn reach(group: &Group, limit_nm: f64, unit: TorqueUnit) -> String {
    let limit = format!("{} {unit}", plain(limit_nm, unit));
    let crossing = match group.trend.reach {
        Reach::NotEnoughHistory => {
            return format!("year of {limit}: not enough history");
        }
        Reach::Told(crossing) => crossing,
    };
    let last = group.now_years + YEARS_AHEAD_MAX;
    match crossing {
        Crossing::Between(low, _, _) if low > last => {
            format!("not at {limit} within {YEARS_AHEAD_MAX:.0} years, going on so")
        }
        Crossing::Between(low, _, high) if high > last => {
            format!("at {limit} in {low:.0} or later, going on so (95 %)")
        }
        Crossing::Between(low, _, high) => {
            format!(
                "at {limit} between {:.0} and {:.0}, going on so (95 %)",
                low.floor(),
                high.floor()
            )
        }
        Crossing::NotBefore(year) if year > last => {
            format!("not at {limit} within {YEARS_AHEAD_MAX:.0} years, going on so")
        }
        Crossing::NotBefore(year) => {
            format!(
                "at {limit} not before {:.0}, going on so; later or never cannot be told",
                year.floor()
            )
        }
        Crossing::NotFalling => "does not fall".to_owned(),
        Crossing::Reached => format!("at or below {limit} already"),
        Crossing::Untold => format!("year of {limit}: cannot be told, its level is too close"),
    }
}

/// What is said of the air, once for all groups that say the same.
pub(super) fn airs(groups: &[Group], width: usize) -> String {
    let mut told: Vec<(&str, Vec<&str>)> = Vec::new();
    for group in groups.iter().filter(|group| !group.air.is_empty()) {
        match told.iter_mut().find(|(air, _)| *air == group.air) {
            Some((_, names)) => names.push(&group.name),
            None => told.push((&group.air, vec![&group.name])),
        }
    }
    let is_one = told.len() == 1;
    let line = |(air, names): &(&str, Vec<&str>)| {
        let of =
            if is_one { "surveys".to_owned() } else { format!("surveys of {}", names.join("; ")) };
        wrap(&format!("{of} {air}"), "", width)
    };
    told.iter().map(line).collect()
}

/// A trend in a document; torque in N·m.
pub(super) fn group_value(group: &Group) -> Value {
    let trend = &group.trend;
    let (reach, years) = match trend.reach {
        Reach::NotEnoughHistory => ("not-enough-history", Value::Null),
        Reach::Told(Crossing::Between(low, own, high)) => {
            ("between", json!({ "low": low, "line": own, "high": high }))
        }
        Reach::Told(Crossing::NotBefore(year)) => ("not-before", json!({ "low": year })),
        Reach::Told(Crossing::NotFalling) => ("not-falling", Value::Null),
        Reach::Told(Crossing::Reached) => ("reached", Value::Null),
        Reach::Told(Crossing::Untold) => ("cannot-be-told", Value::Null),
    };
    let pins: Vec<Value> = trend.pins.iter().map(|pin| pin_value(Some(*pin))).collect();
    json!({
        "name": group.name,
        "measure": match group.measure {
            Measure::Median => "median",
            Measure::LowestDecile => "lowest-decile",
        },
        "surveys": group.numbers,
        "pins": pins,
        "pin_names": trend.pins.iter().map(|pin| pin_name(*pin)).collect::<Vec<_>>(),
        "values_nm": trend.values_nm,
        "span_years": trend.span_years,
        "slope_nm_per_year": trend.slope_nm,
        "slope_interval_nm_per_year": trend.interval_nm,
        "slope_by": match trend.by {
            SlopeBy::Ranks => "ranks",
            SlopeBy::LeastSquares => "least-squares",
            SlopeBy::TimeAndMoisture => "time-and-moisture",
        },
        "mann_kendall_p": trend.p,
        "moisture": moisture_value(&trend.moisture),
        "moisture_range_percent": trend.moisture_range,
        "since_repair": group.since,
        "repaired_pins_left_out": group.repaired_count,
        "limit": reach,
        "limit_years": years,
        "air": group.air,
    })
}

fn moisture_value(effect: &MoistureEffect) -> Value {
    match effect {
        MoistureEffect::TooFew { found } => json!({ "effect": "too-few", "surveys": found }),
        MoistureEffect::Steady { range } => json!({ "effect": "steady", "range_percent": range }),
        MoistureEffect::InStep { correlation } => {
            json!({ "effect": "in-step", "correlation": correlation })
        }
        MoistureEffect::NoneSeen { p } => json!({ "effect": "none-seen", "p": p }),
        MoistureEffect::Seen(slope) => json!({
            "effect": "seen",
            "nm_per_percent": slope.per_percent,
            "nm_per_percent_u": slope.per_percent_u,
            "p": slope.p,
            "carried_to_percent": slope.reference_percent,
        }),
    }
}

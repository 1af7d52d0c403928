//! What a calibration needs beforehand, from the command line or by asking.

use std::collections::HashMap;
use std::fmt;

use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, civil};

use super::arguments::{CalibrateArguments, Names};
use super::talk::question;
use crate::calibration::bench::{Gravity, HandPosition, Mass};
use crate::calibration::facts::Facts;
use crate::calibration::loads::gravity_of_place;
use crate::calibration::procedure::Setup;
use crate::cli::context::say;
use crate::cli::exit::{CliError, Exit};
use crate::cli::lever::typed::{arm_parser, height_parser, latitude_parser, mass_parser};
use crate::cli::parsers::fact_parser;
use crate::text::printable;
use crate::units::{TemperatureUnit, parse_temperature_c};

/// Hand positions asked for at least.
const ARM_COUNT: usize = 2;
/// When the next calibration is due unless said otherwise.
const DUE_DEFAULT: &str = "12mo";
/// People at most.
const PEOPLE_COUNT_MAX: usize = 12;

/// When the next calibration is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::cli::lever) enum Due {
    /// That long after this one.
    After(Length),
    /// On a day.
    On(civil::Date),
}

/// Months and days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli::lever) struct Length {
    months: i32,
    days: i32,
}

impl Due {
    /// Milliseconds since 1970-01-01 UTC, of a calibration made then.
    fn after_ms(self, made_ms: i64) -> Result<i64, CliError> {
        let utc = TimeZone::UTC;
        let due = Timestamp::from_millisecond(made_ms).and_then(|made| {
            let due = match self {
                Due::After(Length { months, days }) => {
                    utc.to_datetime(made).checked_add(Span::new().months(months).days(days))?
                }
                Due::On(date) => date.at(0, 0, 0, 0),
            };
            utc.to_timestamp(due)
        });
        let due_ms = due.map(Timestamp::as_millisecond);
        match due_ms {
            Ok(due_ms) if due_ms > made_ms => Ok(due_ms),
            _ => {
                Err(CliError::new(Exit::Usage, "--due: the next calibration is due after this one"))
            }
        }
    }
}

/// As it is typed.
impl fmt::Display for Due {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Due::After(Length { months, days: 0 }) => write!(f, "{months}mo"),
            Due::After(Length { days, .. }) => write!(f, "{days}d"),
            Due::On(date) => write!(f, "{date}"),
        }
    }
}

/// What was typed beside the bench.
pub(super) fn facts(arguments: &CalibrateArguments) -> Facts {
    Facts {
        people: arguments.people.clone().unwrap_or_default().0,
        place: arguments.place.clone(),
        remark: arguments.remark.clone(),
        relative_humidity: arguments.humidity,
        room_temperature_c: arguments.room_temperature,
        due: arguments.due.map(|due| due.to_string()),
    }
}

/// When the next calibration is due after one made then, milliseconds since 1970-01-01 UTC.
pub(super) fn due_ms(facts: &Facts, made_ms: i64) -> Result<i64, CliError> {
    let text = facts.due.as_deref().unwrap_or(DUE_DEFAULT);
    let wrong = |sentence: String| CliError::new(Exit::Usage, format!("--due: {sentence}"));
    due_parser(text).map_err(wrong)?.after_ms(made_ms)
}

/// `12mo`, `1y`, `90d`, or a date.
pub(super) fn due_parser(text: &str) -> Result<Due, String> {
    let text = text.trim();
    if let Ok(date) = text.parse::<civil::Date>() {
        return Ok(Due::On(date));
    }
    let usage = || "use 12mo, 1y, 90d or a date such as 2027-05-01".to_owned();
    let digits = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let count: i32 = text[..digits].parse().map_err(|_| usage())?;
    let (months, days) = match text[digits..].trim() {
        "mo" | "months" | "month" => (count, 0),
        "y" | "years" | "year" => (count.saturating_mul(12), 0),
        "d" | "days" | "day" => (0, count),
        _ => return Err(usage()),
    };
    if !(1..=1200).contains(&months) && !(1..=36_500).contains(&days) {
        return Err(usage());
    }
    Ok(Due::After(Length { months, days }))
}

/// Names separated by commas.
pub(in crate::cli::lever) fn names_parser(text: &str) -> Result<Names, String> {
    let names = text.split(',').map(str::trim).filter(|name| !name.is_empty());
    let names: Result<Vec<String>, String> = names.map(fact_parser).collect();
    let names = names?;
    if names.len() > PEOPLE_COUNT_MAX {
        return Err(format!("at most {PEOPLE_COUNT_MAX} people are possible"));
    }
    Ok(Names(names))
}

/// Percent to a share.
pub(super) fn humidity_parser(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches('%').trim().parse::<f64>().ok();
    number
        .filter(|percent| (0.0..=100.0).contains(percent))
        .map(|percent| percent / 100.0)
        .ok_or_else(|| "use percent, 0 to 100".to_owned())
}

/// A temperature of a room, °C.
pub(super) fn temperature_parser(text: &str) -> Result<f64, String> {
    let celsius = parse_temperature_c(text, Some(TemperatureUnit::Celsius))
        .map_err(|error| error.to_string())?;
    if (-30.0..=60.0).contains(&celsius) {
        Ok(celsius)
    } else {
        Err("no room people work in is that cold or hot".to_owned())
    }
}

/// Names that two masses or arms share get a count behind them.
fn told_apart<T>(parts: Vec<T>, name: impl Fn(&mut T) -> &mut String) -> Vec<T> {
    let mut seen: HashMap<String, usize> = HashMap::new();
    let mut parts = parts;
    for part in &mut parts {
        let name = name(part);
        let count = seen.entry(name.clone()).or_default();
        *count += 1;
        if *count > 1 {
            *name = format!("{name} no. {count}");
        }
    }
    parts
}

fn of(masses: Vec<Mass>, positions: Vec<HandPosition>, gravity: Gravity) -> Setup {
    Setup {
        masses: told_apart(masses, |mass| &mut mass.name),
        positions: told_apart(positions, |position| &mut position.name),
        gravity,
    }
}

fn gravity(arguments: &CalibrateArguments) -> Option<Gravity> {
    let place = arguments.latitude.zip(arguments.height);
    let of_place = place.map(|(latitude, height)| gravity_of_place(latitude, height));
    arguments.gravity.or(of_place)
}

/// As given; `None` when anything is left out.
pub(super) fn given(arguments: &CalibrateArguments) -> Option<Setup> {
    if arguments.masses.is_empty() || arguments.arms.is_empty() {
        return None;
    }
    Some(of(arguments.masses.clone(), arguments.arms.clone(), gravity(arguments)?))
}

/// As it was, with what is typed now in its place: a mistyped weight, arm or gravity put right.
pub(super) fn amended(arguments: &CalibrateArguments, earlier: Setup) -> Setup {
    let (masses, arms) = (arguments.masses.clone(), arguments.arms.clone());
    of(
        if masses.is_empty() { earlier.masses } else { masses },
        if arms.is_empty() { earlier.positions } else { arms },
        gravity(arguments).unwrap_or(earlier.gravity),
    )
}

/// As given; what is left out is asked for, or invented where the lever is.
pub(super) fn given_or_asked(arguments: &CalibrateArguments) -> Result<Setup, CliError> {
    let nothing = arguments.masses.is_empty() && arguments.arms.is_empty();
    if arguments.simulated && nothing && gravity(arguments).is_none() {
        return Ok(practice());
    }
    let mut masses = arguments.masses.clone();
    if masses.is_empty() {
        masses = asked(
            "dead weights in the order you put them on, such as 0.5 kg ± 0.2 g, 1 kg ± 0.2 g",
            "--masses",
            |typed| typed.split(',').map(mass_parser).collect(),
        )?;
    }
    let mut arms = arguments.arms.clone();
    while arms.len() < ARM_COUNT {
        let what = format!(
            "arm {}: from the axis of the pin to where weights hang, such as 250 mm ± 0.5 mm",
            arms.len() + 1
        );
        arms.push(asked(&what, "--arm, twice", arm_parser)?);
    }
    let gravity = match gravity(arguments) {
        Some(gravity) => gravity,
        None => {
            let option = "--gravity, or --latitude and --height";
            let latitude_deg = asked("latitude, degrees, north positive", option, latitude_parser)?;
            let height_m = asked("height above the sea, metres", option, height_parser)?;
            gravity_of_place(latitude_deg, height_m)
        }
    };
    Ok(of(masses, arms, gravity))
}

/// An answer that can be read; one that cannot is asked for again.
fn asked<T>(
    what: &str,
    option: &str,
    parse: impl Fn(&str) -> Result<T, String>,
) -> Result<T, CliError> {
    loop {
        match parse(&question(what, option)?) {
            Ok(answer) => return Ok(answer),
            Err(sentence) => say(&format!("  {}", printable(&sentence))),
        }
    }
}

/// What a simulated bench has when nothing is given. Invented.
pub(super) fn practice() -> Setup {
    let parse = |text: &&str| mass_parser(text).ok();
    let masses =
        ["0.5 kg ± 0.1 g", "1 kg ± 0.2 g", "2 kg ± 0.3 g", "2.5 kg ± 0.4 g", "2.5 kg ± 0.4 g"];
    // All of them at the longer arm stay below 25 N·m.
    let arms = ["250 mm ± 0.5 mm", "295 mm ± 0.5 mm"];
    of(
        masses.iter().filter_map(parse).collect(),
        arms.iter().filter_map(|text| arm_parser(text).ok()).collect(),
        gravity_of_place(47.0, 400.0),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn due_is_a_span_or_a_day() {
        let made_ms = 1_706_659_200_000; // 2024-01-31
        let day = |text: &str| {
            let due_ms = due_parser(text).unwrap().after_ms(made_ms).unwrap();
            Timestamp::from_millisecond(due_ms).unwrap().to_string()[..10].to_owned()
        };
        assert_eq!(day("12mo"), "2025-01-31");
        assert_eq!(day("1mo"), "2024-02-29");
        assert_eq!(day("2 y"), "2026-01-31");
        assert_eq!(day("90d"), "2024-04-30");
        assert_eq!(day("2025-06-01"), "2025-06-01");
        assert!(due_parser("2023-01-01").unwrap().after_ms(made_ms).is_err());
        for text in ["12mo", "24mo", "90d", "2025-06-01"] {
            assert_eq!(due_parser(text).unwrap().to_string(), text);
        }
        assert!(due_ms(&Facts::default(), made_ms).is_ok_and(|due_ms| due_ms > made_ms));
        let odd = Facts { due: Some("whenever".to_owned()), ..Facts::default() };
        assert!(due_ms(&odd, made_ms).is_err());
        for text in ["", "0mo", "12", "mo", "-3mo", "99999999999y", "soon"] {
            assert!(due_parser(text).is_err(), "{text}");
        }
    }

    #[test]
    fn equal_weights_are_told_apart() {
        let setup = practice();
        let names: Vec<&str> = setup.masses.iter().map(|mass| mass.name.as_str()).collect();
        assert_eq!(names, ["0.5 kg", "1 kg", "2 kg", "2.5 kg", "2.5 kg no. 2"]);
        assert_eq!(setup.positions.len(), 2);
    }

    #[test]
    fn rooms_and_names_are_checked() {
        assert_eq!(humidity_parser("45 %"), Ok(0.45));
        assert!(humidity_parser("145").is_err());
        assert_eq!(temperature_parser("70 F").map(f64::round), Ok(21.0));
        assert!(temperature_parser("400").is_err());
        assert_eq!(names_parser("A, B ,,").unwrap().0, ["A", "B"]);
        assert!(names_parser("\u{1b}[2J").is_err());
    }
}

//! Answers: read from what a person or a file says, and written so that reading gives them back.
//!
//! Deliberately not here: which facts there are (`facts`).

use std::fmt;

use jiff::civil::Date;

use super::facts::Kind;
use crate::import::hand::parse_decimal;
use crate::text::printable_short;
use crate::units::{TemperatureUnit, parse_length_m, parse_temperature_c};

/// Characters of a remark at most: a page of text.
pub const TEXT_CHARACTERS_MAX: usize = 10_000;
/// Largest amount: more is a slip of the pen.
const AMOUNT_MAX: f64 = 1e9;
/// Characters of a wrong answer that are shown.
const SHOWN_CHARACTERS_MAX: usize = 40;

/// One answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Yes or no.
    YesNo(bool),
    /// One of the fact's words.
    Word(&'static str),
    /// A length, micrometres.
    LengthUm(u32),
    /// Cents.
    Cents(f64),
    /// A share, 0–1.
    Share(f64),
    /// Degrees Celsius.
    Celsius(f64),
    /// A day.
    Date(Date),
    /// Money in the user's own unit.
    Amount(f64),
    /// Words.
    Text(String),
}

impl Value {
    /// An answer of this kind.
    ///
    /// # Errors
    /// What is wrong with it and what would do, half a sentence.
    pub fn parse(kind: Kind, text: &str) -> Result<Value, String> {
        let text = text.trim();
        let shown = || printable_short(text, SHOWN_CHARACTERS_MAX);
        if text.is_empty() {
            return Err("is empty; leave it out where it is not known".to_owned());
        }
        match kind {
            Kind::YesNo => match text {
                "yes" | "true" => Ok(Value::YesNo(true)),
                "no" | "false" => Ok(Value::YesNo(false)),
                _ => Err(format!("is '{}'; use yes or no", shown())),
            },
            Kind::Choice(words) => words
                .iter()
                .find(|word| **word == text)
                .map(|word| Value::Word(word))
                .ok_or_else(|| format!("is '{}'; use {}", shown(), listed(words))),
            Kind::LengthUm(least, most) => {
                let metres = parse_length_m(text, None).map_err(|error| error.to_string())?;
                let um = (metres * 1e6).round();
                if (f64::from(least)..=f64::from(most)).contains(&um) {
                    // Bounded above, so the cast fits.
                    Ok(Value::LengthUm(um as u32))
                } else {
                    let (least, most) = (f64::from(least) / 1e3, f64::from(most) / 1e3);
                    Err(format!("is {}; from {least} to {most} mm is possible", shown()))
                }
            }
            Kind::Cents(least, most) => {
                bounded(text.trim_end_matches("cents").trim(), f64::from(least), f64::from(most))
                    .map(Value::Cents)
            }
            Kind::Percent => bounded(text.trim_end_matches('%').trim(), 0.0, 100.0)
                .map(|percent| Value::Share((percent * 1e4).round() / 1e6)),
            Kind::Celsius => {
                let celsius = parse_temperature_c(text, Some(TemperatureUnit::Celsius))
                    .map_err(|error| error.to_string())?;
                if (-40.0..=60.0).contains(&celsius) {
                    Ok(Value::Celsius(celsius))
                } else {
                    Err(format!("is {}; from -40 to 60 °C is possible", shown()))
                }
            }
            Kind::Date => text
                .parse()
                .map(Value::Date)
                .map_err(|_| format!("is '{}'; use a day such as 2026-03-31", shown())),
            Kind::Amount => bounded(text, 0.0, AMOUNT_MAX).map(Value::Amount),
            Kind::Text if text.chars().count() > TEXT_CHARACTERS_MAX => {
                Err(format!("has more than {TEXT_CHARACTERS_MAX} characters"))
            }
            Kind::Text => Ok(Value::Text(text.to_owned())),
        }
    }
}

impl fmt::Display for Value {
    /// As it is typed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::YesNo(true) => f.write_str("yes"),
            Value::YesNo(false) => f.write_str("no"),
            Value::Word(word) => f.write_str(word),
            Value::LengthUm(um) => write!(f, "{} mm", f64::from(*um) / 1e3),
            Value::Cents(cents) => write!(f, "{cents} cents"),
            Value::Share(share) => write!(f, "{} %", tenths(100.0 * share)),
            Value::Celsius(celsius) => write!(f, "{celsius} °C"),
            Value::Date(date) => write!(f, "{date}"),
            Value::Amount(amount) => write!(f, "{amount}"),
            Value::Text(text) => f.write_str(text),
        }
    }
}

/// A share of percent without the dust that dividing by a hundred leaves.
fn tenths(percent: f64) -> f64 {
    (percent * 1e6).round() / 1e6
}

fn bounded(text: &str, least: f64, most: f64) -> Result<f64, String> {
    parse_decimal(text).filter(|value| (least..=most).contains(value)).ok_or_else(|| {
        let shown = printable_short(text, SHOWN_CHARACTERS_MAX);
        format!("is '{shown}'; a number from {least} to {most} is needed")
    })
}

/// `sound, doubtful or parted`.
pub fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [head @ .., last] => format!("{} or {last}", head.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::facts::FACTS;
    use super::*;

    fn parsed(kind: Kind, text: &str) -> Value {
        Value::parse(kind, text).expect(text)
    }

    #[test]
    fn answers_are_read_as_people_write_them() {
        assert_eq!(parsed(Kind::YesNo, " yes "), Value::YesNo(true));
        assert_eq!(parsed(Kind::LengthUm(0, 20_000), "1.5 mm"), Value::LengthUm(1_500));
        assert_eq!(parsed(Kind::LengthUm(5_500, 9_500), "0.282 in"), Value::LengthUm(7_163));
        assert_eq!(parsed(Kind::Cents(-1200, 1200), "-12.5"), Value::Cents(-12.5));
        assert_eq!(parsed(Kind::Percent, "41 %"), Value::Share(0.41));
        // NIST SP 811: t/°C = (t/°F − 32)/1.8.
        assert_eq!(parsed(Kind::Celsius, "68 F"), Value::Celsius(20.0));
        assert_eq!(parsed(Kind::Amount, "1500"), Value::Amount(1500.0));
    }

    #[test]
    fn wrong_answers_say_what_would_do() {
        let said = |kind, text: &str| Value::parse(kind, text).expect_err(text);
        assert_eq!(
            said(Kind::Choice(&["sound", "doubtful", "parted"]), "broken"),
            "is 'broken'; use sound, doubtful or parted"
        );
        assert_eq!(said(Kind::YesNo, "maybe"), "is 'maybe'; use yes or no");
        assert_eq!(
            said(Kind::LengthUm(15_000, 80_000), "38 m"),
            "is 38 m; from 15 to 80 mm is possible"
        );
        assert!(said(Kind::LengthUm(15_000, 80_000), "38").contains("unit"));
        assert_eq!(said(Kind::Date, "31.3."), "is '31.3.'; use a day such as 2026-03-31");
        assert!(said(Kind::Percent, "NaN").contains("from 0 to 100"));
        assert!(said(Kind::Text, "  ").contains("leave it out"));
        assert!(said(Kind::Text, &"x".repeat(TEXT_CHARACTERS_MAX + 1)).contains("10000"));
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(which in 0..FACTS.len(), text in "\\PC{0,20}") {
            let kind = FACTS[which].kind;
            if let Ok(value) = Value::parse(kind, &text) {
                prop_assert_eq!(Value::parse(kind, &value.to_string()), Ok(value));
            }
        }

        #[test]
        fn numbers_are_written_and_read_back(
            um in 0_u32..20_000, cents in -1200.0..1200.0_f64, percent in 0_u32..=1000,
        ) {
            let length = Value::LengthUm(um);
            let kind = Kind::LengthUm(0, 20_000);
            prop_assert_eq!(Value::parse(kind, &length.to_string()), Ok(length));
            let cents = Value::Cents(cents);
            prop_assert_eq!(Value::parse(Kind::Cents(-1200, 1200), &cents.to_string()), Ok(cents));
            let share = Value::Share(f64::from(percent) / 1e3);
            prop_assert_eq!(Value::parse(Kind::Percent, &share.to_string()), Ok(share));
        }
    }
}

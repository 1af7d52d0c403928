//! A number with its unit, as a person types it.
//!
//! Blanks and the signs between unit words (`·`, `-`, `.`, `*`, `°`) do not matter, nor do capital
//! letters. A decimal comma is refused, because `1,234` may be either of two numbers; the refusal
//! says what to write.
//!
//! Deliberately not here: which units there are ([`super`]), what values are sensible.

use thiserror::Error;

use crate::text::printable_short;

/// Characters of a refused text shown.
const LENGTH_SHOWN: usize = 40;
/// Longest number or unit that is looked at, bytes.
const LENGTH_MAX: usize = 64;

/// Why a typed quantity means nothing.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum QuantityError {
    /// Nothing was typed.
    #[error("nothing is given; write a {what} such as {example}")]
    Empty {
        /// What is asked for.
        what: &'static str,
        /// How it may look.
        example: &'static str,
    },
    /// It does not begin with a number.
    #[error("'{}' is no {what}; write it as in {example}", printable_short(text, LENGTH_SHOWN))]
    NotANumber {
        /// As typed.
        text: String,
        /// What is asked for.
        what: &'static str,
        /// How it may look.
        example: &'static str,
    },
    /// A comma within the number.
    #[error(
        "'{}' has a comma in its number; write a decimal point, and no sign between thousands",
        printable_short(text, LENGTH_SHOWN)
    )]
    Comma {
        /// As typed.
        text: String,
    },
    /// A number without the unit it needs.
    #[error("'{}' has no unit; write {offered} after it", printable_short(text, LENGTH_SHOWN))]
    NoUnit {
        /// As typed.
        text: String,
        /// The units there are.
        offered: &'static str,
    },
    /// A unit that is none of this quantity.
    #[error("'{}' is no unit of {what}; use {offered}", printable_short(unit, LENGTH_SHOWN))]
    UnknownUnit {
        /// As typed.
        unit: String,
        /// What is asked for.
        what: &'static str,
        /// The units there are.
        offered: &'static str,
    },
}

/// A number as typed and the unit it carries.
#[derive(Clone, Debug, PartialEq)]
pub struct Typed<U> {
    /// The number, digits with a point, as typed; a sign word processors write became a hyphen.
    pub number_text: String,
    /// The same.
    pub number: f64,
    /// The unit; `None` when none was typed.
    pub unit: Option<U>,
}

/// A unit that can be typed.
pub trait TypedUnit: Copy + 'static {
    /// What it measures, for messages.
    const WHAT: &'static str;
    /// How a value may look.
    const EXAMPLE: &'static str;
    /// The units there are, for messages.
    const OFFERED: &'static str;
    /// Spellings, small letters, without the signs between words.
    const SPELLINGS: &'static [(&'static str, Self)];
}

/// Reads a number and the unit behind it, if any.
///
/// # Errors
/// When there is no plain number, or the unit is unknown.
pub fn parse_typed<U: TypedUnit>(text: &str) -> Result<Typed<U>, QuantityError> {
    // U+2212 is the minus sign that word processors put in the hyphen's place.
    let trimmed = text.trim().replace('\u{2212}', "-");
    if trimmed.is_empty() {
        return Err(QuantityError::Empty { what: U::WHAT, example: U::EXAMPLE });
    }
    let in_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | ',');
    let mut end = trimmed.find(|c| !in_number(c)).unwrap_or(trimmed.len());
    // A sign or point after the digits is the unit's: `52-in-lb`.
    let digits_end = trimmed[..end].rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    end = if trimmed[..end].ends_with(',') { end } else { digits_end };
    let (number_text, unit_text) = trimmed.split_at(end);
    if number_text.contains(',') {
        return Err(QuantityError::Comma { text: text.trim().to_string() });
    }
    let number = Some(number_text)
        .filter(|number_text| number_text.len() <= LENGTH_MAX)
        .and_then(|number_text| number_text.parse::<f64>().ok())
        .filter(|number| number.is_finite());
    let Some(number) = number else {
        let text = text.trim().to_string();
        return Err(QuantityError::NotANumber { text, what: U::WHAT, example: U::EXAMPLE });
    };
    let unit_text = unit_text.trim();
    let unit = if unit_text.is_empty() { None } else { Some(parse_unit(unit_text)?) };
    Ok(Typed { number_text: number_text.to_string(), number, unit })
}

/// Reads a unit alone.
///
/// # Errors
/// When it is unknown.
pub fn parse_unit<U: TypedUnit>(text: &str) -> Result<U, QuantityError> {
    let between = |c: char| {
        c.is_whitespace()
            || matches!(c, '·' | '⋅' | '∙' | '•' | '×' | '-' | '\u{2011}' | '.' | '*' | '_' | '°')
    };
    let unknown = || QuantityError::UnknownUnit {
        unit: text.to_string(),
        what: U::WHAT,
        offered: U::OFFERED,
    };
    if text.len() > LENGTH_MAX {
        return Err(unknown());
    }
    let plain: String =
        text.chars().filter(|c| !between(*c)).flat_map(char::to_lowercase).collect();
    let found = U::SPELLINGS.iter().find(|(spelling, _)| *spelling == plain);
    found.map(|(_, unit)| *unit).ok_or_else(unknown)
}

/// Splits `5.9 N·m ± 0.1 N·m` at its sign (`±`, `+-` or `+/-`): value, and what stands behind it.
pub fn split_plus_minus(text: &str) -> (&str, Option<&str>) {
    for sign in ["±", "+/-", "+-"] {
        if let Some((value, spread)) = text.split_once(sign) {
            return (value.trim(), Some(spread.trim()));
        }
    }
    (text.trim(), None)
}

//! Lengths as technicians write them: `398`, `398 mm`, `15.67 in`, `15 5/8"`, a wire gauge.

use super::super::hand::parse_decimal;
use crate::instrument::strings::{METRES_PER_INCH, wire_diameter_m};

/// Unit of a length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LengthUnit {
    Metre,
    Centimetre,
    Millimetre,
    Micrometre,
    Inch,
    /// American music wire gauge.
    Gauge,
}

/// Suffixes of column names.
pub(super) const SUFFIXES: [(&str, LengthUnit); 6] = [
    ("_mm", LengthUnit::Millimetre),
    ("_cm", LengthUnit::Centimetre),
    ("_um", LengthUnit::Micrometre),
    ("_m", LengthUnit::Metre),
    ("_in", LengthUnit::Inch),
    ("_gauge", LengthUnit::Gauge),
];

/// Units as they stand behind a number.
const UNITS: [(&str, LengthUnit); 9] = [
    ("mm", LengthUnit::Millimetre),
    ("cm", LengthUnit::Centimetre),
    ("um", LengthUnit::Micrometre),
    ("µm", LengthUnit::Micrometre),
    ("m", LengthUnit::Metre),
    ("inches", LengthUnit::Inch),
    ("inch", LengthUnit::Inch),
    ("in", LengthUnit::Inch),
    ("\"", LengthUnit::Inch),
];

/// A length in metres, to whole nanometres; the cell's own unit goes before the column's.
///
/// # Errors
/// What is wrong with it, to follow the quoted cell.
pub(super) fn length_m(cell: &str, column: Option<LengthUnit>) -> Result<f64, String> {
    let (number, own) = split_unit(cell);
    let unit = own.or(column).ok_or("has no unit; write it as in 398 mm or 15.67 in")?;
    if unit == LengthUnit::Gauge {
        let gauge = parse_decimal(number).and_then(wire_diameter_m);
        return gauge.map(whole_nanometres).ok_or_else(|| {
            "is no wire gauge 12 to 22 in whole or half numbers; write a diameter with its unit, \
             as in 1.05 mm"
                .to_string()
        });
    }
    let metres_per_unit = match unit {
        LengthUnit::Metre => 1.0,
        LengthUnit::Centimetre => 0.01,
        LengthUnit::Millimetre => 0.001,
        LengthUnit::Micrometre => 1e-6,
        LengthUnit::Inch | LengthUnit::Gauge => METRES_PER_INCH,
    };
    let value = match unit {
        LengthUnit::Inch => with_fraction(number),
        _ => parse_decimal(number),
    };
    let value = value.ok_or("is not a length")?;
    Ok(whole_nanometres(value * metres_per_unit))
}

/// A length to the nearest nanometre, so that what is stored equals what was read.
fn whole_nanometres(length_m: f64) -> f64 {
    (length_m * 1e9).round() / 1e9
}

/// The number and the unit behind it, when one is there.
fn split_unit(cell: &str) -> (&str, Option<LengthUnit>) {
    for (name, unit) in UNITS {
        if let Some(number) = cell.strip_suffix(name) {
            return (number.trim_end(), Some(unit));
        }
    }
    (cell, None)
}

/// A decimal number, or a whole one with a fraction behind it, as in `15 5/8`.
fn with_fraction(text: &str) -> Option<f64> {
    let Some((above, below)) = text.split_once('/') else {
        return parse_decimal(text);
    };
    let (whole, above) = match above.trim_end().rsplit_once(' ') {
        Some((whole, above)) => (whole.trim().parse::<u32>().ok()?, above),
        None => (0, above.trim_end()),
    };
    let above: u32 = above.parse().ok()?;
    let below: u32 = below.trim_start().parse().ok()?;
    (below > 0 && above < below).then(|| f64::from(whole) + f64::from(above) / f64::from(below))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_in_the_units_of_the_trade() {
        use LengthUnit::{Gauge, Inch, Millimetre};
        for (cell, column, metres) in [
            ("398", Some(Millimetre), 0.398),
            ("398mm", None, 0.398),
            ("39.8 cm", Some(Inch), 0.398),
            ("0.398 m", None, 0.398),
            ("15.5", Some(Inch), 0.3937),
            ("15 5/8\"", None, 0.396_875),
            ("5/8 in", None, 0.015_875),
            ("7163 µm", None, 0.007_163),
            ("16", Some(Gauge), 0.000_939_8),
            ("13.5", Some(Gauge), 0.000_812_8),
            ("0.95 mm", Some(Gauge), 0.000_95),
        ] {
            assert_eq!(length_m(cell, column), Ok(metres), "{cell}");
        }
        for (cell, column) in [
            ("398", None),
            ("x mm", None),
            ("15 9/8 in", None),
            ("1/0 in", None),
            ("5/8", Some(Millimetre)),
            ("nan mm", None),
            ("23", Some(Gauge)),
            ("15.3", Some(Gauge)),
            ("", Some(Millimetre)),
        ] {
            assert!(length_m(cell, column).is_err(), "{cell}");
        }
    }
}

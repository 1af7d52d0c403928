//! Lengths, masses and temperatures as they are typed.
//!
//! Factors are exact by definition (NIST SP 811, appendix B): 25.4 mm to the inch, 0.45359237 kg
//! to the pound, 16 ounces to the pound; 1 °F is 5/9 K and 32 °F is 0 °C.

use super::typed::{QuantityError, Typed, TypedUnit, parse_typed};

/// A unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LengthUnit {
    /// mm.
    Millimetre,
    /// cm.
    Centimetre,
    /// m.
    Metre,
    /// in.
    Inch,
}

impl LengthUnit {
    /// Metres in one.
    pub const fn metres(self) -> f64 {
        match self {
            LengthUnit::Millimetre => 0.001,
            LengthUnit::Centimetre => 0.01,
            LengthUnit::Metre => 1.0,
            LengthUnit::Inch => 0.0254,
        }
    }
}

impl TypedUnit for LengthUnit {
    const WHAT: &'static str = "length";
    const EXAMPLE: &'static str = "250 mm";
    const OFFERED: &'static str = "mm, cm, m or in";
    const SPELLINGS: &'static [(&'static str, LengthUnit)] = &[
        ("mm", LengthUnit::Millimetre),
        ("millimetre", LengthUnit::Millimetre),
        ("millimetres", LengthUnit::Millimetre),
        ("millimeter", LengthUnit::Millimetre),
        ("millimeters", LengthUnit::Millimetre),
        ("cm", LengthUnit::Centimetre),
        ("centimetre", LengthUnit::Centimetre),
        ("centimetres", LengthUnit::Centimetre),
        ("centimeter", LengthUnit::Centimetre),
        ("centimeters", LengthUnit::Centimetre),
        ("m", LengthUnit::Metre),
        ("metre", LengthUnit::Metre),
        ("metres", LengthUnit::Metre),
        ("meter", LengthUnit::Metre),
        ("meters", LengthUnit::Metre),
        ("in", LengthUnit::Inch),
        ("inch", LengthUnit::Inch),
        ("inches", LengthUnit::Inch),
        ("\"", LengthUnit::Inch),
        ("″", LengthUnit::Inch),
    ];
}

/// A unit of mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MassUnit {
    /// g.
    Gram,
    /// kg.
    Kilogram,
    /// lb, avoirdupois.
    Pound,
    /// oz, avoirdupois.
    Ounce,
}

impl MassUnit {
    /// Kilograms in one.
    pub const fn kilograms(self) -> f64 {
        match self {
            MassUnit::Gram => 0.001,
            MassUnit::Kilogram => 1.0,
            MassUnit::Pound => 0.453_592_37,
            MassUnit::Ounce => 0.453_592_37 / 16.0,
        }
    }
}

impl TypedUnit for MassUnit {
    const WHAT: &'static str = "mass";
    const EXAMPLE: &'static str = "2.5 kg";
    const OFFERED: &'static str = "g, kg, lb or oz";
    // Not `gr`: that is the grain.
    const SPELLINGS: &'static [(&'static str, MassUnit)] = &[
        ("g", MassUnit::Gram),
        ("gram", MassUnit::Gram),
        ("grams", MassUnit::Gram),
        ("kg", MassUnit::Kilogram),
        ("kilogram", MassUnit::Kilogram),
        ("kilograms", MassUnit::Kilogram),
        ("lb", MassUnit::Pound),
        ("lbs", MassUnit::Pound),
        ("pound", MassUnit::Pound),
        ("pounds", MassUnit::Pound),
        ("oz", MassUnit::Ounce),
        ("ounce", MassUnit::Ounce),
        ("ounces", MassUnit::Ounce),
    ];
}

/// A unit of temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TemperatureUnit {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
}

impl TemperatureUnit {
    /// Degrees Celsius.
    pub const fn celsius(self, number: f64) -> f64 {
        match self {
            TemperatureUnit::Celsius => number,
            TemperatureUnit::Fahrenheit => (number - 32.0) * 5.0 / 9.0,
        }
    }
}

impl TypedUnit for TemperatureUnit {
    const WHAT: &'static str = "temperature";
    const EXAMPLE: &'static str = "21 °C";
    const OFFERED: &'static str = "°C or °F";
    const SPELLINGS: &'static [(&'static str, TemperatureUnit)] = &[
        ("c", TemperatureUnit::Celsius),
        ("℃", TemperatureUnit::Celsius),
        ("degc", TemperatureUnit::Celsius),
        ("celsius", TemperatureUnit::Celsius),
        ("f", TemperatureUnit::Fahrenheit),
        ("℉", TemperatureUnit::Fahrenheit),
        ("degf", TemperatureUnit::Fahrenheit),
        ("fahrenheit", TemperatureUnit::Fahrenheit),
    ];
}

/// A length as typed, metres. `bare` is the unit of a number without one; without it that is
/// refused.
///
/// # Errors
/// When it is no number or the unit is none of length.
///
/// ```
/// use pinhold::units::{LengthUnit, parse_length_m};
/// assert_eq!(parse_length_m("250 mm", None), Ok(0.25));
/// assert_eq!(parse_length_m("10", Some(LengthUnit::Inch)), Ok(0.254));
/// assert!(parse_length_m("250", None).is_err());
/// ```
pub fn parse_length_m(text: &str, bare: Option<LengthUnit>) -> Result<f64, QuantityError> {
    let (number, unit) = with_unit(text, bare)?;
    Ok(number * unit.metres())
}

/// A mass as typed, kilograms. `bare` is the unit of a number without one; without it that is
/// refused.
///
/// # Errors
/// When it is no number or the unit is none of mass.
pub fn parse_mass_kg(text: &str, bare: Option<MassUnit>) -> Result<f64, QuantityError> {
    let (number, unit) = with_unit(text, bare)?;
    Ok(number * unit.kilograms())
}

/// A temperature as typed, °C. `bare` is the unit of a number without one; without it that is
/// refused.
///
/// # Errors
/// When it is no number or the unit is none of temperature.
pub fn parse_temperature_c(
    text: &str,
    bare: Option<TemperatureUnit>,
) -> Result<f64, QuantityError> {
    let (number, unit) = with_unit(text, bare)?;
    Ok(unit.celsius(number))
}

/// Number and unit, the unit perhaps the bare number's.
pub(super) fn with_unit<U: TypedUnit>(
    text: &str,
    bare: Option<U>,
) -> Result<(f64, U), QuantityError> {
    let typed: Typed<U> = parse_typed(text)?;
    let missing = || QuantityError::NoUnit { text: text.trim().to_string(), offered: U::OFFERED };
    Ok((typed.number, typed.unit.or(bare).ok_or_else(missing)?))
}

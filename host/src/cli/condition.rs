//! Options for what is known beside torque, shared by the commands that begin a survey.

use clap::Args;

use super::parsers::pin_size_parser;
use crate::analysis::input::{Condition, PlankSight, TuneStability};
use crate::store::NewClimate;
use crate::units::{TemperatureUnit, parse_temperature_c};

/// What was seen or told beside torque. What is not given stays unknown.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "What is known beside torque (leave out what is not)")]
pub struct ConditionArguments {
    /// Unisons stay together over months (yes) or drift within weeks (no)
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    pub holds_tune: Option<bool>,
    /// The plank's edges and joints as seen: sound, parted (plies) or off-back
    #[arg(long, value_name = "SIGHT", value_parser = plank_sight)]
    pub plank: Option<PlankSight>,
    /// Oil, stain or glue seen at the pins
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    pub contamination: Option<bool>,
    /// Relative humidity of the room, percent, mean of the last weeks where known
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub humidity: Option<f64>,
    /// Temperature of the room, such as 21 (degrees Celsius) or "70 F"
    #[arg(long, value_name = "DEGREES", value_parser = celsius, allow_negative_numbers = true)]
    pub temperature: Option<f64>,
    /// Mean pitch as found, cents from target
    #[arg(long, value_name = "CENTS", value_parser = pitch, allow_negative_numbers = true)]
    pub pitch_cents: Option<f64>,
    /// Largest pin that still fits plate, bushing and tip: micrometres, or such as "7.26 mm"
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub largest_pin_um: Option<u32>,
    /// Wooden bushings round the pins in the plate
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    pub bushed: Option<bool>,
    /// Worth repairing at the owner's ceiling
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    pub worth_repair: Option<bool>,
}

impl ConditionArguments {
    /// The facts given here over those known before.
    pub fn over(&self, known: &Condition) -> Condition {
        Condition {
            tune: self.holds_tune.map(TuneStability::of).or(known.tune),
            plank: self.plank.or(known.plank),
            contamination: self.contamination.or(known.contamination),
            relative_humidity: self.humidity.map(|rh| rh / 100.0).or(known.relative_humidity),
            pitch_cents: self.pitch_cents.or(known.pitch_cents),
            largest_pin_um: self.largest_pin_um.or(known.largest_pin_um),
            bushed_plate: self.bushed.or(known.bushed_plate),
            worth_repair: self.worth_repair.or(known.worth_repair),
            trials: known.trials.clone(),
        }
    }

    /// Temperature in hundredths of a degree Celsius, as a survey keeps it.
    pub fn temperature_centi_celsius(&self) -> Option<i32> {
        self.temperature.map(NewClimate::centi_of)
    }

    /// Humidity in thousandths, as a survey keeps it.
    pub fn humidity_permille(&self) -> Option<u16> {
        self.humidity.map(NewClimate::permille_of)
    }
}

fn yes_or_no(text: &str) -> Result<bool, String> {
    match text {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err("use yes or no".to_string()),
    }
}

fn plank_sight(text: &str) -> Result<PlankSight, String> {
    match text {
        "sound" => Ok(PlankSight::SeenSound),
        "parted" => Ok(PlankSight::PliesParted),
        "off-back" => Ok(PlankSight::OffBack),
        _ => Err("use sound, parted or off-back".to_string()),
    }
}

fn bounded(text: &str, least: f64, most: f64) -> Result<f64, String> {
    crate::import::hand::parse_decimal(text)
        .filter(|value| (least..=most).contains(value))
        .ok_or_else(|| format!("a number from {least} to {most} is needed"))
}

pub(super) fn percent(text: &str) -> Result<f64, String> {
    bounded(text, 0.0, 100.0)
}

pub(super) fn celsius(text: &str) -> Result<f64, String> {
    let celsius = parse_temperature_c(text, Some(TemperatureUnit::Celsius))
        .map_err(|error| error.to_string())?;
    if (-40.0..=60.0).contains(&celsius) {
        Ok(celsius)
    } else {
        Err("a temperature from -40 to 60 °C is needed".to_string())
    }
}

fn pitch(text: &str) -> Result<f64, String> {
    bounded(text, -1200.0, 1200.0)
}

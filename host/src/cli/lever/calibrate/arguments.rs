//! Arguments of `pinhold lever calibrate`, as typed.

use std::path::PathBuf;

use clap::Args;

use super::setup::{Due, due_parser, humidity_parser, names_parser, temperature_parser};
use crate::calibration::bench::{Gravity, HandPosition, Mass};
use crate::cli::lever::history::lever_parser;
use crate::cli::lever::typed::{
    arm_parser, gravity_parser, height_parser, latitude_parser, mass_parser,
};
use crate::cli::parsers::fact_parser;

/// Arguments of `pinhold lever calibrate`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The lever sits on a fixed square; weights hang on its handle at two or more places, put on one after
another and taken off again, to the right (sharp) and to the left (flat). What follows: constants on
the lever, a record in the store with its expanded uncertainty, and how sure a reading of this lever
is. Behind ± stands the most a value may be off (half the width of a rectangle). What is not given
is asked for at a terminal. Every point is on disk before the next; an interrupted calibration goes
on with --resume, people, place and all that was typed with it. --masses, --arm or --gravity beside
--resume put right what was typed wrong, and no weight is hung again. Nothing is kept of numbers
that contradict each other; the sentence says what looks wrong.

A bench written by hand: --from FILE.csv with the columns arm,direction,leg,masses,code (numbers of
--arm and --masses from 1, masses joined by +; arm 'free' off the square), and if known sd, samples,
along, across, pin, temperature, minute. --from FILE.json takes what --json prints under 'bench'.
Pins seated anew: --seatings FILE.csv as 'pinhold lever seatings' makes it, or written by hand with
pin,person,round,friction,moment in N·m: ten pins, three times, two people.

Examples:
  pinhold lever calibrate --masses '0.5 kg ± 0.2 g, 1 kg ± 0.2 g, 2 kg ± 0.5 g, 2 kg ± 0.5 g' \\
    --arm '250 mm ± 0.5 mm' --arm '300 mm ± 0.5 mm' --latitude 47.4 --height 410 --people 'A. Ex'
  pinhold lever calibrate --resume
  pinhold lever calibrate --simulated --dry-run
  pinhold lever calibrate --from bench.csv --gravity 9.8072 --masses '1 kg, 2 kg, 3 kg' \\
    --arm '25 cm' --arm '30 cm'")]
pub(in crate::cli::lever) struct CalibrateArguments {
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT", conflicts_with = "simulated")]
    pub port: Option<String>,
    /// Dead weights in the order they are put on, each with what it may be off
    #[arg(long, value_name = "MASSES", value_delimiter = ',', value_parser = mass_parser)]
    pub masses: Vec<Mass>,
    /// Distance from the axis of the pin to where weights hang; twice or more
    #[arg(long = "arm", value_name = "ARM", value_parser = arm_parser)]
    pub arms: Vec<HandPosition>,
    /// Local gravity, m/s²
    #[arg(long, value_name = "M/S2", value_parser = gravity_parser)]
    #[arg(conflicts_with_all = ["latitude", "height"])]
    pub gravity: Option<Gravity>,
    /// Latitude of the place, degrees, north positive
    #[arg(long, value_name = "DEGREES", value_parser = latitude_parser)]
    #[arg(requires = "height", allow_negative_numbers = true)]
    pub latitude: Option<f64>,
    /// Height of the place above the sea, metres
    #[arg(long, value_name = "METRES", value_parser = height_parser)]
    #[arg(requires = "latitude", allow_negative_numbers = true)]
    pub height: Option<f64>,
    /// Who calibrates, separated by commas
    #[arg(long, value_name = "NAMES", value_parser = names_parser)]
    pub people: Option<Names>,
    /// Where
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub place: Option<String>,
    /// Relative humidity of the room, percent
    #[arg(long, value_name = "PERCENT", value_parser = humidity_parser)]
    pub humidity: Option<f64>,
    /// Temperature of the room, such as '21 °C'
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature_parser)]
    pub room_temperature: Option<f64>,
    /// A note to the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub remark: Option<String>,
    /// When the next one is due: 12mo, 1y, 90d or a date [default: 12mo]
    #[arg(long, value_name = "WHEN", value_parser = due_parser)]
    pub due: Option<Due>,
    /// Pins seated anew, from a CSV file
    #[arg(long, value_name = "FILE")]
    pub seatings: Option<PathBuf>,
    /// Evaluate a bench from a file instead of reading one
    #[arg(long, value_name = "FILE", conflicts_with_all = ["resume", "anew", "simulated"])]
    pub from: Option<PathBuf>,
    /// The lever --from was read with: keep its calibration in the store
    #[arg(long, value_name = "LEVER", value_parser = lever_parser, requires = "from")]
    pub lever: Option<u64>,
    /// Go on with the unfinished calibration of this lever
    #[arg(long, conflicts_with = "anew")]
    pub resume: bool,
    /// With --resume: take the series of this point again
    #[arg(long, value_name = "POINT", requires = "resume")]
    pub again: Option<usize>,
    /// Begin anew, whatever was left unfinished
    #[arg(long)]
    pub anew: bool,
    /// Show what follows; keep nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Make it although something looks wrong; the record says what
    #[arg(long)]
    pub insist: bool,
    /// Store calibration NUMBER of the store on the lever again
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["from", "resume", "simulated"])]
    pub put: Option<u32>,
    /// Practise: a simulated lever whose weights hang themselves
    #[arg(long)]
    pub simulated: bool,
    /// Seed of the simulated lever
    #[arg(long, value_name = "SEED", default_value_t = 1, requires = "simulated")]
    pub seed: u64,
}

/// Names of people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::cli::lever) struct Names(pub(in crate::cli::lever) Vec<String>);

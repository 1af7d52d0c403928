//! `pinhold survey`: reads pins with a lever, one after the other.

use clap::Args;
use pinhold_protocol::message::{ChoosePin, Live, Phase};
use pinhold_protocol::record::{Outcome, Pin, Reading, StringPosition, reading_flags};
use pinhold_protocol::units::Angle;
use serde_json::json;

use super::condition::ConditionArguments;
use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::import::with_free_uid;
use super::parsers::name_parser;
use crate::instrument::note::parse_note;
use crate::instrument::{Instrument, pin_name};
use crate::link::port;
use crate::link::session::Plan;
use crate::report;
use crate::store::{NewSurvey, SurveySource};
use crate::survey::{self, Line, Observer, SurveyError};
use crate::units::TorqueUnit;

/// What must be said before the first pin is touched (common practice, no source, but for the
/// stored tension of 150–200 kN, which is common knowledge of the trade).
pub const CAUTIONS: &str = "\
Before you touch a pin:
  The strings store 150 to 200 kN; a breaking wire whips. Eye protection on, face out of the
  string plane, children and pets out of the room, nobody behind an upright.
  Have the owner's written consent that an old string may break. Old wire: flat first, look for
  rust at coil and agraffe.
  Cracked plate, or plank parted from the back: do not raise pitch anywhere; stop here and get a
  rebuilder. Stop as well when notes rise by themselves or a gap opens at the plate.
  Mute, play the named note, move flat by a little: its pitch must fall. If the coil turns and it
  does not, stop: wrong pin. Slow, small moves; fingers clear of struts; never leave the lever on.
  This is no structural or safety certificate; local codes and qualified practice come first.
";

/// Arguments of `pinhold survey`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Every reading is on disk before the lever hears of it; pulled cables cost nothing but time.
Pins are named by note and string, as in 49L, A4L, or by ranges of notes, as in 1-12,40L.

Examples:
  pinhold survey parlour
  pinhold survey parlour --port /dev/ttyACM0 --pins 28-52 --humidity 41")]
pub struct SurveyArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Pins to read, in order [default: all, bass to treble]
    #[arg(long, value_name = "PINS")]
    pub pins: Option<String>,
    /// Slip asked of each stroke, degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.5)]
    #[arg(value_parser = slip_parser)]
    pub slip: f64,
    /// Do not stream the raw samples
    #[arg(long)]
    pub no_samples: bool,
    /// A note to the survey
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub notes: String,
    /// What is known beside torque.
    #[command(flatten)]
    pub condition: ConditionArguments,
}

fn slip_parser(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(slip) if (0.3..=1.0).contains(&slip) => Ok(slip),
        _ => Err("use 0.3 to 1.0 degrees".to_string()),
    }
}

/// Pins from words such as `40L,A4C,12-25`.
///
/// # Errors
/// A sentence naming the word that is not understood or not on the instrument.
pub fn parse_pins(text: &str, instrument: &Instrument) -> Result<Vec<Pin>, String> {
    let mut pins = Vec::new();
    for word in text.split(',').map(str::trim).filter(|word| !word.is_empty()) {
        let shown = crate::text::printable_short(word, 20);
        let found: Vec<Pin> = if let Some((from, to)) = word.split_once('-') {
            let (from, to) = match (parse_note(from.trim()), parse_note(to.trim())) {
                (Some(from), Some(to)) if from <= to => (from, to),
                _ => return Err(format!("'{shown}' is no range of notes; use 12-25 or A0-E2")),
            };
            pins_of(instrument, |pin| (from..=to).contains(&pin.note))
        } else if let Some(note) = parse_note(word) {
            pins_of(instrument, |pin| pin.note == note)
        } else {
            let letter = word.chars().last().and_then(StringPosition::from_letter);
            let note = word.get(..word.len() - 1).and_then(parse_note);
            let (Some(note), Some(string)) = (note, letter) else {
                return Err(format!("'{shown}' is no pin; use 49L, A4L, or a range as in 12-25"));
            };
            pins_of(instrument, |pin| *pin == Pin { note, string })
        };
        if found.is_empty() {
            return Err(format!("the instrument has no pin '{shown}'"));
        }
        for pin in found {
            if pins.contains(&pin) {
                return Err(format!("pin {} is named twice", pin_name(pin)));
            }
            pins.push(pin);
        }
    }
    if pins.is_empty() { Err("no pins are named".to_string()) } else { Ok(pins) }
}

fn pins_of(instrument: &Instrument, wanted: impl Fn(&Pin) -> bool) -> Vec<Pin> {
    instrument.pins.iter().map(|field_pin| field_pin.pin).filter(wanted).collect()
}

/// The one port a lever can be on.
fn only_likely_port() -> Result<String, CliError> {
    let ports = port::list().map_err(|error| CliError::from(SurveyError::from(error)))?;
    let likely: Vec<_> = ports.iter().filter(|port| port.likely).collect();
    match likely.as_slice() {
        [only] => Ok(only.name.clone()),
        [] => Err(CliError::new(
            Exit::LeverAbsent,
            "no lever is plugged in; plug it in, name its port with --port, or practise without \
             one: pinhold demo",
        )),
        _ => Err(CliError::new(
            Exit::Usage,
            "several ports could be the lever's; choose one of 'pinhold ports' with --port",
        )),
    }
}

impl From<SurveyError> for CliError {
    fn from(error: SurveyError) -> CliError {
        let exit = match &error {
            SurveyError::Store(_) => match error {
                SurveyError::Store(inner) => return CliError::from(inner),
                _ => Exit::Store,
            },
            SurveyError::NoAnswer { .. }
            | SurveyError::Version { .. }
            | SurveyError::LeverChanged { .. }
            | SurveyError::PinRefused { .. }
            | SurveyError::PortLost { .. }
            | SurveyError::Port(_) => Exit::LeverAbsent,
            SurveyError::ForeignRecords { .. }
            | SurveyError::Unreadable { .. }
            | SurveyError::LogDisagrees { .. }
            | SurveyError::Missing { .. } => Exit::DataSuspect,
        };
        CliError::new(exit, error.to_string())
    }
}

/// What a plan for `pins` asks of the lever.
pub fn plan_for(
    uid: u64,
    pins: &[Pin],
    slip_deg: f64,
    stream_samples: bool,
    calendar_ms: u64,
) -> Plan {
    Plan {
        survey: uid,
        pins: pins.iter().map(|pin| ChoosePin { pin: *pin, unstrung: false }).collect(),
        slip: Angle::from_radians(slip_deg.to_radians()).unwrap_or_default(),
        calendar_ms,
        stream_samples,
        zero_first: true,
    }
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, no lever answers, or the store fails.
pub fn run(context: &Context, arguments: &SurveyArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let instrument = &record.instrument;
    let pins = match &arguments.pins {
        Some(text) => parse_pins(text, instrument)
            .map_err(|sentence| CliError::new(Exit::Usage, format!("--pins: {sentence}")))?,
        None => instrument.pins.iter().map(|field_pin| field_pin.pin).collect(),
    };
    let port_name = match &arguments.port {
        Some(name) => name.clone(),
        None => only_likely_port()?,
    };
    // The port comes before the survey: a wrong one leaves nothing behind.
    let first = port::open(&port_name).map_err(SurveyError::from)?;
    if !context.json {
        say(CAUTIONS);
    }
    let new = |uid| NewSurvey {
        uid,
        started: context.now.clone(),
        source: SurveySource::Lever,
        temperature_centi_celsius: arguments.condition.temperature_centi_celsius(),
        humidity_permille: arguments.condition.humidity_permille(),
        notes: arguments.notes.clone(),
        condition: arguments.condition.over(&Default::default()),
    };
    let (uid, survey_id) = with_free_uid(context, |uid| store.begin_survey(record.id, &new(uid)))?;
    let calendar_ms = context.now_us / 1000;
    let plan = plan_for(uid, &pins, arguments.slip, !arguments.no_samples, calendar_ms);
    let mut first = Some(first);
    let mut line = Line {
        name: port_name.clone(),
        open: Box::new(|| match first.take() {
            Some(port) => Ok(port),
            None => port::open(&port_name),
        }),
    };
    let mut teller = Teller { unit: context.unit, silent: context.json, asked: None };
    let summary = survey::take(&mut store, survey_id, plan, &mut line, &mut teller)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.survey",
            "version": 1,
            "survey": uid.to_string(),
            "readings": summary.reading_count,
            "samples": summary.sample_count,
            "dropped_blocks": summary.dropped_block_count,
            "damaged_frames": summary.damaged_frame_count,
        }));
    }
    let lost = match summary.dropped_block_count {
        0 => String::new(),
        count => format!("; {count} blocks of raw samples were dropped on the way"),
    };
    let name = shell_quoted(&arguments.name);
    context.print(&format!(
        "{} readings stored{lost}. Every pin measured was moved: it wants a touch-up.\n\
         Next: pinhold map {name}; pinhold verdict {name}\n",
        summary.reading_count
    ))
}

/// Tells the survey's progress, a line at a time, on standard error.
struct Teller {
    unit: TorqueUnit,
    silent: bool,
    asked: Option<Phase>,
}

impl Teller {
    fn tell(&self, text: &str) {
        if !self.silent {
            say(text);
        }
    }
}

impl Observer for Teller {
    fn greeted(&mut self, device: u64, firmware: [u8; 3]) {
        let [major, minor, patch] = firmware;
        self.tell(&format!("lever {device:016x}, firmware {major}.{minor}.{patch}"));
    }

    fn taking_zero(&mut self, again: bool) {
        self.tell(if again {
            "it moved; once more: hold the lever still, OFF the pin"
        } else {
            "zero: hold the lever still, OFF the pin"
        });
    }

    fn pin_chosen(&mut self, pin: Pin) {
        self.asked = None;
        self.tell(&format!(
            "{}: seat the lever, hold still; then flat by a little, sharp back, a small flat set",
            pin_name(pin)
        ));
    }

    fn reading_kept(&mut self, reading: &Reading, position: usize, count: usize) {
        self.tell(&format!("  {position}/{count}  {}", reading_line(reading, self.unit)));
    }

    fn live(&mut self, live: &Live) {
        if live.phase == Phase::Repeat && self.asked != Some(Phase::Repeat) {
            self.tell("  not fit to report; once more, please");
        }
        self.asked = Some(live.phase);
    }

    fn silent(&mut self) {
        self.tell("nothing heard from the lever; waiting");
    }

    fn port_lost(&mut self) {
        self.tell("the port went away; plug the lever in again, nothing is lost");
    }

    fn port_back(&mut self) {
        self.tell("the port is back");
    }
}

/// A reading in a line, in the user's unit.
pub fn reading_line(reading: &Reading, unit: TorqueUnit) -> String {
    let torque = |value: Option<pinhold_protocol::units::Torque>| {
        value.map_or("—".to_owned(), |torque| report::torque(torque.newton_metres(), unit))
    };
    let outcome = match reading.outcome {
        Outcome::Measured => format!(
            "friction {}, string moment {}",
            torque(reading.friction),
            torque(reading.string_moment)
        ),
        Outcome::FlatOnly => format!("flat only, {}", torque(reading.flat)),
        Outcome::SharpOnly => format!("sharp only, {}", torque(reading.sharp)),
        Outcome::BreakawayOnly => "breakaway only: the slip was too short".to_owned(),
        Outcome::AboveLimit => "did not move at the largest torque applied".to_owned(),
        Outcome::MovedOnSeating => "moved on seating the lever".to_owned(),
        Outcome::Spoiled => "spoiled".to_owned(),
    };
    let words = [
        (reading_flags::NOT_HOLDING, "the string drives it: not holding"),
        (reading_flags::JUMPY, "jumpy"),
        (reading_flags::HIGH_FIRST_BREAK, "high first break"),
        (reading_flags::SLACK, "string slack"),
        (reading_flags::UNSTRUNG, "unstrung"),
        (reading_flags::MOVED_ON_SEATING, "moved on seating"),
        (reading_flags::SPONGY, "spongy, no clear knee"),
        (reading_flags::HARD, "above 20 N·m on the lever"),
        (reading_flags::TOO_FAR, "moved too far"),
        (reading_flags::RETUNE, "retune this string"),
        (reading_flags::NOT_ZEROED, "no zero was taken"),
    ];
    let mut line = format!("{}: {outcome}", pin_name(reading.pin));
    for (bit, word) in words {
        if reading.flags & bit != 0 {
            line.push_str("; ");
            line.push_str(word);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;

    #[test]
    fn pins_are_named_by_note_string_and_range() {
        let instrument = modern_88("x", InstrumentKind::Grand);
        let count = |text: &str| parse_pins(text, &instrument).map(|pins| pins.len());
        assert_eq!(count("49L"), Ok(1));
        assert_eq!(count("A4L, A4C,49R"), Ok(3));
        assert_eq!(count("49"), Ok(3));
        assert_eq!(count("1-2,49"), Ok(5));
        for (text, sentence) in [
            ("49L,A4L", "pin A4 L is named twice"),
            ("1L", "the instrument has no pin '1L'"),
            ("90", "'90' is no pin"),
            ("5-2", "'5-2' is no range"),
            ("é", "'é' is no pin"),
            (" ,", "no pins are named"),
        ] {
            let told = parse_pins(text, &instrument).unwrap_err();
            assert!(told.starts_with(sentence), "{text}: {told}");
        }
    }
}

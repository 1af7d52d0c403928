//! `pinhold lever seatings`: several people seat the lever on the same pins in turn, each reading
//! taken as a survey takes it.
//!
//! A turn is a survey of its own in the store, of an instrument that stands for the pins of this
//! lever's seatings: no reading is lost, none gets among a customer's. The file is written from
//! them, whole or not at all, after every reading; what it misses is taken from the store when the
//! command is run again. `turn` speaks with lever and people, `show` prints what follows; who reads
//! what when is in [`crate::calibration::seating_set`].

mod show;
mod turn;

use std::path::{Path, PathBuf};

use clap::Args;
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_sim::piano::{Fault, Piano, Severity};

use super::calibrate::talk::SIMULATED_LEVER;
use super::calibrate::{Names, files, setup::names_parser};
use super::{calendar, line};
use crate::calibration::seating::{SEATING_PERSON_COUNT, SEATING_PIN_COUNT, SEATING_ROUND_COUNT};
use crate::calibration::seating_set::{SeatingSet, SeatingSetError, Turn};
use crate::cli::context::{Context, say};
use crate::cli::demo::instrument_of;
use crate::cli::exit::{CliError, Exit};
use crate::cli::pins::parse_pins;
use crate::cli::survey::CAUTIONS;
use crate::cli::teller::Teller;
use crate::correct::spelled;
use crate::instrument::layout::modern_88;
use crate::instrument::{Instrument, InstrumentKind};
use crate::store::{Store, Survey};
use crate::survey;
use crate::text::printable;

/// Notes the pins lie between when none are named: plain wire on most instruments (MEM), at the
/// torques of tenor and treble.
const PIN_NOTES: (u8, u8) = (28, 82);
/// First identities tried for a set.
const SET_TRIES_MAX: u64 = 1_000_000;

/// What must be said before pins are seated anew (common practice, no source).
const SEATING_CAUTIONS: &str = "\
Seating anew:
  Everybody moves every pin once a round and sets it again: take pins that hold and whose strings
  may be moved that often; they want a touch-up afterwards. One lever, one tip, one instrument.
  At each pin put the lever on as you would in a survey, and take it off again. Hold it as you
  always do: that is what is asked. Do not look at each other's figures.
";

/// Arguments of `pinhold lever seatings`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
What a reading of this lever changes by when it is put on anew, and when somebody else does it:
ten pins, three times each, two people. The first person reads every pin once, then the second; then
the next round. So between two readings of a pin by one person lie all the other pins and the other
person: each is a seating of its own, nobody repeats what the hand remembers, and what drifts falls
on both alike.

Readings are kept in the store as those of a survey are, under 'seatings-LEVER', never among a
customer's; FILE.csv gets a line for each, and is what 'pinhold lever calibrate --seatings' takes. A
pin that gives no friction and string moment comes again at the end of the turn. Run the command
again on the same file to go on after a break or a crash; people, pins and rounds stand in it.
Pins are named by note and string as on an 88-note instrument, as in 40L, A4C.

Examples:
  pinhold lever seatings seatings.csv --people 'A. Ex, B. Ex'
  pinhold lever seatings seatings.csv
  pinhold lever seatings seatings.csv --people 'A. Ex, B. Ex' --pins 28L,34L,40L,46L,52L,58L
  pinhold lever seatings practice.csv --people 'A. Ex, B. Ex' --simulated --count 3")]
pub(super) struct SeatingsArguments {
    /// The file; run again on it to go on
    #[arg(value_name = "FILE.csv")]
    pub file: PathBuf,
    /// Who seats the lever, separated by commas
    #[arg(long, value_name = "NAMES", value_parser = names_parser)]
    pub people: Option<Names>,
    /// Pins in the order they are read [default: left strings between notes 28 and 82]
    #[arg(long, value_name = "PINS", conflicts_with = "count")]
    pub pins: Option<String>,
    /// Pins when none are named [default: 10]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(1..=40))]
    pub count: Option<u8>,
    /// Times everybody reads every pin [default: 3]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(2..=10))]
    pub rounds: Option<u8>,
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT", conflicts_with = "simulated")]
    pub port: Option<String>,
    /// Practise: a simulated lever, simulated hands, an invented piano
    #[arg(long)]
    pub simulated: bool,
    /// Seed of what is simulated [default: 1]
    #[arg(long, value_name = "SEED", requires = "simulated")]
    pub seed: Option<u64>,
}

/// Runs the command.
///
/// # Errors
/// When the file is another one or of other people, pins or lever, no lever answers, somebody stops
/// before the end, or store or file fail.
pub(super) fn run(context: &Context, arguments: &SeatingsArguments) -> Result<(), CliError> {
    let path = &arguments.file;
    let begun = begun(path)?;
    if let Some(begun) = &begun {
        refuse_changed(path, begun, arguments)?;
    }
    let seed = match &begun {
        Some(begun) => begun.simulated_seed,
        None => arguments.simulated.then(|| arguments.seed.unwrap_or(1)),
    };
    let piano = seed.map(|seed| Piano::invent(seed, Fault::None, Severity::Plain));
    let instrument = match &piano {
        Some(piano) => instrument_of(piano, "invented"),
        None => modern_88("pins seated anew", InstrumentKind::Grand),
    };
    // What is wrong with the order is told before the lever is asked.
    let planned = match begun {
        Some(begun) => begun,
        None => planned(arguments, seed, &instrument)?,
    };
    refuse_strange_pins(&planned, &instrument)?;
    let mut store = context.open_store()?;
    let quiet = context.json && seed.is_some();
    let lever = match seed {
        Some(_) => SIMULATED_LEVER,
        None => met(context, arguments, &mut store)?,
    };
    let mut set = if path.exists() {
        of_this_lever(path, planned, lever)?
    } else {
        let uid = free_uid(context, &store, planned.turns().len() as u64)?;
        SeatingSet { uid, lever, ..planned }
    };
    let added_count = recover(&store, &mut set)?;
    // The file is there before a pin is touched: one that cannot be written costs no reading.
    files::replace(path, set.text().as_bytes())?;
    if !quiet {
        say_beginning(&set, added_count);
    }
    let mut taking = turn::Taking {
        context,
        store: &mut store,
        instrument: Instrument { name: format!("seatings-{lever:016x}"), ..instrument },
        port: arguments.port.clone(),
        piano,
        quiet,
        path,
        take_count: 0,
    };
    for turn in set.turns() {
        taking.take(&mut set, turn)?;
    }
    show::tell(context, path, &set)
}

/// The lever on the port.
fn met(
    context: &Context,
    arguments: &SeatingsArguments,
    store: &mut Store,
) -> Result<u64, CliError> {
    let mut line = line(arguments.port.as_ref())?;
    let mut teller = Teller::new(context.unit, true);
    let heard = survey::status(store, calendar(context), &mut line, &mut teller)?;
    let hello = heard.hello.ok_or_else(|| {
        CliError::new(Exit::LeverAbsent, "the lever did not say who it is; run the command again")
    })?;
    Ok(hello.device)
}

/// What the file holds; `None` when it is not there.
fn begun(path: &Path) -> Result<Option<SeatingSet>, CliError> {
    if !path.exists() {
        return Ok(None);
    }
    let refused = |error: SeatingSetError| files::refused(path, &error.to_string());
    let head = SeatingSet::head_of(&files::text_of(path)?).map_err(refused)?;
    let set = SeatingSet { readings: files::seatings(path)?, ..head };
    if !set.holds_its_readings() {
        let sentence = "a line counts a pin, person or round its comments do not name; put back \
                        what was changed, or take that line out";
        return Err(files::refused(path, sentence));
    }
    Ok(Some(set))
}

/// A set is taken with the people, pins and rounds it was begun with.
fn refuse_changed(
    path: &Path,
    begun: &SeatingSet,
    arguments: &SeatingsArguments,
) -> Result<(), CliError> {
    let pins: Vec<String> = begun.pins.iter().map(|pin| spelled(*pin)).collect();
    let is_simulated = begun.simulated_seed.is_some();
    let other_people = arguments.people.as_ref().is_some_and(|names| names.0 != begun.people);
    let other_pins = arguments.pins.as_ref().is_some_and(|text| {
        let named = parse_pins(text, &modern_88("", InstrumentKind::Grand));
        named.is_ok_and(|named| named != begun.pins)
    });
    let other_count = arguments.count.is_some_and(|count| usize::from(count) != pins.len());
    let other_rounds =
        arguments.rounds.is_some_and(|rounds| usize::from(rounds) != begun.round_count);
    let what = if other_people {
        format!("the people are {}", begun.people.join(", "))
    } else if other_pins || other_count {
        format!("the pins are {}", pins.join(","))
    } else if other_rounds {
        format!("the rounds are {}", begun.round_count)
    } else if arguments.simulated && !is_simulated {
        "it is of a real lever".to_owned()
    } else if arguments.port.is_some() && is_simulated {
        "it is of a simulated lever".to_owned()
    } else if arguments.seed.is_some() && arguments.seed != begun.simulated_seed {
        format!("the seed is {}", begun.simulated_seed.unwrap_or_default())
    } else {
        return Ok(());
    };
    let sentence = format!("it was begun otherwise: {what}; go on so, or name a new file");
    Err(files::refused(path, &sentence))
}

/// The set as asked for; lever and identity are still missing.
fn planned(
    arguments: &SeatingsArguments,
    simulated_seed: Option<u64>,
    instrument: &Instrument,
) -> Result<SeatingSet, CliError> {
    let usage = |sentence: String| CliError::new(Exit::Usage, sentence);
    let Some(Names(people)) = arguments.people.clone() else {
        return Err(usage("who seats the lever is not given: add --people 'A. Ex, B. Ex'".into()));
    };
    let pins = match &arguments.pins {
        Some(text) => parse_pins(text, instrument).map_err(|told| usage(format!("--pins: {told}"))),
        None => Ok(spread(arguments.count.map_or(SEATING_PIN_COUNT, usize::from))),
    };
    let set = SeatingSet {
        uid: 0,
        lever: 0,
        simulated_seed,
        people,
        round_count: arguments.rounds.map_or(SEATING_ROUND_COUNT, usize::from),
        pins: pins?,
        readings: Vec::new(),
    };
    set.check().map_err(|error| usage(error.to_string()))?;
    Ok(set)
}

/// Left strings, evenly over [`PIN_NOTES`].
fn spread(count: usize) -> Vec<Pin> {
    let (low, high) = (f64::from(PIN_NOTES.0), f64::from(PIN_NOTES.1));
    let step = (high - low) / count.saturating_sub(1).max(1) as f64;
    let notes = (0..count).map(|index| (low + step * index as f64).round() as u8);
    notes.map(|note| Pin { note, string: StringPosition::Left }).collect()
}

/// A simulated lever would wait for ever for a pin its piano lacks.
fn refuse_strange_pins(set: &SeatingSet, instrument: &Instrument) -> Result<(), CliError> {
    match set.pins.iter().find(|pin| instrument.find_pin(**pin).is_none()) {
        Some(pin) => {
            let sentence = format!("the instrument has no pin {}", spelled(*pin));
            Err(CliError::new(Exit::Refused, sentence))
        }
        None => Ok(()),
    }
}

fn of_this_lever(path: &Path, set: SeatingSet, lever: u64) -> Result<SeatingSet, CliError> {
    if set.lever == lever {
        return Ok(set);
    }
    let sentence = format!(
        "it is of lever {:016x}, and {lever:016x} answers; seatings are of one lever, so go on \
         with that one or name a new file",
        set.lever
    );
    Err(files::refused(path, &sentence))
}

/// An identity that, with those behind it, no survey of the store has.
fn free_uid(context: &Context, store: &Store, count: u64) -> Result<u64, CliError> {
    let mut uid = context.now_us;
    'tries: while uid < context.now_us + SET_TRIES_MAX {
        for offset in 0..count {
            if store.find_survey(uid + offset)?.is_some() {
                uid += offset + 1;
                continue 'tries;
            }
        }
        return Ok(uid);
    }
    Err(CliError::new(Exit::Store, "no identity is free for these seatings; run the command again"))
}

/// How the notes of a set's surveys begin.
fn notes_of(set: &SeatingSet) -> String {
    format!("pins seated anew, set {}:", set.uid)
}

/// The survey of a turn; `None` when it is not begun.
fn survey_of(store: &Store, set: &SeatingSet, turn: Turn) -> Result<Option<Survey>, CliError> {
    let uid = set.survey_of(turn);
    match store.find_survey(uid)? {
        // A file somebody changed must not put readings among a customer's.
        Some(survey) if !survey.notes.starts_with(&notes_of(set)) => {
            let sentence = format!(
                "the file counts survey {uid} as one of its own, and it is none of pins seated \
                 anew; put back its line '# set', or begin a new file"
            );
            Err(CliError::new(Exit::Refused, sentence))
        }
        found => Ok(found),
    }
}

/// Readings of the store that the file misses, after a crash between the two.
fn recover(store: &Store, set: &mut SeatingSet) -> Result<usize, CliError> {
    let mut added_count = 0;
    let lever = set.lever;
    for turn in set.turns() {
        let Some(survey) = survey_of(store, set, turn)? else { continue };
        let readings = store.readings_of(survey.id)?.lever;
        for stored in readings.iter().filter(|stored| stored.device == lever) {
            let Some(reading) = stored.counted() else { continue };
            if let Some((friction, moment)) = reading.friction.zip(reading.string_moment) {
                let (friction_nm, moment_nm) = (friction.newton_metres(), moment.newton_metres());
                added_count += usize::from(set.add(turn, reading.pin, friction_nm, moment_nm));
            }
        }
    }
    Ok(added_count)
}

fn say_beginning(set: &SeatingSet, added_count: usize) {
    if set.simulated_seed.is_some() {
        say("SIMULATED: an invented piano, simulated people and lever; nothing here is real.");
    } else {
        say(&format!("{CAUTIONS}{SEATING_CAUTIONS}"));
    }
    if added_count > 0 {
        say(&format!("{added_count} readings of the store were not in the file yet; added"));
    }
    let (done, all) = (set.readings.len(), set.wanted_count());
    let pins: Vec<String> = set.pins.iter().map(|pin| spelled(*pin)).collect();
    let people = printable(&set.people.join(", "));
    say(&format!("pins {}; {people}; {} rounds each", pins.join(","), set.round_count));
    if done > 0 && done < all {
        say(&format!("going on: {done} of {all} readings are there"));
    }
    if set.people.len() < SEATING_PERSON_COUNT {
        say("note: one person alone says nothing of what another does; that stays the class's");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_are_spread_over_the_notes() {
        let notes = |count| spread(count).iter().map(|pin| pin.note).collect::<Vec<u8>>();
        assert_eq!(notes(10), [28, 34, 40, 46, 52, 58, 64, 70, 76, 82]);
        assert_eq!((notes(1), notes(2)), (vec![28], vec![28, 82]));
        let mut all = notes(40);
        all.dedup();
        assert_eq!(all.len(), 40);
        let instrument = modern_88("x", InstrumentKind::Grand);
        assert!(spread(40).iter().all(|pin| instrument.find_pin(*pin).is_some()));
    }
}

//! One person's turn: the pins it lacks, taken as a survey, each reading into the file.

use std::io::BufRead;
use std::path::Path;

use pinhold_board_virtual::{Practice, Setup};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{Hello, Live};
use pinhold_protocol::record::{Pin, Reading};
use pinhold_sim::cell::Hold;
use pinhold_sim::hand::Hand;
use pinhold_sim::lever::{LeverModel, LeverSpec, Posture};
use pinhold_sim::piano::Piano;

use super::super::calibrate::files;
use super::super::line;
use super::{notes_of, survey_of};
use crate::calibration::seating_set::{SeatingSet, Turn};
use crate::cli::context::{Context, say, shell_quoted};
use crate::cli::demo::{VirtualLever, epoch_of};
use crate::cli::exit::{CliError, Exit};
use crate::cli::survey::{plan_for, slip_angle};
use crate::cli::teller::Teller;
use crate::instrument::{Instrument, pin_name};
use crate::link::session::{ArrivedRecord, Request};
use crate::store::{
    Committed, InstrumentFacts, InstrumentId, NewInstrument, NewSurvey, Store, StoreError,
    StoredPlan, SurveyId, SurveySource,
};
use crate::survey::{self, Line, Observer};
use crate::text::printable;

/// Slip asked of each stroke, degrees: what a survey asks.
const SLIP_DEG: f64 = 0.5;
/// Times a turn goes over the pins that gave no friction and string moment.
const PASS_COUNT_MAX: usize = 3;
/// Where the simulated people hold the lever, m from the pin's axis. Invented.
const SIMULATED_ARMS_M: [f64; 4] = [0.30, 0.24, 0.33, 0.27];

/// What every turn needs.
pub(super) struct Taking<'a> {
    pub(super) context: &'a Context,
    pub(super) store: &'a mut Store,
    /// Stands for the pins in the store; its name is this lever's.
    pub(super) instrument: Instrument,
    pub(super) port: Option<String>,
    /// The invented piano, where the lever is simulated.
    pub(super) piano: Option<Piano>,
    pub(super) quiet: bool,
    pub(super) path: &'a Path,
    /// Conversations so far: a simulated lever begins a log for each.
    pub(super) take_count: u64,
}

impl Taking<'_> {
    /// Takes what a turn lacks; pins that give nothing after some passes stay out.
    pub(super) fn take(&mut self, set: &mut SeatingSet, turn: Turn) -> Result<(), CliError> {
        if set.left(turn).is_empty() {
            return Ok(());
        }
        self.announce(set, turn)?;
        let survey = self.survey(set, turn)?;
        for pass in 0..PASS_COUNT_MAX {
            let left = set.left(turn);
            if left.is_empty() {
                break;
            }
            if pass > 0 && !self.quiet {
                let names: Vec<String> = left.iter().map(|pin| pin_name(*pin)).collect();
                say(&format!("once more, for friction and string moment: {}", names.join(", ")));
            }
            self.pass(set, turn, survey, &left, pass)?;
        }
        Ok(())
    }

    /// Says whose turn it is, and waits until that person is ready.
    fn announce(&self, set: &SeatingSet, turn: Turn) -> Result<(), CliError> {
        let person = set.people.get(turn.person).map_or(String::new(), |name| printable(name));
        let sentence = format!(
            "turn {} of {}: {person}, round {} of {}, {} pins to read",
            turn.position + 1,
            set.turns().len(),
            turn.round + 1,
            set.round_count,
            set.left(turn).len()
        );
        if self.piano.is_some() {
            if !self.quiet {
                say(&sentence);
            }
            return Ok(());
        }
        say(&format!("{sentence}; {person} takes the lever and presses Enter; q stops"));
        if is_ready() { Ok(()) } else { Err(self.stopped(set)) }
    }

    fn stopped(&self, set: &SeatingSet) -> CliError {
        let sentence = format!(
            "stopped with {} of {} readings; they are kept, go on with 'pinhold lever seatings {}'",
            set.readings.len(),
            set.wanted_count(),
            shell_quoted(&self.path.to_string_lossy())
        );
        CliError::new(Exit::InputOutput, sentence)
    }

    /// The turn's survey, begun when it is not there.
    fn survey(&mut self, set: &SeatingSet, turn: Turn) -> Result<SurveyId, CliError> {
        let uid = set.survey_of(turn);
        if let Some(survey) = survey_of(self.store, set, turn)? {
            return Ok(survey.id);
        }
        let is_simulated = set.simulated_seed.is_some();
        let new = NewSurvey {
            uid,
            started: self.context.now.clone(),
            source: if is_simulated { SurveySource::Simulated } else { SurveySource::Lever },
            temperature_centi_celsius: None,
            humidity_permille: None,
            notes: format!(
                "{} {}, round {} of {}",
                notes_of(set),
                set.people.get(turn.person).map_or("", String::as_str),
                turn.round + 1,
                set.round_count
            ),
            condition: Default::default(),
        };
        let plan = StoredPlan { slip: slip_angle(SLIP_DEG), pins: set.pins.clone() };
        let instrument = self.instrument_id(is_simulated)?;
        Ok(self.store.begin_planned_survey(instrument, &new, &plan)?)
    }

    fn instrument_id(&mut self, is_simulated: bool) -> Result<InstrumentId, CliError> {
        match self.store.find_instrument(&self.instrument.name) {
            Ok(record) => Ok(record.id),
            Err(StoreError::NoSuchInstrument { .. }) => {
                let maker = if is_simulated { "invented" } else { "" };
                Ok(self.store.create_instrument(&NewInstrument {
                    instrument: self.instrument.clone(),
                    facts: InstrumentFacts {
                        maker_text: maker.to_owned(),
                        ..InstrumentFacts::default()
                    },
                    created: self.context.now.clone(),
                })?)
            }
            Err(error) => Err(error.into()),
        }
    }

    /// Goes over the pins that are left, once.
    fn pass(
        &mut self,
        set: &mut SeatingSet,
        turn: Turn,
        survey: SurveyId,
        left: &[Pin],
        pass: usize,
    ) -> Result<(), CliError> {
        let uid = set.survey_of(turn);
        let plan = plan_for(uid, left, SLIP_DEG, true, self.context.now_us / 1000);
        let mut virtual_lever = self.virtual_lever(set, turn, pass)?;
        let mut line = match virtual_lever.as_mut() {
            Some(lever) => Line { name: lever.name.clone(), open: Box::new(|| lever.open()) },
            None => line(self.port.as_ref())?,
        };
        let done_count = set.pins.len() - left.len();
        let pin_count = set.pins.len();
        let mut watch = Watch {
            teller: Teller::new(self.context.unit, self.quiet).going_on(done_count, pin_count),
            set,
            turn,
            path: self.path,
            lever: None,
            quiet: self.quiet,
            fault: None,
        };
        let taken = survey::take(self.store, survey, plan, &mut line, &mut watch);
        let fault = watch.fault.take();
        taken.map_err(|error| {
            let mut error = CliError::from(error);
            let file = shell_quoted(&self.path.to_string_lossy());
            error.sentence.push_str(&format!("\nGo on with: pinhold lever seatings {file}"));
            error
        })?;
        match fault {
            Some(mut fault) => {
                fault.sentence.push_str(
                    "\nThe readings are in the store; run the command again and they are added",
                );
                Err(fault)
            }
            None => Ok(()),
        }
    }

    /// A simulated lever in the hand of the turn's person; `None` where the lever is real.
    fn virtual_lever(
        &mut self,
        set: &SeatingSet,
        turn: Turn,
        pass: usize,
    ) -> Result<Option<VirtualLever>, CliError> {
        let (Some(piano), Some(seed)) = (&self.piano, set.simulated_seed) else { return Ok(None) };
        let posture = Posture::level_grand();
        // Another hand every time, and the same one when the same turn is taken again.
        let hand_seed =
            seed.wrapping_mul(1_000).wrapping_add((turn.position * PASS_COUNT_MAX + pass) as u64);
        let setup = Setup {
            lever: LeverModel::drawn_within(seed, posture, &LeverSpec::uncalibrated()),
            hand: Hand::default(),
            seed: hand_seed,
            device: set.lever,
            epoch: epoch_of(self.context.now_us.wrapping_add(self.take_count)),
            piano: piano.clone(),
        };
        self.take_count += 1;
        let arm_m = SIMULATED_ARMS_M.get(turn.person).copied().unwrap_or(SIMULATED_ARMS_M[0]);
        let practice = Practice::new(setup).held_so(Hold { arm_m, ..Hold::reference() }, hand_seed);
        let lever = VirtualLever::start(practice).map_err(|error| {
            CliError::new(Exit::InputOutput, format!("no port for the simulated lever ({error})"))
        })?;
        Ok(Some(lever))
    }
}

/// Whether somebody presses Enter; anything else, or the end of the input, stops.
fn is_ready() -> bool {
    let mut text = String::new();
    match std::io::stdin().lock().read_line(&mut text) {
        Ok(count) => count > 0 && text.trim().is_empty(),
        Err(_) => false,
    }
}

/// Tells the conversation, and puts each reading of the set's lever into the file.
struct Watch<'a> {
    teller: Teller,
    set: &'a mut SeatingSet,
    turn: Turn,
    path: &'a Path,
    /// Lever greeted last.
    lever: Option<u64>,
    quiet: bool,
    /// Why the file misses readings by now.
    fault: Option<CliError>,
}

impl Watch<'_> {
    fn tell(&self, sentence: &str) {
        if !self.quiet {
            say(sentence);
        }
    }

    fn meet(&mut self, hello: &Hello) {
        self.lever = Some(hello.device);
        if hello.device != self.set.lever {
            self.tell(&format!(
                "  ! this is not lever {:016x} of the file: its readings do not count here",
                self.set.lever
            ));
        }
    }

    fn keep(&mut self, reading: &Reading) {
        let both = reading.friction.zip(reading.string_moment);
        let is_taken = self.lever == Some(self.set.lever)
            && both.is_some_and(|(friction, moment)| {
                let (friction_nm, moment_nm) = (friction.newton_metres(), moment.newton_metres());
                self.set.add(self.turn, reading.pin, friction_nm, moment_nm)
            });
        if !is_taken {
            self.tell("    no friction and string moment for the file; the pin comes again");
            return;
        }
        // A file that failed gets another try with the next reading: it is written whole.
        let before = self.fault.take();
        self.fault = files::replace(self.path, self.set.text().as_bytes()).err();
        if let (None, Some(fault)) = (before, &self.fault) {
            self.tell(&format!("    ! {}; tried again with the next reading", fault.sentence));
        }
    }
}

impl Observer for Watch<'_> {
    fn greeted(&mut self, hello: &Hello) {
        self.teller.greeted(hello);
        self.meet(hello);
    }

    fn lever_changed(&mut self, hello: &Hello) {
        self.teller.lever_changed(hello);
        self.meet(hello);
    }

    fn taking_zero(&mut self, again: bool) {
        self.teller.taking_zero(again);
    }

    fn pin_chosen(&mut self, pin: Pin) {
        self.teller.pin_chosen(pin);
    }

    fn pin_refused(&mut self, pin: Pin, result: CommandResult) {
        self.teller.pin_refused(pin, result);
    }

    fn reading_kept(&mut self, reading: &Reading, position: usize, count: usize) {
        self.teller.reading_kept(reading, position, count);
        self.keep(reading);
    }

    fn record_kept(&mut self, record: &ArrivedRecord, committed: Committed) {
        self.teller.record_kept(record, committed);
    }

    fn missing(&mut self, from: u32, last: u32) {
        self.teller.missing(from, last);
    }

    fn refused(&mut self, request: Request, result: CommandResult) {
        self.teller.refused(request, result);
    }

    fn live(&mut self, live: &Live) {
        self.teller.live(live);
    }

    fn silent(&mut self) {
        self.teller.silent();
    }

    fn port_lost(&mut self) {
        self.teller.port_lost();
    }

    fn port_back(&mut self) {
        self.teller.port_back();
    }
}

//! Conversations with a lever: a survey, a fetch of what it holds, a plan stored on it, how it is.
//!
//! A session is moved along on a port. A record is committed to disk in a transaction of its own
//! before the lever is told. A port that fails is opened again, and the session goes on where it
//! stood. `keeper` puts what arrives where it belongs, `error` says why a conversation ended early,
//! `progress` which pins of a survey are still to be read, `taken` what those read say, `adaptive`
//! which are read next. Deliberately not here: what is printed;
//! an [`Observer`] is told everything.

pub mod adaptive;
mod error;
mod keeper;
pub mod progress;
pub mod taken;

use std::io;
use std::time::{Duration, Instant};

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{ChoosePin, Health, Hello, Live, PlanState, Status};
use pinhold_protocol::record::{Pin, Reading};

use crate::link::port::{Port, PortError};
use crate::link::pump::Pump;
use crate::link::session::{ArrivedRecord, LeverPlan, Plan, Request, Session};
use crate::store::{Committed, Store, SurveyId};
pub use error::SurveyError;
use keeper::Keeper;

/// Longest wait for the first answer of a lever.
pub const FIRST_ANSWER_MAX: Duration = Duration::from_secs(15);
/// Longest wait for a port that went away to come back.
pub const REOPEN_MAX: Duration = Duration::from_secs(600);
/// Longest time a fetch, a load or a question may go without getting anywhere.
pub const STALLED_MAX: Duration = Duration::from_secs(30);
/// Longest time a survey waits for a lever that says it is not fit: its self-test may be running.
pub const NOT_FIT_MAX: Duration = Duration::from_secs(10);
/// Pause between two tries to open a port again.
const REOPEN_PAUSE: Duration = Duration::from_millis(500);

/// What a conversation tells while it runs. Every method has an empty default.
pub trait Observer {
    /// A lever answered.
    fn greeted(&mut self, _hello: &Hello) {}
    /// Another lever answers now, or this one has begun a new log.
    fn lever_changed(&mut self, _hello: &Hello) {}
    /// The zero is being taken; `again` when the last try was not still.
    fn taking_zero(&mut self, _again: bool) {}
    /// The lever waits for a pin.
    fn pin_chosen(&mut self, _pin: Pin) {}
    /// The lever cannot take the pin yet; it is tried again.
    fn pin_refused(&mut self, _pin: Pin, _result: CommandResult) {}
    /// A reading of the survey is on disk; `position` of `count` pins are done.
    fn reading_kept(&mut self, _reading: &Reading, _position: usize, _count: usize) {}
    /// Another record is on disk: of another survey, of none, or no reading.
    fn record_kept(&mut self, _record: &ArrivedRecord, _committed: Committed) {}
    /// Records that another host has committed and the lever no longer has.
    fn missing(&mut self, _from: u32, _last: u32) {}
    /// The lever refuses a command for now; it is tried again.
    fn refused(&mut self, _request: Request, _result: CommandResult) {}
    /// Present state of the lever.
    fn live(&mut self, _live: &Live) {}
    /// Nothing was heard for a while.
    fn silent(&mut self) {}
    /// The port went away and is waited for.
    fn port_lost(&mut self) {}
    /// The port is back.
    fn port_back(&mut self) {}
}

/// How the survey went.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Readings of it stored.
    pub reading_count: u32,
    /// Samples received.
    pub sample_count: u64,
    /// Bytes those samples took on the wire, frames included.
    pub sample_byte_count: u64,
    /// Sample blocks the lever dropped.
    pub dropped_block_count: u32,
    /// Frames that arrived damaged.
    pub damaged_frame_count: u32,
    /// Everything that was stored beside.
    pub fetched: Fetched,
}

/// What was fetched from a lever and stored.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fetched {
    /// Readings by the survey they were stored under, in the order the surveys appeared.
    pub filed: Vec<(SurveyId, u32)>,
    /// Readings of no plan.
    pub unassigned_count: u32,
    /// Readings of a plan this store does not know.
    pub foreign_count: u32,
    /// Pins passed over.
    pub skip_count: u32,
    /// Traces.
    pub trace_count: u32,
    /// Numbers of records that are lost.
    pub lost: Vec<u32>,
    /// Losses whose true record is on the disk.
    pub lost_but_held_count: u32,
    /// Records this version cannot read.
    pub unknown_count: u32,
    /// Numbers that another host has committed and the lever no longer has, first and last.
    pub missing: Vec<(u32, u32)>,
}

impl Fetched {
    /// Records stored, of all kinds.
    pub fn record_count(&self) -> u32 {
        let filed: u32 = self.filed.iter().map(|(_, count)| *count).sum();
        let lost = u32::try_from(self.lost.len()).unwrap_or(u32::MAX);
        [
            filed,
            self.unassigned_count,
            self.foreign_count,
            self.skip_count,
            self.trace_count,
            lost,
            self.lost_but_held_count,
            self.unknown_count,
        ]
        .into_iter()
        .fold(0, u32::saturating_add)
    }
}

/// What a lever said of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// Its last greeting.
    pub hello: Option<Hello>,
    /// How it is; `None` when it was not asked or does not know the question.
    pub health: Option<Health>,
    /// Where its plan stands; likewise.
    pub plan: Option<PlanState>,
    /// What it counted; likewise.
    pub counters: Option<Status>,
    /// Questions its firmware does not know.
    pub not_understood: Vec<Request>,
}

/// The host's calendar: what it was when a conversation began.
#[derive(Clone, Copy, Debug)]
pub struct Calendar {
    /// Milliseconds since 1970-01-01 UTC when it began.
    pub start_ms: u64,
    started: Instant,
}

impl Calendar {
    /// A conversation that begins now, at that time of the calendar.
    pub fn starting(start_ms: u64) -> Calendar {
        Calendar { start_ms, started: Instant::now() }
    }

    /// Milliseconds since 1970-01-01 UTC now.
    pub fn now_ms(&self) -> u64 {
        let elapsed = u64::try_from(self.started.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.start_ms.saturating_add(elapsed)
    }

    /// The same as ISO 8601 text.
    pub fn now_text(&self) -> String {
        let now_ms = i64::try_from(self.now_ms()).unwrap_or(i64::MAX);
        jiff::Timestamp::from_millisecond(now_ms)
            .map_or_else(|_| "unknown".to_owned(), |now| format!("{now:.3}"))
    }
}

/// A port that can be opened again under its name.
pub struct Line<'a> {
    /// Name for messages.
    pub name: String,
    /// Opens it.
    pub open: Box<dyn FnMut() -> Result<Box<dyn Port>, PortError> + 'a>,
}

/// Pins to be read next, once all of a plan are; none ends the survey.
pub type More<'a> = dyn FnMut(&mut Store) -> Result<Vec<Pin>, SurveyError> + 'a;

/// Runs `plan` on `line` until all its pins are read and kept in `survey`. What the lever holds of
/// other surveys is kept where it belongs.
///
/// # Errors
/// [`SurveyError`]; readings stored before it stay stored.
pub fn take(
    store: &mut Store,
    survey: SurveyId,
    plan: Plan,
    line: &mut Line<'_>,
    observer: &mut dyn Observer,
) -> Result<Summary, SurveyError> {
    take_growing(store, survey, plan, line, observer, &mut |_| Ok(Vec::new()))
}

/// Runs `plan` as [`take`] does; when all its pins are read `more` says which come next, before the
/// lever is told that the survey is over. No more ends it. `more` is to store them first, so that a
/// crash loses nothing.
///
/// # Errors
/// [`SurveyError`], and whatever `more` returns; readings stored before it stay stored.
pub fn take_growing(
    store: &mut Store,
    survey: SurveyId,
    plan: Plan,
    line: &mut Line<'_>,
    observer: &mut dyn Observer,
    more: &mut More<'_>,
) -> Result<Summary, SurveyError> {
    let calendar = Calendar::starting(plan.calendar_ms);
    let mut keeper = Keeper::of_survey(store, calendar, (plan.survey, survey), observer);
    keeper.pin_count = plan.pins.len();
    let session = Session::new(plan, 0);
    let session = converse_growing(session, line, &mut keeper, more)?;
    keeper.summary.damaged_frame_count = session.counters().error_count();
    Ok(keeper.summary)
}

/// Fetches and keeps all that the lever holds and the store does not.
///
/// # Errors
/// [`SurveyError`]; what was stored before it stays stored.
pub fn fetch(
    store: &mut Store,
    calendar: Calendar,
    line: &mut Line<'_>,
    observer: &mut dyn Observer,
) -> Result<(Heard, Fetched), SurveyError> {
    let mut keeper = Keeper::of_errand(store, calendar, observer);
    converse(Session::fetch(calendar.now_ms(), 0), line, &mut keeper)?;
    Ok((keeper.heard, keeper.summary.fetched))
}

/// Stores a plan on the lever; what the lever says of it then.
///
/// # Errors
/// [`SurveyError`]; [`SurveyError::GivenUp`] when the lever does not take it.
pub fn load(
    store: &mut Store,
    calendar: Calendar,
    plan: LeverPlan,
    line: &mut Line<'_>,
    observer: &mut dyn Observer,
) -> Result<Heard, SurveyError> {
    let mut keeper = Keeper::of_errand(store, calendar, observer);
    converse(Session::load(plan, calendar.now_ms(), 0), line, &mut keeper)?;
    Ok(keeper.heard)
}

/// Asks the lever how it is.
///
/// # Errors
/// [`SurveyError`].
pub fn status(
    store: &mut Store,
    calendar: Calendar,
    line: &mut Line<'_>,
    observer: &mut dyn Observer,
) -> Result<Heard, SurveyError> {
    let mut keeper = Keeper::of_errand(store, calendar, observer);
    converse(Session::status(calendar.now_ms(), 0), line, &mut keeper)?;
    Ok(keeper.heard)
}

/// Moves a session along until it is finished.
fn converse(
    session: Session,
    line: &mut Line<'_>,
    keeper: &mut Keeper<'_>,
) -> Result<Session, SurveyError> {
    converse_growing(session, line, keeper, &mut |_| Ok(Vec::new()))
}

/// The same with more pins whenever a survey's are read.
fn converse_growing(
    mut session: Session,
    line: &mut Line<'_>,
    keeper: &mut Keeper<'_>,
    more: &mut More<'_>,
) -> Result<Session, SurveyError> {
    let mut may_grow = true;
    let started = Instant::now();
    let mut pump = Pump::new((line.open)()?, started);
    loop {
        if let Err(error) = pump.turn(&mut session) {
            keeper.observer.port_lost();
            pump = reopen(line, started, &error)?;
            session.reconnected(pump.now_ms());
            keeper.observer.port_back();
            keeper.got_somewhere();
        }
        while let Some(event) = session.next_event() {
            let now_ms = pump.now_ms();
            keeper.take_event(event, &mut session, now_ms)?;
        }
        if may_grow && session.is_at_end_of_pins() {
            let pins = more(keeper.store())?;
            may_grow = !pins.is_empty();
            keeper.pin_count += pins.len();
            let choices: Vec<_> =
                pins.into_iter().map(|pin| ChoosePin { pin, unstrung: false }).collect();
            session.append(&choices);
        }
        if session.is_finished() {
            return Ok(session);
        }
        if keeper.heard.hello.is_none() && started.elapsed() > FIRST_ANSWER_MAX {
            return Err(SurveyError::NoAnswer { port: crate::text::printable(&line.name) });
        }
        keeper.check_stalled()?;
    }
}

/// Waits for the port to come back.
pub(crate) fn reopen(
    line: &mut Line<'_>,
    started: Instant,
    error: &io::Error,
) -> Result<Pump, SurveyError> {
    let lost = Instant::now();
    loop {
        std::thread::sleep(REOPEN_PAUSE);
        match (line.open)() {
            Ok(port) => return Ok(Pump::new(port, started)),
            Err(_) if lost.elapsed() < REOPEN_MAX => {}
            Err(_) => return Err(SurveyError::PortLost { reason: error.to_string() }),
        }
    }
}

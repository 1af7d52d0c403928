//! Takes a survey: moves a session along on a port and keeps every reading as it comes.
//!
//! A reading is committed to disk in a transaction of its own before the lever is told. A port
//! that fails is opened again, and the session goes on where it stood. Deliberately not here:
//! what is printed; an [`Observer`] is told everything.

use std::io;
use std::time::{Duration, Instant};

use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Live;
use pinhold_protocol::record::{Pin, Reading};

use crate::instrument::pin_name;
use crate::link::port::{Port, PortError};
use crate::link::pump::Pump;
use crate::link::session::{Event, Plan, Session};
use crate::store::{Store, StoreError, SurveyId};

/// Longest wait for the first answer of a lever.
pub const FIRST_ANSWER_MAX: Duration = Duration::from_secs(15);
/// Longest wait for a port that went away to come back.
pub const REOPEN_MAX: Duration = Duration::from_secs(600);
/// Pause between two tries to open a port again.
const REOPEN_PAUSE: Duration = Duration::from_millis(500);

/// Why a survey ended early. What was read until then is stored.
#[derive(Debug, thiserror::Error)]
pub enum SurveyError {
    /// Nothing answered on the port.
    #[error(
        "no lever answers on '{port}'; is it switched on, and is this its port ('pinhold ports' \
         lists them)?"
    )]
    NoAnswer {
        /// The port.
        port: String,
    },
    /// The lever speaks another protocol version.
    #[error(
        "the lever speaks protocol versions {min} to {max} and this program version {ours}; \
         update the older of the two"
    )]
    Version {
        /// Oldest it speaks.
        min: u8,
        /// Newest it speaks.
        max: u8,
        /// Ours.
        ours: u8,
    },
    /// Another lever answered in the middle of the survey.
    #[error(
        "another lever ({device:016x}) answers on the port now, or the lever lost its records; \
         what was read before is stored, start the survey again for the rest"
    )]
    LeverChanged {
        /// Its identity.
        device: u64,
    },
    /// The lever holds readings of a survey this store does not know.
    #[error(
        "the lever still holds readings of another survey ({survey}) that this store does not \
         know; fetch them with the store that began it, or switch the lever off and on to drop \
         them"
    )]
    ForeignRecords {
        /// The survey's identity.
        survey: u64,
    },
    /// The lever's log is not the one this store knows.
    #[error(
        "the lever's reading number {number} is another one than this store has under the same \
         number: the lever is a copy of another one, or was set back; nothing was taken from it"
    )]
    LogDisagrees {
        /// First number known to differ.
        number: u32,
    },
    /// A record from newer firmware.
    #[error(
        "the lever's reading number {number} is written in a form this version cannot read; it \
         stays on the lever, update pinhold"
    )]
    Unreadable {
        /// Its number.
        number: u32,
    },
    /// The lever does not know the pin.
    #[error("the lever does not know pin {pin} ({result:?}); update its firmware")]
    PinRefused {
        /// The pin's name.
        pin: String,
        /// The lever's answer.
        result: CommandResult,
    },
    /// The lever no longer has records that were never fetched.
    #[error("readings {from} to {last} are no longer on the lever and were never fetched")]
    Missing {
        /// First.
        from: u32,
        /// Last.
        last: u32,
    },
    /// The port did not come back.
    #[error("the port went away and did not come back; what was read is stored ({reason})")]
    PortLost {
        /// The system's words.
        reason: String,
    },
    /// The port could not be opened.
    #[error(transparent)]
    Port(#[from] PortError),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What the survey tells while it runs. Every method has an empty default.
pub trait Observer {
    /// A lever answered.
    fn greeted(&mut self, _device: u64, _firmware: [u8; 3]) {}
    /// The zero is being taken; `again` when the last try was not still.
    fn taking_zero(&mut self, _again: bool) {}
    /// The lever waits for a pin.
    fn pin_chosen(&mut self, _pin: Pin) {}
    /// A reading is on disk; `position` of `count` pins are done.
    fn reading_kept(&mut self, _reading: &Reading, _position: usize, _count: usize) {}
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
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Readings stored.
    pub reading_count: u32,
    /// Samples received.
    pub sample_count: u64,
    /// Bytes those samples took on the wire, frames included.
    pub sample_byte_count: u64,
    /// Sample blocks the lever dropped.
    pub dropped_block_count: u32,
    /// Frames that arrived damaged.
    pub damaged_frame_count: u32,
}

/// A port that can be opened again under its name.
pub struct Line<'a> {
    /// Name for messages.
    pub name: String,
    /// Opens it.
    pub open: Box<dyn FnMut() -> Result<Box<dyn Port>, PortError> + 'a>,
}

/// Runs `plan` on `line` until all its pins are read and kept in `survey`.
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
    let started = Instant::now();
    let pin_count = plan.pins.len();
    let uid = plan.survey;
    let mut keeper = Keeper { store, survey, uid, summary: Summary::default() };
    let mut session = Session::new(plan, 0);
    let mut pump = Pump::new((line.open)()?, started);
    let mut greeted = false;
    while !session.is_finished() {
        if let Err(error) = pump.turn(&mut session) {
            observer.port_lost();
            pump = reopen(line, started, &error)?;
            session.reconnected(pump.now_ms());
            observer.port_back();
        }
        while let Some(event) = session.next_event() {
            greeted |= matches!(event, Event::Greeted(_));
            let now_ms = pump.now_ms();
            keeper.take_event(event, &mut session, now_ms, pin_count, observer)?;
        }
        if !greeted && started.elapsed() > FIRST_ANSWER_MAX {
            return Err(SurveyError::NoAnswer { port: crate::text::printable(&line.name) });
        }
    }
    keeper.summary.damaged_frame_count = session.counters().error_count();
    Ok(keeper.summary)
}

/// Waits for the port to come back.
fn reopen(line: &mut Line<'_>, started: Instant, error: &io::Error) -> Result<Pump, SurveyError> {
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

/// Puts what arrives where it belongs.
struct Keeper<'a> {
    store: &'a mut Store,
    survey: SurveyId,
    uid: u64,
    summary: Summary,
}

impl Keeper<'_> {
    fn take_event(
        &mut self,
        event: Event,
        session: &mut Session,
        now_ms: u64,
        pin_count: usize,
        observer: &mut dyn Observer,
    ) -> Result<(), SurveyError> {
        match event {
            Event::Greeted(hello) => {
                session.held(now_ms, &[]);
                observer.greeted(hello.device, hello.firmware);
            }
            Event::LeverChanged(hello) => {
                return Err(SurveyError::LeverChanged { device: hello.device });
            }
            Event::VersionUnknown(hello) => {
                return Err(SurveyError::Version {
                    min: hello.protocol_min,
                    max: hello.protocol_max,
                    ours: pinhold_protocol::PROTOCOL_VERSION,
                });
            }
            Event::TakingZero => observer.taking_zero(false),
            Event::ZeroNotStill => observer.taking_zero(true),
            Event::PinChosen(pin) => observer.pin_chosen(pin),
            Event::PinRefused(pin, result @ CommandResult::NoSuchPin) => {
                return Err(SurveyError::PinRefused { pin: pin_name(pin), result });
            }
            // Anything else passes: the pin moves, or a commit is on its way.
            Event::PinRefused(..) | Event::Refused(..) => {}
            // Answers to questions a survey does not ask.
            Event::Status(_)
            | Event::Health(_)
            | Event::PlanState(_)
            | Event::PlanLoaded(_)
            | Event::NotUnderstood(_)
            | Event::GivenUp(_) => {}
            Event::LogDisagrees { number } => return Err(SurveyError::LogDisagrees { number }),
            Event::Live(live) => {
                self.summary.dropped_block_count = live.dropped_block_count;
                observer.live(&live);
            }
            Event::Samples(samples) => {
                self.summary.sample_count += samples.samples.len() as u64;
                self.summary.sample_byte_count += samples.wire_byte_count as u64;
            }
            Event::Record(record) => {
                let Some(Content::Reading(reading)) = &record.content else {
                    return Err(SurveyError::Unreadable { number: record.number });
                };
                let survey = self.survey_of(reading.survey)?;
                let new = crate::store::NewRecord {
                    device: record.device,
                    epoch: record.epoch,
                    number: record.number,
                    checksum: record.checksum,
                    bytes: &record.bytes,
                    content: record.content.as_ref(),
                    received: "",
                };
                self.store.keep_record(Some(survey), &new)?;
                session.kept(now_ms, record.number);
                self.summary.reading_count += 1;
                observer.reading_kept(reading, session.position(), pin_count);
            }
            Event::RecordsMissing { from, to } => {
                return Err(SurveyError::Missing { from, last: to.saturating_sub(1) });
            }
            Event::Silent => observer.silent(),
            Event::Finished => {}
        }
        Ok(())
    }

    /// The stored survey a reading belongs to.
    fn survey_of(&self, uid: u64) -> Result<SurveyId, SurveyError> {
        if uid == self.uid {
            return Ok(self.survey);
        }
        match self.store.find_survey(uid)? {
            Some(survey) => Ok(survey.id),
            None => Err(SurveyError::ForeignRecords { survey: uid }),
        }
    }
}

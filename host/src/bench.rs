//! A lever on the bench, over a port: settled readings of its codes, a zero, a calibration stored.
//!
//! ```no_run
//! # use pinhold::bench::{BenchLever, StabilityRule};
//! # use pinhold::link::port;
//! # use pinhold::survey::{Calendar, Line};
//! # fn main() -> Result<(), pinhold::bench::BenchError> {
//! let open = Box::new(|| port::open("/dev/ttyACM0"));
//! let line = Line { name: "/dev/ttyACM0".to_owned(), open };
//! let mut lever = BenchLever::open(line, Calendar::starting(0))?;
//! let reading = lever.settled(&StabilityRule::default(), &mut |live| println!("{}", live.code))?;
//! println!("{} from {} codes", reading.mean_code, reading.sample_count);
//! lever.close()
//! # }
//! ```
//!
//! A port that fails is opened again and the work goes on. The lever's records stay on it for a
//! fetch; no reading can be born while it is here. `settle` says when a reading stands still.
//! Deliberately not here: what is hung on the lever and what follows ([`crate::calibration`]), and
//! the conversation ([`crate::link::session`]).

mod error;
pub mod settle;

use std::time::{Duration, Instant};

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{Hello, StoreCalibration};
use pinhold_protocol::units::Torque;

use crate::calibration::record::LeverConstants;
use crate::link::pump::Pump;
use crate::link::session::{Event, Request, Session};
use crate::survey::{Calendar, FIRST_ANSWER_MAX, Line, SurveyError, reopen};
use crate::text::printable;
pub use error::BenchError;
pub use settle::{LiveBench, Settled, Settler, StabilityRule, Unsettled};

/// Longest time without samples, and for the lever to take or refuse a calibration.
pub const ANSWER_MAX: Duration = Duration::from_secs(20);
/// Longest time a zero is tried for want of stillness.
pub const ZERO_MAX: Duration = Duration::from_secs(30);
/// Longest time the end of the conversation is waited for.
const CLOSE_MAX: Duration = Duration::from_secs(3);
/// Newton-metres per count that a lever takes, as `protocol/spec.md` has it.
const SPAN_NM_PER_COUNT: std::ops::RangeInclusive<f64> = 7e-8..=7e-4;
/// Moment of its own weight that it takes, N·m.
const WEIGHT_MOMENT_NM: std::ops::RangeInclusive<f64> = 0.0..=10.0;
/// Bridge zero that it takes, counts either way.
const ZERO_CODE_MAX: f64 = 8_388_608.0;

/// A lever whose samples stream.
pub struct BenchLever<'a> {
    line: Line<'a>,
    pump: Pump,
    session: Session,
    started: Instant,
    hello: Hello,
}

impl<'a> BenchLever<'a> {
    /// Greets the lever on `line` and lets its samples stream.
    ///
    /// # Errors
    /// [`BenchError::Talk`] when no lever answers or it speaks another version.
    pub fn open(mut line: Line<'a>, calendar: Calendar) -> Result<BenchLever<'a>, BenchError> {
        let started = Instant::now();
        let mut pump = Pump::new((line.open)().map_err(SurveyError::from)?, started);
        let mut session = Session::bench(calendar.now_ms(), 0);
        loop {
            if let Err(error) = pump.turn(&mut session) {
                pump = reopen(&mut line, started, &error)?;
                session.reconnected(pump.now_ms());
            }
            while let Some(event) = session.next_event() {
                match event {
                    Event::Greeted(hello) => {
                        return Ok(BenchLever { line, pump, session, started, hello });
                    }
                    other => check(&other)?,
                }
            }
            if started.elapsed() > FIRST_ANSWER_MAX {
                return Err(SurveyError::NoAnswer { port: printable(&line.name) }.into());
            }
        }
    }

    /// What the lever said of itself when it was greeted last.
    pub fn hello(&self) -> &Hello {
        &self.hello
    }

    /// Waits for a steady reading of samples taken from now on; `on_live` is told what the lever
    /// shows with every block, some sixteen times a second.
    ///
    /// # Errors
    /// [`BenchError::Unsettled`] with the reason, after the rule's time.
    pub fn settled(
        &mut self,
        rule: &StabilityRule,
        on_live: &mut dyn FnMut(&LiveBench),
    ) -> Result<Settled, BenchError> {
        let give_up = Duration::from_millis(u64::from(rule.give_up_ms));
        let begun = Instant::now();
        let mut found = None;
        self.stream(rule, &mut |settler, live| {
            on_live(live);
            found = settler.settled().ok();
            let why = live.unsettled.unwrap_or(Unsettled::Waiting);
            // More weight makes no sense of it.
            if why == Unsettled::Saturated || (found.is_none() && begun.elapsed() > give_up) {
                let waited_s = u32::try_from(begun.elapsed().as_secs()).unwrap_or(u32::MAX);
                return Err(BenchError::Unsettled { why, waited_s });
            }
            Ok(found.is_some())
        })?;
        found.ok_or(BenchError::NoSamples)
    }

    /// Shows what the lever shows until `until` says that it is enough: while somebody hangs a
    /// weight or reads a question. The lever stays awake and connected meanwhile.
    ///
    /// # Errors
    /// [`BenchError::NoSamples`], [`BenchError::Talk`].
    pub fn watch(
        &mut self,
        rule: &StabilityRule,
        until: &mut dyn FnMut(&LiveBench) -> bool,
    ) -> Result<(), BenchError> {
        self.stream(rule, &mut |_, live| Ok(until(live)))
    }

    /// Hands blocks taken from now on to a settler until `take` has enough.
    fn stream(
        &mut self,
        rule: &StabilityRule,
        take: &mut dyn FnMut(&Settler, &LiveBench) -> Result<bool, BenchError>,
    ) -> Result<(), BenchError> {
        self.session.bench_afresh();
        let mut settler = Settler::new(*rule, self.hello.sample_period_ns);
        let mut heard = Instant::now();
        loop {
            let mut enough = Ok(false);
            self.turn(&mut |event| {
                if let (Event::Samples(block), Ok(false)) = (event, &enough) {
                    heard = Instant::now();
                    let live = settler.push(block);
                    enough = take(&settler, &live);
                }
            })?;
            if enough? {
                return Ok(());
            }
            if heard.elapsed() > ANSWER_MAX {
                return Err(BenchError::NoSamples);
            }
        }
    }

    /// Takes a zero: nothing may hang on the lever or turn it.
    ///
    /// # Errors
    /// [`BenchError::NotStill`], [`BenchError::ZeroRefused`].
    pub fn zero(&mut self) -> Result<(), BenchError> {
        self.session.take_zero();
        self.until(ZERO_MAX, BenchError::NotStill, &mut |event| match event {
            Event::ZeroTaken => Some(Ok(())),
            Event::Refused(Request::Zero, result) if *result != CommandResult::PinMoving => {
                Some(Err(BenchError::ZeroRefused))
            }
            _ => None,
        })
    }

    /// Stores a calibration under a number on the lever, and sees that a fresh greeting names it.
    /// The lever wants its zero taken anew afterwards.
    ///
    /// # Errors
    /// [`BenchError::Impossible`], [`BenchError::Refused`].
    pub fn store(&mut self, constants: &LeverConstants, number: u32) -> Result<(), BenchError> {
        let calibration = on_the_wire(constants, number)?;
        self.session.store_calibration(calibration);
        let late = BenchError::Refused { result: Some(CommandResult::PinMoving) };
        self.until(ANSWER_MAX, late, &mut |event| match event {
            Event::CalibrationStored { number: stored } if *stored == number => Some(Ok(())),
            Event::NotUnderstood(Request::StoreCalibration) => {
                Some(Err(BenchError::Refused { result: None }))
            }
            Event::Refused(Request::StoreCalibration, result)
                if *result != CommandResult::PinMoving =>
            {
                Some(Err(BenchError::Refused { result: Some(*result) }))
            }
            _ => None,
        })
    }

    /// Ends the stream. What was stored stays stored, even where this fails.
    ///
    /// # Errors
    /// [`BenchError::Talk`] when the port is gone for good.
    pub fn close(mut self) -> Result<(), BenchError> {
        self.session.end_bench();
        let begun = Instant::now();
        while !self.session.is_finished() && begun.elapsed() < CLOSE_MAX {
            self.turn(&mut |_| {})?;
        }
        Ok(())
    }

    /// Talks until `answer` finds one; then, and when it takes too long, nothing is asked any more.
    fn until(
        &mut self,
        longest: Duration,
        late: BenchError,
        answer: &mut dyn FnMut(&Event) -> Option<Result<(), BenchError>>,
    ) -> Result<(), BenchError> {
        let begun = Instant::now();
        let mut found = None;
        while found.is_none() && begun.elapsed() < longest {
            self.turn(&mut |event| found = found.take().or_else(|| answer(event)))?;
        }
        self.session.withdraw();
        found.unwrap_or(Err(late))
    }

    /// Moves the conversation along.
    fn turn(&mut self, take: &mut dyn FnMut(&Event)) -> Result<(), BenchError> {
        if let Err(error) = self.pump.turn(&mut self.session) {
            self.pump = reopen(&mut self.line, self.started, &error)?;
            self.session.reconnected(self.pump.now_ms());
        }
        while let Some(event) = self.session.next_event() {
            check(&event)?;
            if let Event::Greeted(hello) = &event {
                self.hello = *hello;
            }
            take(&event);
        }
        Ok(())
    }
}

/// Ends the conversation where an event says that it is over.
fn check(event: &Event) -> Result<(), BenchError> {
    match event {
        Event::LeverChanged(hello) => {
            Err(SurveyError::LeverChanged { device: hello.device }.into())
        }
        Event::VersionUnknown(hello) => Err(SurveyError::Version {
            min: hello.protocol_min,
            max: hello.protocol_max,
            ours: PROTOCOL_VERSION,
        }
        .into()),
        Event::GivenUp(request) => {
            Err(SurveyError::GivenUp { request: *request, result: None }.into())
        }
        _ => Ok(()),
    }
}

/// The constants in the whole numbers of the wire.
///
/// # Errors
/// [`BenchError::Impossible`] for what no lever takes.
pub fn on_the_wire(
    constants: &LeverConstants,
    number: u32,
) -> Result<StoreCalibration, BenchError> {
    let LeverConstants { zero_code, span_nm_per_count, weight_moment_nm } = *constants;
    let impossible = |what, value| Err(BenchError::Impossible { what, value });
    // What is not a number is in no range.
    if number == 0 {
        return impossible("the number", "0".to_owned());
    }
    if !(-ZERO_CODE_MAX..=ZERO_CODE_MAX).contains(&zero_code) {
        return impossible("a zero", format!("{zero_code:.0} counts"));
    }
    if !SPAN_NM_PER_COUNT.contains(&span_nm_per_count) {
        return impossible("a span", format!("{span_nm_per_count:e} N·m per count"));
    }
    if !WEIGHT_MOMENT_NM.contains(&weight_moment_nm) {
        return impossible("a weight moment", format!("{weight_moment_nm:.3} N·m"));
    }
    Ok(StoreCalibration {
        number,
        zero_code_q8: (zero_code * 256.0).round() as i64,
        span_femtonewton_metres_per_count: (span_nm_per_count * 1e15).round() as u64,
        weight_moment: Torque::from_newton_metres(weight_moment_nm).unwrap_or_default(),
    })
}

#[cfg(test)]
mod tests;

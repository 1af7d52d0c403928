//! Whole surveys in one process: simulated technician, firmware core, link and host session,
//! under one virtual clock and without a port.
//!
//! Deliberately not here: stores and files; the records are handed over as they arrive.

pub mod core_alone;
pub mod coverage;
pub mod faulty;
pub mod form;
pub mod line;
pub mod planks;
pub mod replayed;
pub mod ruler;
pub mod sampled;
pub mod signal;
pub mod strokes;
pub mod tap;
pub mod trials;
pub mod verdicts;
pub mod whole;

use pinhold::link::session::{ArrivedRecord, ArrivedSamples, Choice, Event, Plan, Session};
use pinhold_board_virtual::practice::{Practice, Setup, pin_names};
use pinhold_protocol::content::Content;
use pinhold_protocol::record::Reading;
use pinhold_protocol::units::Angle;

/// Everything a survey gave.
#[derive(Debug, Default)]
pub struct SurveyOutcome {
    /// Records in the order kept.
    pub records: Vec<ArrivedRecord>,
    /// Sample blocks, when asked for.
    pub samples: Vec<ArrivedSamples>,
    /// Samples simulated.
    pub sample_count: u64,
    /// Whether the session came to its end.
    pub finished: bool,
}

impl SurveyOutcome {
    /// The readings among the records.
    pub fn readings(&self) -> impl Iterator<Item = Reading> {
        self.records.iter().filter_map(|record| match &record.content {
            Some(Content::Reading(reading)) => Some(reading.clone()),
            _ => None,
        })
    }
}

/// Slip asked of the technician and told to the lever, degrees.
pub const SLIP_DEG: f64 = 0.5;

/// Reads `pins` (places in the piano) with `practice` and returns what the host got.
///
/// Ends early, unfinished, after `sample_count_max` samples.
pub fn survey(
    practice: &mut Practice,
    choices: Vec<Choice>,
    keep_samples: bool,
    sample_count_max: u64,
) -> SurveyOutcome {
    let plan = Plan {
        survey: 1,
        pins: choices,
        slip: Angle::from_radians(SLIP_DEG.to_radians()).expect("half a degree fits"),
        calendar_ms: 0,
        stream_samples: keep_samples,
        zero_first: true,
    };
    let mut session = Session::new(plan, 0);
    let mut outcome = SurveyOutcome::default();
    while !session.is_finished() && outcome.sample_count < sample_count_max {
        let now_ms = practice.now().microseconds() / 1000;
        session.tick(now_ms);
        let to_lever = session.take_outgoing();
        if !to_lever.is_empty() {
            practice.receive(&to_lever);
        }
        practice.step();
        outcome.sample_count += 1;
        let sent = practice.pending().len();
        if sent > 0 {
            session.receive(now_ms, practice.pending());
            practice.sent(sent);
        }
        while let Some(event) = session.next_event() {
            match event {
                Event::Record(record) => {
                    session.kept(now_ms, record.number);
                    outcome.records.push(*record);
                }
                Event::Greeted(_) | Event::LeverChanged(_) => session.held(now_ms, &[]),
                Event::Samples(samples) if keep_samples => outcome.samples.push(samples),
                _ => {}
            }
        }
    }
    outcome.finished = session.is_finished();
    outcome
}

/// Choices for every pin of the piano, in its order.
pub fn all_pins(setup: &Setup) -> Vec<Choice> {
    pin_names(&setup.piano).into_iter().map(|pin| Choice { pin, unstrung: false }).collect()
}

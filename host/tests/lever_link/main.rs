//! The host's conversations with a simulated lever on a pseudo-terminal, host crashes included.
//!
//! Seeds 81101 and following belong to this file.
#![cfg(unix)]

mod alone;
mod binary;
mod calibrated;
mod checked;
mod seatings;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use pinhold::analysis::input::Condition;
use pinhold::instrument::InstrumentKind;
use pinhold::instrument::layout::modern_88;
use pinhold::link::port;
use pinhold::link::session::{ArrivedRecord, LeverPlan, Plan};
use pinhold::store::{
    Committed, InstrumentFacts, NewInstrument, NewSurvey, Store, StoredPlan, SurveyId, SurveySource,
};
use pinhold::survey::progress::{progress, unfinished};
use pinhold::survey::{self, Calendar, Line, Observer, SurveyError};
use pinhold_board_virtual::practice::pin_names;
use pinhold_board_virtual::pty::Pty;
use pinhold_board_virtual::{Pace, Practice, Setup, serve};
use pinhold_protocol::message::{ChoosePin, plan_checksum};
use pinhold_protocol::record::{Pin, Reading};
use pinhold_protocol::units::Angle;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};
use tempfile::TempDir;

const SURVEY: u64 = 4711;
const CALENDAR_MS: u64 = 1_767_225_600_000;

/// A simulated lever and hand behind a port, gone when dropped.
struct Bench {
    port: String,
    pins: Vec<Pin>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Bench {
    fn start(seed: u64, epoch: u32) -> Bench {
        Bench::start_with(seed, epoch, |_, _| Gesture::micro_stroke())
    }

    /// The technician's gesture hangs on the pin's place and the tries before.
    fn start_with(seed: u64, epoch: u32, gesture_of: fn(usize, u32) -> Gesture) -> Bench {
        let piano = Piano::invent(seed, Fault::None, Severity::Plain);
        let pins = pin_names(&piano);
        let mut practice = Practice::new(Setup {
            lever: LeverModel::drawn(seed, Posture::level_grand()),
            hand: Hand::default(),
            seed,
            device: seed,
            epoch,
            piano,
        })
        .with_gestures(gesture_of);
        let mut pty = Pty::open().unwrap();
        let port = pty.name().unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            // A host that closes its end is no end of the lever.
            while !told.load(Ordering::Relaxed) {
                let _ = serve(&mut practice, &mut pty, Pace::Fast, &told);
            }
        });
        Bench { port, pins, stop, thread: Some(thread) }
    }

    fn line(&self) -> Line<'_> {
        Line { name: self.port.clone(), open: Box::new(|| port::open(&self.port)) }
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Counts what it is told and ends the host behind a number of readings.
#[derive(Default)]
struct Counter {
    readings: Vec<Pin>,
    records: usize,
    crash_after: Option<usize>,
}

impl Observer for Counter {
    fn reading_kept(&mut self, reading: &Reading, _position: usize, _count: usize) {
        self.readings.push(reading.pin);
        assert!(self.crash_after != Some(self.readings.len()), "the host dies here");
    }

    fn record_kept(&mut self, _record: &ArrivedRecord, committed: Committed) {
        assert_eq!(committed, Committed::New);
        self.records += 1;
    }
}

/// Begins a survey of these pins in the store of a folder.
fn begin(folder: &Path, pins: &[Pin]) -> SurveyId {
    let mut store = Store::open(folder).unwrap();
    let instrument = store
        .create_instrument(&NewInstrument {
            instrument: modern_88("x", InstrumentKind::Grand),
            facts: InstrumentFacts::default(),
            created: "2026-01-01T00:00:00Z".to_owned(),
        })
        .unwrap();
    let new = NewSurvey {
        uid: SURVEY,
        started: "2026-01-01T00:00:00Z".to_owned(),
        source: SurveySource::Lever,
        temperature_centi_celsius: None,
        humidity_permille: None,
        notes: String::new(),
        condition: Condition::default(),
    };
    let plan = StoredPlan { slip: slip(), pins: pins.to_vec() };
    store.begin_planned_survey(instrument, &new, &plan).unwrap()
}

fn slip() -> Angle {
    Angle::from_microradians(8727)
}

/// A plan of the survey's pins that are left.
fn plan_of_left(store: &Store) -> Result<Plan, SurveyError> {
    let instrument = store.find_instrument("x")?.id;
    let left = unfinished(store, instrument)?.map_or(Vec::new(), |open| open.left);
    Ok(Plan {
        survey: SURVEY,
        pins: left.into_iter().map(|pin| ChoosePin { pin, unstrung: false }).collect(),
        slip: slip(),
        calendar_ms: CALENDAR_MS,
        stream_samples: false,
        zero_first: true,
    })
}

/// Takes the pins of the survey that are left, as the command does.
fn go_on(
    folder: &Path,
    bench: &Bench,
    id: SurveyId,
    observer: &mut Counter,
) -> Result<survey::Summary, SurveyError> {
    let mut store = Store::open(folder)?;
    let plan = plan_of_left(&store)?;
    survey::take(&mut store, id, plan, &mut bench.line(), observer)
}

/// Pins with a stored reading, in order of record number.
fn stored(folder: &Path, id: SurveyId) -> Vec<Pin> {
    let store = Store::open(folder).unwrap();
    store.readings_of(id).unwrap().lever.iter().filter_map(|reading| reading.pin).collect()
}

#[test]
fn a_host_that_dies_behind_any_reading_goes_on_with_the_same_survey() {
    for crash_after in 1..=4 {
        let folder = TempDir::new().unwrap();
        let bench = Bench::start(81_100 + crash_after as u64, 1);
        let pins = bench.pins[..4].to_vec();
        let id = begin(folder.path(), &pins);
        // Dies between its disk and its commit: the lever holds the record still.
        let mut first = Counter { crash_after: Some(crash_after), ..Counter::default() };
        let died = catch_unwind(AssertUnwindSafe(|| go_on(folder.path(), &bench, id, &mut first)));
        assert!(died.is_err());
        assert_eq!(stored(folder.path(), id), pins[..crash_after]);
        let mut second = Counter::default();
        go_on(folder.path(), &bench, id, &mut second).unwrap();
        assert_eq!(second.readings, pins[crash_after..], "no pin is read twice");
        assert_eq!(stored(folder.path(), id), pins);
        let store = Store::open(folder.path()).unwrap();
        assert_eq!(unfinished(&store, store.find_instrument("x").unwrap().id).unwrap(), None);
    }
}

#[test]
fn a_survey_grows_while_the_lever_is_at_it_and_keeps_its_plan_over_a_crash() {
    let folder = TempDir::new().unwrap();
    let bench = Bench::start(81_106, 1);
    let pins = bench.pins[..6].to_vec();
    let id = begin(folder.path(), &pins[..2]);
    // The check pin again, then more; the host dies behind the first of those.
    let runs = [vec![pins[0], pins[2]], vec![pins[3], pins[4]]];
    let mut given = 0;
    let mut grow = |folder: &Path, observer: &mut Counter| {
        let mut store = Store::open(folder)?;
        let plan = plan_of_left(&store)?;
        let mut more = |store: &mut Store| -> Result<Vec<Pin>, SurveyError> {
            let run = runs.get(given).cloned().unwrap_or_default();
            given += 1;
            store.append_to_plan(id, &run)?;
            Ok(run)
        };
        let line = &mut bench.line();
        survey::take_growing(&mut store, id, plan, line, observer, &mut more)
    };
    let mut first = Counter { crash_after: Some(5), ..Counter::default() };
    let died = catch_unwind(AssertUnwindSafe(|| grow(folder.path(), &mut first)));
    assert!(died.is_err());
    assert_eq!(first.readings, [pins[0], pins[1], pins[0], pins[2], pins[3]]);
    let mut second = Counter::default();
    grow(folder.path(), &mut second).unwrap();
    assert_eq!(second.readings, [pins[4]], "what was left of the stored run");
    let store = Store::open(folder.path()).unwrap();
    let survey = store.find_survey(SURVEY).unwrap().unwrap();
    let all = progress(&store, &survey).unwrap().unwrap();
    assert_eq!((all.read_count, all.left.len(), all.plan.pins.len()), (6, 0, 6));
    assert_eq!(store.plan_of(id).unwrap().unwrap().pins[2..4], runs[0]);
}

#[test]
fn a_store_that_never_saw_the_plan_keeps_its_readings_in_the_inbox() {
    let folder = TempDir::new().unwrap();
    let bench = Bench::start(81_111, 1);
    let pins = bench.pins[..2].to_vec();
    let id = begin(folder.path(), &pins);
    let mut first = Counter { crash_after: Some(1), ..Counter::default() };
    let died = catch_unwind(AssertUnwindSafe(|| go_on(folder.path(), &bench, id, &mut first)));
    assert!(died.is_err());

    let other = TempDir::new().unwrap();
    let mut store = Store::open(other.path()).unwrap();
    let mut observer = Counter::default();
    let calendar = Calendar::starting(CALENDAR_MS);
    let (heard, fetched) =
        survey::fetch(&mut store, calendar, &mut bench.line(), &mut observer).unwrap();
    assert_eq!(heard.hello.unwrap().device, 81_111);
    assert_eq!(fetched.foreign_count, 1);
    assert_eq!((fetched.record_count() as usize, observer.records), (1, 1));
    let inbox = store.inbox().unwrap();
    assert_eq!((inbox[0].reading.survey, inbox[0].reading.pin), (SURVEY, pins[0]));
    // Once is enough, however often it is run.
    let (_, again) = survey::fetch(&mut store, calendar, &mut bench.line(), &mut observer).unwrap();
    assert_eq!(again.record_count(), 0);
    // The first host goes on all the same.
    go_on(folder.path(), &bench, id, &mut Counter::default()).unwrap();
    assert_eq!(stored(folder.path(), id), pins);
}

#[test]
fn a_copy_of_a_lever_is_noticed_and_nothing_of_it_is_taken() {
    let folder = TempDir::new().unwrap();
    let id = {
        let bench = Bench::start(81_121, 9);
        let id = begin(folder.path(), &bench.pins[..2]);
        go_on(folder.path(), &bench, id, &mut Counter::default()).unwrap();
        id
    };
    // Same identity and epoch, another life.
    let copy = Bench::start(81_121, 9);
    let before = stored(folder.path(), id);
    let mut store = Store::open(folder.path()).unwrap();
    let calendar = Calendar::starting(CALENDAR_MS);
    let refused =
        survey::fetch(&mut store, calendar, &mut copy.line(), &mut Counter::default()).unwrap_err();
    assert!(matches!(refused, SurveyError::LogDisagrees { .. }), "{refused}");
    assert!(refused.to_string().contains("carries the identity of another one"), "{refused}");
    assert_eq!(stored(folder.path(), id), before);
    assert_eq!(store.inbox().unwrap(), []);
}

#[test]
fn a_lever_tells_how_it_is_and_takes_a_plan() {
    let folder = TempDir::new().unwrap();
    let bench = Bench::start(81_131, 3);
    let mut store = Store::open(folder.path()).unwrap();
    let calendar = Calendar::starting(CALENDAR_MS);
    let mut observer = Counter::default();
    let heard = survey::status(&mut store, calendar, &mut bench.line(), &mut observer).unwrap();
    let hello = heard.hello.unwrap();
    assert_eq!((hello.device, hello.epoch, hello.next_record), (81_131, 3, 0));
    assert_eq!(heard.plan.unwrap().plan, 0);
    assert!(heard.health.is_some() && heard.counters.is_some());
    assert_eq!(heard.not_understood, []);
    let known = store.known_logs().unwrap();
    assert_eq!((known[0].device, known[0].epoch), (81_131, 3));
    assert!(known[0].calendar_ms >= CALENDAR_MS);

    let pins = bench.pins[..40].to_vec();
    let plan = LeverPlan::new(SURVEY, slip(), pins.clone()).unwrap();
    let loaded =
        survey::load(&mut store, calendar, plan, &mut bench.line(), &mut observer).unwrap();
    let state = loaded.plan.unwrap();
    assert_eq!((state.plan, state.pin_count, state.position), (SURVEY, 40, 0));
    assert_eq!(state.checksum, plan_checksum(pins.into_iter()));
    assert!(!state.running);
}

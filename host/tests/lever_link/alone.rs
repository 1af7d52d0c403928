//! A survey without a computer, loaded before and fetched afterwards.

use std::io::{Read, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use pinhold::link::port;
use pinhold::link::session::LeverPlan;
use pinhold::store::{Cause, Store};
use pinhold::survey::progress::progress;
use pinhold::survey::{self, Calendar, Line};
use pinhold_board_virtual::practice::{inputs_of, pin_names};
use pinhold_board_virtual::pty::Pty;
use pinhold_lever::{Buttons, Identity, Input, Lamp, Lever, Signals};
use pinhold_protocol::content::UNASSIGNED;
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::DeviceTime;
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};
use tempfile::TempDir;

use super::{CALENDAR_MS, Counter, SURVEY, begin, slip, stored};

/// Longest time a survey alone may take, samples of a millisecond.
const SAMPLE_COUNT_MAX: u64 = 180_000;

/// A technician with a lever and no computer.
pub(super) struct Alone {
    lever: Lever,
    bench: Workbench,
    pins: Vec<Pin>,
    signals: Signals,
    sample_count: u64,
    /// Place of the pin the lever is on, and how often it was tried.
    on_pin: Option<(usize, u32)>,
    /// Pins to be passed over.
    skip: Vec<Pin>,
    /// Pin the technician turns next where the lever has no plan.
    own_place: usize,
    pub(super) accepted_count: usize,
    go_until: u64,
}

impl Alone {
    pub(super) fn new(seed: u64) -> Alone {
        let piano = Piano::invent(seed, Fault::None, Severity::Plain);
        let pins = pin_names(&piano);
        let lever_model = LeverModel::drawn(seed, Posture::level_grand());
        let mut bench = Workbench::new(piano, lever_model, Hand::default(), seed);
        bench.hold_off_pin();
        Alone {
            lever: Lever::new(Identity { device: seed, epoch: 1, sample_period_ns: 1_000_000 }),
            bench,
            pins,
            signals: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            sample_count: 0,
            on_pin: None,
            skip: Vec::new(),
            own_place: 0,
            accepted_count: 0,
            go_until: 0,
        }
    }

    /// The first pins as `--pins` takes them.
    pub(super) fn pin_list(&self, count: usize) -> String {
        let pins = self.pins[..count].iter();
        pins.map(|pin| pinhold::correct::spelled(*pin)).collect::<Vec<_>>().join(",")
    }

    fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.sample_count * 1000)
    }

    /// A millisecond passes.
    fn step(&mut self) {
        let buttons = Buttons { go: self.sample_count < self.go_until, back: false };
        self.lever.step(self.now(), Input::Buttons(buttons));
        let tick = self.bench.next_sample();
        let (motion, sample) = inputs_of(&tick);
        if let Some(motion) = motion {
            self.lever.step(self.now(), Input::MotionReady(1));
            self.lever.step(self.now(), Input::Motion(motion));
        }
        self.sample_count += 1;
        let before = self.signals.lamp;
        self.signals = self.lever.step(self.now(), Input::Sample(sample));
        if self.signals.lamp == Lamp::Accepted && before != Lamp::Accepted {
            self.accepted_count += 1;
            self.own_place += 1;
            self.leave_pin();
        }
        self.act();
    }

    fn leave_pin(&mut self) {
        if self.on_pin.take().is_some() {
            self.bench.lift();
        }
    }

    pub(super) fn press_go(&mut self, duration_ms: u64) {
        self.go_until = self.sample_count + duration_ms;
    }

    /// Does what the lever asks.
    fn act(&mut self) {
        if !self.bench.is_idle() || self.sample_count < self.go_until + 100 {
            return;
        }
        let Some(pin) = self.signals.pin else { return };
        if let Some(at) = self.skip.iter().position(|skipped| *skipped == pin) {
            self.skip.remove(at);
            self.press_go(1000);
            return;
        }
        let wanted = match pin {
            UNASSIGNED => self.own_place,
            pin => self.pins.iter().position(|name| *name == pin).unwrap(),
        };
        match self.on_pin {
            None if self.signals.lamp == Lamp::Seat => {
                self.bench.seat(wanted);
                self.on_pin = Some((wanted, 0));
            }
            Some((on, _)) if on != wanted => self.leave_pin(),
            Some((on, tries)) => {
                let asked = match self.signals.lamp {
                    Lamp::Ready => tries == 0,
                    Lamp::Repeat => true,
                    _ => false,
                };
                if asked && tries < 5 {
                    self.bench.perform(Gesture::micro_stroke());
                    self.on_pin = Some((on, tries + 1));
                }
            }
            None => {}
        }
    }

    /// Works until `done`.
    pub(super) fn work(&mut self, done: impl Fn(&Alone) -> bool) {
        let end = self.sample_count + SAMPLE_COUNT_MAX;
        while !done(self) {
            assert!(self.sample_count < end, "still at {:?}", self.signals);
            self.step();
        }
    }

    pub(super) fn work_for(&mut self, duration_ms: u64) {
        for _ in 0..duration_ms {
            self.step();
        }
    }

    /// Lets a host talk to the lever through a port while the technician rests.
    pub(super) fn with_host<T>(&mut self, talk: impl FnOnce(&mut Line<'_>) -> T + Send) -> T
    where
        T: Send,
    {
        let mut pty = Pty::open().unwrap();
        let name = pty.name().unwrap();
        let stop = AtomicBool::new(false);
        std::thread::scope(|scope| {
            let host = scope.spawn(|| {
                let mut line = Line { name: name.clone(), open: Box::new(|| port::open(&name)) };
                let told = talk(&mut line);
                stop.store(true, Ordering::Relaxed);
                told
            });
            let mut buffer = [0u8; 4096];
            while !stop.load(Ordering::Relaxed) && !host.is_finished() {
                if let Ok(count) = pty.read(&mut buffer) {
                    self.signals = self.lever.step(self.now(), Input::Received(&buffer[..count]));
                }
                self.work_for(4);
                if let Ok(count) = pty.write(self.lever.pending()) {
                    self.lever.sent(count);
                }
            }
            host.join().unwrap()
        })
    }
}

#[test]
fn a_survey_without_a_computer_is_fetched_whole() {
    let folder = TempDir::new().unwrap();
    let mut alone = Alone::new(81_141);
    let pins = alone.pins[..3].to_vec();
    let id = begin(folder.path(), &pins);
    let calendar = Calendar::starting(CALENDAR_MS);
    let plan = LeverPlan::new(SURVEY, slip(), pins.clone()).unwrap();
    let path = folder.path();
    alone.with_host(|line| {
        let mut store = Store::open(path).unwrap();
        survey::load(&mut store, calendar, plan, line, &mut Counter::default()).unwrap();
    });
    alone.skip = vec![pins[1]];
    alone.press_go(200);
    alone.work(|alone| alone.accepted_count == 2);
    alone.work_for(2000);
    assert_eq!(alone.signals.pin, None, "the plan is done");

    let (heard, fetched, state) = alone.with_host(|line| {
        let mut store = Store::open(path).unwrap();
        let mut observer = Counter::default();
        let (heard, fetched) = survey::fetch(&mut store, calendar, line, &mut observer).unwrap();
        let (_, again) = survey::fetch(&mut store, calendar, line, &mut observer).unwrap();
        assert_eq!(again.record_count(), 0, "nothing is fetched twice");
        let state = survey::status(&mut store, calendar, line, &mut observer).unwrap();
        (heard, fetched, state)
    });
    assert_eq!(fetched.filed, [(id, 2)]);
    assert_eq!((fetched.skip_count, fetched.trace_count), (1, 2));
    assert_eq!(fetched.record_count(), heard.hello.unwrap().next_record);
    let plan = state.plan.unwrap();
    assert_eq!((plan.read_count, plan.skipped_count, plan.running), (2, 1, false));
    let hello = state.hello.unwrap();
    assert_eq!(hello.committed_floor, hello.next_record);

    assert_eq!(stored(path, id), [pins[0], pins[2]]);
    let store = Store::open(path).unwrap();
    let survey = store.find_survey(SURVEY).unwrap().unwrap();
    let found = progress(&store, &survey).unwrap().unwrap();
    assert_eq!((found.read_count, found.skipped, found.left), (2, vec![pins[1]], vec![]));
}

#[test]
fn readings_without_a_plan_come_into_the_inbox_and_are_assigned() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let mut alone = Alone::new(81_151);
    let pins = alone.pins[..2].to_vec();
    let id = begin(path, &pins);
    alone.work_for(1000);
    alone.press_go(200);
    alone.work(|alone| alone.accepted_count == 2);
    alone.work_for(500);
    let calendar = Calendar::starting(CALENDAR_MS);
    let fetched = alone.with_host(|line| {
        let mut store = Store::open(path).unwrap();
        survey::fetch(&mut store, calendar, line, &mut Counter::default()).unwrap().1
    });
    assert_eq!((fetched.unassigned_count, fetched.trace_count, fetched.foreign_count), (2, 2, 0));
    let mut store = Store::open(path).unwrap();
    let inbox = store.inbox().unwrap();
    let given = inbox.iter().map(|found| found.name).zip(pins.iter().copied().map(Some));
    let cause = Cause { made: "2026-01-02T00:00:00Z", reason: "" };
    store.assign(id, &given.collect::<Vec<_>>(), cause).unwrap();
    assert_eq!(stored(path, id), pins);
    assert!(store.trace_of(inbox[0].name).unwrap().is_some());
}

//! A simulated technician who turns pins as the lamp asks, and feeds the emulated lever with what
//! its sensors then read.

use std::collections::HashMap;
use std::thread;
use std::time::{Duration, Instant};

use pinhold_board_qemu::feed::{SAMPLE_COUNT_MAX, ToBoard, write_samples};
use pinhold_lever::{Identity, Lamp, RawMotion, RawSample, Signals};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::Gesture;
use pinhold_sim::piano::{Piano, StringLetter};

use crate::Result;
use crate::emulator::{Emulator, Event};
use crate::recording::{Fed, Recording};

/// Samples in one batch: one frame on the feed.
const BATCH_SAMPLES: usize = SAMPLE_COUNT_MAX;
/// Batches on their way at once; few enough that the feed's socket never fills.
const BATCHES_UNDER_WAY_MAX: u32 = 4;
/// How much faster than life the samples may go, so that the host keeps up.
const SPEED_UP_MAX: u32 = 20;
/// … of a technician in haste with nothing asked of the hand: what would come then but cost?
const SPEED_UP_IDLE: u32 = 2;
/// Samples the lever is on its pin before the hand looks at the lamp, which is late.
const SETTLE_SAMPLES: u32 = 300;
/// Samples the lever stays on its pin after the gesture, before it is lifted.
const LINGER_SAMPLES: u32 = 1500;
/// Samples the technician may fall behind.
const BEHIND_SAMPLES_MAX: f64 = (BATCHES_UNDER_WAY_MAX as usize * BATCH_SAMPLES) as f64;
/// Slip of a single stroke, degrees.
const FLAT_SLIP_DEG: f64 = 0.5;
/// Longest time the emulator may keep the harness waiting.
const STALL_LIMIT: Duration = Duration::from_secs(20);

/// The pin a simulated pin is.
pub fn pin_of(piano: &Piano, index: usize) -> Option<Pin> {
    let found = piano.pins.get(index)?;
    let string = match found.string {
        StringLetter::Left => StringPosition::Left,
        StringLetter::Centre => StringPosition::Centre,
        StringLetter::Right => StringPosition::Right,
        StringLetter::Fourth => StringPosition::Fourth,
    };
    Some(Pin { note: found.note, string })
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Doing {
    /// The lever hangs in the air.
    Waiting,
    /// On the way to a pin, or settling on it for this many samples more.
    Seating(u32),
    /// The gesture runs.
    Turning,
    /// The gesture is done; still on the pin.
    Lingering(u32),
}

/// The technician, the bench, and everything fed so far.
pub struct Technician {
    bench: Workbench,
    index_of: HashMap<Pin, usize>,
    signals: Option<Signals>,
    doing: Doing,
    batches_under_way: u32,
    /// Lifts the lever as soon as the reading is accepted, makes every other gesture a single
    /// stroke, and does not hurry while nothing is asked.
    in_haste: bool,
    /// Samples the wall clock has asked for.
    due_count: f64,
    due_asked: Instant,
    sample_count: u32,
    gesture_count: u32,
    last_heard: Instant,
    recording: Option<Recording>,
}

impl Technician {
    /// A technician about to start, everything recorded.
    pub fn new(bench: Workbench, identity: Identity) -> Technician {
        let recording = Recording { identity, fed: Vec::new(), events: Vec::new() };
        Technician { recording: Some(recording), in_haste: false, ..Technician::hasty(bench) }
    }

    /// A technician about to start, in haste and with no recording kept: for many pins.
    pub fn hasty(bench: Workbench) -> Technician {
        let indices = 0..bench.piano().pins.len();
        let index_of =
            indices.filter_map(|index| Some((pin_of(bench.piano(), index)?, index))).collect();
        Technician {
            bench,
            index_of,
            signals: None,
            doing: Doing::Waiting,
            batches_under_way: 0,
            in_haste: true,
            due_count: 0.0,
            due_asked: Instant::now(),
            sample_count: 0,
            gesture_count: 0,
            last_heard: Instant::now(),
            recording: None,
        }
    }

    /// The bench, for its truth.
    pub fn bench(&self) -> &Workbench {
        &self.bench
    }

    /// Signals as last seen.
    pub fn signals(&self) -> Option<Signals> {
        self.signals
    }

    /// Where it stands, for the person who reads that it went no further.
    pub fn state(&self) -> String {
        let Technician { doing, signals, batches_under_way, sample_count, .. } = self;
        let pin = self.bench.pin_index();
        format!(
            "{doing:?}, on pin {pin:?}, {signals:?}, {batches_under_way} batches under way, \
             {sample_count} samples"
        )
    }

    /// Feeds and watches until `done` says so.
    ///
    /// # Errors
    /// When the limit passes, the emulator stalls or dies, or `done` fails.
    pub fn work(
        &mut self,
        emulator: &mut Emulator,
        limit: Duration,
        mut done: impl FnMut(&Technician) -> Result<bool>,
    ) -> Result<()> {
        let started = Instant::now();
        while !done(self)? {
            if started.elapsed() > limit {
                return Err(format!("not done after {limit:?}; {}", self.state()).into());
            }
            self.turn(emulator)?;
        }
        Ok(())
    }

    /// Feeds what is due and hears one event, or for a moment none.
    ///
    /// # Errors
    /// When the emulator stalls or dies.
    pub fn turn(&mut self, emulator: &mut Emulator) -> Result<Option<Event>> {
        while self.batches_under_way < BATCHES_UNDER_WAY_MAX && self.is_due() {
            if self.batches_under_way == 0 {
                self.last_heard = Instant::now();
            }
            self.feed_batch(emulator)?;
        }
        let event = emulator.next_event()?;
        match &event {
            Some(event) => {
                self.last_heard = Instant::now();
                self.hear(event.clone());
            }
            None if self.batches_under_way > 0 && self.last_heard.elapsed() > STALL_LIMIT => {
                return Err("the board takes no more samples".into());
            }
            None => thread::yield_now(),
        }
        Ok(event)
    }

    /// The board has started anew, and asks for nothing yet.
    pub fn board_started(&mut self) {
        self.batches_under_way = 0;
        self.signals = None;
    }

    /// Feeds no more, hears the board out until it is quiet, and gives the recording.
    ///
    /// # Errors
    /// When the emulator stalls or dies.
    pub fn finish(mut self, emulator: &mut Emulator) -> Result<(Recording, Workbench)> {
        const QUIET: Duration = Duration::from_millis(300);
        let started = Instant::now();
        let mut last_heard = Instant::now();
        while self.batches_under_way > 0 || last_heard.elapsed() < QUIET {
            if let Some(event) = emulator.next_event()? {
                last_heard = Instant::now();
                self.hear(event);
            }
            if started.elapsed() > STALL_LIMIT {
                return Err("the board never fell quiet".into());
            }
        }
        let recording = self.recording.ok_or("nothing was recorded")?;
        Ok((recording, self.bench))
    }

    fn hear(&mut self, event: Event) {
        match event {
            Event::Credit(_) => self.batches_under_way = self.batches_under_way.saturating_sub(1),
            Event::Signals(_, signals) => self.signals = Some(signals),
            Event::Ready | Event::Received(..) | Event::Sent(..) => {}
        }
        if let Some(recording) = self.recording.as_mut() {
            recording.events.push(event);
        }
    }

    fn record(&mut self, fed: Fed) {
        if let Some(recording) = self.recording.as_mut() {
            recording.fed.push(fed);
        }
    }

    fn is_due(&mut self) -> bool {
        let asked = self.signals.is_some_and(|signals| signals.pin.is_some());
        let idle = self.in_haste && !asked && self.doing == Doing::Waiting;
        let rate = pinhold_sim::SAMPLE_RATE_HZ * if idle { SPEED_UP_IDLE } else { SPEED_UP_MAX };
        let now = Instant::now();
        self.due_count += (now - self.due_asked).as_secs_f64() * f64::from(rate);
        self.due_asked = now;
        // What could not be fed in time is not caught up with.
        self.due_count = self.due_count.min(f64::from(self.sample_count) + BEHIND_SAMPLES_MAX);
        f64::from(self.sample_count) < self.due_count
    }

    /// The next gesture of this hand.
    fn gesture(&mut self) -> Gesture {
        self.gesture_count += 1;
        if self.in_haste && self.gesture_count.is_multiple_of(2) {
            Gesture::FlatOnly { slip_deg: FLAT_SLIP_DEG }
        } else {
            Gesture::micro_stroke()
        }
    }

    fn feed_batch(&mut self, emulator: &mut Emulator) -> Result<()> {
        let mut bytes = Vec::new();
        let mut samples = Vec::with_capacity(BATCH_SAMPLES);
        for _ in 0..BATCH_SAMPLES {
            self.act();
            let tick = self.bench.next_sample();
            self.sample_count += 1;
            if let Some(motion) = tick.motion {
                if !samples.is_empty() {
                    write_samples(&samples, |byte| bytes.push(byte));
                    samples.clear();
                }
                let motion = RawMotion {
                    acceleration_milli_g: motion.acceleration_milli_g,
                    temperature_centi_celsius: motion.temperature_centi_celsius,
                };
                ToBoard::Motion(motion).write(|byte| bytes.push(byte));
                self.record(Fed::Motion(motion));
            }
            let sample = RawSample {
                bridge_code: tick.sample.bridge_code,
                rate_count: tick.sample.rate_count,
            };
            samples.push(sample);
            self.record(Fed::Sample(sample));
        }
        write_samples(&samples, |byte| bytes.push(byte));
        ToBoard::EndOfBatch.write(|byte| bytes.push(byte));
        self.batches_under_way += 1;
        emulator.send_bytes(&bytes)
    }

    /// What the hand does next, by the lamp.
    fn act(&mut self) {
        let (lamp, pin) = self.signals.map_or((Lamp::Idle, None), |said| (said.lamp, said.pin));
        let asked = pin.and_then(|pin| self.index_of.get(&pin).copied());
        let at_rest = self.bench.is_idle();
        // In the air at rest the lever cannot know that it is on no pin, and may ask for a move.
        let wants_hand = matches!(lamp, Lamp::Seat | Lamp::Ready | Lamp::Repeat);
        match (self.doing, asked) {
            (Doing::Waiting, Some(index)) if wants_hand && at_rest => {
                self.bench.seat(index);
                self.doing = Doing::Seating(SETTLE_SAMPLES);
            }
            // Asked for another pin, or none: the survey was begun anew.
            (Doing::Seating(_), asked) if at_rest && asked != self.bench.pin_index() => {
                self.bench.lift();
                self.doing = Doing::Waiting;
            }
            (Doing::Seating(samples @ 1..), _) if at_rest => {
                self.doing = Doing::Seating(samples - 1);
            }
            (Doing::Seating(0), Some(_)) if wants_hand && lamp != Lamp::Seat && at_rest => {
                let gesture = self.gesture();
                self.bench.perform(gesture);
                self.doing = Doing::Turning;
            }
            (Doing::Turning, _) if at_rest => self.doing = Doing::Lingering(LINGER_SAMPLES),
            (Doing::Lingering(_), _) if self.in_haste && lamp == Lamp::Accepted => {
                self.bench.lift();
                self.doing = Doing::Waiting;
            }
            (Doing::Lingering(0), _) => {
                self.bench.lift();
                self.doing = Doing::Waiting;
            }
            (Doing::Lingering(samples), _) => self.doing = Doing::Lingering(samples - 1),
            _ => {}
        }
    }
}

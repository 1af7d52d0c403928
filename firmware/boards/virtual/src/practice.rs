//! Core and technician in step with each other, one sample at a time.

use pinhold_lever::calibration::Calibration;
use pinhold_lever::log::{FlashLog, RamLog, RecordLog};
use pinhold_lever::{Identity, Input, Lamp, Lever, RawMotion, RawSample, Signals};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::StoreCalibration;
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::DeviceTime;
use pinhold_sim::bench::{Tick, Workbench};
use pinhold_sim::cell::Hold;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Piano, StringLetter};
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::LeverModel;

use crate::chip::Chip;
use crate::serve::Served;
use crate::thumb::Thumb;

/// Sample period of the simulated board, nanoseconds.
pub const SAMPLE_PERIOD_NS: u32 = 1_000_000;
/// Times the technician repeats a pin the lever will not accept.
const REPEAT_COUNT_MAX: u32 = 5;

/// Samples a technician pauses before repeating a pin; sooner, it would count as part of what went
/// wrong.
const REPEAT_PAUSE_SAMPLE_COUNT: u32 = 1_200;

/// What a practice is made of.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The piano.
    pub piano: Piano,
    /// The lever's errors.
    pub lever: LeverModel,
    /// The technician's hand.
    pub hand: Hand,
    /// Seed of everything random in hand and sensors.
    pub seed: u64,
    /// Device identity.
    pub device: u64,
    /// Log epoch; another one for every power-up, because this board's log is in RAM.
    pub epoch: u32,
}

/// A technician, a lever and a piano.
pub struct Practice<L = RamLog> {
    bench: Workbench,
    lever: Lever<L>,
    identity: Identity,
    /// Works the buttons, where no host runs the survey.
    thumb: Option<Thumb>,
    signals: Signals,
    pin_names: Vec<Pin>,
    sample_count: u64,
    /// Pin the lever is on, and how often it was tried.
    on_pin: Option<(usize, u32)>,
    /// Samples the lever has asked for a repeat while the hand was idle.
    repeat_wait: u32,
    gesture_of: fn(usize, u32) -> Gesture,
    grip: Option<Grip>,
}

/// How somebody holds the lever, and what differs from one seating to the next.
struct Grip {
    hold: Hold,
    random: Random,
}

/// The protocol's name for a simulated string.
fn string_position(letter: StringLetter) -> StringPosition {
    match letter {
        StringLetter::Left => StringPosition::Left,
        StringLetter::Centre => StringPosition::Centre,
        StringLetter::Right => StringPosition::Right,
        StringLetter::Fourth => StringPosition::Fourth,
    }
}

/// The protocol's names for a simulated piano's pins, in the piano's order.
pub fn pin_names(piano: &Piano) -> Vec<Pin> {
    let name = |pin: &pinhold_sim::piano::PianoPin| Pin {
        note: pin.note,
        string: string_position(pin.string),
    };
    piano.pins.iter().map(name).collect()
}

/// The core's form of what the simulated sensors gave.
pub fn inputs_of(tick: &Tick) -> (Option<RawMotion>, RawSample) {
    let motion = tick.motion.map(|motion| RawMotion {
        acceleration_milli_g: motion.acceleration_milli_g,
        temperature_centi_celsius: motion.temperature_centi_celsius,
    });
    let sample =
        RawSample { bridge_code: tick.sample.bridge_code, rate_count: tick.sample.rate_count };
    (motion, sample)
}

/// The piano's place of the pin the lever asks for; of one nobody has assigned the technician
/// knows that it is the one behind the last.
fn wanted(names: &[Pin], pin: Pin, read_count: usize) -> Option<usize> {
    if pin.is_unassigned() {
        return (read_count < names.len()).then_some(read_count);
    }
    names.iter().position(|name| *name == pin)
}

impl Practice {
    /// Everything at rest, the lever held off the pin.
    pub fn new(setup: Setup) -> Practice {
        Practice::with(setup, None, |identity| RamLog::new(identity.device, identity.epoch))
    }
}

/// A practice with buttons instead of a host, and a log in flash that outlives the power.
pub type AlonePractice = Practice<FlashLog<Chip>>;

impl AlonePractice {
    /// Everything at rest, the lever held off the pin; the technician is about to press GO. With a
    /// chip that was used before, the lever finds what it kept. A plan comes as from a host, by
    /// [`Practice::receive`]; without one all pins are read in the piano's order, unassigned.
    pub fn alone(setup: Setup, chip: Chip) -> AlonePractice {
        Practice::with(setup, Some(Thumb::default()), |identity| {
            FlashLog::mount(chip, identity.device, identity.epoch)
        })
    }

    /// Power goes and comes back: whatever the lever did not keep is gone.
    /// The technician lifts the lever and begins again.
    pub fn cut_power(&mut self) {
        let chip = self.lever.log_mut().flash_mut().clone();
        let log = FlashLog::mount(chip, self.identity.device, self.identity.epoch);
        self.lever = Lever::with_log(self.identity, log);
        self.bench.lift();
        self.on_pin = None;
        self.signals = Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false };
        if let Some(thumb) = self.thumb.as_mut() {
            thumb.begin_again();
        }
    }

    /// Lets the technician pass pins over, chosen by their place in the piano.
    #[must_use]
    pub fn passing_over(mut self, passes_over: fn(usize) -> bool) -> AlonePractice {
        if let Some(thumb) = self.thumb.as_mut() {
            thumb.passes_over = passes_over;
        }
        self
    }
}

impl<L: RecordLog> Practice<L> {
    fn with(setup: Setup, thumb: Option<Thumb>, log: impl FnOnce(&Identity) -> L) -> Practice<L> {
        let pin_names = pin_names(&setup.piano);
        let mut bench = Workbench::new(setup.piano, setup.lever, setup.hand, setup.seed);
        bench.hold_off_pin();
        let identity = Identity {
            device: setup.device,
            epoch: setup.epoch,
            sample_period_ns: SAMPLE_PERIOD_NS,
        };
        let lever = Lever::with_log(identity, log(&identity));
        Practice {
            bench,
            lever,
            identity,
            thumb,
            signals: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            pin_names,
            sample_count: 0,
            on_pin: None,
            repeat_wait: 0,
            gesture_of: |_, _| Gesture::micro_stroke(),
            grip: None,
        }
    }

    /// Lets the technician hold the lever so, and the tip sit a little differently at every
    /// seating, as much as the lever's model says.
    #[must_use]
    pub fn held_so(mut self, hold: Hold, seed: u64) -> Practice<L> {
        self.grip = Some(Grip { hold, random: Random::new(seed).fork("grip") });
        self
    }

    /// Puts the lever on a pin.
    fn seat(&mut self, index: usize) {
        if let Some(grip) = self.grip.as_mut() {
            let scatter = self.bench.lever().cell.seating_relative_sd;
            let seating_relative = grip.hold.seating_relative + grip.random.normal(0.0, scatter);
            self.bench.take_hold(Hold { seating_relative, ..grip.hold });
        }
        self.bench.seat(index);
    }

    /// Lets the technician use another gesture, chosen from the pin's place in the piano and the
    /// number of tries before.
    #[must_use]
    pub fn with_gestures(mut self, gesture_of: fn(usize, u32) -> Gesture) -> Practice<L> {
        self.gesture_of = gesture_of;
        self
    }

    /// Stores a calibration as a host would.
    pub fn calibrate(&mut self, sent: &StoreCalibration) -> CommandResult {
        self.lever.keep_calibration(&Calibration {
            number: sent.number,
            zero_code_q8: sent.zero_code_q8,
            span_nm_per_count: sent.span_newton_metres_per_count_f32(),
            weight_moment_nm: sent.weight_moment.newton_metres_f32(),
        })
    }

    /// The lever's clock.
    pub fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.sample_count * u64::from(SAMPLE_PERIOD_NS / 1000))
    }

    /// What the lever shows.
    pub fn signals(&self) -> Signals {
        self.signals
    }

    /// The workplace, for its truth.
    pub fn bench(&self) -> &Workbench {
        &self.bench
    }

    /// Bytes the lever wants to send.
    pub fn pending(&self) -> &[u8] {
        self.lever.pending()
    }

    /// Says that this many were sent.
    pub fn sent(&mut self, byte_count: usize) {
        self.lever.sent(byte_count);
    }

    /// Hands bytes from the host to the lever.
    pub fn receive(&mut self, bytes: &[u8]) {
        self.signals = self.lever.step(self.now(), Input::Received(bytes));
    }

    /// One sample period passes.
    pub fn step(&mut self) {
        self.press();
        self.act();
        let tick = self.bench.next_sample();
        let (motion, sample) = inputs_of(&tick);
        if let Some(motion) = motion {
            self.lever.step(self.now(), Input::Motion(motion));
        }
        self.sample_count += 1;
        self.signals = self.lever.step(self.now(), Input::Sample(sample));
        if let Some(thumb) = self.thumb.as_mut() {
            thumb.watch(&self.signals);
        }
    }

    /// Whether the technician has nothing to do and waits to be told the next pin.
    pub fn is_waiting(&self) -> bool {
        let at_rest = self.signals.pin.is_none() && self.on_pin.is_none() && self.bench.is_idle();
        at_rest && self.thumb.as_ref().is_none_or(Thumb::is_done)
    }

    /// The lever's log, for its truth.
    pub fn log_mut(&mut self) -> &mut L {
        self.lever.log_mut()
    }

    /// The technician works the buttons.
    fn press(&mut self) {
        let Some(thumb) = self.thumb.as_mut() else { return };
        let wanted =
            self.signals.pin.and_then(|pin| wanted(&self.pin_names, pin, thumb.read_count));
        let tries = self.on_pin.map_or(0, |(_, tries)| tries);
        let gives_up = self.signals.lamp == Lamp::Repeat && tries >= REPEAT_COUNT_MAX;
        let free = self.bench.is_idle();
        if let Some(buttons) = thumb.buttons(&self.signals, wanted, free, gives_up) {
            self.signals = self.lever.step(self.now(), Input::Buttons(buttons));
        }
    }

    /// The technician does what the lever asks, as far as a person could tell.
    fn act(&mut self) {
        if !self.bench.is_idle() {
            return;
        }
        let is_busy = self.thumb.as_ref().is_some_and(Thumb::is_busy);
        let read_count = self.thumb.map_or(0, |thumb| thumb.read_count);
        let wanted = self.signals.pin.and_then(|pin| wanted(&self.pin_names, pin, read_count));
        match (wanted, self.on_pin) {
            (None, Some(_)) => {
                self.bench.lift();
                self.on_pin = None;
            }
            (Some(index), None) => {
                self.seat(index);
                self.on_pin = Some((index, 0));
            }
            (Some(index), Some((on, _))) if index != on => {
                self.bench.lift();
                self.on_pin = None;
            }
            (Some(index), Some((_, tries))) => {
                let asked = match self.signals.lamp {
                    Lamp::Ready => tries == 0,
                    Lamp::Repeat => {
                        self.repeat_wait += 1;
                        self.repeat_wait > REPEAT_PAUSE_SAMPLE_COUNT
                    }
                    _ => false,
                };
                if is_busy {
                    // One thing at a time.
                } else if self.bench.pin_index().is_none() {
                    // It slipped off; any person notices that.
                    self.seat(index);
                } else if asked && tries < REPEAT_COUNT_MAX {
                    self.bench.perform((self.gesture_of)(index, tries));
                    self.repeat_wait = 0;
                    self.on_pin = Some((index, tries + 1));
                }
            }
            (None, None) => {}
        }
    }
}

impl<L: RecordLog> Served for Practice<L> {
    fn pending(&self) -> &[u8] {
        Practice::pending(self)
    }

    fn sent(&mut self, byte_count: usize) {
        Practice::sent(self, byte_count);
    }

    fn receive(&mut self, bytes: &[u8]) {
        Practice::receive(self, bytes);
    }

    fn step(&mut self) {
        Practice::step(self);
    }

    fn is_waiting(&self) -> bool {
        Practice::is_waiting(self)
    }
}

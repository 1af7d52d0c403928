//! Reads a day's pins through the lever's core, sample by sample, and watches what was true.
//!
//! The core alone is fed: the host's part is played by its commands, without a link.
//!
//! Deliberately not here: what the host makes of a reading.

use pinhold_lever::Lamp;
use pinhold_lever::calibration::Calibration;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{ChoosePin, FromHost, StartSurvey};
use pinhold_protocol::record::{Outcome, Reading};
use pinhold_protocol::units::Angle;
use pinhold_sim::bench::Workbench;

use super::Direction;
use super::population::{Day, Task};
use crate::SLIP_DEG;
use crate::core_alone::CoreAlone;
use crate::strokes::truth::{Moment, Slip, Watch};

/// Samples after which anything is given up.
const GIVEN_UP_SAMPLE_COUNT: u32 = 40_000;
/// Samples the technician waits for the lever to make up its mind.
const PATIENCE_SAMPLE_COUNT: u32 = 2_500;
/// Samples the technician waits for "ready": a lever not seen to be lifted takes four seconds.
const READY_SAMPLE_COUNT: u32 = 6_000;
/// Samples for a zero: half a second and a little.
const ZERO_SAMPLE_COUNT: u32 = 700;
/// Samples from seeing that a pin must be repeated to beginning.
const NOTICE_SAMPLE_COUNT: u32 = 1_200;
/// Tries at a pin.
const TRY_COUNT_MAX: u32 = 3;
/// A slip with no longer pause than this is one, s.
const PAUSE_S_MAX: f64 = 0.4;
/// Slip and time that a running torque can come from, degrees and s: a little less than the
/// lever asks for.
const RUNNING_FROM: (f64, f64) = (0.25, 0.25);

/// What was true of one reading.
#[derive(Clone, Copy, Debug)]
pub struct Truth {
    /// Friction while it ran, mean of the directions read, N·m.
    pub friction_nm: f64,
    /// String's moment by its speaking length when found, N·m.
    pub moment_nm: f64,
    /// String's moment at target pitch, N·m.
    pub moment_at_pitch_nm: f64,
    /// Largest running torque on the lever, N·m.
    pub torque_nm: f64,
}

/// One pin read.
#[derive(Clone, Debug)]
pub struct Read {
    /// What the lever said.
    pub reading: Reading,
    /// Directions it gave a running torque of.
    pub direction: Direction,
    /// What was true.
    pub truth: Truth,
}

/// A lever's core at the instrument.
pub struct Desk {
    bench: Workbench,
    core: CoreAlone,
    watch: Watch,
    /// Place of the pin whose foot is watched.
    watching: Option<usize>,
}

impl Desk {
    /// The lever with a calibration kept on it, its zero taken off the pin.
    ///
    /// # Panics
    /// If the lever refuses the calibration.
    pub fn new(day: &Day, calibration: Calibration) -> Desk {
        let mut bench = Workbench::new(day.piano.clone(), day.lever, day.hand, day.seed);
        bench.hold_off_pin();
        let mut core = CoreAlone::default();
        let kept = core.lever.keep_calibration(&calibration);
        assert_eq!(kept, CommandResult::Done, "seed {}: {calibration:?}", day.seed);
        let mut desk = Desk { bench, core, watch: Watch::new(PAUSE_S_MAX), watching: None };
        desk.until(GIVEN_UP_SAMPLE_COUNT, |desk| desk.bench.is_idle());
        desk.core.command(FromHost::Zero(()));
        desk.until(ZERO_SAMPLE_COUNT, |_| false);
        let slip = Angle::from_radians(SLIP_DEG.to_radians()).expect("half a degree fits");
        desk.core.command(FromHost::StartSurvey(StartSurvey {
            survey: 1,
            slip,
            stream_samples: false,
        }));
        desk
    }

    /// Reads the pin of a task, which is the piano's `index`-th; `None` when no reading with a
    /// running torque came of it.
    pub fn read(&mut self, index: usize, task: &Task) -> Option<Read> {
        self.core.arrived = None;
        // Chosen before the lever leaves the last pin, as a host does: the lever waits for that.
        self.core.command(FromHost::ChoosePin(ChoosePin { pin: task.pin, unstrung: false }));
        self.bench.lift();
        self.until(GIVEN_UP_SAMPLE_COUNT, |desk| desk.bench.is_idle());
        self.bench.wait(task.wait_s);
        self.bench.face(task.posture);
        self.bench.take_hold(task.hold);
        self.bench.seat(index);
        self.until(GIVEN_UP_SAMPLE_COUNT, |desk| desk.bench.is_idle());
        let ready = |desk: &Desk| matches!(desk.core.signals.lamp, Lamp::Ready | Lamp::Repeat);
        self.until(READY_SAMPLE_COUNT, ready);
        let mut read = None;
        for _ in 0..TRY_COUNT_MAX {
            read = self.try_once(index, task);
            if read.is_some() || self.bench.pin_index().is_none() {
                break;
            }
            self.until(NOTICE_SAMPLE_COUNT, |_| false);
        }
        read
    }

    fn try_once(&mut self, index: usize, task: &Task) -> Option<Read> {
        self.watch = Watch::new(PAUSE_S_MAX);
        self.core.arrived = None;
        let before = self.bench.truth(index);
        self.bench.perform(task.gesture);
        self.watching = Some(index);
        self.until(GIVEN_UP_SAMPLE_COUNT, |desk| desk.bench.is_idle());
        self.until(PATIENCE_SAMPLE_COUNT, |desk| {
            desk.core.arrived.is_some() || desk.core.signals.lamp == Lamp::Repeat
        });
        self.watching = None;
        self.watch.close();
        let reading = self.core.arrived.take()?;
        self.core.commit();
        let direction = match reading.outcome {
            Outcome::Measured => Direction::TwoWay,
            Outcome::FlatOnly => Direction::FlatOnly,
            Outcome::SharpOnly => Direction::SharpOnly,
            _ => return None,
        };
        let (friction_nm, torque_nm) = truth_of(&self.watch.slips, direction)?;
        Some(Read {
            reading,
            direction,
            truth: Truth {
                friction_nm,
                moment_nm: before.moment_nm,
                moment_at_pitch_nm: before.moment_at_pitch_nm,
                torque_nm,
            },
        })
    }

    /// One sample period.
    fn step(&mut self) {
        let tick = self.bench.next_sample();
        if let Some(index) = self.watching {
            self.watch.push(&Moment {
                foot_deg: self.bench.foot_deg(index),
                hand_deg_s: self.bench.hand_speed_deg_s(),
                torque_nm: self.bench.pin_torque_nm(),
                moment_nm: self.bench.pin_moment_nm(index),
            });
        }
        self.core.feed(&tick);
    }

    fn until(&mut self, sample_count_max: u32, done: impl Fn(&Desk) -> bool) {
        for _ in 0..sample_count_max {
            if done(self) {
                return;
            }
            self.step();
        }
    }
}

/// Friction and largest torque of the slips that running torques came from: what the pin took
/// less what the string did, both at the pin, so that the bearing is not in it.
fn truth_of(slips: &[Slip], direction: Direction) -> Option<(f64, f64)> {
    let source = |sharp: bool| {
        let long = |slip: &&Slip| {
            slip.sharp == sharp
                && slip.turned_deg >= RUNNING_FROM.0
                && slip.lasted_s >= RUNNING_FROM.1
        };
        slips.iter().find(long)
    };
    let of = |slip: &Slip| {
        let string_nm = if slip.sharp { -slip.moment_nm } else { slip.moment_nm };
        (slip.running_nm + string_nm, slip.running_nm.abs())
    };
    match direction {
        Direction::FlatOnly => source(false).map(of),
        Direction::SharpOnly => source(true).map(of),
        Direction::TwoWay => {
            let (flat, sharp) = (of(source(false)?), of(source(true)?));
            Some(((flat.0 + sharp.0) / 2.0, flat.1.max(sharp.1)))
        }
    }
}

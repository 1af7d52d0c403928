//! Carries out one attempt: hand, pin, sensors and the lever's core, sample by sample.
//!
//! The host's part is played by its commands alone. What the technician does after the gesture
//! is what anyone would: when nothing was accepted, seat the lever if need be and do it properly.

use pinhold_lever::Lamp;
use pinhold_protocol::message::{ChoosePin, FromHost, StartSurvey};
use pinhold_protocol::record::{Pin, Reading, StringPosition};
use pinhold_protocol::units::Angle;
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::Gesture;

use super::attempt::Attempt;
use super::truth::{Moment, Slip, Watch};
use crate::core_alone::CoreAlone;

/// Slip the lever is told to expect, degrees.
pub const SLIP_ASKED_DEG: f64 = 0.5;
/// Samples the technician waits for the lever to make up its mind.
const PATIENCE_SAMPLE_COUNT: u32 = 2_500;
/// Samples after which anything is given up.
const GIVEN_UP_SAMPLE_COUNT: u32 = 40_000;
/// Samples from seeing that a pin must be repeated to beginning: the lever asks for a pause.
const NOTICE_SAMPLE_COUNT: u32 = 1_200;
/// A slip with no longer pause than this is one beyond doubt, s.
const PAUSE_S_MAX: f64 = 0.1;
/// A slip with a longer pause than this is two beyond doubt, s.
const STICK_S_MAX: f64 = 0.4;
/// Proper tries after the gesture.
const TRY_COUNT_MAX: u32 = 3;

/// What came of one part of an attempt.
#[derive(Clone, Debug, Default)]
pub struct Part {
    /// The reading accepted, if one was.
    pub reading: Option<Reading>,
    /// Slips of the foot, each without a pause.
    pub slips: Vec<Slip>,
    /// The same, across pauses that a pin which sticks and slips may make.
    pub joined: Vec<Slip>,
    /// String moment at the pin when the part began, N·m.
    pub moment_before_nm: f64,
    /// "Repeat please" was shown.
    pub repeat_shown: bool,
    /// Torque on the pin when the tip came off the head, N·m.
    pub off_at_nm: Option<f64>,
    /// Largest torque on the pin, N·m.
    pub peak_nm: f64,
    /// The lever showed "too far".
    pub too_far_shown: bool,
    /// The lever showed "hard" or "stop".
    pub hard_shown: bool,
}

/// What came of an attempt.
#[derive(Clone, Debug, Default)]
pub struct Story {
    /// How far the foot turned while the lever was being seated, degrees.
    pub seating_deg: f64,
    /// Torque under which it then turned, N·m.
    pub seating_nm: f64,
    /// The lever was never ready for a stroke.
    pub never_ready: bool,
    /// The gesture.
    pub gesture: Part,
    /// Proper tries after it, when it gave no reading.
    pub tries: Vec<Part>,
    /// Simulated samples.
    pub sample_count: u64,
}

struct Shop {
    bench: Workbench,
    core: CoreAlone,
    watch: Watch,
    joined: Watch,
    off_at_nm: Option<f64>,
    peak_nm: f64,
    shown: [bool; 3],
}

impl Shop {
    fn new(attempt: &Attempt) -> Shop {
        let (piano, lever, hand) = (attempt.piano.clone(), attempt.lever, attempt.hand);
        let mut bench = Workbench::new(piano, lever, hand, attempt.noise_seed);
        bench.hold_off_pin();
        Shop {
            bench,
            core: CoreAlone::default(),
            watch: Watch::new(PAUSE_S_MAX),
            joined: Watch::new(STICK_S_MAX),
            off_at_nm: None,
            peak_nm: 0.0,
            shown: [false; 3],
        }
    }

    /// One sample period.
    fn step(&mut self) {
        let was_on = self.bench.pin_index().is_some();
        let tick = self.bench.next_sample();
        let torque_nm = self.bench.pin_torque_nm();
        if was_on && self.bench.pin_index().is_none() {
            self.off_at_nm = Some(torque_nm);
        }
        if was_on {
            self.peak_nm = self.peak_nm.max(torque_nm.abs());
        }
        let moment = Moment {
            foot_deg: self.bench.foot_deg(0),
            hand_deg_s: self.bench.hand_speed_deg_s(),
            torque_nm,
            moment_nm: self.bench.pin_moment_nm(0),
        };
        self.watch.push(&moment);
        self.joined.push(&moment);
        self.core.feed(&tick);
        for (shown, lamps) in self.shown.iter_mut().zip([
            &[Lamp::Repeat][..],
            &[Lamp::TooFar],
            &[Lamp::Hard, Lamp::Stop],
        ]) {
            *shown |= lamps.contains(&self.core.signals.lamp);
        }
    }

    /// Steps until `done` says so; whether it did before `sample_count_max`.
    fn until(&mut self, sample_count_max: u32, done: impl Fn(&Shop) -> bool) -> bool {
        for _ in 0..sample_count_max {
            if done(self) {
                return true;
            }
            self.step();
        }
        done(self)
    }

    fn zero_and_choose(&mut self, unstrung: bool) {
        self.until(GIVEN_UP_SAMPLE_COUNT, |shop| shop.bench.is_idle());
        self.core.command(FromHost::Zero(()));
        self.until(700, |_| false);
        let slip = Angle::from_radians(SLIP_ASKED_DEG.to_radians()).expect("half a degree fits");
        let start = StartSurvey { survey: 1, slip, stream_samples: false };
        self.core.command(FromHost::StartSurvey(start));
        let pin = Pin { note: 40, string: StringPosition::Centre };
        self.core.command(FromHost::ChoosePin(ChoosePin { pin, unstrung }));
    }

    /// Seats the lever; whether it then asked for a stroke.
    fn seat(&mut self) -> bool {
        self.bench.seat(0);
        self.until(GIVEN_UP_SAMPLE_COUNT, |shop| shop.bench.is_idle());
        self.until(PATIENCE_SAMPLE_COUNT, |shop| {
            matches!(shop.core.signals.lamp, Lamp::Ready | Lamp::Repeat)
        })
    }

    /// One gesture and what the lever makes of it.
    fn part(&mut self, gesture: Gesture) -> Part {
        self.watch.close();
        self.joined.close();
        self.watch.slips.clear();
        self.joined.slips.clear();
        self.off_at_nm = None;
        self.peak_nm = 0.0;
        self.shown = [false; 3];
        let moment_before_nm = self.bench.pin_moment_nm(0);
        self.bench.perform(gesture);
        self.until(GIVEN_UP_SAMPLE_COUNT, |shop| shop.bench.is_idle());
        // A person waits until the lever has said what it will say.
        self.until(PATIENCE_SAMPLE_COUNT, |shop| {
            shop.core.arrived.is_some() || shop.core.signals.lamp == Lamp::Repeat
        });
        if self.core.arrived.is_none() {
            self.until(NOTICE_SAMPLE_COUNT, |shop| shop.core.arrived.is_some());
        }
        self.watch.close();
        self.joined.close();
        let [repeat_shown, too_far_shown, hard_shown] = self.shown;
        Part {
            reading: self.core.arrived.take(),
            slips: self.watch.slips.clone(),
            joined: self.joined.slips.clone(),
            moment_before_nm,
            repeat_shown,
            off_at_nm: self.off_at_nm,
            peak_nm: self.peak_nm,
            too_far_shown,
            hard_shown,
        }
    }
}

/// Carries out an attempt.
pub fn perform(attempt: &Attempt) -> Story {
    let mut shop = Shop::new(attempt);
    shop.zero_and_choose(attempt.piano_pin().unstrung);
    let mut story = Story { never_ready: !shop.seat(), ..Story::default() };
    story.seating_deg = shop.bench.foot_deg(0).abs();
    shop.watch.close();
    let turned = shop.watch.slips.iter().max_by(|a, b| a.turned_deg.total_cmp(&b.turned_deg));
    story.seating_nm = turned.map_or(0.0, |slip| slip.running_nm.abs());
    if !story.never_ready {
        story.gesture = shop.part(attempt.gesture);
    }
    while story.gesture.reading.is_none()
        && story.tries.last().is_none_or(|part| part.reading.is_none())
        && (story.tries.len() as u32) < TRY_COUNT_MAX
    {
        if shop.bench.pin_index().is_none() {
            shop.seat();
            shop.until(NOTICE_SAMPLE_COUNT, |_| false);
        }
        story.tries.push(shop.part(Gesture::micro_stroke()));
    }
    story.sample_count = shop.core.sample_count;
    story
}

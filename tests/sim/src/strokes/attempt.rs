//! Draws attempts: pin, instrument, lever, hand and gesture, all from one seed.
//!
//! Frequencies are chosen so that every kind comes up often enough to be judged, not to look like
//! a day's work. All instruments are invented.

use pinhold_sim::friction::{Grip, GripParameters, Turn};
use pinhold_sim::hand::{Gesture, Hand, Spoil};
use pinhold_sim::piano::{Fault, Kind, Piano, PianoPin, Plan, Severity};
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::{LeverModel, Posture};

/// What sort of pin it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PinKind {
    /// Dry, breaks a little above running.
    Plain,
    /// Runs flat while the hand holds it back.
    Driven,
    /// Turns under the push of seating the lever.
    SeatMover,
    /// Breaks away well above running, every time.
    Jumpy,
    /// One high first break.
    Glued,
    /// Oily: yields early and drags.
    Spongy,
    /// Not moved by 25 N·m.
    DeadTight,
    /// Its string is slack.
    Slack,
    /// It has no string, and the operator says so.
    Unstrung,
}

/// What the hand sets out to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Intention {
    /// A micro-stroke.
    Good,
    /// A micro-stroke without the closing set.
    NoSet,
    /// One stroke several times too long.
    TooFar,
    /// The lever slips off.
    SlipOff,
    /// A jerk.
    Jerk,
    /// A half stroke, or half of the strokes.
    Half,
    /// A slip too short or too quick.
    TooShort,
}

/// One attempt.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// Seed it was drawn from.
    pub seed: u64,
    /// Which of the seed's attempts it is.
    pub number: usize,
    /// Seed of everything random in hand and sensors.
    pub noise_seed: u64,
    /// Sort of pin.
    pub pin: PinKind,
    /// Intention.
    pub intention: Intention,
    /// The gesture.
    pub gesture: Gesture,
    /// A piano of this one pin.
    pub piano: Piano,
    /// The lever.
    pub lever: LeverModel,
    /// The hand.
    pub hand: Hand,
    /// An upright's.
    pub is_upright: bool,
}

impl Attempt {
    /// One of the attempts of a seed.
    pub fn drawn(seed: u64, number: usize) -> Attempt {
        let root = Random::new(seed).fork_index("attempt", number);
        let mut random = root.fork("kinds");
        let kind = draw_kind(&mut random);
        let pin = draw_pin_kind(kind, &mut random);
        let gesture = draw_gesture(kind, &mut root.fork("gesture"));
        let (mut piano, lever, is_upright) = draw_place(&mut root.fork("place"));
        let mut hand = Hand::drawn(&mut root.fork("hand"));
        let mut random = root.fork("pin");
        let place = random.whole(0, piano.pins.len() - 1);
        let mut one = piano.pins.swap_remove(place);
        make(pin, &mut one, &mut hand, &mut random);
        piano.pins = vec![one];
        let noise_seed = root.fork("noise").bits();
        Attempt {
            seed,
            number,
            noise_seed,
            pin,
            intention: kind,
            gesture,
            piano,
            lever,
            hand,
            is_upright,
        }
    }

    /// The pin.
    pub fn piano_pin(&self) -> &PianoPin {
        &self.piano.pins[0]
    }
}

fn draw_kind(random: &mut Random) -> Intention {
    match random.unit() {
        u if u < 0.42 => Intention::Good,
        u if u < 0.45 => Intention::NoSet,
        u if u < 0.49 => Intention::TooFar,
        u if u < 0.62 => Intention::SlipOff,
        u if u < 0.75 => Intention::Jerk,
        u if u < 0.87 => Intention::Half,
        _ => Intention::TooShort,
    }
}

fn draw_pin_kind(kind: Intention, random: &mut Random) -> PinKind {
    let odd = match kind {
        Intention::Good => 0.5,
        _ => 0.25,
    };
    if !random.chance(odd) {
        return PinKind::Plain;
    }
    let kinds = [
        (PinKind::Driven, 3),
        (PinKind::SeatMover, 3),
        (PinKind::Jumpy, 1),
        (PinKind::Glued, 1),
        (PinKind::Spongy, 1),
        (PinKind::DeadTight, 1),
        (PinKind::Slack, 1),
        (PinKind::Unstrung, 1),
    ];
    let mut draw = random.whole(1, kinds.iter().map(|(_, weight)| weight).sum());
    for (kind, weight) in kinds {
        if draw <= weight {
            return kind;
        }
        draw -= weight;
    }
    PinKind::Plain
}

fn draw_gesture(kind: Intention, random: &mut Random) -> Gesture {
    let stroke = random.whole(0, 2);
    let goes_on = random.chance(0.5);
    let spoiled = |stroke, spoil, goes_on| Gesture::Spoiled { stroke, spoil, goes_on };
    match kind {
        Intention::Good => Gesture::micro_stroke(),
        // The set that never comes: a half stroke of nothing.
        Intention::NoSet => spoiled(2, Spoil::Half { share: 0.0 }, false),
        Intention::TooFar => {
            Gesture::MicroStroke { slip_deg: random.uniform(1.3, 3.0), set_deg: 0.12 }
        }
        Intention::SlipOff => {
            let spoil = match random.whole(0, 2) {
                0 => Spoil::OffLoading { share: random.uniform(0.15, 1.0) },
                1 => Spoil::OffSlipping { slip_deg: random.uniform(0.0, 0.5) },
                _ => Spoil::OffEasing { share: random.uniform(0.1, 1.0) },
            };
            spoiled(stroke, spoil, false)
        }
        Intention::Jerk => {
            // Evenly by ratio: most jerks are no extreme ones.
            let speed_deg_s = 8.0 * power(60.0 / 8.0, random.unit());
            let spoil = if random.chance(0.7) {
                Spoil::Jerk {
                    slip_deg: random.uniform(0.0, 0.45),
                    speed_deg_s,
                    for_s: random.uniform(0.04, 0.15),
                }
            } else {
                Spoil::Yank { speed_deg_s }
            };
            spoiled(stroke, spoil, goes_on)
        }
        Intention::Half => {
            // Half a stroke, or the sharp half of the strokes left out.
            let share = if random.chance(0.3) { 0.0 } else { random.uniform(0.1, 0.9) };
            spoiled(random.whole(0, 1), Spoil::Half { share }, goes_on)
        }
        Intention::TooShort => {
            let spoil = if random.chance(0.6) {
                Spoil::Short { after_s: random.uniform(0.0, 0.2) }
            } else {
                Spoil::Hasty { speed_deg_s: random.uniform(1.5, 6.0) }
            };
            spoiled(random.whole(0, 1), spoil, goes_on)
        }
    }
}

fn power(base: f64, exponent: f64) -> f64 {
    base.powf(exponent)
}

/// Instrument and lever: grand or upright, any clock position of the handle.
fn draw_place(random: &mut Random) -> (Piano, LeverModel, bool) {
    let seed = random.bits();
    let is_upright = random.chance(0.5);
    let plan = match (is_upright, random.whole(0, 1)) {
        (false, _) => Plan::grand_88(seed),
        (true, 0) => Plan::upright_88(seed),
        (true, _) => Plan::upright_85(seed),
    };
    let fault = [Fault::None, Fault::FlatPitch, Fault::Dry, Fault::TightNew][random.whole(0, 3)];
    let piano = Piano::invent_with(plan, seed, fault, Severity::Plain);
    let posture = if piano.plan.kind == Kind::Upright {
        Posture::Upright { clock_hours: random.uniform(0.0, 12.0) }
    } else {
        let mut tilt = || random.uniform(-0.05, 0.05);
        Posture::Grand { tilt_x_rad: tilt(), tilt_y_rad: tilt() }
    };
    let mut lever = LeverModel::drawn(seed, posture);
    lever.tip_play_rad = random.uniform(0.02, 0.25).to_radians();
    lever.rate_drift_deg_s = random.uniform(0.005, 0.04);
    lever.rate_noise_deg_s = random.uniform(0.04, 0.12);
    lever.bridge_noise_counts = random.uniform(20.0, 120.0);
    (piano, lever, is_upright)
}

/// Makes the pin of the kind wanted.
fn make(kind: PinKind, pin: &mut PianoPin, hand: &mut Hand, random: &mut Random) {
    let low = 2.0_f64;
    let friction_nm = low * power(20.0 / low, random.unit());
    pin.diameter_um = random.whole(6_800, 7_900) as u32;
    pin.taper = random.uniform(-0.2, 0.7);
    pin.drag_nm = if random.chance(0.3) { random.uniform(0.0, 0.4) } else { 0.0 };
    pin.grip.first_break_ratio = random.uniform(1.01, 1.18);
    pin.grip.repeat_break_ratio = 1.0 + 0.4 * (pin.grip.first_break_ratio - 1.0);
    pin.grip.weakening_rad = random.uniform(0.03, 0.12).to_radians();
    let held = random.uniform(0.75, 0.95);
    pin.set_friction(friction_nm, held);
    match kind {
        PinKind::Plain => {}
        PinKind::Driven => {
            // An old grip just holds the string; once moving it does not.
            pin.grip.first_break_ratio = random.uniform(1.25, 1.6);
            pin.grip.repeat_break_ratio = 1.05;
            let held = random.uniform(0.93, 0.98);
            pin.set_friction(random.uniform(1.2, 3.0), held);
        }
        PinKind::SeatMover => {
            // Pushed hard enough to turn on seating, most of all flat.
            let held = random.uniform(0.4, 0.85);
            pin.set_friction(random.uniform(2.5, 7.0), held);
            hand.seating_bump_nm = random.uniform(6.0, 14.0);
        }
        PinKind::Jumpy => {
            pin.grip = GripParameters::jumpy(random.uniform(1.3, 1.8));
            pin.set_friction(random.uniform(4.0, 13.0), held);
        }
        PinKind::Glued => {
            pin.grip.first_break_ratio = random.uniform(1.45, 2.2);
            pin.set_friction(random.uniform(3.0, 10.0), held);
        }
        PinKind::Spongy => {
            pin.grip = GripParameters::spongy();
            pin.set_friction(random.uniform(2.0, 8.0), held);
        }
        PinKind::DeadTight => {
            pin.friction_nm = random.uniform(26.0, 40.0);
            let spare_nm = pin.friction_nm * Grip::aged(pin.grip).level(Turn::Flat) - 26.5;
            pin.moment_nm = pin.moment_at_pitch_nm.min(spare_nm);
        }
        PinKind::Slack => {
            pin.set_friction(random.uniform(4.0, 15.0), held);
            pin.slacken();
        }
        PinKind::Unstrung => {
            pin.set_friction(random.uniform(3.0, 15.0), held);
            pin.unstring();
        }
    }
}

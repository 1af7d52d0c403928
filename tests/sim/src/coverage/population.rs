//! Draws a lever's day: bench, instrument, ten pins and how each is read.
//!
//! Strings, pins and bearings are drawn from the ranges that the host's classes state (graded
//! there and here), so that coverage is asked where it was claimed. Levers are drawn as they are
//! built ([`LeverSpec::uncalibrated`]), which the host's classes know nothing of.
//!
//! Deliberately not here: the core, the host's evaluation, and truth.

use pinhold::instrument::layout::modern_88;
use pinhold::instrument::{Instrument, InstrumentKind};
use pinhold_protocol::record::Pin;
use pinhold_sim::NEWTON_PER_LBF;
use pinhold_sim::cell::Hold;
use pinhold_sim::friction::GripParameters;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::scale::frequency_hz;
use pinhold_sim::piano::{Fault, Piano, PianoPin, Plan, Severity};
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::{LeverModel, LeverSpec, Posture};
use pinhold_sim::wire::{coil_stiffness_nm_per_rad, moment_nm};

use super::{Direction, StringKind};

/// Readings of one lever.
pub const READING_COUNT: usize = 10;

const METRES_PER_INCH: f64 = 0.0254;
/// How much people differ in what of the torque they bring to the pin, relative standard
/// deviation: some groups are more alike than others, about the 1 % of the host's class.
const PERSON_RELATIVE_SD: (f64, f64) = (0.004, 0.016);
/// People that use a lever, the same that read pins on its bench.
pub const PERSON_COUNT: usize = 2;
/// Largest slant of the hand's force along the pin, share of what turns it (assumed).
const AXIAL_SHARE_MAX: f64 = 0.2;
/// Averages of whole instruments, 150 to 187 lbf (PRAC), as half width over the middle.
const BETWEEN_INSTRUMENTS: f64 = 37.0 / (2.0 * 168.5);
/// Wire against the usual one of its register, either way: two and a half gauges (DER).
const WIRE_HALF_WIDTH_M: f64 = 0.005 * METRES_PER_INCH;
/// Sizes 1/0 to 4/0, m (ONE to MEM).
const PIN_SIZES_M: (f64, f64) = (0.276 * METRES_PER_INCH, 0.291 * METRES_PER_INCH);
/// Scatter of pins of one label, m: .001 to .005 in (ONE), as the host states it.
const PIN_SCATTER_M: f64 = 0.000_045;
/// Pitch as found, cents either way, where nobody wrote it down (DER).
const CENTS_HALF_WIDTH: f64 = 30.0;
/// Bearing friction, share of the tension (ONE).
const BEARING_FRICTION: (f64, f64) = (0.03, 0.13);
/// Segment behind the bearing, N·m per degree of coil, 0.3 to 0.8 (DER).
const SEGMENT_NM_PER_DEG: (f64, f64) = (0.3, 0.8);
/// Speaking lengths of wound strings, m (MEM).
const WOUND_SPEAKING_M: (f64, f64) = (0.95, 1.35);
/// Density of steel wire, kg/m³.
const STEEL_DENSITY_KG_M3: f64 = 7850.0;

/// One pin to read and how.
#[derive(Clone, Debug)]
pub struct Task {
    /// Its name in the instrument.
    pub pin: Pin,
    /// Kind of string.
    pub kind: StringKind,
    /// Directions taken.
    pub direction: Direction,
    /// What the hand does.
    pub gesture: Gesture,
    /// How the hand holds the lever.
    pub hold: Hold,
    /// How the handle points.
    pub posture: Posture,
    /// Time before it, s.
    pub wait_s: f64,
}

/// A lever's day.
#[derive(Clone, Debug)]
pub struct Day {
    /// Everything is drawn from it.
    pub seed: u64,
    /// The lever on its bench.
    pub bench_lever: LeverModel,
    /// The same lever at the instrument: another room, another day.
    pub lever: LeverModel,
    /// Each person's way, relative.
    pub people: [f64; PERSON_COUNT],
    /// The hand.
    pub hand: Hand,
    /// As the host knows the instrument.
    pub instrument: Instrument,
    /// As it is: one pin per task, in order.
    pub piano: Piano,
    /// What is read.
    pub tasks: Vec<Task>,
}

impl Day {
    /// The day of a seed.
    pub fn drawn(seed: u64) -> Day {
        let root = Random::new(seed).fork("coverage");
        let mut random = root.fork("day");
        let is_upright = random.chance(0.5);
        let kind = if is_upright { InstrumentKind::Upright } else { InstrumentKind::Grand };
        let lever_seed = root.fork("lever").bits();
        let mut bench_lever =
            LeverModel::drawn_within(lever_seed, Posture::upright(), &LeverSpec::uncalibrated());
        // The bench's room keeps its temperature, and nobody warms the lever.
        bench_lever.hand_warming_k = 0.0;
        let mut lever = bench_lever;
        // Within five kelvin of the bench (the class of "out of temperature", DER).
        lever.temperature_c += random.uniform(-5.0, 5.0);
        lever.hand_warming_k = random.uniform(0.0, 3.0);
        lever.posture = posture(is_upright, &mut random);
        let person_sd = random.uniform(PERSON_RELATIVE_SD.0, PERSON_RELATIVE_SD.1);
        let people = [(); PERSON_COUNT].map(|()| person_sd * random.standard_normal());
        let house = House::drawn(&mut root.fork("house"));
        let mut instrument = modern_88("coverage", kind);
        for pin in &mut instrument.pins {
            pin.diameter_um = house.labelled.then_some((house.pin_m * 1e6).round() as u32);
        }
        let mut piano =
            Piano::invent_with(Plan::grand_88(seed), seed, Fault::None, Severity::Plain);
        let template = piano.pins.swap_remove(0);
        piano.pins.clear();
        let mut tasks = Vec::new();
        for index in 0..READING_COUNT {
            let mut random = root.fork_index("reading", index);
            let (pin, string) = choose(&instrument, &mut random);
            piano.pins.push(house.pin(&template, pin, string, &mut random));
            tasks.push(task(pin, string, is_upright, &lever, &people, &mut random));
        }
        let hand = Hand::drawn(&mut root.fork("hand"));
        Day { seed, bench_lever, lever, people, hand, instrument, piano, tasks }
    }
}

fn posture(is_upright: bool, random: &mut Random) -> Posture {
    if is_upright {
        return Posture::Upright { clock_hours: random.uniform(0.0, 12.0) };
    }
    let mut tilt = || random.uniform(-0.05, 0.05);
    Posture::Grand { tilt_x_rad: tilt(), tilt_y_rad: tilt() }
}

/// A pin of some kind of string: each kind about as often.
fn choose(instrument: &Instrument, random: &mut Random) -> (Pin, StringKind) {
    let kinds = [StringKind::Plain, StringKind::Bichord, StringKind::Monochord];
    let kind = kinds[random.whole(0, kinds.len() - 1)];
    let count = kind.string_count();
    let of_kind = |pin: &Pin| instrument.string_count(pin.note) == count;
    let pins: Vec<Pin> = instrument.pins.iter().map(|field| field.pin).filter(of_kind).collect();
    (pins[random.whole(0, pins.len() - 1)], kind)
}

fn task(
    pin: Pin,
    kind: StringKind,
    is_upright: bool,
    lever: &LeverModel,
    people: &[f64; PERSON_COUNT],
    random: &mut Random,
) -> Task {
    let (direction, gesture) = match random.whole(0, 3) {
        0 => (Direction::FlatOnly, Gesture::FlatOnly { slip_deg: 0.5 }),
        1 => (Direction::SharpOnly, Gesture::SharpOnly { slip_deg: 0.5 }),
        _ => (Direction::TwoWay, Gesture::micro_stroke()),
    };
    let person = people[random.whole(0, PERSON_COUNT - 1)];
    let seating = lever.cell.seating_relative_sd * random.standard_normal();
    let hold = Hold {
        // Between the places that were calibrated.
        arm_m: random.uniform(0.25, 0.30),
        axial_share: random.uniform(-AXIAL_SHARE_MAX, AXIAL_SHARE_MAX),
        seating_relative: person + seating,
    };
    let posture = posture(is_upright, random);
    Task { pin, kind, direction, gesture, hold, posture, wait_s: random.uniform(20.0, 90.0) }
}

/// What one instrument's strings and pins share.
#[derive(Clone, Copy, Debug)]
struct House {
    tension: f64,
    pin_m: f64,
    labelled: bool,
    wire_m: f64,
}

impl House {
    fn drawn(random: &mut Random) -> House {
        House {
            tension: random.uniform(1.0 - BETWEEN_INSTRUMENTS, 1.0 + BETWEEN_INSTRUMENTS),
            pin_m: random.uniform(PIN_SIZES_M.0, PIN_SIZES_M.1),
            labelled: random.chance(0.5),
            wire_m: random.uniform(-WIRE_HALF_WIDTH_M, WIRE_HALF_WIDTH_M),
        }
    }

    fn pin(
        &self,
        template: &PianoPin,
        name: Pin,
        kind: StringKind,
        random: &mut Random,
    ) -> PianoPin {
        let register = register(name.note, kind);
        let tension_lbf = random.uniform(
            register.middle_lbf - register.half_width_lbf,
            register.middle_lbf + register.half_width_lbf,
        );
        let tension_n = self.tension * tension_lbf * NEWTON_PER_LBF;
        let wire_diameter_m = register.wire_inch * METRES_PER_INCH + self.wire_m;
        let pin_m = random.normal(self.pin_m, PIN_SCATTER_M);
        let moment_at_pitch_nm = moment_nm(tension_n, pin_m, wire_diameter_m);
        let cents = random.uniform(-CENTS_HALF_WIDTH, CENTS_HALF_WIDTH);
        let moment_now_nm = moment_at_pitch_nm * libm::exp2(cents / 600.0);
        let speaking_m = speaking_m(name.note, kind, tension_n, wire_diameter_m, random);
        let first_break_ratio = random.uniform(1.03, 1.10);
        PianoPin {
            note: name.note,
            diameter_um: (pin_m * 1e6).round() as u32,
            wire_diameter_m,
            friction_nm: friction_nm(moment_now_nm, random),
            drag_nm: 0.0,
            grip: GripParameters {
                first_break_ratio,
                repeat_break_ratio: 1.01 + 0.3 * (first_break_ratio - 1.03),
                ..GripParameters::default()
            },
            taper: random.uniform(-0.2, 0.4),
            tension_n,
            moment_nm: moment_now_nm,
            moment_at_pitch_nm,
            segment_stiffness_nm_per_deg: random
                .uniform(SEGMENT_NM_PER_DEG.0, SEGMENT_NM_PER_DEG.1),
            speaking_stiffness_nm_per_deg: coil_stiffness_nm_per_rad(
                wire_diameter_m,
                pin_m,
                speaking_m,
            )
            .to_radians(),
            bearing_friction: random.uniform(BEARING_FRICTION.0, BEARING_FRICTION.1),
            bearing_state: random.uniform(-1.0, 1.0),
            ..template.clone()
        }
    }
}

/// Friction that holds the string and keeps both torques between 0 and 25 N·m, evenly by ratio.
fn friction_nm(moment_nm: f64, random: &mut Random) -> f64 {
    let low_nm = (1.15 * moment_nm).max(3.0);
    let high_nm = (24.5 - 1.1 * moment_nm) / 1.12;
    low_nm * libm::pow(high_nm / low_nm, random.unit())
}

/// Speaking length, m: plain wire by its pitch.
fn speaking_m(
    note: u8,
    kind: StringKind,
    tension_n: f64,
    wire_diameter_m: f64,
    random: &mut Random,
) -> f64 {
    if kind != StringKind::Plain {
        return random.uniform(WOUND_SPEAKING_M.0, WOUND_SPEAKING_M.1);
    }
    let area_m2 = core::f64::consts::PI * wire_diameter_m * wire_diameter_m / 4.0;
    let wave_m_s = (tension_n / (STEEL_DENSITY_KG_M3 * area_m2)).sqrt();
    wave_m_s / (2.0 * frequency_hz(note))
}

/// A register's strings.
#[derive(Clone, Copy, Debug)]
struct Register {
    middle_lbf: f64,
    half_width_lbf: f64,
    wire_inch: f64,
}

/// Registers (MEM): monochords 200–330 lbf, bichords 160–200, tenor 120–170, middle 155–170, top
/// 150–165, plain wire going from the middle of one to that of the next.
fn register(note: u8, kind: StringKind) -> Register {
    let plain =
        |middle_lbf, half_width_lbf, wire_inch| Register { middle_lbf, half_width_lbf, wire_inch };
    let [tenor, middle, top] =
        [plain(145.0, 25.0, 0.043), plain(162.5, 7.5, 0.039), plain(157.5, 7.5, 0.035)];
    match kind {
        StringKind::Monochord => plain(265.0, 65.0, 0.051),
        StringKind::Bichord => plain(180.0, 20.0, 0.044),
        StringKind::Plain => {
            let note = f64::from(note);
            let (from, to, share) = if note < 52.0 {
                (tenor, middle, (note - 30.0) / 22.0)
            } else {
                (middle, top, (note - 52.0) / 28.0)
            };
            let share = share.clamp(0.0, 1.0);
            let between = |a: f64, b: f64| a + (b - a) * share;
            plain(
                between(from.middle_lbf, to.middle_lbf),
                between(from.half_width_lbf, to.half_width_lbf),
                between(from.wire_inch, to.wire_inch),
            )
        }
    }
}

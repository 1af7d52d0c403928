//! Drawing an instrument: the sound plank, its strings, and what can be known beside torque.
//!
//! Friction is a mean level, a mild smooth trend along the plank, small section and row effects,
//! and scatter from pin to pin of 8–14 % (a sound plank's spread is 10–15 %, MEM). Levels after
//! the trade's bands (PRAC): new 9–14 N·m, aged but decent 5.6–7.9.
//!
//! Deliberately not here: the faults' patterns (see [`super::trouble`]).

use super::plan::Seat;
use super::{Facts, Fault, Piano, PianoPin, Plan, PlankSight, Severity, scale, trouble};
use crate::friction::GripParameters;
use crate::rng::Random;
use crate::wire::moment_nm;

/// The plank before any local trouble.
struct Plank {
    mean_nm: f64,
    scatter: f64,
    slope: f64,
    wave: f64,
    wave_phase: f64,
    section_effect: Vec<f64>,
    row_effect: Vec<f64>,
}

impl Plank {
    fn drawn(fault: Fault, severity: Severity, random: &mut Random) -> Plank {
        let plain = severity == Severity::Plain;
        let (low_nm, high_nm) = match fault {
            Fault::Dry if plain => (4.3, 5.3),
            Fault::Dry => (6.1, 7.0),
            Fault::TightNew if plain => (15.5, 17.5),
            Fault::TightNew => (17.5, 18.8),
            _ if plain => (9.5, 13.5),
            _ => (8.6, 9.8),
        };
        let scatter = match fault {
            Fault::Dry => random.uniform(0.18, 0.24),
            Fault::TightNew => random.uniform(0.06, 0.09),
            _ => random.uniform(0.08, 0.12),
        };
        let mut effects = |count: usize, size: f64| {
            (0..count).map(|_| size * random.normal_within(0.0, 1.0, 2.0)).collect::<Vec<f64>>()
        };
        let section_effect = effects(6, 0.02);
        let row_effect = effects(4, 0.015);
        Plank {
            mean_nm: random.uniform(low_nm, high_nm),
            scatter,
            slope: random.uniform(-0.05, 0.05),
            wave: random.uniform(0.0, 0.03),
            wave_phase: random.uniform(0.0, core::f64::consts::TAU),
            section_effect,
            row_effect,
        }
    }

    /// Running friction of a hole, `along` from 0 in the bass to 1 in the treble.
    fn friction_nm(&self, seat: &Seat, along: f64, random: &mut Random) -> f64 {
        let effect =
            |effects: &[f64], index: u8| effects.get(usize::from(index)).copied().unwrap_or(0.0);
        let smooth = self.slope * (2.0 * along - 1.0)
            + self.wave * libm::sin(core::f64::consts::TAU * along + self.wave_phase)
            + effect(&self.section_effect, seat.section)
            + effect(&self.row_effect, seat.row);
        let own = self.scatter * random.normal_within(0.0, 1.0, 2.3);
        self.mean_nm * (1.0 + smooth) * (1.0 + own)
    }
}

/// Properties that the whole instrument shares.
struct Common {
    pin_um: u32,
    bearing_friction: f64,
    pitch_cents: f64,
    unison_cents: f64,
    segment_m: f64,
    /// Largest drag of a plate bushing, N·m; 0 without bushings.
    bushing_nm: f64,
}

impl Common {
    fn drawn(plan: &Plan, fault: Fault, severity: Severity, random: &mut Random) -> Common {
        // 1/0 and 2/0 by their usual inch sizes, and the common metric ones (ONE).
        let pin_um = match fault {
            Fault::TightNew => [7010, 7000, 7163][random.whole(0, 2)],
            _ => [7163, 7010, 7163, 7000, 7163][random.whole(0, 4)],
        };
        let pitch_cents = match (fault, severity) {
            (Fault::FlatPitch, Severity::Plain) => -100.0,
            (Fault::FlatPitch, Severity::Marginal) => -90.0,
            (Fault::Dry, _) => random.uniform(-25.0, -8.0),
            (Fault::TightNew, _) => random.uniform(-6.0, 0.0),
            _ => random.uniform(-12.0, 2.0),
        };
        let unison_cents = match fault {
            Fault::OffBack | Fault::Dry => 4.0,
            _ => 1.5,
        };
        Common {
            pin_um,
            // 3–13 % (ONE).
            bearing_friction: random.uniform(0.03, 0.08),
            pitch_cents,
            unison_cents,
            segment_m: random.uniform(0.07, 0.12),
            // A bushing drags a little; no figure is known, this one is assumed.
            bushing_nm: if plan.bushed_plate { 0.08 } else { 0.0 },
        }
    }
}

/// Tension at a pitch off target, relative to target: it goes with the square of frequency.
fn tension_ratio(cents: f64) -> f64 {
    libm::exp2(cents / 600.0)
}

/// Invents an instrument.
pub fn invent(plan: Plan, seed: u64, fault: Fault, severity: Severity) -> Piano {
    let root = Random::new(seed).fork("piano").fork(fault.name());
    let plank = Plank::drawn(fault, severity, &mut root.fork("plank"));
    let common = Common::drawn(&plan, fault, severity, &mut root.fork("common"));
    let seats = plan.seats();
    let width_m = seats.iter().map(|seat| seat.x_m).fold(0.0, f64::max).max(0.1);
    let mut pins: Vec<PianoPin> = Vec::with_capacity(seats.len());
    for (index, seat) in seats.iter().enumerate() {
        let mut random = root.fork_index("pin", index);
        let friction_nm = plank.friction_nm(seat, seat.x_m / width_m, &mut random);
        pins.push(pin_at(&plan, seat, friction_nm, &common, &mut random));
    }
    trouble::inflict(fault, severity, &mut pins, &mut root.fork("trouble"));
    let facts = facts(&plan, fault, severity, &common, &pins, &mut root.fork("facts"));
    Piano { plan, fault, severity, facts, pins }
}

fn pin_at(
    plan: &Plan,
    seat: &Seat,
    friction_nm: f64,
    common: &Common,
    random: &mut Random,
) -> PianoPin {
    let string = scale::scaled_string(plan, seat.note);
    let pin_m = f64::from(common.pin_um) * 1e-6;
    let tension_n = string.tension_n * (1.0 + 0.015 * random.normal_within(0.0, 1.0, 2.5));
    let moment_at_pitch_nm = moment_nm(tension_n, pin_m, string.wire_diameter_m);
    let segment_m = common.segment_m + seat.y_m;
    let (segment, speaking) = scale::stiffness_nm_per_deg(&string, pin_m, segment_m);
    let cents = common.pitch_cents + common.unison_cents * random.normal_within(0.0, 1.0, 2.5);
    let first_break_ratio = random.uniform(1.03, 1.10);
    let grip = GripParameters {
        first_break_ratio,
        repeat_break_ratio: 1.01 + 0.3 * (first_break_ratio - 1.03),
        ..GripParameters::default()
    };
    let mut pin = PianoPin {
        note: seat.note,
        string: seat.string,
        section: seat.section,
        row: seat.row,
        x_m: seat.x_m,
        y_m: seat.y_m,
        flange_distance_m: seat.flange_distance_m,
        diameter_um: common.pin_um,
        wire_diameter_m: string.wire_diameter_m,
        friction_nm,
        drag_nm: common.bushing_nm * random.uniform(0.2, 1.0),
        grip,
        taper: random.uniform(-0.2, 0.4),
        tension_n,
        moment_nm: moment_at_pitch_nm * tension_ratio(cents),
        moment_at_pitch_nm,
        segment_stiffness_nm_per_deg: segment,
        speaking_stiffness_nm_per_deg: speaking,
        bearing_friction: common.bearing_friction,
        bearing_state: random.uniform(-0.6, 0.6),
        unstrung: false,
        slack: false,
        reverse_wound: false,
        loose: false,
    };
    // Even in a dry plank a string has fallen to what its pin holds.
    pin.set_friction(friction_nm, random.uniform(0.9, 0.97));
    pin
}

/// The value with this probability, else unknown.
fn known<T>(value: T, probability: f64, random: &mut Random) -> Option<T> {
    random.chance(probability).then_some(value)
}

fn facts(
    plan: &Plan,
    fault: Fault,
    severity: Severity,
    common: &Common,
    pins: &[PianoPin],
    random: &mut Random,
) -> Facts {
    let plain = severity == Severity::Plain;
    let tune_stable = match fault {
        Fault::OffBack => Some(false),
        Fault::None | Fault::FlatPitch | Fault::TightNew => known(true, 0.8, random),
        _ => known(false, if plain { 0.85 } else { 0.6 }, random),
    };
    let relative_humidity = match fault {
        Fault::Dry => Some(random.uniform(0.22, if plain { 0.32 } else { 0.36 })),
        _ => {
            let value = random.uniform(0.42, 0.55);
            known(value, 0.7, random)
        }
    };
    let contamination_seen = match fault {
        Fault::Contaminated => known(true, 0.85, random),
        _ => known(false, 0.7, random),
    };
    let plank_sight = match fault {
        Fault::OffBack => known(PlankSight::OffBack, 0.25, random),
        Fault::Split => known(PlankSight::PliesParted, 0.10, random),
        Fault::None | Fault::TightNew => known(PlankSight::SeenSound, 0.20, random),
        _ => None,
    };
    let fitted_um = pins.iter().map(|pin| pin.diameter_um).max().unwrap_or(common.pin_um);
    // Practical top 4/0 to 5/0 (MEM), or what is fitted already where that is more.
    let top_um = [7391, 7518][random.whole(0, 1)];
    Facts {
        tune_stable,
        relative_humidity,
        pitch_cents: Some(common.pitch_cents.round()),
        contamination_seen,
        plank_sight,
        largest_pin_um: Some(fitted_um.max(top_um)),
        bushed_plate: Some(plan.bushed_plate),
    }
}

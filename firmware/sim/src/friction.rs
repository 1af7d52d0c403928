//! How hard wood grips steel: the level of friction against speed, rest and first movement.
//!
//! One pin has one level, a factor on its running friction. It is made of a steady-state curve
//! against speed (Stribeck) and a surplus for each direction that slip wears off and rest brings
//! back: the aged first break, the smaller break of a repeat, the one high break of a glued pin,
//! and (as a deficit) the yielding start of an oily one.
//!
//! Micro-slip along the embedded part does not wear the surplus off; only turning of the foot
//! does. This is a modelling choice: the pin then breaks away at its stated ratio.
//!
//! Deliberately not here: how the friction is spread along the pin (see [`crate::pin`]).

/// Which way a pin turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Lowering the pitch; counter-clockwise seen from the pin's head.
    Flat,
    /// Raising the pitch; clockwise seen from the pin's head.
    Sharp,
}

impl Turn {
    /// −1 for flat, +1 for sharp.
    pub const fn sign(self) -> f64 {
        match self {
            Turn::Flat => -1.0,
            Turn::Sharp => 1.0,
        }
    }

    /// The other way.
    pub const fn reversed(self) -> Turn {
        match self {
            Turn::Flat => Turn::Sharp,
            Turn::Sharp => Turn::Flat,
        }
    }

    /// The way a signed quantity points; zero counts as sharp.
    pub fn of(signed: f64) -> Turn {
        if signed < 0.0 { Turn::Flat } else { Turn::Sharp }
    }

    const fn index(self) -> usize {
        match self {
            Turn::Flat => 0,
            Turn::Sharp => 1,
        }
    }
}

/// Steady-state friction against speed, in any unit of friction and speed:
/// F(v) = C + (S − C)·exp(−(v/v_s)²) + b·v for v > 0.
///
/// The curve is the one given by C. Canudas de Wit, H. Olsson, K. J. Åström and P. Lischinsky,
/// *A new model for control of systems with friction*, IEEE Trans. Automatic Control 40 (1995).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stribeck {
    /// Level well above the Stribeck speed, without the viscous part.
    pub kinetic: f64,
    /// Level at vanishing speed.
    pub at_rest: f64,
    /// Speed over which the one gives way to the other.
    pub speed: f64,
    /// Viscous part per unit of speed.
    pub viscous: f64,
}

impl Stribeck {
    /// Friction at a speed; odd in the speed, and 0 at exactly 0.
    pub fn steady(&self, speed: f64) -> f64 {
        if speed == 0.0 {
            return 0.0;
        }
        self.magnitude(speed.abs()).copysign(speed)
    }

    /// Friction at a speed of any sign, without sign; at 0 the limit of vanishing speed.
    pub fn magnitude(&self, speed: f64) -> f64 {
        let ratio = speed / self.speed;
        let square = ratio * ratio;
        // Beyond six Stribeck speeds the exponential is below 3e-16.
        let fading = if square > 36.0 { 0.0 } else { libm::exp(-square) };
        self.kinetic + (self.at_rest - self.kinetic) * fading + self.viscous * speed.abs()
    }
}

/// Foot speed at which a pin's running friction is stated, rad/s (1 degree per second).
pub const STATED_SPEED_RAD_S: f64 = 1.0 * core::f64::consts::PI / 180.0;

/// Character of one pin's grip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GripParameters {
    /// Speed curve, relative; only its shape matters, since it is scaled to 1 at the stated speed.
    pub speed_curve: Stribeck,
    /// First breakaway from aged rest over running friction.
    pub first_break_ratio: f64,
    /// Breakaway after the first, rested over `healing_s`, over running friction.
    pub repeat_break_ratio: f64,
    /// Foot rotation over which a surplus wears off to 1/e, rad.
    pub weakening_rad: f64,
    /// Rest that brings a repeat's surplus back to 1 − 1/e, s.
    pub healing_s: f64,
    /// The yield is set back by reversal and never by rest: oily and doped pins.
    pub yields_on_reversal: bool,
    /// Largest fraction by which repeats within minutes run lower (MEM: they do; size assumed).
    pub relaxation_max: f64,
    /// Foot rotation that spends 1 − 1/e of it, rad.
    pub relaxation_travel_rad: f64,
}

impl Default for GripParameters {
    /// A good plank: breakaway close to running (MEM), first break a little higher.
    fn default() -> GripParameters {
        GripParameters {
            speed_curve: Stribeck {
                kinetic: 1.0,
                at_rest: 1.01,
                speed: 0.3 * STATED_SPEED_RAD_S,
                viscous: 0.01 / STATED_SPEED_RAD_S,
            },
            first_break_ratio: 1.07,
            repeat_break_ratio: 1.02,
            weakening_rad: 0.08_f64.to_radians(),
            healing_s: 0.4,
            yields_on_reversal: false,
            relaxation_max: 0.02,
            relaxation_travel_rad: 2.0_f64.to_radians(),
        }
    }
}

impl GripParameters {
    /// A pin that jumps: breakaway well over running, back after a short rest. Above a ratio of
    /// about 1.3 a pin is called jumpy (DER).
    pub fn jumpy(ratio: f64) -> GripParameters {
        GripParameters {
            first_break_ratio: ratio * 1.05,
            repeat_break_ratio: ratio,
            weakening_rad: 0.03_f64.to_radians(),
            healing_s: 0.05,
            ..GripParameters::default()
        }
    }

    /// A pin treated with thin glue: one high first break, then ordinary (MEM).
    pub fn glued(first_break_ratio: f64) -> GripParameters {
        GripParameters { first_break_ratio, ..GripParameters::default() }
    }

    /// An oily or doped pin: spongy, dragging more the faster it turns, no clear knee (ONE).
    pub fn spongy() -> GripParameters {
        GripParameters {
            speed_curve: Stribeck {
                kinetic: 0.9,
                at_rest: 0.9,
                speed: STATED_SPEED_RAD_S,
                viscous: 0.1 / STATED_SPEED_RAD_S,
            },
            first_break_ratio: 0.72,
            repeat_break_ratio: 0.70,
            weakening_rad: 0.10_f64.to_radians(),
            healing_s: f64::INFINITY,
            yields_on_reversal: true,
            relaxation_max: 0.02,
            relaxation_travel_rad: 2.0_f64.to_radians(),
        }
    }

    /// Two constant levels and nothing else: the textbook law.
    pub fn two_levels(static_over_kinetic: f64) -> GripParameters {
        GripParameters {
            speed_curve: Stribeck {
                kinetic: 1.0,
                at_rest: 1.0,
                speed: STATED_SPEED_RAD_S,
                viscous: 0.0,
            },
            first_break_ratio: static_over_kinetic,
            repeat_break_ratio: static_over_kinetic,
            weakening_rad: 1e-9,
            healing_s: 1e-9,
            yields_on_reversal: false,
            relaxation_max: 0.0,
            relaxation_travel_rad: 1.0,
        }
    }
}

/// State of one pin's grip.
#[derive(Clone, Debug)]
pub struct Grip {
    parameters: GripParameters,
    scale: f64,
    at_rest: f64,
    surplus: [f64; 2],
    aged: [bool; 2],
    travel_rad: f64,
    speed_rad_s: f64,
    /// Speed curve at `speed_rad_s`, scaled to 1 at the stated speed.
    curve: f64,
}

/// Share of a speed change the level follows in one sample: contacts need a few milliseconds.
const SPEED_FOLLOWING: f64 = 0.2;
/// Rest over which relaxation recovers, s (assumed: minutes, MEM).
const RELAXATION_RECOVERY_S: f64 = 1200.0;

impl Grip {
    /// A grip found as the last tuning left it, long rested.
    pub fn aged(parameters: GripParameters) -> Grip {
        let curve = &parameters.speed_curve;
        let scale = 1.0 / curve.magnitude(STATED_SPEED_RAD_S);
        let at_rest = curve.magnitude(0.0) * scale;
        let first = parameters.first_break_ratio - at_rest;
        // The string loads the pin flat all the time: a yielding grip has yielded that way.
        let flat = if parameters.yields_on_reversal { 0.0 } else { first };
        Grip {
            scale,
            at_rest,
            surplus: [flat, first],
            aged: [true, true],
            travel_rad: 0.0,
            speed_rad_s: 0.0,
            curve: at_rest,
            parameters,
        }
    }

    /// Factor on running friction for turning one way, now.
    pub fn level(&self, turn: Turn) -> f64 {
        let level = (self.curve + self.surplus[turn.index()]) * (1.0 - self.relaxed());
        level.max(0.05)
    }

    /// Fraction by which friction has fallen through being worked.
    fn relaxed(&self) -> f64 {
        if self.parameters.relaxation_max == 0.0 {
            return 0.0;
        }
        // 1 − 1/(1 + x) stands in for 1 − exp(−x): same slope and limit, no exponential.
        let spent = self.travel_rad / self.parameters.relaxation_travel_rad;
        self.parameters.relaxation_max * spent / (1.0 + spent)
    }

    fn repeat_surplus(&self) -> f64 {
        self.parameters.repeat_break_ratio - self.at_rest
    }

    /// The foot turned by `rotation_rad` (signed, 0 when it stuck) in `period_s`.
    pub fn advance(&mut self, rotation_rad: f64, period_s: f64) {
        let speed = rotation_rad.abs() / period_s;
        self.speed_rad_s += SPEED_FOLLOWING * (speed - self.speed_rad_s);
        if rotation_rad == 0.0 {
            if self.speed_rad_s != 0.0 {
                if self.speed_rad_s < 1e-6 {
                    self.speed_rad_s = 0.0;
                }
                self.curve = self.parameters.speed_curve.magnitude(self.speed_rad_s) * self.scale;
            }
            self.heal(period_s);
            return;
        }
        self.curve = self.parameters.speed_curve.magnitude(self.speed_rad_s) * self.scale;
        self.slip(rotation_rad);
    }

    fn slip(&mut self, rotation_rad: f64) {
        let turn = Turn::of(rotation_rad);
        let distance = rotation_rad.abs() / self.parameters.weakening_rad;
        // 1/(1 + x) for each small step is exp(−x) over many of them.
        self.surplus[turn.index()] /= 1.0 + distance;
        self.travel_rad += rotation_rad.abs();
        let repeat = self.repeat_surplus();
        let other = turn.reversed().index();
        if self.parameters.yields_on_reversal {
            self.surplus[other] = repeat;
        } else if self.aged[turn.index()] && self.aged[other] {
            // Half of the other way's age goes with the first movement (assumed).
            self.surplus[other] = 0.5 * (self.surplus[other] + repeat);
        }
        self.aged[turn.index()] = false;
    }

    fn heal(&mut self, period_s: f64) {
        let repeat = self.repeat_surplus();
        for surplus in &mut self.surplus {
            if *surplus < repeat && !self.parameters.yields_on_reversal {
                let share = period_s / (period_s + self.parameters.healing_s);
                *surplus += (repeat - *surplus) * share;
            }
        }
    }

    /// The pin was left alone for a while.
    pub fn rest(&mut self, rest_s: f64) {
        self.speed_rad_s = 0.0;
        self.curve = self.at_rest;
        self.heal(rest_s);
        self.travel_rad /= 1.0 + rest_s / RELAXATION_RECOVERY_S;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stribeck_curve_with_published_parameters() {
        // Parameters: Canudas de Wit et al. 1995, Table I; values in closed form.
        let curve = Stribeck { kinetic: 1.0, at_rest: 1.5, speed: 0.001, viscous: 0.4 };
        let cases = [
            (0.0001, 1.495_064_916_875),
            (0.0005, 1.389_600_391_536),
            (0.001, 1.184_339_720_586),
            (0.002, 1.009_957_819_444),
            (0.003, 1.001_261_704_902),
            (0.005, 1.002_000_000_007),
            (0.01, 1.004),
            (0.1, 1.04),
            (-0.001, -1.184_339_720_586),
            (-0.05, -1.02),
        ];
        for (speed, friction) in cases {
            assert!((curve.steady(speed) - friction).abs() < 1e-9, "at {speed} m/s");
        }
    }

    #[test]
    fn first_break_is_high_once_and_repeats_are_lower() {
        let mut grip = Grip::aged(GripParameters::default());
        assert!((grip.level(Turn::Flat) - 1.07).abs() < 1e-12);
        let step = 0.001_f64.to_radians();
        for _ in 0..500 {
            grip.advance(-step, 0.001);
        }
        let running = grip.level(Turn::Flat);
        assert!((running - 1.0).abs() < 0.01, "running level {running}");
        for _ in 0..2000 {
            grip.advance(0.0, 0.001);
        }
        let again = grip.level(Turn::Flat);
        assert!(again > 1.01 && again < 1.025, "second break {again}");
        let first_sharp = grip.level(Turn::Sharp);
        assert!(first_sharp > again && first_sharp < 1.07, "first sharp {first_sharp}");
    }
}

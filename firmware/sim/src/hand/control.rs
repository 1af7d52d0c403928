//! How a hand carries out a gesture: load, feel it give, let it slip slowly, stop, ease off, rest.
//!
//! The hand moves a point that is joined to the lever by its own stiffness, so it controls
//! position when the pin slips and torque when it sticks, as a real one does. It holds back by
//! itself when the string drives the pin. Every decision is acted on a reaction time later.
//!
//! One state machine, kept in one file though a little long, so that it can be read in order.
//!
//! Deliberately not here: dynamics (the bench's) and anything a hand could not feel.

use super::experience::{CREEP_DEG_S, Experience};
use super::feel::{Felt, Touch};
use super::{Gesture, Hand, INTENT_COUNT_MAX, Intent, Manner, Spoil};
use crate::friction::Turn;
use crate::rng::Random;

/// The same while unloading, when only the free part untwists at first.
const UNLOADING_PIN_DEG_PER_NM: f64 = 1.0 / 14.0;
/// The most a pin twists per torque: G·J over free and embedded length, deg per N·m (DER).
const SOFTEST_DEG_PER_NM: f64 = 1.0 / 6.5;
/// Play of a usual tip, degrees.
const PLAY_DEG: f64 = 0.1;
/// Time over which the hand changes speed, s.
const SPEED_CHANGE_S: f64 = 0.04;
/// The same when it jerks, s.
const JERK_CHANGE_S: f64 = 0.015;
/// Slip that lasts at least this long gives running torque; a careful hand sees to it, s.
const SLIP_S_MIN: f64 = 0.50;
/// A hand stops when it has gone this much beyond its aim, whatever the time, degrees.
const OVERSHOOT_MAX_DEG: f64 = 0.6;
/// Longest time spent loading or slipping, s.
const STROKE_S_MAX: f64 = 12.0;
/// A set this small is not let slip, only stopped, degrees.
const SMALL_SET_DEG: f64 = 0.25;
/// Slip that teaches what a pin takes, samples.
const RUNNING_SAMPLES_MIN: u32 = 50;
/// How often the hand stops easing because the pin runs by itself.
const ARREST_COUNT_MAX: u32 = 8;
/// Torque that a hand leaves on the pin it has just been put on, N·m, at most.
const LEFT_ON_NM_MAX: f64 = 0.8;
/// Pause after such an arrest, s.
const ARREST_S: f64 = 0.25;

#[derive(Clone, Copy, Debug)]
enum Phase {
    Idle,
    Seating {
        elapsed_s: f64,
        bump_nm: f64,
    },
    Load {
        elapsed_s: f64,
    },
    /// The decision to go on to slipping is made, the hand still loads.
    Yielded {
        remaining_s: f64,
    },
    Slip {
        elapsed_s: f64,
        speed_deg_s: f64,
    },
    /// The decision to stop is made, the hand still moves.
    Stopping {
        remaining_s: f64,
    },
    /// The hand jerks.
    Jerking {
        remaining_s: f64,
        speed_deg_s: f64,
    },
    Halt {
        remaining_s: f64,
    },
    Ease {
        elapsed_s: f64,
        over_s: f64,
        from_nm: f64,
        to_nm: f64,
    },
    Arrest {
        remaining_s: f64,
        to_nm: f64,
    },
    Rest {
        remaining_s: f64,
    },
}

/// What the hand does in one sample.
#[derive(Clone, Copy, Debug)]
pub struct Command {
    /// Place of the hand, degrees of lever.
    pub place_deg: f64,
    /// Its speed, deg/s.
    pub speed_deg_s: f64,
    /// The lever slips off the pin now.
    pub slips_off: bool,
}

/// A hand at work.
#[derive(Clone, Debug)]
pub struct Controller {
    hand: Hand,
    random: Random,
    phase: Phase,
    intents: [Option<Intent>; INTENT_COUNT_MAX],
    next: usize,
    current: Intent,
    touch: Touch,
    place_deg: f64,
    speed_deg_s: f64,
    compliance_deg_per_nm: f64,
    loaded_from: Option<Felt>,
    gave_at_deg: f64,
    gave_s: f64,
    slipped_deg: f64,
    arrests: u32,
    running_sum_nm: f64,
    running_count: u32,
    experience: Experience,
    has_worked: bool,
    slips_off: bool,
}

const NOTHING: Intent =
    Intent { turn: Turn::Flat, slip_deg: 0.0, manner: Manner::Half, spoil: None };

impl Controller {
    /// A hand; `flex_nm_per_rad` is the lever's flex in series with it.
    pub fn new(hand: Hand, flex_nm_per_rad: f64, random: Random) -> Controller {
        let compliance = 1.0 / hand.stiffness_nm_per_rad + 1.0 / flex_nm_per_rad;
        Controller {
            hand,
            random,
            phase: Phase::Idle,
            intents: [None; INTENT_COUNT_MAX],
            next: 0,
            current: NOTHING,
            touch: Touch::default(),
            place_deg: 0.0,
            speed_deg_s: 0.0,
            compliance_deg_per_nm: compliance.to_degrees(),
            loaded_from: None,
            gave_at_deg: 0.0,
            gave_s: 0.0,
            slipped_deg: 0.0,
            arrests: 0,
            running_sum_nm: 0.0,
            running_count: 0,
            experience: Experience::default(),
            has_worked: false,
            slips_off: false,
        }
    }

    /// Whether the hand has nothing left to do.
    pub fn is_idle(&self) -> bool {
        matches!(self.phase, Phase::Idle)
    }

    /// Whether a stroke has been begun since the lever was seated.
    pub fn has_worked_this_pin(&self) -> bool {
        self.has_worked
    }

    /// Puts the lever on a pin, its head at `head_deg`, and holds still.
    pub fn seat(&mut self, head_deg: f64) {
        self.place_deg = head_deg;
        self.speed_deg_s = 0.0;
        self.experience.forget_pin();
        self.has_worked = false;
        let bump_nm = self.hand.seating_bump_nm * self.random.normal_within(0.0, 1.0, 2.5);
        self.phase = Phase::Seating { elapsed_s: 0.0, bump_nm };
    }

    /// Lets go of whatever it was doing and holds the lever at a place.
    pub fn hold(&mut self, place_deg: f64) {
        self.place_deg = place_deg;
        self.speed_deg_s = 0.0;
        self.phase = Phase::Idle;
        self.intents = [None; INTENT_COUNT_MAX];
    }

    /// Starts a gesture.
    pub fn perform(&mut self, gesture: Gesture) {
        self.intents = gesture.intents();
        self.next = 0;
        self.slipped_deg = 0.0;
        self.has_worked = true;
        self.begin_next();
    }

    /// One sample: what is felt in, where the hand is out.
    pub fn step(&mut self, felt: Felt, period_s: f64) -> Command {
        self.touch.feel(felt, period_s);
        self.slips_off = false;
        let mut bump_deg = 0.0;
        let wanted_deg_s = match self.phase {
            Phase::Idle => 0.0,
            Phase::Seating { elapsed_s, bump_nm } => {
                bump_deg = self.seating_deg(felt, elapsed_s, bump_nm, period_s);
                0.0
            }
            Phase::Load { elapsed_s } => self.load(felt, elapsed_s + period_s),
            Phase::Yielded { remaining_s } => self.yielded(felt, remaining_s - period_s),
            Phase::Slip { elapsed_s, speed_deg_s } => {
                self.slip(felt, elapsed_s + period_s, period_s);
                self.current.turn.sign() * speed_deg_s
            }
            Phase::Stopping { remaining_s } => {
                self.count_down(remaining_s - period_s);
                self.speed_deg_s
            }
            Phase::Jerking { remaining_s, speed_deg_s } => {
                self.jerk(remaining_s - period_s, speed_deg_s)
            }
            Phase::Halt { remaining_s } => {
                self.halt(felt, remaining_s - period_s);
                0.0
            }
            Phase::Ease { elapsed_s, over_s, from_nm, to_nm } => {
                self.ease(felt, elapsed_s + period_s, over_s, from_nm, to_nm)
            }
            Phase::Arrest { remaining_s, to_nm } => {
                self.arrest(felt, remaining_s - period_s, to_nm);
                0.0
            }
            Phase::Rest { remaining_s } => {
                self.rest(remaining_s - period_s);
                0.0
            }
        };
        let follow = match self.phase {
            Phase::Ease { .. } => 1.0,
            Phase::Jerking { .. } => period_s / JERK_CHANGE_S,
            _ => period_s / SPEED_CHANGE_S,
        };
        self.speed_deg_s += (wanted_deg_s - self.speed_deg_s) * follow;
        self.place_deg += self.speed_deg_s * period_s;
        let place_deg = self.place_deg + bump_deg;
        Command { place_deg, speed_deg_s: self.speed_deg_s, slips_off: self.slips_off }
    }

    /// Speed of the hand, deg/s.
    pub fn speed_deg_s(&self) -> f64 {
        self.speed_deg_s
    }

    fn reaction_s(&mut self) -> f64 {
        self.random.uniform(self.hand.reaction_s.0, self.hand.reaction_s.1)
    }

    fn begin_next(&mut self) {
        let Some(mut intent) = self.intents.get(self.next).copied().flatten() else {
            self.phase = Phase::Idle;
            return;
        };
        self.next += 1;
        if intent.manner == Manner::Back {
            // Never above the start: it aims a little short of how far it came.
            intent.slip_deg = (self.slipped_deg - 0.15).max(0.1);
        }
        intent.slip_deg *= 1.0 + self.hand.aim_scatter * self.random.normal_within(0.0, 1.0, 2.0);
        self.current = intent;
        self.arrests = 0;
        self.running_sum_nm = 0.0;
        self.running_count = 0;
        self.touch.refresh();
        self.loaded_from = None;
        self.phase = Phase::Load { elapsed_s: 0.0 };
    }

    fn seating_deg(&mut self, felt: Felt, elapsed_s: f64, bump_nm: f64, period_s: f64) -> f64 {
        const BUMP_S: f64 = 0.12;
        let elapsed_s = elapsed_s + period_s;
        self.phase = Phase::Seating { elapsed_s, bump_nm };
        if elapsed_s > BUMP_S {
            self.phase = Phase::Rest { remaining_s: self.hand.settle_s };
            self.intents = [None; INTENT_COUNT_MAX];
            if felt.torque_nm.abs() > LEFT_ON_NM_MAX {
                // The pin turned under the bump; nobody leaves that load on.
                self.start_easing(felt, 0.0, self.hand.ease_s);
            }
            return 0.0;
        }
        let shape = libm::sin(core::f64::consts::PI * elapsed_s / BUMP_S);
        bump_nm * self.compliance_deg_per_nm * shape * shape
    }

    fn load(&mut self, felt: Felt, elapsed_s: f64) -> f64 {
        let turn = self.current.turn;
        let along_nm = turn.sign() * felt.torque_nm;
        let expected_nm = self.experience.expected_nm(turn);
        let from = *self.loaded_from.get_or_insert(felt);
        self.phase = Phase::Load { elapsed_s };
        let spoil = self.current.spoil;
        if spoil.is_some_and(|spoil| spoil.off_loading(along_nm / expected_nm)) {
            self.slip_off();
            return 0.0;
        }
        let given_up_nm = spoil.and_then(Spoil::gives_up_at).map(|share| share * expected_nm);
        let usual_limit_nm = match self.current.manner {
            Manner::Half => 0.5 * expected_nm,
            Manner::Limit(torque_nm) => torque_nm.min(self.hand.torque_limit_nm),
            _ => self.hand.torque_limit_nm,
        };
        let limit_nm = given_up_nm.unwrap_or(usual_limit_nm);
        if along_nm >= limit_nm || elapsed_s > STROKE_S_MAX {
            if given_up_nm.is_none() {
                // It will not be forced: no further strokes on this pin.
                self.intents = [None; INTENT_COUNT_MAX];
            }
            self.phase = Phase::Halt { remaining_s: 0.06 };
        } else if self.touch.gives(turn) {
            // Motion beyond the most that a pin can twist (and play) was slip before it was felt.
            let twist_deg = turn.sign() * (felt.torque_nm - from.torque_nm) * SOFTEST_DEG_PER_NM;
            let turned_deg = turn.sign() * (felt.head_deg - from.head_deg);
            let unfelt_deg = (turned_deg - twist_deg - PLAY_DEG).max(0.03);
            self.gave_at_deg = felt.head_deg - turn.sign() * unfelt_deg;
            self.gave_s = 0.0;
            let remaining_s = self.reaction_s();
            let stops_s = spoil.and_then(Spoil::stops_after_s);
            self.phase = match self.current.manner {
                _ if stops_s.is_some() => Phase::Stopping { remaining_s: stops_s.unwrap_or(0.0) },
                Manner::Brief => Phase::Stopping { remaining_s: 0.1 * remaining_s },
                // A small set is over nearly as soon as it is felt.
                Manner::Set if self.current.slip_deg < SMALL_SET_DEG => {
                    let share = self.current.slip_deg / SMALL_SET_DEG;
                    Phase::Stopping { remaining_s: share * remaining_s }
                }
                _ => Phase::Yielded { remaining_s },
            };
        }
        if let Some(Spoil::Yank { speed_deg_s }) = spoil {
            return turn.sign() * speed_deg_s;
        }
        let manner = self.current.manner;
        let series = self.compliance_deg_per_nm;
        turn.sign()
            * self.hand.haste
            * self.experience.loading_deg_s(turn, manner, along_nm, elapsed_s, series)
    }

    fn yielded(&mut self, felt: Felt, remaining_s: f64) -> f64 {
        self.gave_s += crate::SAMPLE_PERIOD_S;
        self.phase = Phase::Yielded { remaining_s };
        if self.mishap(felt) {
            return self.speed_deg_s;
        }
        if remaining_s <= 0.0 {
            let left_deg = self.current.slip_deg - self.felt_slip_deg(felt);
            let left_s = (SLIP_S_MIN - self.gave_s).max(0.1);
            let fitting_deg_s = (left_deg / left_s).max(0.6 * self.hand.slip_speed_deg_s);
            let hurried = self.current.spoil.and_then(Spoil::hurries_at_deg_s);
            let usual_deg_s = match self.current.manner {
                Manner::Jerk => 45.0,
                Manner::Back => fitting_deg_s.min(2.0),
                _ => fitting_deg_s.min(self.hand.slip_speed_deg_s),
            };
            let speed_deg_s = hurried.unwrap_or(usual_deg_s);
            self.phase = Phase::Slip { elapsed_s: 0.0, speed_deg_s };
            self.consider_stopping(felt, speed_deg_s);
        }
        // Muscles yield force rather than speed: a hand that runs ahead slows even unasked.
        self.speed_deg_s.clamp(-CREEP_DEG_S, CREEP_DEG_S)
    }

    /// Slip so far as the hand judges it, degrees.
    fn felt_slip_deg(&self, felt: Felt) -> f64 {
        self.current.turn.sign() * (felt.head_deg - self.gave_at_deg)
    }

    /// Whatever is to go wrong in the slip, when its moment has come.
    fn mishap(&mut self, felt: Felt) -> bool {
        let slipped_deg = self.felt_slip_deg(felt);
        match self.current.spoil {
            Some(spoil) if spoil.off_slipping(slipped_deg) => {
                self.slip_off();
                true
            }
            Some(Spoil::Jerk { slip_deg, speed_deg_s, for_s }) if slipped_deg >= slip_deg => {
                self.phase = Phase::Jerking { remaining_s: for_s, speed_deg_s };
                true
            }
            _ => false,
        }
    }

    fn slip_off(&mut self) {
        self.slips_off = true;
        self.intents = [None; INTENT_COUNT_MAX];
        self.phase = Phase::Rest { remaining_s: self.hand.rest_s };
    }

    fn jerk(&mut self, remaining_s: f64, speed_deg_s: f64) -> f64 {
        self.phase = if remaining_s > 0.0 {
            Phase::Jerking { remaining_s, speed_deg_s }
        } else {
            Phase::Halt { remaining_s: 0.06 }
        };
        self.current.turn.sign() * speed_deg_s
    }

    fn slip(&mut self, felt: Felt, elapsed_s: f64, period_s: f64) {
        let Phase::Slip { speed_deg_s, .. } = self.phase else { return };
        self.gave_s += period_s;
        self.phase = Phase::Slip { elapsed_s, speed_deg_s };
        self.running_sum_nm += felt.torque_nm;
        self.running_count += 1;
        if let Manner::SlipOff(after_s) = self.current.manner
            && elapsed_s > after_s
        {
            self.slip_off();
        } else if !self.mishap(felt) {
            self.consider_stopping(felt, speed_deg_s);
        }
    }

    fn consider_stopping(&mut self, felt: Felt, speed_deg_s: f64) {
        let slip_deg = self.felt_slip_deg(felt);
        let mean_reaction_s = 0.5 * (self.hand.reaction_s.0 + self.hand.reaction_s.1);
        let lead_deg = match self.current.manner {
            // A jerk is not aimed.
            Manner::Jerk => 0.0,
            _ => speed_deg_s * mean_reaction_s,
        };
        let aim_deg = self.current.slip_deg - lead_deg;
        let long_enough = match self.current.manner {
            _ if self.current.spoil.is_some_and(|spoil| spoil.hurries_at_deg_s().is_some()) => true,
            Manner::Jerk => true,
            Manner::Back => slip_deg >= self.current.slip_deg || self.gave_s >= SLIP_S_MIN,
            _ => self.gave_s + mean_reaction_s >= SLIP_S_MIN,
        };
        let too_far = slip_deg > self.current.slip_deg + OVERSHOOT_MAX_DEG;
        let hard = felt.torque_nm.abs() > self.hand.torque_limit_nm;
        if (slip_deg >= aim_deg && long_enough) || too_far || hard || self.gave_s > STROKE_S_MAX {
            let remaining_s = self.reaction_s();
            self.phase = Phase::Stopping { remaining_s };
        }
    }

    fn count_down(&mut self, remaining_s: f64) {
        self.phase = if remaining_s > 0.0 {
            Phase::Stopping { remaining_s }
        } else {
            Phase::Halt { remaining_s: 0.06 }
        };
    }

    fn halt(&mut self, felt: Felt, remaining_s: f64) {
        self.phase = Phase::Halt { remaining_s };
        if remaining_s > 0.0 {
            return;
        }
        self.slipped_deg = self.felt_slip_deg(felt).max(0.0);
        self.learn();
        let to_nm = self.current.turn.sign() * self.hand.residual_nm;
        self.start_easing(felt, to_nm, self.hand.ease_s);
    }

    fn start_easing(&mut self, felt: Felt, to_nm: f64, over_s: f64) {
        self.touch.refresh();
        self.phase = Phase::Ease { elapsed_s: 0.0, over_s, from_nm: felt.torque_nm, to_nm };
    }

    /// Remembers what the pin took, for the next stroke and the next pin.
    fn learn(&mut self) {
        if self.running_count >= RUNNING_SAMPLES_MIN {
            let running_nm = self.running_sum_nm / f64::from(self.running_count);
            self.experience.learn(self.current.turn, running_nm);
        }
    }

    fn ease(&mut self, felt: Felt, elapsed_s: f64, over_s: f64, from_nm: f64, to_nm: f64) -> f64 {
        self.phase = Phase::Ease { elapsed_s, over_s, from_nm, to_nm };
        let share_now = felt.torque_nm / from_nm;
        if self.current.spoil.is_some_and(|spoil| spoil.off_easing(share_now)) {
            self.slip_off();
            return 0.0;
        }
        if self.touch.gives(Turn::Flat) && felt.torque_nm > 0.0 {
            // The string drives the pin: hold it where it is.
            self.arrests += 1;
            self.phase = Phase::Arrest { remaining_s: ARREST_S, to_nm };
            return 0.0;
        }
        let part = (elapsed_s / over_s).min(1.0);
        if part >= 1.0 && (felt.torque_nm - to_nm).abs() < 0.15 || elapsed_s > over_s + 0.12 {
            self.phase = Phase::Rest { remaining_s: self.hand.rest_s };
            return 0.0;
        }
        let smooth = part * part * (3.0 - 2.0 * part);
        let slope = 6.0 * part * (1.0 - part) / over_s;
        let goal_nm = from_nm + (to_nm - from_nm) * smooth;
        let series = self.compliance_deg_per_nm + UNLOADING_PIN_DEG_PER_NM;
        slope * (to_nm - from_nm) * series
            + (goal_nm - felt.torque_nm) * 25.0 * self.compliance_deg_per_nm
    }

    fn arrest(&mut self, felt: Felt, remaining_s: f64, to_nm: f64) {
        self.phase = Phase::Arrest { remaining_s, to_nm };
        if remaining_s > 0.0 {
            return;
        }
        if self.arrests > ARREST_COUNT_MAX {
            // It will not stay by itself: hold it, and go no further.
            self.intents = [None; INTENT_COUNT_MAX];
            self.phase = Phase::Rest { remaining_s: self.hand.rest_s };
        } else {
            self.start_easing(felt, to_nm, 2.0 * self.hand.ease_s);
        }
    }

    fn rest(&mut self, remaining_s: f64) {
        self.phase = Phase::Rest { remaining_s };
        if remaining_s <= 0.0 {
            self.begin_next();
        }
    }
}

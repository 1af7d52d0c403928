//! One technician with one lever at one piano: gestures in, samples at 1 kHz out.
//!
//! The lever's head is a mass between the hand's stiffness and the pin's (see [`crate::head`]);
//! everything below it is in quasi-static balance at every sample.
//!
//! Deliberately not here: anything that judges what happened. [`Workbench::truth`] tells it.

use crate::SAMPLE_PERIOD_S;
use crate::cell::Hold;
use crate::hand::control::{Command, Controller};
use crate::hand::feel::Felt;
use crate::hand::tremor::Tremor;
use crate::hand::{Gesture, Hand};
use crate::head::Head;
use crate::piano::Piano;
use crate::rng::Random;
use crate::sensors::{LeverModel, MotionSample, Posture, Reality, SensorSample, Sensors};
use crate::station::Station;
pub use crate::station::StrokeTruth;

/// What the board reads in one sample period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tick {
    /// Bridge and rate, every time.
    pub sample: SensorSample,
    /// Attitude and temperature, every 64th time.
    pub motion: Option<MotionSample>,
}

/// One pin, as it really is now.
#[derive(Clone, Debug, PartialEq)]
pub struct PinTruth {
    /// Running friction of the plank at 1 deg/s, N·m.
    pub friction_nm: f64,
    /// Drag above the plank, N·m; a lever cannot tell it from friction.
    pub drag_nm: f64,
    /// String moment when found, N·m.
    pub moment_found_nm: f64,
    /// String moment now (by the speaking length's tension), N·m.
    pub moment_nm: f64,
    /// String moment at target pitch, N·m.
    pub moment_at_pitch_nm: f64,
    /// Coil rotation from where it was found, degrees.
    pub coil_deg: f64,
    /// Foot rotation from where it was found, degrees.
    pub foot_deg: f64,
    /// Farthest the foot went sharp of where it was found, degrees.
    pub foot_sharpest_deg: f64,
    /// Belongs to the hidden fault.
    pub loose: bool,
    /// Every slip of the foot so far, in time. Slips under 0.01 degrees are left out.
    pub strokes: Vec<StrokeTruth>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    /// In the air, moving about for this many samples more, then still.
    Air { unrest_samples: u32 },
    /// In the air on the way to a pin.
    Way { samples: u32, pin: usize },
    /// On a pin.
    Pin(usize),
}

/// The whole simulated workplace.
pub struct Workbench {
    piano: Piano,
    lever: LeverModel,
    hand: Hand,
    stations: Vec<Station>,
    controller: Controller,
    sensors: Sensors,
    random: Random,
    tremor: Tremor,
    place: Place,
    head: Head,
    /// Nominal place of the handle on this pin, rad from the posture's.
    handle_rad: f64,
    /// −1 on a reverse-wound pin, else 1. All motion is computed as if wound the usual way and
    /// only what the sensors see, and the weight, are mirrored.
    mirror: f64,
    weight_nm: f64,
    sample: u64,
}

/// Samples from one pin to the next.
const WAY_SAMPLES: u32 = 350;
/// Samples of unrest after lifting.
const LIFT_SAMPLES: u32 = 150;
/// Samples of unrest before holding still in the air.
const STILLING_SAMPLES: u32 = 300;
/// Samples between updates of the weight's moment.
const WEIGHT_SAMPLES: u64 = 16;
/// Largest turn of the handle from its nominal place, rad: a star tip fits in many places.
const HANDLE_TURN_MAX_RAD: f64 = 0.06;

impl Workbench {
    /// A technician about to start, the lever in the air.
    pub fn new(piano: Piano, lever: LeverModel, hand: Hand, seed: u64) -> Workbench {
        let root = Random::new(seed);
        let mut random = root.fork("bench");
        let play_rad = lever.tip_play_rad;
        let stations = piano.pins.iter().map(|pin| Station::new(pin, play_rad)).collect();
        let controller = Controller::new(hand, lever.flex_nm_per_rad, root.fork("hand"));
        let grip = 1.0 / (1.0 / hand.stiffness_nm_per_rad + 1.0 / lever.flex_nm_per_rad);
        let tremor = Tremor::new(&mut random);
        let mut bench = Workbench {
            sensors: Sensors::new(&lever, seed),
            stations,
            controller,
            random,
            tremor,
            place: Place::Air { unrest_samples: STILLING_SAMPLES },
            head: Head {
                inertia_kg_m2: lever.inertia_kg_m2,
                grip_nm_per_rad: grip,
                damping_nm_s_per_rad: hand.damping_nm_s_per_rad,
                angle_rad: 0.0,
                rate_rad_s: 0.0,
                hand_nm: 0.0,
            },
            handle_rad: 0.0,
            mirror: 1.0,
            weight_nm: 0.0,
            sample: 0,
            piano,
            lever,
            hand,
        };
        bench.hold_off_pin();
        bench
    }

    /// The piano being worked on.
    pub fn piano(&self) -> &Piano {
        &self.piano
    }

    /// The lever's true properties.
    pub fn lever(&self) -> &LeverModel {
        &self.lever
    }

    /// Samples taken so far.
    pub fn sample_count(&self) -> u64 {
        self.sample
    }

    /// Takes the lever into the air and holds it still, tip free.
    pub fn hold_off_pin(&mut self) {
        self.leave_pin();
        self.place = Place::Air { unrest_samples: STILLING_SAMPLES };
        self.weigh();
        let sag_rad = self.weight_nm / self.head.grip_nm_per_rad;
        self.controller.hold((self.head.angle_rad - sag_rad).to_degrees());
    }

    /// Puts the lever on a pin and holds still; an index beyond the last pin is ignored.
    pub fn seat(&mut self, pin_index: usize) {
        if pin_index >= self.stations.len() {
            return;
        }
        self.hold_off_pin();
        self.place = Place::Way { samples: WAY_SAMPLES, pin: pin_index };
    }

    /// From now on the hand holds the lever so.
    pub fn take_hold(&mut self, hold: Hold) {
        self.sensors.take_hold(&self.lever, hold);
    }

    /// From now on the handle points elsewhere, or the plank is another one's.
    pub fn face(&mut self, posture: Posture) {
        self.lever.posture = posture;
        self.weigh();
    }

    /// Time passes without a sample, the lever in the air: its zero and temperature go on.
    pub fn wait(&mut self, wait_s: f64) {
        self.sensors.wait(&self.lever, wait_s);
    }

    /// Starts a gesture where the lever is.
    pub fn perform(&mut self, gesture: Gesture) {
        self.controller.perform(gesture);
    }

    /// Takes the lever off its pin.
    pub fn lift(&mut self) {
        self.hold_off_pin();
        self.place = Place::Air { unrest_samples: LIFT_SAMPLES };
    }

    /// Whether the gesture is finished and the hand at rest.
    pub fn is_idle(&self) -> bool {
        let at_rest = match self.place {
            Place::Air { unrest_samples } => unrest_samples == 0,
            Place::Way { .. } => false,
            Place::Pin(_) => true,
        };
        at_rest && self.controller.is_idle()
    }

    /// The pin the lever is on.
    pub fn pin_index(&self) -> Option<usize> {
        match self.place {
            Place::Pin(index) => Some(index),
            _ => None,
        }
    }

    /// Angle of the lever's head, degrees in the frame of the pin it is on.
    pub fn head_deg(&self) -> f64 {
        self.head.angle_rad.to_degrees()
    }

    /// Torque of the hand now, N·m: what a perfect cell would read (mirrored if reverse-wound).
    pub fn cell_nm(&self) -> f64 {
        self.head.hand_nm
    }

    /// Torque on the pin now, N·m: the hand's and the lever's own weight.
    pub fn pin_torque_nm(&self) -> f64 {
        self.head.hand_nm + self.weight_nm
    }

    /// Speed of the hand itself, deg/s in the frame of the pin; a pin that jumps turns the head
    /// faster than this.
    pub fn hand_speed_deg_s(&self) -> f64 {
        self.controller.speed_deg_s()
    }

    /// Rotation of one pin's foot from where it was found, degrees; 0 if there is no such pin.
    pub fn foot_deg(&self, pin_index: usize) -> f64 {
        self.stations.get(pin_index).map_or(0.0, |station| station.foot_rad().to_degrees())
    }

    /// Moment of the string on one pin now, N·m, with what its bearing holds; 0 if there is no
    /// such pin.
    pub fn pin_moment_nm(&self, pin_index: usize) -> f64 {
        self.stations.get(pin_index).map_or(0.0, |station| station.wire.pin_moment_nm())
    }

    /// How one pin really is.
    ///
    /// # Panics
    /// If there is no such pin.
    pub fn truth(&self, pin_index: usize) -> PinTruth {
        let piano_pin = &self.piano.pins[pin_index];
        let station = &self.stations[pin_index];
        PinTruth {
            friction_nm: piano_pin.friction_nm,
            drag_nm: piano_pin.drag_nm,
            moment_found_nm: piano_pin.moment_nm,
            moment_nm: station.wire.speaking_moment_nm(),
            moment_at_pitch_nm: piano_pin.moment_at_pitch_nm,
            coil_deg: station.pin.coil_rad().to_degrees(),
            foot_deg: station.foot_rad().to_degrees(),
            foot_sharpest_deg: station.sharpest_rad().to_degrees(),
            loose: piano_pin.loose,
            strokes: station.strokes.clone(),
        }
    }

    /// The next sample.
    pub fn next_sample(&mut self) -> Tick {
        if self.sample.is_multiple_of(WEIGHT_SAMPLES) {
            self.weigh();
        }
        self.move_about();
        let felt = Felt {
            head_deg: self.head.angle_rad.to_degrees(),
            torque_nm: self.head.hand_nm + self.weight_nm,
        };
        let command = self.controller.step(felt, SAMPLE_PERIOD_S);
        self.swing(&command);
        if command.slips_off {
            self.leave_pin();
            self.place = Place::Air { unrest_samples: 0 };
        }
        self.sample += 1;
        let reality = Reality {
            cell_nm: self.mirror * self.head.hand_nm,
            rate_deg_s: self.mirror * self.head.rate_rad_s.to_degrees(),
            turned_rad: self.handle_rad + self.mirror * self.head.angle_rad,
        };
        let (sample, motion) = self.sensors.convert(&self.lever, &reality);
        Tick { sample, motion }
    }

    /// Moment of the lever's own weight about the pin: w·f_y/g.
    fn weigh(&mut self) {
        let turned_rad = self.handle_rad + self.mirror * self.head.angle_rad;
        let force = self.lever.posture.specific_force(turned_rad);
        self.weight_nm = self.mirror * self.lever.weight_moment_nm * force[1];
    }

    /// One step of the head's motion.
    fn swing(&mut self, command: &Command) {
        let tremor_deg = self.hand.tremor_deg * self.tremor.next_sample();
        let place_rad = (command.place_deg + tremor_deg).to_radians();
        let speed_rad_s = command.speed_deg_s.to_radians();
        let on_seating = !self.controller.has_worked_this_pin();
        let station = match self.place {
            Place::Pin(index) => self.stations.get_mut(index),
            _ => None,
        };
        let resisting_nm =
            |head_rad| station.map_or(0.0, |station| station.turn(head_rad, on_seating));
        self.head.step(place_rad, speed_rad_s, self.weight_nm, SAMPLE_PERIOD_S, resisting_nm);
    }

    /// What happens between pins.
    fn move_about(&mut self) {
        match self.place {
            Place::Pin(_) | Place::Air { unrest_samples: 0 } => {}
            Place::Air { unrest_samples } => {
                self.place = Place::Air { unrest_samples: unrest_samples - 1 };
                self.jostle(unrest_samples > 100);
            }
            Place::Way { samples: 0, pin } => self.arrive(pin),
            Place::Way { samples, pin } => {
                self.place = Place::Way { samples: samples - 1, pin };
                self.jostle(true);
            }
        }
    }

    /// A hand on the move shakes the lever.
    fn jostle(&mut self, moving: bool) {
        if moving && self.sample.is_multiple_of(50) {
            let kick = self.random.normal_within(0.0, 0.4, 2.5);
            self.head.rate_rad_s += kick;
        }
    }

    fn arrive(&mut self, pin_index: usize) {
        self.handle_rad = self.random.uniform(-HANDLE_TURN_MAX_RAD, HANDLE_TURN_MAX_RAD);
        let station = &mut self.stations[pin_index];
        let away_s = (self.sample - station.left_at_sample) as f64 * SAMPLE_PERIOD_S;
        station.pin.rest(away_s);
        let play_rad = self.lever.tip_play_rad * self.random.uniform(-0.45, 0.45);
        self.head.angle_rad = station.pin.tip_at_rest_rad() + play_rad;
        self.head.rate_rad_s = 0.0;
        self.place = Place::Pin(pin_index);
        self.mirror = if self.piano.pins[pin_index].reverse_wound { -1.0 } else { 1.0 };
        self.controller.seat(self.head.angle_rad.to_degrees());
        self.weigh();
    }

    fn leave_pin(&mut self) {
        if let Place::Pin(index) = self.place {
            self.stations[index].release(self.sample);
            self.mirror = 1.0;
        }
    }
}

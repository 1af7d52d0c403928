//! Lamp, beeps and sleep: what is shown, and when nobody looks.
//!
//! Deliberately not here: beeps in number and time ([`crate::beeper`]).
//!
//! Invariant: a beep is only begun while no pin turns or is loaded, as far as can be known.

use pinhold_protocol::message::Phase;
use pinhold_protocol::units::DeviceTime;

use super::Lever;
use crate::beeper::Beeps;
use crate::log::RecordLog;
use crate::stroke::{State, TORQUE_STOP_NM, TORQUE_WARN_NM};
use crate::{Lamp, Signals};

/// Torque from which a pin counts as loaded, N·m: beeps wait.
const LOADED_NM: f32 = 1.0;
/// Time the lamp says "accepted" before it asks for the next pin, milliseconds.
const ACCEPTED_MS: u32 = 1_000;
/// Time without button, host or pin after which the lever sleeps, milliseconds.
const IDLE_MS: u32 = 5 * 60_000;

impl<L: RecordLog> Lever<L> {
    /// What happens some times a second.
    pub(super) fn look_around(&mut self, now: DeviceTime) {
        if self.asleep {
            return;
        }
        self.test.look(now);
        self.fault_shown = self.fault_lamp();
        if self.zeroing.is_some() || self.is_moving() {
            self.active = now;
        }
        if now.milliseconds_since(self.active) < IDLE_MS || self.supply.power().external {
            return;
        }
        // Nobody came to the pin that the lever waits for by itself.
        if self.session.is_some() && self.alone.is_some() {
            self.stop_alone();
        }
        self.asleep = self.session.is_none();
    }

    /// Somebody is there.
    pub(super) fn wake(&mut self, now: DeviceTime) {
        self.active = now;
        if self.asleep {
            self.asleep = false;
            self.test.wake();
            // It may have grown cold, and shows another zero.
            self.needs_zero = true;
        }
    }

    pub(super) fn signals(&mut self, now: DeviceTime) -> Signals {
        let lamp = self.lamp(now);
        if self.is_moving() {
            self.beeper.drop_all();
        }
        let beep = self.beeper.step(now, self.is_quiet());
        let pin = self.session.as_ref().map(|session| session.pin);
        Signals { lamp, beep, pin, asleep: self.asleep }
    }

    pub(super) fn lamp(&self, now: DeviceTime) -> Lamp {
        let torque_nm = self.last_torque_nm.abs();
        if self.asleep {
            return Lamp::Idle;
        }
        if torque_nm > TORQUE_STOP_NM {
            return Lamp::Stop;
        }
        if torque_nm > TORQUE_WARN_NM {
            return Lamp::Hard;
        }
        if self.is_too_far() {
            return Lamp::TooFar;
        }
        let just_accepted =
            self.accepted.is_some_and(|then| now.milliseconds_since(then) < ACCEPTED_MS);
        match self.phase {
            Phase::Seating | Phase::Idle if just_accepted => Lamp::Accepted,
            Phase::Idle if self.told_full => Lamp::Full,
            Phase::Idle => self.fault_shown.unwrap_or(Lamp::Idle),
            Phase::Zeroing => Lamp::Zero,
            Phase::Seating => Lamp::Seat,
            Phase::Rest => Lamp::Ready,
            Phase::Loading | Phase::Slip | Phase::Unloading => Lamp::Moving,
            Phase::Accepted => Lamp::Accepted,
            Phase::Repeat => Lamp::Repeat,
        }
    }

    /// Whether a stroke is under way on the pin in hand.
    pub(super) fn is_moving(&self) -> bool {
        self.session.is_some() && self.finder.state() == State::Active
    }

    /// Whether no pin turns or is loaded, as far as can be known.
    pub(super) fn is_quiet(&self) -> bool {
        if self.is_moving() {
            return false;
        }
        if self.zeroed {
            return self.last_torque_nm.abs() < LOADED_NM;
        }
        // Torques mean little yet.
        self.session.is_none() || self.finder.state() == State::Rest
    }

    pub(super) fn beep(&mut self, beeps: Beeps) {
        self.beeper.ask(self.now, beeps);
    }

    pub(super) fn is_too_far(&self) -> bool {
        self.session.is_some()
            && self.finder.state() == State::Active
            && self.finder.coil_movement_rad().abs() > 2.0 * self.slip_asked_rad
    }
}

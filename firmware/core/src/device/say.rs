//! What the lever says of itself.
//!
//! Deliberately not here: when ([`super::commands`]), records ([`super::records`]).

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromLever, Hello, Live, Reply, Status};
use pinhold_protocol::record::RECORD_VERSION;
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use super::Lever;
use crate::log::RecordLog;

/// Firmware version: major, minor, patch.
const FIRMWARE_VERSION: [u8; 3] = [0, 1, 0];

impl<L: RecordLog> Lever<L> {
    /// Queues a reply; where there is no room the host asks again.
    pub(super) fn reply(&mut self, to: u16, result: CommandResult) {
        let _ = self.link.send(&FromLever::Reply(Reply { to, result }));
    }

    pub(super) fn say_hello(&mut self, now: DeviceTime) {
        let (committed_floor, committed_chain) = self.log.committed();
        let _ = self.link.send(&FromLever::Hello(Hello {
            protocol_min: PROTOCOL_VERSION,
            protocol_max: PROTOCOL_VERSION,
            device: self.identity.device,
            epoch: self.log.epoch(),
            firmware: FIRMWARE_VERSION,
            record_version: RECORD_VERSION,
            now,
            oldest_record: self.log.oldest_number(),
            next_record: self.log.next_number(),
            committed_floor,
            committed_chain,
            sample_period_ns: self.identity.sample_period_ns,
            calibration: self.pipeline.calibration.number,
            zeroed: self.zeroed,
            survey: self.survey_in_hand(),
        }));
    }

    pub(super) fn say_status(&mut self) {
        let _ = self.link.send(&FromLever::Status(Status {
            link: self.link.counters(),
            dropped_block_count: self.dropped_block_count,
            missed_sample_count: self.missed_sample_count,
            saturated_sample_count: self.pipeline.saturated_sample_count,
        }));
    }

    pub(super) fn say_health(&mut self) {
        let health = self.health();
        let _ = self.link.send(&FromLever::Health(health));
    }

    pub(super) fn say_plan(&mut self) {
        let state = self.plan_state();
        let _ = self.link.send(&FromLever::PlanState(state));
    }

    pub(super) fn say_live(&mut self) {
        let angle_rad = self.finder.coil_movement_rad();
        let live = Live {
            pin: self.session.as_ref().map(|session| session.pin),
            phase: self.phase,
            torque: Torque::from_newton_metres_f32(self.last_torque_nm).unwrap_or_default(),
            angle: Angle::from_radians_f32(angle_rad).unwrap_or_default(),
            next_record: self.log.next_number(),
            committed_floor: self.log.committed().0,
            dropped_block_count: self.dropped_block_count,
            missed_sample_count: self.missed_sample_count,
        };
        let _ = self.link.send_droppable(&FromLever::Live(live));
    }

    /// The survey that a reading now belongs to; 0 for none.
    pub(super) fn survey_in_hand(&self) -> u64 {
        if self.alone.is_some() { self.plan.name } else { self.survey }
    }

    /// Something is going on that a host would like to see.
    pub(super) fn is_busy(&self) -> bool {
        self.alone.is_some() || self.zeroing.is_some()
    }

    /// Whether a host was there lately: without one nothing is queued that nobody would hear.
    pub(super) fn is_heard(&self, now: DeviceTime) -> bool {
        self.heard.is_some_and(|heard| now.milliseconds_since(heard) < super::HEARD_MS)
    }
}

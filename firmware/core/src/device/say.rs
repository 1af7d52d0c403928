//! What the lever says of itself.
//!
//! Deliberately not here: when ([`super::commands`]), records ([`super::records`]).

use super::*;

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
            survey: self.survey,
        }));
    }

    pub(super) fn say_live(&mut self) {
        let angle_rad = self.finder.coil_movement_rad();
        let live = Live {
            pin: self.session.as_ref().map(|session| session.pin),
            phase: self.phase,
            torque: Torque::from_newton_metres(f64::from(self.last_torque_nm)).unwrap_or_default(),
            angle: Angle::from_radians(f64::from(angle_rad)).unwrap_or_default(),
            next_record: self.log.next_number(),
            committed_floor: self.log.committed().0,
            dropped_block_count: self.dropped_block_count,
            missed_sample_count: self.missed_sample_count,
        };
        let _ = self.link.send_droppable(&FromLever::Live(live));
    }
}

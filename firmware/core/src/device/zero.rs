//! Taking the zero, off the pin.
//!
//! Deliberately not here: what a zero does to counts ([`crate::calibration`]).

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Phase;
use pinhold_protocol::units::DeviceTime;

use super::Lever;
use crate::log::RecordLog;
use crate::sample::{BIN_SAMPLE_COUNT, FinishedBin};
use crate::stroke::RAD_PER_DEG;

/// Bins averaged for a zero: half a second.
const ZERO_BIN_COUNT: u32 = 50;
/// Largest rate that can be a gyro's bias when the zero is taken, radians per second.
const ZERO_RATE_MAX: f32 = 3.0 * RAD_PER_DEG;
/// Largest spread of bin torques while the zero is taken, N·m.
const ZERO_TORQUE_RANGE_NM: f32 = 0.1;

/// Who wants a zero.
#[derive(Clone, Copy, Debug)]
pub(super) enum Asker {
    /// The host, by the command with this sequence number.
    Host(u16),
    /// The operator.
    Buttons,
}

/// A zero being taken.
#[derive(Clone, Copy, Debug)]
pub(super) struct Zeroing {
    asker: Asker,
    bin_count: u32,
    code_sum: i64,
    rate_sum: i64,
    torque_low_nm: f32,
    torque_high_nm: f32,
}

impl Zeroing {
    pub(super) fn is_for_buttons(&self) -> bool {
        matches!(self.asker, Asker::Buttons)
    }
}

impl<L: RecordLog> Lever<L> {
    pub(super) fn take_zero_bin(&mut self, now: DeviceTime, finished: &FinishedBin) {
        let Some(zeroing) = self.zeroing.as_mut() else { return };
        zeroing.bin_count += 1;
        zeroing.code_sum += finished.code_sum;
        zeroing.rate_sum += finished.rate_sum;
        zeroing.torque_low_nm = zeroing.torque_low_nm.min(finished.bin.torque_nm);
        zeroing.torque_high_nm = zeroing.torque_high_nm.max(finished.bin.torque_nm);
        if zeroing.bin_count < ZERO_BIN_COUNT {
            return;
        }
        let done = *zeroing;
        self.zeroing = None;
        self.phase = Phase::Idle;
        let result = self.finish_zero(&done);
        match (done.asker, result) {
            (Asker::Host(sequence), _) => self.reply(sequence, result),
            (Asker::Buttons, CommandResult::Done) => self.zero_taken(now),
            (Asker::Buttons, _) => self.zero_failed(result),
        }
    }

    fn finish_zero(&mut self, done: &Zeroing) -> CommandResult {
        let sample_count = done.bin_count * BIN_SAMPLE_COUNT;
        let bias_before = self.pipeline.rate_radians_per_second(done.rate_sum, sample_count);
        let still = done.torque_high_nm - done.torque_low_nm < ZERO_TORQUE_RANGE_NM
            && bias_before.abs() < ZERO_RATE_MAX;
        if !still {
            return CommandResult::NotAtRest;
        }
        let across = self.pipeline.motion.acceleration_milli_g[1];
        self.zero_shown_nm = self.reference.mean_torque_nm(done.code_sum, sample_count, across);
        if !self.test.note_zero(self.zero_shown_nm) {
            // Taken on a pin under load, or with a cell that was bent: either way no zero.
            return CommandResult::NotFit;
        }
        self.pipeline.calibration.take_zero(done.code_sum, sample_count, across);
        self.pipeline.set_bias(done.rate_sum, sample_count);
        self.zeroed = true;
        CommandResult::Done
    }

    pub(super) fn start_zero(&mut self, command_sequence: u16) -> Option<CommandResult> {
        // Never on a pin: a reading in hand would lose its zero under it.
        if self.session.is_some() {
            return Some(CommandResult::PinMoving);
        }
        self.stop_alone();
        self.begin_zero(Asker::Host(command_sequence));
        None
    }

    pub(super) fn begin_zero(&mut self, asker: Asker) {
        self.zeroing = Some(Zeroing {
            asker,
            bin_count: 0,
            code_sum: 0,
            rate_sum: 0,
            torque_low_nm: f32::INFINITY,
            torque_high_nm: f32::NEG_INFINITY,
        });
        self.phase = Phase::Zeroing;
    }
}

//! Taking the zero, off the pin.
//!
//! Deliberately not here: what a zero does to counts ([`crate::calibration`]).

use super::*;

impl<L: RecordLog> Lever<L> {
    pub(super) fn take_zero_bin(&mut self, finished: &FinishedBin) {
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
        let sample_count = done.bin_count * BIN_SAMPLE_COUNT;
        let bias_before = self.pipeline.rate_radians_per_second(done.rate_sum, sample_count);
        let still = done.torque_high_nm - done.torque_low_nm < ZERO_TORQUE_RANGE_NM
            && bias_before.abs() < ZERO_RATE_MAX;
        if still {
            let across = self.pipeline.motion.acceleration_milli_g[1];
            self.pipeline.calibration.take_zero(done.code_sum, sample_count, across);
            self.pipeline.set_bias(done.rate_sum, sample_count);
            self.zeroed = true;
        }
        let result = if still { CommandResult::Done } else { CommandResult::NotAtRest };
        self.reply(done.command_sequence, result);
    }

    pub(super) fn start_zero(&mut self, command_sequence: u16) -> Option<CommandResult> {
        // Never on a pin: a reading in hand would lose its zero under it.
        if self.session.is_some() {
            return Some(CommandResult::PinMoving);
        }
        self.zeroing = Some(Zeroing {
            command_sequence,
            bin_count: 0,
            code_sum: 0,
            rate_sum: 0,
            torque_low_nm: f32::INFINITY,
            torque_high_nm: f32::NEG_INFINITY,
        });
        self.phase = Phase::Zeroing;
        None
    }
}

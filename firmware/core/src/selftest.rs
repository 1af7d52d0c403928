//! The self-test: over the first second of samples, and cheaply from then on.
//!
//! It looks at bins and time stamps that are there anyhow. A fault stands as long as its cause: a
//! cable put back clears it. Deliberately not here: what the flash log says of itself and the
//! battery (the caller adds them), and what is shown and refused ([`crate::device`]).
//!
//! Invariant: a fault never ends a pin under way; those that [`blocks`] names keep the next one
//! from being begun.

use pinhold_protocol::division::divided;
use pinhold_protocol::error::Fault;
use pinhold_protocol::units::DeviceTime;

use crate::sample::{BIN_SAMPLE_COUNT, FinishedBin};
use crate::{Board, RawMotion};

/// Bins without a fault that make a test: a second at 1 kHz.
pub const TEST_BIN_COUNT: u32 = 100;
/// Time without a sample, or without a value of the motion sensor, that makes it silent.
pub const SILENT_MS: u32 = 300;
/// Bins with the same sum of codes in a row: a converter at work shows noise in each.
pub const STUCK_BIN_COUNT: u32 = 100;
/// Saturated bins in a row.
pub const SATURATED_BIN_COUNT: u32 = 30;
/// Specific force a lever at rest can show, thousandths of g: 1 g, and a fifth for the offset and
/// scale of an uncalibrated sensor and a hand not quite still (MEM).
pub const REST_MILLI_G: core::ops::RangeInclusive<i32> = 800..=1_200;
/// Bins at rest with another one in a row.
pub const IMPLAUSIBLE_BIN_COUNT: u32 = 100;
/// Change of torque from bin to bin at rest, N·m.
const CALM_TORQUE_NM: f32 = 0.1;
/// Rate of a lever at rest, counts: 5 degrees per second, room for an uncalibrated bias.
const CALM_RATE_COUNT: u32 = 1_143;
/// Rate at the end of its range, counts: no hand turns a lever at 140 degrees per second for a
/// second.
const END_RATE_COUNT: u32 = 32_000;
/// Torque off the pin by the calibration's own zero, N·m: a tenth of a 30 N·m cell. Bare cells are
/// balanced to some hundredths (MEM); a lever that shows more was overloaded, or is on a pin.
pub const ZERO_NM_MAX: f32 = 3.0;
/// Deviation of a sensor's period from what it is set to, as a divisor: a twentieth. Oscillators of
/// such sensors are good for one to three hundredths (MEM).
const PERIOD_DIVISOR: u32 = 20;
/// Samples, or values, a period is measured over.
pub const PERIOD_COUNT: u32 = 1_000;

/// Whether a fault keeps a pin from being begun.
///
/// Those that do would give wrong readings or none. A flash that failed a write, a battery that is
/// low (which refuses by itself) and a period that is off are told and shown: the log keeps what it
/// says it keeps, and angles use the period that was measured.
pub const fn blocks(fault: Fault) -> bool {
    !matches!(fault, Fault::FlashFailing | Fault::BatteryLow | Fault::PeriodOff)
}

/// Measures a period against the lever's clock.
#[derive(Clone, Copy, Debug, Default)]
struct PeriodMeter {
    from: Option<DeviceTime>,
    count: u32,
    /// 0 before the first was measured.
    period_ns: u32,
}

impl PeriodMeter {
    fn take(&mut self, now: DeviceTime, count: u32) {
        let Some(from) = self.from else {
            self.from = Some(now);
            return;
        };
        self.count = self.count.saturating_add(count);
        if self.count < PERIOD_COUNT {
            return;
        }
        let span_us = now.microseconds().saturating_sub(from.microseconds());
        let period_ns = divided(span_us.saturating_mul(1_000), self.count);
        self.period_ns = u32::try_from(period_ns).unwrap_or(0);
        self.from = Some(now);
        self.count = 0;
    }

    fn is_off(&self, nominal_ns: u32) -> bool {
        let known = nominal_ns != 0 && self.period_ns != 0;
        known && self.period_ns.abs_diff(nominal_ns) > nominal_ns / PERIOD_DIVISOR
    }
}

/// The self-test.
#[derive(Clone, Debug)]
pub struct SelfTest {
    board: Board,
    /// Since when the sensors should be at work.
    since: Option<DeviceTime>,
    last_bin: Option<DeviceTime>,
    last_motion: Option<DeviceTime>,
    bridge: PeriodMeter,
    motion: PeriodMeter,
    has_attitude: bool,
    bin_count: u32,
    last_code_sum: i64,
    last_rate_sum: i64,
    last_torque_nm: f32,
    same_code_count: u32,
    same_rate_count: u32,
    saturated_count: u32,
    implausible_count: u32,
    end_rate_count: u32,
    faults: u32,
}

impl SelfTest {
    /// Nothing seen yet.
    pub fn new() -> SelfTest {
        SelfTest {
            board: Board::default(),
            since: None,
            last_bin: None,
            last_motion: None,
            bridge: PeriodMeter::default(),
            motion: PeriodMeter::default(),
            has_attitude: false,
            bin_count: 0,
            last_code_sum: 0,
            last_rate_sum: 0,
            last_torque_nm: 0.0,
            same_code_count: 0,
            same_rate_count: 0,
            saturated_count: 0,
            implausible_count: 0,
            end_rate_count: 0,
            faults: 0,
        }
    }

    /// What the board says of its sensors.
    pub fn set_board(&mut self, board: Board) {
        self.board = board;
    }

    /// Whether nothing came yet, not even time.
    pub fn is_fresh(&self) -> bool {
        self.since.is_none() && self.last_bin.is_none()
    }

    /// Bits of all faults that stand.
    pub fn faults(&self) -> u32 {
        self.faults
    }

    /// Whether a second of samples was seen, or their absence.
    pub fn is_done(&self) -> bool {
        self.bin_count >= TEST_BIN_COUNT || self.faults & Fault::ConverterSilent.bit() != 0
    }

    /// Measured periods of bridge and motion sensor, nanoseconds; 0 not measured yet.
    pub fn periods_ns(&self) -> (u32, u32) {
        (self.bridge.period_ns, self.motion.period_ns)
    }

    fn set(&mut self, fault: Fault, found: bool) {
        if found {
            self.faults |= fault.bit();
        } else {
            self.faults &= !fault.bit();
        }
    }

    /// The sensors start, or start again: silence and periods count from now on.
    pub fn wake(&mut self) {
        self.since = None;
        self.last_bin = None;
        self.last_motion = None;
        self.bridge.from = None;
        self.bridge.count = 0;
        self.motion.from = None;
        self.motion.count = 0;
    }

    /// Samples were missed.
    pub fn note_missed(&mut self, now: DeviceTime, count: u32) {
        self.bridge.take(now, count);
    }

    /// Values came from the motion sensor.
    pub fn note_motion(&mut self, now: DeviceTime, count: u32) {
        if count > 0 {
            self.last_motion = Some(now);
            self.motion.take(now, count);
        }
    }

    /// An attitude came.
    pub fn note_attitude(&mut self) {
        self.has_attitude = true;
    }

    /// The wire-break test.
    pub fn note_bridge(&mut self, connected: bool) {
        self.set(Fault::BridgeOpen, !connected);
    }

    /// A zero was taken; torque shown by the calibration's own. `false` when that is off limits.
    pub fn note_zero(&mut self, shown_nm: f32) -> bool {
        let fine = shown_nm.abs() <= ZERO_NM_MAX;
        self.set(Fault::ZeroOffLimits, !fine);
        fine
    }

    /// Looks at the time; called some times a second at least while the lever is awake.
    pub fn look(&mut self, now: DeviceTime) {
        let since = *self.since.get_or_insert(now);
        let silent =
            |last: Option<DeviceTime>| now.milliseconds_since(last.unwrap_or(since)) > SILENT_MS;
        self.set(Fault::ConverterSilent, silent(self.last_bin));
        let motion_stuck = self.same_rate_count >= STUCK_BIN_COUNT;
        let motion_silent = self.board.motion_period_nominal_ns != 0 && silent(self.last_motion);
        self.set(Fault::MotionSilent, motion_stuck || motion_silent);
        let off = self.bridge.is_off(self.board.bridge_period_nominal_ns)
            || self.motion.is_off(self.board.motion_period_nominal_ns);
        self.set(Fault::PeriodOff, off);
    }

    /// Looks at a bin that ended now, measured under `motion`.
    pub fn take_bin(&mut self, now: DeviceTime, finished: &FinishedBin, motion: &RawMotion) {
        self.last_bin = Some(now);
        self.bridge.take(now, BIN_SAMPLE_COUNT);
        self.bin_count = self.bin_count.saturating_add(1);
        let count = |count: u32, again: bool| if again { count.saturating_add(1) } else { 0 };
        let same_code = finished.code_sum == self.last_code_sum;
        self.same_code_count = count(self.same_code_count, same_code && !finished.saturated);
        self.same_rate_count = count(self.same_rate_count, finished.rate_sum == self.last_rate_sum);
        self.saturated_count = count(self.saturated_count, finished.saturated);
        let rate_sum = u32::try_from(finished.rate_sum.unsigned_abs()).unwrap_or(u32::MAX);
        let rate_count = rate_sum / BIN_SAMPLE_COUNT;
        let at_end = rate_count >= END_RATE_COUNT;
        self.end_rate_count = count(self.end_rate_count, at_end);
        let torque_nm = finished.bin.torque_nm;
        let calm = (torque_nm - self.last_torque_nm).abs() < CALM_TORQUE_NM
            && rate_count < CALM_RATE_COUNT;
        if calm && self.has_attitude {
            self.implausible_count = count(self.implausible_count, !is_gravity(motion));
        }
        self.last_code_sum = finished.code_sum;
        self.last_rate_sum = finished.rate_sum;
        self.last_torque_nm = torque_nm;
        self.set(Fault::ConverterStuck, self.same_code_count >= STUCK_BIN_COUNT);
        self.set(Fault::ConverterSaturated, self.saturated_count >= SATURATED_BIN_COUNT);
        let implausible = self.implausible_count >= IMPLAUSIBLE_BIN_COUNT
            || self.end_rate_count >= IMPLAUSIBLE_BIN_COUNT;
        self.set(Fault::MotionImplausible, implausible);
    }
}

impl Default for SelfTest {
    fn default() -> Self {
        SelfTest::new()
    }
}

/// Whether the specific force is that of a lever at rest.
fn is_gravity(motion: &RawMotion) -> bool {
    let squares = motion.acceleration_milli_g.map(|part| i64::from(part) * i64::from(part));
    let square: i64 = squares.iter().sum();
    let (low, high) = (i64::from(*REST_MILLI_G.start()), i64::from(*REST_MILLI_G.end()));
    (low * low..=high * high).contains(&square)
}

//! Calibration and plan as they rest in the log's settings; `firmware/core/settings.md` is
//! normative.
//!
//! Deliberately not here: how settings are kept and checked for damage ([`crate::log`]).
//!
//! Invariant: what was decoded encodes to the same bytes.

use pinhold_protocol::message::PLAN_PIN_COUNT_MAX;
use pinhold_protocol::units::Angle;

use crate::calibration::Calibration;
use crate::log::SETTINGS_BYTES_MAX;
use crate::plan::{PINS_BYTES_MAX, Plan, SLIP_MICRORADIANS, bytes_of, unpacked};

/// Version of the settings this firmware writes.
pub const SETTINGS_VERSION: u8 = 1;
/// Bytes in front: version and what there is.
const HEAD_BYTES: usize = 2;
/// Bytes of a calibration.
const CALIBRATION_BYTES: usize = 20;
/// Bytes of a plan beside its pins.
const PLAN_HEAD_BYTES: usize = 14;
/// There is a calibration.
const HAS_CALIBRATION: u8 = 1 << 0;
/// There is a plan.
const HAS_PLAN: u8 = 1 << 1;
/// Newton-metres per count a bridge can have: a hundredth to a hundred times the nominal.
const SPAN_NM_PER_COUNT: core::ops::RangeInclusive<f32> = 7e-8..=7e-4;
/// Moment of its own weight that a lever can have, N·m.
const WEIGHT_MOMENT_NM: core::ops::RangeInclusive<f32> = 0.0..=10.0;
/// Bridge zero, counts with fraction bits: within the converter's range.
const ZERO_CODE_Q8: core::ops::RangeInclusive<i64> = -(1 << 31)..=(1 << 31);

const _: () = assert!(
    HEAD_BYTES + CALIBRATION_BYTES + PLAN_HEAD_BYTES + PINS_BYTES_MAX <= SETTINGS_BYTES_MAX
);

/// What the settings say.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Calibration, where one was made.
    pub calibration: Option<Calibration>,
    /// Plan, where there is one.
    pub plan: Plan,
}

/// Why settings cannot be used. They must not be overwritten without being asked to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SettingsError {
    /// A later firmware wrote them.
    Newer,
    /// They are not what their version says.
    Broken,
}

/// Room for any settings.
pub type SettingsBuffer = [u8; SETTINGS_BYTES_MAX];

/// Bytes out, in order.
struct Writer<'a> {
    bytes: &'a mut SettingsBuffer,
    byte_count: usize,
}

impl Writer<'_> {
    fn put(&mut self, bytes: &[u8]) {
        let end = self.byte_count + bytes.len();
        // Always fits, see the assertion above.
        if let Some(room) = self.bytes.get_mut(self.byte_count..end) {
            room.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
            self.byte_count = end;
        }
    }
}

/// Writes settings; their length, bytes.
pub fn encode(
    calibration: Option<&Calibration>,
    plan: &Plan,
    destination: &mut SettingsBuffer,
) -> usize {
    let mut writer = Writer { bytes: destination, byte_count: 0 };
    let has_calibration = if calibration.is_some() { HAS_CALIBRATION } else { 0 };
    let has_plan = if plan.is_none() { 0 } else { HAS_PLAN };
    writer.put(&[SETTINGS_VERSION, has_calibration | has_plan]);
    if let Some(calibration) = calibration {
        writer.put(&calibration.number.to_le_bytes());
        writer.put(&calibration.zero_code_q8.to_le_bytes());
        writer.put(&calibration.span_nm_per_count.to_bits().to_le_bytes());
        writer.put(&calibration.weight_moment_nm.to_bits().to_le_bytes());
    }
    if !plan.is_none() {
        writer.put(&plan.name.to_le_bytes());
        writer.put(&plan.slip.microradians().to_le_bytes());
        writer.put(&plan.pin_count().to_le_bytes());
        writer.put(plan.packed());
    }
    writer.byte_count
}

/// Bytes in, in order.
struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn take(&mut self, byte_count: usize) -> Result<&'a [u8], SettingsError> {
        let (bytes, rest) = self.0.split_at_checked(byte_count).ok_or(SettingsError::Broken)?;
        self.0 = rest;
        Ok(bytes)
    }

    fn number<const BYTES: usize>(&mut self) -> Result<[u8; BYTES], SettingsError> {
        self.take(BYTES)?.try_into().map_err(|_| SettingsError::Broken)
    }
}

/// Reads settings.
///
/// # Errors
/// [`SettingsError`].
pub fn decode(bytes: &[u8]) -> Result<Settings, SettingsError> {
    let mut reader = Reader(bytes);
    let [version, what] = reader.number()?;
    if version > SETTINGS_VERSION {
        return Err(SettingsError::Newer);
    }
    if version != SETTINGS_VERSION || what & !(HAS_CALIBRATION | HAS_PLAN) != 0 {
        return Err(SettingsError::Broken);
    }
    let calibration = match what & HAS_CALIBRATION {
        0 => None,
        _ => Some(decode_calibration(&mut reader)?),
    };
    let plan = if what & HAS_PLAN == 0 { Plan::NONE } else { decode_plan(&mut reader)? };
    if reader.0.is_empty() {
        Ok(Settings { calibration, plan })
    } else {
        Err(SettingsError::Broken)
    }
}

/// Whether a calibration is one that settings may hold: its zero, span and weight possible.
pub fn is_possible(calibration: &Calibration) -> bool {
    // Not a number is in no range.
    SPAN_NM_PER_COUNT.contains(&calibration.span_nm_per_count)
        && WEIGHT_MOMENT_NM.contains(&calibration.weight_moment_nm)
        && ZERO_CODE_Q8.contains(&calibration.zero_code_q8)
}

fn decode_calibration(reader: &mut Reader<'_>) -> Result<Calibration, SettingsError> {
    let calibration = Calibration {
        number: u32::from_le_bytes(reader.number()?),
        zero_code_q8: i64::from_le_bytes(reader.number()?),
        span_nm_per_count: f32::from_bits(u32::from_le_bytes(reader.number()?)),
        weight_moment_nm: f32::from_bits(u32::from_le_bytes(reader.number()?)),
    };
    if is_possible(&calibration) { Ok(calibration) } else { Err(SettingsError::Broken) }
}

fn decode_plan(reader: &mut Reader<'_>) -> Result<Plan, SettingsError> {
    let name = u64::from_le_bytes(reader.number()?);
    let slip = Angle::from_microradians(i32::from_le_bytes(reader.number()?));
    let pin_count = u16::from_le_bytes(reader.number()?);
    let in_range = (1..=PLAN_PIN_COUNT_MAX).contains(&pin_count.into());
    if name == 0 || !in_range || !SLIP_MICRORADIANS.contains(&slip.microradians()) {
        return Err(SettingsError::Broken);
    }
    let packed = reader.take(bytes_of(pin_count.into()))?;
    let mut plan = Plan::begun(name, slip);
    for place in 0..pin_count {
        let pin = unpacked(packed, place).ok_or(SettingsError::Broken)?;
        if !plan.push(pin) {
            return Err(SettingsError::Broken);
        }
    }
    // Bits behind the last pin say nothing, and so are zero.
    if plan.packed() == packed { Ok(plan) } else { Err(SettingsError::Broken) }
}

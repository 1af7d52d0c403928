//! What the lever keeps beside its records: calibration and plan.

use pinhold_lever::calibration::Calibration;
use pinhold_lever::plan::Plan;
use pinhold_lever::settings::{SettingsBuffer, decode, encode};

fn written(calibration: Option<&Calibration>, plan: &Plan) -> Vec<u8> {
    let mut room: SettingsBuffer = [0; size_of::<SettingsBuffer>()];
    let used = encode(calibration, plan, &mut room);
    room[..used].to_vec()
}

/// For [`run`].
pub fn seeds() -> Vec<Vec<u8>> {
    // A plan of three pins at nine bits each, as `firmware/core/settings.md` has it.
    let mut planned = written(None, &Plan::NONE);
    planned[1] |= 2;
    planned.extend(7u64.to_le_bytes());
    planned.extend(8_727i32.to_le_bytes());
    planned.extend(3u16.to_le_bytes());
    planned.extend([0x05, 0x10, 0x24, 0x00]);
    vec![written(Some(&Calibration::NOMINAL), &Plan::NONE), written(None, &Plan::NONE), planned]
}

/// Bytes out of the flash: what is read is written as it came.
pub fn run(bytes: &[u8]) {
    if let Ok(settings) = decode(bytes) {
        assert_eq!(written(settings.calibration.as_ref(), &settings.plan), bytes);
    }
}

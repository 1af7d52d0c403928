//! Why the lever behind a reading is to be doubted: marks that go with the reading wherever it is
//! shown.

use std::fmt;

/// One reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LeverMark {
    /// The lever was never calibrated, or runs on its nominal constants.
    Uncalibrated,
    /// It named a calibration this store does not hold.
    CalibrationUnknown {
        /// The number it named.
        number: u32,
    },
    /// Its calibration was due before the reading was taken.
    Overdue,
    /// It was colder or warmer than its calibration and its class of drift allow.
    OutOfTemperature,
    /// A check before or after it failed, and none passed between.
    CheckFailed,
    /// Read beyond the loads it was calibrated with.
    OutOfRange,
}

impl LeverMark {
    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            LeverMark::Uncalibrated => "lever-uncalibrated",
            LeverMark::CalibrationUnknown { .. } => "calibration-unknown",
            LeverMark::Overdue => "calibration-overdue",
            LeverMark::OutOfTemperature => "out-of-temperature",
            LeverMark::CheckFailed => "check-failed",
            LeverMark::OutOfRange => "out-of-range",
        }
    }
}

impl fmt::Display for LeverMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LeverMark::Uncalibrated => f.write_str("lever not calibrated"),
            LeverMark::CalibrationUnknown { number } => {
                write!(f, "lever's calibration {number} is not in this store")
            }
            LeverMark::Overdue => f.write_str("lever's calibration was overdue"),
            LeverMark::OutOfTemperature => f.write_str("lever out of its temperature"),
            LeverMark::CheckFailed => f.write_str("lever failed a check beside this reading"),
            LeverMark::OutOfRange => f.write_str("beyond the loads of the calibration"),
        }
    }
}

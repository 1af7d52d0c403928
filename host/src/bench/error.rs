//! Why a lever on the bench did not do what was asked.

use pinhold_protocol::error::CommandResult;

use super::settle::Unsettled;
use crate::survey::SurveyError;

/// Why something on the bench came to nothing. The lever is as it was before.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The lever does not come to rest.
    #[error("no steady reading after {waited_s} s: {why}; {}", unsettled_advice(*.why))]
    Unsettled {
        /// Why not, at last.
        why: Unsettled,
        /// Time waited, seconds.
        waited_s: u32,
    },
    /// The lever is heard, but its samples are not.
    #[error(
        "the lever answers, but no samples come; check the cable, switch the lever off and on, and \
         run the command again"
    )]
    NoSamples,
    /// It was not held still for a zero.
    #[error("no zero: the lever was not still; hold it off the pin and let nothing touch it")]
    NotStill,
    /// The zero is far from where it was calibrated, or the lever must not measure.
    #[error(
        "the lever refuses the zero: something still hangs on it or turns it, or its cell was \
         bent; take everything off it and try again, and see 'pinhold lever status'"
    )]
    ZeroRefused,
    /// The constants are none that a lever can have.
    #[error("a lever cannot have {what} of {value}; something is wrong with the calibration")]
    Impossible {
        /// Which.
        what: &'static str,
        /// Its value, with its unit.
        value: String,
    },
    /// The lever does not take the calibration.
    #[error("{}", refused_text(*.result))]
    Refused {
        /// Its last answer; `None` when it never answered.
        result: Option<CommandResult>,
    },
    /// The conversation itself failed.
    #[error(transparent)]
    Talk(#[from] SurveyError),
}

fn unsettled_advice(why: Unsettled) -> &'static str {
    match why {
        Unsettled::Waiting => "check the cable",
        Unsettled::Saturated => "take weight off",
        Unsettled::Moving => "rest the lever on something that does not give",
        Unsettled::Swinging => "still the weight with a finger, keep clear of it and wait",
        Unsettled::Drifting => {
            "see that nothing slips or bends, and let lever and room come to one temperature"
        }
    }
}

fn refused_text(result: Option<CommandResult>) -> String {
    let why = match result {
        None => "its firmware is too old for that; update it",
        Some(CommandResult::OutOfRange) => {
            "it holds another calibration under that number, or finds the constants impossible"
        }
        Some(CommandResult::PinMoving) => "a pin is in hand or a zero is being taken",
        Some(_) => {
            "its flash failed or holds settings of later firmware; see 'pinhold lever \
                    status'"
        }
    };
    format!("the lever does not keep the calibration: {why}")
}

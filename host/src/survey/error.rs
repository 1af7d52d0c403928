//! Why a conversation with a lever ended early.

use pinhold_protocol::error::CommandResult;

use crate::link::port::PortError;
use crate::link::session::Request;
use crate::store::StoreError;

/// Why a conversation ended early. What was read until then is stored.
#[derive(Debug, thiserror::Error)]
pub enum SurveyError {
    /// Nothing answered on the port.
    #[error(
        "no lever answers on '{port}'; is it switched on, and is this its port ('pinhold ports' \
         lists them)?"
    )]
    NoAnswer {
        /// The port.
        port: String,
    },
    /// The lever speaks another protocol version.
    #[error(
        "the lever speaks protocol versions {min} to {max} and this program version {ours}; \
         update the older of the two"
    )]
    Version {
        /// Oldest it speaks.
        min: u8,
        /// Newest it speaks.
        max: u8,
        /// Ours.
        ours: u8,
    },
    /// Another lever answered in the middle of an errand.
    #[error(
        "another lever ({device:016x}) answers on the port now, or the lever has begun a new log; \
         what came before is stored, run the command again"
    )]
    LeverChanged {
        /// Its identity.
        device: u64,
    },
    /// The lever's log is not the one this store knows.
    #[error(
        "the lever's record {number} is not the one this store has under that number: this lever \
         carries the identity of another one, or its log was set back; nothing of it was taken or \
         committed. Fetch it into another folder (--data DIR) and compare; to go on using it, wipe \
         its log so that it begins a new one"
    )]
    LogDisagrees {
        /// First number known to differ.
        number: u32,
    },
    /// The lever says that it must not measure.
    #[error(
        "the lever says it is not fit to measure; 'pinhold lever status' says why and what to do"
    )]
    NotFit,
    /// The lever does not do what it was asked.
    #[error("{}", given_up(*.request, *.result))]
    GivenUp {
        /// What was asked.
        request: Request,
        /// Its last answer to it; `None` when it never answered.
        result: Option<CommandResult>,
    },
    /// The lever answers, but nothing comes of it.
    #[error(
        "nothing comes from the lever any more; what came before is stored. Check the cable, \
         switch the lever off and on, and run the command again"
    )]
    Stalled,
    /// The lever does not know the pin.
    #[error("the lever does not know pin {pin} ({result:?}); update its firmware")]
    PinRefused {
        /// The pin's name.
        pin: String,
        /// The lever's answer.
        result: CommandResult,
    },
    /// The port did not come back.
    #[error("the port went away and did not come back; what was read is stored ({reason})")]
    PortLost {
        /// The system's words.
        reason: String,
    },
    /// The port could not be opened.
    #[error(transparent)]
    Port(#[from] PortError),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What a lever that does not do what it was asked is told about.
fn given_up(request: Request, result: Option<CommandResult>) -> String {
    let what = match request {
        Request::Load => "store the plan",
        Request::Start => "start the survey",
        Request::Zero => "take its zero",
        Request::Stop => "end the survey",
        Request::StoreCalibration => "keep its calibration",
        Request::Health | Request::Plan | Request::Counters => "answer",
    };
    let why = match result {
        None => "its firmware is too old for that; update it",
        Some(CommandResult::PinMoving) => "a pin is in hand; take the lever off the pin and wait",
        Some(CommandResult::NotFit) => {
            "its self-test or its flash failed; see 'pinhold lever status'"
        }
        Some(CommandResult::LogFull) => "its log is full; run 'pinhold lever fetch' first",
        Some(CommandResult::BatteryLow) => "its battery is low; plug it in and charge it",
        Some(_) => "switch it off and on and try again",
    };
    format!("the lever does not {what}: {why}")
}

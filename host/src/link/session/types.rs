//! What is asked of a conversation and what it tells.

use pinhold_protocol::block;
use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{ChoosePin, Health, Hello, Live, PlanState, Status};
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Angle;

/// A pin to be read.
pub type Choice = ChoosePin;

/// What the survey is to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The survey's identity, not 0.
    pub survey: u64,
    /// Pins in order.
    pub pins: Vec<Choice>,
    /// Slip asked of each stroke.
    pub slip: Angle,
    /// Calendar time, milliseconds since 1970-01-01 UTC.
    pub calendar_ms: u64,
    /// Ask for the sample stream.
    pub stream_samples: bool,
    /// Take the zero first even if the lever has one.
    pub zero_first: bool,
}

/// A command, for messages about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request {
    /// Start the survey.
    Start,
    /// Take the zero.
    Zero,
    /// End the survey.
    Stop,
    /// Store a plan.
    Load,
    /// How the lever is.
    Health,
    /// Where its plan stands.
    Plan,
    /// What it has counted.
    Counters,
    /// Store a calibration.
    StoreCalibration,
}

/// A record as it came, checked against its checksum.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrivedRecord {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number.
    pub number: u32,
    /// Checksum over epoch, number and bytes.
    pub checksum: u32,
    /// The bytes as stored on the lever.
    pub bytes: Vec<u8>,
    /// What they say; `None` where this program does not understand them. Such a record is kept
    /// and committed as it came: a commit covers bytes, not understanding.
    pub content: Option<Content>,
}

/// A block of samples as it came.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrivedSamples {
    /// Samples since power-up before the block's first.
    pub first_index: u32,
    /// The samples.
    pub samples: Vec<block::RawSample>,
    /// Bytes the block took on the wire, frame included.
    pub wire_byte_count: usize,
    /// Specific force in force for the block, thousandths of standard gravity, lever's frame:
    /// along the handle, across it, along the pin.
    pub acceleration_milli_g: [i16; 3],
    /// Bridge temperature in force for the block, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
}

/// What happened, in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A lever answered. The caller says what its store holds of the log
    /// ([`super::Session::held`]); until then no record is pulled and none committed.
    Greeted(Hello),
    /// A lever answered, and is another one than before, or has started a new log. The caller
    /// says what its store holds of that one, or ends the conversation.
    LeverChanged(Hello),
    /// It speaks no protocol version this host knows.
    VersionUnknown(Hello),
    /// The zero is being taken: hold the lever still, off the pin.
    TakingZero,
    /// It was not held still; another try follows.
    ZeroNotStill,
    /// The lever waits for this pin.
    PinChosen(Pin),
    /// The lever cannot take the pin yet.
    PinRefused(Pin, CommandResult),
    /// Present state.
    Live(Live),
    /// Samples.
    Samples(ArrivedSamples),
    /// A record the host does not have yet. The caller keeps it and calls
    /// [`super::Session::kept`]; until then no other record comes. After a crash of the host a
    /// record may come that the disk has already: same device, epoch, number and checksum.
    Record(Box<ArrivedRecord>),
    /// The store and the lever hold different logs under the same device and epoch: the lever is
    /// a clone, or was set back to an earlier state. Nothing is committed and the conversation is
    /// over.
    LogDisagrees {
        /// First number known to differ.
        number: u32,
    },
    /// Records behind those the store holds that the lever no longer has: another host has
    /// committed them. The conversation goes on behind them.
    RecordsMissing {
        /// First missing number.
        from: u32,
        /// First number that is there again.
        to: u32,
    },
    /// Answer to a status question.
    Status(Status),
    /// Answer to a question for the lever's health.
    Health(Health),
    /// Answer to a question for the plan stored on the lever.
    PlanState(PlanState),
    /// The lever carries the plan now.
    PlanLoaded(PlanState),
    /// The lever refuses a command for now; it is tried again.
    Refused(Request, CommandResult),
    /// The lever hears the host but never answers this: its firmware is too old for it.
    NotUnderstood(Request),
    /// The lever does not do what was asked, however often it is asked. The conversation is over.
    GivenUp(Request),
    /// The samples that follow are those of a lever on the bench, taken after it was asked.
    BenchReady,
    /// A zero asked for on the bench was taken.
    ZeroTaken,
    /// The lever has the calibration in flash, and a fresh greeting names its number.
    CalibrationStored {
        /// The number.
        number: u32,
    },
    /// Nothing was heard for [`SILENT_MS`].
    Silent,
    /// Everything is done: all that was to be read or fetched is kept and committed.
    Finished,
}

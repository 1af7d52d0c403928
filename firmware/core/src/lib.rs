//! The lever: samples in, readings out.
//!
//! `no_std`, no allocation, no clock, no pins: a board hands it samples, received bytes and the
//! time, and takes signals and bytes to send. The same code runs on the device, in the emulator,
//! behind the virtual port and on the host for replay.
//!
//! A sample's way: [`sample`] turns counts into torque and angle and averages them into bins;
//! [`stroke`] finds strokes among the bins and reads each one; [`reading`] combines a pin's
//! strokes; [`log`] keeps the record until a host has committed it; [`link`] frames what is said;
//! [`device`] is the one entry that ties them together. Without a host, [`plan`], [`buttons`] and
//! [`beeper`] take its place; [`settings`] outlive the power, [`selftest`] and [`supply`] say
//! whether the lever is fit, [`course`] keeps what a host would have drawn.
//!
//! Deliberately not here: executors, clocks, hardware traits other than that of the flash the log
//! is kept in, and judgement of a reading (the host's).
//!
//! Invariants: time never comes from anywhere but the arguments; transcendental functions come
//! from the `libm` crate only; no message carries a float.
#![cfg_attr(not(test), no_std)]

pub mod beeper;
pub mod buttons;
pub mod calibration;
pub mod course;
pub mod device;
pub mod link;
pub mod log;
pub mod math;
pub mod plan;
pub mod reading;
pub mod sample;
pub mod selftest;
pub mod settings;
pub mod stroke;
pub mod supply;

pub use device::Lever;
pub use pinhold_protocol::block::RawSample;
use pinhold_protocol::error::Fault;
use pinhold_protocol::message::Start;
use pinhold_protocol::record::Pin;

/// Slow quantities of the motion sensor, handed in about every 64 samples.
///
/// Takes force at the next sample whose index is a multiple of 64, so that a stream of blocks
/// carries all a replay needs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RawMotion {
    /// Specific force in the lever's frame, thousandths of standard gravity: x along the handle
    /// away from the pin, z along the pin out of the plank, y completing a right-handed frame.
    pub acceleration_milli_g: [i16; 3],
    /// Temperature of the bridge, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
}

/// Levels of the two buttons; handed in whenever that is convenient, each change or each
/// millisecond: the core debounces.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Buttons {
    /// Begin, next pin; long: pass this pin over.
    pub go: bool,
    /// Repeat this pin; long: the one before.
    pub back: bool,
}

/// Battery and supply, handed in about once a second.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Power {
    /// Battery voltage, millivolts; `None` without a gauge.
    pub battery_mv: Option<u16>,
    /// Powered from outside.
    pub external: bool,
}

/// What happened.
#[derive(Clone, Copy, Debug)]
pub enum Input<'a> {
    /// One sample; the next is one sample period later.
    Sample(RawSample),
    /// Attitude and temperature.
    Motion(RawMotion),
    /// This many samples were missed.
    Missed(u32),
    /// This many new values came from the motion sensor since the last such input, by its own
    /// data-ready.
    MotionReady(u32),
    /// Levels of the buttons.
    Buttons(Buttons),
    /// Supply.
    Power(Power),
    /// What the wire-break test of the torque cell found, at start, on boards that can test it.
    Bridge {
        /// The cell is connected.
        connected: bool,
    },
    /// Bytes from the host.
    Received(&'a [u8]),
    /// Nothing; lets time-outs run.
    Tick,
}

/// What the lamp shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lamp {
    /// No survey, or between pins.
    Idle,
    /// A pin is chosen: seat the lever and hold still.
    Seat,
    /// At rest on the pin: move.
    Ready,
    /// The pin is loaded or moving.
    Moving,
    /// Reading accepted and kept.
    Accepted,
    /// Not fit to report: repeat please.
    Repeat,
    /// Torque above 20 N·m.
    Hard,
    /// Torque above 25 N·m: stop.
    Stop,
    /// Moved further than asked.
    TooFar,
    /// Taking the zero: hold still, off the pin.
    Zero,
    /// The log is full: no pin is begun before a host has fetched.
    Full,
    /// The battery is too low to begin a pin.
    BatteryLow,
    /// The self-test found this.
    Fault(Fault),
}

/// What the board should show now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signals {
    /// The lamp.
    pub lamp: Lamp,
    /// Start a short beep; only ever set while the pin is at rest, because the ear is the safety
    /// device.
    pub beep: bool,
    /// Pin the lever waits for or works on.
    pub pin: Option<Pin>,
    /// Nobody uses the lever: the board may switch sensors off. Ends with a button or a received
    /// byte.
    pub asleep: bool,
}

/// What a board tells the core about itself at power-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identity {
    /// 64-bit device identity, unique per lever.
    pub device: u64,
    /// Log epoch to start where no log is found, best drawn at random; a wiped log starts a new
    /// one.
    pub epoch: u32,
    /// Sample period, nanoseconds, measured against the board's crystal; 0.5 to 4 ms.
    pub sample_period_ns: u32,
}

/// What a board knows of itself beside its [`Identity`]; all of it may be left at its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Board {
    /// Why it started.
    pub start: Start,
    /// Minutes a full battery lasts at the design's current; 0 unknown.
    pub battery_life_minutes: u16,
    /// Period the bridge converter is set to, nanoseconds; 0 for no check.
    pub bridge_period_nominal_ns: u32,
    /// Period the motion sensor is set to, nanoseconds; 0 for no check.
    pub motion_period_nominal_ns: u32,
}

//! The lever: samples in, readings out.
//!
//! `no_std`, no allocation, no clock, no pins: a board hands it samples, received bytes and the
//! time, and takes signals and bytes to send. The same code runs on the device, in the emulator,
//! behind the virtual port and on the host for replay.
#![cfg_attr(not(test), no_std)]

use pinhold_protocol::record::Pin;
use pinhold_protocol::units::DeviceTime;

/// One pair of simultaneous samples, as the converters gave them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawSample {
    /// Bridge converter, 24-bit two's complement, sharp positive.
    pub bridge_code: i32,
    /// Rate about the pin's axis, sensor counts, sharp positive.
    pub rate_count: i16,
}

/// Slow quantities of the motion sensor, handed in about every 64 samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawMotion {
    /// Specific force in the lever's frame, thousandths of standard gravity: x along the handle
    /// away from the pin, z along the pin out of the plank, y completing a right-handed frame.
    pub acceleration_milli_g: [i16; 3],
    /// Temperature of the bridge, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
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
}

/// What the board should show now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signals {
    /// The lamp.
    pub lamp: Lamp,
    /// Start a short beep; only ever set while the pin is at rest.
    pub beep: bool,
    /// Pin the lever waits for or works on.
    pub pin: Option<Pin>,
}

/// What a board tells the core about itself at power-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identity {
    /// 64-bit device identity, unique per lever.
    pub device: u64,
    /// Log epoch; a wiped log starts a new one.
    pub epoch: u32,
    /// Sample period, nanoseconds, measured against the board's crystal.
    pub sample_period_ns: u32,
}

/// The lever's whole state.
pub struct Lever {
    signals: Signals,
}

impl Lever {
    /// A lever just powered up.
    pub fn new(_identity: Identity) -> Lever {
        Lever { signals: Signals { lamp: Lamp::Idle, beep: false, pin: None } }
    }

    /// Takes one input at time `now` (never earlier than the last) and says what to show.
    pub fn step(&mut self, _now: DeviceTime, _input: Input<'_>) -> Signals {
        self.signals
    }

    /// Bytes waiting to be sent to the host, oldest first; may be a part of them.
    pub fn pending(&self) -> &[u8] {
        &[]
    }

    /// The board sent this many of the pending bytes.
    pub fn sent(&mut self, _byte_count: usize) {}
}

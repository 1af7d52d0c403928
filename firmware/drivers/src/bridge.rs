//! Converter code to bridge output to torque, from the nameplate of a torque cell.
//!
//! A ratiometric bridge: supply and reference are the same voltage, so the code is a ratio and the
//! supply's value drops out. Used where a lever has no calibration of its own yet and for setting
//! full scale; deliberately not here: a calibration fitted to weights, temperature and cross-talk
//! (the lever's core).
//!
//! Invariant: plain f64 arithmetic in a fixed order, the same on every machine.

/// Codes from zero to full scale of a 24-bit two's-complement converter.
pub const CODE_FULL_SCALE: f64 = 8_388_608.0;

/// How the converter's input range depends on the bridge's supply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputRange {
    /// Full scale before the gain, as a fraction of the supply: 1 when the reference is the
    /// supply, 0.5 when it is half of it.
    pub supply_fraction: f64,
    /// Gain of the amplifier before the converter, 1 to 128.
    pub gain: f64,
}

impl InputRange {
    /// Bridge output in mV per V of supply that the code stands for.
    ///
    /// ```
    /// use pinhold_drivers::bridge::InputRange;
    /// let range = InputRange { supply_fraction: 0.5, gain: 128.0 };
    /// assert_eq!(range.millivolt_per_volt(-1_048_576), -0.48828125);
    /// ```
    pub fn millivolt_per_volt(self, code: i32) -> f64 {
        f64::from(code) / CODE_FULL_SCALE * self.supply_fraction * 1000.0 / self.gain
    }
}

/// What is engraved on a torque cell, and its output with nothing on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nameplate {
    /// Output at rated torque less the zero, mV/V.
    pub rated_millivolt_per_volt: f64,
    /// Rated torque, N·m.
    pub rated_torque_nm: f64,
    /// Output at no torque, mV/V.
    pub zero_millivolt_per_volt: f64,
}

impl Nameplate {
    /// Torque in N·m at a bridge output in mV/V, sharp positive as the cell is wired.
    pub fn torque_nm(self, millivolt_per_volt: f64) -> f64 {
        (millivolt_per_volt - self.zero_millivolt_per_volt) / self.rated_millivolt_per_volt
            * self.rated_torque_nm
    }
}

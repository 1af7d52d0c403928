//! 6-axis motion sensor, LSM6DSO class, over SPI mode 3 (clock idles high, second edge).
//!
//! Register layout and sensitivities: data sheet of the LSM6DSO, "Register mapping" and
//! "Mechanical characteristics" (MEM: from memory of that sheet, not yet tried on a part).
//! Deliberately not here: integration of the rate, bias, attitude (the lever's core); which sensor
//! axis is the pin's (the board knows how the part is soldered).
//!
//! Ours because the crates on the registry when this was written speak I²C only (`lsm6dso` 0.2,
//! `lsm6dsox` 1.0, the latter on embedded-hal 0.2) and set neither the data-ready pin nor its
//! pulses.
//!
//! Invariant: [`Lsm6dso::configure`] succeeds only on a part that gives the right identity and
//! reads back what was written.

use embedded_hal::spi::{Operation, SpiDevice};

const REGISTER_READY_FORM: u8 = 0x0b;
const REGISTER_PIN_1: u8 = 0x0d;
const REGISTER_WHO_AM_I: u8 = 0x0f;
const REGISTER_CONTROL_1: u8 = 0x10;
const REGISTER_TEMPERATURE: u8 = 0x20;
const REGISTER_RATE: u8 = 0x22;
const REGISTER_ACCELERATION: u8 = 0x28;
const READ: u8 = 0x80;
/// Data-ready as a pulse of 75 µs for each value, read or not, so that edges count values (MEM).
const READY_PULSED: u8 = 1 << 7;
/// Data-ready of the rate on the first interrupt pin.
const PIN_1_RATE_READY: u8 = 1 << 1;
/// What the identity register reads.
pub const IDENTITY: u8 = 0x6c;

/// Full scale of the rate, degrees per second.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RateRange {
    /// ±125 °/s, 4.375 m°/s per count.
    Dps125,
    /// ±250 °/s, 8.75 m°/s per count.
    Dps250,
    /// ±500 °/s, 17.5 m°/s per count.
    Dps500,
    /// ±1000 °/s, 35 m°/s per count.
    Dps1000,
    /// ±2000 °/s, 70 m°/s per count.
    Dps2000,
}

impl RateRange {
    /// Bits 3:1 of the rate control register.
    const fn bits(self) -> u8 {
        match self {
            RateRange::Dps125 => 1 << 1,
            RateRange::Dps250 => 0,
            RateRange::Dps500 => 1 << 2,
            RateRange::Dps1000 => 2 << 2,
            RateRange::Dps2000 => 3 << 2,
        }
    }

    /// Thousandths of a degree per second in one count.
    pub const fn millidegrees_per_second(self) -> f64 {
        match self {
            RateRange::Dps125 => 4.375,
            RateRange::Dps250 => 8.75,
            RateRange::Dps500 => 17.5,
            RateRange::Dps1000 => 35.0,
            RateRange::Dps2000 => 70.0,
        }
    }

    /// Degrees per second that `count` stands for.
    ///
    /// ```
    /// use pinhold_drivers::lsm6dso::RateRange;
    /// assert_eq!(RateRange::Dps125.degrees_per_second(1000), 4.375);
    /// ```
    pub fn degrees_per_second(self, count: i16) -> f64 {
        f64::from(count) * self.millidegrees_per_second() / 1000.0
    }
}

/// Full scale of the acceleration; the lever only ever needs gravity and a hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AccelerationRange {
    /// ±2 g, 0.061 mg per count.
    G2,
    /// ±4 g, 0.122 mg per count.
    G4,
}

impl AccelerationRange {
    const fn bits(self) -> u8 {
        match self {
            AccelerationRange::G2 => 0,
            AccelerationRange::G4 => 2 << 2,
        }
    }

    const fn micro_g_per_count(self) -> i32 {
        match self {
            AccelerationRange::G2 => 61,
            AccelerationRange::G4 => 122,
        }
    }

    /// Thousandths of standard gravity that `count` stands for, rounded half away from zero.
    pub const fn milli_g(self, count: i16) -> i16 {
        let micro = count as i32 * self.micro_g_per_count();
        let half = if micro < 0 { -500 } else { 500 };
        // At most 32768 · 122 / 1000 = 3998: always fits.
        ((micro + half) / 1000) as i16
    }
}

/// Samples per second of both sensors, nominal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutputRate {
    /// 104 per second.
    Hz104,
    /// 208 per second.
    Hz208,
    /// 416 per second.
    Hz416,
    /// 833 per second.
    Hz833,
    /// 1666 per second.
    Hz1666,
}

impl OutputRate {
    /// Time between two values, nominal, nanoseconds; the part's own oscillator is off by per
    /// cents.
    ///
    /// ```
    /// use pinhold_drivers::lsm6dso::OutputRate;
    /// assert_eq!(OutputRate::Hz1666.period_ns(), 600_240);
    /// ```
    pub const fn period_ns(self) -> u32 {
        match self {
            OutputRate::Hz104 => 1_000_000_000 / 104,
            OutputRate::Hz208 => 1_000_000_000 / 208,
            OutputRate::Hz416 => 1_000_000_000 / 416,
            OutputRate::Hz833 => 1_000_000_000 / 833,
            OutputRate::Hz1666 => 1_000_000_000 / 1666,
        }
    }

    const fn bits(self) -> u8 {
        match self {
            OutputRate::Hz104 => 4 << 4,
            OutputRate::Hz208 => 5 << 4,
            OutputRate::Hz416 => 6 << 4,
            OutputRate::Hz833 => 7 << 4,
            OutputRate::Hz1666 => 8 << 4,
        }
    }
}

/// How the motion sensor is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Config {
    /// Samples per second.
    pub output_rate: OutputRate,
    /// Full scale of the rate.
    pub rate_range: RateRange,
    /// Full scale of the acceleration.
    pub acceleration_range: AccelerationRange,
}

impl Config {
    /// The three control registers: acceleration, rate, and block update with address increment.
    pub const fn registers(self) -> [u8; 3] {
        const BLOCK_DATA_UPDATE: u8 = 1 << 6;
        const ADDRESS_INCREMENT: u8 = 1 << 2;
        [
            self.output_rate.bits() | self.acceleration_range.bits(),
            self.output_rate.bits() | self.rate_range.bits(),
            BLOCK_DATA_UPDATE | ADDRESS_INCREMENT,
        ]
    }
}

/// Hundredths of a degree Celsius from the temperature register: 256 counts per degree, 0 at 25 °C.
pub const fn centi_celsius(count: i16) -> i16 {
    // 32768 · 100 / 256 + 2500 = 15300: always fits.
    (2500 + (count as i32 * 100) / 256) as i16
}

/// Three axes from six bytes, least significant first.
pub const fn decode_axes(bytes: [u8; 6]) -> [i16; 3] {
    [
        i16::from_le_bytes([bytes[0], bytes[1]]),
        i16::from_le_bytes([bytes[2], bytes[3]]),
        i16::from_le_bytes([bytes[4], bytes[5]]),
    ]
}

/// Why the motion sensor could not be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetupError<E> {
    /// The bus failed.
    Bus(E),
    /// The identity register read this: no chip, or another one.
    Identity(u8),
    /// The control registers read back otherwise than written.
    ReadBack([u8; 3]),
}

/// The motion sensor on its bus.
pub struct Lsm6dso<Spi> {
    spi: Spi,
    acceleration_range: AccelerationRange,
}

impl<Spi: SpiDevice> Lsm6dso<Spi> {
    /// Takes the bus; nothing is sent.
    pub const fn new(spi: Spi) -> Self {
        Lsm6dso { spi, acceleration_range: AccelerationRange::G2 }
    }

    /// Gives the bus back.
    pub fn release(self) -> Spi {
        self.spi
    }

    fn read_registers(&mut self, from: u8, into: &mut [u8]) -> Result<(), Spi::Error> {
        self.spi.transaction(&mut [Operation::Write(&[from | READ]), Operation::Read(into)])
    }

    /// Checks the identity, puts data-ready of the rate on the first interrupt pin, writes the
    /// control registers and reads them back.
    ///
    /// # Errors
    /// The bus's error, or what was read instead of what was expected.
    pub fn configure(&mut self, config: Config) -> Result<(), SetupError<Spi::Error>> {
        let mut identity = [0];
        self.read_registers(REGISTER_WHO_AM_I, &mut identity).map_err(SetupError::Bus)?;
        if identity != [IDENTITY] {
            return Err(SetupError::Identity(identity[0]));
        }
        self.spi.write(&[REGISTER_READY_FORM, READY_PULSED]).map_err(SetupError::Bus)?;
        self.spi.write(&[REGISTER_PIN_1, PIN_1_RATE_READY]).map_err(SetupError::Bus)?;
        let wanted = config.registers();
        // Address increment is on from reset, so one write fills all three.
        let [first, second, third] = wanted;
        self.spi.write(&[REGISTER_CONTROL_1, first, second, third]).map_err(SetupError::Bus)?;
        let mut found = [0; 3];
        self.read_registers(REGISTER_CONTROL_1, &mut found).map_err(SetupError::Bus)?;
        if found != wanted {
            return Err(SetupError::ReadBack(found));
        }
        self.acceleration_range = config.acceleration_range;
        Ok(())
    }

    /// Switches both sensors off until [`Lsm6dso::configure`] is called again.
    ///
    /// # Errors
    /// The bus's error.
    pub fn power_down(&mut self) -> Result<(), Spi::Error> {
        self.spi.write(&[REGISTER_CONTROL_1, 0, 0])
    }

    /// Rate about the three axes, counts.
    ///
    /// # Errors
    /// The bus's error.
    pub fn rate_counts(&mut self) -> Result<[i16; 3], Spi::Error> {
        let mut bytes = [0; 6];
        self.read_registers(REGISTER_RATE, &mut bytes)?;
        Ok(decode_axes(bytes))
    }

    /// Specific force along the three axes, thousandths of standard gravity.
    ///
    /// # Errors
    /// The bus's error.
    pub fn acceleration_milli_g(&mut self) -> Result<[i16; 3], Spi::Error> {
        let mut bytes = [0; 6];
        self.read_registers(REGISTER_ACCELERATION, &mut bytes)?;
        Ok(decode_axes(bytes).map(|count| self.acceleration_range.milli_g(count)))
    }

    /// Temperature of the part, hundredths of a degree Celsius.
    ///
    /// # Errors
    /// The bus's error.
    pub fn temperature_centi_celsius(&mut self) -> Result<i16, Spi::Error> {
        let mut bytes = [0; 2];
        self.read_registers(REGISTER_TEMPERATURE, &mut bytes)?;
        Ok(centi_celsius(i16::from_le_bytes(bytes)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Exchange, FailsAt, device};
    use embedded_hal::spi::ErrorKind;

    const CONFIG: Config = Config {
        output_rate: OutputRate::Hz833,
        rate_range: RateRange::Dps125,
        acceleration_range: AccelerationRange::G4,
    };
    const CONFIGURE: [Exchange<'_>; 5] = [
        Exchange::Read(&[0x8f], &[0x6c]),
        Exchange::Write(&[0x0b, 0x80]),
        Exchange::Write(&[0x0d, 0x02]),
        Exchange::Write(&[0x10, 0x78, 0x72, 0x44]),
        Exchange::Read(&[0x90], &[0x78, 0x72, 0x44]),
    ];

    #[test]
    fn registers_as_the_data_sheet_draws_them() {
        assert_eq!(CONFIG.registers(), [0x78, 0x72, 0x44]);
    }

    #[test]
    fn configure_checks_identity_and_read_back() {
        let mut sensor = Lsm6dso::new(device(&CONFIGURE));
        assert_eq!(sensor.configure(CONFIG), Ok(()));
        sensor.release().done();
    }

    #[test]
    fn another_part_is_refused_before_anything_is_written() {
        let mut sensor = Lsm6dso::new(device(&[Exchange::Read(&[0x8f], &[0x6a])]));
        assert_eq!(sensor.configure(CONFIG), Err(SetupError::Identity(0x6a)));
        sensor.release().done();
    }

    #[test]
    fn registers_that_do_not_hold_are_refused() {
        let [who, form, pin, write, _] = CONFIGURE;
        let found = Exchange::Read(&[0x90], &[0x00, 0x72, 0x44]);
        let mut sensor = Lsm6dso::new(device(&[who, form, pin, write, found]));
        assert_eq!(sensor.configure(CONFIG), Err(SetupError::ReadBack([0x00, 0x72, 0x44])));
        sensor.release().done();
    }

    #[test]
    fn a_bus_that_fails_at_any_step_is_said_and_nothing_follows() {
        for (step, so_far) in (0..CONFIGURE.len()).map(|step| (step, &CONFIGURE[..step])) {
            let spi = FailsAt { inner: device(so_far), good_transactions: step };
            let mut sensor = Lsm6dso::new(spi);
            let failed = Err(SetupError::Bus(ErrorKind::ModeFault));
            assert_eq!(sensor.configure(CONFIG), failed, "step {step}");
            sensor.release().inner.done();
        }
        let mut sensor = Lsm6dso::new(FailsAt { inner: device(&[]), good_transactions: 0 });
        assert_eq!(sensor.rate_counts(), Err(ErrorKind::ModeFault));
        assert_eq!(sensor.acceleration_milli_g(), Err(ErrorKind::ModeFault));
        assert_eq!(sensor.temperature_centi_celsius(), Err(ErrorKind::ModeFault));
        assert_eq!(sensor.power_down(), Err(ErrorKind::ModeFault));
        sensor.release().inner.done();
    }

    #[test]
    fn axes_come_least_significant_byte_first() {
        let mut sensor = Lsm6dso::new(device(&[
            Exchange::Read(&[0xa2], &[0x01, 0x00, 0xff, 0xff, 0x00, 0x80]),
            Exchange::Read(&[0xa8], &[0x09, 0x40, 0x00, 0x00, 0xf7, 0xbf]),
            Exchange::Read(&[0xa0], &[0x00, 0xff]),
            Exchange::Write(&[0x10, 0x00, 0x00]),
        ]));
        assert_eq!(sensor.rate_counts(), Ok([1, -1, -32768]));
        // 16393 · 0.061 mg = 1000 mg: one g.
        assert_eq!(sensor.acceleration_milli_g(), Ok([1000, 0, -1000]));
        assert_eq!(sensor.temperature_centi_celsius(), Ok(2400));
        assert_eq!(sensor.power_down(), Ok(()));
        sensor.release().done();
    }

    #[test]
    fn extremes_fit() {
        assert_eq!(AccelerationRange::G4.milli_g(i16::MIN), -3998);
        assert_eq!(AccelerationRange::G4.milli_g(i16::MAX), 3998);
        assert_eq!(centi_celsius(i16::MIN), -10300);
        assert_eq!(centi_celsius(i16::MAX), 15299);
    }
}

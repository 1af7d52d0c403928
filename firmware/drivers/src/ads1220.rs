//! 24-bit bridge converter, ADS1220 class, over SPI mode 1 (clock idles low, second edge).
//!
//! Register layout, commands and code table: data sheet of the ADS1220 (SBAS501), "Register Map",
//! "Commands", "Data Format" (MEM: from memory of that sheet, not yet tried on a part).
//! Wired for a bridge: signal on AIN1/AIN2, reference pins across the bridge's supply, so that the
//! code is ratiometric. Deliberately not here: the data-ready pin (the board's) and filtering.
//!
//! Ours because the one crate for this part on the registry when this was written
//! (`embedded-ads1220` 0.1.0, a single release of 2024 without documentation or tests) neither
//! reads back what it wrote nor knows the burn-out sources.
//!
//! Invariant: [`Ads1220::configure`] reads back what it wrote; a chip that answers otherwise is an
//! error and never a source of samples.

use embedded_hal::spi::{Operation, SpiDevice};

const COMMAND_POWER_DOWN: u8 = 0x02;
const COMMAND_RESET: u8 = 0x06;
const COMMAND_START: u8 = 0x08;
const COMMAND_READ_DATA: u8 = 0x10;
const COMMAND_READ_REGISTERS: u8 = 0x20;
const COMMAND_WRITE_REGISTERS: u8 = 0x40;
/// The second register alone: its number in bits 3:2 of the command.
const SECOND_REGISTER: u8 = 1 << 2;
/// In the second register: 10 µA out of the positive input and into the negative one (MEM).
const BURN_OUT: u8 = 1 << 0;
/// All four registers, from the first: the count less one in the command's low two bits.
const ALL_REGISTERS: u8 = 0x03;
/// The chip needs 50 µs + 32 clock cycles of 4.096 MHz after a reset; rounded up.
const RESET_WAIT_NS: u32 = 100_000;

/// Number of configuration registers.
pub const REGISTER_COUNT: usize = 4;

/// Gain of the amplifier before the converter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gain {
    /// ×1.
    X1,
    /// ×2.
    X2,
    /// ×4.
    X4,
    /// ×8.
    X8,
    /// ×16.
    X16,
    /// ×32.
    X32,
    /// ×64.
    X64,
    /// ×128: ±7.8 mV per volt of reference, for a bridge of 2 mV/V.
    X128,
}

impl Gain {
    const fn bits(self) -> u8 {
        match self {
            Gain::X1 => 0,
            Gain::X2 => 1,
            Gain::X4 => 2,
            Gain::X8 => 3,
            Gain::X16 => 4,
            Gain::X32 => 5,
            Gain::X64 => 6,
            Gain::X128 => 7,
        }
    }

    /// The factor.
    pub const fn factor(self) -> u8 {
        1 << self.bits()
    }
}

/// Conversions per second, nominal; the chip's own oscillator is good to 2 %, so a board measures
/// the period against its crystal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataRate {
    /// 20 per second, normal mode.
    Sps20,
    /// 45 per second, normal mode.
    Sps45,
    /// 90 per second, normal mode.
    Sps90,
    /// 175 per second, normal mode.
    Sps175,
    /// 330 per second, normal mode.
    Sps330,
    /// 600 per second, normal mode.
    Sps600,
    /// 1000 per second, normal mode.
    Sps1000,
    /// 350 per second, turbo mode: less noise than `Sps330`, more current.
    Turbo350,
    /// 660 per second, turbo mode.
    Turbo660,
    /// 1200 per second, turbo mode.
    Turbo1200,
}

impl DataRate {
    /// Data rate bits 7:5 and mode bits 4:3 of register 1.
    const fn bits(self) -> u8 {
        const NORMAL: u8 = 0b00 << 3;
        const TURBO: u8 = 0b10 << 3;
        match self {
            DataRate::Sps20 => NORMAL,
            DataRate::Sps45 => (1 << 5) | NORMAL,
            DataRate::Sps90 => (2 << 5) | NORMAL,
            DataRate::Sps175 => (3 << 5) | NORMAL,
            DataRate::Sps330 => (4 << 5) | NORMAL,
            DataRate::Sps600 => (5 << 5) | NORMAL,
            DataRate::Sps1000 => (6 << 5) | NORMAL,
            DataRate::Turbo350 => (3 << 5) | TURBO,
            DataRate::Turbo660 => (4 << 5) | TURBO,
            DataRate::Turbo1200 => (5 << 5) | TURBO,
        }
    }
}

/// How the converter is set for the torque bridge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Config {
    /// Gain before the converter.
    pub gain: Gain,
    /// Conversions per second.
    pub rate: DataRate,
    /// Switch the bridge's low side with the chip's own switch, off in power-down.
    pub switched_supply: bool,
}

impl Config {
    /// The four registers: AIN1 against AIN2, continuous conversion, reference pins REFP0/REFN0,
    /// no excitation currents, data-ready on its own pin only.
    pub const fn registers(self) -> [u8; REGISTER_COUNT] {
        const MUX_AIN1_AIN2: u8 = 0b0011 << 4;
        const CONTINUOUS: u8 = 1 << 2;
        const REFERENCE_PINS_0: u8 = 0b01 << 6;
        const SWITCH: u8 = 1 << 3;
        [
            MUX_AIN1_AIN2 | (self.gain.bits() << 1),
            self.rate.bits() | CONTINUOUS,
            REFERENCE_PINS_0 | if self.switched_supply { SWITCH } else { 0 },
            0,
        ]
    }
}

/// One conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Conversion {
    /// Two's-complement code, −8388608 to 8388607.
    pub code: i32,
    /// Where the input stood against the range.
    pub range: Range,
}

/// Where the input stood against the converter's range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Range {
    /// Within.
    Within,
    /// At or beyond the top: the code is a limit, 0x7FFFFF.
    SaturatedHigh,
    /// At or beyond the bottom: the code is a limit, 0x800000.
    SaturatedLow,
}

/// Decodes three bytes, most significant first.
///
/// ```
/// use pinhold_drivers::ads1220::{decode, Range};
/// assert_eq!(decode([0xff, 0xff, 0xff]).code, -1);
/// assert_eq!(decode([0x80, 0x00, 0x00]).range, Range::SaturatedLow);
/// ```
pub const fn decode(bytes: [u8; 3]) -> Conversion {
    // Placed at the top of the word, so that the arithmetic shift carries the sign down.
    let code = i32::from_be_bytes([bytes[0], bytes[1], bytes[2], 0]) >> 8;
    let range = match code {
        0x7f_ffff => Range::SaturatedHigh,
        -0x80_0000 => Range::SaturatedLow,
        _ => Range::Within,
    };
    Conversion { code, range }
}

/// Why the converter could not be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetupError<E> {
    /// The bus failed.
    Bus(E),
    /// The registers read back otherwise than written: no chip, a wrong one, or bad wiring.
    ReadBack([u8; REGISTER_COUNT]),
}

/// The converter on its bus.
pub struct Ads1220<Spi> {
    spi: Spi,
}

impl<Spi: SpiDevice> Ads1220<Spi> {
    /// Takes the bus; nothing is sent.
    pub const fn new(spi: Spi) -> Self {
        Ads1220 { spi }
    }

    /// Gives the bus back.
    pub fn release(self) -> Spi {
        self.spi
    }

    /// Resets the chip, writes all registers, reads them back and starts conversions.
    ///
    /// # Errors
    /// The bus's error, or [`SetupError::ReadBack`] with what was read.
    pub fn configure(&mut self, config: Config) -> Result<(), SetupError<Spi::Error>> {
        let wanted = config.registers();
        self.spi
            .transaction(&mut [
                Operation::Write(&[COMMAND_RESET]),
                Operation::DelayNs(RESET_WAIT_NS),
            ])
            .map_err(SetupError::Bus)?;
        let [first, second, third, fourth] = wanted;
        let write = [COMMAND_WRITE_REGISTERS | ALL_REGISTERS, first, second, third, fourth];
        self.spi.write(&write).map_err(SetupError::Bus)?;
        let mut found = [0; REGISTER_COUNT];
        self.spi
            .transaction(&mut [
                Operation::Write(&[COMMAND_READ_REGISTERS | ALL_REGISTERS]),
                Operation::Read(&mut found),
            ])
            .map_err(SetupError::Bus)?;
        if found != wanted {
            return Err(SetupError::ReadBack(found));
        }
        self.spi.write(&[COMMAND_START]).map_err(SetupError::Bus)
    }

    /// Switches the burn-out current sources on or off, everything else as in `config`, and reads
    /// back. A conversion under way starts anew.
    ///
    /// # Errors
    /// The bus's error, or [`SetupError::ReadBack`] with what was read in the second place.
    pub fn set_burn_out(&mut self, config: Config, on: bool) -> Result<(), SetupError<Spi::Error>> {
        let [_, second, ..] = config.registers();
        let wanted = if on { second | BURN_OUT } else { second };
        self.spi
            .write(&[COMMAND_WRITE_REGISTERS | SECOND_REGISTER, wanted])
            .map_err(SetupError::Bus)?;
        let mut found = [0];
        self.spi
            .transaction(&mut [
                Operation::Write(&[COMMAND_READ_REGISTERS | SECOND_REGISTER]),
                Operation::Read(&mut found),
            ])
            .map_err(SetupError::Bus)?;
        let [found] = found;
        if found == wanted { Ok(()) } else { Err(SetupError::ReadBack([0, found, 0, 0])) }
    }

    /// Stops conversions and opens the bridge's switch (MEM: power-down does both) until
    /// [`Ads1220::configure`] is called again.
    ///
    /// # Errors
    /// The bus's error.
    pub fn power_down(&mut self) -> Result<(), Spi::Error> {
        self.spi.write(&[COMMAND_POWER_DOWN])
    }

    /// Reads the latest conversion; call it after data-ready has fallen.
    ///
    /// # Errors
    /// The bus's error.
    pub fn read(&mut self) -> Result<Conversion, Spi::Error> {
        let mut bytes = [0; 3];
        self.spi.transaction(&mut [
            Operation::Write(&[COMMAND_READ_DATA]),
            Operation::Read(&mut bytes),
        ])?;
        Ok(decode(bytes))
    }
}

/// What the burn-out sources must shift the code by where the torque cell is connected,
/// thousandths of full scale. They press 10 µA through the bridge's output resistance, which for
/// four equal arms is one arm: 3.5 mV at 350 Ω and 10 mV at 1 kΩ, of ±25.8 mV at ×128 and 3.3 V,
/// so 136 and 388 thousandths (DER); a short shifts nothing and an open wire goes to the end.
/// Wide, because the sources are no precision part (MEM).
const CONNECTED_SHIFT_PERMILLE: core::ops::RangeInclusive<i32> = 40..=700;

/// Whether a bridge hangs on the signal inputs, from a conversion before and one with the burn-out
/// sources on, both at ×128 and a reference of about 3.3 V.
///
/// ```
/// use pinhold_drivers::ads1220::{decode, is_connected};
/// let before = decode([0x00, 0x10, 0x00]);
/// assert!(is_connected(before, decode([0x12, 0x00, 0x00])));
/// assert!(!is_connected(before, decode([0x00, 0x10, 0x03]))); // shorted
/// assert!(!is_connected(before, decode([0x7f, 0xff, 0xff]))); // open
/// ```
pub fn is_connected(before: Conversion, during: Conversion) -> bool {
    let shift = during.code.saturating_sub(before.code);
    let permille = shift / (1 << 13) * 1000 / (1 << 10);
    matches!((before.range, during.range), (Range::Within, Range::Within))
        && CONNECTED_SHIFT_PERMILLE.contains(&permille)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Exchange, FailsAt, device};
    use embedded_hal::spi::ErrorKind;

    const CONFIG: Config =
        Config { gain: Gain::X128, rate: DataRate::Turbo660, switched_supply: true };
    const CONFIGURE: [Exchange<'_>; 4] = [
        Exchange::WriteThenWait(&[0x06], 100_000),
        Exchange::Write(&[0x43, 0x3e, 0x94, 0x48, 0x00]),
        Exchange::Read(&[0x23], &[0x3e, 0x94, 0x48, 0x00]),
        Exchange::Write(&[0x08]),
    ];

    #[test]
    fn registers_as_the_data_sheet_draws_them() {
        assert_eq!(CONFIG.registers(), [0x3e, 0x94, 0x48, 0x00]);
        let plain = Config { gain: Gain::X1, rate: DataRate::Sps20, switched_supply: false };
        assert_eq!(plain.registers(), [0x30, 0x04, 0x40, 0x00]);
        assert_eq!(Gain::X128.factor(), 128);
    }

    #[test]
    fn configure_resets_writes_reads_back_and_starts() {
        let mut converter = Ads1220::new(device(&CONFIGURE));
        assert_eq!(converter.configure(CONFIG), Ok(()));
        converter.release().done();
    }

    #[test]
    fn a_chip_that_reads_back_otherwise_is_not_started() {
        let [reset, write, ..] = CONFIGURE;
        let spi = device(&[reset, write, Exchange::Read(&[0x23], &[0xff; 4])]);
        let mut converter = Ads1220::new(spi);
        assert_eq!(converter.configure(CONFIG), Err(SetupError::ReadBack([0xff; 4])));
        converter.release().done();
    }

    #[test]
    fn a_bus_that_fails_at_any_step_is_said_and_nothing_follows() {
        for (step, so_far) in (0..CONFIGURE.len()).map(|step| (step, &CONFIGURE[..step])) {
            let spi = FailsAt { inner: device(so_far), good_transactions: step };
            let mut converter = Ads1220::new(spi);
            let failed = Err(SetupError::Bus(ErrorKind::ModeFault));
            assert_eq!(converter.configure(CONFIG), failed, "step {step}");
            converter.release().inner.done();
        }
        let mut converter = Ads1220::new(FailsAt { inner: device(&[]), good_transactions: 0 });
        assert_eq!(converter.read(), Err(ErrorKind::ModeFault));
        assert_eq!(converter.power_down(), Err(ErrorKind::ModeFault));
        let failed = Err(SetupError::Bus(ErrorKind::ModeFault));
        assert_eq!(converter.set_burn_out(CONFIG, true), failed);
        converter.release().inner.done();
    }

    #[test]
    fn burn_out_sources_are_one_bit_of_the_second_register() {
        let mut converter = Ads1220::new(device(&[
            Exchange::Write(&[0x44, 0x95]),
            Exchange::Read(&[0x24], &[0x95]),
            Exchange::Write(&[0x44, 0x94]),
            Exchange::Read(&[0x24], &[0x95]),
            Exchange::Write(&[0x02]),
        ]));
        assert_eq!(converter.set_burn_out(CONFIG, true), Ok(()));
        let stuck = Err(SetupError::ReadBack([0, 0x95, 0, 0]));
        assert_eq!(converter.set_burn_out(CONFIG, false), stuck);
        assert_eq!(converter.power_down(), Ok(()));
        converter.release().done();
    }

    #[test]
    fn connected_is_a_shift_of_the_right_size() {
        let code = |code: i32| {
            let [_, high, middle, low] = code.to_be_bytes();
            decode([high, middle, low])
        };
        // 350 Ω and 1 kΩ, from a zero on either side and at the torque of a pin.
        for (before, shift) in [(-90_000, 1_140_000), (90_000, 3_250_000), (2_000_000, 1_140_000)] {
            assert!(is_connected(code(before), code(before + shift)), "{before} {shift}");
        }
        // A short, both wires swapped, wires open at either end of the range.
        for (before, during) in
            [(0, 20), (0, -1_140_000), (0, 8_388_607), (8_388_607, 8_388_607), (0, 6_500_000)]
        {
            assert!(!is_connected(code(before), code(during)), "{before} {during}");
        }
        assert!(!is_connected(code(-8_388_608), code(-7_000_000)));
    }

    #[test]
    fn reads_most_significant_byte_first() {
        let mut converter = Ads1220::new(device(&[Exchange::Read(&[0x10], &[0xab, 0xcd, 0xef])]));
        let conversion = converter.read();
        assert_eq!(conversion, Ok(Conversion { code: -5_517_841, range: Range::Within }));
        converter.release().done();
    }

    #[test]
    fn every_code_survives_the_way_there_and_back() {
        for code in (-8_388_608_i32..=8_388_607).step_by(4_099) {
            let [_, high, middle, low] = code.to_be_bytes();
            assert_eq!(decode([high, middle, low]).code, code);
        }
    }
}

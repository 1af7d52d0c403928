//! Arithmetic of battery and supply: a voltage behind a divider, and how long a charge lasts.
//!
//! Deliberately not here: the converter (the board's) and what a voltage means for the charge left
//! (the lever's core).
//!
//! Invariant: plain integers, no division by zero, whatever the constants.

use pinhold_protocol::division::divided;

/// A voltage measured through a divider of two resistors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Divided {
    /// Voltage at the converter's pin that gives the full code, millivolts.
    pub full_scale_mv: u32,
    /// Bits of the code.
    pub bit_count: u32,
    /// Resistor from the measured voltage to the pin, kilohms.
    pub upper_kohm: u32,
    /// Resistor from the pin to ground, kilohms; not 0.
    pub lower_kohm: u32,
}

impl Divided {
    /// Measured voltage, millivolts; a code below zero is an offset and reads 0.
    ///
    /// ```
    /// use pinhold_drivers::supply::Divided;
    /// let cell =
    ///     Divided { full_scale_mv: 3600, bit_count: 12, upper_kohm: 1000, lower_kohm: 1000 };
    /// assert_eq!(cell.millivolts(2048), 3600);
    /// ```
    pub fn millivolts(self, code: i16) -> u16 {
        let code = u64::try_from(code).unwrap_or(0);
        let pin_mv = code * u64::from(self.full_scale_mv);
        let total_kohm = u64::from(self.upper_kohm) + u64::from(self.lower_kohm);
        let scaled = divided(pin_mv.saturating_mul(total_kohm), self.lower_kohm);
        let millivolts = scaled.checked_shr(self.bit_count).unwrap_or(0);
        u16::try_from(millivolts).unwrap_or(u16::MAX)
    }
}

/// Minutes a charge lasts at a current, `usable_permille` of it being there to use; 0 where the
/// current is not known.
///
/// ```
/// use pinhold_drivers::supply::life_minutes;
/// assert_eq!(life_minutes(1000, 850, 20_000), 2550);
/// ```
pub const fn life_minutes(capacity_mah: u32, usable_permille: u32, current_ua: u32) -> u16 {
    if current_ua == 0 {
        return 0;
    }
    // mAh · ‰ = µAh; as u64 no product of two u32 and 60 overflows in practice, and saturates.
    let usable_uah = capacity_mah as u64 * usable_permille as u64;
    let minutes = usable_uah.saturating_mul(60) / current_ua as u64;
    if minutes > u16::MAX as u64 { u16::MAX } else { minutes as u16 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn divider_by_hand() {
        let cell =
            Divided { full_scale_mv: 3600, bit_count: 12, upper_kohm: 1000, lower_kohm: 1000 };
        // 4.20 V halved is 2.10 V, of 3.60 V 58.33 %, of 4096 codes 2389.
        assert_eq!(cell.millivolts(2389), 4199);
        assert_eq!(cell.millivolts(-3), 0);
        let broken = Divided { lower_kohm: 0, ..cell };
        assert_eq!(broken.millivolts(2389), 0);
        let absurd = Divided { full_scale_mv: u32::MAX, upper_kohm: u32::MAX, ..cell };
        assert_eq!(absurd.millivolts(i16::MAX), u16::MAX);
        assert_eq!(Divided { bit_count: 64, ..cell }.millivolts(9), 0);
    }

    #[test]
    fn life_by_hand() {
        assert_eq!(life_minutes(1000, 1000, 1_000_000), 60);
        assert_eq!(life_minutes(1000, 1000, 0), 0);
        assert_eq!(life_minutes(u32::MAX, 1000, 1), u16::MAX);
    }
}

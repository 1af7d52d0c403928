//! A 64-bit number divided by a small one, digit by digit.
//!
//! The compiler's own 64-bit division is a kilobyte of flash, and a lever needs it for nothing but
//! clocks and sums over a few hundred samples. Deliberately not here: larger divisors.

/// Largest divisor.
pub const DIVISOR_MAX: u32 = 1 << 24;
/// Bits of a digit; a rest and a digit together fit 32 bits.
const DIGIT_BITS: u32 = 8;

/// The whole part of `value` divided by `by`; 0 for a division by 0 or by more than
/// [`DIVISOR_MAX`].
///
/// ```
/// use pinhold_protocol::division::divided;
/// assert_eq!(divided(u64::MAX, 1_000), 18_446_744_073_709_551);
/// ```
#[inline(never)]
pub const fn divided(value: u64, by: u32) -> u64 {
    if by == 0 || by > DIVISOR_MAX {
        return 0;
    }
    // Mostly it is as short as that.
    if value <= u32::MAX as u64 {
        return (value as u32 / by) as u64;
    }
    let (mut left, mut rest, mut quotient) = (value, 0, 0);
    let mut done_bits = 0;
    while done_bits < u64::BITS {
        let part = rest << DIGIT_BITS | (left >> (u64::BITS - DIGIT_BITS)) as u32;
        left <<= DIGIT_BITS;
        quotient = quotient << DIGIT_BITS | (part / by) as u64;
        rest = part % by;
        done_bits += DIGIT_BITS;
    }
    quotient
}

/// The same of a signed number, towards zero.
#[inline(never)]
pub const fn divided_signed(value: i64, by: u32) -> i64 {
    let magnitude = divided(value.unsigned_abs(), by) as i64;
    if value < 0 { magnitude.wrapping_neg() } else { magnitude }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn equals_the_compilers_division(
            value in any::<u64>(),
            shift in 0u32..64,
            by in 1..=DIVISOR_MAX,
        ) {
            let value = value >> shift;
            prop_assert_eq!(divided(value, by), value / u64::from(by));
            let signed = value as i64;
            prop_assert_eq!(divided_signed(signed, by), signed.wrapping_div(by.into()));
        }
    }

    #[test]
    fn the_ends_of_the_ranges() {
        for by in [1, 2, 999, 1_000, 3_125, DIVISOR_MAX] {
            for value in [0, 1, u64::from(by) - 1, by.into(), u32::MAX.into(), u64::MAX] {
                assert_eq!(divided(value, by), value / u64::from(by), "{value} / {by}");
            }
            for value in [i64::MIN, i64::MIN + 1, -1, 0, i64::MAX] {
                assert_eq!(divided_signed(value, by), value / i64::from(by), "{value} / {by}");
            }
        }
        assert_eq!((divided(5, 0), divided_signed(-5, 0)), (0, 0));
        assert_eq!(divided(u64::MAX, DIVISOR_MAX + 1), 0);
    }
}

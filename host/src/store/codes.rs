//! Enums as the numbers and words the tables hold.
//!
//! Invariant: append-only, like the enums themselves; a number once stored keeps its meaning.

use pinhold_protocol::record::{Direction, Knee, Outcome, SampleCoverage, StringPosition};

use super::error::StoreError;

/// An enum with a stable number per variant.
pub(super) trait Code: Sized + Copy + PartialEq + 'static {
    /// Column name, for messages.
    const WHAT: &'static str;
    /// Variants in the order of their numbers.
    const VARIANTS: &'static [Self];

    /// The stored number.
    fn code(self) -> i64 {
        // Every variant is in the list: a test walks them by exhaustive match.
        Self::VARIANTS.iter().position(|variant| *variant == self).map_or(-1, |at| at as i64)
    }

    /// Back from the stored number.
    fn from_code(code: i64) -> Result<Self, StoreError> {
        usize::try_from(code)
            .ok()
            .and_then(|at| Self::VARIANTS.get(at).copied())
            .ok_or_else(|| StoreError::Corrupt { what: Self::WHAT, value: code.to_string() })
    }
}

impl Code for Direction {
    const WHAT: &'static str = "a stroke's direction";
    const VARIANTS: &'static [Direction] = &[Direction::Flat, Direction::Sharp];
}

impl Code for Knee {
    const WHAT: &'static str = "a stroke's knee";
    const VARIANTS: &'static [Knee] = &[Knee::Crisp, Knee::Rounded, Knee::Absent];
}

impl Code for Outcome {
    const WHAT: &'static str = "a reading's outcome";
    const VARIANTS: &'static [Outcome] = &[
        Outcome::Measured,
        Outcome::FlatOnly,
        Outcome::SharpOnly,
        Outcome::BreakawayOnly,
        Outcome::AboveLimit,
        Outcome::MovedOnSeating,
        Outcome::Spoiled,
    ];
}

impl Code for SampleCoverage {
    const WHAT: &'static str = "a reading's sample coverage";
    const VARIANTS: &'static [SampleCoverage] =
        &[SampleCoverage::None, SampleCoverage::WithGaps, SampleCoverage::Complete];
}

/// The stored letter of a string.
pub(super) fn letter(string: StringPosition) -> String {
    string.letter().to_string()
}

/// Back from the stored letter.
pub(super) fn string_from(letter: &str) -> Result<StringPosition, StoreError> {
    let mut letters = letter.chars();
    match (letters.next().and_then(StringPosition::from_letter), letters.next()) {
        (Some(string), None) => Ok(string),
        _ => Err(StoreError::Corrupt { what: "a pin's string", value: letter.to_string() }),
    }
}

/// A stored whole number in the range of the type it came from.
pub(super) fn whole<T: TryFrom<i64>>(value: i64, what: &'static str) -> Result<T, StoreError> {
    T::try_from(value).map_err(|_| StoreError::Corrupt { what, value: value.to_string() })
}

/// 64 bits as SQLite holds them.
pub(super) fn as_signed(bits: u64) -> i64 {
    bits.cast_signed()
}

/// Back from SQLite's 64 bits.
pub(super) fn as_unsigned(bits: i64) -> u64 {
    bits.cast_unsigned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all<T: Code + std::fmt::Debug>() {
        for (number, variant) in (0_i64..).zip(T::VARIANTS) {
            assert_eq!(variant.code(), number);
            assert_eq!(T::from_code(number).unwrap(), *variant);
        }
        assert!(T::from_code(T::VARIANTS.len() as i64).is_err());
        assert!(T::from_code(-1).is_err());
    }

    /// Fails to compile when a variant is added that the lists above lack.
    fn known(outcome: Outcome, knee: Knee, direction: Direction, samples: SampleCoverage) -> bool {
        let outcome_known = match outcome {
            Outcome::Measured
            | Outcome::FlatOnly
            | Outcome::SharpOnly
            | Outcome::BreakawayOnly
            | Outcome::AboveLimit
            | Outcome::MovedOnSeating
            | Outcome::Spoiled => outcome.code() >= 0,
        };
        let knee_known = match knee {
            Knee::Crisp | Knee::Rounded | Knee::Absent => knee.code() >= 0,
        };
        let direction_known = match direction {
            Direction::Flat | Direction::Sharp => direction.code() >= 0,
        };
        let samples_known = match samples {
            SampleCoverage::None | SampleCoverage::WithGaps | SampleCoverage::Complete => {
                samples.code() >= 0
            }
        };
        outcome_known && knee_known && direction_known && samples_known
    }

    #[test]
    fn every_variant_has_its_number_and_comes_back() {
        all::<Direction>();
        all::<Knee>();
        all::<Outcome>();
        all::<SampleCoverage>();
        assert!(known(Outcome::Spoiled, Knee::Absent, Direction::Sharp, SampleCoverage::Complete));
    }

    #[test]
    fn identities_keep_all_their_bits() {
        for bits in [0, 1, u64::MAX, 1 << 63, 0x0123_4567_89ab_cdef] {
            assert_eq!(as_unsigned(as_signed(bits)), bits);
        }
    }
}

//! A free-running 32-bit microsecond counter made into a clock that never goes back.
//!
//! Deliberately not here: reading the counter (the board does), and dates.
//!
//! Invariant: correct as long as it is advanced at least once in 2³² µs, 71 minutes.

/// Microseconds from `earlier` to `later` on a counter that wraps at 2³².
///
/// ```
/// use pinhold_drivers::clock::elapsed_us;
/// assert_eq!(elapsed_us(4_294_967_290, 10), 16);
/// ```
pub const fn elapsed_us(earlier: u32, later: u32) -> u32 {
    later.wrapping_sub(earlier)
}

/// A 64-bit count of microseconds carried forward from a wrapping 32-bit one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct WideClock {
    last: u32,
    total_us: u64,
}

impl WideClock {
    /// A clock that reads 0 when the counter reads `count`.
    pub const fn starting_at(count: u32) -> WideClock {
        WideClock { last: count, total_us: 0 }
    }

    /// Takes the counter's present reading and gives the microseconds since the start.
    pub fn advance(&mut self, count: u32) -> u64 {
        // 2^64 µs is 584,000 years: saturating only keeps the arithmetic free of panics.
        self.total_us = self.total_us.saturating_add(u64::from(elapsed_us(self.last, count)));
        self.last = count;
        self.total_us
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn carries_over_the_wrap_as_often_as_it_comes() {
        let mut clock = WideClock::starting_at(4_000_000_000);
        assert_eq!(clock.advance(4_000_000_000), 0);
        assert_eq!(clock.advance(100_000_000), 394_967_296);
        assert_eq!(clock.advance(99_999_999), 394_967_296 + 4_294_967_295);
    }
}

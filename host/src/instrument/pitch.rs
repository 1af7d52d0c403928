//! Equal temperament, cents, and what a cent is worth in tension.
//!
//! Deliberately not here: inharmonicity and stretched tuning, far below what torque can tell.

/// Note number of A4, the pitch standard's note.
pub const A4_NOTE: u8 = 49;
/// ISO 16:1975 pitch of A4, Hz.
pub const A4_HZ_ISO16: f64 = 440.0;

/// Frequency of a note in equal temperament, Hz: `a4_hz`·2^((note − 49)/12).
///
/// Numbers beyond the compass of 1 to 88 continue the scale.
///
/// ```
/// use pinhold::instrument::pitch::frequency_hz;
/// assert_eq!(frequency_hz(1, 440.0), 27.5);
/// ```
pub fn frequency_hz(note: u8, a4_hz: f64) -> f64 {
    a4_hz * libm::exp2((f64::from(note) - f64::from(A4_NOTE)) / 12.0)
}

/// Cents from `reference_hz` up to `frequency_hz`, negative when it is lower.
///
/// ```
/// use pinhold::instrument::pitch::cents_between;
/// assert_eq!(cents_between(880.0, 440.0), 1200.0);
/// ```
pub fn cents_between(frequency_hz: f64, reference_hz: f64) -> f64 {
    1200.0 * libm::log2(frequency_hz / reference_hz)
}

/// The frequency `cents` above `frequency_hz` (below when negative), Hz.
pub fn frequency_after_cents(frequency_hz: f64, cents: f64) -> f64 {
    frequency_hz * libm::exp2(cents / 1200.0)
}

/// String tension at a pitch `cents` from target, over tension at target: (f/f₀)².
///
/// Holds for one string of fixed length and mass. 100 cents flat leaves 0.891.
pub fn tension_ratio_at_cents(cents: f64) -> f64 {
    libm::exp2(cents / 600.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spot_frequencies_as_commonly_printed() {
        // ISO 16:1975, A4 = 440 Hz; 261.6256 and 4186.009 are the commonly printed C4 and C8.
        assert!((frequency_hz(40, A4_HZ_ISO16) - 261.625_565_3).abs() < 1e-7);
        assert!((frequency_hz(88, A4_HZ_ISO16) - 4_186.009_045).abs() < 1e-6);
        assert!((frequency_hz(13, 435.0) - 54.375).abs() < 1e-12);
    }

    #[test]
    fn cents_go_there_and_back() {
        assert!((cents_between(442.0, 440.0) - 7.851_415_040_126_504).abs() < 1e-9);
        assert!((frequency_after_cents(440.0, 100.0) - 466.163_761_518_089_9).abs() < 1e-9);
        assert!((cents_between(frequency_after_cents(220.0, -37.5), 220.0) + 37.5).abs() < 1e-9);
    }

    #[test]
    fn a_semitone_flat_loses_a_tenth_of_the_tension() {
        let ratio = tension_ratio_at_cents(-100.0);
        assert!((ratio - 0.890_898_718).abs() < 1e-9, "{ratio}");
        let frequency = frequency_after_cents(440.0, -100.0) / 440.0;
        assert!((ratio - frequency * frequency).abs() < 1e-12);
    }
}

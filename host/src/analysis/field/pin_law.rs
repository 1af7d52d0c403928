//! The law of one pin's friction: the field where it stands, and the mixture of ordinary, loose and
//! high pins about it.
//!
//! Deliberately not here: the field, and what a chance is good for.

use super::super::input::Estimate;
use super::super::scatter::{HIGH_SD, HIGH_SHARE, HIGH_SHIFT, LOOSE_SD, LOOSE_SHIFT, ScatterLaw};
use super::super::stats::{log_normal_density, normal_cdf, softmax};

/// A normal law of a logarithm and its share.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Part {
    share: f64,
    mean: f64,
    variance: f64,
}

/// Law of the natural logarithm of a pin's friction in N·m: ordinary, loose, high, and what a bad
/// place left tight, in turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinLaw {
    parts: [Part; PART_COUNT],
}

/// Parts of a pin's law.
pub const PART_COUNT: usize = 4;

/// What a bad place left as it was: in a ragged line some pins are still tight (ONE).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LeftTight {
    /// Chance that the pin is one of them, 0–1.
    pub share: f64,
    /// Mean of the sound field there.
    pub mean: f64,
    /// Its variance.
    pub variance: f64,
}

impl PinLaw {
    /// Of a pin nobody read, where the field has this mean and variance.
    pub fn about(mean: f64, variance: f64, scatter: ScatterLaw, tight: LeftTight) -> PinLaw {
        let part = |share: f64, shift: f64, sd: f64| Part {
            share,
            mean: mean + shift,
            variance: variance + sd * sd,
        };
        let rest = 1.0 - tight.share;
        let as_it_was = Part {
            share: tight.share,
            mean: tight.mean,
            variance: tight.variance + scatter.sd * scatter.sd,
        };
        PinLaw {
            parts: [
                part(rest * (1.0 - scatter.loose_share - HIGH_SHARE), 0.0, scatter.sd),
                part(rest * scatter.loose_share, LOOSE_SHIFT, LOOSE_SD),
                part(rest * HIGH_SHARE, HIGH_SHIFT, HIGH_SD),
                as_it_was,
            ],
        }
    }

    /// The same pin when it has been read.
    pub fn given(&self, log_friction: f64, variance: f64) -> PinLaw {
        let logs = self.parts.map(|part| {
            libm::log(part.share.max(1e-300))
                + log_normal_density(log_friction, part.mean, part.variance + variance)
        });
        let shares = softmax(&logs);
        let mut parts = self.parts;
        for (part, share) in parts.iter_mut().zip(shares) {
            let trust = part.variance / (part.variance + variance);
            part.share = share;
            part.mean += trust * (log_friction - part.mean);
            part.variance = (trust * variance).max(0.0);
        }
        PinLaw { parts }
    }

    /// Chances of being an ordinary pin of the field, a loose one, one that stands above, and one
    /// that a bad place left tight.
    pub fn shares(&self) -> [f64; PART_COUNT] {
        self.parts.map(|part| part.share)
    }

    /// The same with an error of this mean and variance taken off that all pins share.
    pub fn without(&self, mean: f64, variance: f64) -> PinLaw {
        let less = |part: Part| Part {
            mean: part.mean - mean,
            variance: part.variance + variance,
            ..part
        };
        PinLaw { parts: self.parts.map(less) }
    }

    /// Chance that the logarithm lies below `limit`, one known with variance `variance`.
    pub fn chance_below(&self, limit: f64, variance: f64) -> f64 {
        let chance = self.parts.iter().fold(0.0, |sum, part| {
            let sd = (part.variance + variance).sqrt();
            sum + part.share * normal_cdf((limit - part.mean) / sd.max(1e-9))
        });
        // Shares add up to 1 but for rounding.
        chance.clamp(0.0, 1.0)
    }

    /// The logarithm below which the pin's lies with this chance, 0–1, to about a millionth.
    pub fn quantile(&self, chance: f64) -> f64 {
        let edge = |side: f64| {
            let ends = self.parts.iter().map(|p| p.mean + side * QUANTILE_SD * p.variance.sqrt());
            ends.fold(self.parts[0].mean, |end, at| if (at - end) * side > 0.0 { at } else { end })
        };
        let (mut low, mut high) = (edge(-1.0), edge(1.0));
        for _ in 0..HALVING_COUNT {
            let middle = 0.5 * (low + high);
            if self.chance_below(middle, 0.0) < chance {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Expected friction and its standard deviation, N·m, to first order in each part.
    pub fn friction_nm(&self) -> Estimate {
        let level = |part: &Part| libm::exp(part.mean.clamp(-LOG_MAX, LOG_MAX));
        let value = self.parts.iter().fold(0.0, |sum, part| sum + part.share * level(part));
        let variance = self.parts.iter().fold(0.0, |sum, part| {
            let (level, between) = (level(part), level(part) - value);
            sum + part.share * (level * level * part.variance + between * between)
        });
        Estimate { value, u: variance.sqrt() }
    }
}

/// Quantiles are looked for within so many standard deviations of every part.
const QUANTILE_SD: f64 = 8.0;
/// Halvings of that range: to a millionth of a logarithm of some units.
const HALVING_COUNT: usize = 26;
/// Logarithms beyond ± this are no friction.
pub(super) const LOG_MAX: f64 = 20.0;

#[cfg(test)]
mod tests {
    use super::*;

    const SCATTER: ScatterLaw = ScatterLaw { sd: 0.12, loose_share: 0.02 };

    #[test]
    fn a_read_pin_is_its_reading_and_an_unread_one_its_place() {
        let unread = PinLaw::about(libm::log(9.0), 0.0025, SCATTER, LeftTight::default());
        let told = unread.friction_nm();
        assert!((8.7..9.1).contains(&told.value) && (1.0..1.7).contains(&told.u), "{told:?}");
        let read = unread.given(libm::log(3.0), 4e-4);
        let told = read.friction_nm();
        assert!((told.value - 3.0).abs() < 0.05 && told.u < 0.07, "{told:?}");
        assert!(read.shares()[1] > 0.99);
        // A vague reading leaves it where it stands.
        let vague = unread.given(libm::log(3.0), 4.0).friction_nm();
        assert!(vague.value > 8.0, "{vague:?}");
    }

    #[test]
    fn chances_add_up_over_the_parts() {
        let scatter = ScatterLaw { sd: 0.1, loose_share: 0.3 };
        let law = PinLaw::about(0.0, 0.0, scatter, LeftTight::default());
        assert!((law.shares().iter().sum::<f64>() - 1.0).abs() < 1e-15);
        // Far above every ordinary and loose pin: all but the half of the high ones.
        let below = law.chance_below(HIGH_SHIFT, 0.0);
        let loose = normal_cdf((HIGH_SHIFT - LOOSE_SHIFT) / LOOSE_SD);
        assert!((below - (0.69 + 0.3 * loose + 0.005)).abs() < 1e-6, "{below}");
        for chance in [0.025, 0.4, 0.975] {
            let back = law.chance_below(law.quantile(chance), 0.0);
            assert!((back - chance).abs() < 1e-5, "{chance} {back}");
        }
        let moved = law.without(0.2, 0.0).chance_below(0.0, 0.0);
        assert!((moved - law.chance_below(0.2, 0.0)).abs() < 1e-15);
    }

    #[test]
    fn a_bad_place_leaves_some_pins_as_they_were() {
        let tight = LeftTight { share: 0.25, mean: libm::log(10.0), variance: 0.0 };
        let law = PinLaw::about(libm::log(3.0), 0.01, SCATTER, tight);
        let low = law.chance_below(libm::log(5.6), 0.0);
        assert!((0.73..0.76).contains(&low), "{low}");
        assert!(law.given(libm::log(9.5), 4e-4).shares()[3] > 0.9);
        assert!(law.given(libm::log(3.2), 4e-4).shares()[0] > 0.9);
    }
}

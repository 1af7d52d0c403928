//! Bands: what one pin's friction and holding factor amount to, with the chance of being wrong.
//!
//! A pin has two scales, friction F and holding factor F/M₀, and counts as the worse of the two.
//! Whether a band is *settled* is decided with a guard band (after JCGM 106:2012, *The role of
//! measurement uncertainty in conformity assessment*): the probability that the true value lies on
//! the wrong side of the limit of doubtful, from the reading's own distribution where it has a
//! budget, must not exceed the stated risk. Between the two guard bands it cannot be told yet.

use super::budget::Quantity;
use super::input::{Estimate, PinReading, StringState};
use super::profile::Profile;
use super::stats::probability_below;
use crate::metrology::conformity::{Decision, Risk, decide_by_chance};

/// What a pin amounts to, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Band {
    /// Tighter than a lever can place a pin well.
    OverTight,
    /// Tight, as some new planks are.
    Tight,
    /// What is hoped for in a new piano.
    AsNew,
    /// Lower than new; works.
    Serviceable,
    /// Works today; watch it.
    Weak,
    /// Tell the owner.
    Doubtful,
    /// Will not last.
    Failing,
    /// Friction below the string's pull: it runs back.
    NotHolding,
    /// The reading cannot tell, or was taken in a state that says nothing of a strung pin.
    CannotTell,
}

impl Band {
    /// All bands, best first, [`Band::CannotTell`] last.
    pub const ALL: [Band; 9] = [
        Band::OverTight,
        Band::Tight,
        Band::AsNew,
        Band::Serviceable,
        Band::Weak,
        Band::Doubtful,
        Band::Failing,
        Band::NotHolding,
        Band::CannotTell,
    ];

    /// The word in reports and in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Band::OverTight => "over-tight",
            Band::Tight => "tight",
            Band::AsNew => "as-new",
            Band::Serviceable => "serviceable",
            Band::Weak => "weak",
            Band::Doubtful => "doubtful",
            Band::Failing => "failing",
            Band::NotHolding => "not-holding",
            Band::CannotTell => "cannot-tell",
        }
    }

    /// Doubtful, failing or not holding.
    pub const fn is_doubtful_or_worse(self) -> bool {
        matches!(self, Band::Doubtful | Band::Failing | Band::NotHolding)
    }
}

/// One pin's band and how firmly it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandJudgement {
    /// The band of the best values, or [`Band::CannotTell`].
    pub band: Band,
    /// Whether the pin is on one side of the limit of doubtful at the profile's guard risk.
    pub settled: bool,
    /// Chance that the pin is doubtful or worse.
    pub doubtful_chance: f64,
    /// Chance that the pin is failing or worse.
    pub failing_chance: f64,
    /// Chance that the pin does not hold.
    pub not_holding_chance: f64,
}

impl BandJudgement {
    /// Whether it stands, as it is told.
    pub const fn standing(&self) -> &'static str {
        if self.settled { "settled" } else { "cannot tell yet" }
    }

    /// Nothing is known of this pin but this chance of being doubtful.
    pub const fn unknown(doubtful_chance: f64, failing_chance: f64) -> BandJudgement {
        BandJudgement {
            band: Band::CannotTell,
            settled: false,
            doubtful_chance,
            failing_chance,
            not_holding_chance: 0.0,
        }
    }
}

/// Band of a friction alone, N·m.
pub fn friction_band(friction_nm: f64, profile: &Profile) -> Band {
    if friction_nm < profile.failing_nm.value {
        Band::Failing
    } else if friction_nm < profile.doubtful_nm.value {
        Band::Doubtful
    } else if friction_nm < profile.serviceable_nm.value {
        Band::Weak
    } else if friction_nm < profile.as_new_nm.value {
        Band::Serviceable
    } else if friction_nm <= profile.tight_nm.value {
        Band::AsNew
    } else if friction_nm <= profile.over_tight_nm.value {
        Band::Tight
    } else {
        Band::OverTight
    }
}

/// Band of a holding factor alone; above the limit of doubtful it has no say.
pub fn factor_band(holding_factor: f64, profile: &Profile) -> Option<Band> {
    if holding_factor < profile.not_holding_factor.value {
        Some(Band::NotHolding)
    } else if holding_factor < profile.failing_factor.value {
        Some(Band::Failing)
    } else if holding_factor < profile.doubtful_factor.value {
        Some(Band::Doubtful)
    } else {
        None
    }
}

/// Chances of doubtful, failing and not holding or worse, from the chances of friction and factor
/// lying below a limit.
///
/// The two scales share the friction, so the chance of failing either is close to the larger of
/// the two; that is what is returned.
fn worse_chances(
    friction_below: impl Fn(f64) -> f64,
    factor_below: impl Fn(f64) -> f64,
    profile: &Profile,
) -> [f64; 3] {
    [
        friction_below(profile.doubtful_nm.value).max(factor_below(profile.doubtful_factor.value)),
        friction_below(profile.failing_nm.value).max(factor_below(profile.failing_factor.value)),
        factor_below(profile.not_holding_factor.value),
    ]
}

/// The same as if both were normal.
pub fn chances(friction: Estimate, factor: Option<Estimate>, profile: &Profile) -> [f64; 3] {
    let below =
        |limit: f64, estimate: Estimate| probability_below(limit, estimate.value, estimate.u);
    let factor_below = |limit: f64| factor.map_or(0.0, |factor| below(limit, factor));
    worse_chances(|limit| below(limit, friction), factor_below, profile)
}

/// Probability that a quantity of a reading lies below a limit: from the reading's distribution,
/// else as if normal; 0 for what it does not have.
fn chance_below(
    reading: &PinReading,
    quantity: Quantity,
    estimate: Option<Estimate>,
    limit: f64,
) -> f64 {
    let Some(estimate) = estimate else { return 0.0 };
    let budget = reading.budget.as_ref();
    budget
        .and_then(|budget| budget.probability_below(quantity, limit))
        .unwrap_or_else(|| probability_below(limit, estimate.value, estimate.u))
}

/// Band of a friction and a factor: the worse of the two.
fn worse_band(friction_nm: f64, factor: Option<f64>, profile: &Profile) -> Band {
    let by_friction = friction_band(friction_nm, profile);
    let by_factor = factor.and_then(|factor| factor_band(factor, profile));
    by_factor.map_or(by_friction, |by_factor| by_friction.max(by_factor))
}

/// Judges one reading. Values that are not finite count as not taken.
pub fn judge(reading: &PinReading, profile: &Profile) -> BandJudgement {
    let unread = BandJudgement::unknown(0.5, 0.25);
    let friction = finite(reading.friction_nm);
    let factor = finite(reading.holding_factor);
    if reading.not_holding {
        return BandJudgement {
            band: Band::NotHolding,
            settled: true,
            doubtful_chance: 1.0,
            failing_chance: 1.0,
            not_holding_chance: 1.0,
        };
    }
    let Some(friction) = friction else {
        return unread;
    };
    if reading.state == StringState::Unstrung {
        // The string's side load is missing, so strung friction is at least as high (DER): a
        // good reading stands, a low one says nothing.
        let best = friction_band(friction.value, profile);
        return if best <= Band::Weak {
            BandJudgement { band: best, ..BandJudgement::unknown(0.05, 0.0) }
        } else {
            unread
        };
    }
    if reading.friction_is_lower_limit {
        // It did not move: at least the band of what it surely holds. Only a limit beyond doubt
        // says more.
        let least_nm = reading.friction_interval_nm.map_or(friction.value, |(low, _)| low);
        let least = reading.holding_interval.map(|(low, _)| low);
        let band = worse_band(least_nm, least.or(factor.map(|f| f.value)), profile);
        return if band <= Band::Serviceable {
            BandJudgement { band, settled: true, ..BandJudgement::unknown(0.0, 0.0) }
        } else {
            unread
        };
    }
    let band = worse_band(friction.value, factor.map(|f| f.value), profile);
    let friction_below =
        |limit: f64| chance_below(reading, Quantity::Friction, Some(friction), limit);
    let factor_below = |limit: f64| chance_below(reading, Quantity::HoldingFactor, factor, limit);
    let [doubtful_chance, failing_chance, not_holding_chance] =
        worse_chances(friction_below, factor_below, profile);
    let guard = profile.guard_risk.value;
    let settled = decide_by_chance(doubtful_chance, Risk::of(guard)) != Decision::CannotTell;
    // A reading that could as well be good as failing is no band at all.
    let good_chance = 1.0 - friction_below(profile.serviceable_nm.value);
    let tells = good_chance <= guard || failing_chance <= guard;
    BandJudgement {
        band: if tells { band } else { Band::CannotTell },
        settled: settled && tells,
        doubtful_chance,
        failing_chance,
        not_holding_chance,
    }
}

/// The estimate when it is a number with an uncertainty that is one too.
pub fn finite(estimate: Option<Estimate>) -> Option<Estimate> {
    estimate.filter(|e| e.value.is_finite() && e.u.is_finite() && e.u >= 0.0)
}

#[cfg(test)]
mod tests {
    use super::super::test_planks::reading;
    use super::*;

    fn band_of(friction_nm: f64, moment_nm: f64) -> Band {
        judge(&reading(40, 'C', friction_nm, moment_nm), &Profile::default()).band
    }

    #[test]
    fn the_worse_of_two_scales_counts() {
        assert_eq!(band_of(21.0, 2.5), Band::OverTight);
        assert_eq!(band_of(18.0, 2.5), Band::Tight);
        assert_eq!(band_of(12.0, 2.5), Band::AsNew);
        assert_eq!(band_of(8.0, 2.5), Band::Serviceable);
        assert_eq!(band_of(6.0, 2.5), Band::Weak);
        assert_eq!(band_of(5.0, 2.5), Band::Doubtful);
        assert_eq!(band_of(3.2, 2.5), Band::Failing);
        // A monochord with 5.2 N·m has a factor near 1: failing, though friction says doubtful.
        assert_eq!(band_of(5.2, 5.04), Band::Failing);
        assert_eq!(band_of(4.9, 5.04), Band::NotHolding);
        assert_eq!(band_of(7.2, 5.04), Band::Doubtful);
    }

    #[test]
    fn near_a_limit_the_band_is_not_settled() {
        let near = judge(&reading(40, 'C', 5.55, 2.5), &Profile::default());
        assert!(!near.settled && near.band == Band::Doubtful);
        let far = judge(&reading(40, 'C', 4.6, 2.5), &Profile::default());
        assert!(far.settled && far.doubtful_chance > 0.99);
    }

    /// A reading both ways by hand, as the analysis makes it.
    fn by_hand(sharp_nm: &str, flat_nm: &str) -> PinReading {
        let text = format!("note,string,sharp_nm,flat_nm,u_nm\n49,C,{sharp_nm},{flat_nm},0.1\n");
        let rows = crate::import::parse(text.as_bytes()).unwrap();
        let hand: Vec<_> = rows.into_iter().map(|row| row.reading).collect();
        let kind = crate::instrument::InstrumentKind::Grand;
        let instrument = crate::instrument::layout::modern_88("test", kind);
        let profile = super::super::readings::MeasurementProfile::default();
        super::super::readings::pin_readings(&instrument, &[], &hand, None, &profile).remove(0)
    }

    #[test]
    fn the_guard_band_is_that_of_the_readings_distribution() {
        // F 5.90 ± about 0.26, most of it a bias that can only make it read high.
        let read = by_hand("8.80", "3.00");
        let judged = judge(&read, &Profile::default());
        let friction = read.friction_nm.unwrap();
        let normal = probability_below(5.6, friction.value, friction.u);
        let told = read.budget.as_ref().unwrap().probability_below(Quantity::Friction, 5.6);
        assert!(judged.doubtful_chance >= told.unwrap());
        assert!(told.unwrap() > normal, "the bias lies towards the limit: {told:?} {normal}");
        assert_eq!((judged.settled, judged.standing()), (false, "cannot tell yet"));
        // One stated risk either side: settled exactly when the chance is within it.
        for flat in ["1.50", "2.00", "2.50", "3.50", "4.50", "6.50"] {
            let judged = judge(&by_hand("8.80", flat), &Profile::default());
            let decided = !(0.05..=0.95).contains(&judged.doubtful_chance);
            assert_eq!(judged.settled, decided, "{flat}: {judged:?}");
        }
    }

    #[test]
    fn a_limit_counts_by_what_it_surely_holds() {
        let mut stuck = reading(40, 'C', 9.1, 2.5);
        stuck.friction_is_lower_limit = true;
        assert_eq!(judge(&stuck, &Profile::default()).band, Band::AsNew);
        stuck.friction_interval_nm = Some((8.4, f64::INFINITY));
        assert_eq!(judge(&stuck, &Profile::default()).band, Band::Serviceable);
    }

    #[test]
    fn what_says_nothing_cannot_tell() {
        let mut wide = reading(40, 'C', 5.0, 2.5);
        wide.friction_nm = Some(Estimate { value: 5.0, u: 3.0 });
        assert_eq!(judge(&wide, &Profile::default()).band, Band::CannotTell);
        let mut broken = reading(40, 'C', 5.0, 2.5);
        broken.friction_nm = Some(Estimate { value: f64::NAN, u: 0.1 });
        assert_eq!(judge(&broken, &Profile::default()).band, Band::CannotTell);
        let mut unstrung = reading(40, 'C', 4.0, 2.5);
        unstrung.state = StringState::Unstrung;
        assert_eq!(judge(&unstrung, &Profile::default()).band, Band::CannotTell);
        let mut stuck = reading(40, 'C', 22.0, 2.5);
        stuck.friction_is_lower_limit = true;
        assert_eq!(judge(&stuck, &Profile::default()).band, Band::OverTight);
    }
}

//! Finding pins that are loose *together*, with a stated rate of false alarms.
//!
//! The best candidate (`candidates`) is compared with the best candidates of planks drawn from the
//! fitted sound field and fitted anew by the same procedure, because pins are not exchangeable: a
//! trend or a section step must not fire the scan. All kinds of candidates compete for the one
//! best score, so that the rate holds for all of them together: of sound planks the stated share
//! has a zone, of whatever kind.
//!
//! The p-value is that of a Monte-Carlo test, (k + 1)/(n + 1) with k of n drawn planks at least as
//! striking (Davison and Hinkley, *Bootstrap Methods and their Application*, 1997, section 4.2).
//! Drawing stops as soon as so many are that the rate cannot be kept any more (Besag and Clifford,
//! "Sequential Monte Carlo p-values", *Biometrika* 78, 1991), which changes no decision.

use super::super::field::{SoundField, SoundPlank};
use super::super::random::Random;
use super::super::survey::Survey;
pub use super::candidates::CandidateKind;
use super::candidates::{Best, MEMBER_COUNT_MIN, Places, Scanned, loose_chances};

/// Most zones taken one after another.
const ZONE_COUNT_MAX: usize = 6;
/// Most planks drawn, whatever is asked.
const DRAWN_COUNT_MAX: usize = 9_999;
/// Drawn planks at least, over the inverse of the rate: so that one striking plank more or less
/// does not decide.
const DRAWN_PER_RATE: f64 = 2.0;

/// A set of observations that are loose together.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What it was found as.
    pub kind: CandidateKind,
    /// Indices of observations, tight ones between loose ones included.
    pub members: Vec<usize>,
    /// For each member the chance that it is loosened.
    pub loose_chance: Vec<f64>,
    /// Log-likelihood ratio less the charge for choosing.
    pub score: f64,
    /// Share of sound planks like this one whose best candidate scores as high.
    pub p_value: f64,
}

/// Zones one after another, each with its p-value at most `rate`.
///
/// The first zone's p-value is the one the stated rate belongs to; later ones are compared with
/// the best of whole sound planks too and are cautious. At least `drawn_count` planks are drawn
/// for a zone that is found, more where the rate asks for it.
pub fn search(
    survey: &Survey<'_>,
    field: &SoundField,
    rate: f64,
    drawn_count: usize,
    seed: u64,
) -> Vec<Candidate> {
    let count = survey.observations.len();
    if count < 2 * MEMBER_COUNT_MIN || !(rate > 0.0 && rate < 1.0) {
        return Vec::new();
    }
    let variances: Vec<f64> = survey.observations.iter().map(|o| o.variance).collect();
    let plank = Scanned {
        residuals: &field.residuals,
        broad_residuals: &field.broad_residuals,
        variances: &variances,
        scatter: field.scatter,
        row_effect_sd: field.row_effect_sd(),
    };
    let mut active = vec![true; count];
    let mut places = Places::new(survey, &active);
    let Some(mut found) = places.best(&plank) else {
        return Vec::new();
    };
    let asked = ((DRAWN_PER_RATE / rate).ceil() as usize).max(drawn_count).min(DRAWN_COUNT_MAX);
    let Some(null) = null_scores(field, &places, &plank, found.score, (rate, asked), seed) else {
        return Vec::new();
    };
    let mut zones = Vec::new();
    while zones.len() < ZONE_COUNT_MAX {
        let above = null.iter().filter(|score| **score >= found.score).count();
        let p_value = (above + 1) as f64 / (null.len() + 1) as f64;
        if p_value > rate {
            break;
        }
        let candidate = candidate(found, &plank, p_value);
        for member in &candidate.members {
            active[*member] = false;
        }
        zones.push(candidate);
        places = Places::new(survey, &active);
        match places.best(&plank) {
            Some(next) => found = next,
            None => break,
        }
    }
    zones
}

fn candidate(found: Best, plank: &Scanned<'_>, p_value: f64) -> Candidate {
    let loose_chance = loose_chances(&found, plank);
    let Best { score, kind, members, .. } = found;
    Candidate { kind, members, loose_chance, score, p_value }
}

/// Best scores of drawn sound planks; `None` as soon as too many reach `score`.
fn null_scores(
    field: &SoundField,
    places: &Places,
    plank: &Scanned<'_>,
    score: f64,
    (rate, count): (f64, usize),
    seed: u64,
) -> Option<Vec<f64>> {
    // (k + 1)/(n + 1) ≤ rate asks for k + 1 ≤ rate·(n + 1); a hair for rounding.
    let above_max = (rate * (count + 1) as f64 + 1e-9).floor() as usize;
    let mut random = Random::new(seed);
    let mut scores = Vec::with_capacity(count);
    let mut above = 0;
    for _ in 0..count {
        // A plank that cannot be fitted speaks for nothing; count it as striking.
        let drawn = field.draw_sound(&mut random);
        let best = drawn.map_or(f64::INFINITY, |drawn| drawn_score(&drawn, places, plank));
        above += usize::from(best >= score);
        if above >= above_max {
            return None;
        }
        scores.push(best);
    }
    Some(scores)
}

fn drawn_score(drawn: &SoundPlank, places: &Places, plank: &Scanned<'_>) -> f64 {
    let scanned = Scanned {
        residuals: &drawn.residuals,
        broad_residuals: &drawn.broad_residuals,
        scatter: drawn.scatter,
        ..*plank
    };
    places.best(&scanned).map_or(f64::NEG_INFINITY, |found| found.score)
}

#[cfg(test)]
mod tests {
    use super::super::super::field::FieldPrior;
    use super::super::super::test_planks::plank;
    use super::*;

    fn zones_of(
        seed: u64,
        scatter: f64,
        fault: impl FnMut(&crate::instrument::FieldPin, f64, &mut Random) -> f64,
    ) -> Vec<Candidate> {
        let (instrument, readings) = plank(seed, 10.0, scatter, fault);
        let survey = Survey::new(&instrument, &readings);
        let field = SoundField::fit(&survey, &FieldPrior::default()).expect("observations");
        search(&survey, &field, 0.01, 199, seed)
    }

    #[test]
    fn sound_planks_rarely_alarm() {
        // Trends and steps included. At a true rate of 1 % more than 3 of 60 has chance 0.3 %.
        let alarms = (0..60)
            .filter(|seed| {
                !zones_of(*seed, 0.13, |place, sound, _| sound * (1.0 + 0.15 * place.x_m))
                    .is_empty()
            })
            .count();
        assert!(alarms <= 3, "{alarms} of 60");
    }

    #[test]
    fn single_bad_holes_are_no_zone() {
        let alarms =
            (100..120)
                .filter(|seed| {
                    !zones_of(*seed, 0.12, |_, sound, random| {
                        if random.uniform() < 0.03 { sound * 0.35 } else { sound }
                    })
                    .is_empty()
                })
                .count();
        assert!(alarms <= 2, "{alarms} of 20");
    }

    #[test]
    fn a_ragged_run_is_found_with_its_loose_pins() {
        let ragged = |note: u8| (55..=64).contains(&note) && note % 4 != 1;
        let zones = zones_of(5, 0.12, |place, sound, _| {
            if place.row == 1 && ragged(place.pin.note) { sound * 0.45 } else { sound }
        });
        assert_eq!(zones.len(), 1);
        assert_eq!(zones[0].kind, CandidateKind::Run);
        let loose = zones[0].loose_chance.iter().filter(|chance| **chance > 0.5).count();
        assert_eq!(loose, (55..=64).filter(|note| ragged(*note)).count());
    }

    #[test]
    fn the_same_seed_gives_the_same_zones() {
        let run = || zones_of(9, 0.12, |p, s, _| if p.pin.note > 80 { s * 0.5 } else { s });
        assert_eq!(run(), run());
    }
}

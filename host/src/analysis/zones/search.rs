//! Finding pins that are loose *together*, with a stated rate of false alarms.
//!
//! Candidates are runs along a row (and along the flange where that is another line), and
//! patches of nearest neighbours. A candidate's score is the log-likelihood ratio of "a share of
//! these pins is lower by a material step" against the sound field's own law, which already has
//! room for single bad holes: one bad hole adds little, several side by side add much. A charge
//! for the number of candidates of that size is taken off. What a best score is worth is decided
//! by planks drawn from the fitted sound field itself (parametric bootstrap), because pins are
//! not exchangeable: a trend or a section step must not fire the scan.
//!
//! Invariant: alternatives start at a fifth below the field. Steps of a few per cent, in which
//! parts of sound planks differ, never make a zone however many pins show them.

use super::super::field::SoundField;
use super::super::random::Random;
use super::super::scatter::ScatterLaw;
use super::super::stats::normal_density;
use super::super::survey::Survey;

/// Shares of a candidate's pins that are loosened, tried in turn: ragged to even.
const SHARES: [f64; 3] = [0.5, 0.75, 0.95];
/// Steps down tried in turn, natural-log units: 22, 36, 55 and 73 % lower.
const SHIFTS: [f64; 4] = [-0.25, -0.45, -0.8, -1.3];
/// Spread of the loosening about its step, as a part of the step.
const SHIFT_SPREAD: f64 = 0.4;
/// Fewest pins of a candidate.
const MEMBER_COUNT_MIN: usize = 3;
/// Most pins of a patch.
const PATCH_COUNT_MAX: usize = 48;
/// Most zones taken one after another.
const ZONE_COUNT_MAX: usize = 6;
/// Charge for choosing among candidates of one size, beside the logarithm of their number.
const CHOICE_CHARGE: f64 = 1.0;

/// Where a candidate lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CandidateKind {
    /// Neighbours along one row or the flange.
    Run,
    /// Nearest neighbours of one pin.
    Patch,
}

/// A set of observations that are loose together.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Run or patch.
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

/// The candidates' shapes, prepared once for a survey.
struct Shapes {
    /// Observations along each line, from bass to treble.
    lines: Vec<Vec<usize>>,
    /// Observations nearest to each observation, itself first.
    patches: Vec<Vec<usize>>,
}

impl Shapes {
    fn new(survey: &Survey<'_>, active: &[bool]) -> Shapes {
        let site = |observation: usize| &survey.sites[survey.observations[observation].site];
        let all: Vec<usize> = (0..survey.observations.len()).filter(|i| active[*i]).collect();
        let mut rows: Vec<u8> = all.iter().map(|i| site(*i).row).collect();
        rows.sort_unstable();
        rows.dedup();
        let along = |keep: &dyn Fn(usize) -> bool| {
            let mut line: Vec<usize> = all.iter().copied().filter(|i| keep(*i)).collect();
            line.sort_by(|a, b| site(*a).x_m.total_cmp(&site(*b).x_m).then(a.cmp(b)));
            line
        };
        let mut lines: Vec<Vec<usize>> =
            rows.iter().map(|row| along(&|i| site(i).row == *row)).collect();
        let flange = along(&|i| site(i).at_flange);
        if !flange.is_empty() && !lines.contains(&flange) {
            lines.push(flange);
        }
        let patches = all
            .iter()
            .map(|centre| {
                let squared = |i: &usize| {
                    let dx = site(*i).x_m - site(*centre).x_m;
                    let dy = site(*i).y_m - site(*centre).y_m;
                    dx * dx + dy * dy
                };
                let mut near = all.clone();
                near.sort_by(|a, b| squared(a).total_cmp(&squared(b)).then(a.cmp(b)));
                // More than half of the pins is no patch, it is the level.
                near.truncate(PATCH_COUNT_MAX.min(all.len() / 2));
                near
            })
            .collect();
        Shapes { lines, patches }
    }
}

/// Log-likelihood ratios of one observation for every alternative.
struct Gains {
    /// `by_alternative[alternative][observation]`.
    by_alternative: Vec<Vec<f64>>,
}

fn alternatives() -> impl Iterator<Item = (f64, f64)> {
    SHARES.into_iter().flat_map(|share| SHIFTS.into_iter().map(move |shift| (share, shift)))
}

fn loosened_density(residual: f64, shift: f64, scatter: ScatterLaw, variance: f64) -> f64 {
    let spread = SHIFT_SPREAD * shift;
    normal_density(residual, shift, scatter.sd * scatter.sd + spread * spread + variance)
}

impl Gains {
    fn new(residuals: &[f64], variances: &[f64], scatter: ScatterLaw) -> Gains {
        let sound: Vec<f64> =
            residuals.iter().zip(variances).map(|(r, v)| scatter.density(*r, *v)).collect();
        let mut ratios = Vec::new();
        for shift in SHIFTS {
            let of_shift: Vec<f64> = (0..residuals.len())
                .map(|i| loosened_density(residuals[i], shift, scatter, variances[i]) / sound[i])
                .collect();
            ratios.push(of_shift);
        }
        let by_alternative = SHARES
            .into_iter()
            .flat_map(|share| {
                ratios.iter().map(move |of_shift| {
                    let gain = |ratio: &f64| libm::log(1.0 - share + share * ratio);
                    of_shift.iter().map(gain).collect()
                })
            })
            .collect();
        Gains { by_alternative }
    }
}

struct Best {
    score: f64,
    kind: CandidateKind,
    alternative: usize,
    /// Line and window, or patch and size.
    place: (usize, usize, usize),
}

/// The best candidate of one set of residuals.
fn best(shapes: &Shapes, gains: &Gains, charges: &[f64]) -> Option<Best> {
    let mut best: Option<Best> = None;
    let mut consider = |score: f64, kind, alternative, place| {
        if best.as_ref().is_none_or(|b| score > b.score) {
            best = Some(Best { score, kind, alternative, place });
        }
    };
    for (alternative, gain) in gains.by_alternative.iter().enumerate() {
        for (index, line) in shapes.lines.iter().enumerate() {
            let mut top = (f64::NEG_INFINITY, 0, 0);
            for from in 0..line.len() {
                // A zone begins and ends with a pin that speaks for it.
                if gain[line[from]] <= 0.0 {
                    continue;
                }
                let mut sum = 0.0;
                for (size, member) in line[from..].iter().enumerate() {
                    sum += gain[*member];
                    if size + 1 >= MEMBER_COUNT_MIN && sum - charges[size + 1] > top.0 {
                        top = (sum - charges[size + 1], from, from + size + 1);
                    }
                }
            }
            consider(top.0, CandidateKind::Run, alternative, (index, top.1, top.2));
        }
        for (index, patch) in shapes.patches.iter().enumerate() {
            if patch.first().is_none_or(|centre| gain[*centre] <= 0.0) {
                continue;
            }
            let mut sum = 0.0;
            let mut top = (f64::NEG_INFINITY, 0);
            for (size, member) in patch.iter().enumerate() {
                sum += gain[*member];
                if size + 1 >= MEMBER_COUNT_MIN && sum - charges[size + 1] > top.0 {
                    top = (sum - charges[size + 1], size + 1);
                }
            }
            consider(top.0, CandidateKind::Patch, alternative, (index, 0, top.1));
        }
    }
    best.filter(|found| found.score > 0.0)
}

fn charges(count: usize) -> Vec<f64> {
    (0..=count).map(|size| libm::log(count as f64 / (size.max(1)) as f64) + CHOICE_CHARGE).collect()
}

/// Best scores of sound planks, in ascending order.
fn null_scores(
    survey: &Survey<'_>,
    field: &SoundField,
    shapes: &Shapes,
    count: usize,
    random: &mut Random,
) -> Vec<f64> {
    let variances: Vec<f64> = survey.observations.iter().map(|o| o.variance).collect();
    let charges = charges(variances.len());
    let mut scores: Vec<f64> = (0..count)
        .map(|_| {
            let residuals = field.draw_null(random);
            let gains = Gains::new(&residuals, &variances, field.scatter);
            best(shapes, &gains, &charges).map_or(0.0, |found| found.score)
        })
        .collect();
    scores.sort_by(f64::total_cmp);
    scores
}

/// Zones one after another, each with its p-value at most `rate`.
///
/// The first zone's p-value is the one the stated rate belongs to; later ones are compared with
/// the best of whole sound planks too and are cautious.
pub fn search(
    survey: &Survey<'_>,
    field: &SoundField,
    rate: f64,
    bootstrap_count: usize,
    seed: u64,
) -> Vec<Candidate> {
    let count = survey.observations.len();
    if count < 2 * MEMBER_COUNT_MIN {
        return Vec::new();
    }
    let variances: Vec<f64> = survey.observations.iter().map(|o| o.variance).collect();
    let gains = Gains::new(&field.residuals, &variances, field.scatter);
    let charges = charges(count);
    let mut active = vec![true; count];
    let mut shapes = Shapes::new(survey, &active);
    let Some(mut found) = best(&shapes, &gains, &charges) else {
        return Vec::new();
    };
    let mut random = Random::new(seed);
    let null = null_scores(survey, field, &shapes, bootstrap_count.max(99), &mut random);
    let mut zones = Vec::new();
    while zones.len() < ZONE_COUNT_MAX {
        let above = null.len() - null.partition_point(|score| *score < found.score);
        let p_value = (above + 1) as f64 / (null.len() + 1) as f64;
        if p_value > rate {
            break;
        }
        let candidate = candidate(&shapes, &found, field, &variances, p_value);
        for member in &candidate.members {
            active[*member] = false;
        }
        zones.push(candidate);
        shapes = Shapes::new(survey, &active);
        match best(&shapes, &gains, &charges) {
            Some(next) => found = next,
            None => break,
        }
    }
    zones
}

fn candidate(
    shapes: &Shapes,
    found: &Best,
    field: &SoundField,
    variances: &[f64],
    p_value: f64,
) -> Candidate {
    let (index, from, to) = found.place;
    let source = match found.kind {
        CandidateKind::Run => &shapes.lines,
        CandidateKind::Patch => &shapes.patches,
    };
    let members = source[index][from..to].to_vec();
    let (share, shift) = alternatives().nth(found.alternative).unwrap_or((SHARES[0], SHIFTS[0]));
    let loose_chance = members
        .iter()
        .map(|i| {
            // Far below the step a pin is as loosened as one at the step.
            let residual = field.residuals[*i].max(1.5 * shift);
            let loose = share * loosened_density(residual, shift, field.scatter, variances[*i]);
            let sound = (1.0 - share) * field.scatter.parts(residual, variances[*i])[0];
            loose / (loose + sound).max(1e-30)
        })
        .collect();
    Candidate { kind: found.kind, members, loose_chance, score: found.score, p_value }
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

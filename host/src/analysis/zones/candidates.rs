//! Sets of pins that could be loose together, and what speaks for each.
//!
//! Runs along a row (and along the flange where that is another line), blocks over all rows,
//! patches of nearest neighbours, and rows evenly low. A candidate's score is the log-likelihood
//! ratio of "a share of these pins is lower by a material step" against the sound field's own law,
//! which already has room for single bad holes: one bad hole adds little, several side by side add
//! much. A charge for the number of candidates of that size is taken off. Runs, blocks and patches
//! are looked for in what the field leaves over; a row evenly low may have been followed by the
//! field's own row effects, so it is looked for with those put back.
//!
//! Invariant: alternatives start at a fifth below the field. Steps of a few per cent, in which
//! parts of sound planks differ, never make a zone however many pins show them.
//! Deliberately not here: what a score is worth (`search`).
//!
//! Numbers without a source beside them are ours (DER).

use super::super::scatter::ScatterLaw;
use super::super::stats::{log_normal_density, normal_density, quantile};
use super::super::survey::Survey;
use super::place;

/// Shares of a candidate's pins that are loosened, tried in turn: ragged to even.
const SHARES: [f64; 3] = [0.5, 0.75, 0.95];
/// Steps down tried in turn, natural-log units: 22, 36, 55 and 73 % lower.
const SHIFTS: [f64; 4] = [-0.25, -0.45, -0.8, -1.3];
/// Spread of the loosening about its step, as a part of the step.
const SHIFT_SPREAD: f64 = 0.4;
/// Fewest pins of a candidate.
pub(super) const MEMBER_COUNT_MIN: usize = 3;
/// Most pins of a patch.
const PATCH_COUNT_MAX: usize = 48;
/// Fewest pins of a block over all rows: smaller ones are patches.
const BLOCK_COUNT_MIN: usize = 9;
/// Charge for choosing among candidates of one size, beside the logarithm of their number.
const CHOICE_CHARGE: f64 = 1.0;
/// Steps of a row evenly low, natural-log units: 18, 26, 36 and 48 % lower.
const ROW_SHIFTS: [f64; 4] = [-0.2, -0.3, -0.45, -0.65];
/// Spread of a row's step about these, as a part of the step.
const ROW_SHIFT_SPREAD: f64 = 0.15;
/// Read pins below which a row is not judged as a whole.
pub(super) const ROW_COUNT_MIN: usize = 8;
/// Spread inside, over the sound scatter, up to which a low row is even (ours).
pub(super) const EVEN_SPREAD_MAX: f64 = 1.6;

/// Where a candidate lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CandidateKind {
    /// Neighbours along one row or the flange.
    Run,
    /// Neighbours along the plank over all its rows.
    Block,
    /// Nearest neighbours of one pin.
    Patch,
    /// A row of one section, or of several, evenly low.
    Row,
}

/// One plank's pins as the scan takes them: fitted, or drawn and fitted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scanned<'a> {
    /// Observations less the field.
    pub(super) residuals: &'a [f64],
    /// The same with the rows' effects left in.
    pub(super) broad_residuals: &'a [f64],
    /// Variances of the measurement.
    pub(super) variances: &'a [f64],
    pub(super) scatter: ScatterLaw,
    /// What rows of a sound plank differ by, natural-log units.
    pub(super) row_effect_sd: f64,
}

/// The best candidate of a plank.
#[derive(Clone, Debug)]
pub(super) struct Best {
    pub(super) score: f64,
    pub(super) kind: CandidateKind,
    /// Observations, tight ones between loose ones included.
    pub(super) members: Vec<usize>,
    /// Share loosened and step that fit best.
    pub(super) alternative: (f64, f64),
}

/// The candidates' places, prepared once for a survey.
pub(super) struct Places {
    /// Observations along each line, from bass to treble, with the kind, the fewest and the most
    /// members.
    lines: Vec<(CandidateKind, usize, usize, Vec<usize>)>,
    /// Observations nearest to each observation, itself first.
    patches: Vec<Vec<usize>>,
    /// Observations of each row that is judged as a whole.
    rows: Vec<Vec<usize>>,
    /// Charge by size.
    charges: Vec<f64>,
}

impl Places {
    /// The places of those observations that are still `active`.
    pub(super) fn new(survey: &Survey<'_>, active: &[bool]) -> Places {
        let count = survey.observations.len();
        let all: Vec<usize> = (0..count).filter(|i| active[*i]).collect();
        let charges = (0..=count)
            .map(|size| libm::log(count as f64 / (size.max(1)) as f64) + CHOICE_CHARGE)
            .collect();
        Places {
            lines: lines(survey, &all),
            patches: patches(survey, &all),
            rows: rows(survey, &all),
            charges,
        }
    }

    /// The best candidate of one plank; `None` when no pin speaks for any.
    pub(super) fn best(&self, plank: &Scanned<'_>) -> Option<Best> {
        let ratios = ratios(plank);
        let mut best: Option<Best> = None;
        let mut gain = vec![0.0; plank.residuals.len()];
        for share in SHARES {
            for (shift, ratio) in SHIFTS.into_iter().zip(&ratios) {
                for (gain, ratio) in gain.iter_mut().zip(ratio) {
                    *gain = libm::log(1.0 - share + share * ratio);
                }
                self.best_of_lines(&gain, (share, shift), &mut best);
                self.best_of_patches(&gain, (share, shift), &mut best);
            }
        }
        self.best_of_rows(plank, &mut best);
        best.filter(|found| found.score.is_finite())
    }

    fn best_of_lines(&self, gain: &[f64], alternative: (f64, f64), best: &mut Option<Best>) {
        for (kind, count_min, count_max, line) in &self.lines {
            let mut top = (f64::NEG_INFINITY, 0, 0);
            for from in 0..line.len() {
                // A zone begins and ends with a pin that speaks for it.
                if gain[line[from]] <= 0.0 {
                    continue;
                }
                let mut sum = 0.0;
                for (index, member) in line[from..].iter().take(*count_max).enumerate() {
                    sum += gain[*member];
                    if index + 1 >= *count_min && sum - self.charges[index + 1] > top.0 {
                        top = (sum - self.charges[index + 1], from, from + index + 1);
                    }
                }
            }
            keep(best, top.0, *kind, &line[top.1..top.2], alternative);
        }
    }

    fn best_of_patches(&self, gain: &[f64], alternative: (f64, f64), best: &mut Option<Best>) {
        for patch in &self.patches {
            if patch.first().is_none_or(|centre| gain[*centre] <= 0.0) {
                continue;
            }
            let mut sum = 0.0;
            let mut top = (f64::NEG_INFINITY, 0);
            for (index, member) in patch.iter().enumerate() {
                sum += gain[*member];
                if index + 1 >= MEMBER_COUNT_MIN && sum - self.charges[index + 1] > top.0 {
                    top = (sum - self.charges[index + 1], index + 1);
                }
            }
            keep(best, top.0, CandidateKind::Patch, &patch[..top.1], alternative);
        }
    }

    fn best_of_rows(&self, plank: &Scanned<'_>, best: &mut Option<Best>) {
        let charge = libm::log(self.rows.len().max(1) as f64) + CHOICE_CHARGE;
        for row in &self.rows {
            let Some((middle, variance)) = even_row(row, plank) else { continue };
            for shift in ROW_SHIFTS {
                let spread = ROW_SHIFT_SPREAD * shift;
                let score = log_normal_density(middle, shift, variance + spread * spread)
                    - log_normal_density(middle, 0.0, variance)
                    - charge;
                keep(best, score, CandidateKind::Row, row, (SHARES[2], shift));
            }
        }
    }
}

fn keep(
    best: &mut Option<Best>,
    score: f64,
    kind: CandidateKind,
    members: &[usize],
    alternative: (f64, f64),
) {
    if best.as_ref().is_none_or(|known| score > known.score) {
        *best = Some(Best { score, kind, members: members.to_vec(), alternative });
    }
}

/// Middle of a row's pins and its variance, if they lie as close together as sound pins do.
fn even_row(row: &[usize], plank: &Scanned<'_>) -> Option<(f64, f64)> {
    let steps: Vec<f64> = row.iter().map(|i| plank.broad_residuals[*i]).collect();
    let middle = quantile(&steps, 0.5)?;
    // A normal law's middle four fifths span 2.563 standard deviations.
    let spread = (quantile(&steps, 0.9)? - quantile(&steps, 0.1)?) / 2.563;
    let measured = row.iter().fold(0.0, |sum, i| sum + plank.variances[*i]) / row.len() as f64;
    let pin = plank.scatter.sd * plank.scatter.sd + measured;
    // A median has π/2 times the variance of a mean.
    let variance = 0.5 * std::f64::consts::PI * pin / row.len() as f64
        + plank.row_effect_sd * plank.row_effect_sd;
    (spread * spread <= EVEN_SPREAD_MAX * EVEN_SPREAD_MAX * pin).then_some((middle, variance))
}

/// For each step, how much likelier each residual is when loosened by it than when sound.
fn ratios(plank: &Scanned<'_>) -> Vec<Vec<f64>> {
    let pairs = || plank.residuals.iter().zip(plank.variances);
    let sound: Vec<f64> = pairs().map(|(r, v)| plank.scatter.density(*r, *v)).collect();
    SHIFTS
        .into_iter()
        .map(|shift| {
            pairs()
                .zip(&sound)
                .map(|((r, v), sound)| loosened_density(*r, shift, plank.scatter, *v) / sound)
                .collect()
        })
        .collect()
}

fn loosened_density(residual: f64, shift: f64, scatter: ScatterLaw, variance: f64) -> f64 {
    let spread = SHIFT_SPREAD * shift;
    normal_density(residual, shift, scatter.sd * scatter.sd + spread * spread + variance)
}

/// For each member of a candidate the chance that it is loosened.
pub(super) fn loose_chances(found: &Best, plank: &Scanned<'_>) -> Vec<f64> {
    let (share, shift) = found.alternative;
    let values = match found.kind {
        CandidateKind::Row => plank.broad_residuals,
        _ => plank.residuals,
    };
    let chance = |i: &usize| {
        // Far below the step a pin is as loosened as one at the step.
        let residual = values[*i].max(1.5 * shift);
        let variance = plank.variances[*i];
        let loose = share * loosened_density(residual, shift, plank.scatter, variance);
        let sound = (1.0 - share) * plank.scatter.parts(residual, variance)[0];
        loose / (loose + sound).max(1e-30)
    };
    found.members.iter().map(chance).collect()
}

fn lines(survey: &Survey<'_>, all: &[usize]) -> Vec<(CandidateKind, usize, usize, Vec<usize>)> {
    let site = |observation: usize| &survey.sites[survey.observations[observation].site];
    let mut rows: Vec<u8> = all.iter().map(|i| site(*i).row).collect();
    rows.sort_unstable();
    rows.dedup();
    let along = |keep: &dyn Fn(usize) -> bool| {
        let mut line: Vec<usize> = all.iter().copied().filter(|i| keep(*i)).collect();
        line.sort_by(|a, b| site(*a).x_m.total_cmp(&site(*b).x_m).then(a.cmp(b)));
        line
    };
    let run = |line: Vec<usize>| (CandidateKind::Run, MEMBER_COUNT_MIN, usize::MAX, line);
    let mut lines: Vec<_> = rows.iter().map(|row| run(along(&|i| site(i).row == *row))).collect();
    let flange = along(&|i| site(i).at_flange);
    if !flange.is_empty() && lines.iter().all(|(.., line)| *line != flange) {
        lines.push(run(flange));
    }
    if rows.len() > 1 {
        // More than half of the pins is no block, it is the level.
        lines.push((CandidateKind::Block, BLOCK_COUNT_MIN, all.len() / 2, along(&|_| true)));
    }
    lines
}

fn patches(survey: &Survey<'_>, all: &[usize]) -> Vec<Vec<usize>> {
    let site = |observation: usize| &survey.sites[survey.observations[observation].site];
    all.iter()
        .map(|centre| {
            let squared = |i: &usize| {
                let dx = site(*i).x_m - site(*centre).x_m;
                let dy = site(*i).y_m - site(*centre).y_m;
                dx * dx + dy * dy
            };
            let mut near = all.to_vec();
            near.sort_by(|a, b| squared(a).total_cmp(&squared(b)).then(a.cmp(b)));
            near.truncate(PATCH_COUNT_MAX.min(all.len() / 2));
            near
        })
        .collect()
}

/// Each row of a section, and each row over all the sections that have as many rows.
fn rows(survey: &Survey<'_>, all: &[usize]) -> Vec<Vec<usize>> {
    let sites = &survey.sites;
    let site = |observation: &usize| &sites[survey.observations[*observation].site];
    let sections = place::sections(sites);
    let mut found: Vec<Vec<usize>> = Vec::new();
    let mut row_counts: Vec<(u8, usize)> = Vec::new();
    for section in sections {
        let rows = place::rows_of_section(sites, section);
        row_counts.push((section, rows.len()));
        for row in rows.iter().filter(|_| rows.len() > 1) {
            let inside = |i: &&usize| site(i).section == section && site(i).row == *row;
            found.push(all.iter().filter(inside).copied().collect());
        }
    }
    let mut counts: Vec<usize> = row_counts.iter().map(|(_, count)| *count).collect();
    counts.sort_unstable();
    counts.dedup();
    for count in counts.into_iter().filter(|count| *count > 1) {
        let alike: Vec<u8> =
            row_counts.iter().filter(|(_, rows)| *rows == count).map(|(s, _)| *s).collect();
        if alike.len() < 2 {
            continue;
        }
        let mut rows: Vec<u8> = sites
            .iter()
            .filter(|site| alike.contains(&site.section))
            .map(|site| site.row)
            .collect();
        rows.sort_unstable();
        rows.dedup();
        for row in rows {
            let inside = |i: &&usize| alike.contains(&site(i).section) && site(i).row == row;
            found.push(all.iter().filter(inside).copied().collect());
        }
    }
    found.retain(|row| row.len() >= ROW_COUNT_MIN);
    found
}

//! Torque over the plank as a random field, fitted so that bad holes and loose zones do not drag
//! it down: *what would this pin have if nothing ailed it there?*
//!
//! Logarithm of friction = level + section effect + smooth trend along the plank + row effects +
//! scatter from pin to pin + measurement error. Scatter is a mixture: most pins scatter normally
//! about the field, a few are loose (far below), fewer still stand above (a glued pin, an odd
//! size). Expectation and maximisation alternate between each pin's chance of being ordinary and
//! the field through the ordinary ones. Section effects are steps: a restrung section stays sharp.
//!
//! Deliberately not here: which loose pins belong together (`zones`), and what it means.

use super::super::gp::{GaussianProcess, squared_exponential};
use super::super::linalg::SquareMatrix;
use super::super::scatter::{
    HIGH_SD, HIGH_SHARE, HIGH_SHIFT, LOOSE_SD, LOOSE_SHARE_PRIOR, LOOSE_SHIFT, SCATTER_PRIOR,
    ScatterLaw, WEIGHT_MIN, noise_variances, ordinary_chances, update_scatter,
};
use super::super::stats::{median, quantile};
use super::super::survey::{Site, Survey};

/// Prior standard deviations of the field's parts, natural-log units, and its length. Weakly
/// informative, ours (DER): a fifth between sections is common after partial restringing, a row
/// differs by a few per cent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldPrior {
    /// Of the common level about the median.
    pub level_sd: f64,
    /// Of a section's step.
    pub section_sd: f64,
    /// Of a row over the whole instrument.
    pub row_sd: f64,
    /// Of a row within one section.
    pub section_row_sd: f64,
    /// Of the smooth trend.
    pub trend_sd: f64,
    /// Distance along the plank over which the trend changes, metres.
    pub trend_length_m: f64,
    /// Least and greatest scatter from pin to pin.
    pub scatter_sd: (f64, f64),
}

impl Default for FieldPrior {
    fn default() -> FieldPrior {
        FieldPrior {
            level_sd: 0.5,
            section_sd: 0.25,
            row_sd: 0.06,
            section_row_sd: 0.05,
            trend_sd: 0.10,
            trend_length_m: 0.30,
            scatter_sd: (0.06, 0.40),
        }
    }
}

const ITERATION_COUNT: usize = 8;
/// Where a section's fit begins among its pins.
const START_QUANTILE: f64 = 0.7;
/// The fitted sound field. Logarithms are natural, of N·m.
#[derive(Clone, Debug)]
pub struct SoundField {
    /// Posterior mean of log friction at each site.
    pub log_mean: Vec<f64>,
    /// Posterior standard deviation of the field there, scatter not included.
    pub log_sd: Vec<f64>,
    /// The scatter about it.
    pub scatter: ScatterLaw,
    /// Per observation: itself less the field.
    pub residuals: Vec<f64>,
    /// Per observation: itself less level, section and trend. Row effects stay in, because a
    /// whole row evenly low is a finding.
    pub broad_residuals: Vec<f64>,
    /// Per observation: itself less its prediction from all others, in units of the standard
    /// deviation of that difference (scatter and measurement included).
    pub leave_one_out: Vec<f64>,
    /// Per observation: chance that it is an ordinary pin of this field.
    pub ordinary_chance: Vec<f64>,
    /// Draws of residuals of sound planks come from this.
    null: NullModel,
}

/// What the bootstrap needs: how a sound plank is drawn, and how fitting eats into it.
#[derive(Clone, Debug)]
struct NullModel {
    /// Smoother: the field as fitted from observations.
    smoother: SquareMatrix,
    row_sd: f64,
    section_row_sd: f64,
    rows: Vec<usize>,
    section_rows: Vec<usize>,
    noise_sd: Vec<f64>,
}

/// Parts of the prior covariance between two sites.
struct Covariance {
    /// Level, section and trend.
    broad: f64,
    /// Row effects.
    rows: f64,
}

fn covariance(a: &Site, b: &Site, prior: &FieldPrior) -> Covariance {
    let when = |same: bool, sd: f64| if same { sd * sd } else { 0.0 };
    let trend =
        squared_exponential(a.x_m - b.x_m, prior.trend_sd * prior.trend_sd, prior.trend_length_m);
    Covariance {
        broad: prior.level_sd * prior.level_sd
            + when(a.section == b.section, prior.section_sd)
            + trend,
        rows: when(a.row == b.row, prior.row_sd)
            + when(a.row == b.row && a.section == b.section, prior.section_row_sd),
    }
}

impl SoundField {
    /// Fits the field. `None` without a single observation.
    pub fn fit(survey: &Survey<'_>, prior: &FieldPrior) -> Option<SoundField> {
        let values: Vec<f64> = survey.observations.iter().map(|o| o.log_friction).collect();
        let base = median(&values)?;
        let variances: Vec<f64> = survey.observations.iter().map(|o| o.variance).collect();
        let sites: Vec<&Site> = survey.observations.iter().map(|o| &survey.sites[o.site]).collect();
        let centred: Vec<f64> = values.iter().map(|value| value - base).collect();
        let parts: Vec<Vec<Covariance>> =
            sites.iter().map(|a| sites.iter().map(|b| covariance(a, b, prior)).collect()).collect();
        let total = |i: usize, j: usize| parts[i][j].broad + parts[i][j].rows;

        let start = start_by_section(&sites, &centred, prior);
        let mut residuals = start.0;
        let mut scatter = start.1;
        let mut weights = vec![1.0; centred.len()];
        let mut process = None;
        for _ in 0..ITERATION_COUNT {
            weights = ordinary_chances(&residuals, &variances, scatter);
            scatter = update_scatter(&residuals, &variances, &weights, prior);
            let noise = noise_variances(&variances, &weights, scatter);
            let fit = GaussianProcess::fit(&centred, &noise, total)?;
            residuals = (0..centred.len())
                .map(|i| {
                    let cross: Vec<f64> = (0..centred.len()).map(|j| total(i, j)).collect();
                    centred[i] - fit.mean(&cross)
                })
                .collect();
            process = Some(fit);
        }
        let process = process?;
        let precision = process.precision();
        let leave_one_out = process
            .leave_one_out(&precision)
            .into_iter()
            .zip(&variances)
            .zip(&weights)
            .map(|(((difference, variance), own), weight)| {
                // The fit gave a doubted pin a larger noise; judge it by the ordinary one.
                let fitted = (scatter.sd * scatter.sd + own) / weight.max(WEIGHT_MIN);
                let surface = (variance - fitted).max(0.0);
                difference / (surface + scatter.sd * scatter.sd + own).sqrt()
            })
            .collect();
        let broad_residuals = (0..centred.len())
            .map(|i| {
                let cross: Vec<f64> = (0..centred.len()).map(|j| parts[i][j].broad).collect();
                centred[i] - process.mean(&cross)
            })
            .collect();
        let (log_mean, log_sd) = predict(survey, &sites, &process, base, prior);
        let null = NullModel::new(&sites, &variances, &parts, scatter, prior)?;
        Some(SoundField {
            log_mean,
            log_sd,
            scatter,
            residuals,
            broad_residuals,
            leave_one_out,
            ordinary_chance: weights,
            null,
        })
    }

    /// Draws the residuals of one sound plank: row effects and scatter, less what fitting the
    /// field takes away, with single loose holes at their fitted rate.
    pub fn draw_null(&self, random: &mut super::super::random::Random) -> Vec<f64> {
        let null = &self.null;
        let rows: Vec<f64> = (0..256).map(|_| null.row_sd * random.normal()).collect();
        let steps: Vec<f64> =
            (0..null.noise_sd.len()).map(|_| null.section_row_sd * random.normal()).collect();
        let drawn: Vec<f64> = (0..null.noise_sd.len())
            .map(|i| {
                rows[null.rows[i]]
                    + steps[null.section_rows[i]]
                    + null.noise_sd[i] * random.normal()
            })
            .collect();
        let smooth = null.smoother.times(&drawn);
        (0..drawn.len())
            .map(|i| {
                let sound = drawn[i] - smooth[i];
                let fate = random.uniform();
                if fate < self.scatter.loose_share {
                    LOOSE_SHIFT + LOOSE_SD * random.normal()
                } else if fate < self.scatter.loose_share + HIGH_SHARE {
                    HIGH_SHIFT + HIGH_SD * random.normal()
                } else {
                    sound
                }
            })
            .collect()
    }
}

impl NullModel {
    fn new(
        sites: &[&Site],
        variances: &[f64],
        parts: &[Vec<Covariance>],
        scatter: ScatterLaw,
        prior: &FieldPrior,
    ) -> Option<NullModel> {
        let size = sites.len();
        let noise = noise_variances(variances, &vec![1.0; size], scatter);
        let zeros = vec![0.0; size];
        let total = |i: usize, j: usize| parts[i][j].broad + parts[i][j].rows;
        let precision = GaussianProcess::fit(&zeros, &noise, total)?.precision();
        let smoother = SquareMatrix::from_fn(size, |row, column| {
            // The precision is symmetric: its row serves as its column.
            let pairs = parts[row].iter().zip(precision.row(column));
            pairs.fold(0.0, |sum, (part, cell)| sum + (part.broad + part.rows) * cell)
        });
        let mut keys: Vec<(u8, u8)> = sites.iter().map(|s| (s.section, s.row)).collect();
        keys.sort_unstable();
        keys.dedup();
        let section_row =
            |site: &&Site| keys.binary_search(&(site.section, site.row)).unwrap_or_default();
        Some(NullModel {
            smoother,
            row_sd: prior.row_sd,
            section_row_sd: prior.section_row_sd,
            rows: sites.iter().map(|site| usize::from(site.row)).collect(),
            section_rows: sites.iter().map(section_row).collect(),
            noise_sd: noise.iter().map(|variance| variance.sqrt()).collect(),
        })
    }
}

/// Residuals from a high quantile of each section, shrunk to the common one where few pins tell,
/// and the scatter of the pins above it: looseness only lowers, so that even with most pins of a
/// section loose the upper ones show what it was.
fn start_by_section(
    sites: &[&Site],
    centred: &[f64],
    prior: &FieldPrior,
) -> (Vec<f64>, ScatterLaw) {
    let residuals: Vec<f64> = sites
        .iter()
        .zip(centred)
        .map(|(site, value)| {
            let same: Vec<f64> = sites
                .iter()
                .zip(centred)
                .filter(|(other, _)| other.section == site.section)
                .map(|(_, value)| *value)
                .collect();
            let trust = same.len() as f64 / (same.len() as f64 + 1.5);
            value - trust * quantile(&same, START_QUANTILE).unwrap_or(0.0)
        })
        .collect();
    // Of a normal law: the 95 % point less the 70 % point is 1.645 − 0.524 standard deviations.
    let upper = quantile(&residuals, 0.95).unwrap_or(0.0)
        - quantile(&residuals, START_QUANTILE).unwrap_or(0.0);
    let (low, high) = prior.scatter_sd;
    let start = if residuals.len() < 20 { SCATTER_PRIOR } else { (upper / 1.121).clamp(low, high) };
    (residuals, ScatterLaw { sd: start, loose_share: LOOSE_SHARE_PRIOR })
}

fn predict(
    survey: &Survey<'_>,
    observed: &[&Site],
    process: &GaussianProcess,
    base: f64,
    prior: &FieldPrior,
) -> (Vec<f64>, Vec<f64>) {
    survey
        .sites
        .iter()
        .map(|site| {
            let total = |a: &Site, b: &Site| {
                let parts = covariance(a, b, prior);
                parts.broad + parts.rows
            };
            let cross: Vec<f64> = observed.iter().map(|other| total(site, other)).collect();
            let variance = process.variance(&cross, total(site, site));
            (base + process.mean(&cross), variance.sqrt())
        })
        .unzip()
}

#[cfg(test)]
mod tests {
    use super::super::super::test_planks::plank;
    use super::*;

    fn fit(
        instrument: &crate::instrument::Instrument,
        readings: &[super::super::super::input::PinReading],
    ) -> (SoundField, Vec<Site>) {
        let survey = Survey::new(instrument, readings);
        let field = SoundField::fit(&survey, &FieldPrior::default()).expect("observations");
        (field, survey.sites)
    }

    #[test]
    fn a_third_of_a_section_loose_does_not_drag_the_field() {
        let (instrument, readings) = plank(1, 10.0, 0.12, |place, sound, _| {
            if place.section == 1 && place.row == 1 { sound * 0.3 } else { sound }
        });
        let (field, sites) = fit(&instrument, &readings);
        for (site, log_mean) in sites.iter().zip(&field.log_mean) {
            let level = libm::exp(*log_mean);
            assert!((8.0..12.5).contains(&level), "{site:?} {level}");
        }
        assert!((0.09..0.16).contains(&field.scatter.sd), "{}", field.scatter.sd);
    }

    #[test]
    fn a_restrung_sections_step_stays_sharp() {
        let (instrument, readings) =
            plank(
                2,
                8.0,
                0.10,
                |place, sound, _| {
                    if place.section == 2 { sound * 1.7 } else { sound }
                },
            );
        let (field, sites) = fit(&instrument, &readings);
        let level = |note: u8| {
            let at = sites.iter().position(|site| site.pin.note == note).expect("a pin");
            libm::exp(field.log_mean[at])
        };
        assert!(level(50) / level(49) > 1.45, "{} {}", level(49), level(50));
        assert!(level(69) / level(70) > 1.45);
    }

    #[test]
    fn one_pin_is_enough_to_fit_and_tells_little() {
        let (instrument, mut readings) = plank(3, 9.0, 0.1, |_, sound, _| sound);
        readings.truncate(1);
        let (field, _) = fit(&instrument, &readings);
        assert!(field.log_sd.iter().all(|sd| sd.is_finite()));
        assert!(field.log_sd[200] > field.log_sd[0]);
    }

    #[test]
    fn a_single_bad_hole_stands_out_when_left_out() {
        let mut bad = 0;
        let (instrument, readings) =
            plank(
                4,
                10.0,
                0.12,
                |place, sound, _| {
                    if place.pin.note == 60 && place.row == 1 { 3.0 } else { sound }
                },
            );
        let (field, sites) = fit(&instrument, &readings);
        for (site, z) in sites.iter().zip(&field.leave_one_out) {
            if site.pin.note == 60 && site.row == 1 {
                assert!(*z < -6.0, "{z}");
                bad += 1;
            } else {
                assert!(z.abs() < 5.0, "{z}");
            }
        }
        assert_eq!(bad, 1);
    }
}

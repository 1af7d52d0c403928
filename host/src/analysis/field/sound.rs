//! Torque over the plank as a random field, fitted so that bad holes and loose zones do not drag
//! it down: *what would this pin have if nothing ailed it there?*
//!
//! Logarithm of friction = broad shapes (level, section steps and slopes, rows, a smooth trend) +
//! scatter from pin to pin + measurement error. Scatter is a mixture: most pins scatter normally
//! about the field, a few are loose (far below), fewer still stand above (a glued pin, an odd
//! size). How large the shapes are is learned from the readings (`hyper`); the fit itself is in
//! `robust`. Section effects are steps: a restrung section stays sharp.
//!
//! A [`SoundPlank`] is what the fitted field would bring forth if nothing ailed it: zones are
//! judged by such planks. Deliberately not here: which loose pins belong together (`zones`), and
//! what it means; the field as it is found, bad zones included (`plank`).
//!
//! Numbers without a source beside them are ours (DER).

use super::super::random::Random;
use super::super::scatter::ScatterLaw;
use super::super::stats::median;
use super::super::survey::{Site, Survey};
use super::basis::{Basis, BroadSpread};
use super::hyper::{BroadFit, SpreadPriors, learn_spreads};
use super::linear::Normal;
use super::robust::{Frame, RobustFit, SparseDesign};

/// Limits of what the field may learn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldPrior {
    /// Least and greatest scatter from pin to pin, natural-log units. A sound plank has 10–15 %
    /// (MEM); the limits only keep a few pins from telling nonsense (DER).
    pub scatter_sd: (f64, f64),
}

impl Default for FieldPrior {
    fn default() -> FieldPrior {
        FieldPrior { scatter_sd: (0.05, 0.40) }
    }
}

/// Observations below which the spreads stay what they were beforehand.
const LEARN_COUNT_MIN: usize = 12;
/// Largest spread of rows, over the instrument and within a section, that a sound plank has,
/// natural-log units (DER): a few per cent. A row evenly low is a finding and must not teach the
/// field that rows differ.
const ROW_SD_MAX: f64 = 0.035;
const SECTION_ROW_SD_MAX: f64 = 0.025;
/// Furthest that a row of a sound plank lies from the others, in standard deviations of rows (DER).
const SOUND_ROW_SDS: f64 = 2.0;
/// Times that spreads are learned, each from the fit with the ones before.
const LEARN_ROUND_COUNT: usize = 2;

/// The fitted sound field. Logarithms are natural, of N·m.
#[derive(Clone, Debug)]
pub struct SoundField {
    /// Posterior mean of log friction at each site.
    pub log_mean: Vec<f64>,
    /// Posterior standard deviation of the field there, scatter not included.
    pub log_sd: Vec<f64>,
    /// The scatter about it.
    pub scatter: ScatterLaw,
    /// How large the shapes were found to be.
    pub spread: BroadSpread,
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
    /// Sound planks are drawn from this.
    null: NullModel,
}

/// What drawing sound planks needs.
#[derive(Clone, Debug)]
struct NullModel {
    frame: Frame,
    /// Sizes of the shapes of the sound planks.
    sizes: Vec<f64>,
    /// For each column the prior standard deviation of a row's effect, 0 where it is none.
    row_sds: Vec<f64>,
    /// Standard deviation of an ordinary pin about the field.
    noise_sds: Vec<f64>,
}

/// A plank drawn from the fitted sound field and fitted anew.
#[derive(Clone, Debug)]
pub struct SoundPlank {
    /// Per observation: itself less the field fitted to it.
    pub residuals: Vec<f64>,
    /// The same with the rows' effects left in.
    pub broad_residuals: Vec<f64>,
    /// The scatter fitted to it.
    pub scatter: ScatterLaw,
}

impl SoundField {
    /// Fits the field. `None` without a single observation.
    pub fn fit(survey: &Survey<'_>, prior: &FieldPrior) -> Option<SoundField> {
        let values: Vec<f64> = survey.observations.iter().map(|o| o.log_friction).collect();
        let base = median(&values)?;
        let centred: Vec<f64> = values.iter().map(|value| value - base).collect();
        let basis = Basis::new(&survey.sites);
        let learned = learn(survey, &basis, &centred, prior)?;
        let Learned { spread, kept, frame, fit } = learned;
        let is_row = |column: usize| basis.row_columns().contains(&column);
        let prior_variances = basis.prior_variances(&spread);
        let row_sds: Vec<f64> = kept
            .iter()
            .map(|column| if is_row(*column) { prior_variances[*column].sqrt() } else { 0.0 })
            .collect();
        let ordinary_noise = |i: usize| fit.scatter.sd * fit.scatter.sd + frame.variances[i];
        let leave_one_out = fit
            .own_shares(&frame.design)
            .into_iter()
            .enumerate()
            .map(|(i, share)| {
                // The fit gave a doubted pin a larger noise; judge it by the ordinary one.
                let surface = fit.noise[i] * share / (1.0 - share);
                fit.residuals[i] / (1.0 - share) / (surface + ordinary_noise(i)).sqrt()
            })
            .collect();
        let noise_sds = (0..centred.len()).map(|i| ordinary_noise(i).sqrt()).collect();
        let (log_mean, log_sd) = (0..survey.sites.len())
            .map(|site| {
                let dense = basis.row_at_site(&survey.sites[site]);
                let shapes: Vec<f64> = kept.iter().map(|column| dense[*column]).collect();
                let mean = shapes.iter().zip(&fit.sizes).fold(base, |sum, (s, b)| sum + s * b);
                let half = fit.precision.solve_lower(&shapes);
                (mean, half.iter().fold(0.0, |sum, h| sum + h * h).sqrt())
            })
            .unzip();
        let broad_residuals = with_rows(&frame.design, &fit, &row_sds);
        let RobustFit { sizes, residuals, weights, scatter, .. } = fit;
        let sizes = sizes.iter().zip(&row_sds).map(|(size, sd)| of_sound_row(*size, *sd)).collect();
        let null = NullModel { frame, sizes, row_sds, noise_sds };
        Some(SoundField {
            log_mean,
            log_sd,
            scatter,
            spread,
            residuals,
            broad_residuals,
            leave_one_out,
            ordinary_chance: weights,
            null,
        })
    }

    /// Prior standard deviation of a row's effect within a section, natural-log units: what rows
    /// of a sound plank like this one differ by.
    pub fn row_effect_sd(&self) -> f64 {
        let (all, section) = (self.spread.row_sd, self.spread.section_row_sd);
        (all * all + section * section).sqrt()
    }

    /// Draws a sound plank in the likeness of this one, and fits it as this one was.
    ///
    /// Level, sections and trend are those of the fitted field (the parametric bootstrap: Davison
    /// and Hinkley, *Bootstrap Methods and their Application*, 1997, section 4.2). Were they drawn
    /// from what the readings leave open, the drawn planks would be more uneven than the fit,
    /// which has learned from this very plank, leaves it: alarms would be rarer than stated. Rows
    /// are those of the field as far as rows of a sound plank differ. The pins' distances from the
    /// field, as each stands when left out, are dealt out over the pins anew: the law of their
    /// scatter stays what it is, single bad holes land elsewhere, and only that loose pins stand
    /// *together* is lost. `None` when the drawn plank could not be fitted.
    pub fn draw_sound(&self, random: &mut Random) -> Option<SoundPlank> {
        let null = &self.null;
        let dealt = random.shuffled(self.leave_one_out.len());
        let observed: Vec<f64> = dealt
            .iter()
            .enumerate()
            .map(|(i, from)| {
                null.frame.design.at(i, &null.sizes) + null.noise_sds[i] * self.leave_one_out[*from]
            })
            .collect();
        let fit = null.frame.fit(&observed)?;
        let broad_residuals = with_rows(&null.frame.design, &fit, &null.row_sds);
        Some(SoundPlank { broad_residuals, residuals: fit.residuals, scatter: fit.scatter })
    }
}

/// A row's effect in sound planks: a row evenly low must not be taken over as sound. What is no
/// row, of prior standard deviation 0, stays.
fn of_sound_row(size: f64, sd: f64) -> f64 {
    let limit = SOUND_ROW_SDS * sd;
    if sd > 0.0 { size.clamp(-limit, limit) } else { size }
}

/// Residuals with the rows' effects put back.
fn with_rows(design: &SparseDesign, fit: &RobustFit, row_sds: &[f64]) -> Vec<f64> {
    let pairs = fit.sizes.iter().zip(row_sds);
    let rows: Vec<f64> = pairs.map(|(size, sd)| if *sd > 0.0 { *size } else { 0.0 }).collect();
    (0..design.row_count()).map(|i| fit.residuals[i] + design.at(i, &rows)).collect()
}

/// A fit with the spreads it taught.
struct Learned {
    spread: BroadSpread,
    /// Columns of the basis that the frame has.
    kept: Vec<usize>,
    frame: Frame,
    fit: RobustFit,
}

fn learn(
    survey: &Survey<'_>,
    basis: &Basis,
    centred: &[f64],
    prior: &FieldPrior,
) -> Option<Learned> {
    let sites: Vec<&Site> = survey.observations.iter().map(|o| &survey.sites[o.site]).collect();
    let whole =
        SparseDesign::new(basis.column_count(), sites.iter().map(|site| basis.row_at_site(site)));
    let framed = |spread: &BroadSpread, freedom: f64| {
        let prior_variances = basis.prior_variances(spread);
        let (kept, design) = whole.reduced(&prior_variances);
        let prior_precisions = kept.iter().map(|column| 1.0 / prior_variances[*column]).collect();
        let variances = survey.observations.iter().map(|o| o.variance).collect();
        let sections = sections(&sites);
        let scatter_sd = prior.scatter_sd;
        let frame = Frame { design, variances, prior_precisions, sections, freedom, scatter_sd };
        (kept, frame)
    };
    let priors = SpreadPriors::default();
    let observed_design = basis.design(sites.iter().copied());
    let mut spread = of_sound_rows(priors.middle().spread);
    let (mut kept, mut frame) = framed(&spread, 0.0);
    let mut fit = frame.fit(centred)?;
    for _ in 0..LEARN_ROUND_COUNT {
        if centred.len() >= LEARN_COUNT_MIN {
            let normal = Normal::of_noise(&observed_design, centred, &fit.noise);
            let start = BroadFit { spread, scatter_sd: fit.scatter.sd };
            spread = of_sound_rows(learn_spreads(&normal, basis, &start, &priors));
        }
        let freedom = fit.freedom(&frame);
        (kept, frame) = framed(&spread, freedom);
        fit = frame.fit(centred)?;
    }
    Some(Learned { spread, kept, frame, fit })
}

/// The spreads with rows that differ no more than a sound plank's.
fn of_sound_rows(spread: BroadSpread) -> BroadSpread {
    BroadSpread {
        row_sd: spread.row_sd.min(ROW_SD_MAX),
        section_row_sd: spread.section_row_sd.min(SECTION_ROW_SD_MAX),
        ..spread
    }
}

/// Observations of each section.
fn sections(sites: &[&Site]) -> Vec<Vec<usize>> {
    let mut numbers: Vec<u8> = sites.iter().map(|site| site.section).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
        .into_iter()
        .map(|number| (0..sites.len()).filter(|i| sites[*i].section == number).collect())
        .collect()
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

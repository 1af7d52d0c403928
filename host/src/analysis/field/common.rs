//! What all readings of a survey share: a lever's span, one person's hand, the wire's bearing.
//!
//! Such an error moves all pins together. It is no scatter, it makes no zone and no residual, and
//! reading more pins does not lessen it; but what is said against a fixed limit carries it whole.
//!
//! Deliberately not here: the lines themselves ([`crate::analysis::budget`]). A survey read in part
//! with another tool is taken as if one tool had read it.
//!
//! Numbers without a source beside them are ours (DER).

use super::super::budget::{ReadingBudget, Term};
use super::super::input::PinReading;
use super::super::stats::median;
use super::super::survey::Survey;

/// The error all readings share, about zero, and by how much they read high.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CommonError {
    /// Standard deviation, natural-log units.
    pub log_sd: f64,
    /// Readings are high on average by this share of the string's moment at target pitch.
    pub bias_share_of_moment: f64,
}

/// Least share of a reading's variance that is its own, so that no reading is taken as exact.
const OWN_SHARE_MIN: f64 = 0.0025;
/// Least variance of a reading of its own, natural-log units squared: a tenth of a per cent.
const OWN_VARIANCE_MIN: f64 = 1e-6;

/// Whether a line is one error for the whole survey: of the lever, its calibration, the person and
/// the strings' bearing. Seating anew, noise and zero are each reading's own; zero cancels in F.
pub(in crate::analysis) const fn is_common(term: Term) -> bool {
    matches!(
        term,
        Term::Scale
            | Term::Curve
            | Term::Hysteresis
            | Term::Temperature
            | Term::Person
            | Term::CrossLoad
            | Term::Bearing
    )
}

/// The shared part of one reading: standard deviation and bias as shares of friction.
fn shared(reading: &PinReading) -> Option<(f64, f64, f64)> {
    let budget: &ReadingBudget = reading.budget.as_deref()?;
    let friction_nm = budget.friction_nm;
    if !(friction_nm > 0.0 && budget.moment_at_pitch_nm > 0.0) {
        return None;
    }
    let u = budget.friction_u_of(|line| is_common(line.term)) / friction_nm;
    let bias_nm = budget.friction_bias_nm();
    let of_moment = bias_nm / budget.moment_at_pitch_nm;
    let all = [u, bias_nm, of_moment];
    all.iter().all(|x| x.is_finite()).then_some((u, bias_nm / friction_nm, of_moment))
}

impl CommonError {
    /// Of a survey, by its readings' budgets: the middle one counts. None where there are no
    /// budgets.
    pub fn of(survey: &Survey<'_>) -> CommonError {
        let all: Vec<(f64, f64, f64)> =
            survey.observations.iter().filter_map(|o| shared(survey.readings[o.site]?)).collect();
        let middle = |of: fn(&(f64, f64, f64)) -> f64| {
            median(&all.iter().map(of).collect::<Vec<f64>>()).unwrap_or(0.0)
        };
        // A share so large says nothing more by being larger.
        CommonError {
            log_sd: middle(|part| part.0).clamp(0.0, 1.0),
            bias_share_of_moment: middle(|part| part.2).clamp(-0.5, 0.5),
        }
    }

    /// By how much a logarithm of friction at this level is told too high.
    pub fn log_bias(&self, friction_nm: f64, moment_at_pitch_nm: f64) -> f64 {
        let share = self.bias_share_of_moment * moment_at_pitch_nm / friction_nm;
        // A pin far below its string's pull: the bearing cannot explain all of it.
        -libm::log1p(-share.clamp(-0.5, 0.5))
    }
}

/// Variances of the observations' logarithms without what all readings share.
pub fn own_variances(survey: &Survey<'_>) -> Vec<f64> {
    survey
        .observations
        .iter()
        .map(|o| {
            let part = survey.readings[o.site].and_then(shared);
            let (u, bias, _) = part.unwrap_or_default();
            let least = (OWN_SHARE_MIN * o.variance).max(OWN_VARIANCE_MIN);
            (o.variance - u * u - bias * bias).max(least)
        })
        .collect()
}

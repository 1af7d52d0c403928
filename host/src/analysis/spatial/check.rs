//! The map's check of itself: is what it leaves over without order, as wide as it says, and which
//! pins stand out?
//!
//! Looked at are leave-one-out residuals in units of their own standard deviation: each pin less
//! what all others say of it. Three questions, none of which knows the field model:
//! 1. Are leftovers of neighbours alike (Moran's I, Geary's C)? Then neighbours share something the
//!    map does not explain.
//! 2. Are they as wide as the map says? Else its uncertainties are too small or too large.
//! 3. Which pins stand out after all pins were tried (Benjamini and Hochberg), and do their
//!    neighbours lean the same way (a zone) or not (a single hole)?
//!
//! Leftovers of a *right* model are not independent: with K the covariance of the readings, those
//! of pins i and j correlate as K⁻¹(i, j)/√(K⁻¹(i, i)·K⁻¹(j, j)) (after Rasmussen and Williams,
//! 2006, equation 5.12), mostly below zero between neighbours. Shuffling them would call too little
//! clustered; with [`Null::Correlated`] they are compared with draws of that law instead.
//!
//! Deliberately not here: what a cluster means, and any change of the map because of one.
//!
//! Numbers without a source beside them are ours (DER).

use serde::Serialize;

use super::autocorrelation::{geary, geary_value, moran, moran_value};
use super::local_g::{local_g, local_g_star};
use super::many_tests::benjamini_hochberg;
use super::permutation::{Rank, shuffled};
use super::weights::Weights;
use crate::analysis::linalg::{Cholesky, SquareMatrix};
use crate::analysis::random::Random;
use crate::analysis::stats::{normal_cdf, quantile, scaled_mad};

/// Draws of the null; the smallest p-value for either side is 2/500.
const DRAW_COUNT: usize = 499;
/// Residuals count at most this far out when likeness is judged, standard deviations: a single
/// bad hole must not decide about its surroundings. Draws are cut alike. Ours.
const CLIP: f64 = 3.0;
/// Share of false ones among pins and spots said to stand out.
const FALSE_SHARE: f64 = 0.05;
/// p-value from which clustering is possible, and from which it is said.
const LEVELS: (f64, f64) = (0.05, 0.01);
/// Pins with a neighbour that are too few to ask about likeness. Ours.
const PIN_COUNT_MIN: usize = 12;
/// Neighbours lean the same way from here, standard deviations: 5 % on one side.
const LEAN_Z: f64 = 1.645;

/// What leftovers would be if the map were right.
#[derive(Clone, Copy, Debug)]
pub enum Null<'a> {
    /// Exchangeable: every order alike likely. For residuals whose correlation is not known.
    Exchangeable,
    /// Normal, with these correlations ([`leave_one_out_correlation`]), in the order of the
    /// residuals.
    Correlated(&'a SquareMatrix),
}

/// Correlations of leave-one-out residuals, from the inverse of the readings' covariance.
pub fn leave_one_out_correlation(precision: &SquareMatrix) -> SquareMatrix {
    SquareMatrix::from_fn(precision.size(), |row, column| {
        let scale = (precision.at(row, row) * precision.at(column, column)).sqrt();
        precision.at(row, column) / scale
    })
}

/// What is left over, in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Leftover {
    /// Too few neighbouring pins to tell.
    TooFew,
    /// Neighbours share nothing more.
    NotClustered,
    /// They may: p below 5 %.
    PerhapsClustered,
    /// They do: p below 1 %.
    Clustered,
    /// Neighbours differ more than the map expects: p below 1 %.
    Alternating,
}

/// A pin that stands out from what all others say of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct StandingOut {
    /// Index into the residuals given.
    pub index: usize,
    /// Its residual, standard deviations; negative is looser than expected.
    pub z: f64,
    /// Its p-value for either side, adjusted for all pins tried.
    pub p_adjusted: f64,
    /// Its neighbours lean the same way: part of something, not a single hole.
    pub shared: bool,
}

/// How the map stands against its own leftovers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ModelCheck {
    /// Residuals that could be used.
    pub pin_count: usize,
    /// How far neighbours reach, metres.
    pub reach_m: f64,
    /// Whether the null knew the residuals' correlation.
    pub correlation_known: bool,
    /// What is left over.
    pub leftover: Leftover,
    /// Moran's I of the residuals; `None` where it cannot be formed.
    pub moran_i: Option<f64>,
    /// Its rank under the null.
    pub moran_rank: Option<Rank>,
    /// Geary's C of the residuals.
    pub geary_c: Option<f64>,
    /// Its rank under the null.
    pub geary_rank: Option<Rank>,
    /// Robust standard deviation of the residuals: 1 when the map's uncertainties are right.
    pub spread: Option<f64>,
    /// From and to of the spread a right map gives in 95 of 100 surveys like this one.
    pub spread_expected: Option<(f64, f64)>,
    /// Pins that stand out, most first.
    pub standing_out: Vec<StandingOut>,
    /// Indices of pins amid neighbours that are low together (local G*, adjusted for all pins).
    pub low_spots: Vec<usize>,
    /// Indices of pins amid neighbours that are high together.
    pub high_spots: Vec<usize>,
    /// All of it in one plain sentence.
    pub sentence: String,
}

/// Checks a map by its leave-one-out residuals `loo_z`, in standard deviations, of pins at
/// `places` in metres. The same seed gives the same bits.
///
/// Residuals or places that are not finite are left out. To ask what is left beside the zones
/// found, give only pins outside them, and only their correlations.
pub fn check(places: &[[f64; 2]], loo_z: &[f64], null: Null<'_>, seed: u64) -> ModelCheck {
    let usable = |i: &usize| loo_z[*i].is_finite() && places[*i].iter().all(|x| x.is_finite());
    let kept: Vec<usize> = (0..places.len().min(loo_z.len())).filter(usable).collect();
    let places: Vec<[f64; 2]> = kept.iter().map(|i| places[*i]).collect();
    let z: Vec<f64> = kept.iter().map(|i| loo_z[*i]).collect();
    let clipped: Vec<f64> = z.iter().map(|z| z.clamp(-CLIP, CLIP)).collect();
    let (weights, reach_m) = Weights::of_pin_field(&places);
    let law = law_of(null, &kept, loo_z.len());
    let reference = Reference::draw(&clipped, &weights, law.as_ref(), &mut Random::new(seed));
    let leftover = leftover(&weights, reference.moran);
    let (low_spots, high_spots) = spots(&clipped, &weights, &kept);
    let mut check = ModelCheck {
        pin_count: kept.len(),
        reach_m,
        correlation_known: law.is_some(),
        leftover,
        moran_i: moran(&clipped, &weights).map(|i| i.value),
        moran_rank: reference.moran,
        geary_c: geary(&clipped, &weights).map(|c| c.value),
        geary_rank: reference.geary,
        spread: scaled_mad(&z).filter(|_| z.len() >= PIN_COUNT_MIN),
        spread_expected: reference.spread.filter(|_| z.len() >= PIN_COUNT_MIN),
        standing_out: standing_out(&z, &clipped, &weights, &kept),
        low_spots,
        high_spots,
        sentence: String::new(),
    };
    check.sentence = sentence(&check);
    check
}

/// The factor that makes draws of the null out of independent normals; `None` when it is not
/// known, or is no correlation of as many residuals.
fn law_of(null: Null<'_>, kept: &[usize], count: usize) -> Option<Cholesky> {
    let Null::Correlated(correlation) = null else { return None };
    if correlation.size() != count {
        return None;
    }
    let cell = |row: usize, column: usize| correlation.at(kept[row], kept[column]);
    Cholesky::new(&SquareMatrix::from_fn(kept.len(), cell))
}

/// Where the statistics stand among those of right maps.
struct Reference {
    moran: Option<Rank>,
    geary: Option<Rank>,
    spread: Option<(f64, f64)>,
}

impl Reference {
    fn draw(
        clipped: &[f64],
        weights: &Weights,
        law: Option<&Cholesky>,
        random: &mut Random,
    ) -> Reference {
        let (mut i, mut c) = (Vec::new(), Vec::new());
        let mut spreads = Vec::with_capacity(DRAW_COUNT);
        let varies = moran(clipped, weights).is_some();
        let s0 = weights.sums().s0;
        for _ in 0..DRAW_COUNT {
            let plain: Vec<f64> = clipped.iter().map(|_| random.normal()).collect();
            let Some(law) = law else {
                spreads.extend(scaled_mad(&plain));
                continue;
            };
            let mut drawn = law.times_lower(&plain);
            spreads.extend(scaled_mad(&drawn));
            if varies {
                drawn.iter_mut().for_each(|z| *z = z.clamp(-CLIP, CLIP));
                i.push(moran_value(&drawn, weights, s0));
                c.push(geary_value(&drawn, weights, s0));
            }
        }
        let limits = (quantile(&spreads, 0.025), quantile(&spreads, 0.975));
        let spread = limits.0.zip(limits.1);
        let ranks = if law.is_none() {
            shuffled(clipped, weights, DRAW_COUNT, random)
        } else {
            varies.then(|| {
                let seen_i = moran_value(clipped, weights, s0);
                let seen_c = geary_value(clipped, weights, s0);
                (Rank::of(seen_i, &i), Rank::of(seen_c, &c))
            })
        };
        Reference { moran: ranks.map(|r| r.0), geary: ranks.map(|r| r.1), spread }
    }
}

fn leftover(weights: &Weights, moran: Option<Rank>) -> Leftover {
    let Some(rank) = moran.filter(|_| weights.connected_count() >= PIN_COUNT_MIN) else {
        return Leftover::TooFew;
    };
    let alike = rank.p_high < rank.p_low;
    match rank.p_either() {
        p if p < LEVELS.1 && alike => Leftover::Clustered,
        p if p < LEVELS.1 => Leftover::Alternating,
        p if p < LEVELS.0 && alike => Leftover::PerhapsClustered,
        _ => Leftover::NotClustered,
    }
}

/// Chance of a standard normal at least this far out on either side.
fn either_side(z: f64) -> f64 {
    2.0 * normal_cdf(-z.abs())
}

fn standing_out(z: &[f64], clipped: &[f64], weights: &Weights, kept: &[usize]) -> Vec<StandingOut> {
    let p_values: Vec<f64> = z.iter().map(|z| either_side(*z)).collect();
    let around = local_g(clipped, weights);
    let mut found: Vec<StandingOut> = benjamini_hochberg(&p_values)
        .into_iter()
        .enumerate()
        .filter(|(_, p)| *p < FALSE_SHARE)
        .map(|(i, p_adjusted)| {
            let shared = around[i].is_some_and(|g| g * z[i].signum() > LEAN_Z);
            StandingOut { index: kept[i], z: z[i], p_adjusted, shared }
        })
        .collect();
    found.sort_by(|a, b| b.z.abs().total_cmp(&a.z.abs()).then(a.index.cmp(&b.index)));
    found
}

fn spots(clipped: &[f64], weights: &Weights, kept: &[usize]) -> (Vec<usize>, Vec<usize>) {
    let scores = local_g_star(clipped, weights, 1.0);
    let tried: Vec<(usize, f64)> =
        scores.iter().enumerate().filter_map(|(i, z)| Some((i, (*z)?))).collect();
    let p_values: Vec<f64> = tried.iter().map(|(_, z)| either_side(*z)).collect();
    let adjusted = benjamini_hochberg(&p_values);
    let found = tried.iter().zip(adjusted).filter(|(_, p)| *p < FALSE_SHARE);
    let found: Vec<(usize, f64)> = found.map(|((index, z), _)| (kept[*index], *z)).collect();
    let on_side = |side: f64| {
        let those = found.iter().filter(move |(_, z)| z * side > 0.0);
        those.map(|(index, _)| *index).collect()
    };
    (on_side(-1.0), on_side(1.0))
}

fn sentence(check: &ModelCheck) -> String {
    let p = check.moran_rank.map_or(1.0, |rank| rank.p_either());
    let clustering = match check.leftover {
        Leftover::TooFew => {
            "too few neighbouring pins were read to tell whether what is left over is clustered"
                .to_owned()
        }
        Leftover::NotClustered => format!(
            "what is left over is not clustered (p {p:.2}): the map explains what neighbouring \
             pins share"
        ),
        Leftover::PerhapsClustered => format!(
            "what is left over may be clustered (p {p:.3}): the map may miss something \
             neighbouring pins share"
        ),
        Leftover::Clustered => format!(
            "what is left over is clustered (p {p:.3}): neighbouring pins share something the \
             map does not explain"
        ),
        Leftover::Alternating => format!(
            "what is left over changes from pin to pin (p {p:.3}): neighbours differ more than \
             the map expects"
        ),
    };
    format!("{clustering}{}; {}", spread_words(check), standing_words(check))
}

fn spread_words(check: &ModelCheck) -> String {
    let (Some(spread), Some((low, high))) = (check.spread, check.spread_expected) else {
        return String::new();
    };
    let found = match () {
        () if spread > high => "uncertainties are too small",
        () if spread < low => "uncertainties are larger than need be",
        () => return "; its uncertainties fit".to_owned(),
    };
    format!("; its {found} (leftovers are {spread:.2} times as wide as it says)")
}

fn standing_words(check: &ModelCheck) -> String {
    let count = check.standing_out.len();
    let shared = check.standing_out.iter().filter(|pin| pin.shared).count();
    let of = format!("of {} pins", check.pin_count);
    let how = |shared: usize, alone: usize| match (shared, alone) {
        (0, 1) => "alone".to_owned(),
        (0, _) => "each alone".to_owned(),
        (_, 0) => "with neighbours that lean the same way".to_owned(),
        _ => format!("{alone} alone and {shared} with neighbours that lean the same way"),
    };
    match count {
        0 => format!("none {of} stands out"),
        1 => format!("one {of} stands out, {}", how(shared, 1 - shared)),
        _ => format!("{count} {of} stand out, {}", how(shared, count - shared)),
    }
}

#[cfg(test)]
mod tests;

//! Zones that no neighbour shows: a section or the whole plank low, and single bad holes. They
//! rest on the bands alone.
//!
//! A section that stands a step below the others and is still serviceable is no zone: sections are
//! drilled and strung by themselves, and a restrung one leaves the others lower.

use super::super::profile::Profile;
use super::super::stats::{mean, normal_cdf, probability_below};
use super::place;
use super::shape::Context;
use super::{Zone, ZoneShape};

/// Share of weak or worse pins from which a level is low (ours).
const LOW_SHARE_MIN: f64 = 0.5;
/// The same for a section that makes part of a low plank (ours).
const LOW_PART_SHARE_MIN: f64 = 0.35;
/// Share of sections that must be low for the plank to be low as a whole (ours).
const LOW_SECTIONS_SHARE_MIN: f64 = 0.66;
/// Read pins below which a section is not judged as a whole.
const SECTION_COUNT_MIN: usize = 4;
/// Single bad holes from which they are listed as scattered: this many, and this share of the
/// pins read. A sound plank of 230 pins has up to three (DER).
const SCATTERED_COUNT_MIN: f64 = 1.5;
const SCATTERED_SHARE_MIN: f64 = 0.015;

struct Level {
    section: u8,
    sites: Vec<usize>,
    weak_share: f64,
}

fn level(context: &Context<'_>, section: u8, profile: &Profile) -> Option<Level> {
    let observed = context.survey.observations.iter();
    let inside: Vec<_> =
        observed.filter(|o| context.survey.sites[o.site].section == section).collect();
    if inside.len() < SECTION_COUNT_MIN {
        return None;
    }
    let sites: Vec<usize> = inside.iter().map(|o| o.site).collect();
    let weak: Vec<f64> = sites.iter().map(|site| weak_chance(context, *site, profile)).collect();
    Some(Level { section, sites, weak_share: mean(&weak)? })
}

/// Chance that a pin is weak or worse on either scale.
fn weak_chance(context: &Context<'_>, site: usize, profile: &Profile) -> f64 {
    let pin = &context.pins[site];
    let on_friction = pin
        .friction_nm
        .filter(|_| !pin.friction_is_lower_limit)
        .map_or(0.0, |f| probability_below(profile.serviceable_nm.value, f.value, f.u));
    on_friction.max(pin.judgement.doubtful_chance)
}

/// The whole plank low, or else each section that is.
pub(super) fn low_levels(context: &Context<'_>, profile: &Profile) -> Vec<Zone> {
    let sections = place::sections(&context.survey.sites);
    let levels: Vec<Level> =
        sections.iter().filter_map(|section| level(context, *section, profile)).collect();
    let pin_count: usize = levels.iter().map(|level| level.sites.len()).sum();
    if pin_count == 0 {
        return Vec::new();
    }
    let weak = levels.iter().fold(0.0, |sum, l| sum + l.weak_share * l.sites.len() as f64);
    let low_count = levels.iter().filter(|l| l.weak_share >= LOW_PART_SHARE_MIN).count();
    let general = surely_above(weak / pin_count as f64, pin_count, LOW_SHARE_MIN, profile)
        && low_count as f64 >= LOW_SECTIONS_SHARE_MIN * levels.len() as f64;
    if general {
        let all: Vec<usize> = levels.iter().flat_map(|l| l.sites.iter().copied()).collect();
        return vec![low_zone(context, ZoneShape::Everywhere, &all, profile)];
    }
    levels
        .iter()
        .filter(|level| stands_low(level, &levels, profile))
        .map(|level| low_zone(context, ZoneShape::WholeSection, &level.sites, profile))
        .collect()
}

fn stands_low(level: &Level, all: &[Level], profile: &Profile) -> bool {
    let others: Vec<f64> =
        all.iter().filter(|l| l.section != level.section).map(|l| l.weak_share).collect();
    surely_above(level.weak_share, level.sites.len(), LOW_SHARE_MIN, profile)
        && mean(&others).is_none_or(|share| share < 0.7 * level.weak_share)
}

/// Whether a share found among `count` pins lies above `limit` at the profile's guard risk
/// (the score test of a share, normal approximation).
fn surely_above(share: f64, count: usize, limit: f64, profile: &Profile) -> bool {
    let count = count as f64;
    let above = share - limit;
    // The share's distance in standard errors of the limit, against the risk of being wrong.
    let error = (limit * (1.0 - limit) / count).sqrt();
    above > 0.0 && normal_cdf(-above / error) <= profile.guard_risk.value
}

fn low_zone(context: &Context<'_>, shape: ZoneShape, sites: &[usize], profile: &Profile) -> Zone {
    let (loose, tight): (Vec<usize>, Vec<usize>) =
        sites.iter().partition(|site| weak_chance(context, **site, profile) > 0.5);
    let sections: Vec<u8> = sites.iter().map(|i| context.survey.sites[*i].section).collect();
    let unread: Vec<usize> = (0..context.survey.sites.len())
        .filter(|i| {
            let inside = shape == ZoneShape::Everywhere
                || sections.contains(&context.survey.sites[*i].section);
            inside && context.survey.readings[*i].is_none()
        })
        .collect();
    let mut zone = context.describe(shape, &loose, &tight, &unread, None);
    // The field followed the section down; what stands round it is the rest of the plank.
    let rest: Vec<f64> = context
        .survey
        .observations
        .iter()
        .filter(|o| !sites.contains(&o.site))
        .map(|o| context.field.log_mean[o.site])
        .collect();
    zone.surroundings_nm = mean(&rest).map_or(profile.as_new_nm.value, libm::exp);
    zone
}

/// Single bad holes: far below their own field, doubtful, and in no other zone.
pub(super) fn scattered(context: &Context<'_>, zones: &[Zone]) -> Option<Zone> {
    let loose: Vec<usize> = context
        .survey
        .observations
        .iter()
        .enumerate()
        .filter(|(i, o)| {
            let pin = &context.pins[o.site];
            let alone = !zones.iter().any(|zone| zone.pins.contains(&pin.pin));
            let below =
                context.field.residuals[*i] < 0.0 && context.field.ordinary_chance[*i] < 0.5;
            alone && below && pin.judgement.doubtful_chance > 0.5
        })
        .map(|(_, o)| o.site)
        .collect();
    let read_count = context.survey.observations.len() as f64;
    (loose.len() as f64 >= SCATTERED_COUNT_MIN + SCATTERED_SHARE_MIN * read_count)
        .then(|| context.describe(ZoneShape::Scattered, &loose, &[], &[], None))
}

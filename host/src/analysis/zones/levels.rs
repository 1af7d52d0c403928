//! Zones that no neighbour shows: a row evenly low, a section or the whole plank low, and single
//! bad holes.

use super::super::profile::Profile;
use super::super::stats::{mean, median, probability_below};
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
/// Step below the rest, natural-log units, from which a section stands low (ours: 26 %).
const SECTION_STEP_MAX: f64 = -0.3;
/// Step of a row's middle below its section, natural-log units, from which it is low (ours: 18 %).
const ROW_STEP_MAX: f64 = -0.2;
/// Read pins below which a row of a section is not judged as a whole.
const ROW_COUNT_MIN: usize = 8;
/// Standard errors that a row's step must exceed.
const ROW_ERRORS_MIN: f64 = 4.0;
/// Single bad holes from which they are listed as scattered.
const SCATTERED_COUNT_MIN: usize = 3;

struct Level {
    section: u8,
    sites: Vec<usize>,
    weak_share: f64,
    log_mean: f64,
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
    let logs: Vec<f64> = sites.iter().map(|site| context.field.log_mean[*site]).collect();
    Some(Level { section, sites, weak_share: mean(&weak)?, log_mean: mean(&logs)? })
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
    let general = weak / pin_count as f64 >= LOW_SHARE_MIN
        && low_count as f64 >= LOW_SECTIONS_SHARE_MIN * levels.len() as f64;
    if general {
        let all: Vec<usize> = levels.iter().flat_map(|l| l.sites.iter().copied()).collect();
        return vec![low_zone(context, ZoneShape::Everywhere, &all, profile)];
    }
    levels
        .iter()
        .filter(|level| stands_low(level, &levels, context, profile))
        .map(|level| low_zone(context, ZoneShape::WholeSection, &level.sites, profile))
        .collect()
}

fn stands_low(level: &Level, all: &[Level], context: &Context<'_>, profile: &Profile) -> bool {
    let others: Vec<&Level> = all.iter().filter(|l| l.section != level.section).collect();
    let other_logs: Vec<f64> = others.iter().map(|l| l.log_mean).collect();
    let other_weak: Vec<f64> = others.iter().map(|l| l.weak_share).collect();
    let low = level.weak_share >= LOW_SHARE_MIN
        && mean(&other_weak).is_none_or(|share| share < 0.7 * level.weak_share);
    let step = mean(&other_logs).map_or(0.0, |log| level.log_mean - log);
    // The step's own uncertainty: scatter over the section's pins, three standard errors.
    let error = context.field.scatter.sd / (level.sites.len() as f64).sqrt();
    let stepped = step <= SECTION_STEP_MAX.min(-3.0 * error)
        && libm::exp(level.log_mean) < profile.as_new_nm.value
        && level.weak_share >= 0.5 * LOW_SHARE_MIN;
    low || stepped
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

/// Rows of a section that are evenly lower than the section: so mildly that the field took the
/// row's step for its own, hence not found by the scan.
pub(super) fn low_rows(context: &Context<'_>, zones: &[Zone]) -> Vec<Zone> {
    let sites = &context.survey.sites;
    let mut found = Vec::new();
    for section in place::sections(sites) {
        let rows = place::rows_of_section(sites, section);
        for row in rows.iter().filter(|_| rows.len() > 1) {
            let inside: Vec<usize> = (0..context.survey.observations.len())
                .filter(|i| {
                    let site = &sites[context.survey.observations[*i].site];
                    site.section == section && site.row == *row
                })
                .collect();
            let steps: Vec<f64> =
                inside.iter().map(|i| context.field.broad_residuals[*i]).collect();
            let error = context.field.scatter.sd / (steps.len().max(1) as f64).sqrt();
            let low = median(&steps)
                .is_some_and(|step| step <= ROW_STEP_MAX.min(-ROW_ERRORS_MIN * error));
            let members: Vec<usize> =
                inside.iter().map(|i| context.survey.observations[*i].site).collect();
            let known = zones.iter().any(|zone| {
                zone.p_value.is_some() && members.iter().any(|m| zone.pins.contains(&sites[*m].pin))
            });
            if low && !known && steps.len() >= ROW_COUNT_MIN {
                let (loose, tight): (Vec<usize>, Vec<usize>) =
                    (0..members.len()).partition(|i| steps[*i] < 0.5 * ROW_STEP_MAX);
                let pick = |of: Vec<usize>| of.into_iter().map(|i| members[i]).collect::<Vec<_>>();
                let (loose, tight) = (pick(loose), pick(tight));
                let mut zone = context.describe(ZoneShape::WholeRow, &loose, &tight, &[], None);
                let step = median(&steps).unwrap_or(0.0);
                zone.surroundings_nm = zone.friction_median_nm * libm::exp(-step);
                found.push(zone);
            }
        }
    }
    found
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
    (loose.len() >= SCATTERED_COUNT_MIN)
        .then(|| context.describe(ZoneShape::Scattered, &loose, &[], &[], None))
}

//! Which larger size, and where: what is known of the gain, put to each place with loose pins.
//!
//! A trial pin speaks for the place it stands in if its hole was a bad one of the same zone; any
//! other is taken as one elsewhere on the plank, whose wood may grip differently. Trial pins that
//! gained nothing are evidence on the plank's state as well: cracked wood, oil, and holes that were
//! enlarged before grip badly.
//!
//! Deliberately not here: the law of the gain ([`crate::analysis::gain`]).

use pinhold_protocol::record::Pin;

use super::super::gain::{Gain, Outlook, Place, Trial};
use super::super::input::Estimate;
use super::super::profile::Profile;
use super::super::stats::{median, standard_deviation};
use super::super::survey::FRICTION_FLOOR_NM;
use super::super::zones::{ZoneShape, place};
use super::evidence::{Evidence, EvidenceKind, diameters};
use super::state::PlankState;
use super::{Findings, RemedyKind, parts, remedy};
use crate::instrument::moment::{PIN_DIAMETER_UM_DEFAULT, class_string};
use crate::words::{Fixed, Said, findings as say};

/// Sizes up that are weighed: two at once can split a dry thick-ply plank (ONE).
pub const SIZES_UP_MAX: u32 = 2;
/// Chance that a larger pin gains next to nothing where nothing speaks for it (DER).
const NO_GRIP_CHANCE: f64 = 0.05;
/// The same where the wood is taken to grip: what does not is the business of other states (DER).
const NO_GRIP_CHANCE_IN_GRIPPING: f64 = 0.01;
/// Of larger pins whose chance is a guess, the part that is hoped for whatever it says (DER).
const HOPE_BEFORE_TRIALS: f64 = 0.55;
/// How much worse than the normal law's mean a median of readings is known.
const MEDIAN_OVER_MEAN: f64 = 1.2533;

/// What larger pins would do for pins of one size in one section.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceSizes {
    /// Section and notes.
    pub name: Said,
    /// Pins that would be changed, their friction loose or not.
    pub pins: Vec<Pin>,
    /// What the sizes are weighed by: its loose pins.
    pub place: Place,
    /// What is known of the gain there.
    pub gain: Gain,
    /// Trials in bad holes of the same zone, and elsewhere.
    pub trial_counts: (usize, usize),
    /// Sizes and the one that risks least.
    pub outlook: Outlook,
}

impl PlaceSizes {
    /// The same, holes reamed first.
    pub fn reamed(mut self) -> PlaceSizes {
        self.place.reamed = true;
        self.outlook = Outlook::new(&self.gain, &self.place);
        self
    }

    /// Diameter to order, micrometres: before any trial the size that risks least if one is fitted
    /// at all; after trials only what they bear out.
    pub(super) fn to_um(&self) -> Option<u32> {
        let chosen = match self.gain.trial_count() {
            0 => self.outlook.best_size(),
            _ => self.outlook.advised_size(),
        };
        chosen.map(|size| size.to_um)
    }
}

/// Chance that a larger pin gains next to nothing in the loose pins' wood, by the plank's state:
/// cracked wood near zero (trade's word, ungraded), the others ours (DER).
pub(super) const fn no_grip_chance(state: PlankState) -> f64 {
    match state {
        PlankState::Split => 0.6,
        PlankState::Contaminated => 0.5,
        PlankState::OversizeLoose => 0.4,
        PlankState::FlangeCrushed => 0.15,
        PlankState::Dried => 0.1,
        _ => NO_GRIP_CHANCE,
    }
}

/// The chance over all states.
pub(super) fn no_grip_over(chances: &[f64]) -> f64 {
    let states = PlankState::ALL.iter().zip(chances);
    states.fold(0.0, |sum, (state, chance)| sum + chance * no_grip_chance(*state))
}

/// Sizes larger than one fitted that are there to be fitted, micrometres, smallest first.
pub fn sizes_um(from_um: f64, largest_um: f64, profile: &Profile) -> Vec<u32> {
    let step_um = profile.size_step_um.value;
    // Hundredths of a millimetre are as fine as pins are sold.
    let sold = |um: f64| ((um / 10.0).round() * 10.0) as u32;
    let mut sizes: Vec<u32> = Vec::new();
    for count in 1..=SIZES_UP_MAX {
        let wanted = (from_um + f64::from(count) * step_um).min(largest_um);
        let last = sizes.last().map_or(from_um, |um| f64::from(*um));
        if wanted >= last + 0.5 * step_um {
            sizes.push(sold(wanted));
        }
    }
    sizes
}

/// Whether a trial's hole was a bad one.
fn in_bad_hole(trial: &Trial, findings: &Findings<'_>) -> bool {
    let profile = findings.profile;
    let moment_nm = findings
        .pins
        .iter()
        .find(|pin| pin.pin == trial.pin)
        .map_or(0.0, |pin| pin.moment_at_pitch_nm.value);
    let by_factor_nm = profile.doubtful_factor.value * moment_nm;
    trial.before_nm.value < profile.doubtful_nm.value.max(by_factor_nm)
}

/// Index of the gravest zone round a pin that says what ails its wood: holes bad here and there, or
/// everywhere, are of one kind.
fn zone_round(pin: Pin, findings: &Findings<'_>) -> Option<usize> {
    let site = findings.pins.iter().find(|other| other.pin == pin)?.site;
    findings.zones.iter().position(|zone| match zone.shape {
        ZoneShape::Everywhere | ZoneShape::Scattered => false,
        ZoneShape::WholeSection => zone.sections.contains(&site.section),
        _ => [&zone.pins, &zone.tight_inside, &zone.unread_inside]
            .iter()
            .any(|pins| pins.contains(&pin)),
    })
}

/// Everything the sizes are weighed with.
pub(super) struct Sizing<'a> {
    findings: &'a Findings<'a>,
    no_grip_chance: f64,
}

impl<'a> Sizing<'a> {
    pub(super) fn new(findings: &'a Findings<'a>, no_grip_chance: f64) -> Sizing<'a> {
        Sizing { findings, no_grip_chance }
    }

    /// For these pins, as indices, all of this diameter now. `None` when nobody knows their
    /// friction.
    pub(super) fn at(&self, members: &[usize], from_um: f64) -> Option<PlaceSizes> {
        let pins = self.findings.pins;
        let is_loose = |i: &usize| pins[*i].judgement.doubtful_chance > 0.5;
        let loose: Vec<usize> = members.iter().copied().filter(is_loose).collect();
        let typical = if loose.is_empty() { members } else { &loose[..] };
        let zones: Vec<Option<usize>> =
            typical.iter().map(|i| zone_round(pins[*i].pin, self.findings)).collect();
        let zone = most_common(&zones);
        let elsewhere = |trial: &Trial| {
            !in_bad_hole(trial, self.findings) || zone_round(trial.pin, self.findings) != zone
        };
        let place = self.place(typical, from_um)?;
        Some(self.weigh(members, place, elsewhere))
    }

    /// For all loose pins together, whatever zone they are in.
    pub(super) fn overall(&self) -> Option<PlaceSizes> {
        let members = self.loose();
        let (loose_um, rest_um) = diameters(self.findings.pins);
        let from_um = loose_um.or(rest_um).unwrap_or(f64::from(PIN_DIAMETER_UM_DEFAULT));
        let place = self.place(&members, from_um)?;
        Some(self.weigh(&members, place, |trial| !in_bad_hole(trial, self.findings)))
    }

    fn loose(&self) -> Vec<usize> {
        let pins = self.findings.pins.iter().enumerate();
        let loose = |(i, pin): (usize, &super::PinResult)| {
            (pin.read && pin.judgement.doubtful_chance > 0.5).then_some(i)
        };
        pins.filter_map(loose).collect()
    }

    fn weigh(
        &self,
        members: &[usize],
        place: Place,
        elsewhere: impl Fn(&Trial) -> bool,
    ) -> PlaceSizes {
        let trials = &self.findings.condition.trials;
        let told = trials.iter().map(|trial| (trial, elsewhere(trial)));
        let elsewhere_count = told.clone().filter(|(_, elsewhere)| *elsewhere).count();
        let gain = Gain::before_trials(self.findings.profile, self.no_grip_chance).after_all(told);
        let outlook = Outlook::new(&gain, &place);
        let pins: Vec<Pin> = members.iter().map(|i| self.findings.pins[*i].pin).collect();
        let trial_counts = (trials.len() - elsewhere_count, elsewhere_count);
        let name = self.name(members, &pins);
        PlaceSizes { name, pins, place, gain, trial_counts, outlook }
    }

    fn name(&self, members: &[usize], pins: &[Pin]) -> Said {
        let sites: Vec<_> = self.findings.pins.iter().map(|pin| pin.site).collect();
        let present = place::sections(&sites);
        let mut touched: Vec<u8> = members.iter().map(|i| sites[*i].section).collect();
        touched.sort_unstable();
        touched.dedup();
        let section = place::section_phrase(&touched, &present);
        Said::joined(&[section, place::note_range(pins)], ", ")
    }

    /// The typical pin among these.
    fn place(&self, typical: &[usize], from_um: f64) -> Option<Place> {
        let Findings { pins, field, profile, condition, .. } = *self.findings;
        let friction = |i: usize| match pins[i].friction_nm {
            Some(read) => Some(read),
            None => field.points.get(i).map(|point| point.expected_nm),
        };
        let frictions: Vec<Estimate> = typical.iter().filter_map(|i| friction(*i)).collect();
        let values: Vec<f64> = frictions.iter().map(|friction| friction.value).collect();
        let us: Vec<f64> = frictions.iter().map(|friction| friction.u).collect();
        let moments: Vec<f64> = typical.iter().map(|i| pins[*i].moment_at_pitch_nm.value).collect();
        let moment_us: Vec<f64> = typical.iter().map(|i| pins[*i].moment_at_pitch_nm.u).collect();
        let count = values.len() as f64;
        let read_count = typical.iter().filter(|i| pins[**i].read).count() as f64;
        // Pins that were read are all there are; of the others a sample was.
        let unread = (1.0 - read_count / count.max(1.0)).max(0.0);
        let spread = standard_deviation(&values).unwrap_or(0.0);
        let own_u = median(&us)?;
        let u = MEDIAN_OVER_MEAN * libm::sqrt((own_u * own_u + unread * spread * spread) / count);
        let middle = pins[*typical.get(typical.len() / 2)?].pin;
        let wire_m =
            class_string(middle.note, self.findings.instrument.string_count(middle.note)).wire_m;
        Some(Place {
            friction_nm: Estimate { value: median(&values)?, u },
            moment_nm: Estimate { value: median(&moments)?, u: median(&moment_us)? },
            from_um,
            wire_um: wire_m * 1e6,
            friction_wanted_nm: profile.serviceable_nm.value,
            factor_wanted: profile.doubtful_factor.value,
            sizes_um: sizes_um(from_um, remedy::largest_um(condition, profile), profile),
            reamed: false,
        })
    }
}

/// The value met most often, the first of equals.
fn most_common(values: &[Option<usize>]) -> Option<usize> {
    let count = |value: &Option<usize>| values.iter().filter(|other| *other == value).count();
    let best = values.iter().rev().max_by_key(|value| count(value));
    best.copied().flatten()
}

/// Chance that up to two sizes larger bring the typical loose pin back, in wood of a state that
/// grips unless trial pins say otherwise; and how much of the hope beyond it no trial has taken.
pub(super) fn larger_success(findings: &Findings<'_>) -> (f64, f64) {
    let hope = HOPE_BEFORE_TRIALS / (1.0 + findings.condition.trials.len() as f64);
    let Some(typical) = Sizing::new(findings, NO_GRIP_CHANCE_IN_GRIPPING).overall() else {
        return (1.0, hope);
    };
    (typical.outlook.sizes.last().map_or(0.0, |size| size.chance), hope)
}

/// All places larger pins would go to, by section and by the size fitted now.
pub(super) fn places(sizing: &Sizing<'_>) -> Vec<PlaceSizes> {
    let groups = parts::groups(sizing.findings, &parts::larger_sites(sizing.findings));
    let sized = groups.iter().filter_map(|group| Some((group, f64::from(group.from_um?))));
    sized.filter_map(|(group, from_um)| sizing.at(&group.members, from_um)).collect()
}

/// What the trial pins say of the plank's state; `None` before any.
pub(super) fn evidence(findings: &Findings<'_>) -> Option<Evidence> {
    let trials = &findings.condition.trials;
    let bad: Vec<&Trial> = trials.iter().filter(|trial| in_bad_hole(trial, findings)).collect();
    if bad.is_empty() {
        return None;
    }
    let told = trials.iter().map(|trial| (trial, !in_bad_hole(trial, findings)));
    let gain = Gain::before_trials(findings.profile, 0.5).after_all(told);
    let (grips, slack) = gain.log_evidence()?;
    let top = grips.max(slack);
    Some(Evidence::of(EvidenceKind::Trials, gained_words(&bad), |state| {
        let none = no_grip_chance(state);
        let fit = none * libm::exp(slack - top) + (1.0 - none) * libm::exp(grips - top);
        libm::log(fit.max(1e-6))
    }))
}

/// What trial pins gained on what their holes had, percent, in a few words; without a unit, since
/// reasons are read in any.
fn gained_words(trials: &[&Trial]) -> Said {
    let share = |trial: &&Trial| {
        100.0 * trial.gain_nm().value / trial.before_nm.value.max(FRICTION_FLOOR_NM)
    };
    let (low, high) = trials
        .iter()
        .map(share)
        .fold((f64::MAX, f64::MIN), |(low, high), gained| (low.min(gained), high.max(gained)));
    match trials.len() {
        1 => say::one_trial_gained(Fixed(low, 0)),
        count => say::trials_gained(count, Fixed(low, 0), Fixed(high, 0)),
    }
}

/// What the size rests on, for the reasons of a remedy that fits larger pins; the first is for it,
/// the second against.
pub(super) fn reasons(
    findings: &Findings<'_>,
    kind: RemedyKind,
    sizing: &Sizing<'_>,
) -> (Option<Said>, Option<Said>) {
    if !matches!(kind, RemedyKind::Larger | RemedyKind::Restring) {
        return (None, None);
    }
    let Some(overall) = sizing.overall() else { return (None, None) };
    let Some(next) = overall.place.sizes_um.first() else { return (None, None) };
    let gain = overall.gain.of_a_hole(&overall.place.fitting(f64::from(*next)));
    let middle_nm = overall.place.friction_nm.value.max(FRICTION_FLOOR_NM);
    let share = Fixed(100.0 * gain.value / middle_nm, 0);
    let u = Fixed(100.0 * gain.u / middle_nm, 0);
    match findings.condition.trials.len() {
        0 => (None, Some(say::next_size_without_trials(share, u))),
        count => (Some(say::next_size_with_trials(share, u, count)), None),
    }
}

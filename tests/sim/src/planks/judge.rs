//! One plank assessed by the host and held against the truth.
//!
//! Deliberately not here: counts over planks, and bounds.

use std::collections::BTreeSet;

use pinhold::analysis::input::PinReading;
use pinhold::analysis::profile::{Grade, Graded};
use pinhold::analysis::{Assessment, AssessmentInput, Profile, Zone, ZoneShape, assess};
use pinhold_protocol::record::Pin;

use super::Plank;
use super::reading::{self, Shown};

/// Friction under which half of a section makes it low with reason, N·m: serviceable begins
/// there (DER); and the holding factor that does so.
const WEAK_NM: f64 = 7.0;
const DOUBTFUL_FACTOR: f64 = 1.5;

/// The host's profile with a rate of false alarms.
pub fn profile_at(false_alarm_rate: f64) -> Profile {
    let source = "set by the harness";
    Profile {
        false_alarm_rate: Graded::new(false_alarm_rate, Grade::User, source),
        ..Profile::default()
    }
}

/// The host's word on a plank.
pub fn assessed(plank: &Plank, readings: &[PinReading], profile: &Profile) -> Assessment {
    let input = AssessmentInput {
        instrument: &plank.instrument,
        readings,
        condition: &plank.condition,
        seed: plank.seed,
    };
    assess(&input, profile)
}

/// Zones on a plank that has nothing to find.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Alarm {
    /// A zone that rests on a comparison with what surrounds it.
    pub compared: bool,
    /// A zone that rests on bands, though no section is low in truth.
    pub by_bands: bool,
    /// Any zone whatever.
    pub any: bool,
}

impl Alarm {
    fn of(plank: &Plank, assessment: &Assessment) -> Alarm {
        let compared = assessment.zones.iter().any(|zone| zone.p_value.is_some());
        let any = !assessment.zones.is_empty();
        let founded = plank.is_low_by_bands(WEAK_NM, DOUBTFUL_FACTOR);
        let by_bands = !founded && assessment.zones.iter().any(|zone| zone.p_value.is_none());
        Alarm { compared, by_bands, any }
    }

    /// An alarm without reason.
    pub const fn is_false(self) -> bool {
        self.compared || self.by_bands
    }
}

/// Alarms at the two stated rates, and the shapes seen at the higher.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Alarms {
    /// At 5 %.
    pub at_five: Alarm,
    /// At 1 %.
    pub at_one: Alarm,
    /// Shapes at 5 %, and whether each rests on a comparison.
    pub shapes: Vec<(ZoneShape, bool)>,
    /// Share of the pins that were read.
    pub read_share: f64,
    /// Seed of the plank.
    pub seed: u64,
    /// What it was made from.
    pub recipe: String,
}

/// Looks for zones on a plank at 5 %, and at 1 %.
///
/// A plank without zones at 5 % is taken to have none at 1 %; every sixteenth is asked all the
/// same. An adaptive survey is made anew for each rate, since it is steered by it.
///
/// # Panics
/// If a plank has a zone at 1 % and none at 5 % of the same readings.
pub fn alarms(plank: &Plank, shown: Shown) -> Alarms {
    let at = |rate: f64| {
        let profile = profile_at(rate);
        let readings = reading::shown(plank, shown, &profile);
        assessed(plank, &readings, &profile)
    };
    let five = at(0.05);
    let at_five = Alarm::of(plank, &five);
    let is_steered = shown == Shown::Adaptive;
    let at_one = if is_steered || at_five.any || plank.seed.is_multiple_of(16) {
        Alarm::of(plank, &at(0.01))
    } else {
        Alarm::default()
    };
    let seed = plank.seed;
    assert!(is_steered || at_five.any || !at_one.any, "seed {seed}: a zone at 1 %, none at 5 %");
    let shapes = five.zones.iter().map(|zone| (zone.shape, zone.p_value.is_some())).collect();
    let read_count = five.pins.iter().filter(|pin| pin.read).count();
    let read_share = read_count as f64 / five.pins.len().max(1) as f64;
    Alarms { at_five, at_one, shapes, read_share, seed, recipe: plank.recipe.clone() }
}

/// A zone against the truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JudgedZone {
    /// The host's word for it.
    pub shape: ZoneShape,
    /// Pins of the fault among its loose pins.
    pub hit_count: usize,
    /// Its loose pins.
    pub pin_count: usize,
    /// Depth as a share, the host's less the truth's; `None` where the truth is not known.
    pub depth_error: Option<f64>,
    /// It holds pins of the fault on two sides of a strut.
    pub spans_a_strut: bool,
}

/// A faulty plank against the truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Seed of the plank.
    pub seed: u64,
    /// Pins the fault loosened, of those read.
    pub loose_count: usize,
    /// Every zone, in the host's order.
    pub zones: Vec<JudgedZone>,
    /// Pins of the fault in lines inside the field that share a pin with it.
    pub in_ragged_line: usize,
    /// The fault lies on two sides of a strut.
    pub spans_a_strut: bool,
}

impl Judged {
    /// Assesses and judges a faulty plank at a rate of false alarms.
    pub fn new(plank: &Plank, shown: Shown, false_alarm_rate: f64) -> Judged {
        let profile = profile_at(false_alarm_rate);
        let readings = reading::shown(plank, shown, &profile);
        let assessment = assessed(plank, &readings, &profile);
        Judged::of(plank, &assessment)
    }

    /// Judges what the host said.
    pub fn of(plank: &Plank, assessment: &Assessment) -> Judged {
        let places = &plank.instrument.pins;
        let is_read = |at: &usize| assessment.pins.get(*at).is_some_and(|pin| pin.read);
        let loose: BTreeSet<Pin> = plank.loose().filter(is_read).map(|at| places[at].pin).collect();
        let zones: Vec<JudgedZone> =
            assessment.zones.iter().map(|zone| judged_zone(plank, &loose, zone)).collect();
        let in_ragged_line: BTreeSet<&Pin> = assessment
            .zones
            .iter()
            .filter(|zone| zone.shape == ZoneShape::RaggedLineInside)
            .flat_map(|zone| zone.pins.iter().filter(|pin| loose.contains(pin)))
            .collect();
        let spans_a_strut = spans(plank, loose.iter());
        Judged {
            seed: plank.seed,
            loose_count: loose.len(),
            in_ragged_line: in_ragged_line.len(),
            zones,
            spans_a_strut,
        }
    }

    /// A line inside the field shares a pin with the fault.
    pub const fn is_called_split(&self) -> bool {
        self.in_ragged_line > 0
    }

    /// Share of the loose pins that are in such lines.
    pub fn share_in_line(&self) -> f64 {
        self.in_ragged_line as f64 / self.loose_count.max(1) as f64
    }

    /// The zone with most of the fault's pins.
    pub fn main(&self) -> Option<&JudgedZone> {
        // The first of equals: the host put the gravest first.
        self.zones.iter().filter(|z| z.hit_count > 0).rev().max_by_key(|zone| zone.hit_count)
    }

    /// Zones that share no pin with the fault.
    pub fn beside_count(&self) -> usize {
        self.zones.iter().filter(|zone| zone.hit_count == 0).count()
    }

    /// Zones that share a pin with it.
    pub fn touching_count(&self) -> usize {
        self.zones.len() - self.beside_count()
    }
}

/// Whether pins lie in two sections.
fn spans<'a>(plank: &Plank, pins: impl Iterator<Item = &'a Pin>) -> bool {
    let sections: BTreeSet<u8> =
        pins.filter_map(|pin| Some(plank.instrument.find_pin(*pin)?.section)).collect();
    sections.len() > 1
}

fn judged_zone(plank: &Plank, loose: &BTreeSet<Pin>, zone: &Zone) -> JudgedZone {
    let hits: Vec<&Pin> = zone.pins.iter().filter(|pin| loose.contains(pin)).collect();
    JudgedZone {
        shape: zone.shape,
        hit_count: hits.len(),
        pin_count: zone.pins.len(),
        depth_error: true_depth(plank, &hits).map(|depth| zone.depth_share() - depth),
        spans_a_strut: spans(plank, hits.into_iter()),
    }
}

/// Median of what these pins lost, as a share; `None` where it is not known or nothing is lost.
fn true_depth(plank: &Plank, pins: &[&Pin]) -> Option<f64> {
    let places = &plank.instrument.pins;
    let mut lost: Vec<f64> = pins
        .iter()
        .filter_map(|pin| {
            let at = places.binary_search_by_key(*pin, |place| place.pin).ok()?;
            let truth = &plank.pins[at];
            Some(1.0 - truth.friction_nm / truth.smooth_nm)
        })
        .collect();
    lost.sort_by(f64::total_cmp);
    let middle = *lost.get(lost.len() / 2)?;
    (middle > 0.0).then_some(middle)
}

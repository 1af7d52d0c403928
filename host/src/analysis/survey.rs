//! The survey as the field model needs it: every pin's place, and what was read there.
//!
//! Invariants: every number that leaves here is finite; a pin has at most one reading (the last
//! given); readings for pins the instrument does not have are counted and otherwise ignored.

use std::collections::BTreeMap;

use pinhold_protocol::record::Pin;

use super::band::finite;
use super::input::{Estimate, PinReading, StringState};
use super::stats::median;
use crate::instrument::moment::string_on_pin;
use crate::instrument::scale::StringSource;
use crate::instrument::{FieldPin, Instrument, PlateFace};

/// Least friction the logarithm is taken of, N·m: below it a pin is simply loose.
pub const FRICTION_FLOOR_NM: f64 = 0.4;
/// Largest relative uncertainty a reading enters the field with; beyond, its size says nothing.
const RELATIVE_U_MAX: f64 = 1.0;
/// Pitch of pins in a row, metres: 13–14 mm (MEM). Used only where an instrument has no places.
const ROW_PITCH_M: f64 = 0.0135;
/// Distance between rows, metres: 18–25 mm (MEM). Used only where an instrument has no places.
const ROW_DISTANCE_M: f64 = 0.021;
/// Pins this much farther from the flange than the nearest of their section still line it, m.
const FLANGE_SLACK_M: f64 = 0.012;
/// Pins farther than this from the flange do not line it, even the nearest of their section, m
/// (ours: more than two rows' distance of plank between cannot be crushed against it).
const FLANGE_REACH_M: f64 = 0.050;

/// A pin's place in the field, every number finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Site {
    /// Note and string.
    pub pin: Pin,
    /// Section, 0 in the bass.
    pub section: u8,
    /// Row, 0 nearest the flange.
    pub row: u8,
    /// Metres towards the treble.
    pub x_m: f64,
    /// Metres away from the flange.
    pub y_m: f64,
    /// The pin stands in the line along the plate flange.
    pub at_flange: bool,
    /// Diameter, micrometres, when known.
    pub diameter_um: Option<u32>,
    /// String moment at target pitch, N·m: of its reading, else of the nearest like it.
    pub moment_at_pitch_nm: Estimate,
}

/// A friction that enters the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    /// Index into [`Survey::sites`].
    pub site: usize,
    /// Natural logarithm of friction in N·m.
    pub log_friction: f64,
    /// Variance of that logarithm from the measurement.
    pub variance: f64,
}

/// Places and readings joined.
#[derive(Clone, Debug)]
pub struct Survey<'a> {
    /// Every pin of the instrument.
    pub sites: Vec<Site>,
    /// The reading at each site.
    pub readings: Vec<Option<&'a PinReading>>,
    /// Frictions the field is fitted to, in order of site.
    pub observations: Vec<Observation>,
    /// Readings for pins the instrument does not have.
    pub stray_count: usize,
    /// Readings replaced by a later one for the same pin.
    pub repeated_count: usize,
    /// Readings that cannot be compared with strung pins at pitch.
    pub incomparable_count: usize,
}

impl<'a> Survey<'a> {
    /// Joins an instrument and its readings.
    pub fn new(instrument: &Instrument, readings: &'a [PinReading]) -> Survey<'a> {
        let mut by_pin: BTreeMap<Pin, &PinReading> = BTreeMap::new();
        let mut repeated_count = 0;
        for reading in readings {
            repeated_count += usize::from(by_pin.insert(reading.pin, reading).is_some());
        }
        let mut sites = sites_of(instrument);
        let at_site: Vec<Option<&PinReading>> =
            sites.iter().map(|site| by_pin.remove(&site.pin)).collect();
        let stray_count = by_pin.len();
        fill_moments(&mut sites, &at_site, instrument);
        let mut incomparable_count = 0;
        let mut observations = Vec::new();
        for (site, reading) in at_site.iter().enumerate() {
            let Some(reading) = reading else { continue };
            if reading.state == StringState::Unstrung {
                incomparable_count += 1;
                continue;
            }
            observations.extend(observe(site, reading, sites[site].moment_at_pitch_nm));
        }
        Survey {
            sites,
            readings: at_site,
            observations,
            stray_count,
            repeated_count,
            incomparable_count,
        }
    }

    /// Share of the instrument's pins that entered the field, 0–1.
    pub fn coverage(&self) -> f64 {
        self.observations.len() as f64 / self.sites.len().max(1) as f64
    }
}

fn observe(site: usize, reading: &PinReading, moment: Estimate) -> Option<Observation> {
    let friction = match finite(reading.friction_nm) {
        Some(friction) => friction,
        // It ran back by itself: friction somewhere below the string's pull.
        None if reading.not_holding => {
            Estimate { value: 0.75 * moment.value, u: 0.25 * moment.value }
        }
        None => return None,
    };
    let level = friction.value.max(FRICTION_FLOOR_NM);
    // A pin that did not move has at least this friction: take it as a little more, loosely.
    let (level, u) = if reading.friction_is_lower_limit {
        (level * 1.15, friction.u.max(0.2 * level))
    } else {
        (level, friction.u)
    };
    let relative = (u / level).min(RELATIVE_U_MAX);
    Some(Observation { site, log_friction: libm::log(level), variance: relative * relative })
}

/// Every pin's place; string moments are left at zero, which [`Survey::new`] fills in.
pub fn sites_of(instrument: &Instrument) -> Vec<Site> {
    places(&instrument.pins, instrument.face)
}

fn places(pins: &[FieldPin], face: PlateFace) -> Vec<Site> {
    let mut seen = std::collections::BTreeSet::new();
    let spread = |value: fn(&FieldPin) -> f64| {
        let finite = pins.iter().map(value).filter(|v| v.is_finite());
        let (low, high) = finite.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    // Without measured places, note order along the rows is all there is.
    let has_x = pins.len() < 2 || spread(|pin| pin.x_m) > 1e-6;
    let mut sites: Vec<Site> = Vec::new();
    let mut place_in_row: BTreeMap<u8, usize> = BTreeMap::new();
    let mut kept: Vec<&FieldPin> = Vec::new();
    for pin in pins {
        if !seen.insert(pin.pin) {
            continue;
        }
        let order = place_in_row.entry(pin.row).or_default();
        let x_by_order_m = *order as f64 * ROW_PITCH_M;
        *order += 1;
        let x_m = if has_x && pin.x_m.is_finite() { pin.x_m } else { x_by_order_m };
        let y_by_row_m = f64::from(pin.row) * ROW_DISTANCE_M;
        let y_m = if pin.y_m.is_finite() { pin.y_m } else { y_by_row_m };
        // Beyond ten metres it is no piano: keep distances harmless.
        sites.push(Site {
            pin: pin.pin,
            section: pin.section,
            row: pin.row,
            x_m: x_m.clamp(-10.0, 10.0),
            y_m: y_m.clamp(-10.0, 10.0),
            // Nobody measured it: the row nearest a flange lines it, if there is one.
            at_flange: face == PlateFace::Full && pin.row == 0,
            diameter_um: pin.diameter_um.filter(|d| (4_000..=12_000).contains(d)),
            moment_at_pitch_nm: Estimate { value: 0.0, u: 0.0 },
        });
        kept.push(pin);
    }
    if face != PlateFace::Open {
        mark_flange(&mut sites, &kept);
    }
    sites
}

/// Where distances from the flange are known they decide which pins line it, not the row.
fn mark_flange(sites: &mut [Site], pins: &[&FieldPin]) {
    let mut nearest: BTreeMap<u8, f64> = BTreeMap::new();
    let known = |pin: &FieldPin| pin.flange_distance_m.filter(|d| d.is_finite());
    for pin in pins {
        if let Some(distance) = known(pin) {
            let least = nearest.entry(pin.section).or_insert(distance);
            *least = least.min(distance);
        }
    }
    for (site, pin) in sites.iter_mut().zip(pins) {
        if let (Some(distance), Some(least)) = (known(pin), nearest.get(&pin.section)) {
            site.at_flange = distance <= (least + FLANGE_SLACK_M).min(FLANGE_REACH_M);
        }
    }
}

/// String moments at pitch for every site: its reading's, else from the string scale where there
/// is one, else the median of the nearest notes strung alike, else the register's
/// usual value (string table of the trade, MEM).
fn fill_moments(sites: &mut [Site], readings: &[Option<&PinReading>], instrument: &Instrument) {
    let mut strings: BTreeMap<u8, usize> = BTreeMap::new();
    for site in sites.iter() {
        *strings.entry(site.pin.note).or_default() += 1;
    }
    let known: Vec<(u8, usize, Estimate)> = sites
        .iter()
        .zip(readings)
        .filter_map(|(site, reading)| {
            let moment = finite(reading.map(|r| r.moment_at_pitch_nm)).filter(|m| m.value > 0.2)?;
            Some((site.pin.note, strings[&site.pin.note], moment))
        })
        .collect();
    for (site, reading) in sites.iter_mut().zip(readings) {
        let own = finite(reading.map(|r| r.moment_at_pitch_nm)).filter(|m| m.value > 0.2);
        let scaled = || string_on_pin(instrument, site.pin, site.diameter_um);
        let scaled = (!instrument.strings.is_empty()).then(scaled);
        let of_scale = scaled.filter(|string| string.source != StringSource::Class);
        let own = own.or(of_scale.map(|string| string.moment_nm));
        let count = strings[&site.pin.note];
        site.moment_at_pitch_nm = own.unwrap_or_else(|| {
            let mut near: Vec<(u8, f64)> = known
                .iter()
                .filter(|(_, strung, _)| *strung == count)
                .map(|(note, _, moment)| (note.abs_diff(site.pin.note), moment.value))
                .collect();
            near.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            near.truncate(5);
            let values: Vec<f64> = near.iter().map(|(_, value)| *value).collect();
            let value = median(&values).unwrap_or(match count {
                1 => 5.0,
                2 => 3.3,
                _ => 2.7,
            });
            Estimate { value, u: 0.15 * value }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_planks::{grand, reading};
    use super::*;

    #[test]
    fn unusable_places_and_numbers_are_made_harmless() {
        let mut instrument = grand();
        for pin in &mut instrument.pins {
            pin.x_m = f64::NAN;
            pin.y_m = f64::INFINITY;
        }
        let mut bad = reading(40, 'C', f64::NAN, f64::NAN);
        bad.moment_at_pitch_nm = Estimate { value: f64::NAN, u: f64::NAN };
        let readings = [bad, reading(41, 'C', -2.0, 2.5)];
        let survey = Survey::new(&instrument, &readings);
        assert!(survey.sites.iter().all(|s| s.x_m.is_finite() && s.y_m.is_finite()));
        assert!(survey.sites.iter().all(|s| s.moment_at_pitch_nm.value > 0.0));
        assert_eq!(survey.observations.len(), 1);
        assert!(survey.observations[0].log_friction.is_finite());
    }

    #[test]
    fn strays_and_repeats_are_counted() {
        let instrument = grand();
        let readings =
            [reading(40, 'C', 9.0, 2.5), reading(40, 'C', 8.0, 2.5), reading(40, 'D', 9.0, 2.5)];
        let survey = Survey::new(&instrument, &readings);
        assert_eq!((survey.stray_count, survey.repeated_count), (1, 1));
        let observation = survey.observations[0];
        assert!((libm::exp(observation.log_friction) - 8.0).abs() < 1e-9);
    }

    #[test]
    fn flange_distance_overrules_the_row() {
        let mut instrument = grand();
        for pin in &mut instrument.pins {
            pin.flange_distance_m = Some(if pin.row == 1 { 0.02 } else { 0.06 });
        }
        let survey = Survey::new(&instrument, &[]);
        assert!(survey.sites.iter().all(|site| site.at_flange == (site.row == 1)));
    }

    #[test]
    fn no_pin_lines_a_flange_that_is_not_there() {
        let mut instrument = grand();
        let lined = |instrument: &Instrument| {
            Survey::new(instrument, &[]).sites.iter().filter(|site| site.at_flange).count()
        };
        let row0 = instrument.pins.iter().filter(|pin| pin.row == 0).count();
        assert_eq!(lined(&instrument), row0);
        instrument.face = PlateFace::ThreeQuarter;
        assert_eq!(lined(&instrument), 0, "nobody measured a flange");
        for pin in instrument.pins.iter_mut().filter(|pin| pin.section == 3) {
            pin.flange_distance_m = Some(0.015 + pin.y_m);
        }
        let row0_of_3 =
            instrument.pins.iter().filter(|pin| pin.section == 3 && pin.row == 0).count();
        assert_eq!(lined(&instrument), row0_of_3);
        instrument.face = PlateFace::Open;
        assert_eq!(lined(&instrument), 0);
    }

    #[test]
    fn a_flange_that_curves_away_leaves_row_0_behind() {
        let mut instrument = grand();
        for pin in &mut instrument.pins {
            // From 14 mm at the treble end of the bass to 54 mm at its bass end.
            let away_m = 0.04 * (1.0 - pin.x_m / 0.37).max(0.0);
            pin.flange_distance_m = Some(0.014 + away_m + pin.y_m);
        }
        let survey = Survey::new(&instrument, &[]);
        let row0: Vec<&Site> =
            survey.sites.iter().filter(|site| site.section == 0 && site.row == 0).collect();
        assert!(row0.iter().any(|site| site.at_flange) && row0.iter().any(|s| !s.at_flange));
        assert!(row0.iter().filter(|site| !site.at_flange).all(|site| site.x_m < 0.27));
        // A section that is far from it altogether has no pin at it.
        for pin in instrument.pins.iter_mut().filter(|pin| pin.section == 0) {
            pin.flange_distance_m = Some(0.08 + pin.y_m);
        }
        let survey = Survey::new(&instrument, &[]);
        assert!(survey.sites.iter().all(|site| site.section > 0 || !site.at_flange));
    }
}

//! One call from readings to verdict, and the statistics a report shows.

use pinhold_protocol::record::Pin;

use super::band::{Band, BandJudgement, finite, judge};
use super::field::{FieldPrior, PinStanding, PlankField, SoundField};
use super::input::{Condition, Estimate, PinReading, StringState, TorqueKind};
use super::profile::Profile;
use super::pulls::{self, Pulls};
use super::spatial::ModelCheck;
use super::stats::{mean, median, standard_deviation};
use super::survey::{Site, Survey};
use super::verdict::{self, Verdict};
use super::zones::{self, Zone, place};
use crate::calibration::mark::LeverMark;
use crate::instrument::Instrument;

/// Seed of the tool's own assessments: fixed, so that the same survey gives the same verdict for
/// ever, and the steps of an adaptive survey see the planks its verdict will see.
pub const BOOTSTRAP_SEED: u64 = 1;

/// What is assessed.
#[derive(Clone, Copy, Debug)]
pub struct AssessmentInput<'a> {
    /// The instrument and its pin field.
    pub instrument: &'a Instrument,
    /// At most one reading per pin counts: the last.
    pub readings: &'a [PinReading],
    /// What is known beside torque.
    pub condition: &'a Condition,
    /// Seed of the bootstrap; the same seed gives the same bits.
    pub seed: u64,
}

/// One pin of the instrument, read or not.
#[derive(Clone, Debug, PartialEq)]
pub struct PinResult {
    /// Note and string.
    pub pin: Pin,
    /// Its place.
    pub site: Site,
    /// A reading exists.
    pub read: bool,
    /// Kind of the torques, when read.
    pub kind: Option<TorqueKind>,
    /// State of the string, when read.
    pub state: Option<StringState>,
    /// Friction, N·m.
    pub friction_nm: Option<Estimate>,
    /// From and to of its 95 % coverage interval, N·m; to is infinite for a lower limit.
    pub friction_interval_nm: Option<(f64, f64)>,
    /// Measured string moment, N·m.
    pub moment_nm: Option<Estimate>,
    /// From and to of its 95 % coverage interval, N·m.
    pub moment_interval_nm: Option<(f64, f64)>,
    /// String moment at target pitch, N·m; estimated from its neighbours for unread pins.
    pub moment_at_pitch_nm: Estimate,
    /// Friction over moment at target pitch.
    pub holding_factor: Option<Estimate>,
    /// From and to of its 95 % coverage interval.
    pub holding_interval: Option<(f64, f64)>,
    /// Sharp torque as a wrench reads it, N·m.
    pub sharp_nm: Option<Estimate>,
    /// Flat torque as a wrench reads it, N·m.
    pub flat_nm: Option<Estimate>,
    /// The friction is only a lower limit.
    pub friction_is_lower_limit: bool,
    /// Pitch as found, cents from target.
    pub cents_as_found: Option<f64>,
    /// Band and how firmly it stands.
    pub judgement: BandJudgement,
    /// Distance from what all other pins lead to expect, in standard deviations.
    pub leave_one_out: Option<f64>,
    /// Index of the first zone it is a loose pin of.
    pub zone: Option<usize>,
    /// Notable words of the reading; untrusted text.
    pub remarks: Vec<String>,
    /// Why the lever behind the reading is to be doubted.
    pub marks: Vec<LeverMark>,
}

/// The field at one pin. Frictions carry what all readings of the survey share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldPoint {
    /// Note and string.
    pub pin: Pin,
    /// What a sound pin would have there: posterior mean and standard deviation, N·m.
    pub sound_nm: Estimate,
    /// The plank as found there, bad places included: posterior median and standard deviation,
    /// N·m; scatter from pin to pin is not included.
    pub plank_nm: Estimate,
    /// What this pin has, N·m: for an unread one the plank there with scatter and room for a bad
    /// hole, for a read one mostly its reading.
    pub expected_nm: Estimate,
    /// From and to of its 95 % interval, N·m; `expected_nm` ± twice its standard deviation is none,
    /// because a bad hole can only be low.
    pub expected_interval_nm: (f64, f64),
    /// `expected_nm` over the string's moment at target pitch.
    pub holding_factor: Estimate,
    /// Chance of being doubtful or worse, by friction or holding factor.
    pub doubtful_chance: f64,
    /// Its reading's distance from what all other pins lead to expect of the plank as found, in
    /// standard deviations, scatter and measurement included.
    pub residual_sd: Option<f64>,
    /// How it stands among its neighbours.
    pub standing: PinStanding,
}

/// The field over all pins.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FieldEstimate {
    /// One entry per pin of the instrument; empty when nothing could be fitted.
    pub points: Vec<FieldPoint>,
    /// Relative scatter of ordinary pins about the field (coefficient of variation).
    pub scatter: f64,
    /// Share of single loose holes.
    pub loose_share: f64,
}

/// A section in numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionStatistics {
    /// Section number.
    pub section: u8,
    /// Its name.
    pub name: String,
    /// Pins it has.
    pub pin_count: usize,
    /// Pins read.
    pub read_count: usize,
    /// Median friction, N·m.
    pub friction_median_nm: Option<f64>,
    /// Least friction, N·m.
    pub friction_min_nm: Option<f64>,
    /// Greatest friction, N·m.
    pub friction_max_nm: Option<f64>,
    /// Median holding factor.
    pub factor_median: Option<f64>,
    /// Coefficient of variation of friction, from three pins on.
    pub variation: Option<f64>,
    /// Pins whose band is doubtful or worse.
    pub doubtful_count: usize,
}

/// The plank in numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Statistics {
    /// Pins the instrument has.
    pub pin_count: usize,
    /// Pins with a reading.
    pub read_count: usize,
    /// Pins whose friction entered the field.
    pub used_count: usize,
    /// Pins read without a string: not compared.
    pub incomparable_count: usize,
    /// Readings for pins the instrument does not have.
    pub stray_count: usize,
    /// Readings replaced by a later one.
    pub repeated_count: usize,
    /// Read pins per band, best band first.
    pub band_counts: Vec<(Band, usize)>,
    /// Share of all pins doubtful or worse, unread ones estimated, 0–1.
    pub doubtful_share: Estimate,
    /// Median friction, N·m.
    pub friction_median_nm: Option<f64>,
    /// Median holding factor.
    pub factor_median: Option<f64>,
    /// Per section.
    pub sections: Vec<SectionStatistics>,
}

/// Everything the analysis says.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// Every pin of the instrument, in its order.
    pub pins: Vec<PinResult>,
    /// The field.
    pub field: FieldEstimate,
    /// The plank as found, for any place on it; `None` when nothing could be fitted.
    pub plank: Option<PlankField>,
    /// Pins loose together, gravest first.
    pub zones: Vec<Zone>,
    /// The verdict.
    pub verdict: Verdict,
    /// The plank in numbers.
    pub statistics: Statistics,
    /// The thresholds used.
    pub profile: Profile,
    /// Slack strings and sections out of line, by their pulls.
    pub pulls: Pulls,
    /// Seed it was made with.
    pub seed: u64,
}

impl Assessment {
    /// The map checked by what it leaves over, zones set aside: those are told already. `None`
    /// when nothing could be fitted. Takes about as long as the map itself, so it is made only
    /// where it is shown.
    pub fn leftovers(&self) -> Option<ModelCheck> {
        let told: Vec<usize> = (0..self.pins.len())
            .filter(|i| {
                let pin = self.pins[*i].pin;
                self.zones.iter().any(|zone| zone.p_value.is_some() && zone.pins.contains(&pin))
            })
            .collect();
        self.plank.as_ref().map(|plank| plank.check(&told, self.seed))
    }
}

/// Assesses a survey. Never fails: too little or unusable input gives an undecided verdict.
pub fn assess(input: &AssessmentInput<'_>, profile: &Profile) -> Assessment {
    let survey = Survey::new(input.instrument, input.readings);
    let fitted = SoundField::fit(&survey, &FieldPrior::default());
    let mut pins = judge_pins(&survey, fitted.as_ref(), profile);
    let mut found = Vec::new();
    let mut field = FieldEstimate::default();
    let plank = fitted.as_ref().and_then(|sound| PlankField::fit(&survey, sound, profile));
    if let Some(fitted) = &fitted {
        let told = (input.instrument.kind, input.condition);
        found = zones::find(&survey, fitted, &pins, told, profile, input.seed);
    }
    if let (Some(sound), Some(plank)) = (&fitted, &plank) {
        field = estimate(&survey, sound, plank);
    }
    for (pin, point) in pins.iter_mut().zip(&field.points) {
        if !pin.read {
            pin.judgement.doubtful_chance = point.doubtful_chance;
        }
    }
    for (index, zone) in found.iter().enumerate().rev() {
        for pin in pins.iter_mut().filter(|pin| zone.pins.contains(&pin.pin)) {
            pin.zone = Some(index);
        }
    }
    let pulls = pulls::compare(input.instrument, input.readings, input.condition.pitch_cents);
    for pin in &mut pins {
        pin.remarks.extend(pulls.remark(pin.pin));
    }
    let statistics = statistics(&survey, &pins, plank.as_ref());
    let verdict = verdict::decide(&verdict::Findings {
        instrument: input.instrument,
        pins: &pins,
        field: &field,
        zones: &found,
        statistics: &statistics,
        condition: input.condition,
        profile,
    });
    let profile = profile.clone();
    let seed = input.seed;
    Assessment { pins, field, plank, zones: found, verdict, statistics, profile, pulls, seed }
}

fn judge_pins(
    survey: &Survey<'_>,
    field: Option<&SoundField>,
    profile: &Profile,
) -> Vec<PinResult> {
    let mut left_out = vec![None; survey.sites.len()];
    if let Some(field) = field {
        for (observation, z) in survey.observations.iter().zip(&field.leave_one_out) {
            left_out[observation.site] = Some(*z);
        }
    }
    survey
        .sites
        .iter()
        .zip(&survey.readings)
        .zip(left_out)
        .map(|((site, reading), leave_one_out)| PinResult {
            pin: site.pin,
            site: *site,
            read: reading.is_some(),
            kind: reading.map(|r| r.kind),
            state: reading.map(|r| r.state),
            friction_nm: finite(reading.and_then(|r| r.friction_nm)),
            friction_interval_nm: reading.and_then(|r| r.friction_interval_nm),
            moment_nm: finite(reading.and_then(|r| r.moment_nm)),
            moment_interval_nm: reading.and_then(|r| r.moment_interval_nm),
            moment_at_pitch_nm: site.moment_at_pitch_nm,
            holding_factor: finite(reading.and_then(|r| r.holding_factor)),
            holding_interval: reading.and_then(|r| r.holding_interval),
            sharp_nm: finite(reading.and_then(|r| r.sharp_nm)),
            flat_nm: finite(reading.and_then(|r| r.flat_nm)),
            friction_is_lower_limit: reading.is_some_and(|r| r.friction_is_lower_limit),
            cents_as_found: reading.and_then(|r| r.cents_as_found).filter(|c| c.is_finite()),
            judgement: reading
                .map_or(BandJudgement::unknown(0.5, 0.25), |reading| judge(reading, profile)),
            leave_one_out,
            zone: None,
            remarks: reading.map(|r| r.remarks.clone()).unwrap_or_default(),
            marks: reading.map(|r| r.marks.clone()).unwrap_or_default(),
        })
        .collect()
}

fn estimate(survey: &Survey<'_>, sound: &SoundField, plank: &PlankField) -> FieldEstimate {
    let points = survey.sites.iter().enumerate().filter_map(|(i, site)| {
        let level = libm::exp(sound.log_mean[i]);
        let at = plank.at_pin(i)?;
        let point = plank.points.get(i)?;
        Some(FieldPoint {
            pin: site.pin,
            sound_nm: Estimate { value: level, u: level * sound.log_sd[i] },
            plank_nm: at.plank_nm,
            expected_nm: at.expected_nm,
            expected_interval_nm: at.expected_interval_nm,
            holding_factor: at.holding_factor,
            doubtful_chance: at.doubtful_chance,
            residual_sd: point.residual_sd,
            standing: point.standing,
        })
    });
    FieldEstimate {
        points: points.collect(),
        scatter: sound.scatter.sd,
        loose_share: sound.scatter.loose_share,
    }
}

fn statistics(survey: &Survey<'_>, pins: &[PinResult], plank: Option<&PlankField>) -> Statistics {
    let read: Vec<&PinResult> = pins.iter().filter(|pin| pin.read).collect();
    let band_counts = Band::ALL
        .into_iter()
        .map(|band| (band, read.iter().filter(|pin| pin.judgement.band == band).count()))
        .collect();
    let frictions: Vec<f64> = read.iter().filter_map(|p| p.friction_nm).map(|f| f.value).collect();
    let factors: Vec<f64> = read.iter().filter_map(|p| p.holding_factor).map(|f| f.value).collect();
    let present = place::sections(&survey.sites);
    Statistics {
        pin_count: pins.len(),
        read_count: read.len(),
        used_count: survey.observations.len(),
        incomparable_count: survey.incomparable_count,
        stray_count: survey.stray_count,
        repeated_count: survey.repeated_count,
        band_counts,
        doubtful_share: doubtful_share(pins, survey.observations.len(), plank),
        friction_median_nm: median(&frictions),
        factor_median: median(&factors),
        sections: present.iter().map(|s| section(*s, &present, pins)).collect(),
    }
}

/// Share doubtful or worse over all pins: read pins by their chance, unread ones by the field's,
/// with the uncertainty of the bands, of not having read the rest, and of what all readings share
/// (which moves all pins across a limit together).
fn doubtful_share(pins: &[PinResult], used_count: usize, plank: Option<&PlankField>) -> Estimate {
    let Some(plank) = plank.filter(|_| !pins.is_empty()) else {
        return Estimate { value: 0.2, u: 0.25 };
    };
    let count = pins.len() as f64;
    let chances = || pins.iter().map(|pin| pin.judgement.doubtful_chance);
    let share = chances().fold(0.0, |sum, p| sum + p) / count;
    let of_bands = chances().fold(0.0, |sum, p| sum + p * (1.0 - p)) / (count * count);
    // Sampling: as if the unread were drawn from a share known from the read ones only (with
    // half a success and half a failure added, so that none found is not none).
    let used = used_count as f64;
    let drawn = (share * used + 0.5) / (used + 1.0);
    let unread = 1.0 - (used / count).min(1.0);
    let of_sampling = unread * drawn * (1.0 - drawn) / (used + 1.0);
    let of_common = plank.share_u_of_common();
    Estimate { value: share, u: (of_bands + of_sampling + of_common * of_common).sqrt() }
}

fn section(section: u8, present: &[u8], pins: &[PinResult]) -> SectionStatistics {
    let inside: Vec<&PinResult> = pins.iter().filter(|p| p.site.section == section).collect();
    let frictions: Vec<f64> =
        inside.iter().filter_map(|p| p.friction_nm).map(|f| f.value).collect();
    let factors: Vec<f64> =
        inside.iter().filter_map(|p| p.holding_factor).map(|f| f.value).collect();
    let variation = (frictions.len() >= 3)
        .then(|| Some(standard_deviation(&frictions)? / mean(&frictions).filter(|m| *m > 0.0)?))
        .flatten();
    SectionStatistics {
        section,
        name: place::section_name(section, present),
        pin_count: inside.len(),
        read_count: inside.iter().filter(|p| p.read).count(),
        friction_median_nm: median(&frictions),
        friction_min_nm: frictions.iter().copied().min_by(f64::total_cmp),
        friction_max_nm: frictions.iter().copied().max_by(f64::total_cmp),
        factor_median: median(&factors),
        variation,
        doubtful_count: inside
            .iter()
            .filter(|p| p.read && p.judgement.band.is_doubtful_or_worse())
            .count(),
    }
}

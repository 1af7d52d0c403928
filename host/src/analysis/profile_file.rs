//! Thresholds of the user's own, from a TOML file; what it does not name stays ours.
//!
//! Every threshold is a key of its own name, in the unit the name ends with. Deliberately not
//! here: opening files.

use std::fmt::Write as _;

use thiserror::Error;

use super::profile::{Grade, Graded, Profile};
use crate::toml_file;

/// What a file says it is.
const FORMAT: &str = "pinhold.profile";
/// Version of the format that is written and read.
const VERSION: i64 = 1;
/// Longest file, bytes.
const BYTES_MAX: usize = 64 * 1024;

/// Why a file is no profile.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ProfileError {
    /// Longer than any profile.
    #[error("the file is longer than any profile; is it another file?")]
    TooLong,
    /// Not TOML.
    #[error("line {line}: {what}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// Another format, or none named.
    #[error("it does not say format = \"{FORMAT}\" and version = 1")]
    OtherFormat,
    /// A key that nobody knows.
    #[error("'{0}' is no threshold; `pinhold profile` lists them")]
    Unknown(String),
    /// No number, or one out of bounds.
    #[error("{key} must be a number from {least} to {most}")]
    Value {
        /// The threshold.
        key: &'static str,
        /// The least it may be.
        least: f64,
        /// The most it may be.
        most: f64,
    },
    /// Limits that do not follow one another.
    #[error("{upper} must be above {lower}")]
    Order {
        /// The one that must be above.
        upper: &'static str,
        /// The one that must be below.
        lower: &'static str,
    },
}

/// A threshold by its key, with the least and most it may be (ours: they only refuse slips).
type Setting<'a> = (&'static str, &'a mut Graded, (f64, f64));

fn settings(p: &mut Profile) -> Vec<Setting<'_>> {
    const TORQUE: (f64, f64) = (0.1, 60.0);
    const FACTOR: (f64, f64) = (0.1, 10.0);
    const SHARE: (f64, f64) = (0.0, 1.0);
    const DIAMETER: (f64, f64) = (5_000.0, 9_000.0);
    vec![
        ("over_tight_nm", &mut p.over_tight_nm, TORQUE),
        ("tight_nm", &mut p.tight_nm, TORQUE),
        ("as_new_nm", &mut p.as_new_nm, TORQUE),
        ("serviceable_nm", &mut p.serviceable_nm, TORQUE),
        ("doubtful_nm", &mut p.doubtful_nm, TORQUE),
        ("failing_nm", &mut p.failing_nm, TORQUE),
        ("doubtful_factor", &mut p.doubtful_factor, FACTOR),
        ("failing_factor", &mut p.failing_factor, FACTOR),
        ("not_holding_factor", &mut p.not_holding_factor, FACTOR),
        ("share_treat", &mut p.share_treat, SHARE),
        ("share_section", &mut p.share_section, SHARE),
        ("share_restring", &mut p.share_restring, SHARE),
        ("suspicious_variation", &mut p.suspicious_variation, (0.01, 2.0)),
        // Rarer alarms than a thousandth would want more drawn planks than a survey can wait for.
        ("false_alarm_rate", &mut p.false_alarm_rate, (0.001, 0.5)),
        ("guard_risk", &mut p.guard_risk, (0.001, 0.5)),
        ("plank_confidence_cap", &mut p.plank_confidence_cap, SHARE),
        ("doubted_lever_confidence_cap", &mut p.doubted_lever_confidence_cap, SHARE),
        ("undecided_below", &mut p.undecided_below, SHARE),
        ("pins_min", &mut p.pins_min, (1.0, 300.0)),
        ("oversize_um", &mut p.oversize_um, DIAMETER),
        ("largest_pin_um", &mut p.largest_pin_um, DIAMETER),
        ("size_step_um", &mut p.size_step_um, (20.0, 500.0)),
        ("gain_nm_per_mm", &mut p.gain_nm_per_mm, (0.0, 300.0)),
        ("gain_u_nm_per_mm", &mut p.gain_u_nm_per_mm, (1.0, 300.0)),
        ("dry_relative_humidity", &mut p.dry_relative_humidity, SHARE),
        ("horizon_years", &mut p.horizon_years, (0.0, 100.0)),
    ]
}

impl Profile {
    /// Reads a profile: ours, with what the file sets in it.
    ///
    /// # Errors
    /// When it is no profile, a threshold is not known or out of bounds, or limits do not follow
    /// one another.
    pub fn read(text: &str) -> Result<Profile, ProfileError> {
        if text.len() > BYTES_MAX {
            return Err(ProfileError::TooLong);
        }
        let mut table: toml::Table = toml::from_str(text).map_err(|error| {
            let (line, what) = toml_file::fault(text, &error);
            ProfileError::Syntax { line, what }
        })?;
        if !toml_file::take_head(&mut table, FORMAT, VERSION) {
            return Err(ProfileError::OtherFormat);
        }
        let mut profile = Profile::default();
        for (name, value) in &table {
            let mut known = settings(&mut profile);
            let found = known.iter_mut().find(|(key, ..)| key == name);
            let Some((key, graded, (least, most))) = found else {
                return Err(ProfileError::Unknown(name.clone()));
            };
            let number = value.as_float().or(value.as_integer().map(|whole| whole as f64));
            match number.filter(|number| (*least..=*most).contains(number)) {
                Some(number) => **graded = graded.set(number),
                None => return Err(ProfileError::Value { key, least: *least, most: *most }),
            }
        }
        profile.check_order()?;
        Ok(profile)
    }

    fn check_order(&self) -> Result<(), ProfileError> {
        let pairs = [
            ("over_tight_nm", self.over_tight_nm, "tight_nm", self.tight_nm),
            ("tight_nm", self.tight_nm, "as_new_nm", self.as_new_nm),
            ("as_new_nm", self.as_new_nm, "serviceable_nm", self.serviceable_nm),
            ("serviceable_nm", self.serviceable_nm, "doubtful_nm", self.doubtful_nm),
            ("doubtful_nm", self.doubtful_nm, "failing_nm", self.failing_nm),
            ("doubtful_factor", self.doubtful_factor, "failing_factor", self.failing_factor),
            ("failing_factor", self.failing_factor, "not_holding_factor", self.not_holding_factor),
            ("share_section", self.share_section, "share_treat", self.share_treat),
            ("share_restring", self.share_restring, "share_section", self.share_section),
        ];
        let wrong = pairs.into_iter().find(|(_, upper, _, lower)| upper.value <= lower.value);
        wrong.map_or(Ok(()), |(upper, _, lower, _)| Err(ProfileError::Order { upper, lower }))
    }

    /// The profile as a file: what the user set stands, ours as remarks, each with its grade and
    /// source.
    pub fn file(&self) -> String {
        let mut text = format!(
            "format = \"{FORMAT}\"\nversion = {VERSION}\n\
             # Shares and humidities from 0 to 1. Remove the # before what you set yourself.\n"
        );
        for (key, graded, _) in settings(&mut self.clone()) {
            let Graded { value, grade, source } = *graded;
            let mark = if grade == Grade::User { "" } else { "# " };
            let _ = writeln!(text, "{mark}{key} = {value:?}  # {grade}: {source}");
        }
        text
    }

    /// Thresholds the user set, by key.
    pub fn set_by_user(&self) -> Vec<(&'static str, f64)> {
        let mut own = self.clone();
        let all = settings(&mut own).into_iter();
        all.filter(|(_, graded, _)| graded.grade == Grade::User)
            .map(|(key, graded, _)| (key, graded.value))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(rest: &str) -> Result<Profile, ProfileError> {
        Profile::read(&format!("format = \"{FORMAT}\"\nversion = 1\n{rest}"))
    }

    #[test]
    fn a_written_profile_comes_back_and_has_every_threshold() {
        let ours = Profile::default();
        assert_eq!(Profile::read(&ours.file()), Ok(ours.clone()));
        assert_eq!(settings(&mut ours.clone()).len(), ours.thresholds().len());
        let set = read("doubtful_nm = 5\nhorizon_years = 8.5\n").expect("a profile");
        assert_eq!(set.set_by_user(), [("doubtful_nm", 5.0), ("horizon_years", 8.5)]);
        assert_eq!(Profile::read(&set.file()), Ok(set));
    }

    #[test]
    fn what_makes_no_sense_is_refused_by_name() {
        assert_eq!(Profile::read("doubtful_nm = 5\n"), Err(ProfileError::OtherFormat));
        assert_eq!(read("doubtfull_nm = 5\n"), Err(ProfileError::Unknown("doubtfull_nm".into())));
        for odd in ["nan", "-1", "1e9", "\"5\"", "[5]"] {
            let refused = read(&format!("doubtful_nm = {odd}\n"));
            assert!(
                matches!(refused, Err(ProfileError::Value { key: "doubtful_nm", .. })),
                "{odd}"
            );
        }
        let crossed = ProfileError::Order { upper: "serviceable_nm", lower: "doubtful_nm" };
        assert_eq!(read("doubtful_nm = 8\n"), Err(crossed));
        assert!(matches!(read("doubtful_nm = \n"), Err(ProfileError::Syntax { line: 3, .. })));
        assert_eq!(Profile::read(&"#".repeat(70_000)), Err(ProfileError::TooLong));
    }
}

//! What a record says beside its readings: who, where, in which room, until when.
//!
//! Typed once, when a calibration begins, and written down with its readings. Deliberately not
//! here: how each is typed, and the date that follows from `due`.

use serde::{Deserialize, Serialize};

/// As typed; nothing that was not.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Facts {
    /// Who calibrates; untrusted text.
    pub people: Vec<String>,
    /// Where; untrusted text.
    pub place: Option<String>,
    /// A note; untrusted text.
    pub remark: Option<String>,
    /// Relative humidity of the room, 0–1.
    pub relative_humidity: Option<f64>,
    /// Temperature of the room, °C.
    pub room_temperature_c: Option<f64>,
    /// When the next one is due, as `--due` takes it.
    pub due: Option<String>,
}

impl Facts {
    /// These, and where one is missing the earlier one.
    #[must_use]
    pub fn or(self, earlier: &Facts) -> Facts {
        Facts {
            people: if self.people.is_empty() { earlier.people.clone() } else { self.people },
            place: self.place.or_else(|| earlier.place.clone()),
            remark: self.remark.or_else(|| earlier.remark.clone()),
            relative_humidity: self.relative_humidity.or(earlier.relative_humidity),
            room_temperature_c: self.room_temperature_c.or(earlier.room_temperature_c),
            due: self.due.or_else(|| earlier.due.clone()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_again_replaces_what_was() {
        let earlier = Facts {
            people: vec!["A".to_owned()],
            place: Some("attic".to_owned()),
            due: Some("6mo".to_owned()),
            ..Facts::default()
        };
        let typed = Facts { place: Some("cellar".to_owned()), ..Facts::default() }.or(&earlier);
        assert_eq!(typed.place.as_deref(), Some("cellar"));
        assert_eq!((typed.people, typed.due), (earlier.people, earlier.due));
        // A file written before there were facts has none.
        assert_eq!(serde_json::from_str::<Facts>("{}").unwrap(), Facts::default());
    }
}

//! What is said of a lever's drift over a survey.
//!
//! Deliberately not here: how it is found (`analysis::readings`).

use serde_json::{Value, json};

use crate::analysis::readings::Drift;
use crate::report::terminal::wrap;

/// For reading; nothing where there is nothing significant to say.
pub(super) fn text(drift: Option<&Drift>, width: usize) -> String {
    let significant = drift.filter(|drift| drift.is_significant);
    significant.map_or(String::new(), |drift| wrap(&drift.sentence(), "drift: ", width))
}

/// For a program, significant or not.
pub(super) fn value(drift: &Drift) -> Value {
    json!({
        "per_hour": drift.per_hour,
        "u_per_hour": drift.u_per_hour,
        "hours": drift.hours,
        "is_significant": drift.is_significant,
        "relaxation": drift.relaxation,
        "u_relaxation": drift.u_relaxation,
        "readings": drift.reading_count,
        "sentence": drift.sentence(),
    })
}

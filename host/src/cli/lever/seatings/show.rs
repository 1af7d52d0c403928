//! What pins seated anew come to, as text and as a document.

use std::path::Path;

use serde_json::{Value, json};

use crate::calibration::characteristics::SeatingResult;
use crate::calibration::seating::seating;
use crate::calibration::seating_set::SeatingSet;
use crate::cli::context::{Context, shell_quoted};
use crate::cli::exit::{CliError, Exit};
use crate::correct::spelled;
use crate::report;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Prints it; pins that gave nothing to the end are an error behind it.
pub(super) fn tell(context: &Context, path: &Path, set: &SeatingSet) -> Result<(), CliError> {
    let result = seating(&set.readings);
    if context.json {
        context.print_document(&document(path, set, result))?;
    } else {
        context.print(&text(path, set, result, context.unit))?;
    }
    let missing = missing(set);
    if missing.is_empty() {
        return Ok(());
    }
    let sentence = format!(
        "{} of {} readings are missing: the lever gave no friction and string moment for {}; run \
         the command again for them, or begin anew with other pins",
        missing.len(),
        set.wanted_count(),
        missing.join(", ")
    );
    Err(CliError::new(Exit::LeverAbsent, sentence))
}

/// Readings that are not there: pin, person, round.
fn missing(set: &SeatingSet) -> Vec<String> {
    let of_turn = |turn| {
        set.left(turn).into_iter().map(move |pin| {
            let person = set.people.get(turn.person).map_or("", String::as_str);
            format!("{} ({}, round {})", spelled(pin), printable(person), turn.round + 1)
        })
    };
    set.turns().into_iter().flat_map(of_turn).collect()
}

fn document(path: &Path, set: &SeatingSet, result: Option<SeatingResult>) -> Value {
    json!({
        "format": "pinhold.lever.seatings",
        "version": 1,
        "file": path.to_string_lossy(),
        "lever": format!("{:016x}", set.lever),
        "simulated": set.simulated_seed.is_some(),
        "people": set.people,
        "pins": set.pins.iter().map(|pin| spelled(*pin)).collect::<Vec<_>>(),
        "rounds": set.round_count,
        "wanted": set.wanted_count(),
        "readings": set.readings,
        "result": result,
    })
}

/// Mean friction of what one person read on a pin, N·m.
fn mean_nm(set: &SeatingSet, pin: usize, person: usize) -> Option<f64> {
    let own = set.readings.iter().filter(|one| (one.pin, one.person) == (pin, person));
    let frictions: Vec<f64> = own.map(|one| one.friction_nm).collect();
    let count = frictions.len();
    (count > 0).then(|| frictions.iter().sum::<f64>() / count as f64)
}

fn text(path: &Path, set: &SeatingSet, result: Option<SeatingResult>, unit: TorqueUnit) -> String {
    let file = shell_quoted(&path.to_string_lossy());
    let mut text = format!(
        "seatings of lever {:016x}: {} of {} readings in {file}\n",
        set.lever,
        set.readings.len(),
        set.wanted_count()
    );
    if set.simulated_seed.is_some() {
        text.push_str("  SIMULATED: nothing here is real\n");
    }
    text.push_str("friction, mean of a person's rounds\n");
    for (person, name) in set.people.iter().enumerate() {
        text.push_str(&format!("  person {}: {}\n", person + 1, printable(name)));
    }
    for (pin, name) in set.pins.iter().enumerate() {
        text.push_str(&format!("  {:<6}", spelled(*name)));
        for person in 0..set.people.len() {
            let mean = mean_nm(set, pin, person);
            let mean = mean.map_or("—".to_owned(), |mean_nm| report::torque(mean_nm, unit));
            text.push_str(&format!("  {mean:>12}"));
        }
        text.push('\n');
    }
    let Some(result) = result else {
        text.push_str("too few readings to tell what seating does\n");
        return text;
    };
    text.push_str(&format!(
        "standard deviation, of the pin's friction\n  from seating to seating by one person  \
         {:.2} %, on {} degrees of freedom\n",
        100.0 * result.within_relative,
        result.within_degrees_of_freedom
    ));
    text.push_str("  from person to person                  ");
    text.push_str(&match result.between_degrees_of_freedom {
        0 => "not known from one person: the class's stands\n".to_owned(),
        _ if result.between_relative == 0.0 => format!(
            "none beyond what seating explains, on {} degrees of freedom\n",
            result.between_degrees_of_freedom
        ),
        count => {
            format!("{:.2} %, on {count} degrees of freedom\n", 100.0 * result.between_relative)
        }
    });
    let practice = if set.simulated_seed.is_some() { "--simulated " } else { "" };
    text.push_str(&format!(
        "Next: with the lever's calibration, add it: pinhold lever calibrate {practice}--seatings \
         {file}\n"
    ));
    if set.simulated_seed.is_none() {
        text.push_str("Every one of these pins was moved: they want a touch-up.\n");
    }
    text
}

//! What measuring did to the tuning: excursion and net change of every pin, and the strings to
//! retune.
//!
//! Used by `readings`, at the end of `survey`, and by the report.

use serde_json::{Value, json};

use crate::instrument::pitch_cost::{PitchCost, RETUNE_CENTS};
use crate::instrument::{Instrument, pin_name};
use crate::report::paper::Retune;
use crate::store::LeverReading;
use pinhold_protocol::record::{Pin, Reading};

/// Said wherever strings to retune are told.
const BOUNDS: &str = "Cents are upper bounds: elastic wire, no friction at the bearings. A string \
                      that sounds\nunchanged may still drift when it is played.";

/// Costs of all pins of a survey that a lever read.
pub(super) fn costs(instrument: &Instrument, readings: &[LeverReading]) -> Vec<PitchCost> {
    let of_pins: Vec<(Pin, &Reading)> =
        readings.iter().filter_map(|stored| Some((stored.pin?, &stored.reading))).collect();
    PitchCost::of_all(instrument, &of_pins)
}

/// The strings to retune, a line each, without bounds' explanation.
pub(super) fn lines(costs: &[PitchCost]) -> Vec<String> {
    costs.iter().filter(|cost| cost.wants_retuning).map(line).collect()
}

/// The same for the report.
pub(super) fn for_report(costs: &[PitchCost]) -> Vec<Retune> {
    let wanted = costs.iter().filter(|cost| cost.wants_retuning);
    wanted
        .map(|cost| Retune {
            pin: pin_name(cost.pin),
            net_deg: cost.net_deg,
            net_cents: cost.net_cents,
            flat_cents: cost.flat_cents,
            sharp_cents: cost.sharp_cents,
        })
        .collect()
}

/// One pin in a line.
fn line(cost: &PitchCost) -> String {
    format!("{}: {}", pin_name(cost.pin), course(cost))
}

/// Net change, and how far it went on the way.
pub(super) fn course(cost: &PitchCost) -> String {
    format!(
        "net {:+.2}° (up to {:+.0} cents); on the way {:+.2}° flat (up to {:+.0}), {:+.2}° sharp \
         (up to {:+.0})",
        cost.net_deg,
        cost.net_cents,
        cost.flat_deg,
        cost.flat_cents,
        cost.sharp_deg,
        cost.sharp_cents
    )
}

/// The list as text, at most `count_max` lines of it; empty without readings.
pub(super) fn text(costs: &[PitchCost], count_max: usize) -> String {
    if costs.is_empty() {
        return String::new();
    }
    let lines = lines(costs);
    let mut text = match lines.len() {
        0 => format!("No string can have changed by more than {RETUNE_CENTS:.0} cents.\n"),
        count => format!(
            "To retune, {count} of {} that can have changed by more than {RETUNE_CENTS:.0} \
             cents:\n",
            costs.len()
        ),
    };
    for line in lines.iter().take(count_max) {
        text.push_str(&format!("  {line}\n"));
    }
    if lines.len() > count_max {
        let more = lines.len() - count_max;
        text.push_str(&format!("  and {more} more (pinhold readings NAME --retune)\n"));
    }
    text.push_str(&format!("{BOUNDS}\n{}\n", touch_up(costs.len())));
    text
}

/// That all pins measured want a touch-up.
fn touch_up(pin_count: usize) -> String {
    match pin_count {
        1 => "The pin measured was moved and wants a touch-up.".to_owned(),
        count => format!("All {count} pins measured were moved and want a touch-up."),
    }
}

/// Costs as JSON.
pub(super) fn value(costs: &[PitchCost]) -> Value {
    costs.iter().map(cost_value).collect()
}

fn cost_value(cost: &PitchCost) -> Value {
    json!({
        "note": cost.pin.note,
        "string": cost.pin.string.letter().to_string(),
        "reading_count": cost.reading_count,
        "excursion_flat_deg": cost.flat_deg,
        "excursion_flat_cents_max": cost.flat_cents,
        "excursion_sharp_deg": cost.sharp_deg,
        "excursion_sharp_cents_max": cost.sharp_cents,
        "net_deg": cost.net_deg,
        "net_cents_max": cost.net_cents,
        "cents_per_degree_max": cost.cents_per_degree,
        "retune": cost.wants_retuning,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use pinhold_protocol::record::StringPosition;

    fn cost(note: u8, net_cents: f64) -> PitchCost {
        PitchCost {
            pin: Pin { note, string: StringPosition::Left },
            reading_count: 1,
            flat_deg: -1.2,
            flat_cents: -31.0,
            sharp_deg: 0.0,
            sharp_cents: 0.0,
            net_deg: net_cents / 25.0,
            net_cents,
            cents_per_degree: 25.0,
            wants_retuning: net_cents.abs() > RETUNE_CENTS,
        }
    }

    #[test]
    fn excursion_and_net_change_stand_apart_and_every_pin_wants_a_touch_up() {
        let told = text(&[cost(49, -7.0), cost(50, 2.0)], 10);
        assert!(
            told.starts_with("To retune, 1 of 2 that can have changed by more than 5 cents:\n")
        );
        let line = "  A4 L: net -0.28° (up to -7 cents); on the way -1.20° flat (up to -31), \
                    +0.00° sharp (up to +0)\n";
        assert!(told.contains(line), "{told}");
        assert!(!told.contains("A#4"), "{told}");
        assert!(told.ends_with("All 2 pins measured were moved and want a touch-up.\n"));
        let quiet = text(&[cost(50, 2.0)], 10);
        assert!(quiet.starts_with("No string can have changed by more than 5 cents.\n"));
        assert!(text(&[cost(49, 9.0), cost(50, 9.0)], 1).contains("and 1 more"));
        assert_eq!(text(&[], 10), "");
    }
}

//! `pinhold order`: what to order and the sequence of work.

use clap::Args;
use serde_json::{Value, json};

use super::context::Context;
use super::exit::CliError;
use super::parsers::name_parser;
use super::show::{assessed, width};
use crate::order::drilling::{AIM_NM, Drilling};
use crate::order::{PinTotal, PinsOfPlace, StringsTouched, WorkOrder, sizes, work_order};
use crate::report::diameter;
use crate::report::terminal::wrap;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Most spares that may be asked for, percent.
const SPARES_MAX: f64 = 100.0;

/// Arguments of `pinhold order`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
What the verdict's remedy needs: pins by section with spares and in total by size and length,
bushings, wire and bass strings to consider, bits to try in scrap, and the work step by step with
its cautions; steps that cannot be undone are marked. Lengths, finish, bushings and coil gaps come
from the condition record (see `pinhold condition`). Sizes are diameters, because labels mean
different sizes in different schemes. No prices.

Examples:
  pinhold order parlour
  pinhold order parlour --spares 10")]
pub struct OrderArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Spares beside every hundred pins and bushings, rounded up in each section
    #[arg(long, value_name = "PERCENT", default_value_t = 5.0, value_parser = spares_parser)]
    pub spares: f64,
}

fn spares_parser(text: &str) -> Result<f64, String> {
    let bare = text.trim().trim_end_matches('%').trim();
    match bare.parse::<f64>() {
        Ok(percent) if (0.0..=SPARES_MAX).contains(&percent) => Ok(percent),
        _ => Err("use a percentage from 0 to 100".to_owned()),
    }
}

/// Runs the command.
///
/// # Errors
/// When there is no such instrument, it has no survey, or the store fails.
pub(super) fn run(context: &Context, arguments: &OrderArguments) -> Result<(), CliError> {
    let loaded = context.load(&context.open_store()?, &arguments.name)?;
    let assessment = assessed(&loaded);
    let instrument = &loaded.record.instrument;
    let order = work_order(instrument, &assessment, &loaded.recorded, arguments.spares / 100.0);
    let remedy = assessment.verdict.remedy.kind();
    if context.json {
        return context.print_document(&document(&order, remedy.word()));
    }
    let mut text = wrap(remedy.sentence(), "", width());
    if assessment.verdict.confidence_is_capped {
        let caution = "This is advice on capped evidence: order nothing before what the verdict \
                       lists has been confirmed.";
        text += &wrap(caution, "", width());
    }
    context.print(&(text + &shown(&order, context.unit, width())))
}

/// The order as text.
fn shown(order: &WorkOrder, unit: TorqueUnit, width: usize) -> String {
    let mut text = String::new();
    let mut list = |title: &str, items: Vec<String>| {
        if !items.is_empty() {
            text.push_str(&format!("\n{title}\n"));
        }
        for item in items {
            text.push_str(&wrap(&printable(&item), "  - ", width));
        }
    };
    list("Pins by section", order.pins.iter().map(place_line).collect());
    let mut totals: Vec<String> = order.totals.iter().map(total_line).collect();
    if !order.pins.is_empty() {
        totals.push(match &order.finish {
            Some(finish) => format!("finish fitted now: {finish}"),
            None => "finish and thread: as fitted; not recorded, so look at a drawn pin".to_owned(),
        });
    }
    totals.extend(order.length_notes.iter().cloned());
    list("Pins in total", totals);
    list("Bushings", bushing_lines(order));
    list("Strings to consider", order.strings.iter().flat_map(string_lines).collect());
    list("Holes", order.drilling.iter().map(|bits| drilling_line(bits, unit)).collect());
    text.push_str("\nThe work, in order (! cannot be undone)\n");
    for (number, step) in (1..).zip(&order.steps) {
        let mark = if step.is_irreversible { "!" } else { " " };
        text.push_str(&wrap(&step.text, &format!("{mark}{number:>2}. "), width));
        for caution in &step.cautions {
            text.push_str(&wrap(caution, "       Caution: ", width));
        }
    }
    text
}

fn place_line(line: &PinsOfPlace) -> String {
    let now = line.from_um.map_or("size not recorded".to_owned(), diameter);
    let length = line.length_um.map_or(String::new(), |um| format!(", {} mm long", um / 1000));
    format!(
        "{}: {} + {} spare, now {now}{length}; order {}; {}",
        line.place,
        pins(line.pin_count),
        line.spare_count,
        line.to_um.map_or("as decided at the pin".to_owned(), diameter),
        line.note
    )
}

fn total_line(total: &PinTotal) -> String {
    let size = total.diameter_um.map_or("size decided at the pin".to_owned(), sizes::words);
    let length =
        total.length_um.map_or("length not recorded".to_owned(), |um| format!("{} mm", um / 1000));
    format!(
        "{} ({} + {} spare) of {size}, {length}",
        pins(total.pin_count + total.spare_count),
        total.pin_count,
        total.spare_count
    )
}

fn bushing_lines(order: &WorkOrder) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(count) = order.bushing_count {
        lines.push(format!("{count}, spares included, bored for the size that is fitted"));
    }
    if order.bushings_unknown {
        lines.push("not recorded whether the plate is bushed; if so, new ones go with this".into());
    }
    lines
}

fn string_lines(strings: &StringsTouched) -> Vec<String> {
    let mut lines = vec![match strings.is_renewed {
        true => "new wire goes with this work".to_owned(),
        false => "wire may serve again where becket and coil survive (common practice); price \
                  the place with new wire and spares"
            .to_owned(),
    }];
    if strings.plain_count > 0 {
        lines.push(format!("{} at plain strings", pins(strings.plain_count)));
    }
    for (wire_m, count, length_m) in &strings.wire {
        let length = length_m.map_or("length not recorded".to_owned(), |m| format!("{m:.1} m"));
        lines.push(format!("wire {:.3} mm at {}: {length}", wire_m * 1e3, pins(*count)));
    }
    if strings.wound_count > 0 {
        let count = strings.wound_count;
        let made = "wound strings are custom-made, by pattern";
        lines.push(format!("{} at wound strings; {made}", pins(count)));
    }
    if strings.unknown_count > 0 {
        lines.push(format!(
            "{} at strings not recorded as plain or wound (see `pinhold instrument strings`)",
            pins(strings.unknown_count)
        ));
    }
    lines
}

fn drilling_line(bits: &Drilling, unit: TorqueUnit) -> String {
    let letters: Vec<String> = bits.letters.iter().map(char::to_string).collect();
    let letters = match letters.is_empty() {
        true => String::new(),
        false => format!(" (letter drills {})", letters.join(", ")),
    };
    format!(
        "for pins of {}: try bits from {} to {}{letters} in scrap of the same wood, fit a pin and \
         read it; aim at {:.*}–{:.*} {} of friction (common practice, no source)",
        diameter(bits.pin_um),
        diameter(bits.least_um),
        diameter(bits.greatest_um),
        unit.decimals(),
        unit.from_newton_metres(AIM_NM.0),
        unit.decimals(),
        unit.from_newton_metres(AIM_NM.1),
        unit
    )
}

fn pins(count: usize) -> String {
    format!("{count} {}", if count == 1 { "pin" } else { "pins" })
}

/// The order as a document; lengths in micrometres, wire in metres.
fn document(order: &WorkOrder, remedy: &str) -> Value {
    let strings = order.strings.as_ref().map(|strings| {
        json!({
            "renewed": strings.is_renewed,
            "plain": strings.plain_count,
            "wound": strings.wound_count,
            "unknown": strings.unknown_count,
            "wire": strings.wire.iter().map(|(wire_m, count, length_m)| json!({
                "diameter_m": wire_m, "pins": count, "length_m": length_m,
            })).collect::<Vec<_>>(),
        })
    });
    json!({
        "format": "pinhold.order",
        "version": 1,
        "remedy": remedy,
        "pins": order.pins.iter().map(|line| json!({
            "place": line.place, "pins": line.pin_count, "spare": line.spare_count,
            "from_um": line.from_um, "to_um": line.to_um, "length_um": line.length_um,
            "note": line.note,
        })).collect::<Vec<_>>(),
        "totals": order.totals.iter().map(|total| json!({
            "diameter_um": total.diameter_um, "length_um": total.length_um,
            "pins": total.pin_count, "spare": total.spare_count,
        })).collect::<Vec<_>>(),
        "finish": order.finish,
        "length_notes": order.length_notes,
        "bushings": order.bushing_count,
        "bushings_unknown": order.bushings_unknown,
        "strings": strings,
        "drilling": order.drilling.iter().map(|bits| json!({
            "pin_um": bits.pin_um, "least_um": bits.least_um, "greatest_um": bits.greatest_um,
            "letters": bits.letters,
        })).collect::<Vec<_>>(),
        "steps": order.steps.iter().map(|step| json!({
            "text": step.text, "irreversible": step.is_irreversible, "cautions": step.cautions,
        })).collect::<Vec<_>>(),
    })
}

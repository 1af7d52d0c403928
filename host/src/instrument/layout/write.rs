//! A layout description as TOML text, as short as the defaults allow. Lengths in millimetres.
//!
//! Invariant: what [`super::file`] reads from it is the description it was written from.

use super::{Arrangement, BASS_ROW_COUNT, Description, LayoutParameters, RowsOf, Section};
use crate::instrument::PlateFace;
use crate::instrument::note::note_name;
use crate::instrument::places::Correction;
use crate::instrument::stringing::Stringing;

/// The text of a description.
pub(super) fn text(description: &Description) -> String {
    let mut text = String::new();
    let stringing = &description.stringing;
    let (first, last) = (stringing.first_note(), stringing.last_note());
    text.push_str("format = \"pinhold.layout\"\nversion = 1\n");
    text.push_str(&format!("kind = \"{}\"\n", description.kind));
    text.push_str(&format!("compass = \"{}\"\n", range(first, last)));
    if description.face != PlateFace::Full {
        text.push_str(&format!("face = \"{}\"\n", description.face));
    }
    let counts = strings(&mut text, stringing);
    missing(&mut text, description);
    if !counts.is_empty() {
        text.push_str(&format!("\n# Strings of notes beside the common ones\n[strings]\n{counts}"));
    }
    sizes(&mut text, description);
    flange(&mut text, description);
    let mut from = first;
    for (index, section) in description.sections.iter().enumerate() {
        section_text(&mut text, section, usual_arrangement(stringing, index, from, section));
        from = section.last_note.saturating_add(1);
    }
    for (pin, correction) in &description.exact {
        let name = format!("{}{}", pin.note, pin.string.letter());
        text.push_str(&pin_text(&name, correction));
    }
    text
}

/// Stringing as groups where it is groups; else the lines for `[strings]`.
fn strings(text: &mut String, stringing: &Stringing) -> String {
    let (first, last) = (stringing.first_note(), stringing.last_note());
    let counts: Vec<u8> = (first..=last).map(|note| stringing.string_count(note)).collect();
    if counts.is_sorted() && counts.iter().all(|count| *count <= 3) {
        let group = |strings: u8| counts.iter().filter(|count| **count == strings).count();
        text.push_str(&format!("stringing = \"{}/{}/{}\"\n", group(1), group(2), group(3)));
        return String::new();
    }
    let Ok(common) = Stringing::common_over(first, last) else { return String::new() };
    let mut lines = String::new();
    let mut open: Option<(u8, u8, u8)> = None;
    let line = |(from, to, count): (u8, u8, u8)| format!("\"{}\" = {count}\n", range(from, to));
    for (note, count) in (first..=last).zip(counts) {
        let differs = count != common.string_count(note);
        match &mut open {
            Some((_, to, same)) if differs && *same == count && *to + 1 == note => *to = note,
            _ => {
                lines.extend(open.take().map(line));
                open = differs.then_some((note, note, count));
            }
        }
    }
    lines.extend(open.map(line));
    lines
}

fn missing(text: &mut String, description: &Description) {
    if description.missing.is_empty() {
        return;
    }
    let name =
        |pin: &pinhold_protocol::record::Pin| format!("\"{}{}\"", pin.note, pin.string.letter());
    let names: Vec<String> = description.missing.iter().map(name).collect();
    text.push_str(&format!("missing = [{}]\n", names.join(", ")));
}

fn sizes(text: &mut String, description: &Description) {
    if description.sizes.is_empty() {
        return;
    }
    text.push_str("\n# Pin diameters, mm\n[pin_sizes]\n");
    for size in &description.sizes {
        let mm = f64::from(size.diameter_um) / 1e3;
        text.push_str(&format!("\"{}\" = {mm}\n", range(size.first, size.last)));
    }
}

fn flange(text: &mut String, description: &Description) {
    let Some(flange) = &description.flange else { return };
    text.push_str("\n# Plate flange to y = 0, mm; [x, how much farther there]\n[flange]\n");
    text.push_str(&format!("distance_mm = {}\n", mm(flange.distance_m)));
    if !flange.curve_m.is_empty() {
        let point = |[x_m, farther_m]: &[f64; 2]| format!("[{}, {}]", mm(*x_m), mm(*farther_m));
        let points: Vec<String> = flange.curve_m.iter().map(point).collect();
        text.push_str(&format!("curve_mm = [{}]\n", points.join(", ")));
    }
}

/// What a section is taken for when its file entry names no arrangement.
fn usual_arrangement(
    stringing: &Stringing,
    index: usize,
    from: u8,
    section: &Section,
) -> Arrangement {
    let few = (from..=section.last_note).all(|note| stringing.string_count(note) < 3);
    if index == 0 && few {
        Arrangement::Dealt((0..BASS_ROW_COUNT).collect())
    } else {
        Arrangement::Unisons(RowsOf::in_order([0, 1, 2, 3]))
    }
}

fn section_text(text: &mut String, section: &Section, usual: Arrangement) {
    let default = LayoutParameters::default();
    let last = note_name(section.last_note).unwrap_or_default();
    text.push_str(&format!("\n[[section]]\nlast = \"{last}\"\n"));
    if section.arrangement != usual {
        text.push_str(&arrangement_text(&section.arrangement));
    }
    let measures = [
        ("pitch_mm", section.pitch_m, default.pitch_m),
        ("row_spacing_mm", section.row_spacing_m, default.row_spacing_m),
        ("row0_mm", section.row0_m, 0.0),
        ("gap_mm", section.gap_m, default.strut_gap_m),
    ];
    for (name, given_m, default_m) in measures {
        if given_m != default_m {
            text.push_str(&format!("{name} = {}\n", mm(given_m)));
        }
    }
    for (name, given_m) in [("slant_mm", section.slant_m), ("flange_mm", section.flange_m)] {
        if let Some(given_m) = given_m {
            text.push_str(&format!("{name} = {}\n", mm(given_m)));
        }
    }
}

fn arrangement_text(arrangement: &Arrangement) -> String {
    match arrangement {
        Arrangement::Dealt(deal) => format!("arrangement = \"dealt\"\ndeal = {deal:?}\n"),
        Arrangement::Unisons(rows_of) => {
            let mut text = "arrangement = \"unisons\"\n".to_owned();
            let usual = RowsOf::in_order([0, 1, 2, 3]);
            for (count, name) in (1_u8..).zip(["single", "bichord", "trichord", "four"]) {
                if rows_of.of(count) != usual.of(count) {
                    text.push_str(&format!("rows_of.{name} = {:?}\n", rows_of.of(count)));
                }
            }
            text
        }
    }
}

/// An entry of one pin.
fn pin_text(name: &str, correction: &Correction) -> String {
    let mut facts = vec![format!("\n[[pin]]\npin = \"{name}\"\n")];
    let mut length = |name: &str, given_m: Option<f64>| {
        facts.extend(given_m.map(|given_m| format!("{name} = {}\n", mm(given_m))));
    };
    length("x_mm", correction.x_m);
    length("y_mm", correction.y_m);
    length("flange_mm", correction.flange_distance_m);
    facts.extend(correction.row.map(|row| format!("row = {row}\n")));
    facts.extend(correction.section.map(|section| format!("section = {section}\n")));
    facts.extend(correction.diameter_um.map(|um| format!("pin_mm = {}\n", f64::from(um) / 1e3)));
    facts.concat()
}

/// Notes as text: `A0..E2`.
fn range(first: u8, last: u8) -> String {
    let name = |note: u8| note_name(note).unwrap_or_default();
    format!("{}..{}", name(first), name(last))
}

/// Metres as millimetres, to a whole micrometre.
fn mm(metres: f64) -> f64 {
    (metres * 1e6).round() / 1e3
}

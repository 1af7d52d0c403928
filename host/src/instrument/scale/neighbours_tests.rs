//! Rows left out, and what neighbours then say of them. The data are published where said.

use super::*;
use crate::instrument::InstrumentKind;
use crate::instrument::layout::modern_88;
use crate::instrument::moment::string_on_pin;
use crate::instrument::scale::{StringRow, StringSource, Winding};
use crate::instrument::strings::wire_diameter_m;
use pinhold_protocol::record::{Pin, StringPosition};

/// Speaking lengths of the plain strings of one small grand, notes 27 to 88, mm, as a technician
/// posted them (my.ptg.org, thread "String lengths?", 2019-10-16; ONE).
const SMALL_GRAND_MM: [u16; 62] = [
    1009, 1001, 990, 979, 965, 948, 922, 900, 847, 798, 756, 715, 678, 640, 607, 572, 542, 511,
    482, 456, 432, 412, 392, 374, 355, 340, 327, 312, 290, 274, 259, 245, 232, 219, 208, 196, 186,
    176, 164, 156, 149, 142, 135, 129, 123, 114, 109, 102, 95, 90, 85, 80, 75, 71, 68, 64, 61, 58,
    56, 54, 52, 50,
];

fn row(note: u8, length_m: f64, wire_m: f64) -> StringRow {
    StringRow {
        note,
        string: None,
        speaking_length_m: length_m,
        u_speaking_length_m: None,
        wire_m,
        u_wire_m: None,
        winding: None,
        total_length_m: None,
    }
}

/// The plain strings of the small grand, trichords only. Its wire was not posted: gauges 20 to 13
/// in half sizes, four or five notes each, as is common (MEM).
fn small_grand() -> Vec<StringRow> {
    (28..=88)
        .map(|note: u8| {
            let steps = u16::from(note - 27) * 15 / 62;
            let wire_m = wire_diameter_m(20.0 - f64::from(steps) / 2.0).unwrap();
            row(note, f64::from(SMALL_GRAND_MM[usize::from(note - 27)]) / 1000.0, wire_m)
        })
        .collect()
}

fn strung(rows: Vec<StringRow>) -> Instrument {
    let mut instrument = modern_88("x", InstrumentKind::Grand);
    instrument.strings.rows = rows;
    instrument
}

fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Left }
}

/// For each row with those for which `keep` is false taken away: how many standard uncertainties
/// its own moment lies from what the rest says. What all rows share (density, where the pitch is
/// set) cannot show in such a difference and is left out of it; the row's own error is in it.
fn deviations(rows: &[StringRow], keep: impl Fn(u8) -> bool) -> Vec<f64> {
    let rest = strung(rows.iter().copied().filter(|row| keep(row.note)).collect());
    let left_out = rows.iter().filter(|row| !keep(row.note));
    left_out
        .map(|row| {
            let pull = row.pull(440.0, 0.007_163);
            let said = estimate(&rest, row.note).unwrap();
            let own_squared =
                said.relative_u * said.relative_u - said.shared_relative_u * said.shared_relative_u;
            let relative_u = (own_squared + pull.own_relative_u * pull.own_relative_u).sqrt();
            libm::log(pull.moment_nm / said.moment_nm) / relative_u
        })
        .collect()
}

fn share_within(deviations: &[f64], limit: f64) -> f64 {
    let within = deviations.iter().filter(|z| z.abs() <= limit).count();
    within as f64 / deviations.len() as f64
}

#[test]
fn notes_left_out_of_a_published_scale_lie_within_what_is_stated() {
    let rows = small_grand();
    let mut one_by_one = Vec::new();
    for left in 28..=88 {
        one_by_one.extend(deviations(&rows, |note| note != left));
    }
    assert_eq!(one_by_one.len(), 61);
    // Of a normal law 68 % within one and 95 % within two standard uncertainties.
    let (one, two) = (share_within(&one_by_one, 1.0), share_within(&one_by_one, 2.0));
    assert!((0.60..=0.85).contains(&one), "{one}");
    assert!(two >= 0.93, "{two}");
    // Every third, fifth, eighth, twelfth note given. The scatter of leaving one more out is the
    // floor, so few rows are told wider than they are, never narrower.
    for step in [3, 5, 8, 12] {
        let mut sparse = Vec::new();
        for offset in 0..step {
            sparse.extend(deviations(&rows, |note| note % step == offset));
        }
        assert_eq!(sparse.len(), 61 * (usize::from(step) - 1));
        let (one, two) = (share_within(&sparse, 1.0), share_within(&sparse, 2.0));
        assert!((0.68..=0.95).contains(&one), "every {step}th: {one}");
        assert!(two >= 0.94, "every {step}th: {two}");
    }
}

#[test]
fn rows_make_an_estimate_better_than_its_class() {
    for step in [2, 3] {
        let rows: Vec<StringRow> =
            small_grand().into_iter().filter(|row| row.note % step == 0).collect();
        let instrument = strung(rows);
        let ratio = |note: u8| {
            estimate(&instrument, note).unwrap().relative_u / class_string(note, 3).relative_u
        };
        let ratios: Vec<f64> = (28..=88).filter(|note| note % step != 0).map(ratio).collect();
        assert!(median(&ratios).unwrap() < 0.8, "every {step}: {ratios:.2?}");
    }
}

#[test]
fn uncertainty_grows_with_distance_up_to_the_class() {
    let rows: Vec<StringRow> =
        small_grand().into_iter().filter(|row| (40..=52).contains(&row.note)).collect();
    let instrument = strung(rows);
    let relative = |note: u8| estimate(&instrument, note).unwrap().relative_u;
    let course: Vec<f64> = (53..=88).map(relative).collect();
    assert!(course.is_sorted_by(|a, b| *b >= a - 0.004), "{course:?}");
    assert!(course[35] > 2.0 * course[0]);
    let class = class_string(88, 3).relative_u;
    assert!((course[35] / class - 1.0).abs() < 0.25, "{} {class}", course[35]);
}

#[test]
fn uncertainty_is_never_below_the_scatter_of_leaving_out() {
    let mut rows = small_grand();
    // Lengths as if read carelessly, alternately 2 % long and short: 4 % of tension.
    for (index, row) in rows.iter_mut().enumerate() {
        row.speaking_length_m *= if index % 2 == 0 { 1.02 } else { 0.98 };
    }
    rows.retain(|row| row.note != 60);
    let instrument = strung(rows);
    let relative = estimate(&instrument, 60).unwrap().relative_u;
    assert!(relative > 0.04, "{relative}");
}

#[test]
fn nothing_crosses_the_bass_break_or_from_plain_to_wound() {
    // Plain strings above the break say nothing of the bass.
    let instrument = strung(small_grand());
    for note in [1, 10, 11, 27] {
        assert_eq!(string_on_pin(&instrument, pin(note), None).source, StringSource::Class);
    }
    // Wound bichords below, plain trichords above; wound trichords from 28 to 31, of which 29 is
    // not given: it follows its wound neighbours, not the plain ones nearby.
    let wound = Winding::Mass { mass_kg_per_m: 0.016, u_relative: None };
    let mut rows = small_grand();
    rows.retain(|row| !matches!(row.note, 29 | 32 | 33));
    for row in rows.iter_mut().filter(|row| row.note <= 31) {
        (row.winding, row.speaking_length_m) = (Some(wound), 0.9);
    }
    let instrument = strung(rows);
    assert_eq!(kind_of(&instrument, 29), Some(StringKind::Wound));
    assert_eq!(kind_of(&instrument, 32), None, "between wound and plain rows");
    assert_eq!(string_on_pin(&instrument, pin(33), None).source, StringSource::Class);
    let of_wound = string_on_pin(&instrument, pin(29), None);
    assert_eq!(of_wound.kind, StringKind::Wound);
    let note_28 = string_on_pin(&instrument, pin(28), None).moment_nm.value;
    assert!((of_wound.moment_nm.value / note_28 - 1.0).abs() < 0.2);
}

#[test]
fn one_row_out_of_line_is_named_and_does_not_bend_the_course() {
    let rows = small_grand();
    let clean = strung(rows.iter().copied().filter(|row| row.note != 50).collect());
    let mut spoiled = clean.clone();
    for row in spoiled.strings.rows.iter_mut().filter(|row| row.note == 52) {
        row.speaking_length_m *= 1.25;
    }
    assert_eq!(suspects(&clean), []);
    let found = suspects(&spoiled);
    assert_eq!(found.iter().map(|row| row.note).collect::<Vec<_>>(), [52]);
    assert!((found[0].ratio / 1.5625 - 1.0).abs() < 0.1, "{found:?}");
    let moment = |instrument: &Instrument| estimate(instrument, 50).unwrap();
    let (before, after) = (moment(&clean), moment(&spoiled));
    let shift = (after.moment_nm - before.moment_nm).abs();
    assert!(shift < before.relative_u * before.moment_nm, "{before:?} {after:?}");
}

#[test]
fn an_unmeasured_instrument_is_of_class() {
    let instrument = modern_88("x", InstrumentKind::Grand);
    for field in &instrument.pins {
        let string = string_on_pin(&instrument, field.pin, None);
        assert_eq!(string.source, StringSource::Class);
        let count = instrument.string_count(field.pin.note);
        let class = crate::instrument::moment::moment_at_pitch(field.pin, count, None);
        assert_eq!(string.moment_nm, class);
    }
}

//! The report's promises: escaped, complete, without banned words, and fitting its width.

use super::*;
use crate::analysis::input::Condition;
use crate::analysis::test_planks::plank;
use crate::analysis::{AssessmentInput, PinResult, Profile, assess};
use crate::calibration::mark::LeverMark;
use crate::instrument::FieldPin;
use crate::words::banned::said_in;

pub(super) const HOSTILE: &str = "<script>alert('1')</script>\"&\u{1b}[31m\u{202e}evil";

pub(super) fn split_plank() -> (Instrument, Assessment) {
    assessed(&Condition::default(), |place: &FieldPin, sound| {
        let loose = place.row == 1 && (30..=44).contains(&place.pin.note);
        if loose && !place.pin.note.is_multiple_of(4) { sound * 0.3 } else { sound }
    })
}

pub(super) fn assessed(
    condition: &Condition,
    fault: impl Fn(&FieldPin, f64) -> f64,
) -> (Instrument, Assessment) {
    let (mut instrument, mut readings) =
        plank(11, 10.0, 0.12, |place, sound, _| fault(place, sound));
    instrument.name = HOSTILE.to_owned();
    readings[40].remarks.push(format!("{HOSTILE}{}", "x".repeat(10_000)));
    readings.pop();
    let input =
        AssessmentInput { instrument: &instrument, readings: &readings, condition, seed: 1 };
    let profile = Profile { bootstrap_count: 199, ..Profile::default() };
    let assessment = assess(&input, &profile);
    (instrument, assessment)
}

pub(super) fn all_planks() -> Vec<(Instrument, Assessment)> {
    let told = Condition {
        relative_humidity: Some(0.3),
        pitch_cents: Some(-60.0),
        contamination: Some(true),
        plank: Some(crate::analysis::input::PlankSight::OffBack),
        worth_repair: Some(false),
        ..Condition::default()
    };
    vec![
        split_plank(),
        assessed(&Condition::default(), |_, sound| sound),
        assessed(&Condition::default(), |_, sound| 0.5 * sound),
        assessed(&told, |_, sound| 0.4 * sound),
        assessed(&told, |place, sound| if place.row == 0 { 0.5 * sound } else { sound }),
    ]
}

#[test]
fn hostile_text_is_escaped_everywhere() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let picture = map_picture(&model, View::Torque, TorqueUnit::NewtonMetre);
    assert!(!picture.contains("<script"), "script got through");
    assert!(!picture.contains('\u{1b}') && !picture.contains('\u{202e}'));
    assert!(picture.contains("&lt;script&gt;"));
    let terminal = terminal::map(&model, TorqueUnit::NewtonMetre, 80, false);
    assert!(!terminal.contains('\u{1b}') && !terminal.contains('\u{202e}'));
}

/// What no output says.
fn assert_nothing_banned(output: &str) {
    assert_eq!(said_in(output, Language::English), Vec::<&str>::new());
}

#[test]
fn no_banned_word_in_any_output() {
    for (instrument, assessment) in all_planks() {
        let model = MapModel { instrument: &instrument, assessment: &assessment };
        let unit = TorqueUnit::InchPoundForce;
        assert_nothing_banned(&map_picture(&model, View::Torque, unit));
        assert_nothing_banned(&terminal::map(&model, unit, 80, false));
        assert_nothing_banned(&terminal::verdict(&model, unit, 80));
        assert_nothing_banned(&json::verdict(&model).to_string());
    }
}

#[test]
fn the_terminal_map_keeps_its_width_and_shows_every_pin() {
    for (instrument, assessment) in all_planks() {
        let model = MapModel { instrument: &instrument, assessment: &assessment };
        for width in [40, 60, 80, 132] {
            let map = terminal::map(&model, TorqueUnit::KilogramForceCentimetre, width, false);
            let field: Vec<&str> = map.lines().filter(|line| line.starts_with("row ")).collect();
            for line in &field {
                assert!(line.chars().count() <= width, "{} > {width}: {line}", line.len());
            }
            let glyphs = "^=-~oxX#?.";
            let drawn: usize = field
                .iter()
                .map(|line| line.chars().skip(7).filter(|c| glyphs.contains(*c)).count())
                .sum();
            assert_eq!(drawn, assessment.pins.len());
            let verdict = terminal::verdict(&model, TorqueUnit::NewtonMetre, width);
            assert!(verdict.lines().all(|line| line.chars().count() <= width), "{verdict}");
        }
        let coloured = terminal::map(&model, TorqueUnit::NewtonMetre, 80, true);
        assert!(coloured.contains("\u{1b}[48;2;"));
    }
}

#[test]
fn zones_are_named_in_the_plain_map() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let map = terminal::map(&model, TorqueUnit::NewtonMetre, 80, false);
    assert!(map.contains("XA") || map.contains("xA"), "{map}");
    assert!(map.contains("zone A ragged-line-inside: tenor section"), "{map}");
}

#[test]
fn the_report_shows_every_view_and_the_map_checks_itself() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let page = page(&model);
    for view in View::ALL {
        assert!(page.contains(view.title()), "{}", view.word());
    }
    let map = terminal::map(&model, TorqueUnit::NewtonMetre, 80, false);
    assert!(map.contains("check of the map: what is left over"), "{map}");
}

/// The whole report as HTML.
fn page(model: &MapModel<'_>) -> String {
    let sheet = paper::document(model, &ReportContext::default(), paper::Setting::default());
    document::html::render(&sheet)
}

#[test]
fn the_json_document_has_its_fields() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let document = json::verdict(&model);
    for field in [
        "remedy",
        "confidence",
        "confirm_before_acting",
        "zones",
        "pins",
        "reasons_for",
        "reasons_against",
        "not_examined",
        "version",
    ] {
        assert!(!document[field].is_null(), "{field} is missing");
    }
    assert_eq!(document["field"].as_array().map(Vec::len), Some(instrument.pins.len()));
    assert!(document["check"]["sentence"].as_str().is_some_and(|told| told.contains("left over")));
    let zone = &document["zones"][0];
    assert_eq!(zone["shape"], "ragged-line-inside");
    assert!(zone["pins"][0]["note"].is_u64() && zone["pins"][0]["string"] == "C");
    let pin = &document["pins"][0];
    assert_eq!((&pin["note"], &pin["string"]), (&1.into(), &"C".into()));
    for field in [
        "friction_nm",
        "u_friction_nm",
        "moment_nm",
        "moment_at_pitch_nm",
        "holding_factor",
        "doubtful_chance",
        "failing_chance",
        "not_holding_chance",
        "sharp_nm",
        "flat_nm",
    ] {
        assert!(pin[field].is_f64(), "{field} is missing");
    }
    assert!(pin["band"].is_string());
    assert_eq!(document["pins"].as_array().map(Vec::len), Some(assessment.pins.len() - 1));
    assert_eq!(document["unread_pins"].as_array().map(Vec::len), Some(1));
}

#[test]
fn an_empty_instrument_makes_empty_but_whole_outputs() {
    let (mut instrument, _) = split_plank();
    instrument.pins.clear();
    let condition = Condition::default();
    let input =
        AssessmentInput { instrument: &instrument, readings: &[], condition: &condition, seed: 1 };
    let assessment = assess(&input, &Profile::default());
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    assert!(map_picture(&model, View::Torque, TorqueUnit::NewtonMetre).ends_with("</svg>"));
    assert!(terminal::map(&model, TorqueUnit::NewtonMetre, 80, false).contains("0 pins"));
    assert_eq!(json::verdict(&model)["remedy"], "undecided");
}

/// The split plank with marks on the readings of these pins.
fn doubted(marked: impl Fn(usize, &mut PinResult)) -> (Instrument, Assessment) {
    let (instrument, mut assessment) = split_plank();
    let read = assessment.pins.iter_mut().filter(|pin| pin.read);
    read.enumerate().for_each(|(at, pin)| marked(at, pin));
    (instrument, assessment)
}

#[test]
fn a_lever_in_doubt_is_told_at_its_pins_and_in_the_verdict() {
    let (instrument, assessment) = doubted(|_, pin| {
        if pin.zone.is_some() || pin.pin.note < 3 {
            pin.marks.push(LeverMark::CheckFailed);
        }
        if pin.pin.note == 1 {
            pin.marks.push(LeverMark::OutOfRange);
        }
    });
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let map = terminal::map(&model, TorqueUnit::NewtonMetre, 80, false);
    let rows: String = map.lines().filter(|line| line.starts_with("row ")).collect();
    let early = assessment.pins.iter().filter(|pin| pin.read && pin.pin.note < 3).count();
    assert_eq!(rows.matches('!').count(), early, "{map}");
    assert!(rows.contains("Xa") && !rows.contains("XA"), "a small letter in the zone:\n{map}");
    let count = marks::marked_count(&assessment);
    assert!(map.contains(&format!("in doubt: lever failed a check beside this reading ({count})")));
    let doubts = marks::doubts(&assessment);
    let read = assessment.statistics.read_count;
    assert!(doubts[0].starts_with(&format!("{count} of {read} torques: the lever failed a check")));
    assert!(doubts[1].starts_with(&format!("1 of {read} torques: the torque was beyond")));
    let verdict = terminal::verdict(&model, TorqueUnit::NewtonMetre, 80);
    let (doubt, reasons) = (verdict.find("a lever in doubt"), verdict.find("\nfor\n"));
    assert!(doubt.is_some() && doubt < reasons, "{verdict}");
    let page = page(&model);
    let (doubt, picture) = (page.find("a lever in doubt"), page.find("role=\"img\""));
    assert!(doubt.is_some() && doubt < picture, "in the verdict's box");
    let sign = "beside this reading</title>";
    assert_eq!(
        map_picture(&model, View::Torque, TorqueUnit::NewtonMetre).matches(sign).count(),
        2 * count - 2
    );
    for output in [map, verdict, json::verdict(&model).to_string()] {
        assert_nothing_banned(&output);
    }
}

#[test]
fn what_holds_for_every_pin_is_said_once() {
    let (instrument, assessment) = doubted(|_, pin| pin.marks.push(LeverMark::Uncalibrated));
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    assert!(!marks::tells_pins_apart(&assessment));
    let map = terminal::map(&model, TorqueUnit::NewtonMetre, 80, false);
    assert!(map.contains("in doubt: lever not calibrated (every pin read)"), "{map}");
    assert_eq!(map.matches('!').count(), 1, "{map}");
    assert!(
        marks::doubts(&assessment)[0].starts_with("every torque: the lever was not calibrated")
    );
    let group = &marks::groups(&assessment)[0];
    assert_eq!(&*marks::pins_text(group, assessment.statistics.read_count), "every pin read");
    let some = marks::pins_text(group, 1000);
    let more = group.pins.len() - 40;
    assert!(some.ends_with(&format!(" and {more} more (annex, every reading)")), "{some}");
    let (_, sound) = split_plank();
    assert_eq!((marks::doubts(&sound), marks::legend_line(&sound)), (vec![], None));
}

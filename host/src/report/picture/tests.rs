//! The picture's promises: readable on paper, small, the same in grey, whole for odd instruments.

use super::*;
use crate::analysis::field::grid::GridCell;
use crate::analysis::input::{Condition, Estimate, PinReading};
use crate::analysis::test_planks::{grand, pin, reading};
use crate::analysis::{Assessment, AssessmentInput, PinResult, Profile, assess};
use crate::instrument::{FieldPin, Instrument};
use crate::report::tests::{HOSTILE, assessed, split_plank};

const UNIT: TorqueUnit = TorqueUnit::NewtonMetre;
/// Width of a report's figure on A4, mm: 14 mm of margin left and right.
const PRINT_MM: f64 = 182.0;
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// A field made by hand: friction at every place within 2 cm of a pin.
fn grid_of(assessment: &Assessment, friction: impl Fn(f64, f64) -> f64) -> FieldGrid {
    let pins = &assessment.pins;
    let low = |of: fn(&PinResult) -> f64| pins.iter().map(of).fold(f64::MAX, f64::min) - 0.02;
    let high = |of: fn(&PinResult) -> f64| pins.iter().map(of).fold(f64::MIN, f64::max) + 0.02;
    let step_m = 0.004;
    let (from_x_m, from_y_m) = (low(|p| p.site.x_m), low(|p| p.site.y_m));
    let column_count = ((high(|p| p.site.x_m) - from_x_m) / step_m) as usize + 1;
    let row_count = ((high(|p| p.site.y_m) - from_y_m) / step_m) as usize + 1;
    let places = (0..row_count).flat_map(|row| (0..column_count).map(move |c| (c, row)));
    let cells = places.map(|(column, row)| {
        let x_m = from_x_m + step_m * column as f64;
        let y_m = from_y_m + step_m * row as f64;
        let near = |p: &PinResult| (p.site.x_m - x_m).hypot(p.site.y_m - y_m) < 0.02;
        let value = friction(x_m, y_m);
        pins.iter().any(near).then_some(GridCell {
            friction_nm: Estimate { value, u: 0.8 },
            holding_factor: Estimate { value: value / 2.8, u: 0.3 },
            loose_chance: if value < 5.0 { 0.9 } else { 0.02 },
            sound_share: value / 10.0,
        })
    });
    let cells = cells.collect();
    FieldGrid { from_x_m, from_y_m, step_m, column_count, row_count, cells }
}

/// The split plank's own field: loose about its loose pins.
fn split_grid(assessment: &Assessment) -> FieldGrid {
    let loose: Vec<(f64, f64)> = assessment
        .pins
        .iter()
        .filter(|pin| pin.zone.is_some())
        .map(|pin| (pin.site.x_m, pin.site.y_m))
        .collect();
    grid_of(assessment, |x_m, y_m| {
        let near = |(x, y): &(f64, f64)| (x - x_m).hypot(y - y_m) < 0.008;
        if loose.iter().any(near) { 2.5 } else { 11.0 }
    })
}

/// Values of an attribute, in order.
fn attribute<'a>(svg: &'a str, name: &str) -> Vec<&'a str> {
    let lead = format!(" {name}=\"");
    svg.split(&lead).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text} is no number"))
}

/// What must hold for every picture.
fn check(svg: &str) {
    assert!(svg.ends_with("</svg>"));
    for outside in ["url(", "href", "<image", "<script", " id="] {
        assert!(!svg.contains(outside), "{outside}");
    }
    for word in svg.split(|c: char| !c.is_ascii_alphanumeric()) {
        assert!(!["NaN", "inf"].contains(&word), "{word} in a picture");
    }
    let width = number(attribute(svg, "width")[0]);
    let smallest = attribute(svg, "font-size").into_iter().map(number).fold(f64::MAX, f64::min);
    let points = smallest * PRINT_MM / width * POINTS_PER_MM;
    assert!(points >= 6.0, "letters of {points:.2} pt on a printed page");
    #[cfg(feature = "png")]
    assert!(crate::report::raster::png(svg, 280).is_ok(), "not well-formed");
}

#[test]
fn letters_are_six_points_on_a4_and_files_small() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let grid = split_grid(&assessment);
    for view in View::ALL {
        for unit in [UNIT, TorqueUnit::InchPoundForce] {
            let svg = map(&model, Some(&grid), view, unit);
            check(&svg);
            assert!(svg.len() <= 300_000, "{} bytes", svg.len());
        }
        check(&overview(&model, Some(&grid), view, UNIT, Language::English));
        check(&detail(&model, None, view, UNIT, Language::English));
    }
}

/// Names under pins: x, baseline and text.
fn names(svg: &str) -> Vec<(f64, f64, String)> {
    let groups = svg.split("paint-order=\"stroke\">").skip(1);
    let inner: String = groups.filter_map(|rest| rest.split("</g>").next()).collect();
    inner
        .split("<text ")
        .skip(1)
        .map(|text| {
            let text = format!(" {text}");
            let (x, y) = (attribute(&text, "x")[0], attribute(&text, "y")[0]);
            let name = text.split(['>', '<']).nth(1).unwrap_or_default();
            (number(x), number(y), name.to_owned())
        })
        .collect()
}

#[test]
fn every_pin_has_its_name_and_no_name_touches_another() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let names = names(&detail(&model, None, View::Torque, UNIT, Language::English));
    let mut told: Vec<String> = names.iter().map(|(.., name)| name.clone()).collect();
    let mut pins: Vec<String> = assessment
        .pins
        .iter()
        .map(|pin| format!("{}{}", pin.pin.note, pin.pin.string.letter()))
        .collect();
    told.sort();
    pins.sort();
    assert_eq!(told, pins);
    for (i, (x, y, name)) in names.iter().enumerate() {
        for (other_x, other_y, other) in &names[i + 1..] {
            let apart = 0.5 * (words::width(name, LABEL) + words::width(other, LABEL));
            let clear = (x - other_x).abs() >= apart || (y - other_y).abs() >= LABEL;
            assert!(clear, "{name} runs into {other}");
        }
    }
}

#[test]
fn the_picture_alone_says_where_and_what() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let svg = map(&model, Some(&split_grid(&assessment)), View::Torque, UNIT);
    for words in [
        "Friction of the plank: the darker, the looser",
        "Seen from the player",
        "plate flange (string side)",
        "bass",
        "high treble",
        "ragged line inside the field",
        "pins read there are loose",
        "Read as: ",
        "neither proves nor clears a split",
        "under 3.4 failing",
        "N·m",
    ] {
        assert!(svg.contains(words), "{words} is missing");
    }
    let (loose, tight) = (assessment.zones[0].pins.len(), assessment.zones[0].tight_inside.len());
    let callout =
        format!("line inside the field, {loose} of {} pins loose: a split?", loose + tight);
    assert!(svg.contains(&callout), "{callout}");
    let inch =
        map(&model, Some(&split_grid(&assessment)), View::Torque, TorqueUnit::InchPoundForce);
    assert!(inch.contains("under 30 failing") && !inch.contains("N·m"));
}

/// The box of a path made of `M x y h w v h` runs.
fn extent(path: &str) -> (f64, f64, f64, f64) {
    let runs = path.split('M').skip(1).map(|run| {
        let mut numbers = run.split([' ', 'h', 'v']).map(number);
        let mut next = || numbers.next().expect("four numbers");
        (next(), next(), next())
    });
    runs.fold((f64::MAX, f64::MAX, f64::MIN, f64::MIN), |(l, t, r, b), (x, y, w)| {
        (l.min(x), t.min(y), r.max(x + w), b.max(y))
    })
}

#[test]
fn the_dark_part_of_the_plank_is_where_its_loose_pins_are() {
    let (instrument, assessment) = split_plank();
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let svg =
        overview(&model, Some(&split_grid(&assessment)), View::Torque, UNIT, Language::English);
    let darkest = view::SHADES[view::CLASS_COUNT - 1];
    let end = svg.find(&format!("\" fill=\"{darkest}\" shape")).expect("a dark part");
    let start = svg[..end].rfind("d=\"").expect("a path") + 3;
    let (left, top, right, bottom) = extent(&svg[start..end]);
    let field = Field::new(&assessment.pins, instrument.kind);
    let frame = Frame::glance(field, 0.0, Language::English);
    let loose: Vec<Point> =
        assessment.pins.iter().filter(|pin| pin.zone.is_some()).map(|pin| frame.pin(pin)).collect();
    let from = loose.iter().map(|p| p.0).fold(f64::MAX, f64::min);
    let to = loose.iter().map(|p| p.0).fold(f64::MIN, f64::max);
    assert!((left - from).abs() < 12.0 && (right - to).abs() < 12.0, "{left} {right}: {from} {to}");
    assert!(bottom - top < 50.0, "one row of three, not the depth: {top} {bottom}");
    let bare = overview(&model, None, View::Torque, UNIT, Language::English);
    assert!(!bare.contains("crispEdges") && bare.contains("Too few comparable readings"));
}

#[test]
fn a_bad_hole_is_told_from_a_bad_place() {
    let (instrument, assessment) = assessed(&Condition::default(), |place: &FieldPin, sound| {
        let line = place.row == 1 && (30..=44).contains(&place.pin.note);
        let hole = place.pin == pin(70, 'R');
        if line || hole { sound * 0.3 } else { sound }
    });
    let model = MapModel { instrument: &instrument, assessment: &assessment };
    let of = |note, letter| {
        let found = assessment.pins.iter().position(|p| p.pin == pin(note, letter));
        look(&assessment, found.expect("a pin"), View::Residual)
    };
    assert_eq!(of(70, 'R'), crate::report::legend::BAD_HOLE);
    assert_eq!(of(38, 'C'), crate::report::legend::BAD_PLACE);
    assert_eq!(of(60, 'L'), crate::report::legend::ORDINARY);
    let svg = map(&model, None, View::Residual, UNIT);
    assert!(svg.contains("looser than its own neighbours: a bad hole"));
    assert!(svg.contains("loose with its neighbours: a bad place"));
}

fn assess_all(instrument: &Instrument, friction_nm: f64) -> Assessment {
    let read = |p: &FieldPin| reading(p.pin.note, p.pin.string.letter(), friction_nm, 2.8);
    let readings: Vec<PinReading> = instrument.pins.iter().map(read).collect();
    let condition = Condition::default();
    let input = AssessmentInput { instrument, readings: &readings, condition: &condition, seed: 1 };
    assess(&input, &Profile { bootstrap_count: 99, ..Profile::default() })
}

#[test]
fn odd_instruments_make_whole_pictures() {
    let mut odd: Vec<Instrument> = Vec::new();
    for count in [0, 1, 2, 5] {
        let mut few = grand();
        few.pins.truncate(count);
        odd.push(few);
    }
    let mut four = grand();
    four.pins = (1..=40u8)
        .flat_map(|note| "LCRD".chars().enumerate().map(move |(row, of)| (note, row, of)))
        .map(|(note, row, letter)| {
            let mut place = grand().pins[0].clone();
            place.pin = pin(note, letter);
            (place.x_m, place.y_m) = (0.012 * f64::from(note), 0.02 * row as f64);
            place.row = row as u8;
            place
        })
        .collect();
    odd.push(four);
    // Every pin in one place, far away, and none.
    for place in [0.0, 1e9, -3e4, f64::NAN, f64::INFINITY] {
        let mut heap = grand();
        heap.pins.iter_mut().for_each(|p| (p.x_m, p.y_m) = (place, place));
        odd.push(heap);
    }
    let mut tall = grand();
    tall.pins.iter_mut().for_each(|p| p.y_m *= 400.0);
    odd.push(tall);
    for mut instrument in odd {
        instrument.name = format!("{HOSTILE}\u{ffff}{}", "endless ".repeat(500));
        for kind in [InstrumentKind::Grand, InstrumentKind::Upright] {
            instrument.kind = kind;
            let assessment = assess_all(&instrument, 3.0);
            let model = MapModel { instrument: &instrument, assessment: &assessment };
            let hole = FieldGrid {
                step_m: 0.0,
                column_count: usize::MAX,
                row_count: 3,
                ..FieldGrid::default()
            };
            for grid in [None, Some(&hole)] {
                check(&map(&model, grid, View::Loose, UNIT));
            }
            check(&crate::report::map_picture(&model, View::Torque, UNIT));
        }
    }
}

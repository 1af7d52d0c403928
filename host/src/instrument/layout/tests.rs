//! Fields laid out by compass and stringing, and from descriptions.

use proptest::prelude::*;

use super::*;
use crate::instrument::parse_pin;
use crate::instrument::places;
use crate::instrument::stringing::strings_of_unison;

fn grand(stringing: &Stringing) -> Instrument {
    lay_out("g", InstrumentKind::Grand, stringing, &LayoutParameters::default())
}

fn nearest_neighbour_m(instrument: &Instrument, of: usize) -> f64 {
    let here = &instrument.pins[of];
    let others = instrument.pins.iter().enumerate().filter(|(index, _)| *index != of);
    others
        .map(|(_, pin)| {
            let (dx, dy) = (pin.x_m - here.x_m, pin.y_m - here.y_m);
            (dx * dx + dy * dy).sqrt()
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn pins_of_every_common_field_keep_their_distances() {
    for stringing in [
        Stringing::modern_88(),
        Stringing::modern_85(),
        Stringing::from_groups(1, 8, 5, 75).unwrap(),
        Stringing::new(20, vec![4; 50]).unwrap(),
    ] {
        let field = grand(&stringing);
        assert_eq!(field.pins.len(), stringing.pin_count());
        assert!(field.pins.is_sorted_by_key(|pin| pin.pin));
        for index in 0..field.pins.len() {
            let nearest_m = nearest_neighbour_m(&field, index);
            // Pins of 7 mm with room for coils; none stands alone inside the field.
            assert!((0.0130..0.0260).contains(&nearest_m), "{index}: {nearest_m}");
        }
    }
}

#[test]
fn an_88_note_field_has_a_bass_block_and_struts() {
    let field = grand(&Stringing::modern_88());
    assert_eq!(field.pins.iter().map(|pin| pin.section).max(), Some(3));
    assert!(field.pins.iter().all(|pin| (pin.section == 0) == (pin.pin.note <= 27)));
    for section in 1..4 {
        let end = |of: u8| field.pins.iter().filter(move |pin| pin.section == of);
        let below_m = end(section - 1).map(|pin| pin.x_m).fold(0.0, f64::max);
        let above_m = end(section).map(|pin| pin.x_m).fold(f64::INFINITY, f64::min);
        // 30 to 60 mm of strut beyond the pitch.
        assert!((0.043..0.075).contains(&(above_m - below_m)));
    }
    let depth_m = field.pins.iter().map(|pin| pin.y_m).fold(0.0, f64::max);
    assert!((0.036..0.055).contains(&depth_m), "three rows 18 to 25 mm apart: {depth_m}");
}

#[test]
fn trichords_put_one_string_in_each_row_by_the_order_given() {
    let parameters = LayoutParameters {
        row_of_string: [2, 1, 0, 3],
        flange_to_row0_m: Some(0.02),
        ..LayoutParameters::default()
    };
    let kind = InstrumentKind::Upright;
    let field = lay_out("u", kind, &Stringing::modern_88(), &parameters);
    for note in 28..=88 {
        let rows: Vec<u8> =
            field.pins.iter().filter(|pin| pin.pin.note == note).map(|pin| pin.row).collect();
        assert_eq!(rows, [2, 1, 0], "note {note}");
    }
    assert!(field.pins.iter().all(|pin| {
        pin.flange_distance_m.is_some_and(|distance_m| (distance_m - 0.02 - pin.y_m).abs() < 1e-12)
    }));
}

#[test]
fn odd_compasses_are_laid_out_too() {
    for (first, counts) in
        [(88, vec![4]), (1, vec![1]), (1, vec![3; 88]), (60, vec![1, 4, 2, 3]), (40, vec![2; 49])]
    {
        let stringing = Stringing::new(first, counts).unwrap();
        let field = grand(&stringing);
        assert_eq!(field.pins.len(), stringing.pin_count());
        assert!(field.pins.iter().all(|pin| pin.x_m.is_finite() && pin.section < 8));
    }
}

/// The least a description says, more lines after it.
fn described(more: &str) -> Result<Instrument, LayoutError> {
    let head = "format = 'pinhold.layout'\nversion = 1\nkind = 'grand'\ncompass = 'A0..C8'\n";
    Layout::parse(&format!("{head}{more}")).map(|layout| layout.instrument("x"))
}

fn place(instrument: &Instrument, name: &str) -> FieldPin {
    instrument.find_pin(parse_pin(name).unwrap()).unwrap().clone()
}

#[test]
fn kind_and_compass_alone_are_a_whole_field() {
    assert_eq!(described("").unwrap().pins, grand(&Stringing::modern_88()).pins);
}

#[test]
fn built_in_layouts_have_the_pins_of_their_stringing() {
    for (word, pin_count, section_count) in
        [("grand-88", 227, 4), ("upright-88", 227, 3), ("grand-85", 218, 4), ("upright-85", 218, 3)]
    {
        let (layout, _) = builtin(word).unwrap();
        let instrument = layout.instrument("x");
        assert_eq!(instrument.pins.len(), pin_count, "{word}");
        assert!(word.starts_with(instrument.kind.word()), "{word}");
        let notes = instrument.last_note - instrument.first_note + 1;
        assert!(word.ends_with(&notes.to_string()), "{word}");
        let last_section = instrument.pins.last().unwrap().section;
        assert_eq!(last_section + 1, section_count, "{word}");
        assert_eq!(instrument.face, PlateFace::Full);
        assert!(instrument.pins.iter().all(|field| field.flange_distance_m.is_none()));
    }
    assert_eq!(builtin("grand"), None);
    assert_eq!(BUILTIN_WORDS.len(), 4);
}

#[test]
fn published_stringings_give_their_pins() {
    // PRAC: pins = singles + 2·bichords + 3·trichords.
    for (stringing, pin_count) in [("10/17/61", 227), ("14/18/56", 218), ("8/5/75", 243)] {
        let field = described(&format!("stringing = '{stringing}'\n")).unwrap();
        assert_eq!(field.pins.len(), pin_count, "{stringing}");
    }
}

#[test]
fn every_fact_of_a_description_reaches_its_pins() {
    let field = described(
        "face = 'three-quarter'\nstringing = '10/17/61'\npin_mm = 7\nmissing = ['88R', 'C8 C']\n\
         [strings]\n'80..82' = 4\n[pin_sizes]\n'A0..10' = 7.25\n\
         [flange]\ndistance_mm = 12\ncurve_mm = [[0, 30], [300, 0]]\n\
         [[section]]\nlast = 'B2'\nrows = 3\npitch_mm = 15\ngap_mm = 60\nrow0_mm = 10\n\
         [[section]]\nlast = 'E5'\nrows_of.trichord = [2, 0, 1]\nslant_mm = -4\npin_mm = 7.1\n\
         [[section]]\nrow_spacing_mm = 19\nflange_mm = 20\n\
         [[pin]]\npin = '40D'\nx_mm = 500\ny_mm = 63\nrow = 3\n\
         [[pin]]\npin = '41L'\npin_mm = 7.5\n",
    )
    .unwrap();
    assert_eq!(field.pins.len(), 227 + 3 - 2 + 1);
    assert_eq!(field.face, PlateFace::ThreeQuarter);
    assert_eq!(field.last_note, 88);
    // Bass: dealt over three rows, a third of 15 mm from pin to pin.
    let (c1, l11, r11) = (place(&field, "1C"), place(&field, "11L"), place(&field, "11R"));
    assert_eq!([c1.row, place(&field, "2C").row, place(&field, "3C").row], [0, 1, 2]);
    assert_eq!((c1.x_m, c1.y_m, place(&field, "3C").x_m), (0.0, 0.01, 0.01));
    assert_eq!((l11.row, l11.y_m, r11.row, r11.y_m), (1, 0.031, 2, 0.052));
    // The flange is 30 mm farther at the bass end and comes nearer up to 300 mm.
    assert_eq!(c1.flange_distance_m, Some(0.052));
    assert_eq!(place(&field, "3C").flange_distance_m, Some(0.093));
    assert_eq!((c1.diameter_um, l11.diameter_um), (Some(7250), Some(7000)));
    // Tenor: a strut of 60 mm beyond a pitch of 15, rows as given, slanted to the bass.
    let last_bass_m = place(&field, "27R").x_m;
    let start_m = last_bass_m + 0.075;
    let (l, c, r) = (place(&field, "28L"), place(&field, "28C"), place(&field, "28R"));
    assert_eq!([l.row, c.row, r.row], [2, 0, 1]);
    assert!((c.x_m - start_m).abs() < 1e-9 && (l.x_m - start_m + 0.008).abs() < 1e-9);
    assert_eq!((l.section, l.diameter_um), (1, Some(7100)));
    assert_eq!(place(&field, "41L").diameter_um, Some(7500));
    // Treble: four strings, rows 19 mm apart, a flange of its own.
    let (fourth, left) = (place(&field, "80D"), place(&field, "80L"));
    assert_eq!((fourth.row, fourth.y_m, left.y_m), (3, 0.057, 0.0));
    assert_eq!(left.flange_distance_m, Some(0.02));
    let extra = place(&field, "40D");
    assert_eq!((extra.x_m, extra.row, extra.section, extra.diameter_um), (0.5, 3, 1, None));
}

#[test]
fn faulty_descriptions_are_told_by_line_and_key() {
    for (more, sentence) in [
        ("compass = 'A0..C8'\n", "line 5: "),
        ("pich_mm = 13\n", "line 5: unknown field `pich_mm`"),
        ("pitch_mm = 3\n", "line 5, pitch_mm: 3 mm is not within 8 to 40 mm"),
        ("pitch_mm = nan\n", "line 5, pitch_mm: NaN mm is not"),
        ("pitch_mm = '13'\n", "line 5: invalid type: string"),
        ("stringing = '10/17/60'\n", "line 5, stringing: 87 notes are strung"),
        ("face = 'shut'\n", "line 5, face: use full, three-quarter or open"),
        ("face = 'open'\n[flange]\ndistance_mm = 12\n", "line 7, flange: an open plank"),
        ("face = 'open'\nsection = [{ flange_mm = 9 }]\n", "line 6, flange: an open plank"),
        ("[strings]\n'1..4' = 2\n'4..6' = 3\n", "line 7, strings: note 4 is in two ranges"),
        ("[strings]\n'1..2' = 2\n'A0..A#0' = 3\n", "line 7, strings: note 1 is in two"),
        ("[strings]\n'1' = 5\n", "line 6, strings: 5 is not within 1 to 4"),
        ("[strings]\n'H1' = 2\n", "line 6: 'H1' are no notes"),
        ("missing = ['1L']\n", "line 5, missing: pin A0 L is not there anyway"),
        ("missing = ['88R', 'C8R']\n", "line 5, missing: pin C8 R is named twice"),
        ("missing = ['x\u{1b}[2J']\n", "line 5: "),
        ("[[section]]\nlast = 30\n", "line 6, last: the highest section ends with the compass"),
        ("[[section]]\nlast = 30\n[[section]]\nlast = 20\n", "line 8, last: "),
        ("[[section]]\n[[section]]\n", "line 5, last: every section but the highest"),
        ("[[section]]\nlast = 'H1'\n", "line 6: 'H1' is no note"),
        ("[[section]]\narrangement = 'heap'\n", "line 6, arrangement: use dealt"),
        ("[[section]]\nrows = 17\n", "line 6, rows: 17 is not within 1 to 16"),
        ("[[section]]\nrows = 2\ndeal = [0, 2]\n", "line 7, deal: row 2 is not within 0 to 1"),
        ("[[section]]\ndeal = []\n", "line 6, deal: 1 to 32 rows"),
        ("[rows_of]\ntrichord = [0, 1]\n", "line 6, rows_of.trichord: write one row for each"),
        ("[rows_of]\ntrichord = [0, 1, 1]\n", "line 6, rows_of.trichord: write one row for each"),
        ("[flange]\ndistance_mm = 9\ncurve_mm = [[9, 0], [9, 1]]\n", "line 7, flange.curve_mm: "),
        ("[flange]\ndistance_mm = 9\ncurve_mm = [[0, -20]]\n", "the flange would lie 11.0 mm"),
        ("[[pin]]\npin = '40L'\n", "line 6, pin: nothing is said of this pin"),
        ("[[pin]]\npin = '40D'\nrow = 3\n", "line 6: a pin that is added needs its place"),
        ("[[pin]]\npin = '40L'\nx_mm = 2900\n", "line 6: pin C4 L would stand"),
        ("[[pin]]\npin = '40L'\nrow = 1\n", "line 6: pins C4 L and C4 C would stand 4.5 mm apart"),
        ("pin_sizes = { '1..9' = 71 }\n", "line 5, pin_sizes: a pin of 71 mm"),
        ("pitch_mm = 8\n", "pins "),
        ("pitch_mm = 40\n", "pin "),
        ("][", "line 5: it is not TOML: "),
    ] {
        let outcome = described(more);
        let told = outcome.unwrap_err().to_string();
        assert!(told.starts_with(sentence), "{more:?}: {told}");
        assert!(!told.chars().any(char::is_control), "{told:?}");
    }
}

#[test]
fn a_single_pin_may_stand_nearer_than_a_layout_puts_pins() {
    // 9 mm from a neighbour: a person says it is so, and the pins do not overlap.
    let near = described("[[pin]]\npin = '40L'\nx_mm = 506.25\ny_mm = 33\nrow = 2\n").unwrap();
    assert_eq!(place(&near, "40L").row, 2);
    let rows: String = [("40L", 2), ("40R", 0)]
        .iter()
        .map(|(pin, row)| format!("[[pin]]\npin = '{pin}'\nrow = {row}\nx_mm = 511.25\n"))
        .collect();
    assert!(described(&rows).unwrap_err().to_string().contains("apart"));
}

#[test]
fn other_formats_and_versions_are_told_apart() {
    for text in ["", "version = 1", "format = 'x'\nversion = 1", "format = 'pinhold.layout'"] {
        assert_eq!(Layout::parse(text), Err(LayoutError::OtherFormat), "{text}");
    }
    let newer = Layout::parse("format = 'pinhold.layout'\nversion = 2\nnew = 1");
    assert_eq!(newer, Err(LayoutError::OtherVersion { version: 2 }));
    let long = "#".repeat(TEXT_BYTES_MAX + 1);
    assert!(matches!(Layout::parse(&long), Err(LayoutError::TooLarge { .. })));
    let deep = format!("x = {}", "[".repeat(100_000));
    assert!(matches!(Layout::parse(&deep), Err(LayoutError::Syntax { .. })));
}

#[test]
fn an_instrument_describes_itself_and_comes_back() {
    let (layout, origin) = builtin("upright-88").unwrap();
    let mut instrument = layout.instrument("x");
    let text = describe(&instrument, origin).unwrap();
    assert!(!text.contains("[[pin]]"), "{text}");
    let at = |x_m, y_m| Correction { x_m: Some(x_m), y_m: Some(y_m), ..Correction::default() };
    let pin = |name| parse_pin(name).unwrap();
    let (old, far) = (place(&instrument, "40L"), place(&instrument, "88R"));
    places::correct(&mut instrument, pin("40L"), &at(old.x_m + 0.002, 0.001)).unwrap();
    places::remove(&mut instrument, pin("70C")).unwrap();
    places::add(&mut instrument, pin("88D"), &at(far.x_m, far.y_m + 0.02)).unwrap();
    for field in instrument.pins.iter_mut().filter(|field| field.pin.note <= 30) {
        field.diameter_um = Some(7000 + 100 * u32::from(field.pin.note == 12));
    }
    let correction = Correction { diameter_um: Some(7400), ..Correction::default() };
    places::correct(&mut instrument, pin("20L"), &correction).unwrap();
    let text = describe(&instrument, origin).unwrap();
    assert_eq!(text.matches("[[pin]]").count(), 4, "{text}");
    assert!(text.contains("missing = [\"70C\"]"), "{text}");
    assert_eq!(Layout::parse(&text).unwrap().instrument("x"), instrument);
    // Without its origin it still comes back, with more lines.
    let text = describe(&instrument, "").unwrap();
    assert_eq!(Layout::parse(&text).unwrap().instrument("x"), instrument);
}

#[test]
fn size_and_plate_of_a_whole_layout_are_changed() {
    let text = "format = 'pinhold.layout'\nversion = 1\nkind = 'grand'\ncompass = '20..60'\n\
                [flange]\ndistance_mm = 14\n[[pin]]\npin = '40L'\npin_mm = 7.5\n\
                [[pin]]\npin = '41D'\nx_mm = 500\ny_mm = 90\nflange_mm = 100\n\
                [[pin]]\npin = '42L'\nflange_mm = 20\n";
    let layout = Layout::parse(text).unwrap();
    assert_eq!(layout.instrument("x").find_pin(parse_pin("41D").unwrap()).unwrap().row, 2);
    let changed = layout.with_diameter(7100).with_face(PlateFace::Open);
    let field = changed.instrument("x");
    assert!(field.pins.iter().all(|field| field.diameter_um == Some(7100)));
    assert!(field.pins.iter().all(|field| field.flange_distance_m.is_none()));
    assert_eq!(Layout::parse(&changed.to_text()).unwrap(), changed);
}

#[test]
fn most_of_the_descriptions_tried_below_are_laid_out() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;

    // Else the test below would look at refusals alone.
    let mut runner = TestRunner::deterministic();
    let laid_out = (0..200)
        .filter(|_| Layout::parse(&any_text().new_tree(&mut runner).unwrap().current()).is_ok())
        .count();
    assert!(laid_out > 80, "{laid_out} of 200");
}

#[test]
fn a_flange_known_of_some_pins_only_comes_back_too() {
    let text = "format = 'pinhold.layout'\nversion = 1\nkind = 'grand'\ncompass = 'A0..C8'\n\
                [flange]\ndistance_mm = 14\n";
    let mut instrument = Layout::parse(text).unwrap().instrument("x");
    for field in instrument.pins.iter_mut().filter(|field| field.pin.note > 80) {
        field.flange_distance_m = None;
    }
    let described = describe(&instrument, text).unwrap();
    assert_eq!(Layout::parse(&described).unwrap().instrument("x"), instrument);
}

/// Facts of a description, all of them possible by themselves.
fn any_text() -> impl Strategy<Value = String> {
    let counts = prop::collection::vec(1_u8..=4, 1..=88);
    let shape = (counts, 0_u8..88, any::<bool>(), 0_usize..3, any::<bool>());
    let measures = (110_u32..170, 180_u32..260, 300_u32..700, prop::option::of(-60_i32..60));
    let rows = prop::sample::subsequence((0_u8..6).collect::<Vec<u8>>(), 4).prop_shuffle();
    let cuts = prop::collection::btree_set(1_u8..88, 0..7);
    let flange = prop::option::of((0_u32..400, 0_u32..300));
    (shape, measures, rows, cuts, flange).prop_map(|(shape, measures, rows, cuts, flange)| {
        let (counts, first, grand, face, sized) = shape;
        let first = 1 + first.min(88 - counts.len() as u8);
        let last = first + counts.len() as u8 - 1;
        let face = PlateFace::ALL[face];
        let (pitch, spacing, gap, slant) = measures;
        let mut text = format!(
            "format = 'pinhold.layout'\nversion = 1\nkind = '{}'\ncompass = '{first}..{last}'\n\
             face = '{face}'\npitch_mm = {}\nrow_spacing_mm = {}\ngap_mm = {}\n",
            if grand { "grand" } else { "upright" },
            f64::from(pitch) / 10.0,
            f64::from(spacing) / 10.0,
            f64::from(gap) / 10.0,
        );
        if let Some(slant) = slant {
            text.push_str(&format!("slant_mm = {}\n", f64::from(slant) / 10.0));
        }
        if sized {
            text.push_str("pin_mm = 7.12\n");
        }
        text.push_str("[strings]\n");
        for (note, count) in (first..).zip(&counts) {
            text.push_str(&format!("'{note}' = {count}\n"));
        }
        text.push_str(&format!(
            "[rows_of]\nsingle = {:?}\nbichord = {:?}\ntrichord = {:?}\nfour = {rows:?}\n",
            &rows[..1],
            &rows[..2],
            &rows[..3]
        ));
        if let Some((distance, farther)) = flange.filter(|_| face != PlateFace::Open) {
            let (distance, farther) = (f64::from(distance) / 10.0, f64::from(farther) / 10.0);
            text.push_str(&format!(
                "[flange]\ndistance_mm = {distance}\ncurve_mm = [[0, {farther}], [400, 0]]\n"
            ));
        }
        for cut in cuts.into_iter().filter(|cut| (first..last).contains(cut)) {
            text.push_str(&format!("[[section]]\nlast = {cut}\n"));
        }
        text.push_str("[[section]]\n");
        text
    })
}

/// What a slip of the finger puts into a text.
const JUNK: [&str; 11] = ["", "\n", "-", "e9", "'", "[[", "nan", "99", "\u{1b}", "=", "."];

proptest! {
    #[test]
    fn any_description_gives_distinct_finite_places_in_their_rows(text in any_text()) {
        let layout = match Layout::parse(&text) {
            Ok(layout) => layout,
            // The measures may still crowd some pins; that must be what is said.
            Err(error @ LayoutError::Crowded { .. }) => {
                prop_assert!(error.to_string().contains(" mm apart"), "{error}");
                return Ok(());
            }
            Err(error) => return Err(TestCaseError::fail(error.to_string())),
        };
        let field = layout.instrument("x");
        let stringing = &layout.description.stringing;
        prop_assert_eq!(field.pins.len(), stringing.pin_count());
        prop_assert!(field.pins.is_sorted_by_key(|field| field.pin));
        for index in 0..field.pins.len() {
            let pin = &field.pins[index];
            prop_assert!(pin.x_m.is_finite() && pin.y_m.is_finite());
            prop_assert!(pin.section < SECTION_COUNT_MAX);
            prop_assert!(pin.flange_distance_m.is_none_or(|d| d >= pin.y_m - 1e-9));
            let nearest_m = nearest_neighbour_m(&field, index);
            prop_assert!(nearest_m >= PIN_DISTANCE_M_MIN - 2e-6, "{nearest_m}");
            let below = field.pins.iter().filter(|other| other.section == pin.section);
            for other in below.filter(|other| other.row < pin.row) {
                prop_assert!(other.y_m < pin.y_m, "row {} beyond row {}", other.row, pin.row);
            }
        }
        for note in field.first_note..=field.last_note {
            let strings: Vec<_> = field
                .pins
                .iter()
                .filter(|field| field.pin.note == note)
                .map(|field| field.pin.string)
                .collect();
            prop_assert_eq!(&strings[..], strings_of_unison(stringing.string_count(note)));
        }
        prop_assert_eq!(&Layout::parse(&layout.to_text()).unwrap(), &layout);
        let described = describe(&field, &text).unwrap();
        prop_assert_eq!(Layout::parse(&described).unwrap().instrument("x"), field.clone());
        let guessed = describe(&field, "").unwrap();
        prop_assert_eq!(Layout::parse(&guessed).unwrap().instrument("x"), field);
    }

    #[test]
    fn a_description_broken_anywhere_is_refused_in_words(
        text in any_text(),
        at in any::<prop::sample::Index>(),
        junk in prop::sample::select(JUNK.to_vec()),
    ) {
        let at = at.index(text.len());
        let broken = format!("{}{junk}{}", &text[..at], &text[(at + 1).min(text.len())..]);
        match Layout::parse(&broken) {
            Ok(layout) => {
                let field = layout.instrument("x");
                prop_assert!(!field.pins.is_empty());
                prop_assert!(field.pins.iter().all(|f| f.x_m.is_finite() && f.y_m.is_finite()));
            }
            Err(error) => {
                let told = error.to_string();
                prop_assert!(!told.is_empty() && !told.chars().any(char::is_control), "{told:?}");
            }
        }
    }

    #[test]
    fn any_bytes_are_refused_in_words(text in "\\PC{0,200}") {
        prop_assert!(!Layout::parse(&text).unwrap_err().to_string().is_empty());
    }
}

//! What people hand over: tables of readings, strings and loads, a calibration's bench, quantities
//! with their units, names of notes, pins and stringings.

use pinhold::calibration::bench::Bench;
use pinhold::calibration::{Choices, evaluate, load_table};
use pinhold::exchange::{bundle, json};
use pinhold::import::{self, places};
use pinhold::instrument::InstrumentKind;
use pinhold::instrument::layout::{Layout, modern_88};
use pinhold::instrument::moment::string_on_pin;
use pinhold::instrument::note::parse_note;
use pinhold::instrument::pitch_cost::PitchBound;
use pinhold::instrument::scale::StringScale;
use pinhold::instrument::stringing::Stringing;
use pinhold::metrology::lack_of_fit::line_or_quadratic;
use pinhold::metrology::least_squares::Observations;
use pinhold::text;
use pinhold::units::{parse_length_m, parse_mass_kg, parse_temperature_c, parse_torque};

/// For [`run`].
pub fn seeds() -> Vec<Vec<u8>> {
    [
        "note,string,sharp_nm,flat_nm\nA4,L,9.3,4.1\n49,C,8,3\n",
        "note;string;friction_inlb;remark\n1;C;61,5;\"a, b\"\n",
        "\u{feff}note\tstring\tsharp_kgfcm\tkind\nC#3\tR\t88\tpeak\n",
        "note,string,speaking_length_mm,wire,wound_mass_g_per_m,total_length_in\n\
         A0,C,1400,20,160,\nA4,,398,16,,\nA4,R,15 5/8 in,0.95 mm,,28\n",
        "# x\nnote;speaking_length_cm;wire_mm;winding;wrap_mm;packing\nE1;133;1,1;iron;0,9;0,8\n",
        "load,reading\n0,0.1\n5,10.2\n10,20.1\n20,40.4\n",
        "52 in-lb,5.9 N·m,250 mm,2 kg,70 F,15 5/8 in",
        r#"{"masses":[{"name":"a","mass_kg":{"value":1.0,"u":0.001}}],"positions":[],"points":[],
            "gravity":{"value_m_s2":{"value":9.81,"u":0.001},"source":"typed"},"seatings":[]}"#,
        "format = 'pinhold.layout'\nversion = 1\nkind = 'grand'\ncompass = 'A0..C8'\n\
         [flange]\ndistance_mm = 14\n[[section]]\nlast = 40\n[[section]]\n\
         [[pin]]\npin = '40L'\nx_mm = 500\n",
        "note,string,x_mm,y_mm,flange_mm,pin_mm\nC4,L,512.5,1.5,14,7.1\n40,D,530,80,,\n",
        "10/17/61",
        "A4L,12-25",
        "5579d36d2e84061b {\"format\":\"pinhold.bundle\",\"version\":1}\n",
        "{\"format\":\"pinhold.instrument.export\",\"version\":1,\"records\":[\n\
         {\"kind\":\"lever\",\"row\":{\"device\":\"000000000000abcd\"}}\n]}\n",
    ]
    .map(|text| text.as_bytes().to_vec())
    .to_vec()
}

/// A file, or a word on the command line.
pub fn run(bytes: &[u8]) {
    if let Ok(rows) = import::parse(bytes) {
        assert!(!rows.is_empty() && rows.len() <= import::ROW_COUNT_MAX);
        if let Some(made) = import::field::make_instrument("x", InstrumentKind::Grand, &rows) {
            assert!(import::field::foreign_rows(&made.instrument, &rows).is_empty());
        }
    }
    strings(bytes);
    exchanged(bytes);
    field(bytes);
    loads(bytes);
    bench(bytes);
    let words = String::from_utf8_lossy(bytes);
    let shown = text::printable(&words);
    assert!(!shown.chars().any(char::is_control), "{shown:?}");
    for word in words.split(',').take(8) {
        if let Some(note) = parse_note(word) {
            assert!((1..=88).contains(&note));
        }
        quantities(word);
        if let Ok(stringing) = Stringing::from_text(word, 1, 88) {
            assert!(stringing.pin_count() >= 88);
        }
    }
}

/// An exported instrument: read to its end or refused in a sentence.
fn exchanged(bytes: &[u8]) {
    let mut count = 0_u64;
    let read = bundle::read(&mut &bytes[..], &mut |_, _| {
        count += 1;
        Ok(())
    });
    if let Ok(report) = read {
        assert_eq!(report.record_count, count);
    }
    if let Err(error) = json::read(&mut &bytes[..], &mut |_| Ok(())) {
        assert!(!error.to_string().chars().any(char::is_control), "{error:?}");
    }
}

/// A string scale: what is taken gives every pin of an instrument a string that can be.
fn strings(bytes: &[u8]) {
    let rows = match import::strings::parse(bytes, 440.0) {
        Ok(rows) => rows,
        Err(error) => {
            let sentence = error.to_string().replace('\n', "");
            assert!(!sentence.chars().any(char::is_control), "{sentence:?}");
            return;
        }
    };
    assert!(!rows.is_empty() && rows.len() <= import::strings::ROW_COUNT_MAX);
    let mut instrument = modern_88("x", InstrumentKind::Grand);
    let rows = rows.iter().map(|row| row.row).collect();
    instrument.strings = StringScale { a4_hz: 440.0, rows };
    for field in instrument.pins.iter().filter(|field| field.pin.note.is_multiple_of(5)) {
        let string = string_on_pin(&instrument, field.pin, field.diameter_um);
        for estimate in [string.tension_n, string.moment_nm] {
            assert!(estimate.value.is_finite() && estimate.value > 0.0, "{string:?}");
            assert!(estimate.u.is_finite() && estimate.u > 0.0, "{string:?}");
        }
        let bound = PitchBound::of(&instrument, field.pin);
        assert!(bound.cents_per_degree.is_finite() && bound.cents_per_degree > 0.0, "{bound:?}");
    }
}

/// A layout, or measured positions: what is taken is a field of finite places, and comes back.
fn field(bytes: &[u8]) {
    if let Ok(layout) = Layout::parse(&String::from_utf8_lossy(bytes)) {
        let instrument = layout.instrument("x");
        assert!(instrument.pins.iter().all(|pin| pin.x_m.is_finite() && pin.y_m.is_finite()));
        assert_eq!(Layout::parse(&layout.to_text()).as_ref(), Ok(&layout));
    }
    let Ok(rows) = places::parse(bytes) else { return };
    let instrument = modern_88("x", InstrumentKind::Grand);
    if let Ok(placed) = places::apply(&instrument, &rows, true) {
        let pins = &placed.instrument.pins;
        assert!(pins.iter().all(|pin| pin.x_m.is_finite() && pin.y_m.is_finite()));
        assert!(pins.is_sorted_by_key(|field| field.pin));
    }
}

/// A table of loads and readings: what is taken can be fitted or is refused in words.
fn loads(bytes: &[u8]) {
    let Ok(table) = load_table::parse(bytes) else { return };
    assert_eq!(table.loads.len(), table.readings.len());
    assert!(table.loads.iter().chain(&table.readings).all(|number| number.is_finite()));
    let observations = Observations::equal(&table.readings);
    if let Ok(choice) = line_or_quadratic(&table.loads, observations, 0.01) {
        let coefficients = &choice.curve.fit.coefficients;
        assert!(coefficients.iter().all(|number| number.is_finite()), "{coefficients:?}");
    }
}

/// A bench written down by somebody else: constants come out finite or a sentence does.
fn bench(bytes: &[u8]) {
    let Ok(bench) = serde_json::from_slice::<Bench>(bytes) else { return };
    match evaluate(&bench, &Choices { number: 1, insist: true }) {
        Ok(result) => {
            let constants = result.constants;
            let numbers =
                [constants.zero_code, constants.span_nm_per_count, constants.weight_moment_nm];
            assert!(numbers.iter().all(|number| number.is_finite()), "{constants:?}");
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// Quantities as typed: a number that is one, or a sentence without control characters.
fn quantities(word: &str) {
    let read = [
        parse_torque(word, None),
        parse_length_m(word, None),
        parse_mass_kg(word, None),
        parse_temperature_c(word, None),
    ];
    for quantity in read {
        match quantity {
            Ok(value) => assert!(value.is_finite(), "{word:?}"),
            Err(error) => {
                let sentence = error.to_string();
                assert!(!sentence.chars().any(char::is_control), "{sentence:?}");
            }
        }
    }
}

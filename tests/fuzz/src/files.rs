//! What people hand over: tables of readings, names of notes, pins and stringings.

use pinhold::import;
use pinhold::instrument::InstrumentKind;
use pinhold::instrument::note::parse_note;
use pinhold::instrument::stringing::Stringing;
use pinhold::text;

/// For [`run`].
pub fn seeds() -> Vec<Vec<u8>> {
    [
        "note,string,sharp_nm,flat_nm\nA4,L,9.3,4.1\n49,C,8,3\n",
        "note;string;friction_inlb;remark\n1;C;61,5;\"a, b\"\n",
        "\u{feff}note\tstring\tsharp_kgfcm\tkind\nC#3\tR\t88\tpeak\n",
        "10/17/61",
        "A4L,12-25",
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
    let words = String::from_utf8_lossy(bytes);
    let shown = text::printable(&words);
    assert!(!shown.chars().any(char::is_control), "{shown:?}");
    for word in words.split(',').take(8) {
        if let Some(note) = parse_note(word) {
            assert!((1..=88).contains(&note));
        }
        if let Ok(stringing) = Stringing::from_text(word, 1, 88) {
            assert!(stringing.pin_count() >= 88);
        }
    }
}

//! Executes `firmware/core/flash.md`: its examples are decoded, compared and encoded again.

use std::fmt::Write as _;

use pinhold_lever::log::flash::format::{
    Entry, FORMAT_VERSION, GRANULE_BYTES, Granule, MAGIC, NoEntry, SETTINGS_BYTES_MAX, decode,
    encode,
};
use pinhold_lever::log::flash::{PAGE_BYTES_MIN, PAGE_COUNT_DEFAULT};

const DOCUMENT: &str = include_str!("../../../firmware/core/flash.md");

/// Lines of every block of a form, continuations joined.
fn blocks(form: &str) -> Vec<Vec<(String, String)>> {
    let mut blocks = Vec::new();
    let mut rest = DOCUMENT;
    let fence = format!("\n```{form}\n");
    while let Some(start) = rest.find(&fence) {
        rest = &rest[start + fence.len()..];
        let end = rest.find("\n```").expect("the block is closed");
        let mut entries: Vec<(String, String)> = Vec::new();
        for line in rest[..end].lines() {
            match (line.strip_prefix("  "), line.split_once(": ")) {
                (Some(more), _) => {
                    let (_, text) = entries.last_mut().expect("something to continue");
                    write!(text, " {more}").expect("a string");
                }
                (None, Some((key, text))) => entries.push((key.to_owned(), text.to_owned())),
                (None, None) => panic!("what is {line:?}?"),
            }
        }
        blocks.push(entries);
        rest = &rest[end..];
    }
    blocks
}

fn granule(hex: &str) -> Granule {
    let bytes: Vec<u8> = hex
        .split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).expect("two hexadecimal digits"))
        .collect();
    bytes.try_into().expect("32 bytes")
}

#[test]
fn every_example_holds() {
    let examples = blocks("example");
    let mut kinds = Vec::new();
    for example in &examples {
        let [(hex_key, hex), (value_key, value)] = example.as_slice() else {
            panic!("hex and value, not {example:?}");
        };
        assert_eq!((hex_key.as_str(), value_key.as_str()), ("hex", "value"));
        let bytes = granule(hex);
        let entry = decode(&bytes).unwrap_or_else(|error| panic!("{value}: {error:?}"));
        assert_eq!(&format!("{entry:?}"), value);
        assert_eq!(encode(&entry), bytes, "{value}");
        kinds.push(bytes[3]);
    }
    assert_eq!(kinds, [1, 2, 3, 4, 5, 6], "one example for each kind, in order");
}

#[test]
fn limits_are_those_of_the_code() {
    let stated = &blocks("limits")[0];
    let own = [
        ("FORMAT_VERSION", usize::from(FORMAT_VERSION)),
        ("MAGIC", usize::from(MAGIC)),
        ("GRANULE_BYTES", GRANULE_BYTES),
        ("SETTINGS_BYTES_MAX", SETTINGS_BYTES_MAX),
        ("PAGE_BYTES_MIN", PAGE_BYTES_MIN),
        ("PAGE_COUNT_DEFAULT", PAGE_COUNT_DEFAULT),
    ];
    let own: Vec<(String, String)> =
        own.iter().map(|(key, value)| ((*key).to_owned(), value.to_string())).collect();
    assert_eq!(*stated, own);
}

#[test]
fn any_bit_turned_over_makes_it_no_entry() {
    for example in blocks("example") {
        let bytes = granule(&example[0].1);
        for bit in 0..GRANULE_BYTES * 8 {
            let mut other = bytes;
            other[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(decode(&other), Err(NoEntry::Damaged), "bit {bit} of {bytes:02x?}");
        }
    }
}

#[test]
fn a_later_version_is_told_from_damage() {
    let mut bytes = granule(&blocks("example")[0][0].1);
    bytes[2] = FORMAT_VERSION + 1;
    let sum = pinhold_protocol::CRC32.checksum(&bytes[..GRANULE_BYTES - 4]);
    bytes[GRANULE_BYTES - 4..].copy_from_slice(&sum.to_le_bytes());
    assert_eq!(decode(&bytes), Err(NoEntry::Newer));
    assert_eq!(decode(&[0xff; GRANULE_BYTES]), Err(NoEntry::Blank));
    assert!(matches!(decode(&granule(&blocks("example")[3][0].1)), Ok(Entry::Mark(_))));
}

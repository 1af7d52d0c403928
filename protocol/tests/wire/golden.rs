//! Committed bytes of every message, record version and block coding.
//!
//! The files under `tests/fixtures/wire/v1` are what devices in the field have written: a change
//! there is a change of the format. They are written anew only with `PINHOLD_BLESS=1` set.

use std::path::PathBuf;

use pinhold_protocol::block::{self, RawSample};
use pinhold_protocol::content::decode_content;
use pinhold_protocol::frame::{self, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever};
use pinhold_protocol::record::decode_record;

use crate::{hex, sample};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../tests/fixtures/wire/v1")
}

/// The committed bytes; written from `actual` first when blessing.
fn committed(name: &str, actual: &[u8]) -> Vec<u8> {
    let path = folder().join(format!("{name}.hex"));
    if std::env::var_os("PINHOLD_BLESS").is_some() {
        std::fs::write(&path, hex::lines(actual)).expect("golden file is writable");
    }
    let text = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("cannot read {}: {error}", path.display()));
    hex::parse(&text)
}

/// Number of the frame in the golden files: both bytes differ, one is zero for the stuffing.
const SEQUENCE: u16 = 0x0100;

#[test]
fn lever_messages_keep_their_bytes() {
    let record = sample::record_bytes(&sample::measured_reading());
    let samples = sample::ramp_samples();
    let (coding, data) = (block::CODING_RICE, sample::packed_as(block::CODING_RICE, &samples));
    for (name, message) in sample::from_lever(&record, (samples.len(), coding, &data)) {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(SEQUENCE, &mut wire).expect("fits");
        let mut golden = committed(name, &wire[..used]);
        assert_eq!(hex::spaced(&wire[..used]), hex::spaced(&golden), "{name}");
        assert_eq!(golden.pop(), Some(0), "{name} ends with the delimiter");
        let frame = frame::decode(&mut golden).expect("golden frame is whole");
        assert_eq!(frame.sequence, SEQUENCE);
        assert_eq!(FromLever::try_from(frame), Ok(message), "{name}");
    }
}

#[test]
fn host_messages_keep_their_bytes() {
    for (name, message) in sample::from_host() {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(SEQUENCE, &mut wire).expect("fits");
        let mut golden = committed(name, &wire[..used]);
        assert_eq!(hex::spaced(&wire[..used]), hex::spaced(&golden), "{name}");
        assert_eq!(golden.pop(), Some(0), "{name} ends with the delimiter");
        let frame = frame::decode(&mut golden).expect("golden frame is whole");
        assert_eq!(frame.sequence, SEQUENCE);
        assert_eq!(FromHost::try_from(frame), Ok(message), "{name}");
    }
}

#[test]
fn records_keep_their_bytes() {
    for (name, reading) in sample::readings() {
        let bytes = sample::record_bytes(&reading);
        let golden = committed(name, &bytes);
        assert_eq!(hex::spaced(&bytes), hex::spaced(&golden), "{name}");
        assert_eq!(decode_record(&golden), Ok(reading), "{name}");
    }
}

#[test]
fn other_records_keep_their_bytes() {
    for (name, content) in sample::other_records() {
        let bytes = sample::content_bytes(&content);
        let golden = committed(name, &bytes);
        assert_eq!(hex::spaced(&bytes), hex::spaced(&golden), "{name}");
        assert_eq!(decode_content(&golden), Ok(content), "{name}");
    }
}

#[test]
fn blocks_keep_their_bytes() {
    let cases = [
        ("block_rice", block::CODING_RICE, sample::ramp_samples()),
        ("block_plain", block::CODING_PLAIN, sample::extreme_samples()),
        ("block_predicted", block::CODING_PREDICTED, sample::rounded_samples()),
    ];
    for (name, coding, samples) in cases {
        let bytes = sample::packed_as(coding, &samples);
        let golden = committed(name, &bytes);
        // Coding 1 is only read.
        let chosen = sample::packed(&samples).0;
        assert!(chosen == coding || coding == block::CODING_RICE, "{name}");
        assert_eq!(hex::spaced(&bytes), hex::spaced(&golden), "{name}");
        let mut back = vec![RawSample::default(); samples.len()];
        assert_eq!(block::decode(coding, &golden, &mut back), Ok(()), "{name}");
        assert_eq!(back, samples, "{name}");
    }
}

/// Every file is one that a test reads: a golden nobody compares would protect nothing.
#[test]
fn no_golden_is_left_unread() {
    let lever = sample::from_lever(&[], (1, 0, &[])).map(|(name, _)| name);
    let host = sample::from_host().map(|(name, _)| name);
    let records = sample::readings().map(|(name, _)| name);
    let others = sample::other_records().map(|(name, _)| name);
    let mut expected: Vec<String> = lever
        .iter()
        .chain(&host)
        .chain(&records)
        .chain(&others)
        .chain(&["block_rice", "block_plain", "block_predicted"])
        .map(|name| format!("{name}.hex"))
        .collect();
    expected.sort();
    let mut present: Vec<String> = std::fs::read_dir(folder())
        .expect("the folder of goldens")
        .map(|entry| entry.expect("readable entry").file_name().to_string_lossy().into_owned())
        .collect();
    present.sort();
    assert_eq!(present, expected);
}

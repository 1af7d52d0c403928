//! Other versions are told apart from damage.

use pinhold_protocol::content::{SKIP_VERSION, decode_content};
use pinhold_protocol::error::{DecodeError, LinkCounters};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever};
use pinhold_protocol::record::{RECORD_VERSION, decode_record};
use pinhold_protocol::{CRC32, PROTOCOL_VERSION};

use crate::sample;

/// A whole frame around any bytes, made by the oracle and not by the library under test.
fn wrapped(checked: &[u8]) -> Vec<u8> {
    let plain = [checked, &CRC32.checksum(checked).to_le_bytes()].concat();
    let mut wire = vec![0; cobs::max_encoding_length(plain.len())];
    let used = cobs::encode(&plain, &mut wire);
    wire.truncate(used);
    wire.push(0);
    wire
}

/// Reads one frame as the host would, counting.
fn count(wire: &[u8], counters: &mut LinkCounters) -> Option<DecodeError> {
    let mut reader = FrameReader::new();
    let mut result = None;
    for byte in wire {
        if let Some(frame) = reader.push(*byte) {
            result = frame.and_then(FromLever::try_from).err();
        }
    }
    if let Some(error) = result {
        counters.count_error(error);
    }
    result
}

#[test]
fn a_newer_frame_counts_as_version() {
    let mut counters = LinkCounters::default();
    let newer = PROTOCOL_VERSION + 1;
    // A body this version could not read: the version is what is told, not the content.
    let wire = wrapped(&[newer, 0x01, 0, 0, 0xFF, 0xFF]);
    assert_eq!(count(&wire, &mut counters), Some(DecodeError::Version(2)));
    assert_eq!(counters, LinkCounters { version_count: 1, ..LinkCounters::default() });
    // Version 0 was never spoken.
    let wire = wrapped(&[0, 0x01, 0, 0]);
    assert_eq!(count(&wire, &mut counters), Some(DecodeError::Version(0)));
    assert_eq!(counters.version_count, 2);
}

#[test]
fn a_newer_message_counts_as_unknown_type() {
    let mut counters = LinkCounters::default();
    let wire = wrapped(&[PROTOCOL_VERSION, 0x7f, 0, 0, 1, 2, 3]);
    assert_eq!(count(&wire, &mut counters), Some(DecodeError::UnknownType(0x7f)));
    // One's own direction coming back, as from an echoing line, is no message either.
    let mut wire = [0; WIRE_BYTES_MAX];
    let used = FromHost::Zero(()).encode(0, &mut wire).expect("fits");
    assert_eq!(count(&wire[..used], &mut counters), Some(DecodeError::UnknownType(0x85)));
    assert_eq!(counters, LinkCounters { unknown_type_count: 2, ..LinkCounters::default() });
}

#[test]
fn a_longer_body_is_not_read_by_its_beginning() {
    let mut counters = LinkCounters::default();
    // A reply with one more field behind it.
    let wire = wrapped(&[PROTOCOL_VERSION, 0x05, 0, 0, 1, 0, 9]);
    assert_eq!(count(&wire, &mut counters), Some(DecodeError::TrailingBytes));
    // A reply whose result is a number added later.
    let wire = wrapped(&[PROTOCOL_VERSION, 0x05, 0, 0, 1, 0x7f]);
    assert_eq!(count(&wire, &mut counters), Some(DecodeError::Content));
    assert_eq!(counters, LinkCounters { content_count: 2, ..LinkCounters::default() });
}

#[test]
fn a_newer_record_is_refused_by_its_version() {
    let mut bytes = sample::record_bytes(&sample::measured_reading());
    assert_eq!(bytes[0], RECORD_VERSION);
    bytes[0] = 2;
    assert_eq!(decode_record(&bytes), Err(DecodeError::Version(2)));
    assert_eq!(decode_record(&[2]), Err(DecodeError::Version(2)), "whatever follows");
    bytes[0] = SKIP_VERSION + 1;
    assert_eq!(decode_content(&bytes), Err(DecodeError::Version(4)), "of every kind");
    assert_eq!(decode_record(&[]), Err(DecodeError::Content));
    bytes[0] = RECORD_VERSION;
    bytes.push(0);
    assert_eq!(decode_record(&bytes), Err(DecodeError::TrailingBytes));
}

/// Each kind of error has a counter of its own, and counters stop at their ends.
#[test]
fn errors_are_counted_apart() {
    let kinds = [
        DecodeError::Framing,
        DecodeError::Length,
        DecodeError::Checksum,
        DecodeError::Version(9),
        DecodeError::UnknownType(9),
        DecodeError::Content,
        DecodeError::TrailingBytes,
    ];
    let mut counters = LinkCounters::default();
    for (count, error) in (1..).zip(kinds) {
        counters.count_error(error);
        assert_eq!(counters.error_count(), count, "{error}");
    }
    assert_eq!(
        counters,
        LinkCounters {
            framing_count: 1,
            length_count: 1,
            checksum_count: 1,
            version_count: 1,
            unknown_type_count: 1,
            content_count: 2,
            ..LinkCounters::default()
        }
    );
    counters.framing_count = u32::MAX;
    counters.count_error(DecodeError::Framing);
    assert_eq!(counters.framing_count, u32::MAX);
    assert_eq!(counters.error_count(), u32::MAX);
}

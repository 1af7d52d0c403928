//! What goes in comes out; and arbitrary bytes never do more than give an error.

use pinhold_protocol::block::{self, RawSample};
use pinhold_protocol::content::{Content, decode_content, peek_pin};
use pinhold_protocol::error::DecodeError;
use pinhold_protocol::frame::{self, BODY_BYTES_MAX, Frame, FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, Record};
use pinhold_protocol::record::decode_record;
use pinhold_protocol::stuffing::{stuff, stuffed_bytes_max, unstuff};
use proptest::prelude::*;

use crate::{sample, strategy};

fn lever_round_trip(message: FromLever<'_>, sequence: u16) -> Result<(), TestCaseError> {
    let mut wire = [0; WIRE_BYTES_MAX];
    let used = message.encode(sequence, &mut wire).expect("every message fits");
    let (delimiter, stuffed) = wire[..used].split_last_mut().expect("not empty");
    prop_assert_eq!(*delimiter, 0);
    let frame = frame::decode(stuffed).expect("own frame");
    prop_assert_eq!(frame.sequence, sequence);
    prop_assert_eq!(FromLever::try_from(frame), Ok(message));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn lever_messages(
        hello in strategy::hellos(),
        live in strategy::lives(),
        reply in strategy::replies(),
        status in strategy::statuses(),
        health in strategy::healths(),
        plan in strategy::plan_states(),
        sequence in any::<u16>(),
    ) {
        lever_round_trip(FromLever::Hello(hello), sequence)?;
        lever_round_trip(FromLever::Live(live), sequence)?;
        lever_round_trip(FromLever::Reply(reply), sequence)?;
        lever_round_trip(FromLever::Status(status), sequence)?;
        lever_round_trip(FromLever::Health(health), sequence)?;
        lever_round_trip(FromLever::PlanState(plan), sequence)?;
    }

    #[test]
    fn sample_messages(samples in strategy::samples(), sequence in any::<u16>()) {
        let (coding, data) = sample::packed(&samples);
        let message = sample::samples_message(samples.len(), coding, &data);
        lever_round_trip(FromLever::Samples(message), sequence)?;
    }

    #[test]
    fn host_messages(message in strategy::host_messages(), sequence in any::<u16>()) {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(sequence, &mut wire).expect("every message fits");
        let mut reader = FrameReader::new();
        let (delimiter, stuffed) = wire[..used].split_last().expect("not empty");
        for byte in stuffed {
            prop_assert!(reader.push(*byte).is_none());
        }
        let frame = reader.push(*delimiter).expect("ended").expect("own frame");
        prop_assert_eq!(frame.sequence, sequence);
        prop_assert_eq!(FromHost::try_from(frame), Ok(message));
    }

    #[test]
    fn records(reading in strategy::readings(), epoch in any::<u32>(), number in any::<u32>()) {
        let bytes = sample::record_bytes(&reading);
        prop_assert_eq!(decode_record(&bytes), Ok(reading));
        let checksum = pinhold_protocol::record::record_checksum(epoch, number, &bytes);
        let message = Record { epoch, number, checksum, bytes: &bytes };
        lever_round_trip(FromLever::Record(message), 0)?;
    }

    #[test]
    fn records_of_every_kind(content in strategy::contents()) {
        let bytes = sample::content_bytes(&content);
        let about = match &content {
            Content::Reading(reading) => Some((reading.survey, reading.pin, false)),
            Content::Skip(skip) => Some((skip.survey, skip.pin, true)),
            _ => None,
        };
        prop_assert_eq!(peek_pin(&bytes), about);
        prop_assert_eq!(decode_content(&bytes), Ok(content));
        let longer = [&bytes[..], &[0]].concat();
        prop_assert_eq!(decode_content(&longer), Err(DecodeError::TrailingBytes));
        prop_assert!(decode_content(&bytes[..bytes.len() - 1]).is_err());
    }

    #[test]
    fn stuffing_equals_the_oracle(
        plain in prop::collection::vec(prop_oneof![Just(0u8), Just(1), any::<u8>()], 1..600),
        run in 250..258usize,
    ) {
        // As generated, and behind a run as long as a full group or nearly.
        let behind_a_run = [vec![0x55; run], plain.clone()].concat();
        for plain in [plain, behind_a_run, vec![0x55; run]] {
            let mut stuffed = vec![0xEE; stuffed_bytes_max(plain.len())];
            let used = stuff(&plain, &mut stuffed).expect("room for the worst case");
            stuffed.truncate(used);
            let mut expected = vec![0; cobs::max_encoding_length(plain.len()) + 1];
            let expected_len = cobs::encode(&plain, &mut expected);
            prop_assert_eq!(&stuffed, &expected[..expected_len]);
            prop_assert!(!stuffed.contains(&0));
            prop_assert!(stuff(&plain, &mut vec![0; used - 1]).is_err());
            let plain_len = unstuff(&mut stuffed).expect("own stuffing");
            prop_assert_eq!(&stuffed[..plain_len], &plain[..]);
        }
    }

    #[test]
    fn unstuffing_arbitrary_bytes_equals_the_oracle(
        bytes in prop::collection::vec(prop_oneof![1..6u8, 250..=255u8, any::<u8>()], 1..600),
    ) {
        let mut ours = bytes.clone();
        let mut theirs = bytes.clone();
        let result = unstuff(&mut ours);
        // The oracle stops at a zero, which no stuffed byte may be.
        if bytes.contains(&0) {
            prop_assert!(result.is_err());
        } else {
            let expected = cobs::decode_in_place(&mut theirs);
            prop_assert_eq!(result.ok(), expected.ok());
            if let Ok(plain_len) = result {
                prop_assert_eq!(&ours[..plain_len], &theirs[..plain_len]);
            }
        }
    }

    #[test]
    fn arbitrary_bytes_never_panic(
        mut bytes in prop::collection::vec(any::<u8>(), 0..500),
        kind in prop_oneof![1..8u8, 0x81..0x8Au8, any::<u8>()],
        coding in 0..4u8,
        count in 0..70usize,
    ) {
        let body = &bytes[..bytes.len().min(BODY_BYTES_MAX)];
        let frame = Frame { kind, sequence: 0, body };
        if let Ok(message) = FromLever::try_from(frame) {
            prop_assert_eq!(message.kind(), kind);
        }
        if let Ok(message) = FromHost::try_from(frame) {
            prop_assert_eq!(message.kind(), kind);
        }
        let mut samples = vec![RawSample::default(); count];
        if block::decode(coding, &bytes, &mut samples).is_ok() {
            let in_range = block::BRIDGE_CODE_MIN..=block::BRIDGE_CODE_MAX;
            prop_assert!(samples.iter().all(|sample| in_range.contains(&sample.bridge_code)));
        }
        if let Some(version) = bytes.first_mut() {
            *version = pinhold_protocol::record::RECORD_VERSION;
        }
        if let Ok(reading) = decode_record(&bytes) {
            prop_assert!(reading.pin.is_known());
        }
        let mut reader = FrameReader::new();
        for byte in &bytes {
            if let Some(Ok(frame)) = reader.push(*byte) {
                prop_assert!(frame.body.len() <= BODY_BYTES_MAX);
            }
        }
        // A frame out of noise would need a matching checksum; none of these seeds has one.
        prop_assert!(frame::decode(&mut bytes).is_err());
    }

    /// One byte of a real record altered: an error or another reading, never a panic, and what
    /// decodes is in range. (Which of the two, the record's checksum settles, not the decoder.)
    #[test]
    fn altered_records_never_panic(
        reading in strategy::readings(),
        position in any::<prop::sample::Index>(),
        byte in any::<u8>(),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut bytes = sample::record_bytes(&reading);
        let cut_len = cut.index(bytes.len());
        prop_assert!(decode_record(&bytes[..cut_len]).is_err(), "a shortened record");
        let index = position.index(bytes.len());
        let before = std::mem::replace(&mut bytes[index], byte);
        let checksum = |bytes: &[u8]| pinhold_protocol::record::record_checksum(1, 2, bytes);
        if before != byte {
            let damaged = checksum(&bytes);
            prop_assert_ne!(damaged, checksum(&sample::record_bytes(&reading)));
        }
        if let Ok(other) = decode_record(&bytes) {
            prop_assert!(other.pin.is_known());
        }
    }
}

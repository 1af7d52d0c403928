//! Damage on the line costs the frame it hits, is noticed, and never becomes other content.

use pinhold_protocol::block::BLOCK_BYTES_MAX;
use pinhold_protocol::error::{CommandResult, DecodeError, LinkCounters};
use pinhold_protocol::frame::{FrameReader, SequenceWatch, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromLever, Live, Record, Reply};
use proptest::prelude::*;

use crate::sample;

/// What one byte of a stream suffered.
#[derive(Clone, Copy, Debug)]
enum Damage {
    Changed(u8),
    Deleted,
    /// Another byte came in before it.
    Inserted(u8),
}

/// Three frames back to back.
struct Stream {
    wires: [Vec<u8>; 3],
}

/// What a receiver made of a stream.
struct Received {
    /// Sequence number and debug form of each message; the form tells every field.
    messages: Vec<(u16, String)>,
    counters: LinkCounters,
    skipped_count: u16,
}

fn receive(bytes: impl IntoIterator<Item = u8>) -> Received {
    let mut reader = FrameReader::new();
    let mut watch = SequenceWatch::default();
    let mut received =
        Received { messages: Vec::new(), counters: LinkCounters::default(), skipped_count: 0 };
    for byte in bytes {
        let Some(result) = reader.push(byte) else { continue };
        let message = result.and_then(|frame| {
            received.skipped_count += watch.skipped_before(frame.sequence);
            FromLever::try_from(frame).map(|message| (frame.sequence, format!("{message:?}")))
        });
        match message {
            Ok(message) => received.messages.push(message),
            Err(error) => received.counters.count_error(error),
        }
    }
    received
}

impl Stream {
    fn new(messages: [FromLever<'_>; 3]) -> Stream {
        let mut sequence = 0x00FE;
        let wires = messages.map(|message| {
            let mut wire = [0; WIRE_BYTES_MAX];
            let used = message.encode(sequence, &mut wire).expect("fits");
            sequence += 1;
            wire[..used].to_vec()
        });
        Stream { wires }
    }

    fn bytes(&self) -> Vec<u8> {
        self.wires.concat()
    }

    fn damaged(&self, position: usize, damage: Damage) -> Vec<u8> {
        let mut bytes = self.bytes();
        match damage {
            Damage::Changed(byte) => bytes[position] = byte,
            Damage::Deleted => drop(bytes.remove(position)),
            Damage::Inserted(byte) => bytes.insert(position, byte),
        }
        bytes
    }

    /// Which frames must arrive all the same: all but the damaged one, and the one behind it if
    /// the delimiter between the two is gone.
    fn spared(&self, position: usize, damage: Damage) -> Vec<usize> {
        let mut end = 0;
        let mut hit = 0;
        for (index, wire) in self.wires.iter().enumerate() {
            end += wire.len();
            if position < end {
                hit = index;
                break;
            }
        }
        let delimiter_gone = position + 1 == end && !matches!(damage, Damage::Inserted(_));
        (0..3).filter(|index| *index != hit && !(delimiter_gone && *index == hit + 1)).collect()
    }
}

/// Sends the stream with the damage and says what is wrong with the receiver, if anything.
fn fault(stream: &Stream, whole: &Received, position: usize, damage: Damage) -> Option<String> {
    let received = receive(stream.damaged(position, damage));
    if let Some(other) = received.messages.iter().find(|got| !whole.messages.contains(got)) {
        return Some(format!("{damage:?} at {position} was delivered as {other:?}"));
    }
    for index in stream.spared(position, damage) {
        if !received.messages.contains(&whole.messages[index]) {
            return Some(format!("{damage:?} at {position} also cost frame {index}"));
        }
    }
    let lost_count = 3 - received.messages.len();
    let last_arrived = received.messages.last() == whole.messages.last();
    // A loss before an accepted frame shows in the sequence; one at the end shows as an error, or
    // as silence when the last delimiter is gone.
    if last_arrived
        && received.messages.first() == whole.messages.first()
        && usize::from(received.skipped_count) != lost_count
    {
        return Some(format!("{damage:?} at {position}: loss of {lost_count} was not noticed"));
    }
    let delimiter_gone = position + 1 == stream.bytes().len();
    if lost_count > 0 && received.counters.error_count() == 0 && !delimiter_gone {
        return Some(format!("{damage:?} at {position} was not counted"));
    }
    None
}

/// Every place, every byte, all three kinds of damage, in a stream of short frames.
#[test]
fn every_single_byte_of_damage_is_contained() {
    let reply = |to, result| FromLever::Reply(Reply { to, result });
    let stream = Stream::new([
        reply(0, CommandResult::Done),
        FromLever::Live(Live { pin: None, ..sample::LIVE }),
        reply(0x0101, CommandResult::PinMoving),
    ]);
    let whole = receive(stream.bytes());
    assert_eq!(whole.messages.len(), 3);
    assert_eq!((whole.skipped_count, whole.counters.error_count()), (0, 0));
    let bytes = stream.bytes();
    let mut case_count = 0;
    for (position, original) in bytes.iter().enumerate() {
        let changed = (0..=255).filter(|byte| byte != original).map(Damage::Changed);
        let inserted = (0..=255).map(Damage::Inserted);
        for damage in changed.chain(inserted).chain([Damage::Deleted]) {
            case_count += 1;
            assert_eq!(fault(&stream, &whole, position, damage), None);
        }
    }
    println!("{case_count} kinds of damage to {} bytes", bytes.len());
    assert_eq!(case_count, bytes.len() * (255 + 256 + 1));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    /// The same in the longest frames, with groups over 254 bytes and many zeros.
    #[test]
    fn damage_to_long_frames_is_contained(
        data in prop::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 1..=BLOCK_BYTES_MAX),
        run in prop::collection::vec(1..=255u8, 200..=320),
        position in any::<prop::sample::Index>(),
        damage in prop_oneof![
            any::<u8>().prop_map(Damage::Changed),
            any::<u8>().prop_map(Damage::Inserted),
            Just(Damage::Deleted),
        ],
    ) {
        let stream = Stream::new([
            FromLever::Samples(sample::samples_message(64, 0, &data)),
            FromLever::Record(Record { epoch: 1, number: 2, checksum: 3, bytes: &run }),
            FromLever::Samples(sample::samples_message(64, 1, &run)),
        ]);
        let whole = receive(stream.bytes());
        prop_assert_eq!(whole.messages.len(), 3);
        let position = position.index(stream.bytes().len());
        let damage = match damage {
            Damage::Changed(byte) if byte == stream.bytes()[position] => Damage::Changed(!byte),
            other => other,
        };
        prop_assert_eq!(fault(&stream, &whole, position, damage), None);
    }

    /// Whatever came before, a frame behind a delimiter arrives.
    #[test]
    fn noise_does_not_hold_a_frame_back(
        noise in prop::collection::vec(any::<u8>(), 0..2_000),
    ) {
        let message = FromLever::Live(sample::LIVE);
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(9, &mut wire).expect("fits");
        let bytes = noise.into_iter().chain([0]).chain(wire[..used].iter().copied());
        let received = receive(bytes);
        prop_assert_eq!(received.messages, vec![(9, format!("{message:?}"))]);
    }
}

/// A run without delimiter is one error however long, and nothing behind it is lost.
#[test]
fn over_long_runs_count_once() {
    for run_len in [WIRE_BYTES_MAX, WIRE_BYTES_MAX + 1, 10 * WIRE_BYTES_MAX] {
        let mut reader = FrameReader::new();
        for _ in 0..run_len {
            assert_eq!(reader.push(0x55), None);
        }
        assert_eq!(reader.push(0), Some(Err(DecodeError::Length)), "{run_len}");
        assert_eq!(reader.push(0), None, "empty runs mean nothing");
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = FromLever::Live(sample::LIVE).encode(9, &mut wire).expect("fits");
        let results: Vec<bool> =
            wire[..used].iter().filter_map(|byte| reader.push(*byte).map(|r| r.is_ok())).collect();
        assert_eq!(results, [true]);
    }
}

/// `clear` forgets the half frame of a connection that is gone.
#[test]
fn a_cleared_reader_starts_afresh() {
    let mut reader = FrameReader::new();
    for _ in 0..2 * WIRE_BYTES_MAX {
        assert_eq!(reader.push(0x55), None);
    }
    reader.clear();
    let mut wire = [0; WIRE_BYTES_MAX];
    let used = FromLever::Live(sample::LIVE).encode(9, &mut wire).expect("fits");
    let accepted_count =
        wire[..used].iter().filter(|byte| matches!(reader.push(**byte), Some(Ok(_)))).count();
    assert_eq!(accepted_count, 1);
}

#[test]
fn skipped_sequence_numbers_are_counted() {
    let mut watch = SequenceWatch::default();
    let skipped = [65_534, 65_535, 0, 1, 4, 4, 5].map(|number| watch.skipped_before(number));
    assert_eq!(skipped, [0, 0, 0, 0, 2, 65_535, 0]);
}

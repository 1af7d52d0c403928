//! The send buffer: samples never take the room of records.

use pinhold_lever::link::{Link, SEND_BYTES_MAX, SEND_RESERVE_BYTES};
use pinhold_protocol::block::BLOCK_BYTES_MAX;
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, Greet, Record, Samples};
use pinhold_protocol::record::RECORD_BYTES_MAX;

fn samples(data: &[u8]) -> FromLever<'_> {
    FromLever::Samples(Samples {
        first_index: u32::MAX,
        count: 64,
        dropped_block_count: u32::MAX,
        acceleration_milli_g: [i16::MIN; 3],
        temperature_centi_celsius: i16::MIN,
        coding: 0,
        data,
    })
}

fn record(number: u32, bytes: &[u8]) -> FromLever<'_> {
    FromLever::Record(Record { epoch: u32::MAX, number, checksum: u32::MAX, bytes })
}

/// Numbers of the records among the pending bytes, and how many frames there are.
fn pending(link: &Link) -> (Vec<u32>, usize) {
    let mut reader = FrameReader::new();
    let (mut records, mut frame_count) = (Vec::new(), 0);
    for byte in link.pending() {
        if let Some(frame) = reader.push(*byte) {
            frame_count += 1;
            if let FromLever::Record(record) = FromLever::try_from(frame.unwrap()).unwrap() {
                records.push(record.number);
            }
        }
    }
    (records, frame_count)
}

#[test]
fn a_flood_of_samples_leaves_room_for_the_longest_record() {
    let block = [0xA5u8; BLOCK_BYTES_MAX];
    let longest = [0x5Au8; RECORD_BYTES_MAX];
    let mut link = Link::new();
    let mut block_count = 0;
    while link.send_droppable(&samples(&block)) {
        block_count += 1;
    }
    assert!(block_count >= 4, "{block_count}");
    for _ in 0..1000 {
        assert!(!link.send_droppable(&samples(&block)));
    }
    assert!(link.room() >= SEND_RESERVE_BYTES);
    assert!(link.send(&record(1, &longest)) && link.send(&record(2, &longest)));
    assert_eq!(pending(&link), (vec![1, 2], block_count + 2));
}

#[test]
fn however_it_is_drained_a_record_finds_room_after_samples() {
    let block = [0xA5u8; BLOCK_BYTES_MAX];
    let longest = [0x5Au8; RECORD_BYTES_MAX];
    for chunk in [1, 7, 63, 400, 1000] {
        let mut link = Link::new();
        for number in 0..200 {
            while link.send_droppable(&samples(&block)) {}
            assert!(link.send(&record(number, &longest)), "chunk {chunk}, record {number}");
            // What a slow line takes until the next record: one record's worth.
            let mut left = WIRE_BYTES_MAX;
            while left > 0 {
                let count = chunk.min(left).min(link.pending().len());
                link.sent(count);
                left -= count.max(1).min(left);
            }
            assert!(link.room() <= SEND_BYTES_MAX && link.pending().len() <= SEND_BYTES_MAX);
        }
    }
}

#[test]
fn what_finds_no_room_is_not_queued_in_part() {
    let longest = [0x5Au8; RECORD_BYTES_MAX];
    let mut link = Link::new();
    let mut sent_count = 0;
    while link.send(&record(sent_count, &longest)) {
        sent_count += 1;
    }
    let (records, frame_count) = pending(&link);
    assert_eq!(records, (0..sent_count).collect::<Vec<u32>>());
    assert_eq!(frame_count, sent_count as usize);
    // More than there is may be reported as sent; nothing goes wrong.
    link.sent(usize::MAX / 2);
    assert_eq!((link.pending().len(), link.room()), (0, SEND_BYTES_MAX));
}

#[test]
fn what_arrives_is_counted_by_kind() {
    let mut link = Link::new();
    let mut frame = [0u8; WIRE_BYTES_MAX];
    let greet = FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 7 });
    let len = greet.encode(5, &mut frame).unwrap();
    let mut received = Vec::new();
    for byte in &frame[..len] {
        received.extend(link.receive(*byte));
    }
    assert_eq!(received, [(5, greet)]);
    // A second greeting may begin at any number.
    let len = greet.encode(900, &mut frame).unwrap();
    received.extend(frame[..len].iter().filter_map(|byte| link.receive(*byte)));
    assert_eq!((received.len(), link.counters().sequence_count), (2, 0));
    // Another command out of step is taken and counted.
    let len = FromHost::AskStatus(()).encode(950, &mut frame).unwrap();
    received.extend(frame[..len].iter().filter_map(|byte| link.receive(*byte)));
    assert_eq!((received.len(), link.counters().sequence_count), (3, 1));
    frame[3] ^= 0x10;
    assert!(frame[..len].iter().all(|byte| link.receive(*byte).is_none()));
    assert_eq!(link.counters().error_count(), 1);
    assert_eq!(link.counters().accepted_count, 3);
}

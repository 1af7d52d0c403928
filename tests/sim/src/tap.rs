//! What the lever says, listened to before the line can spoil it: the truth of every survey.
//!
//! Deliberately not here: anything the host does.

use std::collections::BTreeMap;

use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, Hello, Record};
use pinhold_protocol::record::{chain_next, chain_start, decode_record, record_checksum};
use pinhold_sim::rng::Random;

/// A record as the lever holds it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrueRecord {
    /// Checksum.
    pub checksum: u32,
    /// Bytes.
    pub bytes: Vec<u8>,
}

/// A program between lever and line that changes what passes: a repeater gone wrong, or one of the
/// seeded faults the harness must find.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meddling {
    /// Nothing is changed.
    None,
    /// Some records are damaged and the frame's checksum made right again.
    RecordDamaged,
    /// The record's own checksum as well: what a host sees that does not verify it.
    RecordDamagedUnseen,
    /// Greetings claim that everything is committed: what a host does that ignores a gap.
    GreetingSkipsBacklog,
}

/// The listener.
#[derive(Debug)]
pub struct Tap {
    reader: FrameReader,
    meddling: Meddling,
    random: Random,
    log: (u64, u32),
    /// Records seen, by number.
    pub records: BTreeMap<u32, TrueRecord>,
    /// Number the next record gets, as last said.
    pub next_record: u32,
    /// First number not committed, as last said.
    pub committed_floor: u32,
    /// A record just seen for the first time.
    pub fresh: Option<u32>,
}

impl Tap {
    /// A listener to the lever with this identity and epoch.
    pub fn new(log: (u64, u32), meddling: Meddling, random: Random) -> Tap {
        Tap {
            reader: FrameReader::new(),
            meddling,
            random,
            log,
            records: BTreeMap::new(),
            next_record: 0,
            committed_floor: 0,
            fresh: None,
        }
    }

    /// Chain value below `number`.
    ///
    /// # Panics
    /// If a record below it was never seen.
    pub fn chain_below(&self, number: u32) -> u32 {
        let start = chain_start(self.log.0, self.log.1);
        (0..number).fold(start, |chain, number| chain_next(chain, self.records[&number].checksum))
    }

    /// Takes the lever's bytes and appends what goes on the line.
    ///
    /// # Panics
    /// If the lever sends anything but whole, right frames, or one record in two versions.
    pub fn pass(&mut self, bytes: &[u8], into: &mut Vec<u8>) {
        for byte in bytes {
            let mut reader = std::mem::take(&mut self.reader);
            if let Some(outcome) = reader.push(*byte) {
                let frame = outcome.expect("the lever sends right frames");
                let sequence = frame.sequence;
                let message = FromLever::try_from(frame).expect("the lever sends right messages");
                self.note(&message);
                self.forward(message, sequence, into);
            }
            self.reader = reader;
        }
    }

    fn note(&mut self, message: &FromLever<'_>) {
        match message {
            FromLever::Hello(hello) => self.stands(hello.next_record, hello.committed_floor),
            FromLever::Live(live) => self.stands(live.next_record, live.committed_floor),
            FromLever::Record(record) => {
                let checksum = record_checksum(record.epoch, record.number, record.bytes);
                assert_eq!(checksum, record.checksum, "the lever's own checksum");
                let seen = TrueRecord { checksum, bytes: record.bytes.to_vec() };
                let known = self.records.entry(record.number).or_insert_with(|| seen.clone());
                assert_eq!(*known, seen, "record {} changed on the lever", record.number);
                self.fresh = Some(record.number);
                self.next_record = self.next_record.max(record.number + 1);
            }
            FromLever::Samples(_)
            | FromLever::Reply(_)
            | FromLever::Status(_)
            | FromLever::Health(_)
            | FromLever::PlanState(_) => {}
        }
    }

    fn stands(&mut self, next: u32, floor: u32) {
        assert!(next >= self.next_record && floor >= self.committed_floor && floor <= next);
        self.next_record = next;
        self.committed_floor = floor;
    }

    fn forward(&mut self, message: FromLever<'_>, sequence: u16, into: &mut Vec<u8>) {
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let mut changed_bytes;
        let message = match (message, self.meddling) {
            (FromLever::Record(record), Meddling::RecordDamaged) if self.random.chance(0.2) => {
                changed_bytes = damaged(record.bytes, &mut self.random);
                FromLever::Record(Record { bytes: &changed_bytes, ..record })
            }
            (FromLever::Record(record), Meddling::RecordDamagedUnseen)
                if self.random.chance(0.2) =>
            {
                changed_bytes = record.bytes.to_vec();
                // Damage that still decodes: anything else the host would see.
                for _ in 0..100 {
                    changed_bytes = damaged(record.bytes, &mut self.random);
                    if decode_record(&changed_bytes).is_ok() {
                        break;
                    }
                }
                let checksum = record_checksum(record.epoch, record.number, &changed_bytes);
                FromLever::Record(Record { bytes: &changed_bytes, checksum, ..record })
            }
            (FromLever::Hello(hello), Meddling::GreetingSkipsBacklog)
                if self.records.len() == hello.next_record as usize =>
            {
                FromLever::Hello(Hello {
                    committed_floor: hello.next_record,
                    committed_chain: self.chain_below(hello.next_record),
                    ..hello
                })
            }
            (message, _) => message,
        };
        let len = message.encode(sequence, &mut frame).expect("it was a frame before");
        into.extend_from_slice(&frame[..len]);
    }
}

fn damaged(bytes: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let index = random.whole(0, bytes.len() - 1);
    bytes[index] ^= 1 << random.whole(0, 7);
    bytes
}

/// The commands in what a session wants to send, each with its frame.
///
/// # Panics
/// If they are not whole, right frames.
pub fn commands(bytes: &[u8]) -> Vec<(FromHost, Vec<u8>)> {
    let mut reader = FrameReader::new();
    let (mut found, mut frame_bytes) = (Vec::new(), Vec::new());
    for byte in bytes {
        frame_bytes.push(*byte);
        if let Some(outcome) = reader.push(*byte) {
            let frame = outcome.expect("the host sends right frames");
            let command = FromHost::try_from(frame).expect("the host sends right commands");
            found.push((command, std::mem::take(&mut frame_bytes)));
        }
    }
    found
}

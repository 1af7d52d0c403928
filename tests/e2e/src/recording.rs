//! Everything the emulated core was handed, in order, and the native core handed the same.

use std::collections::BTreeMap;

use pinhold_board_qemu::flash::{FileFlash, Log, clock_start};
use pinhold_lever::{Identity, Input, Lever, RawMotion, RawSample, Signals};
use pinhold_protocol::frame::FrameReader;
use pinhold_protocol::message::FromLever;
use pinhold_protocol::units::DeviceTime;

use crate::Result;
use crate::emulator::Event;
use crate::ledger::FlashImage;

/// One input from the world.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fed {
    /// A sample.
    Sample(RawSample),
    /// Attitude and temperature.
    Motion(RawMotion),
}

/// The whole input log of one run on a flash fresh from the maker.
#[derive(Clone, Debug)]
pub struct Recording {
    /// Who the lever was.
    pub identity: Identity,
    /// What it was fed, in order.
    pub fed: Vec<Fed>,
    /// What the board said, in order.
    pub events: Vec<Event>,
}

/// What the native core made of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replayed {
    /// Every change of signals and the inputs before it.
    pub signals: Vec<(u32, Signals)>,
    /// Stored records by number, as sent: checksum and bytes.
    pub records: BTreeMap<u32, (u32, Vec<u8>)>,
    /// Bytes it sent.
    pub sent_byte_count: u64,
}

/// A native core part of the way through a recording.
struct Player<'a> {
    lever: Lever<Log<FlashImage>>,
    started_us: u64,
    signals: Signals,
    fed: &'a [Fed],
    position: usize,
    sample_count: u64,
    sample_period_ns: u64,
    reader: FrameReader,
    replayed: Replayed,
}

impl Recording {
    /// The signals the board logged.
    pub fn signals(&self) -> Vec<(u32, Signals)> {
        let logged = self.events.iter().filter_map(|event| match event {
            Event::Signals(count, signals) => Some((*count, *signals)),
            _ => None,
        });
        logged.collect()
    }

    /// Bytes the board said it sent.
    pub fn sent_byte_count(&self) -> u64 {
        let sent = self.events.iter().map(|event| match event {
            Event::Sent(_, byte_count) => u64::from(*byte_count),
            _ => 0,
        });
        sent.sum()
    }

    /// Hands the native core the same inputs at the same places.
    ///
    /// # Errors
    /// When the log does not fit the samples, or the core has less to send than was sent.
    pub fn replay(&self) -> Result<Replayed> {
        let mut player = Player::new(self);
        for event in &self.events {
            match event {
                Event::Ready | Event::Credit(_) | Event::Signals(..) => {}
                Event::Received(count, bytes) => {
                    player.feed_up_to(*count)?;
                    player.step(Input::Received(bytes));
                }
                Event::Sent(count, byte_count) => {
                    player.feed_up_to(*count)?;
                    player.send(usize::from(*byte_count))?;
                }
            }
        }
        let consumed = self.events.iter().rev().find_map(|event| match event {
            Event::Credit(count) => Some(*count),
            _ => None,
        });
        player.feed_up_to(consumed.unwrap_or(0))?;
        Ok(player.replayed)
    }
}

impl<'a> Player<'a> {
    fn new(recording: &'a Recording) -> Player<'a> {
        let identity = recording.identity;
        let flash = FileFlash::new(FlashImage::new());
        let mut records = Log::mount(flash, identity.device, identity.epoch);
        let started = clock_start(&mut records);
        let mut lever = Lever::with_log(identity, records);
        let signals = lever.step(started, Input::Tick);
        let replayed = Replayed { signals: vec![(0, signals)], ..Replayed::default() };
        Player {
            lever,
            started_us: started.microseconds(),
            signals,
            fed: &recording.fed,
            position: 0,
            sample_count: 0,
            sample_period_ns: u64::from(identity.sample_period_ns),
            reader: FrameReader::new(),
            replayed,
        }
    }

    fn feed_up_to(&mut self, count: u32) -> Result<()> {
        while self.position < usize::try_from(count)? {
            let fed = self.fed.get(self.position).ok_or("the board counts more than it was fed")?;
            self.position += 1;
            match *fed {
                Fed::Sample(sample) => {
                    self.sample_count += 1;
                    self.step(Input::Sample(sample));
                }
                Fed::Motion(motion) => self.step(Input::Motion(motion)),
            }
        }
        Ok(())
    }

    fn step(&mut self, input: Input<'_>) {
        let now_us = self.started_us + self.sample_count * self.sample_period_ns / 1000;
        let signals = self.lever.step(DeviceTime::from_microseconds(now_us), input);
        if signals != self.signals {
            self.signals = signals;
            self.replayed.signals.push((self.position as u32, signals));
        }
    }

    fn send(&mut self, byte_count: usize) -> Result<()> {
        let mut left = byte_count;
        while left > 0 {
            let pending = self.lever.pending();
            let taken = pending.len().min(left);
            if taken == 0 {
                return Err(format!("{left} bytes fewer to send than the board sent").into());
            }
            let sent: Vec<u8> = pending.iter().take(taken).copied().collect();
            self.lever.sent(taken);
            left -= taken;
            self.replayed.sent_byte_count += taken as u64;
            for byte in sent {
                self.read(byte)?;
            }
        }
        Ok(())
    }

    fn read(&mut self, byte: u8) -> Result<()> {
        let Some(frame) = self.reader.push(byte) else { return Ok(()) };
        let frame = frame.map_err(|error| format!("the core's own frame: {error:?}"))?;
        let message = FromLever::try_from(frame);
        let message = message.map_err(|error| format!("the core's own message: {error:?}"))?;
        if let FromLever::Record(record) = message {
            let kept = (record.checksum, record.bytes.to_vec());
            let before = self.replayed.records.insert(record.number, kept.clone());
            if before.is_some_and(|before| before != kept) {
                return Err(format!("record {} was sent in two versions", record.number).into());
            }
        }
        Ok(())
    }
}

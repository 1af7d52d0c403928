//! The lever's core fed by a simulated workplace, the host's part played by its commands alone.
//!
//! Deliberately not here: the technician, and anything that judges.

use pinhold_board_virtual::practice::{SAMPLE_PERIOD_NS, inputs_of};
use pinhold_lever::{Identity, Input, Lamp, Lever, Signals};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{Commit, FromHost, FromLever};
use pinhold_protocol::record::{Reading, chain_next, chain_start, decode_record};
use pinhold_protocol::units::DeviceTime;
use pinhold_sim::bench::Tick;

/// A lever without a link to wait for.
pub struct CoreAlone {
    /// The lever.
    pub lever: Lever,
    /// What it shows.
    pub signals: Signals,
    /// Samples it was fed.
    pub sample_count: u64,
    /// The reading that arrived last, until it is taken.
    pub arrived: Option<Reading>,
    reader: FrameReader,
    sequence: u16,
    /// Chain value behind the records that arrived, and what commits them.
    chain: u32,
    commit: Option<Commit>,
}

impl Default for CoreAlone {
    fn default() -> CoreAlone {
        let identity = Identity { device: 1, epoch: 1, sample_period_ns: SAMPLE_PERIOD_NS };
        CoreAlone {
            lever: Lever::new(identity),
            signals: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            sample_count: 0,
            arrived: None,
            reader: FrameReader::new(),
            sequence: 0,
            chain: chain_start(identity.device, identity.epoch),
            commit: None,
        }
    }
}

impl CoreAlone {
    /// The lever's clock.
    fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.sample_count * u64::from(SAMPLE_PERIOD_NS / 1000))
    }

    /// Hands it a command.
    ///
    /// # Panics
    /// If the lever answers with anything but right frames.
    pub fn command(&mut self, command: FromHost) {
        let mut bytes = [0u8; WIRE_BYTES_MAX];
        let byte_count = command.encode(self.sequence, &mut bytes).expect("a command fits");
        self.sequence = self.sequence.wrapping_add(1);
        self.signals = self.lever.step(self.now(), Input::Received(&bytes[..byte_count]));
        self.listen();
    }

    /// Says that the host has all readings that arrived: the lever holds only a few.
    pub fn commit(&mut self) {
        if let Some(commit) = self.commit.take() {
            self.command(FromHost::Commit(commit));
        }
    }

    /// Feeds it one sample period.
    ///
    /// # Panics
    /// As [`CoreAlone::command`].
    pub fn feed(&mut self, tick: &Tick) {
        let (motion, sample) = inputs_of(tick);
        if let Some(motion) = motion {
            self.lever.step(self.now(), Input::Motion(motion));
        }
        self.sample_count += 1;
        self.signals = self.lever.step(self.now(), Input::Sample(sample));
        if !self.lever.pending().is_empty() {
            self.listen();
        }
    }

    fn listen(&mut self) {
        let bytes = self.lever.pending().to_vec();
        self.lever.sent(bytes.len());
        for byte in bytes {
            let Some(frame) = self.reader.push(byte) else { continue };
            let message = FromLever::try_from(frame.expect("a right frame")).expect("a message");
            if let FromLever::Record(record) = message {
                self.chain = chain_next(self.chain, record.checksum);
                let floor = record.number + 1;
                self.commit = Some(Commit { epoch: record.epoch, floor, chain: self.chain });
                self.arrived = Some(decode_record(record.bytes).expect("a record"));
            }
        }
    }
}

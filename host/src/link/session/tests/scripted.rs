//! A lever that says what a test tells it to.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, Hello, Live, Phase, Record, Reply};
use pinhold_protocol::record::{
    Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition, chain_next,
    chain_start, encode_record, record_checksum,
};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use super::super::{Choice, Event, HeldRecord, Plan, Session};

pub(super) const DEVICE: u64 = 5;
pub(super) const SURVEY: u64 = 9;

pub(super) fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Centre }
}

pub(super) fn plan(notes: &[u8]) -> Plan {
    Plan {
        survey: SURVEY,
        pins: notes.iter().map(|note| Choice { pin: pin(*note), unstrung: false }).collect(),
        slip: Angle::from_microradians(8_727),
        calendar_ms: 0,
        stream_samples: false,
        zero_first: true,
    }
}

pub(super) fn reading(survey: u64, note: u8) -> Reading {
    Reading {
        survey,
        pin: pin(note),
        started: DeviceTime::from_microseconds(1),
        duration_ms: 1,
        outcome: Outcome::Spoiled,
        flags: 0,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: None,
        net_rotation: Angle::ZERO,
        excursion_flat: Angle::ZERO,
        excursion_sharp: Angle::ZERO,
        temperature_centi_celsius: 2000,
        attitude_milli_g: [0, 0, 1000],
        calibration: 0,
        samples: SampleCoverage::None,
        strokes: Default::default(),
    }
}

pub(super) fn record_bytes(survey: u64, note: u8) -> Vec<u8> {
    let mut bytes = vec![0; RECORD_BYTES_MAX];
    let len = encode_record(&reading(survey, note), &mut bytes).unwrap();
    bytes.truncate(len);
    bytes
}

/// A lever that says what the test tells it to.
pub(super) struct Scripted {
    pub(super) session: Session,
    pub(super) now_ms: u64,
    pub(super) sequence: u16,
    pub(super) hello: Hello,
    /// What the caller says that its store holds.
    pub(super) held: Vec<HeldRecord>,
}

impl Scripted {
    pub(super) fn new(notes: &[u8]) -> Scripted {
        let hello = Hello {
            protocol_min: 1,
            protocol_max: 1,
            device: DEVICE,
            epoch: 1,
            firmware: [0, 1, 0],
            record_version: 1,
            now: DeviceTime::from_microseconds(0),
            oldest_record: 0,
            next_record: 0,
            committed_floor: 0,
            committed_chain: chain_start(DEVICE, 1),
            sample_period_ns: 1_000_000,
            calibration: 0,
            zeroed: false,
            survey: 0,
        };
        Scripted::with(Session::new(plan(notes), 0), hello)
    }

    pub(super) fn with(session: Session, hello: Hello) -> Scripted {
        Scripted { session, now_ms: 0, sequence: 0, hello, held: Vec::new() }
    }

    pub(super) fn say(&mut self, message: &FromLever<'_>) {
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let len = message.encode(self.sequence, &mut frame).unwrap();
        self.sequence = self.sequence.wrapping_add(1);
        self.session.receive(self.now_ms, &frame[..len]);
    }

    /// What the session wants to send now, with sequence numbers.
    pub(super) fn heard(&mut self) -> Vec<(u16, FromHost)> {
        self.session.tick(self.now_ms);
        let mut reader = FrameReader::new();
        let mut commands = Vec::new();
        for byte in self.session.take_outgoing() {
            if let Some(frame) = reader.push(byte) {
                let frame = frame.unwrap();
                commands.push((frame.sequence, FromHost::try_from(frame).unwrap()));
            }
        }
        commands
    }

    /// The one command the session wants to send now; time passes until there is one.
    pub(super) fn asked(&mut self) -> (u16, FromHost) {
        for _ in 0..100 {
            match self.heard().as_slice() {
                [] => self.now_ms += 50,
                [only] => return *only,
                more => panic!("{more:?}"),
            }
        }
        panic!("nothing is asked");
    }

    pub(super) fn answer(&mut self, to: u16, result: CommandResult) {
        self.say(&FromLever::Reply(Reply { to, result }));
    }

    pub(super) fn obey(&mut self) -> FromHost {
        let (sequence, command) = self.asked();
        self.answer(sequence, CommandResult::Done);
        command
    }

    pub(super) fn greet(&mut self) {
        let (_, command) = self.asked();
        assert!(matches!(command, FromHost::Greet(_)), "{command:?}");
        self.say(&FromLever::Hello(self.hello));
        self.session.held(self.now_ms, &self.held);
    }

    /// Up to the first pin being chosen.
    pub(super) fn begin(&mut self) {
        self.greet();
        assert!(matches!(self.obey(), FromHost::StartSurvey(_)));
        assert_eq!(self.obey(), FromHost::Zero(()));
        assert!(matches!(self.obey(), FromHost::ChoosePin(_)));
        self.events();
    }

    pub(super) fn record(&mut self, number: u32, survey: u64, note: u8) {
        let bytes = record_bytes(survey, note);
        let (epoch, checksum) =
            (self.hello.epoch, record_checksum(self.hello.epoch, number, &bytes));
        self.say(&FromLever::Record(Record { epoch, number, checksum, bytes: &bytes }));
    }

    pub(super) fn live(&mut self, waits_for: Option<Pin>, next_record: u32, committed_floor: u32) {
        self.say(&FromLever::Live(Live {
            pin: waits_for,
            phase: Phase::Idle,
            torque: Torque::ZERO,
            angle: Angle::ZERO,
            next_record,
            committed_floor,
            dropped_block_count: 0,
            missed_sample_count: 0,
        }));
    }

    /// What was told, but for live states.
    pub(super) fn events(&mut self) -> Vec<Event> {
        std::iter::from_fn(|| self.session.next_event())
            .filter(|event| !matches!(event, Event::Live(_)))
            .collect()
    }

    /// Numbers of the records told.
    pub(super) fn told(&mut self) -> Vec<u32> {
        let number = |event: Event| match event {
            Event::Record(record) => Some(record.number),
            _ => None,
        };
        self.events().into_iter().filter_map(number).collect()
    }

    /// Chain value behind records of these notes, numbered from 0.
    pub(super) fn chain(&self, notes: &[u8]) -> u32 {
        let start = chain_start(DEVICE, self.hello.epoch);
        (0u32..).zip(notes).fold(start, |chain, (number, note)| {
            let bytes = record_bytes(SURVEY, *note);
            chain_next(chain, record_checksum(self.hello.epoch, number, &bytes))
        })
    }
}

//! Levers that send anything at all: no panic, no unbounded memory, no commit without the disk.

use std::collections::{BTreeMap, BTreeSet};

use pinhold_protocol::error::{CommandResult, LinkCounters};
use pinhold_protocol::lost::{decode_lost, encode_lost};
use pinhold_protocol::message::{
    Commit, FromHost, FromLever, Health, Hello, PlanState, Record, Samples, Status,
};
use pinhold_protocol::record::record_checksum;
use pinhold_protocol::units::{Angle, DeviceTime};

use super::super::{
    ArrivedRecord, EVENT_COUNT_MAX, Event, HeldRecord, LeverPlan, OUTGOING_BYTES_MAX, RETRY_MS,
    SEQUENCE_COUNT_MAX, Session,
};
use super::scripted::{SURVEY, Scripted, pin, record_bytes};

/// A small generator of pseudo-random numbers (splitmix64).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    /// Small, at an end of its range, or anything.
    fn odd_u32(&mut self) -> u32 {
        match self.below(4) {
            0 => self.below(12) as u32,
            1 => u32::MAX - self.below(3) as u32,
            2 => 0,
            _ => self.next() as u32,
        }
    }

    fn bytes(&mut self, len_max: u64) -> Vec<u8> {
        (0..self.below(len_max + 1)).map(|_| self.next() as u8).collect()
    }
}

fn hello(numbers: &mut Numbers) -> Hello {
    Hello {
        protocol_min: numbers.below(3) as u8,
        protocol_max: numbers.below(3) as u8,
        device: numbers.below(2),
        epoch: numbers.below(2) as u32,
        firmware: [0, 1, 0],
        record_version: numbers.next() as u8,
        now: DeviceTime::from_microseconds(numbers.next()),
        oldest_record: numbers.odd_u32(),
        next_record: numbers.odd_u32(),
        committed_floor: numbers.odd_u32(),
        committed_chain: numbers.odd_u32(),
        sample_period_ns: numbers.odd_u32(),
        calibration: numbers.odd_u32(),
        zeroed: numbers.below(2) == 0,
        survey: numbers.below(2) * SURVEY,
    }
}

/// Says one of the things a lever can say, with anything in it.
fn say_anything(lever: &mut Scripted, numbers: &mut Numbers) {
    match numbers.below(10) {
        0 => {
            let hello = hello(numbers);
            lever.say(&FromLever::Hello(hello));
        }
        1 => {
            let (waits, next, floor) =
                (numbers.below(2) == 0, numbers.odd_u32(), numbers.odd_u32());
            lever.live(waits.then_some(pin(40)), next, floor);
        }
        2 | 3 => {
            // Right in form, with a number that may be the one wanted.
            let mut bytes = record_bytes(numbers.below(2) * SURVEY, 38 + numbers.below(6) as u8);
            if numbers.below(4) == 0 {
                bytes = match numbers.below(2) {
                    0 => encode_lost(numbers.next() as u32).to_vec(),
                    _ => numbers.bytes(100),
                };
            }
            let (epoch, number) = (numbers.below(2) as u32, numbers.odd_u32());
            let number =
                if numbers.below(2) == 0 { lever.session.records.wanted() } else { number };
            let checksum = record_checksum(epoch, number, &bytes);
            lever.say(&FromLever::Record(Record { epoch, number, checksum, bytes: &bytes }));
        }
        4 | 5 => {
            let results = [
                CommandResult::Done,
                CommandResult::NoSurvey,
                CommandResult::PinMoving,
                CommandResult::NotAtRest,
                CommandResult::LogFull,
                CommandResult::NoSuchPin,
                CommandResult::NoSuchRecord,
                CommandResult::CommitMismatch,
                CommandResult::OutOfRange,
                CommandResult::BatteryLow,
                CommandResult::NotFit,
            ];
            let to = lever.session.next_sequence.wrapping_sub(numbers.below(6) as u16);
            lever.answer(to, results[numbers.below(results.len() as u64) as usize]);
        }
        6 => {
            let data = numbers.bytes(300);
            lever.say(&FromLever::Samples(Samples {
                first_index: numbers.odd_u32(),
                count: numbers.next() as u8,
                dropped_block_count: numbers.odd_u32(),
                acceleration_milli_g: [0; 3],
                temperature_centi_celsius: 0,
                coding: numbers.below(3) as u8,
                data: &data,
            }));
        }
        7 => lever.say(&FromLever::Health(Health {
            uncommitted_count: numbers.odd_u32(),
            ..Health::default()
        })),
        8 => lever.say(&FromLever::PlanState(PlanState {
            plan: numbers.below(3),
            pin_count: numbers.next() as u16,
            checksum: numbers.odd_u32(),
            ..PlanState::default()
        })),
        _ => lever.say(&FromLever::Status(Status {
            link: LinkCounters::default(),
            dropped_block_count: 0,
            missed_sample_count: 0,
            saturated_sample_count: 0,
        })),
    }
}

fn is_bounded(session: &Session) -> bool {
    session.events.len() <= EVENT_COUNT_MAX
        && session.outgoing.len() <= OUTGOING_BYTES_MAX
        && session.pending.as_ref().is_none_or(|p| p.sequences.len() <= SEQUENCE_COUNT_MAX)
}

#[test]
fn memory_is_bounded_when_nothing_is_fetched() {
    for seed in 0..4 {
        let mut numbers = Numbers(seed);
        let mut lever = Scripted::new(&[40, 41, 42]);
        for step in 0..60_000u64 {
            say_anything(&mut lever, &mut numbers);
            if numbers.below(8) == 0 {
                lever.now_ms += numbers.below(600);
                lever.session.tick(lever.now_ms);
            }
            assert!(is_bounded(&lever.session), "seed {seed}, step {step}");
        }
        assert!(lever.session.discarded_event_count() > 0, "the queue was never full");
    }
}

/// A host's disk, and what levers have said of theirs.
#[derive(Default)]
struct Disk {
    /// By device, epoch and number: checksum and the chain value of a loss.
    kept: BTreeMap<(u64, u32, u32), HeldRecord>,
    /// Floors that levers say are committed: their own word.
    own_word: BTreeSet<(u64, u32, u32)>,
    in_hand: Option<ArrivedRecord>,
}

impl Disk {
    fn of(&self, log: (u64, u32)) -> Vec<HeldRecord> {
        let range = (log.0, log.1, 0)..=(log.0, log.1, u32::MAX);
        self.kept.range(range).map(|(_, held)| *held).collect()
    }

    fn take(&mut self, lever: &mut Scripted, event: Event) {
        match event {
            Event::Greeted(hello) | Event::LeverChanged(hello) => {
                self.own_word.insert((hello.device, hello.epoch, hello.committed_floor));
                let held = self.of((hello.device, hello.epoch));
                lever.session.held(lever.now_ms, &held);
            }
            Event::Record(record) => {
                assert_eq!(self.in_hand, None, "one record at a time");
                self.in_hand = Some(*record);
            }
            // The operator clears the store of that lever.
            Event::LogDisagrees { .. } => {
                let log = lever.session.records.log().unwrap();
                self.kept.retain(|key, _| (key.0, key.1) != log);
            }
            _ => {}
        }
    }

    fn write(&mut self, lever: &mut Scripted) {
        let Some(record) = self.in_hand.take() else { return };
        let held = HeldRecord {
            number: record.number,
            checksum: record.checksum,
            lost_chain: decode_lost(&record.bytes).ok(),
        };
        self.kept.insert((record.device, record.epoch, record.number), held);
        lever.session.kept(lever.now_ms, record.number);
    }

    fn check(&self, log: (u64, u32), commit: Commit) {
        assert_eq!(commit.epoch, log.1);
        let mut floor = commit.floor;
        while !self.own_word.contains(&(log.0, log.1, floor)) {
            assert!(floor > 0, "{commit:?}");
            floor -= 1;
            let on_disk = self.kept.contains_key(&(log.0, log.1, floor));
            assert!(on_disk, "{commit:?}, {floor} is not kept");
        }
    }
}

#[test]
fn no_commit_covers_what_was_not_kept() {
    let (mut commit_count, mut disagreement_count) = (0, 0);
    for seed in 100..110 {
        let mut numbers = Numbers(seed);
        let mut disk = Disk::default();
        let new = |seed: u64| match seed % 2 {
            0 => Scripted::new(&[40, 41, 42, 43, 40, 41]),
            _ => Scripted::with(Session::fetch(0, 0), Scripted::new(&[]).hello),
        };
        let mut lever = new(seed);
        for step in 0..20_000u64 {
            if numbers.below(20) == 0 {
                let noise = numbers.bytes(900);
                lever.session.receive(lever.now_ms, &noise);
            } else {
                say_anything(&mut lever, &mut numbers);
            }
            while let Some(event) = lever.session.next_event() {
                disagreement_count += u64::from(matches!(event, Event::LogDisagrees { .. }));
                disk.take(&mut lever, event);
            }
            if numbers.below(3) == 0 {
                disk.write(&mut lever);
            }
            if numbers.below(50) == 0 {
                lever.session.reconnected(lever.now_ms);
            }
            lever.now_ms += numbers.below(300);
            for (_, command) in lever.heard() {
                if let FromHost::Commit(commit) = command {
                    commit_count += 1;
                    disk.check(lever.session.records.log().unwrap(), commit);
                }
            }
            assert!(is_bounded(&lever.session));
            if lever.session.is_finished() {
                lever = new(step);
                disk.in_hand = None;
            }
        }
    }
    assert!(commit_count > 100, "only {commit_count} commits: nothing was tried");
    assert!(disagreement_count > 10, "only {disagreement_count} disagreements");
    println!("{commit_count} commits to hostile levers, each covered by the disk");
}

/// Loading and asking, whatever is answered: bounded, and some end is come to.
#[test]
fn other_errands_come_to_an_end_with_any_lever() {
    for seed in 200..240 {
        let mut numbers = Numbers(seed);
        let pins = (1..=80).map(pin).collect();
        let plan = LeverPlan::new(3, Angle::from_microradians(8_727), pins).unwrap();
        let session = if seed % 2 == 0 { Session::load(plan, 0, 0) } else { Session::status(0, 0) };
        let mut lever = Scripted::with(session, Scripted::new(&[]).hello);
        let mut step_count = 0;
        while !lever.session.is_finished() {
            say_anything(&mut lever, &mut numbers);
            lever.now_ms += numbers.below(60);
            for (_, command) in lever.heard() {
                let harmless = matches!(
                    command,
                    FromHost::Greet(_)
                        | FromHost::PlanPart(_)
                        | FromHost::AskHealth(())
                        | FromHost::AskPlan(())
                        | FromHost::AskStatus(())
                );
                assert!(harmless, "{command:?}");
            }
            lever.events();
            assert!(is_bounded(&lever.session));
            step_count += 1;
            assert!(step_count < 200_000, "seed {seed}: no end");
        }
    }
}

#[test]
fn noise_is_survived_and_counted() {
    let mut numbers = Numbers(7);
    let mut lever = Scripted::new(&[40]);
    for _ in 0..2_000 {
        let noise = numbers.bytes(2_000);
        lever.session.receive(lever.now_ms, &noise);
        lever.now_ms += 10;
        lever.session.tick(lever.now_ms);
        lever.session.take_outgoing();
    }
    assert!(lever.session.counters().error_count() > 1_000);
    // Noise behind it, the conversation goes on.
    lever.session.receive(lever.now_ms, &[0]);
    lever.now_ms += RETRY_MS;
    lever.begin();
}

#[test]
fn a_record_that_finds_no_room_comes_again() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    // Nothing that may be thrown away: greetings of versions unknown.
    lever.session.reconnected(lever.now_ms);
    let strange = Hello { protocol_min: 7, protocol_max: 9, ..lever.hello };
    for _ in 0..EVENT_COUNT_MAX + 10 {
        lever.say(&FromLever::Hello(strange));
    }
    assert_eq!(lever.session.events.len(), EVENT_COUNT_MAX);
    lever.hello.next_record = 1;
    lever.say(&FromLever::Hello(lever.hello));
    // No room to say who it is either: the caller would not know.
    assert!(lever.session.next_event().is_some());
    lever.say(&FromLever::Hello(lever.hello));
    lever.session.held(lever.now_ms, &[]);
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [] as [u32; 0]);
    lever.now_ms += RETRY_MS;
    let pulls = lever.heard();
    assert!(pulls.iter().any(|(_, c)| matches!(c, FromHost::Pull(_))), "{pulls:?}");
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
}

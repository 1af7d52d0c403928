//! The whole system under everything that can go wrong at once, in virtual time from one seed: a
//! lever whose log is in a flash that tears, a bad line, hosts that die, a disk.
//!
//! Faults first, then quiet: at the end every survey must be read, and every record that any lever
//! showed as accepted must be on a disk, once, in order, byte for byte. [`Bug`] plants faults in
//! the host and the lever's board; a log that leaves out one of its rules comes by the type `C`
//! ([`Care`]). Deliberately not here: the physics ([`crate::ruler`]), and bits that rot. Torn and
//! rotten bits in one flash are more than is promised: a log may then lose a record in silence
//! (3 of 300 000 histories of the log alone, power cut again and again behind the first rot).
//!
//! Invariant: the same seed gives the same history.

mod host;
mod lever;
mod world;

use pinhold_flashmodel::flash::{TORN_KINDS, Torn};
use pinhold_lever::log::flash::care::Care;
use pinhold_sim::rng::Random;

use crate::line::Faults;
use world::World;

/// Virtual time the end may take in quiet beside its pins, milliseconds.
const QUIET_MS: u64 = 120_000;
/// Virtual time a pin may take in quiet, milliseconds: two tries and what belongs to them.
const QUIET_MS_PER_PIN: u64 = 15_000;

/// Faults planted in host or board, to see whether the harness finds them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bug {
    /// The lever is told before the record is on the disk.
    CommitBeforeDisk,
    /// The store does not know its records: one that comes again is stored again.
    StoredTwice,
    /// A record that was damaged inside a right frame is stored.
    DamageStored,
    /// Now and then a record is said to be kept that was dropped.
    KeptNotStored,
    /// Losses are said to be kept and are not.
    LossDropped,
    /// The host never asks for a record again.
    NeverPulls,
    /// A commit is sent once and never again.
    CommitSentOnce,
    /// After a crash the host begins with the whole plan again.
    PlanNotReduced,
    /// Records are stored newest first.
    StoredInReverse,
    /// The store says that it holds one record more than it does.
    HoldsTooMuch,
    /// The lever shows a reading as accepted when it begins to write it.
    AcceptedBeforeFlash,
    /// The board does not tell the log that power is about to fail.
    WarningIgnored,
    /// After a power cut the flash may be as it was at the power-up before: numbers are used again.
    FlashSetBack,
}

/// All of them.
pub const BUGS: [Bug; 13] = [
    Bug::CommitBeforeDisk,
    Bug::StoredTwice,
    Bug::DamageStored,
    Bug::KeptNotStored,
    Bug::LossDropped,
    Bug::NeverPulls,
    Bug::CommitSentOnce,
    Bug::PlanNotReduced,
    Bug::StoredInReverse,
    Bug::HoldsTooMuch,
    Bug::AcceptedBeforeFlash,
    Bug::WarningIgnored,
    Bug::FlashSetBack,
];

/// One history's conditions. Mean times are milliseconds; 0 is never.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Everything random follows from it.
    pub seed: u64,
    /// Pins of each survey.
    pub pin_count: usize,
    /// Hosts that take turns, each with a disk and a survey of its own.
    pub host_count: usize,
    /// Levers that are plugged in in turn.
    pub lever_count: usize,
    /// Pages of each flash.
    pub page_count: usize,
    /// How torn bits read.
    pub torn: Torn,
    /// The line.
    pub faults: Faults,
    /// Chance that the host dies with a record in hand that is not on the disk yet.
    pub kill_before_disk: f64,
    /// Chance that it dies with the record on the disk and the lever not told.
    pub kill_after_disk: f64,
    /// Between its other deaths.
    pub kill_ms: u64,
    /// Between pulls of the cable.
    pub pull_ms: u64,
    /// Between brown-outs.
    pub cut_ms: u64,
    /// Share of power-ups that are cut again before the log is itself again.
    pub cut_again: f64,
    /// Raw samples are streamed too.
    pub stream_samples: bool,
    /// Virtual time after which everything is quiet.
    pub faults_until_ms: u64,
    /// What is planted.
    pub bug: Option<Bug>,
}

/// What came of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Accepted records that are on no disk.
    pub lost: u64,
    /// Records on one disk more than once.
    pub doubled: u64,
    /// Records on a disk behind one of the same log with a higher number.
    pub reordered: u64,
    /// Records on a disk that the lever never wrote like that.
    pub altered: u64,
    /// Numbers the lever took for committed that are on no disk.
    pub commit_ahead: u64,
    /// Times a floor went back.
    pub floor_back: u64,
    /// Pins with more than one accepted reading in a survey, with one host and one lever.
    pub read_twice: u64,
    /// Pins of a survey without a reading on its host's disk.
    pub unread: u64,
    /// Accepted records that a fetch begun later left on the lever.
    pub not_fetched: u64,
    /// Records of a lever that it does not know to be kept at the end.
    pub uncommitted: u64,
    /// Two true records under one number, or logs said to disagree.
    pub disagreements: u64,
    /// Writes or erases after a warning, erases while a pin turned, words written twice.
    pub offences: u64,
    /// Surveys or fetches that did not come to their end in time.
    pub unfinished: u64,
    /// What happened on the way.
    pub tally: Tally,
}

/// What happened, in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Histories.
    pub histories: u64,
    /// Readings accepted.
    pub accepted: u64,
    /// Records found whole that were never accepted, for power went just before.
    pub unasked: u64,
    /// Losses told: the number of a record that power cut short.
    pub losses: u64,
    /// Times power went in the middle of a word.
    pub cuts_in_word: u64,
    /// Times it went in the middle of an erase.
    pub cuts_in_erase: u64,
    /// Times it went while nothing was written.
    pub cuts_elsewhere: u64,
    /// Of all these, those before the log took a record again.
    pub cuts_in_recovery: u64,
    /// Warnings of power about to fail.
    pub warnings: u64,
    /// Pulls of the cable.
    pub pulls: u64,
    /// Deaths of a host with a record in hand that was not on its disk.
    pub kills_before_disk: u64,
    /// Deaths with the record on the disk and the lever not told.
    pub kills_after_disk: u64,
    /// Other deaths.
    pub kills_elsewhere: u64,
    /// Damaged frames the hosts saw.
    pub damaged_frames: u64,
    /// Virtual time, milliseconds.
    pub elapsed_ms: u64,
}

impl Tally {
    /// Adds another.
    pub fn add(&mut self, other: &Tally) {
        let pairs = [
            (&mut self.histories, other.histories),
            (&mut self.accepted, other.accepted),
            (&mut self.unasked, other.unasked),
            (&mut self.losses, other.losses),
            (&mut self.cuts_in_word, other.cuts_in_word),
            (&mut self.cuts_in_erase, other.cuts_in_erase),
            (&mut self.cuts_elsewhere, other.cuts_elsewhere),
            (&mut self.cuts_in_recovery, other.cuts_in_recovery),
            (&mut self.warnings, other.warnings),
            (&mut self.pulls, other.pulls),
            (&mut self.kills_before_disk, other.kills_before_disk),
            (&mut self.kills_after_disk, other.kills_after_disk),
            (&mut self.kills_elsewhere, other.kills_elsewhere),
            (&mut self.damaged_frames, other.damaged_frames),
            (&mut self.elapsed_ms, other.elapsed_ms),
        ];
        for (sum, count) in pairs {
            *sum += count;
        }
    }
}

impl Verdict {
    /// What must not be, with its counts; nothing when all is well.
    pub fn findings(&self) -> Vec<(&'static str, u64)> {
        let all = [
            ("lost", self.lost),
            ("doubled", self.doubled),
            ("reordered", self.reordered),
            ("altered", self.altered),
            ("committed and on no disk", self.commit_ahead),
            ("floor went back", self.floor_back),
            ("read twice", self.read_twice),
            ("not read", self.unread),
            ("not fetched", self.not_fetched),
            ("not committed", self.uncommitted),
            ("disagreements", self.disagreements),
            ("offences against the flash", self.offences),
            ("not finished", self.unfinished),
        ];
        all.into_iter().filter(|(_, count)| *count > 0).collect()
    }
}

impl Conditions {
    /// Conditions drawn from `seed`: byte faults up to `rate_max` each.
    pub fn drawn(seed: u64, rate_max: f64) -> Conditions {
        let mut random = Random::new(seed).fork("conditions");
        let faults = Faults::drawn(&mut random, rate_max);
        let several = |random: &mut Random| if random.chance(0.25) { 2 } else { 1 };
        Conditions {
            seed,
            pin_count: 10,
            host_count: several(&mut random),
            lever_count: several(&mut random),
            page_count: random.whole(5, 8),
            torn: TORN_KINDS[random.whole(0, TORN_KINDS.len() - 1)],
            // A step of the world is four milliseconds, and the line counts one of them.
            faults: Faults { bytes_per_second: 4 * faults.bytes_per_second, ..faults },
            kill_before_disk: random.uniform(0.0, 0.2),
            kill_after_disk: random.uniform(0.0, 0.2),
            kill_ms: random.whole(15_000, 120_000) as u64,
            pull_ms: random.whole(15_000, 120_000) as u64,
            cut_ms: random.whole(8_000, 60_000) as u64,
            cut_again: random.uniform(0.0, 0.7),
            stream_samples: random.chance(0.1),
            faults_until_ms: random.whole(20_000, 120_000) as u64,
            bug: None,
        }
    }

    /// Runs the history on levers with flash words of `WORD` bytes and pages of `PAGE`.
    pub fn run<const WORD: usize, const PAGE: usize, C: Care + Clone>(self) -> Verdict {
        let mut world: World<WORD, PAGE, C> = World::new(self);
        let pins = (self.pin_count * self.host_count) as u64;
        let end_ms = self.faults_until_ms + QUIET_MS + QUIET_MS_PER_PIN * pins;
        while !world.is_over() && world.now_ms() < end_ms {
            world.step();
        }
        world.judge()
    }

    /// Runs it with the word size that goes with the seed: 1 to 32 bytes.
    pub fn run_any<C: Care + Clone>(self) -> Verdict {
        match self.seed % 5 {
            0 => self.run::<1, 1024, C>(),
            1 => self.run::<4, 1024, C>(),
            2 => self.run::<8, 2048, C>(),
            3 => self.run::<16, 1024, C>(),
            _ => self.run::<32, 1024, C>(),
        }
    }
}

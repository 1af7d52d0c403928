//! A survey over a bad line with a host that dies now and then, in virtual time from one seed:
//! lever, line, session and a model of the host's disk, first under faults, then in quiet.
//!
//! The disk is what counts in the end. [`Trial::run`] says what went wrong: records lost, stored
//! twice, out of order or altered; commits that ran ahead of the disk; pins turned twice; and
//! whether the survey came to its end once the line was quiet. [`Bug`] plants known faults, to
//! show that each would be seen. Deliberately not here: the physics ([`crate::replayed`]).

mod world;

use pinhold_sim::rng::Random;

use crate::line::Faults;
use crate::replayed::Recording;
use crate::tap::Meddling;
use world::World;

/// Virtual time a pin may take in quiet, milliseconds: two rounds of the recording.
const QUIET_MS_PER_PIN: u64 = 15_000;
/// Virtual time the end of a survey may take in quiet beside its pins, milliseconds.
const QUIET_MS: u64 = 30_000;

/// Faults planted to see whether the harness finds them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bug {
    /// The lever is told before the record is on the disk.
    CommitBeforeDisk,
    /// A record that comes again is stored again.
    StoredTwice,
    /// The host does not verify a record's checksum.
    ChecksumUnverified,
    /// The host does not look for records that it missed.
    GapIgnored,
    /// Now and then a record is said to be kept that was dropped.
    KeptNotStored,
    /// The lever takes a record for committed once it has sent it.
    LeverForgetsOnSending,
    /// The host never asks for a record again.
    NeverPulls,
    /// A commit is sent once and never again.
    CommitSentOnce,
    /// After a crash the host begins with the whole plan again.
    PlanNotReduced,
    /// Records are stored newest first.
    StoredInReverse,
}

/// All of them.
pub const BUGS: [Bug; 10] = [
    Bug::CommitBeforeDisk,
    Bug::StoredTwice,
    Bug::ChecksumUnverified,
    Bug::GapIgnored,
    Bug::KeptNotStored,
    Bug::LeverForgetsOnSending,
    Bug::NeverPulls,
    Bug::CommitSentOnce,
    Bug::PlanNotReduced,
    Bug::StoredInReverse,
];

/// One survey's conditions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Everything random follows from it.
    pub seed: u64,
    /// Pins to read.
    pub pin_count: usize,
    /// The line.
    pub faults: Faults,
    /// Chance that the host dies with a record in hand that is not on the disk yet.
    pub kill_before_disk: f64,
    /// Chance that it dies with the record on the disk and the lever not told.
    pub kill_after_disk: f64,
    /// Mean time between its other deaths, milliseconds; 0 for none.
    pub kill_ms: u64,
    /// Mean time between pulls of the cable, milliseconds; 0 for none.
    pub pull_ms: u64,
    /// Raw samples are streamed too.
    pub stream_samples: bool,
    /// Virtual time after which everything is quiet, milliseconds.
    pub faults_until_ms: u64,
    /// What is planted.
    pub bug: Option<Bug>,
    /// What passes between lever and line is changed.
    pub meddling: Meddling,
}

/// What came of it. All counts are of things that must not be, up to the line in the middle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Records accepted on the lever and not on the disk.
    pub lost: usize,
    /// Records on the disk more than once.
    pub doubled: usize,
    /// Records on the disk behind one with a higher number.
    pub reordered: usize,
    /// Records on the disk whose checksum or bytes are not the lever's.
    pub altered: usize,
    /// Times the lever's committed floor was ahead of the disk.
    pub commit_ahead: usize,
    /// Pins with more than one reading.
    pub read_twice: usize,
    /// Readings for which the lever showed "accepted" and made no record.
    pub unrecorded: usize,
    /// The survey did not end, or ended with records the lever does not know to be kept.
    pub unfinished: bool,
    // What happened on the way.
    /// Records accepted on the lever.
    pub accepted: usize,
    /// Deaths of the host.
    pub kills: usize,
    /// Pulls of the cable.
    pub pulls: usize,
    /// Damaged frames the host saw.
    pub damaged_frames: u32,
    /// Virtual time, milliseconds.
    pub elapsed_ms: u64,
}

impl Verdict {
    /// Nothing lost, doubled, reordered or altered, and the survey at its end.
    pub fn is_clean(&self) -> bool {
        let wrongs = [
            self.lost,
            self.doubled,
            self.reordered,
            self.altered,
            self.commit_ahead,
            self.read_twice,
            self.unrecorded,
        ];
        wrongs == [0; 7] && !self.unfinished
    }
}

impl Trial {
    /// Conditions drawn from `seed`: rates up to `rate_max` per byte, kills and pulls.
    pub fn drawn(seed: u64, rate_max: f64) -> Trial {
        let mut random = Random::new(seed).fork("trial");
        Trial {
            seed,
            pin_count: 12,
            faults: Faults::drawn(&mut random, rate_max),
            kill_before_disk: random.uniform(0.0, 0.3),
            kill_after_disk: random.uniform(0.0, 0.3),
            kill_ms: random.whole(8_000, 60_000) as u64,
            pull_ms: random.whole(8_000, 60_000) as u64,
            stream_samples: random.chance(0.25),
            faults_until_ms: random.whole(40_000, 150_000) as u64,
            bug: None,
            meddling: Meddling::None,
        }
    }

    /// The same with a fault planted.
    #[must_use]
    pub fn with_bug(self, bug: Bug) -> Trial {
        let meddling = match bug {
            Bug::ChecksumUnverified => Meddling::RecordDamagedUnseen,
            Bug::GapIgnored => Meddling::GreetingSkipsBacklog,
            _ => self.meddling,
        };
        Trial { bug: Some(bug), meddling, ..self }
    }

    /// Runs it.
    pub fn run(self, recording: &Recording) -> Verdict {
        let mut world = World::new(self, recording);
        let pins = self.pin_count as u64;
        let end_ms = self.faults_until_ms + QUIET_MS + QUIET_MS_PER_PIN * pins;
        while !world.is_finished() && world.now_ms() < end_ms {
            world.millisecond();
        }
        world.judge()
    }
}

//! The promise of the link, under a bad line and a dying host: a reading is kept on the lever
//! until the host has it on its disk and has said so. Nothing lost, doubled, reordered or altered;
//! time is all it costs.

use pinhold_simtest::faulty::{BUGS, Bug, Trial, Verdict};
use pinhold_simtest::replayed::Recording;
use pinhold_simtest::tap::Meddling;

/// Seed of the first trial; the others follow.
const FIRST_SEED: u64 = 90_000;
/// Readings asked for under faults.
const READING_COUNT_MIN: usize = 6_000;

fn recording() -> Recording {
    Recording::new(3)
}

#[test]
fn nothing_is_lost_doubled_reordered_or_altered() {
    let recording = recording();
    let mut sum = Verdict::default();
    let (mut trials, mut quiet_ms_max) = (0u64, 0);
    while sum.accepted < READING_COUNT_MIN {
        let seed = FIRST_SEED + trials;
        trials += 1;
        // From hardly any damage to one byte in a thousand of each kind.
        let rate_max = [1e-5, 1e-4, 1e-3][trials as usize % 3];
        let trial = Trial::drawn(seed, rate_max);
        let verdict = trial.run(&recording);
        assert!(verdict.is_clean(), "seed {seed}: {verdict:?}\n{trial:?}");
        sum.accepted += verdict.accepted;
        sum.kills += verdict.kills;
        sum.pulls += verdict.pulls;
        sum.damaged_frames += verdict.damaged_frames;
        sum.elapsed_ms += verdict.elapsed_ms;
        quiet_ms_max = quiet_ms_max.max(verdict.elapsed_ms.saturating_sub(trial.faults_until_ms));
    }
    println!(
        "seeds {FIRST_SEED} to {}: {} readings accepted, 0 lost, 0 doubled, 0 reordered, \
         0 altered; {} host deaths, {} cables pulled, {} damaged frames at the host; \
         {:.1} h of virtual time, longest {:.0} s from quiet to the end",
        FIRST_SEED + trials - 1,
        sum.accepted,
        sum.kills,
        sum.pulls,
        sum.damaged_frames,
        sum.elapsed_ms as f64 / 3.6e6,
        quiet_ms_max as f64 / 1e3,
    );
    assert!(sum.kills > 500 && sum.pulls > 500 && sum.damaged_frames > 5_000, "{sum:?}");
}

#[test]
fn a_record_damaged_inside_a_right_frame_is_not_taken() {
    let recording = recording();
    let mut accepted = 0;
    for seed in 95_000..95_010 {
        let trial = Trial { meddling: Meddling::RecordDamaged, ..Trial::drawn(seed, 1e-5) };
        let verdict = trial.run(&recording);
        assert!(verdict.is_clean(), "seed {seed}: {verdict:?}");
        accepted += verdict.accepted;
    }
    println!("{accepted} readings, a fifth of the records damaged inside right frames: none taken");
}

/// What a planted fault shows as.
fn symptom(bug: Bug) -> fn(&Verdict) -> bool {
    match bug {
        Bug::CommitBeforeDisk => |verdict| verdict.lost > 0 && verdict.commit_ahead > 0,
        Bug::StoredTwice => |verdict| verdict.doubled > 0,
        Bug::ChecksumUnverified => |verdict| verdict.altered > 0,
        Bug::GapIgnored => |verdict| verdict.lost > 0,
        Bug::KeptNotStored => |verdict| verdict.lost > 0,
        Bug::LeverForgetsOnSending => |verdict| verdict.lost > 0,
        Bug::NeverPulls => |verdict| verdict.unfinished,
        Bug::CommitSentOnce => |verdict| verdict.unfinished,
        Bug::PlanNotReduced => |verdict| verdict.read_twice > 0,
        Bug::StoredInReverse => |verdict| verdict.reordered > 0,
    }
}

#[test]
fn every_planted_fault_is_found() {
    let recording = recording();
    for bug in BUGS {
        let found = (96_000..96_040).find(|seed| {
            // Faults to the very end of the survey.
            let drawn = Trial { faults_until_ms: 300_000, ..Trial::drawn(*seed, 1e-3) };
            // The next life of a killed host commits what the last one did not.
            let immortal =
                Trial { kill_before_disk: 0.0, kill_after_disk: 0.0, kill_ms: 0, ..drawn };
            let trial = if bug == Bug::CommitSentOnce { immortal } else { drawn };
            assert!(trial.run(&recording).is_clean(), "seed {seed} without {bug:?}");
            symptom(bug)(&trial.with_bug(bug).run(&recording))
        });
        let seed = found.unwrap_or_else(|| panic!("{bug:?} is not seen in 40 trials"));
        println!("{bug:?}: seen with seed {seed}");
    }
}

//! What the caller's store says, and what follows: nothing pulled in vain, other logs noticed.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::{Commit, FromHost, FromLever, Hello, Pull, Record};
use pinhold_protocol::record::{chain_next, chain_start, record_checksum};

use super::super::{Event, HeldRecord, Session};
use super::scripted::{DEVICE, SURVEY, Scripted, pin, record_bytes};

/// A record of this note as the store has it.
fn held(number: u32, note: u8) -> HeldRecord {
    let checksum = record_checksum(1, number, &record_bytes(SURVEY, note));
    HeldRecord { number, checksum, lost_chain: None }
}

/// A lever that greets with a log of these notes, of which `floor` are committed, to a host that
/// holds `records`.
fn greeted(
    session: Option<Session>,
    notes: &[u8],
    floor: usize,
    records: &[HeldRecord],
) -> Scripted {
    let blank = Scripted::new(&[88]);
    let chain = blank.chain(&notes[..floor]);
    let mut lever = match session {
        Some(session) => Scripted::with(session, blank.hello),
        None => blank,
    };
    lever.hello = Hello {
        next_record: notes.len() as u32,
        committed_floor: floor as u32,
        committed_chain: chain,
        ..lever.hello
    };
    lever.held = records.to_vec();
    lever.greet();
    lever
}

fn pulls(commands: &[(u16, FromHost)]) -> Vec<u32> {
    let from = |(_, command): &(u16, FromHost)| match command {
        FromHost::Pull(pull) => Some(pull.from),
        _ => None,
    };
    commands.iter().filter_map(from).collect()
}

fn commits(commands: &[(u16, FromHost)]) -> Vec<Commit> {
    let commit = |(_, command): &(u16, FromHost)| match command {
        FromHost::Commit(commit) => Some(*commit),
        _ => None,
    };
    commands.iter().filter_map(commit).collect()
}

#[test]
fn what_the_store_has_is_committed_without_being_pulled() {
    let mut lever = greeted(None, &[40, 41, 42], 1, &[held(0, 40), held(1, 41)]);
    let commands = lever.heard();
    assert_eq!(pulls(&commands), [2]);
    let chain = lever.chain(&[40, 41]);
    assert_eq!(commits(&commands), [Commit { epoch: 1, floor: 2, chain }]);
}

#[test]
fn nothing_is_pulled_or_committed_before_the_store_has_spoken() {
    let mut lever = Scripted::new(&[40]);
    lever.hello = Hello { next_record: 3, ..lever.hello };
    lever.asked();
    lever.say(&FromLever::Hello(lever.hello));
    lever.record(0, SURVEY, 40);
    let commands = lever.heard();
    assert_eq!((pulls(&commands).len(), commits(&commands).len()), (0, 0));
    assert_eq!(lever.told(), [] as [u32; 0]);
    lever.session.held(lever.now_ms, &[]);
    assert_eq!(pulls(&lever.heard()), [0]);
}

#[test]
fn a_new_survey_takes_what_nobody_has_and_leaves_what_others_have_committed() {
    let mut lever = greeted(None, &[40, 41, 42], 2, &[]);
    assert_eq!(pulls(&lever.heard()), [2]);
}

#[test]
fn a_survey_finds_its_own_readings_among_those_others_have_committed() {
    let mut lever = greeted(None, &[40, 41, 42, 43], 3, &[held(0, 40)]);
    lever.events();
    assert_eq!(pulls(&lever.heard()), [1]);
    // Another survey's is passed by, this one's is handed over.
    lever.record(1, SURVEY + 1, 41);
    assert_eq!(lever.told(), [] as [u32; 0]);
    lever.record(2, SURVEY, 42);
    assert_eq!(lever.told(), [2]);
}

#[test]
fn a_fetch_takes_all_that_is_still_there_and_ends() {
    let fetch = Some(Session::fetch(0, 0));
    let mut lever = greeted(fetch, &[40, 41, 42], 2, &[held(1, 41)]);
    assert_eq!(pulls(&lever.heard()), [0]);
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(pulls(&lever.heard()), [2], "the one it has is passed by");
    lever.record(2, SURVEY, 42);
    assert_eq!(lever.told(), [2]);
    lever.session.kept(lever.now_ms, 2);
    let (sequence, command) = lever.asked();
    let chain = lever.chain(&[40, 41, 42]);
    assert_eq!(command, FromHost::Commit(Commit { epoch: 1, floor: 3, chain }));
    assert!(!lever.session.is_finished());
    lever.answer(sequence, CommandResult::PinMoving);
    assert_eq!(lever.heard(), [], "it is repeated in time and without fuss");
    let (sequence, _) = lever.asked();
    lever.answer(sequence, CommandResult::Done);
    assert!(lever.session.is_finished());
    assert_eq!(lever.events(), [Event::Finished]);
}

#[test]
fn records_overwritten_before_this_host_saw_them_are_told_and_passed() {
    let mut lever = Scripted::with(Session::fetch(0, 0), Scripted::new(&[]).hello);
    let chain = lever.chain(&[40, 41, 42, 43]);
    lever.hello = Hello {
        oldest_record: 3,
        next_record: 4,
        committed_floor: 4,
        committed_chain: chain,
        ..lever.hello
    };
    lever.held = vec![held(0, 40)];
    lever.greet();
    assert_eq!(lever.events()[1..], [Event::RecordsMissing { from: 1, to: 3 }]);
    assert_eq!(pulls(&lever.heard()), [3]);
    lever.record(3, SURVEY, 43);
    assert_eq!(lever.told(), [3]);
    lever.session.kept(lever.now_ms, 3);
    assert!(lever.session.is_finished());
}

#[test]
fn a_copied_lever_is_noticed_by_its_records() {
    // The store has 40, 41; the lever has 40, 50, and both are committed.
    let mut lever = greeted(None, &[40, 50], 2, &[held(0, 40), held(1, 41)]);
    lever.events();
    assert_eq!(pulls(&lever.heard()), [0], "from where both must be the same");
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.events(), [], "the same is not news");
    assert_eq!(pulls(&lever.heard()), [1]);
    lever.record(1, SURVEY, 50);
    assert_eq!(lever.events(), [Event::LogDisagrees { number: 1 }]);
    assert!(lever.session.is_finished());
    assert_eq!(lever.heard(), [], "and nothing is committed over it");
}

#[test]
fn a_lever_set_back_is_noticed_by_its_number() {
    let records = [held(0, 40), held(1, 41), held(2, 42)];
    let mut lever = greeted(None, &[40], 1, &records);
    assert_eq!(lever.events()[1..], [Event::LogDisagrees { number: 1 }]);
    // One record that was never acknowledged may be gone again; the next one under its number is
    // compared.
    let mut lever = greeted(None, &[40, 41], 2, &records);
    lever.events();
    assert!(!lever.session.is_finished());
    lever.record(2, SURVEY, 60);
    assert_eq!(lever.events(), [Event::LogDisagrees { number: 2 }]);
}

#[test]
fn a_log_whose_past_is_gone_and_differs_is_another_one() {
    let mut lever = Scripted::new(&[40]);
    lever.hello = Hello {
        oldest_record: 2,
        next_record: 2,
        committed_floor: 2,
        committed_chain: 99,
        ..lever.hello
    };
    lever.held = vec![held(0, 40), held(1, 41)];
    lever.greet();
    assert_eq!(lever.events()[1..], [Event::LogDisagrees { number: 2 }]);
}

#[test]
fn a_record_lost_on_the_lever_is_no_disagreement() {
    let behind = 0xfeed;
    let mut lever = Scripted::new(&[40]);
    let chain = chain_next(behind, record_checksum(1, 2, &record_bytes(SURVEY, 42)));
    lever.hello =
        Hello { next_record: 3, committed_floor: 3, committed_chain: chain, ..lever.hello };
    lever.held = vec![held(0, 40), held(1, 41), held(2, 42)];
    lever.greet();
    lever.events();
    assert_eq!(pulls(&lever.heard()), [0]);
    lever.record(0, SURVEY, 40);
    let bytes = encode_lost(behind);
    let checksum = record_checksum(1, 1, &bytes);
    lever.say(&FromLever::Record(Record { epoch: 1, number: 1, checksum, bytes: &bytes }));
    assert_eq!(lever.told(), [1], "the caller notes the loss and keeps what it has");
    lever.session.kept(lever.now_ms, 1);
    lever.record(2, SURVEY, 42);
    assert_eq!(lever.events(), []);
    assert!(!lever.session.is_finished());
    // The next time the store says so itself.
    lever.held[1].lost_chain = Some(behind);
    lever.session.reconnected(lever.now_ms);
    lever.greet();
    assert_eq!(pulls(&lever.heard()), [] as [u32; 0]);
}

#[test]
fn commits_that_never_match_are_given_up() {
    let mut lever = greeted(None, &[40], 0, &[held(0, 40)]);
    let mut commit_count = 0;
    for _ in 0..20_000 {
        if lever.session.is_finished() {
            break;
        }
        for (sequence, command) in lever.heard() {
            match command {
                FromHost::Commit(commit) => {
                    assert_eq!(commit.chain, lever.chain(&[40]));
                    commit_count += 1;
                    lever.answer(sequence, CommandResult::CommitMismatch);
                }
                FromHost::Greet(_) => {
                    lever.say(&FromLever::Hello(lever.hello));
                    lever.session.held(lever.now_ms, &lever.held);
                }
                FromHost::Pull(Pull { from: 0, .. }) => lever.record(0, SURVEY, 40),
                _ => lever.answer(sequence, CommandResult::Done),
            }
        }
        lever.now_ms += 50;
    }
    assert!(lever.events().contains(&Event::LogDisagrees { number: 0 }));
    assert_eq!(commit_count, super::super::MISMATCH_COUNT_MAX);
}

#[test]
fn a_lever_exchanged_in_silence_is_greeted_when_its_log_goes_back() {
    let mut lever = greeted(None, &[40, 41], 2, &[held(0, 40), held(1, 41)]);
    lever.events();
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    lever.events();
    lever.live(Some(pin(40)), 2, 1);
    assert!(lever.heard().iter().any(|(_, command)| matches!(command, FromHost::Greet(_))));
    let other = Hello { device: DEVICE + 1, epoch: 8, ..lever.hello };
    lever.hello = Hello { committed_chain: chain_start(DEVICE + 1, 8), ..other };
    (lever.hello.next_record, lever.hello.committed_floor) = (0, 0);
    lever.say(&FromLever::Hello(lever.hello));
    assert_eq!(lever.events(), [Event::LeverChanged(lever.hello)]);
}

#[test]
fn a_log_full_of_what_is_kept_is_greeted_anew() {
    let mut lever = Scripted::new(&[40]);
    lever.greet();
    lever.obey();
    lever.obey();
    let (choice, _) = lever.asked();
    lever.events();
    lever.answer(choice, CommandResult::LogFull);
    assert_eq!(lever.events(), [Event::PinRefused(pin(40), CommandResult::LogFull)]);
    assert!(matches!(lever.asked().1, FromHost::Greet(_)));
}

#[test]
fn a_lever_exchanged_in_silence_is_greeted_before_a_record_of_it_is_taken() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    // The other one's log has the same epoch, and a record the host waits for.
    lever.sequence = lever.sequence.wrapping_sub(300);
    lever.record(0, SURVEY, 40);
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [] as [u32; 0]);
    assert!(matches!(lever.asked().1, FromHost::Greet(_)));
}

#[test]
fn records_erased_since_the_greeting_are_found_missing_at_the_next() {
    let mut lever = greeted(None, &[40, 41, 42], 3, &[held(0, 40)]);
    lever.events();
    let [(pull, FromHost::Pull(Pull { from: 1, .. })), ..] = lever.heard()[..] else { panic!() };
    lever.answer(pull, CommandResult::NoSuchRecord);
    lever.hello.oldest_record = 2;
    lever.asked();
    lever.say(&FromLever::Hello(lever.hello));
    lever.session.held(lever.now_ms, &lever.held);
    assert!(lever.events().contains(&Event::RecordsMissing { from: 1, to: 2 }));
    assert_eq!(pulls(&lever.heard()), [2], "and it goes on behind them");
}

#[test]
fn another_lever_goes_on_with_the_pins_that_are_left() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    lever.session.kept(lever.now_ms, 0);
    lever.heard();
    lever.events();
    lever.session.reconnected(lever.now_ms);
    let chain = chain_start(DEVICE + 1, 8);
    let (device, epoch) = (DEVICE + 1, 8);
    lever.hello = Hello { device, epoch, committed_chain: chain, zeroed: true, ..lever.hello };
    lever.greet();
    assert!(matches!(lever.events()[..], [Event::LeverChanged(_)]));
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    assert_eq!(lever.obey(), FromHost::Zero(()), "its zero was not taken in this survey");
    assert!(matches!(lever.obey(), FromHost::ChoosePin(choice) if choice.pin == pin(41)));
    // The first one's record is not committed; it keeps it for the next time it is plugged in.
    lever.record(0, SURVEY, 41);
    lever.session.kept(lever.now_ms, 0);
    let commands = lever.heard();
    assert!(commits(&commands).iter().all(|commit| commit.epoch == 8));
    assert_eq!(lever.session.position(), 2);
}

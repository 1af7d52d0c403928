//! The conversation against a scripted lever, and against hostile ones.

use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::{Commit, FromHost, FromLever, Hello, Pull, Record};
use pinhold_protocol::record::{chain_next, chain_start, record_checksum};

use super::{Choice, Event, REFUSED_RETRY_MS, RETRY_MS, SILENT_MS};

mod bench;
mod errands;
mod held;
mod hostile;
mod scripted;

use scripted::{DEVICE, SURVEY, Scripted, pin, record_bytes};

#[test]
fn a_survey_from_greeting_to_end() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
    assert_eq!(lever.heard(), [], "nothing is committed or chosen before the record is kept");
    lever.session.kept(lever.now_ms, 0);
    let chain = lever.chain(&[40]);
    let [(commit, said), (choice, next)] = lever.heard()[..] else { panic!() };
    assert_eq!(said, FromHost::Commit(Commit { epoch: 1, floor: 1, chain }));
    assert_eq!(next, FromHost::ChoosePin(Choice { pin: pin(41), unstrung: false }));
    lever.answer(commit, CommandResult::Done);
    lever.answer(choice, CommandResult::Done);
    assert_eq!(lever.events(), [Event::PinChosen(pin(41))]);
    lever.record(1, SURVEY, 41);
    assert_eq!(lever.told(), [1]);
    lever.session.kept(lever.now_ms, 1);
    assert!(matches!(lever.heard()[..], [(_, FromHost::Commit(Commit { floor: 2, .. }))]));
    assert!(!lever.session.is_finished());
    // The commit was lost: it is sent again, and only its answer lets the survey end.
    let (again, command) = lever.asked();
    assert!(matches!(command, FromHost::Commit(Commit { floor: 2, .. })), "{command:?}");
    lever.answer(again, CommandResult::Done);
    assert_eq!(lever.obey(), FromHost::StopSurvey(()));
    assert!(lever.session.is_finished());
    assert_eq!(lever.events(), [Event::Finished]);
}

#[test]
fn a_record_fetched_after_a_reconnect_settles_its_pin() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    // Read, but neither record nor live message got through before the cable was pulled.
    lever.session.reconnected(lever.now_ms);
    lever.hello = Hello { next_record: 1, zeroed: true, survey: SURVEY, ..lever.hello };
    lever.greet();
    let [(_, pull), (start, _)] = {
        let mut all = lever.heard();
        all.sort_by_key(|(_, command)| command.kind() != 0x86);
        <[_; 2]>::try_from(all).unwrap()
    };
    assert_eq!(pull, FromHost::Pull(Pull { from: 0, count_max: 8 }));
    lever.answer(start, CommandResult::Done);
    assert_eq!(lever.heard(), [], "no second zero, and no pin while a record is on its way");
    lever.record(0, SURVEY, 40);
    lever.session.kept(lever.now_ms, 0);
    let choices: Vec<FromHost> = lever.heard().into_iter().map(|(_, command)| command).collect();
    assert!(choices.contains(&FromHost::ChoosePin(Choice { pin: pin(41), unstrung: false })));
    assert_eq!(lever.session.position(), 1);
}

#[test]
fn a_record_written_slowly_across_a_reconnect_settles_its_pin() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
    lever.session.reconnected(lever.now_ms);
    lever.hello = Hello { next_record: 1, zeroed: true, survey: SURVEY, ..lever.hello };
    lever.greet();
    lever.obey();
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [] as [u32; 0], "handed out once only");
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(lever.session.position(), 1);
    assert!(lever.heard().iter().any(|(_, command)| matches!(command,
        FromHost::ChoosePin(choice) if choice.pin == pin(41))));
}

#[test]
fn a_record_of_another_survey_settles_no_pin() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    lever.record(0, SURVEY + 1, 40);
    assert_eq!(lever.told(), [0]);
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(lever.session.position(), 0);
    // The lever has let go of the pin, so it is chosen again.
    lever.live(None, 1, 1);
    assert!(matches!(lever.heard()[..], [.., (_, FromHost::ChoosePin(_))]));
}

#[test]
fn a_lever_that_waits_for_another_pin_is_told_again() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    lever.live(Some(pin(40)), 0, 0);
    assert_eq!(lever.heard(), []);
    lever.live(Some(pin(50)), 0, 0);
    assert!(
        matches!(lever.heard()[..], [(_, FromHost::ChoosePin(choice))] if choice.pin == pin(40))
    );
}

#[test]
fn what_is_kept_of_an_old_log_says_nothing_about_the_new_one() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
    // The battery fell out while the disk was busy; a new log has a record of the same number.
    lever.session.reconnected(lever.now_ms);
    let chain = chain_start(DEVICE, 2);
    lever.hello = Hello { epoch: 2, next_record: 1, committed_chain: chain, ..lever.hello };
    lever.greet();
    assert!(matches!(lever.events()[..], [Event::LeverChanged(_)]));
    lever.record(0, SURVEY, 50);
    assert_eq!(lever.told(), [] as [u32; 0], "not before the first is settled");
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(lever.session.position(), 1, "it is on the disk all the same");
    let commits = |commands: &[(u16, FromHost)]| {
        commands.iter().filter(|(_, command)| matches!(command, FromHost::Commit(_))).count()
    };
    assert_eq!(commits(&lever.heard()), 0);
    lever.record(0, SURVEY, 50);
    assert_eq!(lever.told(), [0]);
    assert_eq!(commits(&lever.heard()), 0);
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(commits(&lever.heard()), 1);
}

#[test]
fn a_lever_switched_off_and_on_goes_on_with_the_pins_that_are_left() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    lever.session.kept(lever.now_ms, 0);
    lever.heard();
    lever.events();
    // It says nothing of itself; the silence is noticed.
    lever.now_ms += SILENT_MS;
    let chain = chain_start(DEVICE, 2);
    lever.hello = Hello { epoch: 2, next_record: 0, committed_chain: chain, ..lever.hello };
    lever.heard();
    lever.greet();
    assert!(matches!(lever.events()[..], [Event::Silent, Event::LeverChanged(_)]));
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    assert_eq!(lever.obey(), FromHost::Zero(()), "the new life has no zero");
    assert!(matches!(lever.obey(), FromHost::ChoosePin(choice) if choice.pin == pin(41)));
    lever.record(0, SURVEY, 41);
    lever.session.kept(lever.now_ms, 0);
    let (commit, command) = lever.asked();
    assert!(matches!(command, FromHost::Commit(Commit { epoch: 2, floor: 1, .. })));
    lever.answer(commit, CommandResult::Done);
    assert_eq!(lever.obey(), FromHost::StopSurvey(()));
    assert!(lever.session.is_finished());
}

#[test]
fn a_log_that_is_not_agreed_on_is_taken_from_the_lever() {
    let mut lever = Scripted::new(&[40, 41]);
    lever.begin();
    lever.record(0, SURVEY, 40);
    lever.session.kept(lever.now_ms, 0);
    let [(commit, _), ..] = lever.heard()[..] else { panic!() };
    lever.answer(commit, CommandResult::CommitMismatch);
    // What the lever says now counts: its record comes again and the disk knows it.
    lever.hello = Hello { next_record: 1, zeroed: true, survey: SURVEY, ..lever.hello };
    lever.events();
    lever.greet();
    lever.record(0, SURVEY, 40);
    assert_eq!(lever.told(), [0]);
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(lever.session.position(), 1);
    let again = lever.heard();
    assert!(again.iter().any(|(_, command)| matches!(command, FromHost::Commit(_))), "{again:?}");
}

#[test]
fn a_lever_switched_off_and_on_in_silence_is_greeted_anew() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    lever.now_ms += SILENT_MS;
    assert!(matches!(lever.asked().1, FromHost::Greet(_)));
    assert!(lever.events().contains(&Event::Silent));
}

#[test]
fn a_reply_to_an_old_command_changes_nothing() {
    let mut lever = Scripted::new(&[40]);
    lever.greet();
    let (start, _) = lever.asked();
    lever.answer(start.wrapping_sub(1), CommandResult::Done);
    lever.answer(start.wrapping_add(900), CommandResult::Done);
    lever.now_ms += RETRY_MS;
    let (again, command) = lever.asked();
    assert!(matches!(command, FromHost::StartSurvey(_)));
    // An answer to the first try counts as well, and counts once.
    lever.answer(start, CommandResult::Done);
    let (zero, command) = lever.asked();
    assert_eq!(command, FromHost::Zero(()));
    lever.answer(again, CommandResult::Done);
    lever.answer(zero, CommandResult::Done);
    assert!(matches!(lever.asked().1, FromHost::ChoosePin(_)));
}

#[test]
fn a_pin_in_hand_from_before_keeps_its_zero() {
    let mut lever = Scripted::new(&[40]);
    lever.hello = Hello { zeroed: true, survey: SURVEY, ..lever.hello };
    lever.greet();
    lever.obey();
    let (zero, command) = lever.asked();
    assert_eq!(command, FromHost::Zero(()));
    lever.answer(zero, CommandResult::PinMoving);
    assert!(matches!(lever.asked().1, FromHost::ChoosePin(_)));
}

#[test]
fn a_lever_without_a_zero_is_not_spared_it() {
    let mut lever = Scripted::new(&[40]);
    lever.greet();
    lever.obey();
    let (zero, _) = lever.asked();
    lever.answer(zero, CommandResult::PinMoving);
    assert_eq!(lever.asked().1, FromHost::Zero(()));
}

#[test]
fn a_low_battery_and_a_moving_pin_are_waited_for() {
    let mut lever = Scripted::new(&[40]);
    lever.greet();
    lever.obey();
    lever.obey();
    for refusal in [CommandResult::BatteryLow, CommandResult::NotFit, CommandResult::PinMoving] {
        let (choice, _) = lever.asked();
        lever.events();
        lever.answer(choice, refusal);
        assert_eq!(lever.events(), [Event::PinRefused(pin(40), refusal)]);
        lever.now_ms += REFUSED_RETRY_MS - 1;
        assert_eq!(lever.heard(), []);
        lever.now_ms += 1;
    }
    assert!(matches!(lever.obey(), FromHost::ChoosePin(_)));
    assert_eq!(lever.events(), [Event::PinChosen(pin(40))]);
}

#[test]
fn a_record_that_is_not_understood_is_kept_and_committed_as_it_came() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    let bytes = [200, 1, 2, 3];
    let checksum = record_checksum(1, 0, &bytes);
    lever.say(&FromLever::Record(Record { epoch: 1, number: 0, checksum, bytes: &bytes }));
    let [Event::Record(record)] = &lever.events()[..] else { panic!() };
    assert_eq!((&record.bytes[..], &record.content), (&bytes[..], &None));
    assert!(!lever.heard().iter().any(|(_, command)| matches!(command, FromHost::Commit(_))));
    lever.session.kept(lever.now_ms, 0);
    let chain = chain_next(chain_start(DEVICE, 1), checksum);
    let commit = FromHost::Commit(Commit { epoch: 1, floor: 1, chain });
    assert!(lever.heard().iter().any(|(_, command)| *command == commit));
}

#[test]
fn a_lost_record_is_kept_and_brings_its_own_chain_value() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    let bytes = encode_lost(0xfeed);
    let checksum = record_checksum(1, 0, &bytes);
    lever.say(&FromLever::Record(Record { epoch: 1, number: 0, checksum, bytes: &bytes }));
    let [Event::Record(record)] = &lever.events()[..] else { panic!() };
    assert_eq!(record.content, Some(Content::Lost { chain: 0xfeed }));
    lever.session.kept(lever.now_ms, 0);
    assert_eq!(lever.session.position(), 0, "no pin is read by it");
    let commit = FromHost::Commit(Commit { epoch: 1, floor: 1, chain: 0xfeed });
    assert!(lever.heard().iter().any(|(_, command)| *command == commit));
}

#[test]
fn missing_records_are_pulled_from_the_first_and_not_in_a_storm() {
    let mut lever = Scripted::new(&[40, 41, 42]);
    lever.begin();
    for number in 1..8 {
        lever.record(number, SURVEY, 60);
    }
    assert_eq!(lever.told(), [] as [u32; 0]);
    let pulls = lever.heard();
    assert!(matches!(pulls[..], [(_, FromHost::Pull(Pull { from: 0, .. }))]), "{pulls:?}");
    lever.now_ms += RETRY_MS;
    assert!(matches!(lever.asked().1, FromHost::Pull(Pull { from: 0, .. })));
}

#[test]
fn a_damaged_record_is_counted_and_not_told() {
    let mut lever = Scripted::new(&[40]);
    lever.begin();
    let mut bytes = record_bytes(SURVEY, 40);
    let checksum = record_checksum(1, 0, &bytes);
    bytes[3] ^= 1;
    lever.say(&FromLever::Record(Record { epoch: 1, number: 0, checksum, bytes: &bytes }));
    assert_eq!(lever.events(), []);
    assert_eq!(lever.session.counters().checksum_count, 1);
}

#[test]
fn half_a_frame_from_before_a_reconnect_costs_nothing() {
    let mut lever = Scripted::new(&[40]);
    lever.session.receive(0, &[4, 1, 1, 7, 13]);
    lever.session.reconnected(0);
    lever.greet();
    assert_eq!(lever.events(), [Event::Greeted(lever.hello)]);
    assert_eq!(lever.session.counters().error_count(), 0);
}

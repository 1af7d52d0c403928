//! The lever with its log in flash, by the bytes on its line: what it says after a power cut.

use pinhold_flashmodel::flash::{Flash, SUBSETS, Subset, TORN_KINDS, Torn};
use pinhold_lever::calibration::Calibration;
use pinhold_lever::log::{FlashLog, RecordLog, SETTINGS_BYTES_MAX};
use pinhold_lever::{Identity, Input, Lever, settings};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::lost::decode_lost;
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Greet, Hello, Pull, StartSurvey, StoreCalibration,
};
use pinhold_protocol::record::{Pin, StringPosition, chain_start};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

type Chip = Flash<4, 4096>;
type FlashLever = Lever<FlashLog<Chip>>;

const DEVICE: u64 = 77;

fn lever(chip: Chip) -> FlashLever {
    let identity = Identity { device: DEVICE, epoch: 5, sample_period_ns: 1_000_000 };
    Lever::with_log(identity, FlashLog::mount(chip, DEVICE, identity.epoch))
}

fn again(mut lever: FlashLever) -> FlashLever {
    again_cloned(&mut lever)
}

/// Another lever, powered up with a copy of the chip.
fn again_cloned(lever: &mut FlashLever) -> FlashLever {
    let mut chip = lever.log_mut().flash_mut().clone();
    chip.power_up();
    self::lever(chip)
}

/// Says one thing to the lever; what it answers, as text.
fn say<T>(
    lever: &mut FlashLever,
    message: &FromHost,
    mut pick: impl FnMut(&FromLever<'_>) -> Option<T>,
) -> Vec<T> {
    let mut bytes = [0; WIRE_BYTES_MAX];
    let count = message.encode(1, &mut bytes).expect("fits");
    lever.step(DeviceTime::from_microseconds(1), Input::Received(&bytes[..count]));
    let pending = lever.pending().to_vec();
    lever.sent(pending.len());
    let mut reader = FrameReader::new();
    let mut found = Vec::new();
    for byte in pending {
        if let Some(frame) = reader.push(byte) {
            let message = FromLever::try_from(frame.expect("whole")).expect("known");
            found.extend(pick(&message));
        }
    }
    found
}

fn hello(lever: &mut FlashLever) -> Hello {
    let greet = FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 });
    let hellos = say(lever, &greet, |message| match message {
        FromLever::Hello(hello) => Some(*hello),
        _ => None,
    });
    hellos[0]
}

fn result(lever: &mut FlashLever, message: &FromHost) -> CommandResult {
    let results = say(lever, message, |message| match message {
        FromLever::Reply(reply) => Some(reply.result),
        _ => None,
    });
    results[0]
}

/// Numbers and bytes of the records from `from` on.
fn pull(lever: &mut FlashLever, from: u32) -> Vec<(u32, Vec<u8>)> {
    say(lever, &FromHost::Pull(Pull { from, count_max: 4 }), |message| match message {
        FromLever::Record(record) => Some((record.number, record.bytes.to_vec())),
        _ => None,
    })
}

fn choose(note: u8) -> FromHost {
    let pin = Pin { note, string: StringPosition::Centre };
    FromHost::ChoosePin(ChoosePin { pin, unstrung: false })
}

fn start() -> FromHost {
    let slip = Angle::from_radians(0.0087).expect("in range");
    FromHost::StartSurvey(StartSurvey { survey: 9, slip, stream_samples: false })
}

#[test]
fn records_epoch_and_floor_outlive_the_power() {
    let mut lever = lever(Flash::new(32, Torn::Settled, 1));
    assert_eq!(result(&mut lever, &start()), CommandResult::Done);
    assert_eq!(result(&mut lever, &choose(49)), CommandResult::Done, "room was made");
    for bytes in [&[1, 10, 11][..], &[1, 20]] {
        lever.log_mut().push(bytes).expect("room");
    }
    let before = hello(&mut lever);
    assert_eq!((before.epoch, before.next_record, before.committed_floor), (5, 2, 0));

    let mut lever = again(lever);
    let after = hello(&mut lever);
    assert_eq!(Hello { survey: 0, ..before }, after, "but for the survey in hand");
    assert_eq!(pull(&mut lever, 0), [(0, vec![1, 10, 11]), (1, vec![1, 20])]);

    let chain = lever.log_mut().next_number();
    assert_eq!(chain, 2);
    let wrong = Commit { epoch: 5, floor: 2, chain: chain_start(DEVICE, 5) };
    assert_eq!(result(&mut lever, &FromHost::Commit(wrong)), CommandResult::CommitMismatch);
    let mut host_chain = chain_start(DEVICE, 5);
    for (number, bytes) in pull(&mut lever, 0) {
        let sum = pinhold_protocol::record::record_checksum(5, number, &bytes);
        host_chain = pinhold_protocol::lost::chain_behind(host_chain, sum, &bytes);
    }
    let right = Commit { chain: host_chain, ..wrong };
    assert_eq!(result(&mut lever, &FromHost::Commit(right)), CommandResult::Done);
    let mut lever = again(lever);
    let last = hello(&mut lever);
    assert_eq!((last.committed_floor, last.committed_chain), (2, host_chain));
    assert_eq!(pull(&mut lever, 0).len(), 2, "committed records stay readable");
}

#[test]
fn a_record_torn_by_a_power_cut_is_told_as_lost_and_its_number_is_not_used_again() {
    let mut lever = lever(Flash::new(32, Torn::Settled, 2));
    result(&mut lever, &start());
    result(&mut lever, &choose(49));
    lever.log_mut().push(&[1, 10, 11]).expect("room");
    lever.log_mut().flash_mut().cut_after(10, Subset::Random);
    assert_eq!(lever.log_mut().push(&[1; 200]), None, "not acknowledged");

    let mut lever = again(lever);
    result(&mut lever, &start());
    result(&mut lever, &choose(49));
    assert_eq!(lever.log_mut().push(&[1, 30]).expect("room").number, 2);
    let records = pull(&mut lever, 0);
    assert_eq!(records[0], (0, vec![1, 10, 11]));
    assert!(decode_lost(&records[1].1).is_ok(), "{:?}", records[1]);
    assert_eq!(records[2], (2, vec![1, 30]));
}

#[test]
fn a_full_log_refuses_the_pin_until_a_host_commits() {
    let mut lever = lever(Flash::new(5, Torn::Settled, 3));
    result(&mut lever, &start());
    let mut count = 0;
    // Another pin each time: the one in hand needs no more room.
    while result(&mut lever, &choose(1 + count as u8 % 80)) == CommandResult::Done {
        lever.log_mut().push(&[1; 300]).expect("choosing made sure of room");
        count += 1;
        assert!(count < 100, "two pages of 4 KiB are never full");
    }
    assert_eq!(result(&mut lever, &choose(81)), CommandResult::LogFull);
    assert_eq!(hello(&mut lever).next_record, count);
    let mut chain = chain_start(DEVICE, 5);
    let mut floor = 0;
    while floor < count {
        for (number, bytes) in pull(&mut lever, floor) {
            let sum = pinhold_protocol::record::record_checksum(5, number, &bytes);
            chain = pinhold_protocol::lost::chain_behind(chain, sum, &bytes);
            floor = number + 1;
        }
    }
    let commit = FromHost::Commit(Commit { epoch: 5, floor, chain });
    assert_eq!(result(&mut lever, &commit), CommandResult::Done);
    assert_eq!(result(&mut lever, &choose(81)), CommandResult::Done);
}

/// Records of a size that a log of 128 KiB takes before it is full.
fn capacity(byte_count: usize) -> usize {
    let mut log: FlashLog<Chip> = FlashLog::mount(Flash::new(32, Torn::Settled, 4), DEVICE, 5);
    let mut count = 0;
    loop {
        log.make_room();
        if !log.has_room() {
            return count;
        }
        log.push(&[1; 376][..byte_count]).expect("there is room");
        count += 1;
    }
}

#[test]
fn a_log_of_128_kib_holds_a_survey_and_more() {
    let (short, long) = (capacity(165), capacity(290));
    println!("128 KiB hold {short} records of 165 bytes or {long} of 290");
    assert!(short >= 500 && long >= 300, "as firmware/core/flash.md says");
}

fn calibration(number: u32) -> StoreCalibration {
    StoreCalibration {
        number,
        zero_code_q8: 256 * i64::from(number),
        span_femtonewton_metres_per_count: 7_000_000_000 + u64::from(number),
        weight_moment: Torque::from_micronewton_metres(588_400),
    }
}

/// The calibration a lever has in flash.
fn kept_calibration(lever: &mut FlashLever) -> Option<Calibration> {
    let mut buffer = [0; SETTINGS_BYTES_MAX];
    let byte_count = lever.log_mut().settings(&mut buffer)?;
    settings::decode(&buffer[..byte_count]).expect("whole, or not there").calibration
}

fn as_kept(calibration: &StoreCalibration) -> Calibration {
    Calibration {
        number: calibration.number,
        zero_code_q8: calibration.zero_code_q8,
        span_nm_per_count: calibration.span_newton_metres_per_count_f32(),
        weight_moment_nm: calibration.weight_moment.newton_metres_f32(),
    }
}

/// Power goes at every word and every page of storing a calibration over another, whatever becomes
/// of the bits under way.
#[test]
fn a_power_cut_while_a_calibration_is_stored_leaves_the_old_one_or_the_new() {
    let (old, new) = (calibration(1), calibration(2));
    let (mut old_count, mut new_count) = (0, 0);
    for (seed, torn) in (0u64..).zip(TORN_KINDS) {
        let mut first = lever(Flash::new(8, torn, seed));
        first.log_mut().make_room();
        first.log_mut().push(&[1, 10, 11]).expect("room");
        assert_eq!(result(&mut first, &FromHost::StoreCalibration(old)), CommandResult::Done);
        for subset in SUBSETS {
            for cut in 0.. {
                let mut lever = again_cloned(&mut first);
                lever.log_mut().flash_mut().cut_after(cut, subset);
                let said = result(&mut lever, &FromHost::StoreCalibration(new));
                let was_cut = !lever.log_mut().flash_mut().is_powered();
                let mut lever = again(lever);
                let place = format!("{torn:?}, {subset:?}, cut after {cut}");
                let number = hello(&mut lever).calibration;
                let kept = kept_calibration(&mut lever).expect("one of the two");
                assert_eq!(kept.number, number, "{place}");
                let is_new = number == 2;
                assert_eq!(kept, as_kept(if is_new { &new } else { &old }), "{place}");
                // Done is only said of what stays.
                assert!(is_new || said == CommandResult::NotFit, "{place}: {said:?}");
                assert_eq!(pull(&mut lever, 0), [(0, vec![1, 10, 11])], "{place}");
                assert_eq!(lever.log_mut().flash_mut().offences(), &[] as &[&str], "{place}");
                // The host asks again, and has it in the end.
                let again = result(&mut lever, &FromHost::StoreCalibration(new));
                assert_eq!(again, CommandResult::Done, "{place}");
                if !was_cut {
                    break;
                }
                old_count += u32::from(!is_new);
                new_count += u32::from(is_new);
            }
        }
    }
    println!("{} cuts: {old_count} left the old calibration, {new_count} the new", {
        old_count + new_count
    });
    assert!(old_count > 50 && new_count > 10, "{old_count} old, {new_count} new");
}

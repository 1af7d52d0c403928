//! Our serializer writes what the `postcard` crate writes, for every message and record.

use pinhold_protocol::content::Content;
use pinhold_protocol::encoding::encode;
use pinhold_protocol::error::EncodeError;
use pinhold_protocol::message::{FromHost, FromLever, Record};
use proptest::prelude::*;
use serde::Serialize;

use crate::{sample, strategy};

/// Both forms of a value are the same bytes, and both need all the room they take.
fn same<T: Serialize + ?Sized>(value: &T) -> Result<(), TestCaseError> {
    let mut room = [0; 1024];
    let oracle = postcard::to_slice(value, &mut room).expect("the oracle has room").to_vec();
    let mut room = [0xEE; 1024];
    let used = encode(value, &mut room).expect("there is room");
    prop_assert_eq!(&room[..used], &oracle[..]);
    prop_assert_eq!(encode(value, &mut room[..used]), Ok(used), "exactly enough");
    if used > 0 {
        prop_assert_eq!(encode(value, &mut room[..used - 1]), Err(EncodeError), "one short");
    }
    Ok(())
}

fn same_from_lever(message: &FromLever<'_>) -> Result<(), TestCaseError> {
    match message {
        FromLever::Hello(body) => same(body),
        FromLever::Samples(body) => same(body),
        FromLever::Live(body) => same(body),
        FromLever::Record(body) => same(body),
        FromLever::Reply(body) => same(body),
        FromLever::Status(body) => same(body),
        FromLever::Health(body) => same(body),
        FromLever::PlanState(body) => same(body),
    }
}

fn same_from_host(message: &FromHost) -> Result<(), TestCaseError> {
    match message {
        FromHost::Greet(body) => same(body),
        FromHost::StartSurvey(body) => same(body),
        FromHost::StopSurvey(body) | FromHost::Zero(body) | FromHost::AskStatus(body) => same(body),
        FromHost::AskHealth(body) | FromHost::AskPlan(body) => same(body),
        FromHost::ChoosePin(body) => same(body),
        FromHost::Pull(body) => same(body),
        FromHost::Commit(body) => same(body),
        FromHost::PlanPart(body) => same(body),
        FromHost::StoreCalibration(body) => same(body),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn lever_messages_equal_the_oracle(
        hello in strategy::hellos(),
        live in strategy::lives(),
        reply in strategy::replies(),
        status in strategy::statuses(),
        health in strategy::healths(),
        plan in strategy::plan_states(),
    ) {
        same_from_lever(&FromLever::Hello(hello))?;
        same_from_lever(&FromLever::Live(live))?;
        same_from_lever(&FromLever::Reply(reply))?;
        same_from_lever(&FromLever::Status(status))?;
        same_from_lever(&FromLever::Health(health))?;
        same_from_lever(&FromLever::PlanState(plan))?;
    }

    #[test]
    fn messages_with_bytes_equal_the_oracle(
        bytes in prop::collection::vec(any::<u8>(), 0..400),
        numbers in any::<(u32, u32, u32)>(),
    ) {
        let samples = sample::samples_message(64, 2, &bytes);
        same_from_lever(&FromLever::Samples(samples))?;
        let (epoch, number, checksum) = numbers;
        same_from_lever(&FromLever::Record(Record { epoch, number, checksum, bytes: &bytes }))?;
    }

    #[test]
    fn host_messages_equal_the_oracle(message in strategy::host_messages()) {
        same_from_host(&message)?;
    }

    #[test]
    fn records_equal_the_oracle(reading in strategy::readings(), content in strategy::contents()) {
        same(&reading)?;
        match &content {
            Content::Reading(reading) => same(reading)?,
            Content::Trace(trace) => same(trace)?,
            Content::Skip(skip) => same(skip)?,
            // Not in postcard's format.
            Content::Lost { .. } => {}
        }
    }

    #[test]
    fn numbers_of_every_width_equal_the_oracle(
        signed in any::<(i8, i16, i32, i64)>(),
        unsigned in any::<(u8, u16, u32, u64)>(),
        others in any::<(bool, Option<i16>, Option<()>)>(),
        lists in prop::collection::vec(any::<i32>(), 0..40),
    ) {
        same(&signed)?;
        same(&unsigned)?;
        same(&others)?;
        same(&lists[..])?;
        same(&(i64::MIN, i64::MAX, u64::MAX, i32::MIN, i16::MIN, i8::MIN))?;
    }
}

#[test]
fn what_no_message_carries_is_refused() {
    let mut room = [0; 64];
    assert_eq!(encode(&1.5f32, &mut room), Err(EncodeError));
    assert_eq!(encode(&1.5f64, &mut room), Err(EncodeError));
    assert_eq!(encode("text", &mut room), Err(EncodeError));
    assert_eq!(encode(&'c', &mut room), Err(EncodeError));
    assert_eq!(encode(&Ok::<u8, u8>(1), &mut room), Ok(2), "a variant with one value");
}

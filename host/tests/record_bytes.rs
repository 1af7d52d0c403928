//! A stored reading re-encodes to the very bytes the lever sent, so its checksum can be checked
//! for ever.

use pinhold::instrument::InstrumentKind;
use pinhold::instrument::layout::modern_88;
use pinhold::store::{InstrumentFacts, NewInstrument, NewRecord, NewSurvey, Store, SurveySource};
use pinhold_protocol::content::Content;
use pinhold_protocol::record::{
    Direction, Knee, Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition,
    Stroke, encode_record, record_checksum,
};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};
use proptest::prelude::*;

fn bytes_of(reading: &Reading) -> Vec<u8> {
    let mut bytes = [0; RECORD_BYTES_MAX];
    let len = encode_record(reading, &mut bytes).expect("fits");
    bytes[..len].to_vec()
}

fn torque() -> impl Strategy<Value = Torque> {
    prop_oneof![Just(i32::MIN), Just(i32::MAX), any::<i32>()]
        .prop_map(Torque::from_micronewton_metres)
}

fn angle() -> impl Strategy<Value = Angle> {
    any::<i32>().prop_map(Angle::from_microradians)
}

prop_compose! {
    fn stroke()(
        is_sharp in any::<bool>(),
        torques in (proptest::option::of(torque()), proptest::option::of(torque()), torque(),
            torque()),
        slope in any::<i32>(),
        angles in (angle(), angle()),
        stiffness in proptest::option::of(any::<u32>()),
        knee in prop_oneof![Just(Knee::Crisp), Just(Knee::Rounded), Just(Knee::Absent)],
        words in (any::<u16>(), any::<u16>()),
        times in (any::<u32>(), any::<u32>(), any::<u32>(), any::<u32>()),
    ) -> Stroke {
        Stroke {
            direction: if is_sharp { Direction::Sharp } else { Direction::Flat },
            breakaway: torques.0,
            running: torques.1,
            running_scatter: torques.2,
            running_slope_micronewton_metres_per_radian: slope,
            running_angle: angles.0,
            ramp_stiffness: stiffness.map(Stiffness::from_micronewton_metres_per_radian),
            slip: angles.1,
            peak: torques.3,
            knee,
            stick_slip_permille: words.0,
            rest_before_ms: times.0,
            duration_ms: times.1,
            slip_ms: times.2,
            sample_count: times.3,
            flags: words.1,
        }
    }
}

prop_compose! {
    fn reading()(
        place in (1u8..=88, 0usize..4),
        times in (0..=i64::MAX as u64, any::<u32>()),
        outcome in 0usize..7,
        flags in any::<u16>(),
        torques in proptest::array::uniform4(proptest::option::of(torque())),
        angles in (angle(), angle(), angle()),
        surroundings in (any::<i16>(), any::<[i16; 3]>(), any::<u32>(), 0usize..3),
        strokes in proptest::collection::vec(stroke(), 0..=4),
    ) -> Reading {
        use StringPosition::{Centre, Fourth, Left, Right};
        Reading {
            survey: 77,
            pin: Pin { note: place.0, string: [Left, Centre, Right, Fourth][place.1] },
            started: DeviceTime::from_microseconds(times.0),
            duration_ms: times.1,
            outcome: [
                Outcome::Measured,
                Outcome::FlatOnly,
                Outcome::SharpOnly,
                Outcome::BreakawayOnly,
                Outcome::AboveLimit,
                Outcome::MovedOnSeating,
                Outcome::Spoiled,
            ][outcome],
            flags,
            friction: torques[0],
            string_moment: torques[1],
            sharp: torques[2],
            flat: torques[3],
            net_rotation: angles.0,
            excursion_flat: angles.1,
            excursion_sharp: angles.2,
            temperature_centi_celsius: surroundings.0,
            attitude_milli_g: surroundings.1,
            calibration: surroundings.2,
            samples: [SampleCoverage::None, SampleCoverage::WithGaps, SampleCoverage::Complete]
                [surroundings.3],
            strokes: strokes.into_iter().collect(),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    #[test]
    fn what_is_stored_gives_the_bytes_back(readings in proptest::collection::vec(reading(), 1..6)) {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let instrument = store
            .create_instrument(&NewInstrument {
                instrument: modern_88("x", InstrumentKind::Grand),
                facts: InstrumentFacts::default(),
                created: "2026-01-01T00:00:00Z".to_owned(),
            })
            .unwrap();
        let survey = store
            .begin_survey(
                instrument,
                &NewSurvey {
                    uid: 77,
                    started: "2026-01-01T00:00:00Z".to_owned(),
                    source: SurveySource::Lever,
                    temperature_centi_celsius: None,
                    humidity_permille: None,
                    notes: String::new(),
                    condition: Default::default(),
                },
            )
            .unwrap();
        let (device, epoch) = (u64::MAX - 5, u32::MAX - 1);
        for (number, reading) in (0u32..).zip(&readings) {
            let checksum = record_checksum(epoch, number, &bytes_of(reading));
            let bytes = bytes_of(reading);
            let record = NewRecord {
                device,
                epoch,
                number,
                checksum,
                bytes: &bytes,
                content: Some(&Content::Reading(reading.clone())),
                received: "2026-01-01T00:00:00Z",
            };
            store.keep_record(Some(survey), &record).unwrap();
        }
        let stored = store.readings_of(survey).unwrap().lever;
        prop_assert_eq!(stored.len(), readings.len());
        for ((number, sent), kept) in (0u32..).zip(&readings).zip(&stored) {
            let bytes = bytes_of(&kept.reading);
            prop_assert_eq!(&bytes, &bytes_of(sent));
            prop_assert_eq!(record_checksum(epoch, number, &bytes), kept.crc32);
        }
    }
}

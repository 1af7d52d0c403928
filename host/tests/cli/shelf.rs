//! A store with lever readings in it, filled through the library.

use pinhold::store::{
    Contact, NewRecord, NewSurvey, RecordName, Store, StoredPlan, SurveyId, SurveySource,
};
use pinhold_protocol::content::{
    Content, Skip, Trace, TracePoint, UNASSIGNED, decode_content, encode_skip, encode_trace,
};
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::Hello;
use pinhold_protocol::record::{
    Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition, encode_record,
    record_checksum,
};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use crate::run::Bench;

/// The lever everything comes from.
pub(crate) const DEVICE: u64 = 0xabcd;
/// Its epoch.
pub(crate) const EPOCH: u32 = 2;
/// Identity of the survey begun.
pub(crate) const SURVEY: u64 = 7001;

/// A pin by note and string.
pub(crate) fn pin(note: u8, string: StringPosition) -> Pin {
    Pin { note, string }
}

/// Pins 40L, 40C, 40R, 41L, 41C, 41R, 42L.
pub(crate) fn pins() -> Vec<Pin> {
    let strings = [StringPosition::Left, StringPosition::Centre, StringPosition::Right];
    (0..7).map(|place| pin(40 + place / 3, strings[usize::from(place % 3)])).collect()
}

/// A plain reading; friction says which one it is.
pub(crate) fn reading(survey: u64, pin: Pin, friction_nm: i32) -> Reading {
    let torque = |nm: i32| Some(Torque::from_micronewton_metres(nm * 1_000_000));
    Reading {
        survey,
        pin,
        started: DeviceTime::from_microseconds(60_000_000),
        duration_ms: 6000,
        outcome: Outcome::Measured,
        flags: 0,
        friction: torque(friction_nm),
        string_moment: torque(3),
        sharp: torque(friction_nm + 3),
        flat: torque(friction_nm - 3),
        net_rotation: Angle::default(),
        excursion_flat: Angle::default(),
        excursion_sharp: Angle::default(),
        temperature_centi_celsius: 2100,
        attitude_milli_g: [0, 0, 1000],
        calibration: 0,
        samples: SampleCoverage::WithGaps,
        strokes: Default::default(),
    }
}

/// The store behind a bench, with instrument `x` and a lever met at a known moment.
pub(crate) struct Shelf {
    pub(crate) store: Store,
    /// The lever whose records come now.
    pub(crate) device: u64,
    next: u32,
}

impl Shelf {
    pub(crate) fn new(bench: &Bench) -> Shelf {
        assert_eq!(bench.run(&["instrument", "add", "x"]).code, 0);
        let mut store = Store::open(&bench.data()).unwrap();
        let hello = Hello {
            protocol_min: 1,
            protocol_max: 1,
            device: DEVICE,
            epoch: EPOCH,
            firmware: [0, 1, 0],
            record_version: 1,
            now: DeviceTime::from_microseconds(120_000_000),
            oldest_record: 0,
            next_record: 0,
            committed_floor: 0,
            committed_chain: 0,
            sample_period_ns: 1_000_000,
            calibration: 0,
            zeroed: false,
            survey: 0,
        };
        let (seen, calendar_ms) = ("2026-01-01T00:00:00.000Z", 1_767_225_600_000);
        store.note_lever(&Contact { hello: &hello, seen, calendar_ms }).unwrap();
        Shelf { store, device: DEVICE, next: 0 }
    }

    /// The same store again, its lever's next record being `next`.
    pub(crate) fn reopened(bench: &Bench, next: u32) -> Shelf {
        Shelf { store: Store::open(&bench.data()).unwrap(), device: DEVICE, next }
    }

    /// Begins the survey of `x` with these pins as its plan.
    pub(crate) fn begin(&mut self, pins: &[Pin]) -> SurveyId {
        let instrument = self.store.find_instrument("x").unwrap().id;
        let new = NewSurvey {
            uid: SURVEY,
            started: "2026-01-01T00:00:00.000Z".to_owned(),
            source: SurveySource::Lever,
            temperature_centi_celsius: None,
            humidity_permille: None,
            notes: String::new(),
            condition: Default::default(),
        };
        let plan = StoredPlan { slip: Angle::from_microradians(8727), pins: pins.to_vec() };
        self.store.begin_planned_survey(instrument, &new, &plan).unwrap()
    }

    /// Keeps the next record, by its bytes; its place.
    pub(crate) fn arrive(&mut self, bytes: &[u8]) -> RecordName {
        let number = self.next;
        self.next += 1;
        let content = decode_content(bytes).ok();
        let survey = match &content {
            Some(Content::Reading(reading)) => self.store.find_survey(reading.survey).unwrap(),
            _ => None,
        };
        let record = NewRecord {
            device: self.device,
            epoch: EPOCH,
            number,
            checksum: record_checksum(EPOCH, number, bytes),
            bytes,
            content: content.as_ref(),
            received: "2026-01-01T00:00:00.000Z",
        };
        self.store.keep_record(survey.map(|survey| survey.id), &record).unwrap();
        RecordName { device: self.device, epoch: EPOCH, number }
    }

    pub(crate) fn read(&mut self, reading: &Reading) -> RecordName {
        let mut buffer = [0; RECORD_BYTES_MAX];
        let length = encode_record(reading, &mut buffer).unwrap();
        self.arrive(&buffer[..length])
    }

    /// A reading of no plan.
    pub(crate) fn read_unassigned(&mut self, friction_nm: i32) -> RecordName {
        self.read(&reading(0, UNASSIGNED, friction_nm))
    }

    pub(crate) fn skip(&mut self, pin: Pin) -> RecordName {
        let skip = Skip { survey: SURVEY, pin, at: DeviceTime::from_microseconds(1) };
        let mut buffer = [0; RECORD_BYTES_MAX];
        let length = encode_skip(&skip, &mut buffer).unwrap();
        self.arrive(&buffer[..length])
    }

    pub(crate) fn trace(&mut self, of: RecordName) -> RecordName {
        let mut trace = Trace {
            reading: of.number,
            interval_ms: 80,
            torque_step: Torque::from_micronewton_metres(100_000),
            angle_step: Angle::from_microradians(140),
            points: Default::default(),
        };
        for torque in [0, -60, 90] {
            trace.points.push(TracePoint { torque, angle: 0 }).unwrap();
        }
        let mut buffer = [0; RECORD_BYTES_MAX];
        let length = encode_trace(&trace, &mut buffer).unwrap();
        self.arrive(&buffer[..length])
    }

    pub(crate) fn lose(&mut self) -> RecordName {
        self.arrive(&encode_lost(0xfeed))
    }
}

//! A hostile lever: the host's conversation comes back and holds no more than it may.

use pinhold::bench::{Settler, StabilityRule};
use pinhold::link::session::{EVENT_COUNT_MAX, Event, OUTGOING_BYTES_MAX, Plan, Session};
use pinhold_protocol::message::{ChoosePin, StoreCalibration};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::{Angle, Torque};

use crate::Source;
use crate::wire::{framed, lever_frames};

/// Acts taken from one run of bytes at most.
const ACT_COUNT_MAX: usize = 400;

/// For [`run`] and [`run_bench`].
pub fn seeds() -> Vec<Vec<u8>> {
    let raw = |wire: &Vec<u8>| [&[0, wire.len() as u8][..], wire].concat();
    let frames = lever_frames();
    // Behind a greeting, whatever it says.
    let hello = [
        &[1, 0x01, 20, 1, 1, 3, 3, 0, 1, 0, 1, 0, 0, 3, 0, 0, 0x80, 0x89, 0x7a, 0, 0, 1][..],
        &[0],
    ]
    .concat();
    let mut seeds: Vec<Vec<u8>> = frames.iter().map(raw).collect();
    let talk: Vec<u8> =
        frames.iter().flat_map(|wire| [raw(wire), vec![2, 255, 3]].concat()).collect();
    seeds.push([hello, talk].concat());
    seeds
}

/// Acts, each a byte and what it needs.
pub fn run(bytes: &[u8]) {
    let mut source = Source(bytes);
    let pin = Pin { note: 49, string: StringPosition::Centre };
    let plan = Plan {
        survey: 7,
        pins: vec![ChoosePin { pin, unstrung: false }],
        slip: Angle::from_microradians(8_727),
        calendar_ms: 0,
        stream_samples: true,
        zero_first: true,
    };
    let mut session = Session::new(plan, 0);
    let mut now_ms = 0;
    let mut handed_out = None;
    for _ in 0..ACT_COUNT_MAX {
        if source.is_empty() {
            break;
        }
        match source.byte() % 6 {
            0 => {
                let count = usize::from(source.byte());
                session.receive(now_ms, source.bytes(count));
            }
            1 => {
                let (kind, count) = (source.byte(), usize::from(source.byte()));
                session.receive(now_ms, &framed(kind, 0, source.bytes(count)));
            }
            2 => {
                now_ms += u64::from(source.byte());
                session.tick(now_ms);
            }
            3 => {
                let mut count = 0;
                while let Some(event) = session.next_event() {
                    count += 1;
                    match event {
                        Event::Record(record) => handed_out = Some(record.number),
                        Event::Greeted(_) | Event::LeverChanged(_) => session.held(now_ms, &[]),
                        _ => {}
                    }
                }
                assert!(count <= EVENT_COUNT_MAX);
            }
            4 => {
                let number = handed_out.take().unwrap_or(source.word());
                session.kept(now_ms, number);
            }
            _ => session.reconnected(now_ms),
        }
        assert!(session.take_outgoing().len() <= OUTGOING_BYTES_MAX);
    }
}

/// Acts of a lever on the bench, and what is asked of it.
pub fn run_bench(bytes: &[u8]) {
    let mut source = Source(bytes);
    let mut session = Session::bench(0, 0);
    let mut settler = Settler::new(StabilityRule::default(), 1_000_000);
    let mut now_ms = 0;
    for _ in 0..ACT_COUNT_MAX {
        if source.is_empty() {
            break;
        }
        match source.byte() % 6 {
            0 => {
                let count = usize::from(source.byte());
                session.receive(now_ms, source.bytes(count));
            }
            1 => {
                let (kind, count) = (source.byte(), usize::from(source.byte()));
                session.receive(now_ms, &framed(kind, 0, source.bytes(count)));
            }
            2 => {
                now_ms += u64::from(source.byte());
                session.tick(now_ms);
            }
            3 => {
                let mut count = 0;
                while let Some(event) = session.next_event() {
                    count += 1;
                    if let Event::Samples(samples) = event {
                        let shown = settler.push(&samples);
                        assert_eq!(shown.unsettled.is_none(), settler.settled().is_ok());
                    }
                }
                assert!(count <= EVENT_COUNT_MAX);
            }
            4 => match source.byte() % 5 {
                0 => session.take_zero(),
                1 => session.store_calibration(StoreCalibration {
                    number: source.word(),
                    zero_code_q8: i64::from(source.word()),
                    span_femtonewton_metres_per_count: u64::from(source.word()),
                    weight_moment: Torque::ZERO,
                }),
                2 => session.withdraw(),
                3 => session.bench_afresh(),
                _ => session.end_bench(),
            },
            _ => session.reconnected(now_ms),
        }
        assert!(session.take_outgoing().len() <= OUTGOING_BYTES_MAX);
    }
}

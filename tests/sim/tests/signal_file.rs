//! The committed stretch of samples: made by the simulator, and short on the wire.

use std::path::PathBuf;

use pinhold_lever::sample::rounded;
use pinhold_lever::{Identity, Input, Lever};
use pinhold_protocol::block::{self, RawSample};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, StartSurvey};
use pinhold_protocol::units::{Angle, DeviceTime};
use pinhold_simtest::signal;

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/signal/survey_64s.bin")
}

/// The committed file; written anew first with `PINHOLD_BLESS=1` set.
fn committed() -> Vec<u8> {
    if std::env::var_os("PINHOLD_BLESS").is_some() {
        let bytes = signal::to_bytes(&signal::simulate());
        std::fs::write(path(), bytes).expect("the signal file is writable");
    }
    std::fs::read(path()).expect("the committed signal file")
}

#[test]
fn the_simulator_still_gives_the_committed_signal() {
    let groups = signal::from_bytes(&committed()).expect("whole groups");
    let simulated = signal::simulate();
    assert_eq!(groups.len(), signal::GROUP_COUNT);
    let differing = groups.iter().zip(&simulated).position(|(file, now)| file != now);
    assert_eq!(differing, None, "first group that differs");
}

/// Length of the frames of samples the lever sends, delimiters and all, and what is in them.
struct Streamed {
    wire_bytes: usize,
    block_count: usize,
    samples: Vec<RawSample>,
}

/// Hands the whole file to a lever that streams, and takes every byte it sends at once.
fn stream(groups: &[signal::Group]) -> Streamed {
    let mut lever = Lever::new(Identity { device: 1, epoch: 1, sample_period_ns: 1_000_000 });
    let mut now_ms = 0u64;
    let at = |now_ms: u64| DeviceTime::from_microseconds(now_ms * 1000);
    let start = FromHost::StartSurvey(StartSurvey {
        survey: 1,
        slip: Angle::from_microradians(8_727),
        stream_samples: true,
    });
    let mut wire = [0; WIRE_BYTES_MAX];
    let used = start.encode(0, &mut wire).expect("fits");
    lever.step(at(0), Input::Received(&wire[..used]));
    let mut streamed = Streamed { wire_bytes: 0, block_count: 0, samples: Vec::new() };
    let mut reader = FrameReader::new();
    let mut frame_bytes = 0;
    for group in groups {
        for (place, sample) in group.samples.iter().enumerate() {
            if place + 1 == group.samples.len() {
                lever.step(at(now_ms), Input::Motion(group.motion));
            }
            now_ms += 1;
            lever.step(at(now_ms), Input::Sample(*sample));
            for byte in lever.pending() {
                frame_bytes += 1;
                let Some(frame) = reader.push(*byte) else { continue };
                let message = FromLever::try_from(frame.expect("whole frame")).expect("known");
                if let FromLever::Samples(block) = message {
                    assert_eq!(block.dropped_block_count, 0);
                    let before = streamed.samples.len();
                    assert_eq!(block.first_index as usize, before, "no gap");
                    streamed
                        .samples
                        .resize(before + usize::from(block.count), RawSample::default());
                    let slots = &mut streamed.samples[before..];
                    block::decode(block.coding, block.data, slots).expect("decodes");
                    streamed.wire_bytes += frame_bytes;
                    streamed.block_count += 1;
                }
                frame_bytes = 0;
            }
            let sent = lever.pending().len();
            lever.sent(sent);
        }
    }
    streamed
}

#[test]
fn the_signal_takes_at_most_1_9_bytes_a_sample_on_the_wire() {
    let groups = signal::from_bytes(&committed()).expect("whole groups");
    let given: Vec<RawSample> = groups.iter().flat_map(|group| group.samples.clone()).collect();
    let streamed = stream(&groups);
    // Bit for bit what the lever measured with, which is the file rounded to the lever's steps.
    let measured: Vec<RawSample> = given.iter().map(|sample| rounded(*sample)).collect();
    assert!(streamed.samples == measured, "samples changed on the way");
    let off = |a: &RawSample, b: &RawSample| {
        ((a.bridge_code - b.bridge_code).abs(), (a.rate_count - b.rate_count).abs())
    };
    assert!(given.iter().zip(&measured).all(|(a, b)| off(a, b).0 <= 8 && off(a, b).1 <= 2));
    let per_sample = streamed.wire_bytes as f64 / given.len() as f64;
    println!(
        "{} samples in {} blocks: {} bytes on the wire, {per_sample:.3} a sample, all in",
        given.len(),
        streamed.block_count,
        streamed.wire_bytes
    );
    assert!(per_sample <= 1.9, "{per_sample}");
}

/// The noise the README states is the noise in the file: differences of samples at rest off the
/// pin, in the first second behind the stilling of the hand, spread by √2 of it.
#[test]
fn the_signal_has_the_stated_noise() {
    let groups = signal::from_bytes(&committed()).expect("whole groups");
    let still: Vec<RawSample> =
        groups.iter().flat_map(|group| group.samples.clone()).skip(300).take(250).collect();
    let spread = |value: fn(&RawSample) -> f64| {
        let squares: f64 = still.windows(2).map(|w| (value(&w[1]) - value(&w[0])).powi(2)).sum();
        (squares / (still.len() - 1) as f64 / 2.0).sqrt()
    };
    let bridge = spread(|sample| f64::from(sample.bridge_code));
    let rate = spread(|sample| f64::from(sample.rate_count));
    println!("noise of one sample at rest: bridge {bridge:.1} counts, rate {rate:.1} counts");
    assert!((36.0..46.0).contains(&bridge), "{bridge}");
    assert!((12.0..16.0).contains(&rate), "{rate}");
}

use super::*;

/// Blocks of 64 samples whose codes and rates a rule says, from `first` on.
fn blocks(
    first: u32,
    count: u32,
    code: impl Fn(u32) -> f64,
    rate: impl Fn(u32) -> f64,
) -> Vec<ArrivedSamples> {
    (0..count)
        .map(|block| {
            let first_index = first + 64 * block;
            let sample = |index: u32| RawSample {
                bridge_code: code(index).round() as i32,
                rate_count: rate(index).round() as i16,
            };
            ArrivedSamples {
                first_index,
                samples: (first_index..first_index + 64).map(sample).collect(),
                wire_byte_count: 100,
                acceleration_milli_g: [10, -30, 999],
                temperature_centi_celsius: 2_150,
            }
        })
        .collect()
}

/// Noise of standard deviation 1, the same at every run.
fn noise(index: u32) -> f64 {
    let draw = |salt: u32| {
        let mut x = index.wrapping_mul(2_654_435_769).wrapping_add(salt.wrapping_mul(40_503));
        x ^= x >> 16;
        x = x.wrapping_mul(0x85eb_ca6b);
        x ^= x >> 13;
        x = x.wrapping_mul(0xc2b2_ae35);
        x ^= x >> 16;
        f64::from(x) / 4_294_967_296.0
    };
    // Twelve uniform numbers have the variance of one.
    (0..12).map(draw).sum::<f64>() - 6.0
}

fn still(_: u32) -> f64 {
    100.0
}

fn watch(blocks: &[ArrivedSamples]) -> Settler {
    let mut settler = Settler::new(StabilityRule::default(), 1_000_000);
    for block in blocks {
        settler.push(block);
    }
    settler
}

#[test]
fn a_steady_load_settles_in_two_seconds_to_its_mean() {
    let code = |index| 430_000.0 + 40.0 * noise(index);
    let early = watch(&blocks(7, 31, code, still));
    assert_eq!(early.settled(), Err(Unsettled::Waiting), "1984 samples are not yet 2 s");
    let settled = watch(&blocks(7, 32, code, still)).settled().unwrap();
    assert_eq!(settled.sample_count, 2_000);
    assert!((settled.mean_code - 430_000.0).abs() < 4.0, "{settled:?}");
    assert!((settled.code_sd - 40.0).abs() < 2.0, "{settled:?}");
    assert_eq!(settled.force_g, [0.01, -0.03, 0.999]);
    assert!((settled.temperature_c - 21.5).abs() < 1e-12);
}

#[test]
fn noise_alone_seldom_holds_it_up() {
    // Far above the floor, so that the noise decides.
    let rule = StabilityRule { agreement_floor_counts: 0.0, ..StabilityRule::default() };
    let mut refused_count = 0;
    for trial in 0..200u32 {
        let mut settler = Settler::new(rule, 1_000_000);
        for block in blocks(trial * 4_096, 32, |index| 3_000.0 * noise(index), still) {
            settler.push(&block);
        }
        refused_count += u32::from(settler.settled().is_err());
    }
    assert!(refused_count <= 3, "{refused_count} of 200, one in a thousand is meant");
}

#[test]
fn a_swing_a_creep_a_turn_and_a_load_too_large_are_told_apart() {
    // A weight on a cord of a quarter of a metre: a second to and fro.
    let swing = |index: u32| {
        50_000.0 + 2_000.0 * libm::sin(f64::from(index) * 0.006_1) + 40.0 * noise(index)
    };
    assert_eq!(watch(&blocks(0, 40, swing, still)).settled(), Err(Unsettled::Swinging));
    // As long as two windows, and each begins at its height: the means agree.
    let hidden =
        |index: u32| 50_000.0 + 400.0 * libm::cos(f64::from(index) * 0.002 * core::f64::consts::PI);
    assert_eq!(watch(&blocks(0, 40, hidden, still)).settled(), Err(Unsettled::Swinging));
    let creep = |index: u32| 50_000.0 + 0.5 * f64::from(index) + 40.0 * noise(index);
    assert_eq!(watch(&blocks(0, 40, creep, still)).settled(), Err(Unsettled::Drifting));
    let steady = |_: u32| 50_000.0;
    let turn = |index: u32| if index < 1_500 { 100.0 } else { 200.0 };
    assert_eq!(watch(&blocks(0, 40, steady, turn)).settled(), Err(Unsettled::Moving));
    assert_eq!(watch(&blocks(0, 40, steady, |_| 2_000.0)).settled(), Err(Unsettled::Moving));
    let full = |_: u32| f64::from(BRIDGE_CODE_MAX);
    assert_eq!(watch(&blocks(0, 20, full, still)).settled(), Err(Unsettled::Saturated));
    let mut tilted = blocks(0, 40, steady, still);
    tilted.iter_mut().skip(20).for_each(|block| block.acceleration_milli_g[1] = 60);
    assert_eq!(watch(&tilted).settled(), Err(Unsettled::Moving));
}

#[test]
fn a_knock_passes_and_a_lost_block_costs_its_time_only() {
    let code = |index: u32| if index < 300 { 8_388_607.0 } else { 50_000.0 + 40.0 * noise(index) };
    let mut seen = blocks(0, 48, code, still);
    assert_eq!(watch(&seen[..32]).settled(), Err(Unsettled::Waiting));
    seen.remove(20);
    let settled = watch(&seen).settled().unwrap();
    assert!((settled.mean_code - 50_000.0).abs() < 5.0, "{settled:?}");
    assert!(settled.code_sd < 45.0, "{settled:?}");
}

#[test]
fn behind_a_long_gap_or_a_restart_it_begins_anew() {
    let before = blocks(100_000, 30, |_| 50_000.0, still);
    for first in [0, 103_000] {
        let mut all = before.clone();
        all.extend(blocks(first, 31, |_| 90_000.0, still));
        assert_eq!(watch(&all).settled(), Err(Unsettled::Waiting), "{first}");
        all.extend(blocks(first + 31 * 64, 1, |_| 90_000.0, still));
        assert_eq!(watch(&all).settled().map(|settled| settled.mean_code), Ok(90_000.0));
    }
}

#[test]
fn samples_whose_attitude_is_not_known_yet_do_not_count() {
    let mut all = blocks(0, 33, |_| 50_000.0, still);
    all[0].acceleration_milli_g = [0; 3];
    all[0].temperature_centi_celsius = 0;
    assert_eq!(watch(&all[..32]).settled(), Err(Unsettled::Waiting));
    let settled = watch(&all).settled().unwrap();
    assert_eq!(settled.force_g, [0.01, -0.03, 0.999]);
    assert!((settled.temperature_c - 21.5).abs() < 1e-12);
}

#[test]
fn no_rule_and_no_period_makes_it_hold_more_or_panic() {
    let rule =
        StabilityRule { window_ms: u32::MAX, window_count: usize::MAX, ..StabilityRule::default() };
    for (rule, period_ns) in
        [(rule, 0), (rule, u32::MAX), (StabilityRule { window_ms: 0, window_count: 0, ..rule }, 1)]
    {
        let mut settler = Settler::new(rule, period_ns);
        for block in blocks(0, 40, |_| f64::from(BRIDGE_CODE_MIN + 1), still) {
            settler.push(&block);
        }
        assert!(settler.windows.len() <= 32 && settler.open.count <= 8_192);
        settler
            .push(&ArrivedSamples { samples: Vec::new(), ..blocks(0, 1, still, still).remove(0) });
    }
}

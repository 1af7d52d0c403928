//! When a lever on the bench stands still: the mean of its codes, or why there is none yet.
//!
//! Codes are gathered in windows, one behind the other. The reading is settled when the means of
//! the last few windows agree within what their noise explains, or within a floor below which
//! nobody cares, and the codes about their mean scatter as their noise does: a swing as long as two
//! windows may show the same mean in each. The noise is taken from the differences of codes one
//! behind the other, which a weight that swings hardly changes: its swing cannot excuse itself.
//! Deliberately not here: ports
//! and clocks; time is counted in samples.
//!
//! Invariants: no window holds a code from before a long gap; memory is bounded by the rule.

use std::collections::VecDeque;

use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN, RawSample};

use crate::link::session::ArrivedSamples;

/// Degrees per second per rate count: ±125 °/s over 16 bits as the lever's motion sensor is set
/// (MEM, data sheets of common 6-axis sensors).
const RATE_DEG_S_PER_COUNT: f64 = 4.375e-3;
/// Samples in a window, whatever the rule and the lever's period say.
const WINDOW_SAMPLE_COUNT: std::ops::RangeInclusive<u64> = 16..=8_192;
/// Windows looked at, whatever the rule says.
const WINDOW_COUNT: std::ops::RangeInclusive<usize> = 2..=32;
/// Windows saturated one behind the other before it is said: a weight may knock.
const SATURATED_WINDOW_COUNT: usize = 2;

/// What counts as settled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StabilityRule {
    /// Length of a window, milliseconds.
    pub window_ms: u32,
    /// Windows whose means have to agree; all of them make up the reading.
    pub window_count: usize,
    /// Range of the means in units of their own standard error that still is agreement.
    pub agreement_factor: f64,
    /// Range of the means that is agreement whatever the noise, bridge counts.
    pub agreement_floor_counts: f64,
    /// Range of the windows' mean rates that is stillness, degrees per second.
    pub rate_range_deg_s: f64,
    /// Largest mean rate that can be the gyro's bias, degrees per second.
    pub rate_deg_s_max: f64,
    /// Range of the specific force across the handle that is stillness, standard gravities.
    pub force_range_g: f64,
    /// Time after which the wait is given up, milliseconds.
    pub give_up_ms: u32,
}

impl Default for StabilityRule {
    /// Two seconds that agree within 5.3 standard errors: the range of four means of white noise
    /// exceeds that once in a thousand (DER, studentized range, four groups, known variance). The
    /// floor is 2 mN·m of the nominal lever, a fifteenth of 1 % of 3 N·m.
    fn default() -> StabilityRule {
        StabilityRule {
            window_ms: 500,
            window_count: 4,
            agreement_factor: 5.3,
            agreement_floor_counts: 300.0,
            rate_range_deg_s: 0.3,
            rate_deg_s_max: 4.0,
            force_range_g: 0.02,
            give_up_ms: 60_000,
        }
    }
}

/// A settled reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Mean of the codes.
    pub mean_code: f64,
    /// Standard deviation of the codes about it.
    pub code_sd: f64,
    /// Codes in the mean.
    pub sample_count: u32,
    /// Mean specific force in the lever's frame, standard gravities: along the handle, across it,
    /// along the pin.
    pub force_g: [f64; 3],
    /// Mean temperature, °C.
    pub temperature_c: f64,
}

/// Why there is no settled reading yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unsettled {
    /// Too little was seen.
    Waiting,
    /// The bridge stands at the end of its range.
    Saturated,
    /// The lever turns or is tilted.
    Moving,
    /// The load swings.
    Swinging,
    /// The load creeps one way.
    Drifting,
}

impl std::fmt::Display for Unsettled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Unsettled::Waiting => "too few samples arrived",
            Unsettled::Saturated => "the load is beyond the lever's range",
            Unsettled::Moving => "the lever itself moves",
            Unsettled::Swinging => "the load still swings",
            Unsettled::Drifting => "the load creeps one way",
        })
    }
}

/// What the lever shows now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveBench {
    /// Mean code of the last block of samples, some sixteenth of a second.
    pub code: f64,
    /// Specific force in the lever's frame, standard gravities.
    pub force_g: [f64; 3],
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Samples seen since the wait began.
    pub sample_count: u64,
    /// Why it is not settled; `None` once it is.
    pub unsettled: Option<Unsettled>,
}

/// Some codes one behind the other.
#[derive(Clone, Debug, Default)]
struct Window {
    count: u64,
    code_sum: i64,
    /// Fits: 2¹³ codes of 2²³ at most.
    code_square_sum: i64,
    difference_count: u64,
    difference_square_sum: i64,
    rate_sum: i64,
    force_sum: [i64; 3],
    temperature_sum: i64,
    saturated: bool,
}

impl Window {
    fn mean(&self, sum: i64) -> f64 {
        sum as f64 / self.count.max(1) as f64
    }

    fn mean_code(&self) -> f64 {
        self.mean(self.code_sum)
    }

    fn push(&mut self, sample: RawSample, before: Option<i32>, around: &ArrivedSamples) {
        let code = i64::from(sample.bridge_code.clamp(BRIDGE_CODE_MIN, BRIDGE_CODE_MAX));
        self.count += 1;
        self.code_sum += code;
        self.code_square_sum += code * code;
        if let Some(before) = before {
            let difference = code - i64::from(before);
            self.difference_count += 1;
            self.difference_square_sum += difference * difference;
        }
        self.rate_sum += i64::from(sample.rate_count);
        for (sum, part) in self.force_sum.iter_mut().zip(around.acceleration_milli_g) {
            *sum += i64::from(part);
        }
        self.temperature_sum += i64::from(around.temperature_centi_celsius);
        self.saturated |= code <= i64::from(BRIDGE_CODE_MIN) || code >= i64::from(BRIDGE_CODE_MAX);
    }
}

/// Watches samples until they stand still.
#[derive(Clone, Debug)]
pub struct Settler {
    rule: StabilityRule,
    window_sample_count: u64,
    windows: VecDeque<Window>,
    open: Window,
    /// Index of the sample expected next, and the code before it.
    next_index: Option<u32>,
    before: Option<i32>,
    seen_count: u64,
}

/// Largest less smallest.
fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    (high - low).max(0.0)
}

impl Settler {
    /// For a lever of that sample period.
    pub fn new(rule: StabilityRule, sample_period_ns: u32) -> Settler {
        let window_ns = u64::from(rule.window_ms) * 1_000_000;
        let count = window_ns / u64::from(sample_period_ns.max(1));
        Settler {
            rule,
            window_sample_count: count
                .clamp(*WINDOW_SAMPLE_COUNT.start(), *WINDOW_SAMPLE_COUNT.end()),
            windows: VecDeque::new(),
            open: Window::default(),
            next_index: None,
            before: None,
            seen_count: 0,
        }
    }

    fn window_count(&self) -> usize {
        self.rule.window_count.clamp(*WINDOW_COUNT.start(), *WINDOW_COUNT.end())
    }

    /// Takes a block; what the lever shows.
    pub fn push(&mut self, block: &ArrivedSamples) -> LiveBench {
        let gap = self.next_index.map_or(0, |next| block.first_index.wrapping_sub(next));
        if gap != 0 {
            self.before = None;
        }
        // A lever in a new life counts from the beginning.
        if u64::from(gap) > self.window_sample_count {
            self.windows.clear();
            self.open = Window::default();
        }
        self.next_index = Some(block.first_index.wrapping_add(block.samples.len() as u32));
        // A lever just switched on does not know its attitude yet; at rest it is never without one.
        let is_known = block.acceleration_milli_g != [0; 3];
        for sample in block.samples.iter().filter(|_| is_known) {
            self.open.push(*sample, self.before, block);
            self.before = Some(sample.bridge_code);
            self.seen_count += 1;
            if self.open.count >= self.window_sample_count {
                if self.windows.len() >= self.window_count() {
                    self.windows.pop_front();
                }
                self.windows.push_back(std::mem::take(&mut self.open));
            }
        }
        let code_sum: i64 = block.samples.iter().map(|sample| i64::from(sample.bridge_code)).sum();
        LiveBench {
            code: code_sum as f64 / block.samples.len().max(1) as f64,
            force_g: block.acceleration_milli_g.map(|part| f64::from(part) / 1000.0),
            temperature_c: f64::from(block.temperature_centi_celsius) / 100.0,
            sample_count: self.seen_count,
            unsettled: self.settled().err(),
        }
    }

    /// The reading, once it is settled.
    ///
    /// # Errors
    /// Why it is not.
    pub fn settled(&self) -> Result<Settled, Unsettled> {
        let windows = &self.windows;
        let last = windows.iter().rev().take(SATURATED_WINDOW_COUNT);
        if windows.len() >= SATURATED_WINDOW_COUNT && last.clone().all(|window| window.saturated) {
            return Err(Unsettled::Saturated);
        }
        if windows.len() < self.window_count() || windows.iter().any(|window| window.saturated) {
            return Err(Unsettled::Waiting);
        }
        let rates =
            windows.iter().map(|window| window.mean(window.rate_sum) * RATE_DEG_S_PER_COUNT);
        let turns = range(rates.clone()) > self.rule.rate_range_deg_s
            || rates.clone().any(|rate| rate.abs() > self.rule.rate_deg_s_max);
        let across = windows.iter().map(|window| window.mean(window.force_sum[1]) / 1000.0);
        if turns || range(across) > self.rule.force_range_g {
            return Err(Unsettled::Moving);
        }
        let noise = self.noise_counts();
        let error = noise / (self.window_sample_count as f64).sqrt();
        let floor = self.rule.agreement_floor_counts;
        let agreement = floor.max(self.rule.agreement_factor * error);
        if range(windows.iter().map(Window::mean_code)) > agreement {
            return Err(self.restlessness());
        }
        let reading = self.reading();
        // A range of the floor is a swing of half of it either way.
        let slow = (reading.code_sd * reading.code_sd - noise * noise).max(0.0).sqrt();
        if slow > noise.max(floor / 2.0) {
            return Err(Unsettled::Swinging);
        }
        Ok(reading)
    }

    /// Standard deviation of one code from the next, less what both share, counts.
    fn noise_counts(&self) -> f64 {
        let (squares, count) = self.windows.iter().fold((0.0, 0u64), |(squares, count), window| {
            (squares + window.difference_square_sum as f64, count + window.difference_count)
        });
        // Half the mean square difference is the variance of one code.
        (squares / (2 * count.max(1)) as f64).sqrt()
    }

    fn restlessness(&self) -> Unsettled {
        let means: Vec<f64> = self.windows.iter().map(Window::mean_code).collect();
        let rises = means.windows(2).all(|pair| pair[1] > pair[0]);
        let falls = means.windows(2).all(|pair| pair[1] < pair[0]);
        if rises || falls { Unsettled::Drifting } else { Unsettled::Swinging }
    }

    fn reading(&self) -> Settled {
        let sum = |part: fn(&Window) -> i64| self.windows.iter().map(part).sum::<i64>();
        let count = self.windows.iter().map(|window| window.count).sum::<u64>();
        let (code_sum, square_sum) =
            (sum(|window| window.code_sum), sum(|window| window.code_square_sum));
        let mean = |sum: i64| sum as f64 / count as f64;
        // In whole numbers, so that nothing cancels.
        let spread = i128::from(count) * i128::from(square_sum)
            - i128::from(code_sum) * i128::from(code_sum);
        let variance = spread as f64 / (count as f64 * (count as f64 - 1.0));
        Settled {
            mean_code: mean(code_sum),
            code_sd: variance.sqrt(),
            sample_count: u32::try_from(count).unwrap_or(u32::MAX),
            force_g: [
                mean(sum(|window| window.force_sum[0])) / 1000.0,
                mean(sum(|window| window.force_sum[1])) / 1000.0,
                mean(sum(|window| window.force_sum[2])) / 1000.0,
            ],
            temperature_c: mean(sum(|window| window.temperature_sum)) / 100.0,
        }
    }
}

#[cfg(test)]
#[path = "settle_tests.rs"]
mod tests;

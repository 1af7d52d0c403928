//! What the map says of pins it was not shown: intervals and chances against the truth.
//!
//! A third of the pins is left out, and the limit below which a pin is called doubtful is set
//! near the plank's own middle, so that chances of every size come up on sound planks too.
//! Pins of one plank err together, so errors are counted by plank.

use std::fmt;

use pinhold::analysis::Profile;
use pinhold::analysis::profile::{Grade, Graded};
use pinhold_sim::rng::Random;

use super::Plank;
use super::judge::assessed;
use super::reading::{self, Shown};

/// Steps of the table of chances.
const STEP_COUNT: usize = 10;
/// What a normal law has within half of its 95 % interval.
const SHARE_OF_HALF: f64 = 0.672_9;
/// Of the normal law: 95 % lie within.
const Z_95: f64 = 1.959_964;

/// A mean over pins with its standard error, planks being independent and their pins not.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clustered {
    /// Pins.
    pub count: f64,
    sum: f64,
    of_planks: f64,
}

impl Clustered {
    fn add_plank(&mut self, differences: &[f64]) {
        let sum: f64 = differences.iter().sum();
        self.count += differences.len() as f64;
        self.sum += sum;
        self.of_planks += sum * sum;
    }

    /// The mean difference.
    pub fn mean(&self) -> f64 {
        self.sum / self.count.max(1.0)
    }

    /// Its standard error.
    pub fn error(&self) -> f64 {
        self.of_planks.sqrt() / self.count.max(1.0)
    }
}

/// Unread pins of many planks.
#[derive(Clone, Debug, Default)]
pub struct UnreadTally {
    /// In the 95 % interval, less 0.95.
    pub inside: Clustered,
    /// The same of an interval half as wide: would anyone notice?
    pub inside_half: Clustered,
    /// The same of the expected value and 1.96 standard deviations to each side.
    pub inside_plain: Clustered,
    /// Standardised errors: their mean and mean square less one.
    pub error: Clustered,
    /// Square of them, less one.
    pub square: Clustered,
    /// Below the limit, less the stated chance; by steps of the chance.
    pub chances: [Clustered; STEP_COUNT],
    /// Sum of the stated chances in each step.
    stated: [f64; STEP_COUNT],
    /// Pins by where the truth lies in their law, in tenths: as many in each when it is right.
    pub tenths: [u64; STEP_COUNT],
}

/// What was said of a pin that was not read, and the truth.
struct UnreadPin {
    expected_nm: f64,
    u_nm: f64,
    /// Stated chance of being below the limit, friction being doubtful there.
    chance: f64,
    /// Stated chance of being below the truth: evenly spread when the law is the right one.
    below_truth: f64,
    truth_nm: f64,
}

impl UnreadPin {
    /// Error in standard deviations.
    fn z(&self) -> f64 {
        (self.truth_nm - self.expected_nm) / self.u_nm.max(1e-12)
    }

    /// 1 when the truth lies in the middle `share` of the stated law.
    fn in_middle(&self, share: f64) -> f64 {
        let tail = 0.5 * (1.0 - share);
        if (tail..=1.0 - tail).contains(&self.below_truth) { 1.0 } else { 0.0 }
    }

    /// Came true or not, less the chance stated.
    fn came_true(&self, limit_nm: f64) -> f64 {
        (if self.truth_nm < limit_nm { 1.0 } else { 0.0 }) - self.chance
    }
}

/// One plank's unread pins.
pub struct UnreadPins {
    pins: Vec<UnreadPin>,
    limit_nm: f64,
}

/// Assesses a plank from two thirds of its pins.
pub fn unread(plank: &Plank) -> UnreadPins {
    let readings = reading::shown(plank, Shown::TwoThirds, &Profile::default());
    let mut frictions: Vec<f64> =
        readings.iter().filter_map(|r| Some(r.friction_nm?.value)).collect();
    frictions.sort_by(f64::total_cmp);
    let middle_nm = frictions.get(frictions.len() / 2).copied().unwrap_or(9.0);
    let limit_nm = middle_nm * Random::new(plank.seed).fork("limit").uniform(0.7, 1.1);
    let set = |value| Graded::new(value, Grade::User, "set by the harness");
    let profile = Profile {
        doubtful_nm: set(limit_nm),
        // Friction alone.
        doubtful_factor: set(1e-9),
        failing_factor: set(1e-9),
        not_holding_factor: set(1e-9),
        ..Profile::default()
    };
    let assessment = assessed(plank, &readings, &profile);
    let laws = assessment.plank.iter().flat_map(|field| &field.points);
    let points = assessment.field.points.iter().zip(&assessment.pins).zip(laws);
    let pins = points
        .zip(&plank.pins)
        .filter(|(((_, pin), _), _)| !pin.read)
        .map(|(((point, _), law), truth)| UnreadPin {
            expected_nm: point.expected_nm.value,
            u_nm: point.expected_nm.u,
            chance: point.doubtful_chance,
            below_truth: law.law.chance_below(libm::log(truth.friction_nm), 0.0),
            truth_nm: truth.friction_nm,
        })
        .collect();
    UnreadPins { pins, limit_nm }
}

impl UnreadTally {
    /// Counts one plank.
    pub fn add(&mut self, plank: &UnreadPins) {
        let pins = &plank.pins;
        let each = |of: &dyn Fn(&UnreadPin) -> f64| -> Vec<f64> { pins.iter().map(of).collect() };
        let plain = |pin: &UnreadPin| if pin.z().abs() <= Z_95 { 0.05 } else { -0.95 };
        self.inside.add_plank(&each(&|pin| pin.in_middle(0.95) - 0.95));
        self.inside_half.add_plank(&each(&|pin| pin.in_middle(SHARE_OF_HALF) - 0.95));
        self.inside_plain.add_plank(&each(&plain));
        self.error.add_plank(&each(&UnreadPin::z));
        self.square.add_plank(&each(&|pin| pin.z() * pin.z() - 1.0));
        for pin in pins {
            self.tenths[step_of(pin.below_truth)] += 1;
        }
        for step in 0..STEP_COUNT {
            let mine = || pins.iter().filter(move |pin| step_of(pin.chance) == step);
            let came_true: Vec<f64> = mine().map(|pin| pin.came_true(plank.limit_nm)).collect();
            self.chances[step].add_plank(&came_true);
            self.stated[step] += mine().map(|pin| pin.chance).sum::<f64>();
        }
    }

    /// Share of unread pins inside their 95 % interval.
    pub fn coverage(&self) -> f64 {
        0.95 + self.inside.mean()
    }

    /// Share inside an interval half as wide.
    pub fn coverage_of_half(&self) -> f64 {
        0.95 + self.inside_half.mean()
    }

    /// Steps with at least so many pins: mean stated chance, observed less stated, its error.
    pub fn steps(&self, count_min: f64) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
        let steps = self.chances.iter().zip(self.stated);
        steps
            .filter(move |(step, _)| step.count >= count_min)
            .map(|(step, stated)| (stated / step.count, step.mean(), step.error()))
    }
}

fn step_of(chance: f64) -> usize {
    ((chance * STEP_COUNT as f64) as usize).min(STEP_COUNT - 1)
}

impl fmt::Display for UnreadTally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} unread pins: {:.2} ± {:.2} % inside their 95 % interval ({:.1} % of half of it; \
             {:.2} % within 1.96 u); standardised error {:+.3}, mean square {:.3}",
            self.inside.count,
            100.0 * self.coverage(),
            100.0 * self.inside.error(),
            100.0 * self.coverage_of_half(),
            100.0 * (0.95 + self.inside_plain.mean()),
            self.error.mean(),
            1.0 + self.square.mean(),
        )?;
        let all = self.tenths.iter().sum::<u64>().max(1) as f64;
        let tenths = self.tenths.map(|count| format!("{:.1}", 100.0 * count as f64 / all));
        writeln!(f, "  in each tenth of its law, %: {}", tenths.join(" "))?;
        writeln!(f, "  stated chance   pins  mean stated  came true")?;
        for (step, (chance, stated)) in self.chances.iter().zip(self.stated).enumerate() {
            let mean = stated / chance.count.max(1.0);
            writeln!(
                f,
                "  {:>3}–{:<3} %   {:>7}     {:>5.1} %    {:>5.1} ± {:.1} %",
                100 * step / STEP_COUNT,
                100 * (step + 1) / STEP_COUNT,
                chance.count,
                100.0 * mean,
                100.0 * (mean + chance.mean()),
                100.0 * chance.error(),
            )?;
        }
        Ok(())
    }
}

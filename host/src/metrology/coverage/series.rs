//! The distribution function of a sum of independent symmetric parts, from the product of their
//! characteristic functions.
//!
//! On a period 2L the density is a cosine series whose coefficients are the characteristic
//! function at kπ/L, and its integral a sine series. Repeating the density with that period adds
//! what lies beyond ±L; a normal and bounded parts have nothing there, and the heavy tail of a t
//! with few degrees of freedom is taken off again.
//!
//! The t is summed as what it is, normals of different width: its variance is u²·ν/χ². The weights
//! are a trapezoid rule over log(χ²/ν), which converges faster than any power.

use crate::metrology::student;

/// Coefficients at most. A rectangular part almost alone needs most: its edges leave a few 10⁻⁵.
const TERM_COUNT_MAX: usize = 4096;
/// Coefficients below this are not needed any more.
const TERM_SMALLEST: f64 = 1e-12;
/// Half period in standard deviations of a part without a heavy tail: beyond lies 10⁻¹³.
const HALF_PERIOD_SIGMAS: f64 = 7.5;
/// More of it, over the degrees of freedom, for the tail of a t.
const HALF_PERIOD_TAIL_SIGMAS: f64 = 34.0;
/// From here a t is a normal within 3·10⁻⁶ of probability.
const FREEDOM_NORMAL: f64 = 1e5;
/// Widest step of the rule over log(χ²/ν).
const NODE_STEP_MAX: f64 = 0.6;
/// Its step in standard deviations of log(χ²/ν).
const NODE_STEP_SIGMAS: f64 = 1.1;
/// Nodes lighter than this beside the heaviest are left out.
const NODE_WEIGHT_SMALLEST: f64 = 1e-12;
/// Nodes to either side at most.
const NODE_COUNT_MAX: i32 = 200;
/// Periods to either side whose tails are taken off one by one; the rest by its integral.
const WRAP_COUNT: u32 = 3;
/// Places (x/L)² at which that is computed; between them it is interpolated.
const WRAP_NODES: [f64; 5] = [0.02, 0.2, 0.5, 0.8, 1.0];
/// A tail that leaves less than this beyond the period is none.
const TAIL_SMALLEST: f64 = 1e-7;
/// Steps of the search for a quantile at most.
const SEARCH_STEPS_MAX: u32 = 80;
/// Probability to which a quantile is found.
const SEARCH_TOLERANCE: f64 = 1e-11;

/// A symmetric distribution about 0.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Series {
    half_period: f64,
    /// 2/(πk) times the characteristic function at kπ/L, k from 1.
    terms: Vec<f64>,
    tail: Option<Tail>,
    /// What the repetitions of the tail put within ±x, over x: Newton's polynomial in (x/L)².
    wrapped: [f64; WRAP_NODES.len()],
}

/// A scaled t whose tail reaches beyond the period.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tail {
    u: f64,
    degrees_of_freedom: f64,
}

impl Tail {
    /// Probability beyond ±`x`, both sides together.
    fn mass_beyond(self, x: f64) -> f64 {
        2.0 * student::t_upper_tail(x / self.u, self.degrees_of_freedom)
    }

    /// What repetitions by this half period put within ±`x`.
    fn wrapped_within(self, x: f64, half_period: f64) -> f64 {
        let period = 2.0 * half_period;
        let mut sum = 0.0;
        for count in 1..=WRAP_COUNT {
            let centre = period * f64::from(count);
            sum += self.mass_beyond(centre - x) - self.mass_beyond(centre + x);
        }
        // Further out the density changes so little over a period that its sum is its integral.
        sum + self.mass_beyond(period * (f64::from(WRAP_COUNT) + 0.5)) * 2.0 * x / period
    }

    /// The same over x as a polynomial, by divided differences: it is even and smooth.
    fn wrapped(self, half_period: f64) -> [f64; WRAP_NODES.len()] {
        let mut differences = WRAP_NODES.map(|node| {
            let x = half_period * node.sqrt();
            self.wrapped_within(x, half_period) / x
        });
        for order in 1..WRAP_NODES.len() {
            for index in (order..WRAP_NODES.len()).rev() {
                let run = WRAP_NODES[index] - WRAP_NODES[index - order];
                differences[index] = (differences[index] - differences[index - 1]) / run;
            }
        }
        differences
    }
}

impl Series {
    /// Sum of a scaled t (or a normal) and of rectangular parts. Something must be above zero.
    pub(super) fn new(normal_u: f64, degrees_of_freedom: f64, half_widths: &[f64]) -> Series {
        let is_t = normal_u > 0.0 && degrees_of_freedom < FREEDOM_NORMAL;
        let tail_sigmas = if is_t { HALF_PERIOD_TAIL_SIGMAS / degrees_of_freedom } else { 0.0 };
        let reach = half_widths.iter().fold(0.0, |sum, half_width| sum + half_width);
        let variance = half_widths.iter().fold(0.0, |sum, a| sum + a * a / 3.0);
        // Sums of rectangular parts have no heavier tail than the normal of their variance. Beside
        // a heavy tail they must be narrow: it is taken off as if it were alone.
        let sigmas = HALF_PERIOD_SIGMAS * variance.sqrt();
        let bounded = if is_t { sigmas } else { sigmas.min(reach) };
        let half_period = bounded + (HALF_PERIOD_SIGMAS + tail_sigmas) * normal_u;
        let frequency = std::f64::consts::PI / half_period;
        let normals = Normals::new(normal_u * frequency, is_t.then_some(degrees_of_freedom));
        let waves = half_widths.iter().map(|a| Wave::new(a * frequency)).collect();
        let tail = is_t
            .then_some(Tail { u: normal_u, degrees_of_freedom })
            .filter(|tail| tail.mass_beyond(half_period) > TAIL_SMALLEST);
        let wrapped = tail.map_or([0.0; WRAP_NODES.len()], |tail| tail.wrapped(half_period));
        Series { half_period, terms: terms(normals, waves), tail, wrapped }
    }

    /// Probability within ±`x`, `x` not negative.
    pub(super) fn mass_within(&self, x: f64) -> f64 {
        if x >= self.half_period {
            return 1.0 - self.tail.map_or(0.0, |tail| tail.mass_beyond(x));
        }
        let share = x / self.half_period;
        let angle = std::f64::consts::PI * share;
        let twice_cosine = 2.0 * libm::cos(angle);
        // Clenshaw's recurrence for Σ terms·sin(k·angle).
        let (mut later, mut latest) = (0.0, 0.0);
        for term in self.terms.iter().rev() {
            (latest, later) = (term + twice_cosine * latest - later, latest);
        }
        let repeated = share + latest * libm::sin(angle);
        let nodes = self.wrapped.iter().zip(WRAP_NODES).rev();
        let wrapped = nodes.fold(0.0, |sum, (term, node)| term + (share * share - node) * sum);
        (repeated - x * wrapped).clamp(0.0, 1.0)
    }

    /// Half width that holds this probability.
    pub(super) fn half_width(&self, mass: f64) -> f64 {
        if mass <= 0.0 {
            return 0.0;
        }
        let mut high = self.half_period;
        let mut high_excess = self.mass_within(high) - mass;
        for _ in 0..SEARCH_STEPS_MAX {
            if high_excess >= 0.0 {
                break;
            }
            high *= 2.0;
            high_excess = self.mass_within(high) - mass;
        }
        // Regula falsi, halving the excess of an end that stays (Illinois rule).
        let (mut low, mut low_excess) = (0.0, -mass);
        for _ in 0..SEARCH_STEPS_MAX {
            let step = (high - low) * low_excess / (low_excess - high_excess);
            let middle = if step.is_finite() { low + step } else { 0.5 * (low + high) };
            let excess = self.mass_within(middle) - mass;
            if excess.abs() <= SEARCH_TOLERANCE || high - low <= f64::EPSILON * high {
                return middle;
            }
            if excess < 0.0 {
                (low, low_excess, high_excess) = (middle, excess, 0.5 * high_excess);
            } else {
                (high, high_excess, low_excess) = (middle, excess, 0.5 * low_excess);
            }
        }
        0.5 * (low + high)
    }
}

/// The coefficients, until they are too small to matter.
fn terms(mut normals: Normals, mut waves: Vec<Wave>) -> Vec<f64> {
    let mut terms = Vec::new();
    for count in 1..=TERM_COUNT_MAX {
        let order = count as f64;
        let mut value = normals.next();
        let mut bound = value;
        for wave in &mut waves {
            let (factor, factor_bound) = wave.next(order);
            value *= factor;
            bound *= factor_bound;
        }
        terms.push(value * 2.0 / (std::f64::consts::PI * order));
        if bound < TERM_SMALLEST {
            break;
        }
    }
    terms
}

/// sin(kα)/(kα) for k = 1, 2, …: a rectangular part.
struct Wave {
    angle: f64,
    step: (f64, f64),
    now: (f64, f64),
}

impl Wave {
    fn new(angle: f64) -> Wave {
        Wave { angle, step: (libm::cos(angle), libm::sin(angle)), now: (1.0, 0.0) }
    }

    /// The next factor, and what it stays below from here on.
    fn next(&mut self, order: f64) -> (f64, f64) {
        let ((c, s), (cos, sin)) = (self.step, self.now);
        self.now = (cos * c - sin * s, sin * c + cos * s);
        let inverse = 1.0 / (order * self.angle);
        (self.now.1 * inverse, inverse.min(1.0))
    }
}

/// A normal, or the mixture of normals that a t is: Σ weight·exp(−c·k²) for k = 1, 2, …
struct Normals {
    nodes: Vec<Node>,
    /// Nodes before this one are zero by now.
    first_alive: usize,
}

struct Node {
    /// weight·exp(−c·k²).
    value: f64,
    /// exp(−c·(2k + 1)), the next ratio.
    ratio: f64,
    /// exp(−2c).
    ratio_step: f64,
}

impl Node {
    fn new(weight: f64, c: f64) -> Node {
        Node { value: weight, ratio: libm::exp(-c), ratio_step: libm::exp(-2.0 * c) }
    }
}

impl Normals {
    /// `u` in units of L/π.
    fn new(u: f64, degrees_of_freedom: Option<f64>) -> Normals {
        let c = 0.5 * u * u;
        let Some(freedom) = degrees_of_freedom else {
            return Normals { nodes: vec![Node::new(1.0, c)], first_alive: 0 };
        };
        let step = NODE_STEP_MAX.min(NODE_STEP_SIGMAS * (2.0 / freedom).sqrt());
        let at = |index: i32| {
            let log = f64::from(index) * step;
            let share = libm::exp(log);
            (libm::exp(0.5 * freedom * (log - share + 1.0)), c / share)
        };
        let heavy = |(weight, _): &(f64, f64)| *weight > NODE_WEIGHT_SMALLEST;
        let mut parts: Vec<(f64, f64)> =
            (1..=NODE_COUNT_MAX).map(|index| at(-index)).take_while(heavy).collect();
        parts.reverse();
        parts.extend((0..=NODE_COUNT_MAX).map(at).take_while(heavy));
        let sum = parts.iter().fold(0.0, |sum, (weight, _)| sum + weight);
        let nodes = parts.iter().map(|(weight, c)| Node::new(weight / sum, *c)).collect();
        Normals { nodes, first_alive: 0 }
    }

    fn next(&mut self) -> f64 {
        let mut sum = 0.0;
        for (index, node) in self.nodes.iter_mut().enumerate().skip(self.first_alive) {
            node.value *= node.ratio;
            node.ratio *= node.ratio_step;
            // The widest come first and vanish first.
            if node.value < NODE_WEIGHT_SMALLEST * TERM_SMALLEST && index == self.first_alive {
                self.first_alive += 1;
            }
            sum += node.value;
        }
        sum
    }
}

//! The small unrest of a living hand.
//!
//! Two oscillations, one of 4–6 Hz and one of 7–10 Hz (physiological tremor, MEM), of unit
//! amplitude each. Deliberately not here: how large they are.

use crate::SAMPLE_PERIOD_S;
use crate::rng::Random;

/// Two slow oscillations of a living hand.
#[derive(Clone, Copy, Debug)]
pub struct Tremor {
    /// Cosine and sine of each phase.
    phase: [(f64, f64); 2],
    /// Cosine and sine of each phase step.
    step: [(f64, f64); 2],
}

impl Tremor {
    /// A tremor with its own pitch and phase.
    pub fn new(random: &mut Random) -> Tremor {
        let mut phase = [(1.0, 0.0); 2];
        let mut step = [(1.0, 0.0); 2];
        for (index, (low_hz, high_hz)) in [(4.0, 6.0), (7.0, 10.0)].into_iter().enumerate() {
            let turn = core::f64::consts::TAU;
            let start = turn * random.unit();
            let advance = turn * random.uniform(low_hz, high_hz) * SAMPLE_PERIOD_S;
            phase[index] = (libm::cos(start), libm::sin(start));
            step[index] = (libm::cos(advance), libm::sin(advance));
        }
        Tremor { phase, step }
    }

    /// The next sample, between −2 and 2.
    pub fn next_sample(&mut self) -> f64 {
        let mut sum = 0.0;
        for (phase, step) in self.phase.iter_mut().zip(self.step) {
            let (c, s) = *phase;
            let (c, s) = (c * step.0 - s * step.1, s * step.0 + c * step.1);
            // One Newton step keeps the length at 1 for ever.
            let trim = 1.5 - 0.5 * (c * c + s * s);
            *phase = (c * trim, s * trim);
            sum += phase.1;
        }
        sum
    }
}

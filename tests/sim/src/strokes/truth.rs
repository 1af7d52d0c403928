//! What the foot of a pin really did, watched from inside the simulation.
//!
//! Deliberately not here: anything a lever could see.

use pinhold_sim::SAMPLE_PERIOD_S;

/// Turning forgotten as nothing, degrees.
const NOTHING_DEG: f64 = 0.01;
/// Window over which speeds are taken, samples.
const SPEED_SAMPLE_COUNT: usize = 20;

/// One slip of the foot.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slip {
    /// Sharp rather than flat.
    pub sharp: bool,
    /// Rotation, degrees, positive.
    pub turned_deg: f64,
    /// Time its middle nine tenths took, over nine tenths, s: creeping in and out turns nothing.
    pub lasted_s: f64,
    /// Fastest the foot turned because the hand did, deg/s: the lesser speed of the two.
    pub hand_deg_s_max: f64,
    /// Fastest the foot turned, over a fiftieth of a second, deg/s.
    pub foot_deg_s_max: f64,
    /// Torque on the head while it slipped, own direction, mean from the second fifth of the
    /// rotation on, N·m.
    pub running_nm: f64,
    /// String moment at the pin in the middle of the slip, N·m.
    pub moment_nm: f64,
}

/// Watches one pin.
#[derive(Clone, Debug)]
pub struct Watch {
    /// Turning one way belongs together when it pauses no longer than this, s.
    pause_s_max: f64,
    /// Slips so far, in time; the one under way is not among them.
    pub slips: Vec<Slip>,
    open: Option<Open>,
    last_deg: Option<f64>,
    recent_deg: std::collections::VecDeque<f64>,
    recent_hand_deg_s: std::collections::VecDeque<f64>,
}

#[derive(Clone, Debug)]
struct Open {
    slip: Slip,
    moved_samples: u32,
    still_samples: u32,
    /// Every sample that moved.
    path: Vec<At>,
}

#[derive(Clone, Copy, Debug)]
struct At {
    sample: u32,
    turned_deg: f64,
    torque_nm: f64,
    moment_nm: f64,
}

/// What one sample was really like.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Foot angle, degrees.
    pub foot_deg: f64,
    /// Speed of the hand, deg/s.
    pub hand_deg_s: f64,
    /// Torque on the head, N·m, sharp positive.
    pub torque_nm: f64,
    /// String moment at the pin, N·m.
    pub moment_nm: f64,
}

impl Watch {
    /// A watch that lets a slip pause for so long.
    pub fn new(pause_s_max: f64) -> Watch {
        Watch {
            pause_s_max,
            slips: Vec::new(),
            open: None,
            last_deg: None,
            recent_deg: std::collections::VecDeque::new(),
            recent_hand_deg_s: std::collections::VecDeque::new(),
        }
    }

    /// Takes a sample.
    pub fn push(&mut self, now: &Moment) {
        let moved_deg = now.foot_deg - self.last_deg.unwrap_or(now.foot_deg);
        self.last_deg = Some(now.foot_deg);
        self.recent_deg.push_back(now.foot_deg);
        self.recent_hand_deg_s.push_back(now.hand_deg_s.abs());
        if self.recent_deg.len() > SPEED_SAMPLE_COUNT {
            self.recent_deg.pop_front();
            self.recent_hand_deg_s.pop_front();
        }
        let sharp = moved_deg > 0.0;
        if moved_deg != 0.0 && self.open.as_ref().is_none_or(|open| open.slip.sharp != sharp) {
            self.close();
            let slip = Slip { sharp, ..Slip::default() };
            self.open = Some(Open { slip, moved_samples: 0, still_samples: 0, path: Vec::new() });
        }
        let foot_deg_s = (now.foot_deg - self.recent_deg.front().copied().unwrap_or(0.0)).abs()
            / (SPEED_SAMPLE_COUNT as f64 * SAMPLE_PERIOD_S);
        // The hand's mean over the same window: a single sample is no jerk.
        let hand_deg_s =
            self.recent_hand_deg_s.iter().sum::<f64>() / self.recent_hand_deg_s.len() as f64;
        let Some(open) = &mut self.open else { return };
        if moved_deg == 0.0 {
            open.still_samples += 1;
            if f64::from(open.still_samples) * SAMPLE_PERIOD_S > self.pause_s_max {
                self.close();
            }
            return;
        }
        open.moved_samples += open.still_samples + 1;
        open.still_samples = 0;
        open.slip.turned_deg += moved_deg.abs();
        let sign = if sharp { 1.0 } else { -1.0 };
        open.path.push(At {
            sample: open.moved_samples,
            turned_deg: open.slip.turned_deg,
            torque_nm: sign * now.torque_nm,
            moment_nm: now.moment_nm,
        });
        open.slip.hand_deg_s_max = open.slip.hand_deg_s_max.max(hand_deg_s.min(foot_deg_s));
        open.slip.foot_deg_s_max = open.slip.foot_deg_s_max.max(foot_deg_s);
    }

    /// Ends the slip under way, if there is one.
    pub fn close(&mut self) {
        let Some(Open { mut slip, path, .. }) = self.open.take() else { return };
        if slip.turned_deg < NOTHING_DEG {
            return;
        }
        let when = |share: f64| {
            let at = path.iter().find(|at| at.turned_deg >= share * slip.turned_deg);
            at.map_or(0.0, |at| f64::from(at.sample) * SAMPLE_PERIOD_S)
        };
        slip.lasted_s = (when(0.95) - when(0.05)) / 0.9;
        let run: Vec<_> = path.iter().filter(|at| at.turned_deg > 0.2 * slip.turned_deg).collect();
        let count = run.len().max(1) as f64;
        slip.running_nm = run.iter().map(|at| at.torque_nm).sum::<f64>() / count;
        slip.moment_nm = run.iter().map(|at| at.moment_nm).sum::<f64>() / count;
        self.slips.push(slip);
    }
}

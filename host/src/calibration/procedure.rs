//! The way through a bench, a step at a time: what to hang where, what was read, what is next.
//!
//! Sans-IO: it asks for a settled reading by a step, is given one, and can be written down after
//! each and taken up again. The plan ([`super::plan`]): own weight off the square to both sides;
//! then at each arm, each way, no load, the masses put on one after another as listed and taken
//! off again, no load; own weight again. Deliberately not here: the conversation, clocks, files,
//! and what follows from the readings ([`super::evaluate()`]).
//!
//! Invariant: points stand in the order of the plan, and those of a series in the order they were
//! taken.

use pinhold_protocol::record::Direction;
use serde::{Deserialize, Serialize};

use super::bench::{Bench, BenchPoint, Leg, SeatingReading, Setting};
use super::diagnose::{NOMINAL_SPAN_NM_PER_COUNT, TILT_TOLD_DEG, mass_names, temperature_range_c};
use super::facts::Facts;
pub use super::plan::{PlanError, Setup, Step, plan};
use super::suspicion::{direction_word, shown};
use crate::bench::Settled;
use crate::units::TorqueUnit;

/// What a procedure's file calls itself.
pub const PROGRESS_FORMAT: &str = "pinhold.lever.calibrate.progress";
/// Version of that file.
pub const PROGRESS_VERSION: u32 = 1;

/// A lever in order shows a load within this share before anything is known of it.
const UNKNOWN_TOLERANCE: f64 = 0.12;
/// And within this once it has shown others.
const KNOWN_TOLERANCE: f64 = 0.03;
/// And within this torque, N·m.
const TOLERANCE_NM: f64 = 0.15;
/// The zero comes back within this, N·m.
const ZERO_TOLERANCE_NM: f64 = 0.1;
/// Specific force at rest is gravity within this, units of gravity.
const FORCE_TOLERANCE_G: f64 = 0.08;
/// Across the handle at least this much of gravity off the square, units of gravity.
const FREE_ACROSS_MIN_G: f64 = 0.8;

/// What makes a reading doubtful as it comes in.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// The handle points the other way.
    WrongSide,
    /// The handle is not level, degrees.
    Tilted(f64),
    /// The accelerometer does not show gravity.
    NotStill,
    /// The lever shows something else than hangs: what hangs, what it shows, N·m.
    NotAsHung(f64, f64),
    /// The zero did not come back, N·m.
    ZeroMoved(f64),
}

impl Doubt {
    /// The sentence, torque in `unit`.
    pub fn sentence(&self, unit: TorqueUnit) -> String {
        let torque = |nm: f64| torque_text(nm, unit);
        match self {
            Doubt::WrongSide => {
                "the handle points the other way than asked: turn the lever over".to_owned()
            }
            Doubt::Tilted(degrees) => {
                format!("the handle is {degrees:.0}° from level; bring it nearer to level")
            }
            Doubt::NotStill => "the lever was not still".to_owned(),
            Doubt::NotAsHung(load_nm, shown_nm) => format!(
                "{} should hang there, and the lever shows {}: are these the right weights at the \
                 right place, hanging free?",
                torque(*load_nm),
                torque(*shown_nm)
            ),
            Doubt::ZeroMoved(nm) => format!(
                "the zero moved by {}: is every weight off, does the square hold still?",
                torque(*nm)
            ),
        }
    }
}

fn torque_text(nm: f64, unit: TorqueUnit) -> String {
    format!("{:.*} {unit}", unit.decimals() + 1, unit.from_newton_metres(nm))
}

/// A reading taken, and the step it belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Taken {
    step: usize,
    point: BenchPoint,
}

/// Where a calibration stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Procedure {
    format: String,
    version: u32,
    /// Device identity of the lever.
    pub lever: u64,
    /// Whether it is a simulated one.
    pub simulated: bool,
    /// What was known before.
    pub setup: Setup,
    taken: Vec<Taken>,
    skipped: Vec<usize>,
    /// Pins seated anew.
    pub seatings: Vec<SeatingReading>,
    /// What the record says beside.
    #[serde(default)]
    pub facts: Facts,
}

impl Procedure {
    /// A calibration that begins.
    ///
    /// # Errors
    /// [`PlanError`].
    pub fn new(setup: Setup, lever: u64, simulated: bool) -> Result<Procedure, PlanError> {
        plan(&setup)?;
        Ok(Procedure {
            format: PROGRESS_FORMAT.to_owned(),
            version: PROGRESS_VERSION,
            lever,
            simulated,
            setup,
            taken: Vec::new(),
            skipped: Vec::new(),
            seatings: Vec::new(),
            facts: Facts::default(),
        })
    }

    /// Whether what was read back is a procedure of this version with a plan its steps fit.
    ///
    /// # Errors
    /// [`PlanError`].
    pub fn check(&self) -> Result<(), PlanError> {
        if self.format != PROGRESS_FORMAT {
            return Err(PlanError::NotThis { what: "this is no unfinished calibration" });
        }
        if self.version != PROGRESS_VERSION {
            let what = "the unfinished calibration was written by another version of pinhold";
            return Err(PlanError::NotThis { what });
        }
        let plan = plan(&self.setup)?;
        let fits = |taken: &Taken| {
            plan.get(taken.step).is_some_and(|step| step.setting == taken.point.setting)
        };
        let rising = self.taken.windows(2).all(|pair| pair[0].step < pair[1].step);
        let skipped = self.skipped.iter().all(|step| *step < plan.len());
        if rising && skipped && self.taken.iter().all(fits) {
            Ok(())
        } else {
            Err(PlanError::NotThis { what: "the unfinished calibration contradicts itself" })
        }
    }

    /// The plan.
    pub fn steps(&self) -> Vec<Step> {
        plan(&self.setup).unwrap_or_default()
    }

    /// Place of the next step: the first neither taken nor left out; the count of steps when all is
    /// done.
    pub fn position(&self) -> usize {
        let done = |step: &usize| {
            self.taken.iter().any(|taken| taken.step == *step) || self.skipped.contains(step)
        };
        let count = self.steps().len();
        (0..count).find(|step| !done(step)).unwrap_or(count)
    }

    /// The next step; `None` when all is done.
    pub fn next(&self) -> Option<Step> {
        self.steps().into_iter().nth(self.position())
    }

    /// What is to be done for a step, torque in `unit`.
    pub fn sentence(&self, step: &Step, unit: TorqueUnit) -> String {
        let side = match step.side {
            Direction::Sharp => "right",
            Direction::Flat => "left",
        };
        let Setting::Loaded { position, leg, masses, .. } = &step.setting else {
            return format!(
                "take the lever off the square and hold it still by the handle alone, level, head \
                 towards you, handle to the {side}"
            );
        };
        let name = self.setup.positions.get(*position).map_or(String::new(), |p| shown(&p.name));
        match (masses.is_empty(), leg) {
            (true, Leg::Up) => format!(
                "lever on the square, handle level to the {side} ({}). Hang all the weights of \
                 this series at '{name}' and take them off again, three times; then leave it \
                 without load",
                direction_word(step.side)
            ),
            (true, Leg::Down) => {
                "take the last weight off; leave the lever without load".to_owned()
            }
            (false, leg) => {
                let deed = match leg {
                    Leg::Up => "put on, gently, until there hang",
                    Leg::Down => "take off, gently, until there hang",
                };
                let unit_text = torque_text(step.load_nm, unit);
                let names = mass_names(&self.empty_bench(), masses);
                format!("'{name}', {}: {deed} {names} ({unit_text})", direction_word(step.side))
            }
        }
    }

    /// What is doubtful about a reading for the next step.
    pub fn look(&self, settled: &Settled) -> Vec<Doubt> {
        let Some(step) = self.next() else { return Vec::new() };
        let mut doubts = Vec::new();
        let force_g = settled.force_g;
        let length = force_g.iter().map(|part| part * part).sum::<f64>().sqrt();
        if (length - 1.0).abs() > FORCE_TOLERANCE_G {
            doubts.push(Doubt::NotStill);
        }
        let across = force_g[1] / length.max(f64::MIN_POSITIVE);
        let sign = sign_of(step.side);
        let tilt_deg = libm::acos(across.abs().min(1.0)).to_degrees();
        let free = step.setting == Setting::Free;
        if across * sign < 0.0 {
            doubts.push(Doubt::WrongSide);
        } else if tilt_deg > TILT_TOLD_DEG && !(free && across.abs() >= FREE_ACROSS_MIN_G) {
            doubts.push(Doubt::Tilted(tilt_deg));
        }
        if let Some(shown_nm) = self.shown_nm(&step, settled.mean_code) {
            if step.load_nm == 0.0 {
                if shown_nm.abs() > ZERO_TOLERANCE_NM {
                    doubts.push(Doubt::ZeroMoved(shown_nm));
                }
            } else {
                let (ratio, tolerance) =
                    self.ratio().map_or((1.0, UNKNOWN_TOLERANCE), |ratio| (ratio, KNOWN_TOLERANCE));
                let fits_nm = shown_nm * sign / ratio;
                let limit_nm = (tolerance * step.load_nm).max(TOLERANCE_NM);
                if (fits_nm - step.load_nm).abs() > limit_nm {
                    doubts.push(Doubt::NotAsHung(step.load_nm, fits_nm));
                }
            }
        }
        doubts
    }

    /// Torque by the nominal span since the series began; `None` at its first point and off the
    /// square.
    fn shown_nm(&self, step: &Step, code: f64) -> Option<f64> {
        let zero = self.series_zero(step, self.taken.len())?;
        Some((code - zero) * NOMINAL_SPAN_NM_PER_COUNT)
    }

    /// Code of the point without load a step's series began with, among the first points taken.
    fn series_zero(&self, step: &Step, count: usize) -> Option<f64> {
        let Setting::Loaded { position: at, direction: way, .. } = &step.setting else {
            return None;
        };
        let begins = |taken: &&Taken| match &taken.point.setting {
            Setting::Loaded { position, direction, leg, masses } => {
                position == at && direction == way && *leg == Leg::Up && masses.is_empty()
            }
            Setting::Free => false,
        };
        let first = self.taken.iter().take(count).rev().find(begins);
        first.map(|taken| taken.point.mean_code)
    }

    /// What the lever shows over what hangs, the middle of what was taken; `None` until three
    /// loads were.
    fn ratio(&self) -> Option<f64> {
        let steps = self.steps();
        let mut ratios: Vec<f64> = self
            .taken
            .iter()
            .enumerate()
            .filter_map(|(at, taken)| {
                let step = steps.get(taken.step).filter(|step| step.load_nm > 0.0)?;
                let zero = self.series_zero(step, at)?;
                let shown_nm = (taken.point.mean_code - zero) * NOMINAL_SPAN_NM_PER_COUNT;
                Some(shown_nm * sign_of(step.side) / step.load_nm)
            })
            .collect();
        ratios.sort_by(f64::total_cmp);
        let middle = ratios.get(ratios.len() / 2).copied();
        middle.filter(|ratio| ratios.len() >= 3 && *ratio > 0.0)
    }

    /// Takes a reading for the next step; nothing happens when all is done.
    pub fn take(&mut self, settled: &Settled, at_ms: i64) {
        let at = self.position();
        let Some(step) = self.next() else { return };
        let point = BenchPoint {
            setting: step.setting,
            mean_code: settled.mean_code,
            code_sd: settled.code_sd,
            sample_count: settled.sample_count,
            force_g: settled.force_g,
            temperature_c: settled.temperature_c,
            at_ms,
        };
        let before = self.taken.partition_point(|taken| taken.step < at);
        self.taken.insert(before, Taken { step: at, point });
    }

    /// Opens the whole series of a step again (its zeros belong to it), or one point off the
    /// square; how many readings went.
    pub fn reopen(&mut self, step: usize) -> usize {
        let steps = self.steps();
        let Some(wanted) = steps.get(step).map(series_key) else { return 0 };
        let again = |at: usize| {
            let same = steps.get(at).is_some_and(|other| series_key(other) == wanted);
            at == step || (wanted.is_some() && same)
        };
        let count = self.taken.len();
        self.taken.retain(|taken| !again(taken.step));
        self.skipped.retain(|skipped| !again(*skipped));
        count - self.taken.len()
    }

    /// Step of a point of [`Procedure::bench`].
    pub fn step_of(&self, point: usize) -> Option<usize> {
        self.taken.get(point).map(|taken| taken.step)
    }

    /// Goes back to the step before; whether there was one.
    pub fn redo(&mut self) -> bool {
        let Some(before) = self.position().checked_sub(1) else { return false };
        self.taken.retain(|taken| taken.step != before);
        self.skipped.retain(|step| *step != before);
        true
    }

    /// Leaves the next step out.
    pub fn skip(&mut self) {
        if self.next().is_some() {
            self.skipped.push(self.position());
        }
    }

    /// Points taken.
    pub fn taken_count(&self) -> usize {
        self.taken.len()
    }

    /// Lowest and highest temperature so far, °C; `None` before the first point.
    pub fn temperature_range_c(&self) -> Option<(f64, f64)> {
        (!self.taken.is_empty()).then(|| temperature_range_c(&self.bench()))
    }

    /// What was read so far.
    pub fn bench(&self) -> Bench {
        Bench {
            points: self.taken.iter().map(|taken| taken.point.clone()).collect(),
            seatings: self.seatings.clone(),
            ..self.empty_bench()
        }
    }

    fn empty_bench(&self) -> Bench {
        Bench {
            masses: self.setup.masses.clone(),
            positions: self.setup.positions.clone(),
            gravity: self.setup.gravity,
            points: Vec::new(),
            seatings: Vec::new(),
        }
    }
}

/// Position and direction of a step on the square.
fn series_key(step: &Step) -> Option<(usize, Direction)> {
    match &step.setting {
        Setting::Loaded { position, direction, .. } => Some((*position, *direction)),
        Setting::Free => None,
    }
}

fn sign_of(direction: Direction) -> f64 {
    match direction {
        Direction::Sharp => 1.0,
        Direction::Flat => -1.0,
    }
}

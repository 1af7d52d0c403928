//! What the analysis is given: one entry per pin read, and what is known beside torque.
//!
//! Everything is in SI units and carries a standard uncertainty (JCGM 100). Deliberately not
//! here: where the numbers came from (store, lever or file).

use std::sync::Arc;

use pinhold_protocol::record::Pin;

use super::budget::ReadingBudget;
use super::gain::Trial;
use crate::calibration::mark::LeverMark;
pub use crate::metrology::Estimate;

/// What kind of number a reading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TorqueKind {
    /// Torque while the foot slips.
    Running,
    /// Largest torque of a movement: includes the break, reads high.
    Peak,
    /// Only a limit: the pin moved (upper limit) or did not (lower limit) at this torque.
    Limit,
}

/// State of the string while the pin was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StringState {
    /// At or near pitch.
    AtPitch,
    /// Strung but slack.
    Slack,
    /// No string on the pin: friction lacks the string's side load.
    Unstrung,
}

/// What one pin's reading says, ready for the map.
#[derive(Clone, Debug, PartialEq)]
pub struct PinReading {
    /// The pin.
    pub pin: Pin,
    /// Kind of the torques.
    pub kind: TorqueKind,
    /// State of the string.
    pub state: StringState,
    /// Sharp torque as a wrench reads it, F + M, N·m; `None` when it was not taken.
    pub sharp_nm: Option<Estimate>,
    /// Flat torque as a wrench reads it, F − M, N·m, negative when the string drives the pin.
    pub flat_nm: Option<Estimate>,
    /// Friction F, N·m. `None` when nothing given yields one.
    pub friction_nm: Option<Estimate>,
    /// Measured string moment, N·m; `None` unless both directions were taken.
    pub moment_nm: Option<Estimate>,
    /// String moment at target pitch M₀, N·m, from the string scale, its kind and neighbours.
    pub moment_at_pitch_nm: Estimate,
    /// Friction over `moment_at_pitch_nm`, when there is a friction.
    pub holding_factor: Option<Estimate>,
    /// `friction_nm` is only a lower limit (the pin did not move).
    pub friction_is_lower_limit: bool,
    /// The foot ran by itself or a running sharp torque was below the string's moment.
    pub not_holding: bool,
    /// Pitch as found, cents from target, when known.
    pub cents_as_found: Option<f64>,
    /// Notable words for the pin: jumpy, spongy, moved on seating, high first break, ….
    pub remarks: Vec<String>,
    /// Why the lever behind it is to be doubted; empty for a hand tool.
    pub marks: Vec<LeverMark>,
    /// From and to of the 95 % coverage interval of friction, N·m; to is infinite for a lower
    /// limit. `None` when no budget was made.
    pub friction_interval_nm: Option<(f64, f64)>,
    /// The same of the measured moment, N·m.
    pub moment_interval_nm: Option<(f64, f64)>,
    /// The same of the holding factor.
    pub holding_interval: Option<(f64, f64)>,
    /// Where the uncertainties come from, line by line; `None` when no budget was made.
    pub budget: Option<Arc<ReadingBudget>>,
}

impl PinReading {
    /// A running reading at pitch of which only the pin and its string's moment are known: no
    /// torque, remark or budget yet.
    pub const fn without_torques(pin: Pin, moment_at_pitch_nm: Estimate) -> PinReading {
        PinReading {
            pin,
            kind: TorqueKind::Running,
            state: StringState::AtPitch,
            sharp_nm: None,
            flat_nm: None,
            friction_nm: None,
            moment_nm: None,
            moment_at_pitch_nm,
            holding_factor: None,
            friction_is_lower_limit: false,
            not_holding: false,
            cents_as_found: None,
            remarks: Vec::new(),
            marks: Vec::new(),
            friction_interval_nm: None,
            moment_interval_nm: None,
            holding_interval: None,
            budget: None,
        }
    }
}

/// How well the instrument holds its tune, as told or measured before touching it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TuneStability {
    /// Unisons stay within a cent or two over months.
    Stable,
    /// Strings leave their unisons within weeks.
    Unstable,
}

impl TuneStability {
    /// From whether it holds its tune.
    pub const fn of(holds: bool) -> TuneStability {
        if holds { TuneStability::Stable } else { TuneStability::Unstable }
    }
}

/// What the plank's own wood shows where it can be seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlankSight {
    /// Edges and joints seen and sound.
    SeenSound,
    /// Plies seen to have parted.
    PliesParted,
    /// Plank seen to have left the back, the case or the plate flange.
    OffBack,
}

/// What is known beside torque. Every field may be unknown (`None`), and unknown is not "no".
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Condition {
    /// Whether it holds tune.
    pub tune: Option<TuneStability>,
    /// What was seen of the plank.
    pub plank: Option<PlankSight>,
    /// Oil, stain or glue seen at the pins.
    pub contamination: Option<bool>,
    /// Relative humidity of the room, 0–1: mean of the last weeks when known.
    pub relative_humidity: Option<f64>,
    /// Mean pitch as found, cents from target.
    pub pitch_cents: Option<f64>,
    /// Largest pin diameter that still fits plate, bushing and tip, micrometres.
    pub largest_pin_um: Option<u32>,
    /// Plate has wooden bushings round the pins.
    pub bushed_plate: Option<bool>,
    /// Worth repairing at the owner's ceiling; `Some(false)` speaks for not worth.
    pub worth_repair: Option<bool>,
    /// Trial pins fitted so far: of the instrument, whatever the survey.
    pub trials: Vec<Trial>,
}

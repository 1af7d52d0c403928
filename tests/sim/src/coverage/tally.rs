//! Counts of intervals that contain the truth, by stratum, with their denominators.

use std::collections::BTreeMap;
use std::fmt;

use pinhold::analysis::input::PinReading;

use super::desk::Truth;
use super::own::{OWN_TORQUES_NM, OwnErrors};
use super::{Direction, StringKind};
use crate::strokes::tally::Share;

/// A quantity with an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Friction F.
    Friction,
    /// The string's moment M.
    Moment,
    /// Holding factor F / M₀.
    HoldingFactor,
}

/// All quantities.
pub const QUANTITIES: [Quantity; 3] =
    [Quantity::Friction, Quantity::Moment, Quantity::HoldingFactor];

/// Upper ends of the strata of torque on the lever, N·m.
pub const TORQUE_BANDS_NM: [f64; 4] = [7.5, 12.0, 17.0, 25.0];

/// What a count is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stratum {
    /// Everything.
    All,
    /// Torque on the lever, place in [`TORQUE_BANDS_NM`].
    Torque(usize),
    /// Directions read.
    Direction(Direction),
    /// Kind of string.
    String(StringKind),
    /// Kind of string and directions read: shown, too few of each to judge.
    Both(StringKind, Direction),
}

impl fmt::Display for Stratum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Stratum::All => f.write_str("all"),
            Stratum::Torque(band) => {
                let end_nm = TORQUE_BANDS_NM.get(*band).copied().unwrap_or(f64::INFINITY);
                write!(f, "to {end_nm:.1} N·m")
            }
            Stratum::Direction(direction) => write!(f, "{direction:?}"),
            Stratum::String(kind) => write!(f, "{kind:?}"),
            Stratum::Both(kind, direction) => write!(f, "{kind:?} {direction:?}"),
        }
    }
}

/// One reading with what was true.
pub struct Case<'a> {
    /// Directions that a running torque came of.
    pub direction: Direction,
    /// Kind of string.
    pub kind: StringKind,
    /// What was true.
    pub truth: Truth,
    /// What the host made of it.
    pub pin: &'a PinReading,
}

impl Case<'_> {
    fn truth_of(&self, quantity: Quantity) -> f64 {
        match quantity {
            Quantity::Friction => self.truth.friction_nm,
            Quantity::Moment => self.truth.moment_nm,
            Quantity::HoldingFactor => self.truth.friction_nm / self.truth.moment_at_pitch_nm,
        }
    }

    fn strata(&self) -> [Stratum; 5] {
        let above = |end: &&f64| self.truth.torque_nm >= **end;
        let band = TORQUE_BANDS_NM.iter().take_while(above).count();
        [
            Stratum::All,
            Stratum::Torque(band.min(TORQUE_BANDS_NM.len() - 1)),
            Stratum::Direction(self.direction),
            Stratum::String(self.kind),
            Stratum::Both(self.kind, self.direction),
        ]
    }
}

/// How much narrower intervals are made to see that the count would tell.
pub const NARROWER: f64 = 0.15;

/// What was counted of one quantity in one stratum.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Coverage {
    /// Intervals that contain the truth.
    pub inside: Share,
    /// The same, were each interval narrower by [`NARROWER`] about its middle.
    pub inside_narrower: Share,
    /// Intervals that lie below it.
    pub below_count: u64,
    /// Intervals that lie above it.
    pub above_count: u64,
    error_sum: f64,
    error2_sum: f64,
    width_sum: f64,
}

impl Coverage {
    fn add(&mut self, value: f64, interval: (f64, f64), truth: f64) {
        let (low, high) = interval;
        self.inside.add((low..=high).contains(&truth));
        let (middle, half) = ((low + high) / 2.0, (high - low) / 2.0);
        self.inside_narrower.add((truth - middle).abs() <= (1.0 - NARROWER) * half);
        self.below_count += u64::from(high < truth);
        self.above_count += u64::from(low > truth);
        let error = (value - truth) / truth;
        self.error_sum += error;
        self.error2_sum += error * error;
        self.width_sum += half / truth.abs();
    }

    fn merge(&mut self, other: &Coverage) {
        self.inside.merge(other.inside);
        self.inside_narrower.merge(other.inside_narrower);
        self.below_count += other.below_count;
        self.above_count += other.above_count;
        self.error_sum += other.error_sum;
        self.error2_sum += other.error2_sum;
        self.width_sum += other.width_sum;
    }
}

impl fmt::Display for Coverage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = self.inside.of.max(1) as f64;
        write!(
            f,
            "{:6} of {:6}  {:6.2} %  below {:4}  above {:4}  error {:+6.2} % rms {:5.2} %  \
             half width {:5.2} %",
            self.inside.count,
            self.inside.of,
            100.0 * self.inside.value(),
            self.below_count,
            self.above_count,
            100.0 * self.error_sum / count,
            100.0 * (self.error2_sum / count).sqrt(),
            100.0 * self.width_sum / count,
        )
    }
}

/// The counts.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Levers whose bench was evaluated.
    pub lever_count: u64,
    /// Benches the host found wrong, with what it said, by seed.
    pub refused: Vec<(u64, String)>,
    /// Pins of which no running torque came.
    pub unread_count: u64,
    /// Intervals by quantity and stratum.
    pub counts: BTreeMap<(Quantity, Stratum), Coverage>,
    /// The levers' own errors, by [`OWN_TORQUES_NM`].
    pub own: [OwnErrors; OWN_TORQUES_NM.len()],
}

impl Tally {
    /// Intervals of all quantities together.
    pub fn all(&self) -> Coverage {
        let mut all = Coverage::default();
        for ((_, stratum), coverage) in &self.counts {
            if *stratum == Stratum::All {
                all.merge(coverage);
            }
        }
        all
    }

    /// Counts a reading.
    pub fn add(&mut self, case: &Case<'_>) {
        for quantity in QUANTITIES {
            let Some((value, interval)) = said(case.pin, quantity) else { continue };
            let truth = case.truth_of(quantity);
            for stratum in case.strata() {
                let coverage = self.counts.entry((quantity, stratum)).or_default();
                coverage.add(value, interval, truth);
            }
        }
    }

    /// Adds another's counts.
    pub fn merge(&mut self, other: Tally) {
        self.lever_count += other.lever_count;
        self.refused.extend(other.refused);
        self.unread_count += other.unread_count;
        for (key, coverage) in other.counts {
            self.counts.entry(key).or_default().merge(&coverage);
        }
        for (own, others) in self.own.iter_mut().zip(other.own) {
            own.merge(others);
        }
    }
}

/// Value and 95 % interval of a quantity, as the host has it.
fn said(pin: &PinReading, quantity: Quantity) -> Option<(f64, (f64, f64))> {
    let (estimate, interval) = match quantity {
        Quantity::Friction => (pin.friction_nm?, pin.friction_interval_nm?),
        Quantity::Moment => (pin.moment_nm?, pin.moment_interval_nm?),
        Quantity::HoldingFactor => (pin.holding_factor?, pin.holding_interval?),
    };
    Some((estimate.value, interval))
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} levers, {} benches refused, {} pins unread",
            self.lever_count,
            self.refused.len(),
            self.unread_count
        )?;
        writeln!(f, "{:35} {}", "everything", self.all())?;
        for ((quantity, stratum), coverage) in &self.counts {
            let (quantity, stratum) = (format!("{quantity:?}"), stratum.to_string());
            writeln!(f, "{quantity:14} {stratum:20} {coverage}")?;
        }
        for (torque_nm, own) in OWN_TORQUES_NM.iter().zip(&self.own) {
            let at = |values: &[f64], share: f64| 100.0 * OwnErrors::quantile(values, share);
            writeln!(
                f,
                "own error at {torque_nm:4.1} N·m: within U {}; |error| median {:.2} %, 95th \
                 {:.2} %, most {:.2} %; U median {:.2} %, 95th {:.2} %, most {:.2} %",
                own.inside,
                at(&own.relative, 0.5),
                at(&own.relative, 0.95),
                at(&own.relative, 1.0),
                at(&own.expanded_relative, 0.5),
                at(&own.expanded_relative, 0.95),
                at(&own.expanded_relative, 1.0),
            )?;
        }
        Ok(())
    }
}

//! Faults put into a sound plank, by the trade's patterns.
//!
//! Shapes follow what technicians report (ONE, MEM); depths are shares of what each hole had
//! before, because a loose pin in a tight plank may still be a tight one. All sizes are invented.
//! Deliberately not here: what a fault should be called or cured with.

use std::fmt;

use pinhold::instrument::Instrument;
use pinhold_sim::rng::Random;

use super::sound::apart;
use super::{Role, TruePin};

/// What is wrong with a plank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlankFault {
    /// Nothing.
    Sound,
    /// Nothing, and one section on larger pins stands higher.
    Restrung,
    /// Nothing that torque shows: the plank is off its back.
    OffBack,
    /// A ragged part of one row inside the field, within one section.
    SplitInside,
    /// The same, running on beneath a strut.
    SplitUnderStrut,
    /// A line along the flange, bass or low tenor.
    FlangeLine,
    /// One row of a section or of the whole treble evenly low.
    WholeRow,
    /// One section low.
    LowSection,
    /// The last notes low.
    HighTreble,
    /// Neighbours over several rows.
    Patch,
    /// Single bad holes, many of them.
    Scattered,
    /// Low and more scattered everywhere.
    Dry,
    /// Bass on large pins, loose again.
    RespunBass,
}

impl PlankFault {
    /// Every kind with nothing to find by torque.
    pub const SOUND: [PlankFault; 3] =
        [PlankFault::Sound, PlankFault::Restrung, PlankFault::OffBack];

    /// Every kind with something to find.
    pub const FAULTY: [PlankFault; 10] = [
        PlankFault::SplitInside,
        PlankFault::SplitUnderStrut,
        PlankFault::FlangeLine,
        PlankFault::WholeRow,
        PlankFault::LowSection,
        PlankFault::HighTreble,
        PlankFault::Patch,
        PlankFault::Scattered,
        PlankFault::Dry,
        PlankFault::RespunBass,
    ];

    /// Its word in tables.
    pub const fn word(self) -> &'static str {
        match self {
            PlankFault::Sound => "sound",
            PlankFault::Restrung => "restrung",
            PlankFault::OffBack => "off-back",
            PlankFault::SplitInside => "split",
            PlankFault::SplitUnderStrut => "split-under-strut",
            PlankFault::FlangeLine => "flange-line",
            PlankFault::WholeRow => "whole-row",
            PlankFault::LowSection => "low-section",
            PlankFault::HighTreble => "high-treble",
            PlankFault::Patch => "patch",
            PlankFault::Scattered => "scattered",
            PlankFault::Dry => "dry",
            PlankFault::RespunBass => "respun-bass",
        }
    }

    /// A crack inside the field.
    pub const fn is_split(self) -> bool {
        matches!(self, PlankFault::SplitInside | PlankFault::SplitUnderStrut)
    }
}

impl fmt::Display for PlankFault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(self.word())
    }
}

/// How a fault is put in.
pub(super) struct Hand<'a> {
    pub(super) instrument: &'a mut Instrument,
    pub(super) pins: &'a mut [TruePin],
    pub(super) is_plain: bool,
    pub(super) random: Random,
}

impl Hand<'_> {
    /// What is left of a loose hole's friction: its fault's share, each pin its own.
    fn loosen(&mut self, at: usize, share: f64) {
        let own = self.random.uniform(0.8, 1.2);
        let pin = &mut self.pins[at];
        pin.friction_nm = pin.sound_nm * (share * own).min(0.95);
        pin.role = Role::Loose;
    }

    /// Share left by a fault of single holes and lines.
    fn share(&mut self) -> f64 {
        if self.is_plain {
            self.random.uniform(0.28, 0.48)
        } else {
            self.random.uniform(0.48, 0.66)
        }
    }

    fn row(&self, row: u8, sections: std::ops::RangeInclusive<u8>) -> Vec<usize> {
        let places = &self.instrument.pins;
        let mut row: Vec<usize> = (0..places.len())
            .filter(|i| places[*i].row == row && sections.contains(&places[*i].section))
            .collect();
        row.sort_by(|a, b| places[*a].x_m.total_cmp(&places[*b].x_m));
        row
    }

    fn last_section(&self) -> u8 {
        self.instrument.pins.iter().map(|pin| pin.section).max().unwrap_or(0)
    }

    pub(super) fn inflict(&mut self, fault: PlankFault) {
        match fault {
            PlankFault::Sound | PlankFault::Restrung => {}
            PlankFault::OffBack => self.unsettle(),
            PlankFault::SplitInside => self.split(false),
            PlankFault::SplitUnderStrut => self.split(true),
            PlankFault::FlangeLine => self.flange_line(),
            PlankFault::WholeRow => self.whole_row(),
            PlankFault::LowSection => self.low_section(),
            PlankFault::HighTreble => self.high_treble(),
            PlankFault::Patch => self.patch(),
            PlankFault::Scattered => self.scatter(),
            PlankFault::Dry => self.dry(),
            PlankFault::RespunBass => self.respin_bass(),
        }
    }

    /// At most one section a little erratic.
    fn unsettle(&mut self) {
        let section = self.random.whole(0, usize::from(self.last_section())) as u8;
        for (pin, place) in self.pins.iter_mut().zip(&self.instrument.pins) {
            if place.section == section {
                pin.friction_nm *= 1.0 + 0.05 * self.random.normal_within(0.0, 1.0, 2.0);
                pin.sound_nm = pin.friction_nm;
            }
        }
    }

    /// A run in row 1 or 2; its ends are loose, some pins between stay tight.
    fn split(&mut self, under_strut: bool) {
        let row = self.random.whole(1, 2) as u8;
        let goal = if self.is_plain { self.random.whole(10, 24) } else { self.random.whole(8, 14) };
        let last = self.last_section();
        let run = if under_strut && last >= 2 {
            let before = self.random.whole(1, usize::from(last) - 1) as u8;
            let (left, right) =
                (self.row(row, before..=before), self.row(row, before + 1..=before + 1));
            let on_left = self.random.whole(4, goal - 4).min(left.len());
            let on_right = (goal - on_left).max(4).min(right.len());
            [&left[left.len() - on_left..], &right[..on_right]].concat()
        } else {
            let roomy: Vec<u8> =
                (1..=last).filter(|s| self.row(row, *s..=*s).len() >= 12).collect();
            let section = match roomy.len() {
                0 => last.min(1),
                many => roomy[self.random.whole(0, many - 1)],
            };
            let row = self.row(row, section..=section);
            // Part of a row: a quarter of it stays outside.
            let count = goal.min(row.len() * 3 / 4);
            let from = self.random.whole(0, row.len() - count);
            row[from..from + count].to_vec()
        };
        let loose_share = self.random.uniform(0.62, 0.85);
        let share = self.share();
        let tight = self.tight_ones(run.len(), loose_share);
        for (at, is_tight) in run.into_iter().zip(tight) {
            if is_tight { self.pins[at].role = Role::TightInRun } else { self.loosen(at, share) }
        }
    }

    /// Which pins of a run stay tight: never an end.
    fn tight_ones(&mut self, count: usize, loose_share: f64) -> Vec<bool> {
        let goal = (((1.0 - loose_share) * count as f64).round() as usize).max(1);
        let mut tight = vec![false; count];
        let mut tight_count = 0;
        // Bounded: a few draws find room.
        for _ in 0..128 {
            if count < 5 || tight_count == goal {
                break;
            }
            let at = self.random.whole(1, count - 2);
            tight_count += usize::from(!tight[at]);
            tight[at] = true;
        }
        tight
    }

    fn flange_line(&mut self) {
        let section = u8::from(self.random.chance(0.5)).min(self.last_section());
        let line = self.row(0, section..=section);
        let goal = if self.is_plain { self.random.whole(9, 18) } else { self.random.whole(7, 10) };
        let count = goal.min(line.len());
        // In the tenor its low end.
        let last_start = if section == 0 { line.len() - count } else { 0 };
        let from = self.random.whole(0, last_start);
        let share = self.share();
        for (index, at) in line[from..from + count].iter().enumerate() {
            let is_end = index == 0 || index + 1 == count;
            if is_end || self.random.chance(0.92) {
                self.loosen(*at, share);
            } else {
                self.pins[*at].role = Role::TightInRun;
            }
        }
    }

    fn whole_row(&mut self) {
        let row = self.random.whole(0, 2) as u8;
        let last = self.last_section();
        let first = self.random.whole(1, usize::from(last)) as u8;
        let line = if self.random.chance(0.3) {
            self.row(row, 1..=last)
        } else {
            self.row(row, first..=first)
        };
        let share = if self.is_plain { (0.52, 0.62) } else { (0.62, 0.74) };
        let share = self.random.uniform(share.0, share.1);
        for at in line {
            // Evenly: nothing but the row's own scatter.
            self.pins[at].friction_nm = self.pins[at].sound_nm * share;
            self.pins[at].role = Role::Loose;
        }
    }

    fn lower(&mut self, low: f64, high: f64, which: impl Fn(&TruePin, u8, u8) -> bool) {
        let share = self.random.uniform(low, high);
        for at in 0..self.pins.len() {
            let place = &self.instrument.pins[at];
            if which(&self.pins[at], place.section, place.pin.note) {
                self.loosen(at, share);
            }
        }
    }

    fn low_section(&mut self) {
        let section = self.random.whole(0, usize::from(self.last_section())) as u8;
        let (low, high) = if self.is_plain { (0.38, 0.50) } else { (0.50, 0.60) };
        self.lower(low, high, |_, here, _| here == section);
    }

    fn high_treble(&mut self) {
        let from = self.instrument.last_note - self.random.whole(9, 17) as u8;
        let (low, high) = if self.is_plain { (0.35, 0.50) } else { (0.50, 0.60) };
        self.lower(low, high, |_, _, note| note >= from);
    }

    fn patch(&mut self) {
        let goal = if self.is_plain { self.random.whole(12, 26) } else { self.random.whole(9, 14) };
        let places = &self.instrument.pins;
        let treble: Vec<usize> = (0..places.len()).filter(|i| places[*i].section > 0).collect();
        let centre = &places[treble[self.random.whole(6, treble.len() - 7)]];
        let (x_m, y_m, width) = (centre.x_m, centre.y_m, self.random.uniform(0.8, 1.3));
        let away = |i: &usize| libm::hypot((places[*i].x_m - x_m) / width, places[*i].y_m - y_m);
        let mut near = treble.clone();
        near.sort_by(|a, b| away(a).total_cmp(&away(b)).then(a.cmp(b)));
        let share = self.share();
        for at in near.into_iter().take(goal) {
            if self.random.chance(0.93) {
                self.loosen(at, share);
            } else {
                self.pins[at].role = Role::TightInRun;
            }
        }
    }

    fn scatter(&mut self) {
        let goal = if self.is_plain { self.random.whole(10, 20) } else { self.random.whole(8, 12) };
        for at in apart(self.instrument, goal, 0.035, &mut self.random) {
            let share = self.share();
            self.loosen(at, share);
        }
    }

    fn dry(&mut self) {
        let (low, high) = if self.is_plain { (0.40, 0.52) } else { (0.52, 0.66) };
        self.lower(low, high, |_, _, _| true);
    }

    fn respin_bass(&mut self) {
        // 4/0 to 6/0 by their usual inch sizes (MEM).
        let size_um = [7_391, 7_518, 7_645][self.random.whole(0, 2)];
        let (low, high) = if self.is_plain { (0.25, 0.42) } else { (0.42, 0.55) };
        self.lower(low, high, |_, section, _| section == 0);
        for pin in self.instrument.pins.iter_mut().filter(|pin| pin.section == 0) {
            pin.diameter_um = Some(size_um);
        }
    }
}

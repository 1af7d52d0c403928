//! Which pins a survey sets out to read before anything is known: runs of neighbours in one row,
//! spread over all sections and rows.
//!
//! Runs and not single pins, because a crack shows as a run: three pins low side by side say what
//! three low pins far apart do not (DER from the pattern rules of the trade, ONE). The line along
//! the flange and the ends of the compass are always among them: crushed fibre and the loosest
//! bass pins are found there (ONE).
//!
//! Deliberately not here: what to read once something is known (`propose`).

use pinhold_protocol::record::Pin;

use super::places::{flange_line, rows_by_section};
use crate::analysis::survey::Site;
use crate::analysis::survey::sites_of;
use crate::instrument::Instrument;

/// Share of the pins that a quick survey reads (ours: a quarter to a third).
const QUICK_SHARE: f64 = 0.26;
/// Pins of a quick survey's run (ours): with two of them low the others say whether a third is.
const QUICK_RUN_COUNT: usize = 4;
/// Share of the pins that an adaptive survey begins with (ours).
const START_SHARE: f64 = 0.19;
/// Pins of a run it begins with.
const START_RUN_COUNT: usize = 3;
/// How much denser the line along the flange is read than the rest: crushed fibre is found there
/// (ONE), and a line is missed between runs more easily than a patch (ours).
const FLANGE_DENSITY: f64 = 1.4;

/// Pins to read, in walking order, and how many of how many they are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Design {
    /// The pins, from bass to treble and to and fro over the rows.
    pub pins: Vec<Pin>,
    /// Pins the instrument has.
    pub pin_count: usize,
    /// Runs of neighbours they make.
    pub run_count: usize,
}

impl Design {
    /// Share of the instrument's pins, 0–1.
    pub fn coverage(&self) -> f64 {
        self.pins.len() as f64 / self.pin_count.max(1) as f64
    }

    /// What it covers, in a sentence.
    pub fn sentence(&self) -> String {
        let share = 100.0 * self.coverage();
        if self.pins.len() >= self.pin_count {
            return format!("all {} pins", self.pin_count);
        }
        format!(
            "{} of {} pins ({share:.0} %) in {} runs of neighbours, over every section and row; \
             what stands between the runs is estimated, not measured",
            self.pins.len(),
            self.pin_count,
            self.run_count
        )
    }
}

/// All pins, in the instrument's own order (by note, then string): nothing is left out, and a
/// technician who tunes on goes note by note.
pub fn full(instrument: &Instrument) -> Design {
    let sites = sites_of(instrument);
    let pins: Vec<Pin> = sites.iter().map(|site| site.pin).collect();
    Design { pin_count: pins.len(), run_count: 1, pins }
}

/// About 28 % of the pins, in runs of four.
pub fn quick(instrument: &Instrument) -> Design {
    runs(instrument, QUICK_SHARE, QUICK_RUN_COUNT)
}

/// What an adaptive survey begins with: about a fifth of the pins, in runs of three.
pub fn start(instrument: &Instrument) -> Design {
    runs(instrument, START_SHARE, START_RUN_COUNT)
}

fn runs(instrument: &Instrument, share: f64, run_count: usize) -> Design {
    let sites = sites_of(instrument);
    let rows = rows_by_section(&sites);
    let mut chosen = vec![false; sites.len()];
    // Rows of one section take turns, so that runs of neighbouring rows do not stand together.
    let mut row_in_section = 0;
    for (index, row) in rows.iter().enumerate() {
        let same = index > 0 && sites[rows[index - 1][0]].section == sites[row[0]].section;
        row_in_section = if same { row_in_section + 1 } else { 0 };
        let at_flange = row.iter().filter(|i| sites[**i].at_flange).count();
        let denser = if 2 * at_flange > row.len() { FLANGE_DENSITY } else { 1.0 };
        choose_runs(row, share * denser, run_count, row_in_section, &mut chosen);
    }
    mark_ends(&sites, &mut chosen);
    let runs = found_runs(&rows, &chosen);
    let pins = walk(&runs, &sites).into_iter().map(|i| sites[i].pin).collect();
    Design { pins, pin_count: sites.len(), run_count: runs.len() }
}

/// Marks runs in one row: as many as the share asks, evenly spaced, shifted by the row's number.
fn choose_runs(
    row: &[usize],
    share: f64,
    run_count: usize,
    row_in_section: usize,
    chosen: &mut [bool],
) {
    let wanted = share * row.len() as f64;
    let runs = ((wanted / run_count as f64).round() as usize).max(1);
    let size = (wanted / runs as f64).round().clamp(2.0, run_count as f64 + 1.0) as usize;
    let size = size.min(row.len());
    let period = row.len() as f64 / runs as f64;
    // Thirds of a period: with three rows every place along the section has a run near it.
    let shift = match row_in_section % 3 {
        0 => 0.5,
        1 => 0.17,
        _ => 0.83,
    };
    for run in 0..runs {
        let centre = (run as f64 + shift) * period;
        let first = (centre - 0.5 * size as f64).round().max(0.0) as usize;
        let first = first.min(row.len() - size);
        for index in &row[first..first + size] {
            chosen[*index] = true;
        }
    }
}

/// Both ends of the compass and of the flange line.
fn mark_ends(sites: &[Site], chosen: &mut [bool]) {
    let flange = flange_line(sites);
    let ends = [flange.first(), flange.last()].into_iter().flatten().copied();
    let all = super::places::along((0..sites.len()).collect(), sites);
    let compass = [all.first(), all.last()].into_iter().flatten().copied();
    for index in ends.chain(compass).collect::<Vec<_>>() {
        chosen[index] = true;
    }
}

/// The chosen stretches of each row.
fn found_runs(rows: &[Vec<usize>], chosen: &[bool]) -> Vec<Vec<usize>> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for row in rows {
        let mut open = false;
        for index in row {
            match (chosen[*index], open) {
                (true, true) => runs.last_mut().into_iter().for_each(|run| run.push(*index)),
                (true, false) => runs.push(vec![*index]),
                (false, _) => {}
            }
            open = chosen[*index];
        }
    }
    runs
}

/// Runs from bass to treble, each walked from bass to treble.
fn walk(runs: &[Vec<usize>], sites: &[Site]) -> Vec<usize> {
    let mut order: Vec<&Vec<usize>> = runs.iter().collect();
    let middle = |run: &[usize]| {
        run.iter().fold(0.0, |sum, i| sum + sites[*i].x_m) / run.len().max(1) as f64
    };
    order.sort_by(|a, b| middle(a).total_cmp(&middle(b)).then(a.cmp(b)));
    order.into_iter().flatten().copied().collect()
}

#[cfg(test)]
mod tests {
    use super::super::super::test_planks::grand;
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn a_quick_survey_reads_a_quarter_to_a_third_in_runs() {
        let instrument = grand();
        let design = quick(&instrument);
        assert!((0.25..=0.33).contains(&design.coverage()), "{}", design.sentence());
        let unique: BTreeSet<Pin> = design.pins.iter().copied().collect();
        assert_eq!(unique.len(), design.pins.len());
        // Three pins to a run or more in the mean: they are runs, not single pins.
        assert!(design.run_count * 3 <= design.pins.len(), "{}", design.sentence());
        let sites = sites_of(&instrument);
        let rows = rows_by_section(&sites);
        for row in &rows {
            let read = row.iter().filter(|i| unique.contains(&sites[**i].pin)).count();
            assert!(read >= 2, "row {} of section {}", sites[row[0]].row, sites[row[0]].section);
            // Nowhere along a row more than two periods without a pin.
            let longest = row
                .iter()
                .fold((0, 0), |(longest, gap), i| {
                    let gap = if unique.contains(&sites[*i].pin) { 0 } else { gap + 1 };
                    (longest.max(gap), gap)
                })
                .0;
            assert!(longest <= 16, "{longest} pins unseen in a row of {}", row.len());
        }
    }

    #[test]
    fn the_walk_goes_from_bass_to_treble() {
        let instrument = grand();
        for design in [quick(&instrument), start(&instrument)] {
            let sites = sites_of(&instrument);
            let x = |pin: &Pin| sites.iter().find(|s| s.pin == *pin).map_or(0.0, |s| s.x_m);
            let back = design
                .pins
                .windows(2)
                .map(|pair| (x(&pair[0]) - x(&pair[1])).max(0.0))
                .fold(0.0, f64::max);
            // A step back is at most the length of two runs.
            assert!(back < 0.2, "{back}");
            assert_eq!(design, runs_again(&instrument, design.pins.len()));
        }
    }

    fn runs_again(instrument: &Instrument, count: usize) -> Design {
        let [a, b] = [quick(instrument), start(instrument)];
        if a.pins.len() == count { a } else { b }
    }

    #[test]
    fn any_instrument_has_a_design() {
        let mut instrument = grand();
        for count in [0, 1, 2, 5, 9, 40] {
            instrument.pins.truncate(count);
            let design = quick(&instrument);
            assert!(design.pins.len() <= instrument.pins.len());
            assert_eq!(design.pins.is_empty(), instrument.pins.is_empty());
            instrument = grand();
        }
        assert_eq!(full(&instrument).pins.len(), 227);
    }
}

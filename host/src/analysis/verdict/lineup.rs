//! Do single loose pins line up? Three bad holes in one row, close together, are rarely chance.
//!
//! Too few pins for a zone at the stated rate of false alarms can still be evidence between a
//! split and bad holes, above all where only part of the pins was read.

use super::Findings;
use super::evidence::{Evidence, EvidenceKind};
use super::state::PlankState;
use crate::analysis::survey::Site;
use crate::analysis::zones::{ZoneShape, place};
use crate::words::{Fixed, findings as say};

/// Single loose pins from which they can line up.
const PIN_COUNT_MIN: usize = 3;
/// Chance that a split, a crushed flange or a badly drilled row puts all its pins into a row
/// (ours).
const LINED_UP_CHANCE: f64 = 0.6;

/// Evidence from single loose pins that all stand in one row.
pub(super) fn evidence(findings: &Findings<'_>) -> Option<Evidence> {
    // Beside a zone single pins are a side matter.
    let [zone] = findings.zones else { return None };
    if zone.shape != ZoneShape::Scattered || zone.rows.len() != 1 {
        return None;
    }
    let sites: Vec<&Site> = findings
        .pins
        .iter()
        .filter(|pin| zone.pins.contains(&pin.pin))
        .map(|pin| &pin.site)
        .collect();
    let read: Vec<&Site> = findings.pins.iter().filter(|p| p.read).map(|p| &p.site).collect();
    let chance = chance_of_line(&sites, &read)?;
    let at_flange = sites.iter().all(|site| site.at_flange);
    let notes = place::note_range(&zone.pins);
    let text = say::lined_up(sites.len(), notes, Fixed(100.0 * chance, 1));
    Some(Evidence::of(EvidenceKind::Lineup, text, |state| {
        let lined_up = match state {
            PlankState::Split => !at_flange,
            PlankState::FlangeCrushed => at_flange,
            PlankState::RowBadlyDrilled => true,
            _ => false,
        };
        libm::log(if lined_up { LINED_UP_CHANCE } else { chance })
    }))
}

/// Chance that as many pins, drawn from those read, fall into one row and so close together.
fn chance_of_line(loose: &[&Site], read: &[&Site]) -> Option<f64> {
    if loose.len() < PIN_COUNT_MIN {
        return None;
    }
    let count = i32::try_from(loose.len()).ok()?;
    let one_row = (0..=u8::MAX)
        .map(|row| {
            let of_row = read.iter().filter(|site| site.row == row).count();
            libm::pow(of_row as f64 / read.len().max(1) as f64, f64::from(count))
        })
        .fold(0.0, |sum, p| sum + p);
    let span = |of: &[&Site]| {
        let xs = of.iter().map(|site| site.x_m);
        let (low, high) = xs.fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
        high - low
    };
    // Of n points thrown on a line of length one, all within d: n·dⁿ⁻¹ − (n − 1)·dⁿ.
    let part = (span(loose) / span(read).max(1e-6)).clamp(0.0, 1.0);
    let n = f64::from(count);
    let close = n * libm::pow(part, n - 1.0) - (n - 1.0) * libm::pow(part, n);
    Some((one_row * close).clamp(0.001, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::survey::Survey;
    use crate::analysis::test_planks::grand;

    #[test]
    fn close_in_a_row_is_rarer_than_far_apart() {
        let survey = Survey::new(&grand(), &[]);
        let read: Vec<&Site> = survey.sites.iter().collect();
        let row: Vec<&Site> = read.iter().copied().filter(|site| site.row == 1).collect();
        let near = chance_of_line(&[row[40], row[42], row[44]], &read).expect("three pins");
        let far = chance_of_line(&[row[0], row[40], row[60]], &read).expect("three pins");
        assert!(near < 0.01 && far > 0.05, "{near} {far}");
        assert_eq!(chance_of_line(&[row[0], row[1]], &read), None);
    }
}

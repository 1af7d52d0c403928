//! A step in a technician's words: why these pins, and what it would take to be surer.
//!
//! Deliberately not here: the choice itself (`propose`).

use pinhold_protocol::record::Pin;

use super::propose::{Next, STEP_PIN_COUNT_MAX, Settled, Why};
use super::rest::Drawn;
use crate::analysis::verdict::RemedyKind;
use crate::analysis::zones::{Zone, place};

impl Next<'_> {
    pub(super) fn reason(
        &self,
        pins: &[usize],
        why: Why,
        remedy: RemedyKind,
        chance: f64,
    ) -> String {
        let place = self.place_of(pins);
        let change = format!("{:.0} % that the rest changes '{}'", 100.0 * chance, remedy.word());
        match why {
            Why::FirstRound => place,
            Why::MeasureThrough => {
                let zone = self.zone_near(pins);
                let what = zone.map_or("the loose pins", |zone| match zone.pins.len() {
                    0..=5 => "the few loose pins",
                    _ => "the loose pins",
                });
                format!("how far {what} there go: {place}")
            }
            Why::Verdict => format!("{place}: they tell most about the verdict ({change})"),
            Why::Unseen => format!("{place}: nobody has looked there yet ({change})"),
        }
    }

    fn zone_near(&self, pins: &[usize]) -> Option<&Zone> {
        let rows: Vec<u8> = pins.iter().map(|i| self.sites[*i].row).collect();
        let standing = self.assessment.zones.iter().filter(|zone| zone.p_value.is_some());
        standing.into_iter().find(|zone| zone.rows.iter().any(|row| rows.contains(row)))
    }

    /// Where pins stand, in a technician's words.
    fn place_of(&self, pins: &[usize]) -> String {
        let named: Vec<Pin> = pins.iter().map(|i| self.sites[*i].pin).collect();
        let mut sections: Vec<u8> = pins.iter().map(|i| self.sites[*i].section).collect();
        sections.sort_unstable();
        sections.dedup();
        let mut rows: Vec<u8> = pins.iter().map(|i| self.sites[*i].row).collect();
        rows.sort_unstable();
        rows.dedup();
        let present = place::sections(&self.sites);
        let kind = self.asked.instrument.kind;
        let row = match rows.as_slice() {
            [row] => {
                let lined = sections.iter().any(|s| place::lines_flange(&self.sites, *s));
                format!(", {}", place::row_name(*row, self.rows.len(), kind, lined))
            }
            _ => String::new(),
        };
        let phrase = place::section_phrase(&sections, &present);
        format!("{} of the {phrase}{row}", place::note_range(&named))
    }

    pub(super) fn settled(
        &self,
        remedy: RemedyKind,
        change_chance: f64,
        draws: &[Drawn],
    ) -> Settled {
        let read_count = self.assessment.pins.iter().filter(|pin| pin.read).count();
        let saved_count = self.open.iter().filter(|open| **open).count();
        let mut takes = Vec::new();
        if saved_count > 0
            && let Some(stretch) = self.best_stretch(draws, &[], STEP_PIN_COUNT_MAX, self.at())
        {
            takes.push(format!(
                "by torque: {} more pins, {}, would tell most",
                stretch.len(),
                self.place_of(&stretch)
            ));
        }
        if let Some(observation) = &self.assessment.verdict.next_observation {
            takes.push(format!("beside torque: {observation}"));
        }
        Settled {
            remedy,
            change_chance,
            read_count,
            pin_count: self.sites.len(),
            saved_count,
            what_it_would_take: takes,
        }
    }
}

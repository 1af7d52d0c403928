//! How an instrument's pins are laid out: compass, stringing, sections, rows, positions.
//!
//! Geometry after common instruments (MEM): same-row pitch 13–14 mm, rows 18–25 mm apart, three
//! slanted rows in trichord sections with one string of each unison per row, an overstrung bass
//! block of its own, struts with gaps of 30–60 mm. Which string sits in which row differs from
//! maker to maker, so it is drawn.
//!
//! Deliberately not here: friction and tension.

use super::StringLetter;
use crate::rng::Random;

/// Which way the plank faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Plank flat in front of the player.
    Grand,
    /// Plank vertical.
    Upright,
}

/// Layout of one instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Grand or upright.
    pub kind: Kind,
    /// Lowest note is 1 (A0); highest is this.
    pub last_note: u8,
    /// Notes with one string, from the bass.
    pub single_count: u8,
    /// Notes with two strings, after them; the rest have three.
    pub bichord_count: u8,
    /// First note of each section after the bass block, ascending.
    pub section_starts: Vec<u8>,
    /// Gap before each of those sections, m.
    pub gaps_m: Vec<f64>,
    /// Rows of the bass block.
    pub bass_row_count: u8,
    /// From pin to pin within a row, m.
    pub pitch_m: f64,
    /// From row to row, m.
    pub row_spacing_m: f64,
    /// Shift of each row towards the treble, m; negative slants the other way.
    pub slant_m: f64,
    /// Row of the left, centre and right string of a trichord.
    pub row_of_string: [u8; 3],
    /// From the flange to row 0 where the flange is straight, m.
    pub flange_margin_m: f64,
    /// Further distance at the bass end, where the flange curves away, m.
    pub flange_curve_m: f64,
    /// Plate with wooden bushings.
    pub bushed_plate: bool,
}

/// Where one pin sits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// Note number, 1 is A0.
    pub note: u8,
    /// String of the unison.
    pub string: StringLetter,
    /// Section, 0 in the bass.
    pub section: u8,
    /// Row, 0 nearest the flange.
    pub row: u8,
    /// From the bass end, m.
    pub x_m: f64,
    /// Away from the flange side, m.
    pub y_m: f64,
    /// From the flange, m.
    pub flange_distance_m: f64,
}

impl Plan {
    /// An 88-note grand: 10 singles, 17 pairs, 61 threes, 227 pins, two to four struts.
    pub fn grand_88(seed: u64) -> Plan {
        Plan::drawn(seed, Kind::Grand, 88, 10, 17)
    }

    /// An 88-note upright: 8 singles, 5 pairs, 75 threes, 243 pins.
    pub fn upright_88(seed: u64) -> Plan {
        Plan::drawn(seed, Kind::Upright, 88, 8, 5)
    }

    /// An 85-note upright, common before about 1900: 10 singles, 17 pairs, 58 threes, 218 pins.
    pub fn upright_85(seed: u64) -> Plan {
        Plan::drawn(seed, Kind::Upright, 85, 10, 17)
    }

    /// A plan for a compass and stringing, the rest drawn.
    pub fn drawn(
        seed: u64,
        kind: Kind,
        last_note: u8,
        single_count: u8,
        bichord_count: u8,
    ) -> Plan {
        let mut random = Random::new(seed).fork("plan");
        let bass_count = single_count + bichord_count;
        let treble_count = last_note - bass_count;
        let strut_count = random.whole(2, 4);
        // The first strut parts the bass; the others cut the treble into near-equal parts.
        let parts = strut_count as f64;
        let mut section_starts = vec![bass_count + 1];
        for part in 1..strut_count {
            let place = f64::from(treble_count) * part as f64 / parts;
            let moved = place + random.uniform(-2.5, 2.5);
            section_starts.push(bass_count + 1 + moved.round() as u8);
        }
        let gaps_m = section_starts.iter().map(|_| random.uniform(0.030, 0.060)).collect();
        let bass_pins = u32::from(single_count) + 2 * u32::from(bichord_count);
        let pitch_m = random.uniform(0.0130, 0.0140);
        let slant = if random.chance(0.5) { 1.0 } else { -1.0 };
        Plan {
            kind,
            last_note,
            single_count,
            bichord_count,
            section_starts,
            gaps_m,
            bass_row_count: if bass_pins > 30 { 2 } else { 1 },
            pitch_m,
            row_spacing_m: random.uniform(0.018, 0.025),
            slant_m: slant * pitch_m / 3.0,
            row_of_string: if random.chance(0.5) { [0, 1, 2] } else { [2, 1, 0] },
            flange_margin_m: random.uniform(0.012, 0.018),
            flange_curve_m: random.uniform(0.0, 0.02),
            bushed_plate: random.chance(0.4),
        }
    }

    /// Strings of one note, left to right.
    pub fn strings_of(&self, note: u8) -> &'static [StringLetter] {
        if note <= self.single_count {
            &[StringLetter::Centre]
        } else if note <= self.single_count + self.bichord_count {
            &[StringLetter::Left, StringLetter::Right]
        } else {
            &[StringLetter::Left, StringLetter::Centre, StringLetter::Right]
        }
    }

    /// Section of one note.
    pub fn section_of(&self, note: u8) -> u8 {
        self.section_starts.iter().filter(|start| note >= **start).count() as u8
    }

    /// Every pin's place, by note, then string.
    pub fn seats(&self) -> Vec<Seat> {
        let mut seats = self.bass_seats();
        let bass_end_m = seats.iter().map(|seat| seat.x_m).fold(0.0, f64::max);
        let mut x_m = bass_end_m;
        let mut section = 0;
        let first = self.single_count + self.bichord_count + 1;
        for note in first..=self.last_note {
            let here = self.section_of(note);
            if here != section {
                section = here;
                x_m += self.gaps_m.get(usize::from(here) - 1).copied().unwrap_or(0.04);
            } else {
                x_m += self.pitch_m;
            }
            let strings = self.strings_of(note).iter().zip(self.row_of_string);
            for (string, row) in strings {
                let shift_m = self.slant_m * f64::from(row) + self.slant_m.min(0.0) * -2.0;
                seats.push(self.seat(note, *string, row, x_m + shift_m, 0.0));
            }
        }
        seats
    }

    /// The bass block: pins in turn over its rows.
    fn bass_seats(&self) -> Vec<Seat> {
        let mut seats = Vec::new();
        let mut count = 0u32;
        let rows = u32::from(self.bass_row_count.max(1));
        let total: usize = (1..=self.single_count + self.bichord_count)
            .map(|note| self.strings_of(note).len())
            .sum();
        for note in 1..=self.single_count + self.bichord_count {
            for string in self.strings_of(note) {
                let row = (count % rows) as u8;
                let place = f64::from(count / rows) + f64::from(row) / f64::from(rows);
                let from_bass = f64::from(count) / (total.max(2) - 1) as f64;
                let curve_m = self.flange_curve_m * (1.0 - from_bass) * (1.0 - from_bass);
                seats.push(self.seat(note, *string, row, place * self.pitch_m, curve_m));
                count += 1;
            }
        }
        seats
    }

    fn seat(&self, note: u8, string: StringLetter, row: u8, x_m: f64, curve_m: f64) -> Seat {
        let y_m = f64::from(row) * self.row_spacing_m;
        Seat {
            note,
            string,
            section: self.section_of(note),
            row,
            x_m,
            y_m,
            flange_distance_m: self.flange_margin_m + y_m + curve_m,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pin_counts() {
        for seed in 0..20 {
            assert_eq!(Plan::grand_88(seed).seats().len(), 227);
            assert_eq!(Plan::upright_88(seed).seats().len(), 243);
            assert_eq!(Plan::upright_85(seed).seats().len(), 218);
            let other = Plan::drawn(seed, Kind::Grand, 88, 14, 18);
            assert_eq!(other.seats().len(), 218);
        }
    }

    #[test]
    fn no_two_pins_share_a_place_and_rows_keep_their_pitch() {
        for seed in 0..10 {
            let plan = Plan::grand_88(seed);
            let seats = plan.seats();
            for (index, one) in seats.iter().enumerate() {
                for other in &seats[index + 1..] {
                    let apart_m = libm::hypot(one.x_m - other.x_m, one.y_m - other.y_m);
                    assert!(apart_m > 0.0125, "pins {apart_m} m apart");
                }
                assert!(one.x_m >= 0.0 && one.y_m >= 0.0 && one.flange_distance_m > 0.0);
            }
            let sections = seats.iter().map(|seat| seat.section).max().unwrap();
            assert!((2..=4).contains(&sections));
            let width_m = seats.iter().map(|seat| seat.x_m).fold(0.0, f64::max);
            assert!((1.1..1.6).contains(&width_m), "field {width_m} m wide");
        }
    }
}

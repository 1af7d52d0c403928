//! Pin fields of many makes, drawn from a seed.
//!
//! Ranges of pitch, rows, struts and compass are the trade's (MEM); which string sits in which
//! row, four-string unisons, holes without a pin and unmeasured flange distances are drawn,
//! because instruments differ there. Deliberately not here: friction, and any layout of the
//! host's own.

use pinhold::instrument::scale::StringScale;
use pinhold::instrument::{FieldPin, Instrument, InstrumentKind, PlateFace};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_sim::rng::Random;

/// Pin sizes of a first stringing, micrometres: 1/0 and 2/0 (ONE) and the usual metric ones.
const FIRST_SIZES_UM: [u32; 5] = [7_010, 7_163, 7_000, 7_100, 7_163];
/// Fewest notes a section has.
const SECTION_NOTES_MIN: usize = 8;

/// How the rows of a stretch are filled, by string of the unison.
const ROW_ORDERS: [[u8; 4]; 4] = [[0, 1, 2, 3], [2, 1, 0, 3], [0, 2, 1, 3], [1, 0, 2, 3]];

/// What is drawn once for an instrument.
struct Style {
    last_note: u8,
    single_count: u8,
    /// Notes of two strings in the bass block.
    bass_pair_count: u8,
    /// Wound pairs that begin the tenor.
    tenor_pair_count: u8,
    bass_row_count: u8,
    /// First notes of the sections after the bass block.
    starts: Vec<u8>,
    /// Order of the strings over the rows, per section.
    orders: Vec<[u8; 4]>,
    four_strings_on_top: bool,
    pitch_m: f64,
    spacing_m: f64,
    slant_m: f64,
    gaps_m: Vec<f64>,
    flange_m: Option<f64>,
    curve_m: f64,
}

impl Style {
    fn drawn(random: &mut Random) -> Style {
        let last_note = if random.chance(0.75) { 88 } else { 85 };
        let single_count = random.whole(6, 14) as u8;
        let bass_pair_count = random.whole(5, 18) as u8;
        let bass = single_count + bass_pair_count;
        let treble = usize::from(last_note - bass);
        let section_count = random.whole(2, 5);
        let mut starts = vec![bass + 1];
        for part in 1..section_count {
            let even = treble as f64 * part as f64 / section_count as f64;
            let moved = (even + random.uniform(-3.0, 3.0)).round() as u8 + bass + 1;
            let from = starts.last().map_or(0, |start| usize::from(*start));
            let room = usize::from(last_note).saturating_sub(usize::from(moved));
            if usize::from(moved) >= from + SECTION_NOTES_MIN && room >= SECTION_NOTES_MIN {
                starts.push(moved);
            }
        }
        let usual = ROW_ORDERS[random.whole(0, 1)];
        let order = |random: &mut Random| {
            if random.chance(0.15) { ROW_ORDERS[random.whole(0, 3)] } else { usual }
        };
        let orders = (0..=starts.len()).map(|_| order(random)).collect();
        let gaps_m = starts.iter().map(|_| random.uniform(0.030, 0.060)).collect();
        let pitch_m = random.uniform(0.0130, 0.0140);
        Style {
            last_note,
            single_count,
            bass_pair_count,
            tenor_pair_count: if random.chance(0.25) { random.whole(2, 6) as u8 } else { 0 },
            bass_row_count: random.whole(2, 3) as u8,
            starts,
            orders,
            four_strings_on_top: random.chance(0.12),
            pitch_m,
            spacing_m: random.uniform(0.018, 0.025),
            slant_m: pitch_m * random.uniform(-0.4, 0.4),
            gaps_m,
            flange_m: random.chance(0.7).then(|| random.uniform(0.012, 0.020)),
            curve_m: random.uniform(0.0, 0.010),
        }
    }

    fn bass_count(&self) -> u8 {
        self.single_count + self.bass_pair_count
    }

    fn section_of(&self, note: u8) -> u8 {
        self.starts.iter().filter(|start| note >= **start).count() as u8
    }

    fn strings_of(&self, note: u8) -> &'static [StringPosition] {
        use StringPosition::{Centre, Fourth, Left, Right};
        let is_top = usize::from(self.section_of(note)) == self.starts.len();
        if note <= self.single_count {
            &[Centre]
        } else if note <= self.bass_count() + self.tenor_pair_count {
            &[Left, Right]
        } else if self.four_strings_on_top && is_top && self.starts.len() > 1 {
            &[Left, Centre, Right, Fourth]
        } else {
            &[Left, Centre, Right]
        }
    }

    fn place(&self, pin: Pin, row: u8, x_m: f64, curve_m: f64, random: &mut Random) -> FieldPin {
        let mut off = || random.normal_within(0.0, 0.0003, 2.0);
        let y_m = f64::from(row) * self.spacing_m + off();
        FieldPin {
            pin,
            section: self.section_of(pin.note),
            row,
            x_m: x_m + f64::from(row) * self.slant_m + off(),
            y_m,
            flange_distance_m: self.flange_m.map(|margin| margin + y_m.max(0.0) + curve_m),
            diameter_um: None,
        }
    }

    /// The bass block: pins in turn over its rows.
    fn bass(&self, random: &mut Random) -> Vec<FieldPin> {
        let rows = u32::from(self.bass_row_count);
        let names: Vec<Pin> = (1..=self.bass_count())
            .flat_map(|note| self.strings_of(note).iter().map(move |s| Pin { note, string: *s }))
            .collect();
        let last = (names.len().max(2) - 1) as f64;
        let mut pins = Vec::new();
        for (count, pin) in (0u32..).zip(names) {
            let row = (count % rows) as u8;
            let x_m = f64::from(count) / f64::from(rows) * self.pitch_m;
            let from_tenor = 1.0 - f64::from(count) / last;
            pins.push(self.place(pin, row, x_m, self.curve_m * from_tenor * from_tenor, random));
        }
        pins
    }

    fn pins(&self, random: &mut Random) -> Vec<FieldPin> {
        let mut pins = self.bass(random);
        let mut x_m = pins.iter().map(|pin| pin.x_m).fold(0.0, f64::max);
        let mut section = 0;
        for note in self.bass_count() + 1..=self.last_note {
            let here = self.section_of(note);
            x_m += if here == section {
                self.pitch_m
            } else {
                self.pitch_m + self.gaps_m[usize::from(here) - 1]
            };
            section = here;
            for (string, row) in self.strings_of(note).iter().zip(self.orders[usize::from(here)]) {
                pins.push(self.place(Pin { note, string: *string }, row, x_m, 0.0, random));
            }
        }
        pins
    }
}

/// An invented instrument: places and pin sizes, as the host is told of them.
pub(super) fn drawn(random: &mut Random) -> Instrument {
    let style = Style::drawn(random);
    let mut pins = style.pins(random);
    if random.chance(0.3) {
        for _ in 0..random.whole(1, 4) {
            pins.remove(random.whole(0, pins.len() - 1));
        }
    }
    pins.sort_by_key(|pin| pin.pin);
    let size_um = FIRST_SIZES_UM[random.whole(0, FIRST_SIZES_UM.len() - 1)];
    if random.chance(0.6) {
        pins.iter_mut().for_each(|pin| pin.diameter_um = Some(size_um));
    }
    let kinds = [InstrumentKind::Grand, InstrumentKind::Upright];
    Instrument {
        name: "Invented".to_owned(),
        kind: kinds[random.whole(0, 1)],
        face: PlateFace::Full,
        first_note: 1,
        last_note: style.last_note,
        pins,
        strings: StringScale::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layouts_differ_and_no_two_pins_share_a_place() {
        let mut counts = Vec::new();
        for seed in 0..60 {
            let instrument = drawn(&mut Random::new(seed));
            let pins = &instrument.pins;
            assert!(pins.windows(2).all(|pair| pair[0].pin < pair[1].pin), "seed {seed}");
            for (index, one) in pins.iter().enumerate() {
                for other in &pins[index + 1..] {
                    let apart_m = libm::hypot(one.x_m - other.x_m, one.y_m - other.y_m);
                    assert!(apart_m > 0.010, "seed {seed}: {one:?} {other:?} {apart_m} m");
                }
            }
            counts.push(pins.len());
        }
        counts.sort_unstable();
        counts.dedup();
        // The trade's range is 218 to 250; a fourth string in the treble makes a few more.
        assert!(counts.len() > 15 && counts[0] > 195 && counts[counts.len() - 1] < 290);
    }
}

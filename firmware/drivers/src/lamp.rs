//! What lamp and beeper do at a time: from the core's signals to three colours and a tone.
//!
//! Every look that calls for something else differs by more than red against green against yellow,
//! and by more than blue against magenta or white against cyan: about one man in twelve tells
//! those apart badly or not at all (MEM). Deliberately not here: pins.
//!
//! Invariant: a beep starts only when the core says so, and never outlasts [`BEEP_US`].

use pinhold_lever::{Lamp, Signals};
use pinhold_protocol::division::divided;

/// Length of a beep, microseconds.
pub const BEEP_US: u64 = 80_000;
/// A part of a rhythm, microseconds; every on and off lasts a whole number of them.
const PART_US: u64 = 100_000;
/// The same as an odd number and a power of two.
const PART_US_ODD: u32 = 3_125;
const PART_US_TWOS: u32 = 5;
const _: () = assert!((PART_US_ODD as u64) << PART_US_TWOS == PART_US);
/// Parts in a second.
const SECOND_PARTS: u32 = 10;

/// Which of the lamp's colours are lit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Colour {
    /// Red.
    pub red: bool,
    /// Green.
    pub green: bool,
    /// Blue.
    pub blue: bool,
}

impl Colour {
    /// Dark.
    pub const OFF: Colour = Colour { red: false, green: false, blue: false };
    /// Torque above what a pin should need.
    pub const RED: Colour = Colour { red: true, ..Colour::OFF };
    /// Kept.
    pub const GREEN: Colour = Colour { green: true, ..Colour::OFF };
    /// Waiting for the hand.
    pub const BLUE: Colour = Colour { blue: true, ..Colour::OFF };
    /// Measuring.
    pub const YELLOW: Colour = Colour { red: true, ..Colour::GREEN };
    /// The lever itself wants something.
    pub const MAGENTA: Colour = Colour { red: true, ..Colour::BLUE };
    /// Supply.
    pub const CYAN: Colour = Colour { green: true, ..Colour::BLUE };
    /// Self-test.
    pub const WHITE: Colour = Colour { red: true, ..Colour::CYAN };
}

/// When a colour is lit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Rhythm {
    /// Always.
    Steady,
    /// All but a wink each second.
    Winking,
    /// Half a second on, half a second off.
    Slow,
    /// Five times a second.
    Fast,
    /// This many short flashes, then dark to the end of a second and a half.
    Flashes(u8),
    /// A number: a long flash of 0.7 s for each five, a short one of 0.2 s for each one left, 0.3 s
    /// dark behind each, then 1.5 s dark.
    Number(u8),
}

impl Rhythm {
    /// Whether it is lit at this time.
    pub const fn is_lit(self, now_us: u64) -> bool {
        // Goes round after 13 years.
        let part = divided(now_us >> PART_US_TWOS, PART_US_ODD) as u32;
        match self {
            Rhythm::Steady => true,
            Rhythm::Winking => !part.is_multiple_of(SECOND_PARTS),
            Rhythm::Slow => part % SECOND_PARTS < SECOND_PARTS / 2,
            Rhythm::Fast => part.is_multiple_of(2),
            Rhythm::Flashes(count) => {
                let part = part % (SECOND_PARTS * 3 / 2);
                part < 2 * count as u32 && part.is_multiple_of(2)
            }
            Rhythm::Number(number) => number_is_lit(part, number as u32),
        }
    }
}

/// Parts of a long flash with the dark behind it, and of a short one.
const LONG_PARTS: u32 = 7 + 3;
const SHORT_PARTS: u32 = 2 + 3;
/// Further dark behind the last flash.
const PAUSE_PARTS: u32 = 12;

const fn number_is_lit(part: u32, number: u32) -> bool {
    let (long_count, short_count) = (number / 5, number % 5);
    let long_parts = long_count * LONG_PARTS;
    let part = part % (long_parts + short_count * SHORT_PARTS + PAUSE_PARTS);
    if part < long_parts {
        return part % LONG_PARTS < LONG_PARTS - 3;
    }
    let part = part - long_parts;
    part < short_count * SHORT_PARTS && part % SHORT_PARTS < SHORT_PARTS - 3
}

/// Colour and rhythm of what the core wants shown.
pub const fn look(lamp: Lamp) -> (Colour, Rhythm) {
    match lamp {
        Lamp::Idle => (Colour::OFF, Rhythm::Steady),
        Lamp::Seat => (Colour::BLUE, Rhythm::Slow),
        Lamp::Ready => (Colour::BLUE, Rhythm::Steady),
        Lamp::Moving => (Colour::YELLOW, Rhythm::Steady),
        Lamp::Accepted => (Colour::GREEN, Rhythm::Winking),
        Lamp::Repeat => (Colour::YELLOW, Rhythm::Flashes(2)),
        Lamp::TooFar => (Colour::YELLOW, Rhythm::Flashes(3)),
        Lamp::Hard => (Colour::RED, Rhythm::Slow),
        Lamp::Stop => (Colour::RED, Rhythm::Fast),
        Lamp::Zero => (Colour::MAGENTA, Rhythm::Winking),
        Lamp::Full => (Colour::MAGENTA, Rhythm::Flashes(2)),
        Lamp::BatteryLow => (Colour::CYAN, Rhythm::Slow),
        Lamp::Fault(fault) => (Colour::WHITE, Rhythm::Number(fault.code())),
    }
}

/// Colour to light at `now_us` for `lamp`.
///
/// ```
/// use pinhold_drivers::lamp::{Colour, colour_at};
/// use pinhold_lever::Lamp;
/// assert_eq!(colour_at(Lamp::Stop, 50_000), Colour::RED);
/// assert_eq!(colour_at(Lamp::Stop, 150_000), Colour::OFF);
/// ```
pub const fn colour_at(lamp: Lamp, now_us: u64) -> Colour {
    let (colour, rhythm) = look(lamp);
    if rhythm.is_lit(now_us) { colour } else { Colour::OFF }
}

/// Lamp and beeper over time.
#[derive(Clone, Copy, Debug, Default)]
pub struct Face {
    beep_ends_us: u64,
}

impl Face {
    /// A face that is dark and silent.
    pub const fn new() -> Face {
        Face { beep_ends_us: 0 }
    }

    /// The core said this at `now_us`.
    pub fn take(&mut self, now_us: u64, signals: Signals) {
        if signals.beep {
            self.beep_ends_us = now_us.saturating_add(BEEP_US);
        }
    }

    /// What to show at `now_us`: the colour, and whether the beeper sounds.
    pub const fn at(&self, now_us: u64, signals: Signals) -> (Colour, bool) {
        let colour = if signals.asleep { Colour::OFF } else { colour_at(signals.lamp, now_us) };
        (colour, now_us < self.beep_ends_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pinhold_protocol::error::Fault;

    const LAMPS: [Lamp; 12] = [
        Lamp::Idle,
        Lamp::Seat,
        Lamp::Ready,
        Lamp::Moving,
        Lamp::Accepted,
        Lamp::Repeat,
        Lamp::Hard,
        Lamp::Stop,
        Lamp::TooFar,
        Lamp::Zero,
        Lamp::Full,
        Lamp::BatteryLow,
    ];

    fn all() -> impl Iterator<Item = Lamp> {
        LAMPS.into_iter().chain(Fault::ALL.map(Lamp::Fault))
    }

    /// On and off over `second_count` seconds, a letter for each tenth.
    fn drawn(lamp: Lamp, second_count: u64) -> String {
        let lit = |part| colour_at(lamp, part * PART_US + PART_US / 2) != Colour::OFF;
        (0..second_count * u64::from(SECOND_PARTS))
            .map(|part| if lit(part) { '#' } else { '.' })
            .collect()
    }

    #[test]
    fn rhythms_as_drawn() {
        assert_eq!(drawn(Lamp::Seat, 2), "#####.....#####.....");
        assert_eq!(drawn(Lamp::Ready, 1), "##########");
        assert_eq!(drawn(Lamp::Accepted, 2), ".#########.#########");
        assert_eq!(drawn(Lamp::Stop, 1), "#.#.#.#.#.");
        assert_eq!(drawn(Lamp::Repeat, 3), "#.#............#.#............");
        assert_eq!(drawn(Lamp::TooFar, 3), "#.#.#..........#.#.#..........");
        assert_eq!(drawn(Lamp::Idle, 1), "..........");
    }

    #[test]
    fn faults_count_fives_long_and_ones_short() {
        let first = Lamp::Fault(Fault::ConverterSilent);
        assert_eq!(drawn(first, 3), "##...............##...........");
        let twelfth = drawn(Lamp::Fault(Fault::PeriodOff), 5);
        assert_eq!(twelfth, "#######...#######...##...##...............#######.");
        for fault in Fault::ALL {
            // Two rounds, from the first flash to the second pause.
            let text = drawn(Lamp::Fault(fault), 20);
            let round: &str = text.split("............").next().expect("a pause");
            let flashes = round.split('.').filter(|flash| !flash.is_empty());
            let read: u8 = flashes.map(|flash| if flash.len() == 7 { 5 } else { 1 }).sum();
            assert_eq!(read, fault.code());
        }
    }

    #[test]
    fn no_two_looks_are_the_same_nor_differ_by_a_hue_hard_to_tell() {
        let alike = |a: Colour, b: Colour| {
            let warm = [Colour::RED, Colour::GREEN, Colour::YELLOW];
            let cold = [Colour::BLUE, Colour::MAGENTA];
            let pale = [Colour::WHITE, Colour::CYAN];
            a == b || [&warm[..], &cold, &pale].iter().any(|g| g.contains(&a) && g.contains(&b))
        };
        let mut pair_count = 0;
        for (at, first) in all().enumerate() {
            for second in all().skip(at + 1) {
                let (a, b) = (look(first), look(second));
                assert!(a.1 != b.1 || !alike(a.0, b.0), "{first:?} and {second:?}");
                pair_count += 1;
            }
        }
        assert_eq!(pair_count, 24 * 23 / 2);
    }

    #[test]
    fn beeps_as_long_as_said_and_shows_nothing_asleep() {
        let quiet = Signals { lamp: Lamp::Ready, beep: false, pin: None, asleep: false };
        let mut face = Face::new();
        assert_eq!(face.at(5, quiet), (Colour::BLUE, false));
        face.take(5, Signals { beep: true, ..quiet });
        face.take(6, quiet);
        assert!(face.at(5 + BEEP_US - 1, quiet).1);
        assert!(!face.at(5 + BEEP_US, quiet).1);
        assert_eq!(face.at(5, Signals { asleep: true, ..quiet }).0, Colour::OFF);
    }
}

//! Pins seated anew by several people in turn: who reads what when, what is left, and the file it
//! is kept in.
//!
//! The order: the first person reads every pin once, then the second, until all have; then the next
//! round. Between two readings of a pin by one person lie all the other pins and the other people,
//! so that each is a seating of its own and nobody repeats what the hand still remembers; what
//! drifts meanwhile falls on all alike. Deliberately not here: the lever, the disk, and what
//! the readings come to ([`super::seating`]).
//!
//! The file is a table of readings, `pin,person,round,friction,moment`, all counted from 1, below
//! comments that say whose they are:
//!
//! ```text
//! # set 1767225600000000
//! # lever 00000000000002a7
//! # rounds 3
//! # person A. Ex
//! # person B. Ex
//! # pins 28L 34L
//! pin,person,round,friction,moment
//! 1,1,1,6.120000,3.050000
//! ```
//!
//! `# simulated 1` names the seed of a simulated lever. Invariant: what is written is read again.

use pinhold_protocol::record::{Pin, StringPosition};
use thiserror::Error;

use super::bench::SeatingReading;
use super::seating::SEATING_COUNT_MAX;
use crate::correct::spelled;
use crate::instrument::note::parse_note;
use crate::text::{printable, printable_short};

/// People at most.
pub const PERSON_COUNT_MAX: usize = 4;
/// Rounds at most.
pub const ROUND_COUNT_MAX: usize = 10;
/// Pins at most.
pub const PIN_COUNT_MAX: usize = 40;
/// Longest name of a person, characters.
pub const PERSON_LENGTH_MAX: usize = 80;
/// Characters of a bad line shown.
const LINE_LENGTH_SHOWN: usize = 60;

const _: () = assert!(PERSON_COUNT_MAX * ROUND_COUNT_MAX * PIN_COUNT_MAX <= SEATING_COUNT_MAX);

/// Who seats which lever on which pins how often, and what was read so far.
#[derive(Clone, Debug, PartialEq)]
pub struct SeatingSet {
    /// Identity of the first turn's survey; those of the others follow one by one.
    pub uid: u64,
    /// Device identity of the lever.
    pub lever: u64,
    /// Seed of the simulated lever; `None` where nothing is simulated.
    pub simulated_seed: Option<u64>,
    /// People, 1 to [`PERSON_COUNT_MAX`]. Untrusted text.
    pub people: Vec<String>,
    /// Rounds, 2 to [`ROUND_COUNT_MAX`].
    pub round_count: usize,
    /// Pins in the order they are read, 1 to [`PIN_COUNT_MAX`].
    pub pins: Vec<Pin>,
    /// What was read, in the order it came.
    pub readings: Vec<SeatingReading>,
}

/// One person's way over all pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// Place among all turns, from 0.
    pub position: usize,
    /// Index into [`SeatingSet::people`].
    pub person: usize,
    /// Round, from 0.
    pub round: usize,
}

/// Why a text is no seating set, or a set cannot be taken.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum SeatingSetError {
    /// A comment is missing.
    #[error(
        "it has no line '# {what}', so it was not begun by 'pinhold lever seatings'; name a file \
         that is not there yet"
    )]
    Missing {
        /// What the line begins with.
        what: &'static str,
    },
    /// A comment is not understood.
    #[error("line {line}: '{found}' is not understood; put back what was changed there")]
    Line {
        /// Line, from 1.
        line: usize,
        /// What stands there, printable.
        found: String,
    },
    /// People, rounds or pins out of bounds, or one named twice.
    #[error("{0}")]
    Plan(String),
}

impl SeatingSet {
    /// Refuses people, rounds or pins that are too few, too many or named twice.
    ///
    /// # Errors
    /// [`SeatingSetError::Plan`].
    pub fn check(&self) -> Result<(), SeatingSetError> {
        let refuse = |sentence: String| Err(SeatingSetError::Plan(sentence));
        let (people, pins) = (&self.people, &self.pins);
        if !(1..=PERSON_COUNT_MAX).contains(&people.len()) {
            return refuse(format!("1 to {PERSON_COUNT_MAX} people are possible; two are asked"));
        }
        if !(2..=ROUND_COUNT_MAX).contains(&self.round_count) {
            return refuse(format!(
                "2 to {ROUND_COUNT_MAX} rounds are possible: one alone shows no scatter"
            ));
        }
        if !(1..=PIN_COUNT_MAX).contains(&pins.len()) {
            return refuse(format!("1 to {PIN_COUNT_MAX} pins are possible"));
        }
        let is_name = |name: &String| {
            let fits = (1..=PERSON_LENGTH_MAX).contains(&name.chars().count());
            fits && name.trim() == name && printable(name) == *name
        };
        if let Some(name) = people.iter().find(|name| !is_name(name)) {
            let shown = printable_short(name, LINE_LENGTH_SHOWN);
            return refuse(format!("'{shown}' is no name of a person"));
        }
        if let Some(name) = twice(people) {
            return refuse(format!("'{name}' is named twice; give two people two names"));
        }
        if let Some(pin) = twice(pins) {
            return refuse(format!("pin {} is named twice", spelled(*pin)));
        }
        Ok(())
    }

    /// Turns in the order they are taken.
    pub fn turns(&self) -> Vec<Turn> {
        let pairs = (0..self.round_count)
            .flat_map(|round| (0..self.people.len()).map(move |person| (person, round)));
        let turn = |(position, (person, round))| Turn { position, person, round };
        pairs.enumerate().map(turn).collect()
    }

    /// Identity of a turn's survey.
    pub fn survey_of(&self, turn: Turn) -> u64 {
        self.uid.wrapping_add(turn.position as u64)
    }

    /// Pins a turn still lacks, in order.
    pub fn left(&self, turn: Turn) -> Vec<Pin> {
        let pins = self.pins.iter().enumerate();
        pins.filter(|(index, _)| self.find(turn, *index).is_none()).map(|(_, pin)| *pin).collect()
    }

    /// Readings asked for in all.
    pub fn wanted_count(&self) -> usize {
        self.pins.len() * self.people.len() * self.round_count
    }

    /// Takes a reading of a turn; `false` when it is of no pin of the set, there is one already, or
    /// the friction is no torque above zero.
    pub fn add(&mut self, turn: Turn, pin: Pin, friction_nm: f64, moment_nm: f64) -> bool {
        let index = self.pins.iter().position(|known| *known == pin);
        let Some(index) = index.filter(|index| self.find(turn, *index).is_none()) else {
            return false;
        };
        let is_torque = friction_nm.is_finite() && friction_nm > 0.0 && moment_nm.is_finite();
        if is_torque {
            let Turn { person, round, .. } = turn;
            self.readings.push(SeatingReading {
                pin: index,
                person,
                round,
                friction_nm,
                moment_nm,
            });
        }
        is_torque
    }

    fn find(&self, turn: Turn, pin: usize) -> Option<&SeatingReading> {
        let place = (pin, turn.person, turn.round);
        self.readings.iter().find(|found| (found.pin, found.person, found.round) == place)
    }

    /// Whether every reading stands at a place of the set, and none twice.
    pub fn holds_its_readings(&self) -> bool {
        let places: Vec<(usize, usize, usize)> =
            self.readings.iter().map(|found| (found.pin, found.person, found.round)).collect();
        let is_place = |&(pin, person, round): &(usize, usize, usize)| {
            pin < self.pins.len() && person < self.people.len() && round < self.round_count
        };
        places.iter().all(is_place) && twice(&places).is_none()
    }

    /// The file.
    pub fn text(&self) -> String {
        let mut text = String::from(
            "# Pins seated anew, in N·m; kept by 'pinhold lever seatings', run again to go on.\n",
        );
        text.push_str(&format!("# set {}\n# lever {:016x}\n", self.uid, self.lever));
        if let Some(seed) = self.simulated_seed {
            text.push_str(&format!("# simulated {seed}\n"));
        }
        text.push_str(&format!("# rounds {}\n", self.round_count));
        for person in &self.people {
            text.push_str(&format!("# person {person}\n"));
        }
        let pins: Vec<String> = self.pins.iter().map(|pin| spelled(*pin)).collect();
        text.push_str(&format!("# pins {}\npin,person,round,friction,moment\n", pins.join(" ")));
        for reading in &self.readings {
            let SeatingReading { pin, person, round, friction_nm, moment_nm } = reading;
            let (pin, person, round) = (pin + 1, person + 1, round + 1);
            text.push_str(&format!("{pin},{person},{round},{friction_nm:.6},{moment_nm:.6}\n"));
        }
        text
    }

    /// What the comments of a file say; its readings are left to the caller.
    ///
    /// # Errors
    /// [`SeatingSetError`].
    pub fn head_of(text: &str) -> Result<SeatingSet, SeatingSetError> {
        let (mut uid, mut lever, mut rounds, mut pins) = (None, None, None, None);
        let mut simulated_seed = None;
        let mut people = Vec::new();
        for (index, line) in text.lines().enumerate() {
            let Some(comment) = line.trim().strip_prefix('#').map(str::trim) else { continue };
            let (word, rest) = comment.split_once(' ').unwrap_or((comment, ""));
            let rest = rest.trim();
            let is_understood = match word {
                "set" => once(&mut uid, rest.parse().ok()),
                "lever" => once(&mut lever, u64::from_str_radix(rest, 16).ok()),
                "simulated" => once(&mut simulated_seed, rest.parse().ok()),
                "rounds" => once(&mut rounds, rest.parse().ok()),
                "pins" => once(&mut pins, rest.split_whitespace().map(pin_of).collect()),
                "person" => {
                    people.push(rest.to_owned());
                    people.len() <= PERSON_COUNT_MAX
                }
                _ => true,
            };
            if !is_understood {
                let found = printable_short(line, LINE_LENGTH_SHOWN);
                return Err(SeatingSetError::Line { line: index + 1, found });
            }
        }
        let missing = |what| SeatingSetError::Missing { what };
        let set = SeatingSet {
            uid: uid.ok_or(missing("set"))?,
            lever: lever.ok_or(missing("lever"))?,
            simulated_seed,
            people,
            round_count: rounds.ok_or(missing("rounds"))?,
            pins: pins.ok_or(missing("pins"))?,
            readings: Vec::new(),
        };
        if set.people.is_empty() {
            return Err(missing("person"));
        }
        set.check()?;
        Ok(set)
    }
}

/// Fills a place that may be filled once.
fn once<T>(place: &mut Option<T>, found: Option<T>) -> bool {
    let is_good = place.is_none() && found.is_some();
    if is_good {
        *place = found;
    }
    is_good
}

fn pin_of(text: &str) -> Option<Pin> {
    let string = text.chars().next_back().and_then(StringPosition::from_letter)?;
    let note = parse_note(text.get(..text.len() - 1)?)?;
    Some(Pin { note, string })
}

/// One that stands there twice.
fn twice<T: PartialEq>(all: &[T]) -> Option<&T> {
    all.iter().enumerate().find(|(index, one)| all[..*index].contains(one)).map(|(_, one)| one)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn set() -> SeatingSet {
        let pin = |note| Pin { note, string: StringPosition::Left };
        SeatingSet {
            uid: 77,
            lever: 0x2a7,
            simulated_seed: None,
            people: vec!["A. Ex".to_owned(), "B, Ex #2".to_owned()],
            round_count: 3,
            pins: vec![pin(28), pin(34)],
            readings: Vec::new(),
        }
    }

    #[test]
    fn people_take_turns_and_every_pin_is_asked_once_in_each() {
        let mut set = set();
        let turns = set.turns();
        let order: Vec<(usize, usize)> =
            turns.iter().map(|turn| (turn.person, turn.round)).collect();
        assert_eq!(order, [(0, 0), (1, 0), (0, 1), (1, 1), (0, 2), (1, 2)]);
        assert_eq!((set.survey_of(turns[0]), set.survey_of(turns[5])), (77, 82));
        let pins = set.pins.clone();
        assert_eq!(set.left(turns[3]), pins);
        assert!(set.add(turns[3], pins[0], 6.0, 3.0));
        assert_eq!((set.left(turns[3]), set.left(turns[2])), (vec![pins[1]], pins.clone()));
        // Once only, of a pin of the set, with a friction.
        assert!(!set.add(turns[3], pins[0], 6.1, 3.0));
        assert!(!set.add(turns[3], Pin { note: 1, ..pins[0] }, 6.0, 3.0));
        assert!(!set.add(turns[3], pins[1], 0.0, 3.0));
        assert!(!set.add(turns[3], pins[1], 6.0, f64::NAN));
        assert_eq!((set.readings.len(), set.wanted_count()), (1, 12));
        assert!(set.holds_its_readings());
        set.readings[0].round = 3;
        assert!(!set.holds_its_readings());
    }

    #[test]
    fn a_file_without_its_comments_is_refused_by_name() {
        let text = set().text();
        for what in ["set", "lever", "rounds", "person", "pins"] {
            let without: String = text
                .lines()
                .filter(|line| !line.starts_with(&format!("# {what} ")))
                .map(|line| format!("{line}\n"))
                .collect();
            assert_eq!(SeatingSet::head_of(&without), Err(SeatingSetError::Missing { what }));
        }
        for (from, to) in [
            ("# set 77", "# set 7x"),
            ("# set 77", "# set 77\n# set 78"),
            ("# lever 0", "# lever g"),
            ("# pins 28L 34L", "# pins 28L 99L"),
            ("# rounds 3", "# rounds -1"),
        ] {
            let bad = text.replace(from, to);
            let told = SeatingSet::head_of(&bad);
            assert!(matches!(told, Err(SeatingSetError::Line { .. })), "{to}: {told:?}");
        }
        for (from, to) in [
            ("# rounds 3", "# rounds 1"),
            ("# rounds 3", "# rounds 11"),
            ("# pins 28L 34L", "# pins 28L 28L"),
            ("# person A. Ex", "# person B, Ex #2"),
            ("# person A. Ex", "# person A\u{1b}[2J"),
        ] {
            let bad = text.replace(from, to);
            let told = SeatingSet::head_of(&bad);
            assert!(matches!(told, Err(SeatingSetError::Plan(_))), "{to}: {told:?}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        /// What is written comes back.
        #[test]
        fn a_head_comes_back(
            uid in any::<u64>(),
            lever in any::<u64>(),
            simulated_seed in proptest::option::of(any::<u64>()),
            round_count in 2..=ROUND_COUNT_MAX,
            person in "[A-Za-z#,][A-Za-z .,#'é-]{0,20}[a-z.]",
        ) {
            let people = vec!["zz0".to_owned(), person];
            let set = SeatingSet { uid, lever, simulated_seed, round_count, people, ..set() };
            prop_assert_eq!(SeatingSet::head_of(&set.text()), Ok(set));
        }

        /// Whatever the text, the answer is a set or a printable sentence.
        #[test]
        fn any_text_is_read_or_refused(
            text in "(# (set|lever|pins|person) [^\n]{0,9}\n|.{0,9}\n){0,9}",
        ) {
            if let Err(error) = SeatingSet::head_of(&text) {
                prop_assert!(!error.to_string().chars().any(char::is_control));
            }
        }
    }
}

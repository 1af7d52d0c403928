//! The facts a condition record may hold: one table, from which files are read, questions asked,
//! templates written and pages printed.
//!
//! Deliberately not here: values (`record`), and what a fact is worth for the verdict (`analysis`).
//!
//! Invariants: keys are unique; a fact's place in the table is its place in every list.

/// What kind of answer a fact has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Yes or no.
    YesNo,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A length between two bounds, micrometres.
    LengthUm(u32, u32),
    /// Cents between two bounds.
    Cents(i32, i32),
    /// A share in percent.
    Percent,
    /// Degrees Celsius.
    Celsius,
    /// A day, ISO 8601.
    Date,
    /// Money in the user's own unit, which is not named.
    Amount,
    /// Words.
    Text,
}

/// What a fact is about, and how lists are divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// Does it hold tune.
    Tune,
    /// The pinblock (wrest plank).
    Plank,
    /// Pins, coils and bushings.
    Pins,
    /// The iron plate.
    Plate,
    /// Strings.
    Strings,
    /// The owner.
    Owner,
    /// The room.
    Room,
    /// Everything else a buyer needs to know.
    Rest,
}

impl Group {
    /// All, in order.
    pub const ALL: [Group; 8] = [
        Group::Tune,
        Group::Plank,
        Group::Pins,
        Group::Plate,
        Group::Strings,
        Group::Owner,
        Group::Room,
        Group::Rest,
    ];

    /// The table's name in a file.
    pub const fn word(self) -> &'static str {
        match self {
            Group::Tune => "tune",
            Group::Plank => "plank",
            Group::Pins => "pins",
            Group::Plate => "plate",
            Group::Strings => "strings",
            Group::Owner => "owner",
            Group::Room => "room",
            Group::Rest => "rest",
        }
    }

    /// Heading on a page.
    pub const fn heading(self) -> &'static str {
        match self {
            Group::Tune => "Does it hold tune",
            Group::Plank => "Pinblock (wrest plank)",
            Group::Pins => "Pins, coils and bushings",
            Group::Plate => "Plate",
            Group::Strings => "Strings",
            Group::Owner => "Owner, use and value",
            Group::Room => "Room",
            Group::Rest => "The rest of the instrument, recorded and not judged",
        }
    }
}

/// One fact that may be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fact {
    /// Group and table of a file.
    pub group: Group,
    /// Its name within the group, as in a file.
    pub key: &'static str,
    /// The question, as asked of a person.
    pub question: &'static str,
    /// Kind of its answer.
    pub kind: Kind,
    /// Asked of each section of the plank by itself.
    pub per_section: bool,
}

impl Fact {
    /// `group.key`: its name everywhere.
    pub fn name(&self) -> String {
        format!("{}.{}", self.group.word(), self.key)
    }
}

const fn fact(group: Group, key: &'static str, kind: Kind, question: &'static str) -> Fact {
    Fact { group, key, question, kind, per_section: false }
}

const fn of_sections(group: Group, key: &'static str, kind: Kind, question: &'static str) -> Fact {
    Fact { group, key, question, kind, per_section: true }
}

const SIGHT: Kind = Kind::Choice(&["sound", "doubtful", "parted"]);
const STATE: Kind = Kind::Choice(&["good", "fair", "poor"]);

/// Every fact, in the order in which one would look.
///
/// What to look at follows the trade's sheets: whether it holds tune first, edges and joints, coil
/// gap, seating depth compared within the instrument only (common practice, no source). Bounds only
/// refuse slips of the pen (ours): planks are 19 to 60 mm thick (one report; from memory).
pub const FACTS: &[Fact] = &[
    fact(Group::Tune, "holds", Kind::YesNo, "Do unisons stay together over months?"),
    fact(Group::Tune, "last_tuned", Kind::Date, "When was it last tuned?"),
    fact(Group::Tune, "pitch", Kind::Cents(-1200, 1200), "Mean pitch as found, cents from target?"),
    fact(
        Group::Tune,
        "unison_spread",
        Kind::Cents(0, 200),
        "Widest unison before touching it, cents from string to string?",
    ),
    fact(
        Group::Plank,
        "type",
        Kind::Choice(&["solid", "few-plies", "many-plies"]),
        "Solid, of a few thick plies, or of many thin ones?",
    ),
    fact(Group::Plank, "thickness", Kind::LengthUm(15_000, 80_000), "How thick is it?"),
    fact(
        Group::Plank,
        "fixing",
        Kind::Choice(&["glued", "screwed", "both"]),
        "Glued in, screwed to the plate, or both?",
    ),
    fact(Group::Plank, "edges", SIGHT, "Its edges as seen?"),
    fact(Group::Plank, "underside", SIGHT, "Underside (grand) or top edge (upright) as seen?"),
    fact(Group::Plank, "ply_gap", Kind::LengthUm(0, 20_000), "Widest gap between plies?"),
    fact(
        Group::Plank,
        "joint_to_back",
        Kind::Choice(&["tight", "open"]),
        "Joint to the back, the posts or the case?",
    ),
    fact(Group::Plank, "flange_gap", Kind::LengthUm(0, 20_000), "Gap between plank and flange?"),
    fact(Group::Plank, "liquid_or_oil", Kind::YesNo, "Signs of liquid or oil?"),
    fact(Group::Plank, "glue_traces", Kind::YesNo, "Traces of glue at the pins?"),
    fact(Group::Plank, "replaced_before", Kind::YesNo, "Signs that the plank was replaced before?"),
    of_sections(
        Group::Pins,
        "diameter",
        Kind::LengthUm(5_500, 9_500),
        "Diameter of the pins fitted?",
    ),
    of_sections(Group::Pins, "label", Kind::Text, "Their label, and whose scheme it is?"),
    of_sections(Group::Pins, "length", Kind::LengthUm(40_000, 90_000), "Length of the pins?"),
    fact(Group::Pins, "finish", Kind::Text, "Finish of the pins?"),
    fact(
        Group::Pins,
        "originality",
        Kind::Choice(&["original", "replaced", "mixed"]),
        "Are they original?",
    ),
    of_sections(
        Group::Pins,
        "coil_gap",
        Kind::LengthUm(0, 30_000),
        "Least gap between coil and plank or plate?",
    ),
    of_sections(Group::Pins, "coils_touch", Kind::YesNo, "Do coils touch the plate or each other?"),
    of_sections(
        Group::Pins,
        "seating_depth",
        Kind::LengthUm(2_000, 40_000),
        "How far does the lever's tip sink onto a pin?",
    ),
    fact(
        Group::Pins,
        "largest_that_fits",
        Kind::LengthUm(5_500, 9_500),
        "Largest pin that still fits plate, bushing and tip?",
    ),
    fact(Group::Pins, "bushed", Kind::YesNo, "Wooden bushings round the pins in the plate?"),
    fact(Group::Plate, "cracks", Kind::YesNo, "Cracks in the plate, at the struts above all?"),
    fact(Group::Plate, "cracks_where", Kind::Text, "Where?"),
    fact(
        Group::Strings,
        "originality",
        Kind::Choice(&["original", "replaced", "mixed"]),
        "Are the strings original?",
    ),
    fact(
        Group::Strings,
        "rust",
        Kind::Choice(&["none", "light", "heavy"]),
        "Rust at coils and bearings?",
    ),
    fact(
        Group::Owner,
        "use",
        Kind::Choice(&["home", "teaching", "stage", "studio", "sale", "ornament"]),
        "What is it used for?",
    ),
    fact(Group::Owner, "value", Kind::Amount, "What is it worth to the owner, repaired?"),
    fact(Group::Owner, "ceiling", Kind::Amount, "What may the repair cost at most?"),
    fact(Group::Owner, "worth_repair", Kind::YesNo, "Worth repairing at the owner's ceiling?"),
    fact(Group::Owner, "wishes", Kind::Text, "What does the owner wish?"),
    fact(
        Group::Room,
        "humidity",
        Kind::Percent,
        "Relative humidity, mean of the last weeks where known?",
    ),
    fact(Group::Room, "temperature", Kind::Celsius, "Temperature?"),
    fact(Group::Room, "heating", Kind::Text, "Heating, sun, draught, a humidifier?"),
    fact(Group::Rest, "soundboard", STATE, "Soundboard?"),
    fact(Group::Rest, "soundboard_words", Kind::Text, "Crown, cracks, ribs?"),
    fact(Group::Rest, "bridges", STATE, "Bridges and downbearing?"),
    fact(Group::Rest, "bridges_words", Kind::Text, "Cracks, pins, bearing?"),
    fact(Group::Rest, "action", STATE, "Action?"),
    fact(Group::Rest, "action_words", Kind::Text, "Hammers, dampers, pivots, regulation?"),
    fact(Group::Rest, "keys", STATE, "Keys?"),
    fact(Group::Rest, "case", STATE, "Case, lid and pedals?"),
    fact(Group::Rest, "remarks", Kind::Text, "Anything else?"),
];

/// The fact of a name such as `plank.edges`.
pub fn find(name: &str) -> Option<&'static Fact> {
    let (group, key) = name.split_once('.')?;
    FACTS.iter().find(|fact| fact.group.word() == group && fact.key == key)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_lead_back() {
        for (i, fact) in FACTS.iter().enumerate() {
            let place = FACTS.iter().position(|other| other.name() == fact.name());
            assert_eq!(place, Some(i), "{}", fact.name());
            assert_eq!(find(&fact.name()), Some(fact));
        }
        assert_eq!(find("plank.colour"), None);
        assert_eq!(find("plank"), None);
    }

    #[test]
    fn groups_stand_together_and_in_order() {
        let groups: Vec<Group> = FACTS.iter().map(|fact| fact.group).collect();
        let mut sorted = groups.clone();
        sorted.sort_unstable();
        assert_eq!(groups, sorted);
        assert!(Group::ALL.iter().all(|group| groups.contains(group)));
    }

    #[test]
    fn questions_are_questions() {
        for fact in FACTS {
            assert!(fact.question.ends_with('?'), "{}", fact.name());
        }
    }
}

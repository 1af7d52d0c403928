//! The map in words: titles, legends, and what its zones are.

use super::Word;
use crate::analysis::zones::ZoneShape;
use crate::report::View;

sentences! {
    friction_in(unit): "friction of the plank, {unit}" | "Reibung des Stimmstocks, {unit}";
    u_of_friction(unit):
        "standard uncertainty of the friction of the plank, {unit}"
        | "Standardunsicherheit der Reibung des Stimmstocks, {unit}";
    tuning_pins(name, read, all):
        "Tuning pins of {name}: {read} of {all} read"
        | "Stimmwirbel von {name}: {read} von {all} gemessen";
    stretched(seen, times):
        "{seen}; depth drawn {times} times as large as length."
        | "{seen}; die Tiefe {times}-mal so groß gezeichnet wie die Länge.";
    to_scale(seen): "{seen}; to scale." | "{seen}; maßstäblich.";
    shading(quantity):
        "Shading, from all the pins around: {quantity}"
        | "Schattierung, aus allen Wirbeln ringsum: {quantity}";
    marks_of_bands(unit):
        "Marks: the pins as read, friction in {unit}; the worse of friction and holding factor \
         counts (bands are ours and can be set)"
        | "Zeichen: die Wirbel wie gemessen, Reibung in {unit}; das Schlechtere aus Reibung und \
           Haltefaktor zählt (die Stufen sind unsere und einstellbar)";
    band_of(name, range): "{name}: {range}" | "{name}: {range}";
    counted(count, words): "{count} {words}" | "{count} {words}";
    in_doubt(entry): "in doubt: {entry}" | "zweifelhaft: {entry}";
    all_marked(mark): "{mark} (every pin read)" | "{mark} (alle gemessenen Wirbel)";
    so_many_marked(mark, count): "{mark} ({count})" | "{mark} ({count})";
    over(limit): "over {limit}" | "über {limit}";
    under(limit): "under {limit}" | "unter {limit}";
    and_more(limit): "{limit} and more" | "{limit} und mehr";
    between(low, high): "{low}–{high}" | "{low}–{high}";
    between_or_factor(range, factor):
        "{range} or holding factor under {factor}" | "{range} oder Haltefaktor unter {factor}";
    under_or_factor(limit, factor):
        "under {limit} or holding factor under {factor}"
        | "unter {limit} oder Haltefaktor unter {factor}";
    factor_under(factor): "holding factor under {factor}" | "Haltefaktor unter {factor}";
    loose_of_read(loose, read):
        "{loose} of {read} pins read there are loose"
        | "{loose} von {read} dort gemessenen Wirbeln sind locker";
    loose_pins(loose): "{loose} loose pins" | "{loose} lockere Wirbel";
    of(loose, read): "{loose} of {read}" | "{loose} von {read}";
    callout(shape, count, question):
        "{shape}, {count} pins loose{question}" | "{shape}, {count} Wirbel locker{question}";
    caption(told, loose, middle, around, surroundings):
        "{told}; {loose} (middle {middle}, {around} {surroundings})"
        | "{told}; {loose} (Mitte {middle}, {around} {surroundings})";
    read_as(caption, reading):
        "{caption}. Read as: {reading}." | "{caption}. Gelesen als: {reading}.";
    shape_at(shape, place): "{shape}, {place}" | "{shape}, {place}";
    note(note): "note {note}" | "Ton {note}";
}

pub(crate) const ONE_LOOSE_PIN: Word = Word::new("1 loose pin", "1 lockerer Wirbel");
pub(crate) const A_SPLIT: Word = Word::new(": a split?", ": ein Riss?");
pub(crate) const CRUSHED: Word = Word::new(": crushed at the flange?", ": am Flansch gequetscht?");
pub(crate) const PIN_FIELD: Word = Word::new("Pin field", "Wirbelfeld");
pub(crate) const SEEN_GRAND: Word = Word::new(
    "Seen from the player: bass left, keyboard below the picture",
    "Vom Spieler gesehen: Bass links, Klaviatur unter dem Bild",
);
pub(crate) const SEEN_UPRIGHT: Word = Word::new(
    "Seen from the front: bass left, keyboard below the picture",
    "Von vorn gesehen: Bass links, Klaviatur unter dem Bild",
);
pub(crate) const NO_PINS: Word =
    Word::new("This instrument has no pins.", "Dieses Instrument hat keine Wirbel.");
pub(crate) const STRUT: Word = Word::new("strut", "Spreize");
pub(crate) const FLANGE: Word =
    Word::new("plate flange (string side)", "Plattenflansch (Saitenseite)");
pub(crate) const NO_FLANGE: Word =
    Word::new("string side, no plate flange", "Saitenseite, kein Plattenflansch");
pub(crate) const UNSHADED: Word = Word::new(
    "Too few comparable readings to shade the plank.",
    "Zu wenige vergleichbare Messungen, um den Stimmstock zu schattieren.",
);
pub(crate) const MARKS_OF_PINS: Word = Word::new("Marks: the pins", "Zeichen: die Wirbel");
pub(crate) const MARKS_OF_RESIDUALS: Word = Word::new(
    "Marks: each pin against what all other pins lead to expect there",
    "Zeichen: jeder Wirbel gegen das, was alle anderen dort erwarten lassen",
);
pub(crate) const READ: Word = Word::new("read", "gemessen");
pub(crate) const NOT_READ: Word = Word::new("not read", "nicht gemessen");
pub(crate) const AS_EXPECTED: Word = Word::new("as expected", "wie erwartet");
pub(crate) const TIGHTER: Word =
    Word::new("tighter than its neighbours", "fester als seine Nachbarn");
pub(crate) const BAD_HOLE: Word = Word::new(
    "looser than its own neighbours: a bad hole",
    "lockerer als die eigenen Nachbarn: ein schlechtes Loch",
);
pub(crate) const BAD_PLACE: Word = Word::new(
    "loose with its neighbours: a bad place",
    "locker samt den Nachbarn: eine schlechte Stelle",
);
pub(crate) const NO_FRICTION: Word =
    Word::new("without a friction to compare", "ohne vergleichbare Reibung");
pub(crate) const NO_ZONES_SOUGHT: Word = Word::new(
    "Too few comparable readings to look for zones.",
    "Zu wenige vergleichbare Messungen, um nach Zonen zu suchen.",
);
pub(crate) const NO_ZONE: Word = Word::new(
    "No zone stands out: nowhere are pins loose together.",
    "Keine Zone fällt auf: nirgends sind Wirbel miteinander locker.",
);
pub(crate) const ZONE_EDGES: Word = Word::new(
    "Edged and hatched: a zone, the tight pins among its loose ones included.",
    "Umrandet und schraffiert: eine Zone, samt den festen Wirbeln zwischen ihren lockeren.",
);
pub(crate) const READINGS_NOT_FINDINGS: Word = Word::new(
    "Readings of the pattern, not findings: torque alone neither proves nor clears a split.",
    "Deutungen des Musters, keine Befunde: das Drehmoment allein beweist einen Riss nicht und \
     schließt ihn nicht aus.",
);
pub(crate) const DOES_NOT_TELL: Word =
    Word::new("the reading does not tell", "die Messung sagt es nicht");

/// A view's heading.
pub(crate) const fn title(view: View) -> Word {
    let de = match view {
        View::Torque => "Reibung des Stimmstocks: je dunkler, desto lockerer",
        View::Holding => "Haltefaktor: je dunkler, desto weniger hält er",
        View::Loose => "Wahrscheinlichkeit lockerer Wirbel: je dunkler, desto höher",
        View::Uncertainty => "Wie genau man es weiß: je dunkler, desto weniger",
        View::Residual => "Was auffällt: dunkles Holz oder einzelne dunkle Wirbel",
    };
    Word::new(view.title(), de)
}

/// Quantities without a unit.
pub(crate) const HOLDING: Word = Word::new(
    "holding factor: friction over the string's moment at pitch",
    "Haltefaktor: Reibung durch Moment der Saite auf Stimmung",
);
pub(crate) const LOOSE_CHANCE: Word = Word::new(
    "chance that a pin there is doubtful or worse, %",
    "Wahrscheinlichkeit, dass ein Wirbel dort zweifelhaft oder schlechter ist, %",
);
pub(crate) const SOUND_SHARE: Word = Word::new(
    "friction of the plank as a share of what a sound one would have there, %",
    "Reibung des Stimmstocks als Anteil dessen, was ein gesunder dort hätte, %",
);

/// What one asks first where a zone has this shape; a question, no finding (one report each).
pub(crate) fn question(shape: ZoneShape) -> super::Said {
    match shape {
        ZoneShape::RaggedLineInside => A_SPLIT.said(),
        ZoneShape::AlongFlange => CRUSHED.said(),
        _ => super::Said::default(),
    }
}

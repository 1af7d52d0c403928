//! The plank in words: bands, states, shapes and places, what a pattern usually means, levers in
//! doubt and pulls out of line.

use super::{Language, Word};
use crate::analysis::verdict::PlankState;
use crate::analysis::zones::ZoneShape;
use crate::analysis::{Band, Grade};
use crate::calibration::mark::LeverMark;

sentences! {
    one_section(name): "{name} section" | "Bereich {name}";
    sections(names, last): "{names} and {last} sections" | "Bereiche {names} und {last}";
    note(note): "note {note}" | "Ton {note}";
    notes(low, high): "notes {low}–{high}" | "Töne {low}–{high}";
    row_from(row, side): "row {row} from the {side}" | "{row}. Reihe von der {side}";
    nearest_keyboard(row): "{row} (nearest the keyboard)" | "{row} (der Klaviatur am nächsten)";
    topmost(row): "{row} (the topmost)" | "{row} (die oberste)";
    whole_section(section, notes):
        "{section}, all rows, {notes}" | "{section}, alle Reihen, {notes}";
    single_pins(section, notes):
        "{section}, single pins among {notes}" | "{section}, einzelne Wirbel in {notes}";
    last_notes(notes):
        "the last notes of the treble, {notes}" | "die letzten Töne im Diskant, {notes}";
    along_flange(section, notes):
        "{section}, along the flange, {notes}" | "{section}, am Flansch, {notes}";
    in_row(section, row, notes): "{section}, {row}, {notes}" | "{section}, {row}, {notes}";
    rows(section, count, notes):
        "{section}, {count} rows, {notes}" | "{section}, {count} Reihen, {notes}";
    pull_of_all(share):
        "all strings pull about {share} of what they should at the pitch given: the instrument is \
         far from pitch, the lever's zero or scale is wrong, or the string data are"
        | "alle Saiten ziehen etwa das {share}-fache dessen, was sie bei der angegebenen Tonhöhe \
           sollten: das Instrument ist weit von der Stimmung, Nullpunkt oder Skala des Hebels \
           stimmen nicht, oder die Saitendaten";
    like_another(part):
        "as strings of another part would ({part})" | "wie Saiten eines anderen Teils ({part})";
    pull_of_group(place, pins, share, like):
        "{place} ({pins}): pulls are about {share} of what they should be, {like}; were they read \
         under the names of other pins, or are the string data wrong?"
        | "{place} ({pins}): die Züge sind etwa das {share}-fache des Erwarteten, {like}; wurden \
           sie unter den Namen anderer Wirbel gemessen, oder stimmen die Saitendaten nicht?";
    slack_strings(list):
        "slack strings, pull far below what it should be: {list}; far below pitch, or the lever \
         stood on another pin"
        | "schlaffe Saiten, Zug weit unter dem Erwarteten: {list}; weit unter Stimmung, oder der \
           Hebel saß auf einem anderen Wirbel";
    let_down_strings(list):
        "strings let down to about what their pins hold, so that no pull can be compared: {list}"
        | "Saiten, die bis auf das nachgelassen sind, was ihre Wirbel halten, sodass kein Zug \
           verglichen werden kann: {list}";
    and_more(list, more): "{list} and {more} more" | "{list} und {more} weitere";
    pin_at_share(pin, share): "{pin} ({share})" | "{pin} ({share})";
    pins_from_to(count, first, last):
        "{count} pins, {first} to {last}" | "{count} Wirbel, {first} bis {last}";
    doubt(counted, meaning): "{counted}: {meaning}" | "{counted}: {meaning}";
    calibration_unknown(number):
        "the lever's calibration {number} is not in this store; the wide uncertainty of its class \
         stands in the numbers"
        | "die Kalibrierung {number} des Hebels liegt hier nicht vor; in den Zahlen steht die \
           weite Unsicherheit seiner Klasse";
    mark_calibration_unknown(number):
        "lever's calibration {number} is not in this store"
        | "Kalibrierung {number} des Hebels liegt hier nicht vor";
}

pub(crate) const NO_NOTES: Word = Word::new("no notes", "keine Töne");
pub(crate) const NO_SECTION: Word = Word::new("no section", "kein Bereich");
pub(crate) const NO_PINS: Word = Word::new("no pins", "keine Wirbel");
pub(crate) const WHOLE_PLANK: Word = Word::new("the whole plank", "der ganze Stimmstock");
pub(crate) const FLANGE_SIDE: Word = Word::new("flange", "Flanschseite");
pub(crate) const STRING_SIDE: Word = Word::new("string side", "Saitenseite");
pub(crate) const ROW_AT_FLANGE: Word =
    Word::new("first row, along the flange", "1. Reihe, am Flansch");
const COUNTED_ROWS: [[Word; 2]; 4] = [
    [
        Word::new("first row from the string side", "1. Reihe von der Saitenseite"),
        Word::new("first row from the flange", "1. Reihe von der Flanschseite"),
    ],
    [
        Word::new("second row from the string side", "2. Reihe von der Saitenseite"),
        Word::new("second row from the flange", "2. Reihe von der Flanschseite"),
    ],
    [
        Word::new("third row from the string side", "3. Reihe von der Saitenseite"),
        Word::new("third row from the flange", "3. Reihe von der Flanschseite"),
    ],
    [
        Word::new("fourth row from the string side", "4. Reihe von der Saitenseite"),
        Word::new("fourth row from the flange", "4. Reihe von der Flanschseite"),
    ],
];

/// A row's name counted from the flange, or from the string side.
pub(crate) fn counted_row(row: u8, lines_flange: bool) -> super::Said {
    match COUNTED_ROWS.get(usize::from(row)) {
        Some(names) => names[usize::from(lines_flange)].said(),
        None => row_from(u16::from(row) + 1, if lines_flange { FLANGE_SIDE } else { STRING_SIDE }),
    }
}

/// Names of sections, by how many there are.
const SECTION_NAMES: &[Word] = &[
    Word::new("only", "einziger"),
    Word::new("bass", "Bass"),
    Word::new("low tenor", "tiefer Tenor"),
    Word::new("tenor", "Tenor"),
    Word::new("treble", "Diskant"),
    Word::new("high treble", "hoher Diskant"),
];

/// A section's name in every language; one that is numbered stays as it is.
pub(crate) fn section(name: &str) -> super::Said {
    let found = SECTION_NAMES.iter().find(|word| word.en == name);
    found.map_or_else(|| super::Said::same(name), |word| word.said())
}

pub(crate) const SINGLES: Word = Word::new("single strings", "einchörig");
pub(crate) const PAIRS: Word = Word::new("two strings a note", "zweichörig");
pub(crate) const TRIPLES: Word = Word::new("three strings a note", "dreichörig");
pub(crate) const FOURS: Word = Word::new("four strings a note", "vierchörig");
pub(crate) const AS_NONE_OF_ITS_KIND: Word =
    Word::new("as none of its kind would", "wie keine ihrer Art");
pub(crate) const PULL_LIMITS: Word = Word::new(
    "pulls tell gross cases only: neighbouring strings differ by less than their error, so this \
     does not show that every pin was the right one",
    "Züge zeigen nur grobe Fälle: benachbarte Saiten unterscheiden sich weniger als ihr Fehler, \
     dies zeigt also nicht, dass jeder Wirbel der richtige war",
);

/// A band's name.
pub(crate) const fn band(band: Band) -> Word {
    match band {
        Band::OverTight => Word::new("over-tight", "überfest"),
        Band::Tight => Word::new("tight", "fest"),
        Band::AsNew => Word::new("as new", "wie neu"),
        Band::Serviceable => Word::new("serviceable", "brauchbar"),
        Band::Weak => Word::new("weak", "schwach"),
        Band::Doubtful => Word::new("doubtful", "zweifelhaft"),
        Band::Failing => Word::new("failing", "ungenügend"),
        Band::NotHolding => Word::new("not holding", "hält nicht"),
        Band::CannotTell => Word::new("cannot tell", "noch offen"),
    }
}

/// A state of the plank, as it follows "the plank is …".
pub(crate) const fn state(state: PlankState) -> Word {
    let de = match state {
        PlankState::Sound => "gesund",
        PlankState::Tight => "gesund und sehr fest",
        PlankState::Dried => "im Ganzen ausgetrocknet oder verbraucht",
        PlankState::Split => "innen gerissen oder in den Lagen gelöst",
        PlankState::FlangeCrushed => "am Flansch gequetscht",
        PlankState::BadHoles => "gesund mit einzelnen schlechten Löchern",
        PlankState::Contaminated => "an einer Stelle verunreinigt",
        PlankState::OversizeLoose => "schon mit stärkeren Wirbeln besetzt und wieder locker",
        PlankState::RowBadlyDrilled => "in einer Reihe schlecht gebohrt oder besetzt",
        PlankState::FaultElsewhere => "fest an seinen Wirbeln, der Fehler anderswo",
    };
    Word::new(state.words(), de)
}

/// A state in a word or two, for the head of a column.
pub(crate) const fn state_short(state: PlankState) -> Word {
    match state {
        PlankState::Sound => Word::new("sound", "gesund"),
        PlankState::Tight => Word::new("tight", "sehr fest"),
        PlankState::Dried => Word::new("dried out", "trocken"),
        PlankState::Split => Word::new("split", "gerissen"),
        PlankState::FlangeCrushed => Word::new("flange crushed", "Flansch gequetscht"),
        PlankState::BadHoles => Word::new("bad holes", "einzelne Löcher"),
        PlankState::Contaminated => Word::new("oil, stain", "Öl, Flecken"),
        PlankState::OversizeLoose => Word::new("larger, loose again", "stärker, wieder locker"),
        PlankState::RowBadlyDrilled => Word::new("row badly drilled", "Reihe schlecht gebohrt"),
        PlankState::FaultElsewhere => Word::new("fault elsewhere", "Fehler anderswo"),
    }
}

/// A zone's shape as one would say it.
pub(crate) const fn shape(shape: ZoneShape) -> Word {
    match shape {
        ZoneShape::RaggedLineInside => {
            Word::new("ragged line inside the field", "zackige Linie mitten im Feld")
        }
        ZoneShape::WholeRow => Word::new("whole row", "ganze Reihe"),
        ZoneShape::AlongFlange => {
            Word::new("line along the plate flange", "Linie am Plattenflansch")
        }
        ZoneShape::Patch => Word::new("patch", "Fleck"),
        ZoneShape::HighTreble => Word::new("high treble", "hoher Diskant"),
        ZoneShape::Scattered => {
            Word::new("single pins here and there", "einzelne Wirbel hier und da")
        }
        ZoneShape::WholeSection => Word::new("whole section", "ganzer Bereich"),
        ZoneShape::Everywhere => WHOLE_PLANK,
    }
}

/// A zone's shape as evidence.
pub(crate) const fn shape_found(shape: ZoneShape) -> Word {
    match shape {
        ZoneShape::RaggedLineInside => Word::new(
            "loose pins make a ragged line inside the field",
            "lockere Wirbel bilden eine zackige Linie mitten im Feld",
        ),
        ZoneShape::WholeRow => {
            Word::new("a whole row is evenly low", "eine ganze Reihe ist gleichmäßig niedrig")
        }
        ZoneShape::AlongFlange => Word::new(
            "loose pins stand in a line along the plate flange",
            "lockere Wirbel stehen in einer Linie am Plattenflansch",
        ),
        ZoneShape::Patch => {
            Word::new("loose pins make a patch", "lockere Wirbel bilden einen Fleck")
        }
        ZoneShape::HighTreble => Word::new(
            "the last notes of the treble are loose together",
            "die letzten Töne im Diskant sind miteinander locker",
        ),
        ZoneShape::Scattered => {
            Word::new("single loose pins are scattered", "einzelne lockere Wirbel sind verstreut")
        }
        ZoneShape::WholeSection => {
            Word::new("a whole section is low", "ein ganzer Bereich ist niedrig")
        }
        ZoneShape::Everywhere => {
            Word::new("the whole plank is low", "der ganze Stimmstock ist niedrig")
        }
    }
}

/// What a zone's surroundings are.
pub(crate) const fn surroundings(shape: ZoneShape) -> Word {
    match shape {
        ZoneShape::Everywhere => Word::new("as new begins at", "„wie neu“ beginnt bei"),
        ZoneShape::WholeSection => Word::new("the other sections", "die anderen Bereiche"),
        _ => Word::new("round them", "um sie herum"),
    }
}

/// What patterns usually mean: the trade's readings, their grades beside them where they are used.
pub(crate) const USUALLY_SPLIT: Word = Word::new(
    "usually a parted ply or a split inside the plank; a suspicion, not a proof",
    "meist eine gelöste Lage oder ein Riss im Inneren des Stimmstocks; ein Verdacht, kein Beweis",
);
pub(crate) const PLAIN_HOLES_TOO: Word = Word::new(
    "plain bad holes in a row can look the same",
    "einfach schlechte Löcher in einer Reihe können genauso aussehen",
);
pub(crate) const ONE_DRILLING: Word = Word::new(
    "one drilling run, one box of pins, or poor reach of the lever",
    "ein Bohrgang, eine Schachtel Wirbel, oder der Hebel reichte schlecht hin",
);
pub(crate) const CRUSHED_FIBRE: Word = Word::new(
    "may be only fibre crushed against the plate flange",
    "vielleicht nur am Plattenflansch gequetschte Fasern",
);
pub(crate) const DOES_NOT_CLEAR: Word = Word::new(
    "does not clear a split: one such line was one",
    "schließt einen Riss nicht aus: eine solche Linie war einer",
);
pub(crate) const LAST_NOTES_TOGETHER: Word = Word::new(
    "the last notes fail together (common practice, no source)",
    "die letzten Töne lassen gemeinsam nach (übliche Erfahrung, keine Quelle)",
);
pub(crate) const DRYING_FROM_END: Word = Word::new(
    "drying from the plank's end, or poor reach of the lever",
    "Austrocknung vom Ende des Stimmstocks her, oder der Hebel reichte schlecht hin",
);
pub(crate) const CONTAMINATION: Word = Word::new(
    "oil, liquid or another contamination: look for halo and stain",
    "Öl, Flüssigkeit oder andere Verunreinigung: nach Hof und Flecken sehen",
);
pub(crate) const UNSUPPORTED: Word = Word::new(
    "driving without support, or local heat",
    "Einschlagen ohne Unterstützung, oder örtliche Wärme",
);
pub(crate) const HOLES_HERE_AND_THERE: Word = Word::new(
    "bad holes here and there: treat, drive, or larger pins can be hoped to help",
    "einzelne schlechte Löcher: Behandeln, Nachschlagen oder stärkere Wirbel können helfen",
);
pub(crate) const RESTRUNG_BEFORE: Word = Word::new(
    "with larger or mixed pins: restrung on the old plank before",
    "mit stärkeren oder gemischten Wirbeln: früher auf dem alten Stimmstock neu bezogen",
);
pub(crate) const BASS_FIRST: Word = Word::new(
    "bass usually fails first: its strings pull hardest",
    "der Bass lässt meist zuerst nach: seine Saiten ziehen am stärksten",
);
pub(crate) const ONE_BAD_PLY: Word = Word::new("one bad ply", "eine schlechte Lage");
pub(crate) const DRYING: Word = Word::new(
    "drying, central heating: retest after a humid spell",
    "Austrocknung, Zentralheizung: nach einer feuchten Zeit noch einmal messen",
);
pub(crate) const WORN_OUT: Word = Word::new("worn out as a whole", "im Ganzen verbraucht");
pub(crate) const STAIN_SEEN: Word = Word::new(
    "oil, stain or glue was seen at the pins: contamination, which spoils a later repair",
    "Öl, Flecken oder Leim wurden an den Wirbeln gesehen: Verunreinigung, die eine spätere \
     Reparatur verdirbt",
);
pub(crate) const LARGER_PINS: Word = Word::new(
    "its pins are larger ones: restrung on the old plank; loose again means little is left to \
     grow into",
    "die Wirbel sind stärkere: auf dem alten Stimmstock neu bezogen; wieder locker heißt, es \
     bleibt wenig Maß nach oben",
);
pub(crate) const ONE_OF_A_UNISON: Word = Word::new(
    "one string of each unison is loose and the others stay: a crack rather than climate",
    "in jedem Chor ist eine Saite locker und die anderen halten: eher ein Riss als das Klima",
);
pub(crate) const ERRATIC: Word = Word::new(
    "erratic torque in one section: one bad ply, or the plank off its back or the flange; look at \
     joint, flange gap, plate and bridges",
    "sprunghafte Drehmomente in einem Bereich: eine schlechte Lage, oder der Stimmstock von Rast \
     oder Flansch gelöst; Fuge, Flanschspalt, Platte und Stege ansehen",
);
pub(crate) const LOWEST_BASS_ROW: Word = Word::new(
    "the bass row along the flange of an upright: one such line was a crack; look under the lid \
     at the top edge",
    "die Bassreihe am Flansch eines Klaviers: eine solche Linie war ein Riss; unter dem Deckel \
     die Oberkante ansehen",
);
pub(crate) const FLANGE_LOOKS_ALIKE: Word = Word::new(
    "the row lies along the flange: fibre crushed against it can look the same",
    "die Reihe liegt am Flansch: daran gequetschte Fasern können genauso aussehen",
);
pub(crate) const HIGH_TREBLE: Word = Word::new(
    "the last notes low together: look at the plank's treble end, its end grain and its joint, \
     before blaming the pins (common practice, no source)",
    "die letzten Töne gemeinsam niedrig: erst das Diskantende des Stimmstocks, sein Hirnholz und \
     seine Fuge ansehen, dann die Wirbel verdächtigen (übliche Erfahrung, keine Quelle)",
);

/// What a mark of the lever means for the numbers.
pub(crate) fn mark_meaning(mark: LeverMark) -> super::Said {
    let word = match mark {
        LeverMark::CalibrationUnknown { number } => return calibration_unknown(number),
        LeverMark::Uncalibrated => Word::new(
            "the lever was not calibrated; the wide uncertainty of its class stands in the numbers",
            "der Hebel war nicht kalibriert; in den Zahlen steht die weite Unsicherheit seiner \
             Klasse",
        ),
        LeverMark::Overdue => Word::new(
            "the lever's calibration was overdue; the uncertainty is what it was when calibrated",
            "die Kalibrierung des Hebels war überfällig; die Unsicherheit ist die vom Tag der \
             Kalibrierung",
        ),
        LeverMark::OutOfTemperature => Word::new(
            "the lever was colder or warmer than its calibration allows",
            "der Hebel war kälter oder wärmer, als seine Kalibrierung zulässt",
        ),
        LeverMark::CheckFailed => Word::new(
            "the lever failed a check beside these readings: do not act on them before it is \
             calibrated and the pins are read again",
            "der Hebel bestand bei diesen Messungen eine Prüfung nicht: nicht danach handeln, \
             bevor er kalibriert ist und die Wirbel neu gemessen sind",
        ),
        LeverMark::OutOfRange => Word::new(
            "the torque was beyond the loads the lever was calibrated with",
            "das Drehmoment lag jenseits der Lasten, mit denen der Hebel kalibriert wurde",
        ),
    };
    word.said()
}

/// A mark of the lever, short.
pub(crate) fn mark(mark: LeverMark) -> super::Said {
    let de = match mark {
        LeverMark::CalibrationUnknown { number } => return mark_calibration_unknown(number),
        LeverMark::Uncalibrated => "Hebel nicht kalibriert",
        LeverMark::Overdue => "Kalibrierung des Hebels überfällig",
        LeverMark::OutOfTemperature => "Hebel außerhalb seiner Temperatur",
        LeverMark::CheckFailed => "Hebel bestand bei dieser Messung eine Prüfung nicht",
        LeverMark::OutOfRange => "jenseits der Kalibrierlasten",
    };
    super::Said { en: mark.to_string(), de: de.to_owned() }
}

/// What a grade means.
pub(crate) const fn grade(grade: Grade, language: Language) -> &'static str {
    let de = match grade {
        Grade::Published => "eine Norm, ein Handbuch, ein Aufsatz oder eine Herstellertabelle",
        Grade::Practice => "übliche Praxis, keine zitierbare Quelle",
        Grade::OneReport => "ein einzelner Bericht: ein Anhaltspunkt, keine Regel",
        Grade::Memory => "aus dem Gedächtnis, unbestätigt",
        Grade::Derived => "von diesem Programm abgeleitet oder gewählt",
        Grade::User => "vom Benutzer gesetzt",
    };
    Word::new(grade.meaning(), de).to(language)
}

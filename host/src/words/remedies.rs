//! Remedies in words: what each means, needs and risks; cautions; what to mind when ordering.

use super::Word;
use crate::analysis::RemedyKind;

sentences! {
    larger(count, from, to):
        "Fit larger pins where they are loose. {count} pins{from}{to}."
        | "Stärkere Wirbel setzen, wo sie locker sind. {count} Wirbel{from}{to}.";
    from(diameter): " from {diameter}" | " von {diameter}";
    to_about(diameter): " to about {diameter}" | " auf etwa {diameter}";
    restring_to(diameter):
        "Restring the whole on larger pins. About {diameter} now fits the need."
        | "Das Ganze mit stärkeren Wirbeln neu beziehen. Dafür passen jetzt etwa {diameter}.";
}

pub(crate) const SIZE_AT_THE_PIN: Word =
    Word::new(" (size to be decided at the pin)", " (das Maß entscheidet sich am Wirbel)");

/// A remedy's name, for a reader.
pub(crate) const fn name(kind: RemedyKind) -> Word {
    match kind {
        RemedyKind::Leave => Word::new("leave", "belassen"),
        RemedyKind::Climate => Word::new("climate", "Klima"),
        RemedyKind::Treat => Word::new("treat", "behandeln"),
        RemedyKind::Larger => Word::new("larger", "stärkere Wirbel"),
        RemedyKind::Restring => Word::new("restring", "neu beziehen"),
        RemedyKind::Rebush => Word::new("rebush", "neue Dübel"),
        RemedyKind::RepairBlock => Word::new("repair-block", "Stimmstock ausbessern"),
        RemedyKind::Plank => Word::new("plank", "neuer Stimmstock"),
        RemedyKind::Elsewhere => Word::new("elsewhere", "anderswo suchen"),
        RemedyKind::NotWorth => Word::new("not-worth", "lohnt nicht"),
        RemedyKind::Undecided => Word::new("undecided", "noch offen"),
    }
}

/// What it means, for a customer.
pub(crate) const fn sentence(kind: RemedyKind) -> Word {
    let de = match kind {
        RemedyKind::Leave => "Wirbel und Stimmstock lassen, wie sie sind.",
        RemedyKind::Climate => {
            "Das Raumklima beruhigen, einige Wochen warten und noch einmal messen."
        }
        RemedyKind::Treat => {
            "Die schlechten Wirbel einzeln behandeln: nachschlagen, unterfüttern, dünner Kleber, \
             längerer Wirbel oder ausdübeln."
        }
        RemedyKind::Larger => "Stärkere Wirbel setzen, wo sie locker sind.",
        RemedyKind::Restring => "Das Ganze mit stärkeren Wirbeln neu beziehen.",
        RemedyKind::Rebush => {
            "Die Wirbeldübel der Platte erneuern, in einer Flucht mit den Löchern des Stimmstocks."
        }
        RemedyKind::RepairBlock => {
            "Den Stimmstock an Ort und Stelle ausbessern: Reihe oder Bereich ausdübeln, ein Stück \
             einsetzen oder neu einpassen."
        }
        RemedyKind::Plank => {
            "Ein neuer Stimmstock erscheint nötig; vor dem Handeln mit eigenen Augen bestätigen."
        }
        RemedyKind::Elsewhere => "Die Wirbel halten. Den Fehler anderswo suchen.",
        RemedyKind::NotWorth => {
            "Die Reparatur erscheint größer, als das Instrument dem Besitzer wert ist."
        }
        RemedyKind::Undecided => "Aus dem Gemessenen und Gesehenen noch nicht zu sagen.",
    };
    Word::new(kind.sentence(), de)
}

/// What it needs (common practice).
pub(crate) const fn needs(kind: RemedyKind) -> Word {
    match kind {
        RemedyKind::Leave => Word::new(
            "Tuning as usual, and the same pins read again in a year or two.",
            "Stimmen wie gewohnt, und dieselben Wirbel in ein, zwei Jahren noch einmal messen.",
        ),
        RemedyKind::Climate => Word::new(
            "A hygrometer, steady humidity, six to eight weeks; then the same pins again.",
            "Ein Hygrometer, ruhige Luftfeuchte, sechs bis acht Wochen; dann dieselben Wirbel.",
        ),
        RemedyKind::Treat => Word::new(
            "Work at single pins, on site; a tuning after it.",
            "Arbeit an einzelnen Wirbeln, am Ort; danach eine Stimmung.",
        ),
        RemedyKind::Larger => Word::new(
            "Two or three trial pins first; new pins, often new wire there; several tunings.",
            "Erst zwei, drei Probewirbel; neue Wirbel, dort oft neue Saiten; mehrere Stimmungen.",
        ),
        RemedyKind::Restring => Word::new(
            "New strings and pins throughout, bass strings made to order; several tunings.",
            "Neue Saiten und Wirbel durchweg, Basssaiten nach Maß; mehrere Stimmungen.",
        ),
        RemedyKind::Rebush => Word::new(
            "Strings and pins off where it is done; new bushings, drilled in line.",
            "Saiten und Wirbel ab, wo es geschieht; neue Dübel, in der Flucht gebohrt.",
        ),
        RemedyKind::RepairBlock => Word::new(
            "The strings of that part off; workshop or long visits; several tunings.",
            "Die Saiten dieses Teils ab; Werkstatt oder lange Besuche; mehrere Stimmungen.",
        ),
        RemedyKind::Plank => Word::new(
            "The workshop: strings and plate out, new strings and usually bushings with it.",
            "Die Werkstatt: Saiten und Platte heraus, neue Saiten und meist Dübel dazu.",
        ),
        RemedyKind::Elsewhere => Word::new(
            "A look at joint, flange, plate, bridges and bearing.",
            "Ein Blick auf Fuge, Flansch, Platte, Stege und Stegdruck.",
        ),
        RemedyKind::NotWorth => Word::new(
            "Nothing now; the owner's decision.",
            "Jetzt nichts; der Besitzer entscheidet.",
        ),
        RemedyKind::Undecided => {
            Word::new("The observation named above.", "Die oben genannte Beobachtung.")
        }
    }
}

/// What it risks (common practice; irreversible steps say so).
pub(crate) const fn risks(kind: RemedyKind) -> Word {
    match kind {
        RemedyKind::Leave => Word::new(
            "Loose pins may get looser unnoticed.",
            "Lockere Wirbel können unbemerkt lockerer werden.",
        ),
        RemedyKind::Climate => Word::new(
            "Some weeks are lost if it does not help.",
            "Hilft es nicht, sind Wochen verloren.",
        ),
        RemedyKind::Treat => Word::new(
            "Glue cannot be undone and fails on oily wood; the last gap to tap is used once.",
            "Kleber ist nicht rückgängig zu machen und hält nicht auf öligem Holz; nachschlagen \
             lässt sich nur einmal.",
        ),
        RemedyKind::Larger => Word::new(
            "Cannot be undone; too large a pin can split a dry plank; of little use in parted \
             plies.",
            "Nicht rückgängig zu machen; ein zu starker Wirbel kann einen trockenen Stimmstock \
             spalten; nützt wenig bei gelösten Lagen.",
        ),
        RemedyKind::Restring => Word::new(
            "Cannot be undone; a large outlay on a plank whose inside was not seen.",
            "Nicht rückgängig zu machen; viel Aufwand an einem Stimmstock, dessen Inneres niemand \
             sah.",
        ),
        RemedyKind::Rebush => Word::new(
            "Cannot be undone; helps only if the bushings are the fault.",
            "Nicht rückgängig zu machen; hilft nur, wenn die Dübel der Fehler sind.",
        ),
        RemedyKind::RepairBlock => Word::new(
            "Cannot be undone; the rest of the plank stays as old as it is.",
            "Nicht rückgängig zu machen; der übrige Stimmstock bleibt so alt, wie er ist.",
        ),
        RemedyKind::Plank => Word::new(
            "Cannot be undone; the largest step: confirm by eye first.",
            "Nicht rückgängig zu machen; der größte Schritt: erst mit eigenen Augen bestätigen.",
        ),
        RemedyKind::Elsewhere => Word::new(
            "The cause may stay hidden for a while.",
            "Die Ursache kann eine Weile verborgen bleiben.",
        ),
        RemedyKind::NotWorth => {
            Word::new("Tuning will hold less and less.", "Die Stimmung wird immer weniger halten.")
        }
        RemedyKind::Undecided => Word::new(
            "Acting before it is known can cost more than waiting.",
            "Zu handeln, bevor man es weiß, kann mehr kosten als zu warten.",
        ),
    }
}

/// What to mind when ordering.
pub(crate) const PARTED_WIDER: Word = Word::new(
    "plies were seen to have parted, and larger pins drive them wider",
    "Lagen sind sichtbar getrennt, und stärkere Wirbel treiben sie weiter auseinander",
);
pub(crate) const NO_SIZE_LEFT: Word =
    Word::new("no larger practical size is left", "keine stärkere brauchbare Größe ist übrig");
pub(crate) const FIT_TRIAL: Word =
    Word::new("fit two or three as a trial first", "erst zwei oder drei zur Probe setzen");
pub(crate) const SIZE_BY_TRIALS: Word = Word::new(
    "size by the trial pins; two sizes up at once can split a dry plank",
    "Maß nach den Probewirbeln; zwei Maße auf einmal können einen trockenen Stimmstock spalten",
);
pub(crate) const NO_SIZE_BY_TRIALS: Word = Word::new(
    "trial pins bear out no larger size that fits",
    "die Probewirbel sprechen für kein stärkeres Maß, das hineingeht",
);
pub(crate) const SIZE_UNTOLD: Word = Word::new(
    "no size can be told: nobody entered what is fitted now",
    "kein Maß zu nennen: niemand hat eingetragen, was jetzt steckt",
);
pub(crate) const WITH_NEW_WIRE: Word = Word::new(
    "with new wire; bass strings are custom-made",
    "mit neuem Draht; Basssaiten werden nach Maß gemacht",
);
pub(crate) const SMALLEST_SIZE: Word = Word::new(
    "smallest common size leaves room for later; with new wire",
    "das kleinste übliche Maß lässt Platz für später; mit neuem Draht",
);
pub(crate) const SAME_SIZE: Word = Word::new(
    "same size, holes plugged and drilled anew",
    "gleiches Maß, Löcher ausgedübelt und neu gebohrt",
);
pub(crate) const AT_THE_PIN: Word = Word::new(
    "longer or larger single pins, to be decided at the pin",
    "einzelne längere oder stärkere Wirbel, am Wirbel zu entscheiden",
);

/// Cautions.
pub(crate) const STORED_PULL: Word = Word::new(
    "The strings store 15 to 20 tonnes of pull and a breaking wire whips: protect the eyes, keep \
     the face out of the plane of the strings.",
    "In den Saiten stecken 15 bis 20 Tonnen Zug, und reißender Draht peitscht: Augen schützen, \
     das Gesicht aus der Ebene der Saiten halten.",
);
pub(crate) const TOUCH_UP: Word = Word::new(
    "The pins that were measured have moved a little and want a touch-up tuning.",
    "Die gemessenen Wirbel haben sich ein wenig bewegt und wollen nachgestimmt werden.",
);
pub(crate) const NEVER_RAISE: Word = Word::new(
    "A plank parted from its seat, or a cracked plate: never raise the pitch, slacken evenly, and \
     get a rebuilder.",
    "Gelöster Stimmstock oder gerissene Platte: nie höher stimmen, gleichmäßig nachlassen und \
     einen Klavierbauer holen.",
);
pub(crate) const FAR_BELOW_PITCH: Word = Word::new(
    "The piano is far below pitch: raise it in steps, flat by a little first, with the owner's \
     written consent to string breakage.",
    "Das Instrument steht weit unter der Stimmung: in Schritten hinauf, erst ein wenig tiefer, mit \
     schriftlicher Zustimmung des Besitzers zu reißenden Saiten.",
);
pub(crate) const OLD_WIRE: Word = Word::new(
    "Old wire: turn flat first, watch for rust at coil and bearing, and have the owner's written \
     consent to string breakage.",
    "Alter Draht: erst tiefer drehen, auf Rost an Windung und Auflage achten und die schriftliche \
     Zustimmung des Besitzers zu reißenden Saiten haben.",
);
pub(crate) const SUPPORT_PLANK: Word = Word::new(
    "Support the plank and the keybed before any pin is driven.",
    "Stimmstock und Klaviaturboden abstützen, bevor ein Wirbel eingeschlagen wird.",
);
pub(crate) const FALLS_BACK: Word = Word::new(
    "An upright can fall backwards: nobody behind it, two to tilt it.",
    "Ein Klavier kann nach hinten fallen: niemand dahinter, zu zweit kippen.",
);
pub(crate) const THIN_GLUE: Word = Word::new(
    "Thin glue is irreversible: action out, keys covered, air, gloves and goggles; it may spit at \
     the first turn and heats cotton. Read its data sheet. It fails on oily wood.",
    "Dünner Kleber ist nicht rückgängig zu machen: Mechanik heraus, Tasten abgedeckt, Luft, \
     Handschuhe und Schutzbrille; er kann beim ersten Drehen spritzen und erhitzt Baumwolle. Das \
     Datenblatt lesen. Auf öligem Holz hält er nicht.",
);
pub(crate) const OLD_DUST: Word = Word::new(
    "Old dust may hold lead, mould, droppings or moth poison: mask and vacuum.",
    "Alter Staub kann Blei, Pilzsporen, Kot oder Mottengift enthalten: Maske und Staubsauger.",
);
pub(crate) const TWO_SIZES: Word = Word::new(
    "Two sizes at once can split a dry plank: decide after driving a few.",
    "Zwei Maße auf einmal können einen trockenen Stimmstock spalten: nach einigen Wirbeln \
     entscheiden.",
);
pub(crate) const OPINION: Word = Word::new(
    "This is an opinion on condition, no structural certificate: a qualified practitioner decides.",
    "Dies ist eine Meinung zum Zustand, kein Gutachten zur Tragfähigkeit: eine Fachkraft \
     entscheidet.",
);

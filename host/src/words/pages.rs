//! Headings, tables and sentences of report and annex.

use super::{Language, Word};

sentences! {
    #[cfg(feature = "pdf")]
    page_of(page, all): "Page {page} of {all}" | "Seite {page} von {all}";
    #[cfg(feature = "pdf")]
    character_replaced(sign):
        "1 character of what was typed cannot be shown in this file's font: {sign} stands there. \
         The HTML file has them."
        | "1 Zeichen des Getippten fehlt in der Schrift dieser Datei: dort steht {sign}. Die \
           HTML-Datei hat es.";
    #[cfg(feature = "pdf")]
    characters_replaced(count, sign):
        "{count} characters of what was typed cannot be shown in this file's font: {sign} stand \
         there. The HTML file has them."
        | "{count} Zeichen des Getippten fehlen in der Schrift dieser Datei: dort steht {sign}. \
           Die HTML-Datei hat sie.";
    title(name): "Tuning pins of {name}" | "Stimmwirbel von {name}";
    compass(first, last, pins, read):
        "notes {first}–{last}, {pins} pins, {read} read"
        | "Töne {first}–{last}, {pins} Wirbel, {read} gemessen";
    confidence(percent, words, capped):
        "Confidence {percent} % ({words}){capped}." | "Vertrauen {percent} % ({words}){capped}.";
    next(observation):
        "Most worth finding out next: {observation}." | "Am meisten brächte jetzt: {observation}.";
    zone_title(letter, shape): "{letter}: {shape}" | "{letter}: {shape}";
    zone_told(place, loose, middle, around, surroundings):
        "{place}. {loose}; in the middle they hold {middle}, {around} {surroundings}."
        | "{place}. {loose}; in der Mitte halten sie {middle}, {around} {surroundings}.";
    zone_depth(percent, u): " {percent} % lower, ± {u} %." | " {percent} % niedriger, ± {u} %.";
    zone_tight(count): " Still tight inside it: {count}." | " Darin noch fest: {count}.";
    zone_unread(count): " Not read inside it: {count}." | " Darin nicht gemessen: {count}.";
    zone_chance(percent):
        " Sound planks like this one show so striking a zone in at most {percent} % of cases."
        | " Gesunde Stimmstöcke wie dieser zeigen eine so auffällige Zone in höchstens {percent} % \
           der Fälle.";
    zone_rate(percent):
        "Zones that stand out from their surroundings are reported at a rate of at most {percent} \
         % of sound planks. Patterns are evidence, not proof: torque neither proves nor clears a \
         split."
        | "Zonen, die sich von ihrer Umgebung abheben, werden bei höchstens {percent} % gesunder \
           Stimmstöcke gemeldet. Muster sind Hinweise, kein Beweis: das Drehmoment beweist einen \
           Riss nicht und schließt ihn nicht aus.";
    graded(text, grade): "{text} ({grade})" | "{text} ({grade})";
    friction_column(unit): "Friction, {unit}" | "Reibung, {unit}";
    sharp_column(unit): "Sharp, {unit}" | "Hoch, {unit}";
    flat_column(unit): "Flat, {unit}" | "Tief, {unit}";
    share_note(value, u):
        "The worse of friction and holding factor counts. Doubtful or worse: {value} ± {u} % of \
         all pins, unread ones estimated. The bands are this program's own and can be set."
        | "Das Schlechtere aus Reibung und Haltefaktor zählt. Zweifelhaft oder schlechter: {value} \
           ± {u} % aller Wirbel, nicht gemessene geschätzt. Die Stufen sind die dieses Programms \
           und einstellbar.";
    of_read(read, all): "{read} of {all}" | "{read} von {all}";
    read_in(name, read, all): "{name} {read} of {all}" | "{name} {read} von {all}";
    read_by_section(list): "Read by section: {list}." | "Gemessen je Bereich: {list}.";
    directions(both, sharp, flat):
        "{both} pins read both ways, {sharp} only sharp, {flat} only flat."
        | "{both} Wirbel in beiden Richtungen gemessen, {sharp} nur hoch, {flat} nur tief.";
    marked(mark, count, read, pins):
        "Marked: {mark}, {count} of {read} readings: {pins}."
        | "Vermerk: {mark}, {count} von {read} Messungen: {pins}.";
    more_in_annex(named, count):
        "{named} and {count} more (annex, every reading)"
        | "{named} und {count} weitere (Anhang, jede Messung)";
    signature_of(name): "Signature ({name})" | "Unterschrift ({name})";
    report_of(date): "Report of {date}." | "Bericht vom {date}.";
    stray(count):
        "{count} readings are of pins the instrument does not have and are not judged."
        | "{count} Messungen gehören zu Wirbeln, die das Instrument nicht hat, und sind nicht \
           beurteilt.";
    spread_note(percent):
        "Spread is the coefficient of variation; 10–15 % is usual in a sound plank [MEM]. \
         Ordinary pins scatter by {percent} % about the fitted field."
        | "Streuung ist der Variationskoeffizient; 10–15 % sind in einem gesunden Stimmstock \
           üblich [MEM]. Gewöhnliche Wirbel streuen um {percent} % um das angepasste Feld.";
    grade_meaning(mark, meaning): "{mark}: {meaning}." | "{mark}: {meaning}.";
    cut_short(text): "{text}… (in full in the annex)" | "{text}… (ganz im Anhang)";
    at_section(fact, section): "{fact}, {section}" | "{fact}, {section}";
    answered(fact, answer): "{fact}: {answer}" | "{fact}: {answer}";
    pins_in_all(pins, read): "{read} of {pins} pins" | "{read} von {pins} Wirbeln";
    reassigned(read, count):
        "{read}; {count} readings reassigned to another pin after the measurement, the original \
         kept"
        | "{read}; {count} Messungen nachträglich einem anderen Wirbel zugewiesen, das \
           Ursprüngliche bewahrt";
    drift_of_lever(read, drift):
        "{read}; drift of the lever: {drift}" | "{read}; Drift des Hebels: {drift}";
    drift(found, done, repeats):
        "{found} ({done}; {repeats})" | "{found} ({done}; {repeats})";
    drift_found(count, pins, change, u, hours):
        "{count} readings of {pins}: friction drifted by {change} ± {u} % over {hours} h"
        | "{count} Messungen von {pins}: die Reibung wanderte um {change} ± {u} % in {hours} h";
    drift_repeats(relaxed, u, way):
        "repeats read {relaxed} ± {u} % {way} than first readings, as wood that relaxes does, and \
         that is not taken for drift"
        | "Wiederholungen lesen {relaxed} ± {u} % {way} als erste Messungen, wie nachgebendes \
           Holz es tut, und das gilt nicht als Drift";
    and_others(pins): "{pins} and others" | "{pins} und anderen";
    lever_tool(calibrations):
        "torque-sensing lever; {calibrations}" | "Drehmoment messender Stimmhebel; {calibrations}";
    simulated_tool(calibrations):
        "simulated lever at an invented piano; {calibrations}"
        | "simulierter Hebel an einem erfundenen Instrument; {calibrations}";
    lever_uncalibrated(lever, count):
        "lever {lever}, not calibrated individually ({count} readings)"
        | "Hebel {lever}, nicht einzeln kalibriert ({count} Messungen)";
    lever_unknown(lever, number, count):
        "lever {lever}, calibration {number}, which is not in this store ({count} readings)"
        | "Hebel {lever}, Kalibrierung {number}, die hier nicht vorliegt ({count} Messungen)";
    lever_calibrated(lever, number, made, due, count):
        "lever {lever}, calibration {number} of {made}, due {due} ({count} readings; in-house, not \
         accredited)"
        | "Hebel {lever}, Kalibrierung {number} vom {made}, fällig {due} ({count} Messungen; \
           hauseigen, nicht akkreditiert)";
    serial(text): "serial {text}" | "Nummer {text}";
    maker(text): "maker {text}" | "Hersteller {text}";
    place(text): "place {text}" | "Ort {text}";
    least_expected(remedy, amount):
        "Least expected cost: {remedy} ({amount})."
        | "Kleinste erwartete Kosten: {remedy} ({amount}).";
    ruled_out(remedy, why):
        "Out of the question: {remedy}; {why}."
        | "Nicht in Frage: {remedy}; {why}.";
    unpriced(list):
        "Without a price, and not compared: {list}."
        | "Ohne Preis und nicht verglichen: {list}.";
    pays_first(look, amount):
        "Before acting it pays to {look}: worth {amount} beyond its price."
        | "Was sich vor dem Handeln lohnt: {look} ({amount} mehr wert, als es kostet).";
    costs_note(years):
        "Looking {years} years ahead, in the technician's own rates; no quotation unless it says \
         so elsewhere. Expected in all: the price, and what is spent again where the pins do not \
         hold. How surely each holds is this program's estimate."
        | "Auf {years} Jahre gesehen, in den eigenen Sätzen der Fachkraft; kein Angebot, sofern \
           es nicht anderswo so heißt. Erwartet insgesamt: der Preis und was noch einmal \
           ausgegeben wird, wo die Wirbel nicht halten. Mit welcher Wahrscheinlichkeit jede \
           Maßnahme hält, schätzt dieses Programm.";
    cents(value): "{value} cents" | "{value} Cent";
    percent(value): "{value} %" | "{value} %";
}

/// Headings.
pub(crate) const DEMO: Word = Word::new(
    "Demonstration: instrument and readings are invented.",
    "Vorführung: Instrument und Messungen sind erfunden.",
);
pub(crate) const REPORT: Word = Word::new(
    "Tuning pins and pinblock: a report on condition",
    "Stimmwirbel und Stimmstock: ein Zustandsbericht",
);
pub(crate) const DESCRIPTION: Word = Word::new(
    "Condition of tuning pins and pinblock, from measured torques and what was seen and told. An \
     opinion, no structural certificate.",
    "Zustand von Stimmwirbeln und Stimmstock, aus gemessenen Drehmomenten und dem, was gesehen und \
     gesagt wurde. Eine Meinung, kein Gutachten zur Tragfähigkeit.",
);
pub(crate) const OWN_DECISION: Word =
    Word::new("The technician's own decision", "Die eigene Entscheidung der Fachkraft");
pub(crate) const NO_OWN_DECISION: Word = Word::new(
    "None is recorded yet: what stands above is the program's.",
    "Noch keine vermerkt: was oben steht, ist die des Programms.",
);
pub(crate) const CONFIRM: Word = Word::new("Confirm before acting", "Vor dem Handeln bestätigen");
pub(crate) const LEVER_IN_DOUBT: Word = Word::new(
    "The torques come from a lever in doubt",
    "Die Drehmomente stammen von einem zweifelhaften Hebel",
);
pub(crate) const PIN_FIELD: Word = Word::new("The pin field", "Das Wirbelfeld");
pub(crate) const MORE_VIEWS: Word = Word::new(
    "Every pin by name, and four other views, are in the annex.",
    "Jeder Wirbel mit Namen und vier weitere Ansichten stehen im Anhang.",
);
pub(crate) const WHY: Word = Word::new("Why", "Warum");
pub(crate) const FOR: Word = Word::new("For it", "Dafür");
pub(crate) const AGAINST: Word = Word::new("Against it", "Dagegen");
pub(crate) const NOTHING_OF_WEIGHT: Word = Word::new("Nothing of weight.", "Nichts von Gewicht.");
pub(crate) const WOULD_CHANGE: Word = Word::new("What would change it", "Was es ändern würde");
pub(crate) const ZONES: Word = Word::new(
    "Where pins are loose together, and what that usually means",
    "Wo Wirbel miteinander locker sind und was das meist heißt",
);
pub(crate) const NO_ZONE: Word =
    Word::new("No zone of loose pins stands out.", "Keine Zone lockerer Wirbel fällt auf.");
pub(crate) const USUALLY_MEANS: Word =
    Word::new("It usually means, but need not:", "Meist heißt es, muss aber nicht:");
pub(crate) const BANDS: Word = Word::new("How the pins hold", "Wie die Wirbel halten");
pub(crate) const BAND: Word = Word::new("Band", "Stufe");
pub(crate) const PINS: Word = Word::new("Pins", "Wirbel");
pub(crate) const OF_THOSE_READ: Word = Word::new("Of those read", "Der gemessenen");
pub(crate) const NOT_READ: Word = Word::new("not read", "nicht gemessen");
pub(crate) const REMEDIES: Word = Word::new("What can be done", "Was man tun kann");
pub(crate) const COSTS: Word =
    Word::new("In the technician's rates", "In den Sätzen der Fachkraft");
pub(crate) const PRICE_NOW: Word = Word::new("Now", "Jetzt");
pub(crate) const CHANCE_HOLDS: Word = Word::new("Chance that it holds", "Chance, dass es hält");
pub(crate) const EXPECTED_IN_ALL: Word = Word::new("Expected in all", "Erwartet insgesamt");
pub(crate) const NOTHING_PAYS_FIRST: Word = Word::new(
    "In these rates nothing open is worth finding out first.",
    "In diesen Sätzen lohnt es sich nicht, vorher noch etwas herauszufinden.",
);
pub(crate) const REMEDY: Word = Word::new("Remedy", "Maßnahme");
pub(crate) const NEEDS: Word = Word::new("What it needs", "Was sie braucht");
pub(crate) const RISKS: Word = Word::new("What it risks", "Was dagegen spricht");
pub(crate) const CHANCE_RIGHT: Word = Word::new("Chance", "Chance");
pub(crate) const CHANCE_OF_RIGHT: Word =
    Word::new("Chance of being right", "Wahrscheinlichkeit, richtig zu sein");
pub(crate) const REMEDIES_NOTE: Word = Word::new(
    "Each step stands with its chance of being a right answer, never as a promise; gentler ones \
     stand beside it. Several can be right for one plank, so the chances do not add up; of \
     nearly equal ones the gentler leads. Cost and value are the owner's and are not weighed here.",
    "Jede Maßnahme steht mit der Wahrscheinlichkeit, eine richtige Antwort zu sein, nie als \
     Versprechen; auch die milderen stehen da. Mehrere können für einen Stimmstock richtig sein, \
     die Zahlen ergeben zusammen nicht 100 %; von fast gleichen führt die mildere. Kosten und \
     Wert sind Sache des Besitzers und hier nicht gewogen.",
);
pub(crate) const IRREVERSIBLE: Word =
    Word::new("This step cannot be undone.", "Dieser Schritt ist nicht rückgängig zu machen.");
pub(crate) const CAPPED_PLIES: Word = Word::new(
    ", capped: torque alone does not prove what a new plank needs",
    ", begrenzt: das Drehmoment allein beweist nicht, was ein neuer Stimmstock verlangt",
);
pub(crate) const CAPPED_LEVER: Word =
    Word::new(", capped: the lever is in doubt", ", begrenzt: der Hebel ist zweifelhaft");
pub(crate) const NOT_CHECKED: Word =
    Word::new("What was not examined", "Was nicht untersucht wurde");
pub(crate) const CONDITIONS: Word =
    Word::new("Conditions of the measurement", "Bedingungen der Messung");
pub(crate) const INSTRUMENT: Word = Word::new("Instrument", "Instrument");
pub(crate) const FOR_WHOM: Word = Word::new("For", "Für");
pub(crate) const MEASURED_ON: Word = Word::new("Measured on", "Gemessen am");
pub(crate) const MEASURED_BY: Word = Word::new("Measured by", "Gemessen von");
pub(crate) const SURVEY: Word = Word::new("Survey", "Aufnahme");
pub(crate) const DIRECTIONS: Word = Word::new("Directions", "Richtungen");
pub(crate) const TOOL: Word = Word::new("Measured with", "Gemessen mit");
pub(crate) const HUMIDITY: Word =
    Word::new("Relative humidity of the room", "Relative Feuchte des Raums");
pub(crate) const TEMPERATURE: Word = Word::new("Temperature", "Temperatur");
pub(crate) const PITCH: Word = Word::new("Pitch as found", "Vorgefundene Tonhöhe");
pub(crate) const NOT_RECORDED: Word = Word::new("not recorded", "nicht vermerkt");
pub(crate) const WHAT_FRICTION_IS: Word = Word::new(
    "Friction is half the sum of sharp and flat running torque; the holding factor is friction \
     over the string's moment at target pitch. Bearing friction is not taken off: it can flatter \
     friction a little and stands in the uncertainty.",
    "Reibung ist die halbe Summe der Drehmomente beim Höher- und beim Tieferdrehen; der \
     Haltefaktor ist Reibung durch Moment der Saite bei Solltonhöhe. Die Reibung an den Auflagen \
     ist nicht abgezogen: sie kann die Reibung etwas beschönigen und steht in der Unsicherheit.",
);
pub(crate) const SEEN_AND_TOLD: Word = Word::new("Seen and told", "Gesehen und gesagt");
pub(crate) const CAUTIONS: Word = Word::new("Cautions", "Vorsicht");
pub(crate) const PHOTOS: Word = Word::new("Photos", "Fotos");
pub(crate) const OPINION: Word = Word::new(
    "An opinion on condition from what was measured and seen, no structural certificate. \
     Percentages are chances as this program weighs them, not promises. Local codes and a \
     qualified practitioner come first.",
    "Eine Meinung zum Zustand aus dem Gemessenen und Gesehenen, kein Gutachten zur Tragfähigkeit. \
     Prozentzahlen sind Wahrscheinlichkeiten, wie dieses Programm sie wiegt, keine Versprechen. \
     Örtliche Vorschriften und eine Fachkraft gehen vor.",
);
pub(crate) const SIGNATURE: Word = Word::new("Signature", "Unterschrift");
pub(crate) const DATE: Word = Word::new("Date", "Datum");
pub(crate) const EVERY_PIN_READ: Word = Word::new("every pin read", "alle gemessenen Wirbel");
pub(crate) const ONE_STRAY: Word = Word::new(
    "1 reading is of a pin the instrument does not have and is not judged.",
    "1 Messung gehört zu einem Wirbel, den das Instrument nicht hat, und ist nicht beurteilt.",
);

/// The annex.
pub(crate) const ANNEX_CHAIN: Word = Word::new(
    "Annex: from readings to verdict, to follow by hand",
    "Anhang: von den Messungen zum Urteil, von Hand nachzurechnen",
);
pub(crate) const ANNEX_REASONS: Word = Word::new("Annex: all reasons", "Anhang: alle Gründe");
pub(crate) const ANNEX_ZONES: Word =
    Word::new("Annex: the zones in numbers", "Anhang: die Zonen in Zahlen");
pub(crate) const ANNEX_NAMES: Word =
    Word::new("Annex: every pin by name", "Anhang: jeder Wirbel mit Namen");
pub(crate) const ANNEX_VIEWS: Word =
    Word::new("Annex: the plank in four other views", "Anhang: der Stimmstock in vier Ansichten");
pub(crate) const ANNEX_SECTIONS: Word = Word::new("Annex: sections", "Anhang: Bereiche");
pub(crate) const ANNEX_REMEDIES: Word =
    Word::new("Annex: all remedies weighed", "Anhang: alle gewogenen Maßnahmen");
pub(crate) const ANNEX_PARTS: Word =
    Word::new("Annex: pins to order", "Anhang: Wirbel zu bestellen");
pub(crate) const ANNEX_STRINGS: Word =
    Word::new("Annex: strings that stand out", "Anhang: auffällige Saiten");
pub(crate) const ANNEX_RETUNE: Word = Word::new(
    "Annex: strings to retune after the measurement",
    "Anhang: nach der Messung nachzustimmende Saiten",
);
pub(crate) const ANNEX_TOLD: Word =
    Word::new("Annex: seen and told, in full", "Anhang: Gesehenes und Gesagtes, vollständig");
pub(crate) const ANNEX_THRESHOLDS: Word = Word::new(
    "Annex: thresholds and what stands behind them",
    "Anhang: Schwellen und was hinter ihnen steht",
);
pub(crate) const ANNEX_READINGS: Word = Word::new("Annex: every reading", "Anhang: jede Messung");
pub(crate) const STRING: Word = Word::new("String", "Saite");
pub(crate) const NET_DEG: Word = Word::new("Net, °", "Am Ende, °");
pub(crate) const NET_CENTS: Word = Word::new("Cents", "Cent");
pub(crate) const ON_THE_WAY: Word = Word::new("On the way, cents", "Unterwegs, Cent");
pub(crate) const RETUNE_BOUNDS: Word = Word::new(
    "Cents are upper bounds: elastic wire, no friction at the bearings. A string that sounds \
     unchanged may still drift when it is played.",
    "Cent sind Obergrenzen: elastischer Draht, keine Reibung an den Auflagen. Eine Saite, die \
     unverändert klingt, kann beim Spielen noch wandern.",
);

/// Columns of the annex.
pub(crate) const SECTION: Word = Word::new("Section", "Bereich");
pub(crate) const READ: Word = Word::new("Read", "Gemessen");
pub(crate) const MIDDLE: Word = Word::new("Middle", "Mitte");
pub(crate) const LEAST: Word = Word::new("Least", "Kleinste");
pub(crate) const GREATEST: Word = Word::new("Greatest", "Größte");
pub(crate) const HOLDING_FACTOR: Word = Word::new("Holding factor", "Haltefaktor");
pub(crate) const SPREAD: Word = Word::new("Spread", "Streuung");
pub(crate) const DOUBTFUL_OR_WORSE: Word =
    Word::new("Doubtful or worse", "Zweifelhaft oder schlechter");
pub(crate) const WHERE: Word = Word::new("Where", "Wo");
pub(crate) const SPARE: Word = Word::new("Spare", "Reserve");
pub(crate) const NOW: Word = Word::new("Now", "Jetzt");
pub(crate) const ORDER: Word = Word::new("Order", "Bestellen");
pub(crate) const MIND: Word = Word::new("Mind", "Zu beachten");
pub(crate) const AT_THE_PIN: Word = Word::new("at the pin", "am Wirbel");
pub(crate) const THRESHOLD: Word = Word::new("Threshold", "Schwelle");
pub(crate) const VALUE: Word = Word::new("Value", "Wert");
pub(crate) const GRADE: Word = Word::new("Grade", "Grad");
pub(crate) const SOURCE: Word = Word::new("Source", "Quelle");
pub(crate) const PIN: Word = Word::new("Pin", "Wirbel");
pub(crate) const ROW: Word = Word::new("Row", "Reihe");
pub(crate) const ZONE: Word = Word::new("Zone", "Zone");
pub(crate) const REMARKS: Word = Word::new("Remarks", "Bemerkungen");
pub(crate) const MEANING: Word = Word::new("What it means", "Was sie bedeutet");
pub(crate) const CANNOT_TELL_YET: Word = Word::new(" (cannot tell yet)", " (noch offen)");
pub(crate) const READINGS_NOTE: Word = Word::new(
    "± is one standard uncertainty. Sharp and flat are what a wrench reads with the string on. \
     Cannot tell yet: on which side of doubtful the pin is cannot be settled at the stated risk.",
    "± ist eine Standardunsicherheit. Hoch und tief sind, was ein Schlüssel mit aufgezogener Saite \
     anzeigt. Noch offen: auf welcher Seite von zweifelhaft der Wirbel liegt, lässt sich beim \
     genannten Risiko nicht feststellen.",
);
pub(crate) const TAKEN_OUT: Word = Word::new(
    "taken out of every reading about the survey's middle, its uncertainty added",
    "aus jeder Messung um die Mitte der Aufnahme herausgenommen, ihre Unsicherheit dazugenommen",
);
pub(crate) const NOT_SIGNIFICANT: Word =
    Word::new("not significant, nothing is corrected", "nicht bedeutsam, nichts ist berichtigt");
pub(crate) const LOWER: Word = Word::new("lower", "niedriger");
pub(crate) const HIGHER: Word = Word::new("higher", "höher");
pub(crate) const ANY_WRENCH: Word = Word::new(
    "any torque wrench, readings taken by hand",
    "ein Drehmomentschlüssel, von Hand abgelesen",
);
pub(crate) const NO_READING_COUNTS: Word =
    Word::new("no reading of it counts", "keine Messung davon zählt");
pub(crate) const UNKNOWN: Word = Word::new("unknown", "unbekannt");

/// Confidence in a word.
pub(crate) fn confidence_word(confidence: f64) -> Word {
    match confidence {
        c if c >= 0.9 => Word::new("firm", "fest"),
        c if c >= 0.75 => Word::new("likely", "wahrscheinlich"),
        c if c >= 0.5 => Word::new("leaning", "eher als nicht"),
        _ => Word::new("open", "offen"),
    }
}

/// A grade in words a customer understands.
pub(crate) const fn plain_grade(grade: crate::analysis::Grade) -> Word {
    use crate::analysis::Grade;
    match grade {
        Grade::Published => Word::new("published", "veröffentlicht"),
        Grade::Practice => Word::new("common practice", "übliche Praxis"),
        Grade::OneReport => Word::new("a single report", "ein einzelner Bericht"),
        Grade::Memory => Word::new("from memory, unconfirmed", "aus dem Gedächtnis, unbestätigt"),
        Grade::Derived => Word::new("our own reasoning", "eigene Überlegung"),
        Grade::User => Word::new("set by the user", "vom Benutzer gesetzt"),
    }
}

/// Orientation of the strips.
pub(crate) const fn orientation(
    is_grand: bool,
    has_flange: bool,
    language: Language,
) -> &'static str {
    let word = match (is_grand, has_flange) {
        (true, true) => Word::new(
            "Seen from the player: plate flange at the top. To scale.",
            "Vom Spieler gesehen: Plattenflansch oben. Maßstäblich.",
        ),
        (true, false) => Word::new(
            "Seen from the player: string side at the top. To scale.",
            "Vom Spieler gesehen: Saitenseite oben. Maßstäblich.",
        ),
        (false, true) => Word::new(
            "Seen from the front: plate flange below. To scale.",
            "Von vorn gesehen: Plattenflansch unten. Maßstäblich.",
        ),
        (false, false) => Word::new(
            "Seen from the front: string side below. To scale.",
            "Von vorn gesehen: Saitenseite unten. Maßstäblich.",
        ),
    };
    word.to(language)
}

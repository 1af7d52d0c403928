//! What is said of two surveys beside each other.

use super::Word;

sentences! {
    title(name): "Before and after: {name}" | "Vorher und nachher: {name}";
    surveys(before, after): "{before} and {after}" | "{before} und {after}";
    rises(shift, low, high, count):
        "Friction rose by {shift} ({low} to {high}, 95 %), by {count} pins read alike in both."
        | "Die Reibung stieg um {shift} ({low} bis {high}, 95 %), nach {count} beide Male gleich \
           gemessenen Wirbeln.";
    falls(shift, low, high, count):
        "Friction fell by {shift} ({low} to {high}, 95 %), by {count} pins read alike in both."
        | "Die Reibung fiel um {shift} ({low} bis {high}, 95 %), nach {count} beide Male gleich \
           gemessenen Wirbeln.";
    no_clear_shift(low, high, count):
        "No clear change: friction as a whole moved by {low} to {high} (95 %), by {count} pins \
         read alike in both."
        | "Keine klare Änderung: die Reibung im Ganzen änderte sich um {low} bis {high} (95 %), \
           nach {count} beide Male gleich gemessenen Wirbeln.";
    too_few(count):
        "Too few pins for an interval: {count} were read alike in both, six are needed."
        | "Zu wenige Wirbel für eine Spanne: {count} wurden beide Male gleich gemessen, sechs sind \
           nötig.";
    test(v, count, p):
        "Signed ranks of the changes (Wilcoxon): V = {v} of {count} pins that differ, p {p}."
        | "Vorzeichen-Rangtest der Änderungen (Wilcoxon): V = {v} bei {count} verschiedenen \
           Wirbeln, p {p}.";
    common(u):
        "What all readings of a survey share is in the interval once, not averaged away: {u} \
         (standard uncertainty)."
        | "Was allen Werten einer Aufnahme gemeinsam ist, steht einmal in der Spanne und wird \
           nicht weggemittelt: {u} (Standardunsicherheit).";
    left_out(once, otherwise, limits):
        "Not compared: {once} pins read once only, {otherwise} read otherwise (direction, kind of \
         torque, string), {limits} without a friction or with only a limit of it."
        | "Nicht verglichen: {once} nur einmal gemessene Wirbel, {otherwise} anders gemessene \
           (Richtung, Art des Drehmoments, Saite), {limits} ohne Reibung oder nur mit einer \
           Grenze.";
    marked(tighter, looser, rest):
        "Clearly tighter: {tighter} pins; clearly looser: {looser}; no clear change: {rest}. Of \
         those marked, one in twenty may be marked by chance."
        | "Deutlich fester: {tighter} Wirbel; deutlich loser: {looser}; keine klare Änderung: \
           {rest}. Von den bezeichneten kann es jeder zwanzigste durch Zufall sein.";
    repeat_after(days):
        "{days} days lie between the two. New fits relax: the proof is to be repeated after some \
         weeks and after a season."
        | "Zwischen beiden liegen {days} Tage. Neue Sitze setzen sich: der Nachweis ist nach \
           einigen Wochen und nach einer Jahreszeit zu wiederholen.";
    humidity_alike(before, after):
        "Relative humidity {before} % and {after} %: within five points, so that the wood is \
         compared in like air."
        | "Relative Feuchte {before} % und {after} %: auf fünf Punkte gleich, so dass das Holz in \
           ähnlicher Luft verglichen ist.";
    humidity_differs(before, after, points):
        "Relative humidity {before} % and {after} %, {points} points apart: a part of the change \
         may be the wood's moisture, which is not taken out."
        | "Relative Feuchte {before} % und {after} %, {points} Punkte auseinander: ein Teil der \
           Änderung kann die Holzfeuchte sein, die nicht herausgerechnet ist.";
    figure(number): "{number}" | "{number}";
    section_shift(low, high): "{low} to {high}" | "{low} bis {high}";
    doubtful(count, all): "{count} of {all}" | "{count} von {all}";
    of_survey(number, date): "survey {number}, {date}" | "Aufnahme {number}, {date}";
}

pub(crate) const DESCRIPTION: Word = Word::new(
    "Two surveys of one instrument held against each other, pin by pin",
    "Zwei Aufnahmen eines Instruments, Wirbel für Wirbel verglichen",
);
pub(crate) const HUMIDITY_UNKNOWN: Word = Word::new(
    "The humidity of both surveys is not known: how much of the change is the wood's moisture \
     cannot be said.",
    "Die Luftfeuchte beider Aufnahmen ist nicht bekannt: wie viel der Änderung Holzfeuchte ist, \
     lässt sich nicht sagen.",
);
pub(crate) const OF_WEEKS: Word = Word::new(
    "Both are means of the eight weeks before, as logged.",
    "Beides sind Mittel der acht Wochen davor, wie aufgezeichnet.",
);
pub(crate) const OF_SURVEY: Word = Word::new(
    "Both are as told at the survey; wood follows the air of the weeks before.",
    "Beides ist wie bei der Aufnahme angegeben; Holz folgt der Luft der Wochen davor.",
);
pub(crate) const SAME_TOOL: Word = Word::new(
    "One lever with one calibration took both: the error of its scale falls out.",
    "Ein Hebel mit einer Kalibrierung nahm beide auf: der Fehler seiner Skala fällt heraus.",
);
pub(crate) const OTHER_TOOL: Word = Word::new(
    "Not one lever with one calibration took both: the scale errors of both are in the interval.",
    "Nicht ein Hebel mit einer Kalibrierung nahm beide auf: die Skalenfehler beider stehen in der \
     Spanne.",
);
pub(crate) const PROOF: Word = Word::new("Before and after", "Vorher und nachher");
pub(crate) const MEASURE: Word = Word::new("Pins compared", "Verglichene Wirbel");
pub(crate) const BEFORE: Word = Word::new("Before", "Vorher");
pub(crate) const AFTER: Word = Word::new("After", "Nachher");
pub(crate) const MEDIAN: Word = Word::new("Median friction", "Reibung, Median");
pub(crate) const LOWEST_DECILE: Word =
    Word::new("A tenth of the pins are below", "Ein Zehntel der Wirbel liegt unter");
pub(crate) const BASS_FACTOR: Word =
    Word::new("Holding factor in the bass, median", "Haltefaktor im Bass, Median");
pub(crate) const BASS_LOWEST: Word = Word::new(
    "Holding factor in the bass, a tenth below",
    "Haltefaktor im Bass, ein Zehntel unter",
);
pub(crate) const DOUBTFUL: Word = Word::new("Doubtful or worse", "Zweifelhaft oder schlechter");
pub(crate) const BY_SECTION: Word = Word::new("By section", "Nach Bereichen");
pub(crate) const SECTION: Word = Word::new("Section", "Bereich");
pub(crate) const CHANGE: Word = Word::new("Change", "Änderung");
pub(crate) const INTERVAL: Word = Word::new("95 % interval", "95-%-Spanne");
pub(crate) const MAP: Word = Word::new("Where", "Wo");
pub(crate) const MAP_CAPTION: Word = Word::new(
    "Every pin compared, bass at the left, plate flange at the top. Filled triangle up: clearly \
     tighter; open triangle down: clearly looser; dot: no clear change.",
    "Alle verglichenen Wirbel, Bass links, Plattenflansch oben. Volles Dreieck nach oben: deutlich \
     fester; offenes Dreieck nach unten: deutlich loser; Punkt: keine klare Änderung.",
);
pub(crate) const EVERY_PIN: Word = Word::new("Every pin compared", "Alle verglichenen Wirbel");
pub(crate) const PIN: Word = Word::new("Pin", "Wirbel");
pub(crate) const TIGHTER: Word = Word::new("tighter", "fester");
pub(crate) const LOOSER: Word = Word::new("looser", "loser");
pub(crate) const HOW: Word = Word::new("How this was compared", "Wie verglichen wurde");
pub(crate) const OPINION: Word = Word::new(
    "Torque neither proves nor clears a split, and one pair of surveys tells nothing of how a \
     repair will last.",
    "Das Drehmoment beweist einen Riss nicht und schließt ihn nicht aus, und zwei Aufnahmen sagen \
     nicht, wie lange eine Reparatur hält.",
);

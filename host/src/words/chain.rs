//! The worked chain from readings to verdict, in words.

use super::Word;

sentences! {
    one_pin(pin, sharp, flat, unit, half, moment):
        "Pin {pin} read {sharp} {unit} going sharp and {flat} {unit} going flat. Half the sum is \
         the friction of the plank: ({sharp} + {flat}) / 2 = {half} {unit}. Half the difference is \
         the pull of its string: ({sharp} − {flat}) / 2 = {moment} {unit}."
        | "Wirbel {pin} ergab {sharp} {unit} beim Höherdrehen und {flat} {unit} beim Tieferdrehen. \
           Die halbe Summe ist die Reibung des Stimmstocks: ({sharp} + {flat}) / 2 = {half} \
           {unit}. Die halbe Differenz ist der Zug der Saite: ({sharp} − {flat}) / 2 = {moment} \
           {unit}.";
    matched(friction, unit):
        " With both strokes taken at the same angle of the coil the friction is {friction} {unit}; \
         that is what counts."
        | " Beide Wege beim selben Winkel der Windung genommen, ist die Reibung {friction} {unit}; \
           das zählt.";
    factor(friction, moment, unit, factor, band):
        " At target pitch the string pulls with {moment} {unit}, so the holding factor is \
         {friction} / {moment} = {factor}. Held against the limits (thresholds, below) the worse \
         of both counts: {band}."
        | " Bei Solltonhöhe zieht die Saite mit {moment} {unit}, der Haltefaktor ist also \
           {friction} / {moment} = {factor}. An den Grenzen gemessen (Schwellen, unten) zählt das \
           Schlechtere: {band}.";
    all_pins(sum, count, share):
        "Each pin has a chance of being doubtful or worse; unread ones have it from the map. These \
         chances add up to {sum}; over {count} pins that is {share} %."
        | "Jeder Wirbel ist mit einer Wahrscheinlichkeit zweifelhaft oder schlechter; nicht \
           gemessene haben sie aus der Karte. Zusammen sind das {sum}; auf {count} Wirbel {share} \
           %.";
    others(power):
        "The five states not shown add up to {power}. The chance of a state is its power over the \
         sum of all ten."
        | "Die fünf nicht gezeigten Zustände ergeben zusammen {power}. Die Wahrscheinlichkeit \
           eines Zustands ist seine Potenz durch die Summe aller zehn.";
    less_burden(remedy, chance, burden, rest):
        "{remedy}: {chance} − {burden} = {rest}" | "{remedy}: {chance} − {burden} = {rest}";
    decides(remedy, least):
        "The greatest leads: {remedy}. Under a chance of {least} nothing is decided."
        | "Das Größte führt: {remedy}. Unter einer Wahrscheinlichkeit von {least} ist nichts \
           entschieden.";
    capped_at(cap): "The confidence is capped at {cap}." | "Das Vertrauen ist bei {cap} begrenzt.";
    undecided(least):
        "It is left open all the same: fewer pins were read than decide, it hangs on a size nobody \
         measured, or the chance is under {least}."
        | "Trotzdem bleibt es offen: es sind weniger Wirbel gemessen, als entscheiden, es hängt an \
           einem Maß, das niemand nahm, oder die Wahrscheinlichkeit liegt unter {least}.";
}

pub(crate) const STEP_PIN: Word = Word::new("1. One pin", "1. Ein Wirbel");
pub(crate) const STEP_ALL: Word = Word::new("2. All pins", "2. Alle Wirbel");
pub(crate) const STEP_EVIDENCE: Word =
    Word::new("3. What each finding says of the plank", "3. Was jeder Befund vom Stimmstock sagt");
pub(crate) const STEP_REMEDIES: Word =
    Word::new("4. What suits the likely states", "4. Was zu den wahrscheinlichen Zuständen passt");
pub(crate) const STEP_CHOICE: Word = Word::new("5. The choice", "5. Die Wahl");
pub(crate) const NO_PIN: Word = Word::new(
    "No pin was read both ways; friction of the others rests on the string's moment at pitch.",
    "Kein Wirbel wurde in beiden Richtungen gemessen; die Reibung der anderen ruht auf dem Moment \
     der Saite bei Solltonhöhe.",
);
pub(crate) const EVIDENCE_NOTE: Word = Word::new(
    "Natural logarithms: of each state's chance before any reading, then of how well it would \
     explain each finding. Add a column.",
    "Natürliche Logarithmen: der Wahrscheinlichkeit jedes Zustands vor allen Messungen, dann wie \
     gut er jeden Befund erklären würde. Spalten zusammenzählen.",
);
pub(crate) const FINDING: Word = Word::new("Finding", "Befund");
pub(crate) const BEFORE: Word = Word::new("before any reading", "vor allen Messungen");
pub(crate) const SUM: Word = Word::new("sum", "Summe");
pub(crate) const POWER: Word = Word::new("e to the power of it", "e hoch Summe");
pub(crate) const CHANCE: Word = Word::new("chance", "Wahrscheinlichkeit");
pub(crate) const STATE: Word = Word::new("State of the plank", "Zustand des Stimmstocks");
pub(crate) const SUITS_NOTE: Word = Word::new(
    "How well a remedy would suit each state, from 0 to 1. Multiply by the state's chance and add \
     up: the chance that the remedy is a right answer.",
    "Wie gut eine Maßnahme zu jedem Zustand passte, von 0 bis 1. Mit dessen Wahrscheinlichkeit \
     malnehmen und zusammenzählen: die Wahrscheinlichkeit, dass sie eine richtige Antwort ist.",
);
pub(crate) const ADDED_UP: Word = Word::new("added up", "zusammen");
pub(crate) const BURDEN_NOTE: Word = Word::new(
    "A little is taken off for the burden of a step, so that of two equally right ones the gentler \
     leads:",
    "Für die Last eines Schritts wird ein wenig abgezogen, damit von zwei gleich richtigen der \
     mildere führt:",
);
pub(crate) const OURS: Word = Word::new(
    "Priors, fits, suitabilities and burdens are this program's own [DER], after the trade's \
     pattern rules.",
    "Ausgangswerte, Erklärungswerte, Eignungen und Lasten sind die dieses Programms [DER], nach \
     den Musterregeln des Fachs.",
);

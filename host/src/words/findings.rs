//! What was found and why: evidence, reasons, what to confirm, what was not examined.

use super::{Said, Word};

sentences! {
    no_zone(count):
        "no zone of loose pins stands out among {count} pins read"
        | "unter {count} gemessenen Wirbeln fällt keine Zone lockerer Wirbel auf";
    zone_found(shape, place, count, depth, below, tight, chance):
        "{shape}: {place} ({count} pins, {depth} % below {below}{tight}{chance})"
        | "{shape}: {place} ({count} Wirbel, {depth} % unter {below}{tight}{chance})";
    better_there(tight):
        ", {tight} read pins there are better"
        | ", {tight} gemessene Wirbel dort sind besser";
    tight_inside(tight):
        ", {tight} pins inside it still tight"
        | ", {tight} Wirbel darin noch fest";
    sound_shows(percent):
        "; a sound plank shows such a thing in at most {percent} % of cases"
        | "; ein gesunder Stimmstock zeigt so etwas in höchstens {percent} % der Fälle";
    share(value, u):
        "{value} % of the pins are doubtful or worse (± {u} %)"
        | "{value} % der Wirbel sind zweifelhaft oder schlechter (± {u} %)";
    level(band):
        "outside any zone the middle pin is {band}"
        | "außerhalb der Zonen ist der mittlere Wirbel {band}";
    scatter(percent, suspicious):
        "ordinary pins scatter by {percent} % about their neighbours{suspicious}"
        | "gewöhnliche Wirbel streuen um {percent} % um ihre Nachbarn{suspicious}";
    spongy(count, loose):
        "{count} of {loose} loose pins feel spongy, without a clear knee"
        | "{count} von {loose} lockeren Wirbeln fühlen sich schwammig an, ohne klaren Knick";
    one_trial_gained(percent):
        "a trial pin in a bad hole gained {percent} % on what was there"
        | "ein Probewirbel in einem schlechten Loch gewann {percent} % zu dem, was da war";
    trials_gained(count, low, high):
        "trial pins in {count} bad holes gained {low} to {high} % on what was there"
        | "Probewirbel in {count} schlechten Löchern gewannen {low} bis {high} % zu dem, was \
           da war";
    next_size_without_trials(percent, u):
        "the next size's gain, {percent} ± {u} %, rests on one documented case, no trial pin yet"
        | "der Gewinn, {percent} ± {u} % je Maß, ruht auf einem belegten Fall, ohne Probewirbel";
    next_size_with_trials(percent, u, count):
        "the next size's gain, {percent} ± {u} % of friction; trial pins behind it: {count}"
        | "der Gewinn des nächsten Maßes, {percent} ± {u} % der Reibung; Probewirbel: {count}";
    oversize(mm):
        "the loose pins are larger ones already, {mm} mm in the mean"
        | "die lockeren Wirbel sind schon stärkere, im Mittel {mm} mm";
    first_size(mm):
        "the loose pins are of a first size, {mm} mm in the mean"
        | "die lockeren Wirbel haben das erste Maß, im Mittel {mm} mm";
    room_dry(measured):
        "the room has been dry{measured}" | "der Raum war trocken{measured}";
    room_not_dry(measured):
        "the room has not been dry{measured}" | "der Raum war nicht trocken{measured}";
    humidity(percent): " ({percent} % RH)" | " ({percent} % r. F.)";
    lined_up(count, notes, percent):
        "the {count} single loose pins all stand in one row, {notes}; bad holes by chance would \
         in {percent} % of cases"
        | "die {count} einzelnen lockeren Wirbel stehen alle in einer Reihe, {notes}; zufällig \
           schlechte Löcher täten das in {percent} % der Fälle";
    weighs(reason, times): "{reason} (weighs {times} : 1)" | "{reason} (wiegt {times} : 1)";
    likeliest(state, percent):
        "the likeliest explanation is a plank {state} ({percent} %)"
        | "am wahrscheinlichsten ist der Stimmstock {state} ({percent} %)";
    rival(state, percent):
        "the plank may as well be {state} ({percent} %)"
        | "der Stimmstock kann ebenso gut {state} sein ({percent} %)";
    flat_pitch(cents, percent):
        "the piano stands {cents} cents flat: its strings pull {percent} % less than at pitch; \
         holding factors are taken at target pitch"
        | "das Instrument steht {cents} Cent zu tief: seine Saiten ziehen {percent} % schwächer \
           als auf Stimmung; Haltefaktoren gelten für die Solltonhöhe";
    not_all_read(used, all):
        "{used} of {all} pins were read; the rest is estimated"
        | "{used} von {all} Wirbeln wurden gemessen; der Rest ist geschätzt";
    peaks(count):
        "{count} readings are peaks, which include the break and flatter the pin"
        | "{count} Messungen sind Spitzenwerte, die das Losbrechen enthalten und dem Wirbel \
           schmeicheln";
    supposed(outcome, chance, remedy, then):
        "if {outcome} (chance {chance} %): {remedy} ({then} %)"
        | "falls {outcome} (Wahrscheinlichkeit {chance} %): {remedy} ({then} %)";
    read_more(used, all):
        "read more pins, some in every row of every section: {used} of {all} is few"
        | "mehr Wirbel messen, einige in jeder Reihe jedes Bereichs: {used} von {all} sind wenige";
    draw_a_pin(place):
        "one pin drawn at {place}: a light down the hole, stain, grain"
        | "einen Wirbel ziehen ({place}): ins Loch leuchten, Flecken, Faserverlauf";
    no_oil(place):
        "at {place}: no oil round the pins before any glue"
        | "{place}: kein Öl um die Wirbel, bevor irgendein Kleber kommt";
    unread(unread, all): "{unread} of {all} pins" | "{unread} von {all} Wirbeln";
    one_way(count):
        "{count} pins in both directions: friction rests on the string scale"
        | "{count} Wirbel in beiden Richtungen: ihre Reibung ruht auf der Mensur";
    unstrung(count):
        "{count} pins under string pull: they were read unstrung"
        | "{count} Wirbel unter Saitenzug: sie wurden ohne Saite gemessen";
    of_torques(count, all): "{count} of {all} torques" | "{count} von {all} Drehmomenten";
    confirm_torques(what, counted): "{what} ({counted})" | "{what} ({counted})";
    failed_lever(counted):
        "{counted} of a lever that failed its check; all is weighed as if they were right"
        | "{counted} stammen von einem Hebel, der seine Prüfung nicht bestand; alles ist so \
           gewogen, als stimmten sie";
}

/// Parts of sentences about zones.
pub(crate) const ONE_TIGHT_INSIDE: Word =
    Word::new(", 1 pin inside it still tight", ", 1 Wirbel darin noch fest");
pub(crate) const AS_NEW_BEGINS: Word =
    Word::new("the lower end of as new", "der unteren Grenze von „wie neu“");
pub(crate) const OTHER_SECTIONS: Word = Word::new("the other sections", "den anderen Bereichen");
pub(crate) const ROUND_THEM: Word = Word::new("what stands round them", "ihrer Umgebung");
pub(crate) const SUSPICIOUSLY: Word = Word::new(", suspiciously much", ", verdächtig viel");

/// The condition record as evidence, and as what it might turn out to be.
pub(crate) const UNSTABLE: Word =
    Word::new("it does not stay in tune", "es hält die Stimmung nicht");
pub(crate) const STABLE: Word = Word::new("it stays in tune", "es hält die Stimmung");
pub(crate) const SEEN_SOUND: Word = Word::new(
    "the plank looks sound where it can be seen",
    "der Stimmstock sieht gesund aus, wo man ihn sieht",
);
pub(crate) const PLIES_PARTED: Word =
    Word::new("plies were seen to have parted", "gelöste Lagen wurden gesehen");
pub(crate) const OFF_BACK: Word = Word::new(
    "the plank was seen to have left its seat",
    "der Stimmstock hat sich sichtbar von seinem Sitz gelöst",
);
pub(crate) const STAINED: Word = Word::new(
    "oil, stain or glue was seen at the pins",
    "Öl, Flecken oder Leim wurden an den Wirbeln gesehen",
);
pub(crate) const CLEAN: Word =
    Word::new("no oil, stain or glue at the pins", "kein Öl, Fleck oder Leim an den Wirbeln");
pub(crate) const LARGER_ONES: Word =
    Word::new("the loose pins are larger ones", "die lockeren Wirbel sind stärkere");
pub(crate) const OF_FIRST_SIZE: Word = Word::new("pins of a first size", "Wirbel im ersten Maß");

pub(crate) const TURNED_OUT_STABLE: Word =
    Word::new("it turned out to stay in tune", "sich zeigt, dass es die Stimmung hält");
pub(crate) const TURNED_OUT_UNSTABLE: Word =
    Word::new("it turned out not to stay in tune", "sich zeigt, dass es die Stimmung nicht hält");
pub(crate) const TURNED_OUT_LARGER: Word =
    Word::new("the loose pins were larger ones", "die lockeren Wirbel stärkere sind");
pub(crate) const TURNED_OUT_FIRST_SIZE: Word =
    Word::new("the loose pins were of a first size", "die lockeren Wirbel das erste Maß haben");
pub(crate) const TURNED_OUT_STAINED: Word =
    Word::new("oil or stain was found at the pins", "sich Öl oder Flecken an den Wirbeln finden");
pub(crate) const TURNED_OUT_CLEAN: Word =
    Word::new("the pins were found clean", "die Wirbel sauber sind");
pub(crate) const TURNED_OUT_DRY: Word = Word::new("the room had been dry", "der Raum trocken war");
pub(crate) const TURNED_OUT_NOT_DRY: Word =
    Word::new("the room had not been dry", "der Raum nicht trocken war");
pub(crate) const TURNED_OUT_PARTED: Word =
    Word::new("plies were seen to have parted", "gelöste Lagen zu sehen sind");
pub(crate) const TURNED_OUT_SOUND: Word = Word::new(
    "the plank looked sound where it can be seen",
    "der Stimmstock gesund aussieht, wo man ihn sieht",
);
pub(crate) const TURNED_OUT_OFF_BACK: Word = Word::new(
    "the plank was seen to have left its seat",
    "der Stimmstock sich sichtbar von seinem Sitz gelöst hat",
);
pub(crate) const TURNED_OUT_GRIPPING: Word =
    Word::new("larger trial pins gained enough", "stärkere Probewirbel genug gewonnen haben");
pub(crate) const TURNED_OUT_SLACK: Word = Word::new(
    "larger trial pins gained next to nothing",
    "stärkere Probewirbel fast nichts gewonnen haben",
);

/// What to find out.
pub(crate) const MEASURE_DIAMETERS: Word = Word::new(
    "measure the diameter of some loose pins and of their neighbours",
    "den Durchmesser einiger lockerer Wirbel und ihrer Nachbarn messen",
);
pub(crate) const LOOK_AT_PLANK: Word = Word::new(
    "look at the plank's edges and joints with a light, and draw a pin",
    "Kanten und Fugen des Stimmstocks mit einer Lampe ansehen und einen Wirbel ziehen",
);
pub(crate) const ASK_TUNE: Word = Word::new(
    "ask whether it holds its tune, and when it was last tuned",
    "fragen, ob es die Stimmung hält und wann es zuletzt gestimmt wurde",
);
pub(crate) const LOOK_FOR_STAIN: Word = Word::new(
    "look for oil, stain and glue round the pins",
    "nach Öl, Flecken und Leim um die Wirbel sehen",
);
pub(crate) const FIT_TRIALS: Word = Word::new(
    "fit larger trial pins in three or four of the loosest holes and read them again",
    "in drei oder vier der lockersten Löcher stärkere Probewirbel setzen und neu messen",
);
pub(crate) const LOG_HUMIDITY: Word = Word::new(
    "log the room's humidity for some weeks and read the same pins again",
    "die Raumfeuchte einige Wochen aufzeichnen und dieselben Wirbel noch einmal messen",
);

/// Reasons without a number.
pub(crate) const HANGS_ON_SIZE: Word = Word::new(
    "it hangs on whether the loose pins are larger ones already, and nobody measured them",
    "es hängt daran, ob die lockeren Wirbel schon stärkere sind, und niemand hat sie gemessen",
);
pub(crate) const NO_SIZE_LEFT: Word = Word::new(
    "no larger practical pin size is left",
    "es gibt kein stärkeres Wirbelmaß mehr, das praktisch passt",
);
pub(crate) const TORQUE_PROVES_NOTHING: Word = Word::new(
    "torque neither proves nor clears a split, and parted plies were not seen",
    "Drehmomente beweisen einen Riss nicht und schließen ihn nicht aus, und gelöste Lagen wurden \
     nicht gesehen",
);

/// What to confirm before acting.
pub(crate) const CONFIRM_ENDS: Word = Word::new(
    "the plank's ends and front edge: open glue lines, parted plies",
    "Enden und Vorderkante des Stimmstocks: offene Leimfugen, gelöste Lagen",
);
pub(crate) const CONFIRM_UNDERSIDE: Word = Word::new(
    "its underside, with a light (a clean one clears little: pins stop short of it)",
    "seine Unterseite, mit einer Lampe (eine saubere besagt wenig: die Wirbel reichen nicht so \
     weit)",
);
pub(crate) const CONFIRM_JOINT: Word = Word::new(
    "the joint to case and plate flange: a gap?",
    "die Fuge zu Gehäuse und Plattenflansch: ein Spalt?",
);
pub(crate) const CONFIRM_TOP_EDGE: Word = Word::new(
    "the plank's top edge under the lid: open glue lines, parted plies",
    "die Oberkante des Stimmstocks unter dem Deckel: offene Leimfugen, gelöste Lagen",
);
pub(crate) const CONFIRM_POSTS: Word = Word::new(
    "the joint to the back posts, and a hollow knock",
    "die Fuge zu den Rasten, und ob es hohl klingt",
);
pub(crate) const CONFIRM_AGAIN: Word = Word::new(
    "the same pins read again on another day",
    "dieselben Wirbel an einem anderen Tag noch einmal gemessen",
);
pub(crate) const CONFIRM_TRIAL: Word = Word::new(
    "two or three trial pins of the new size, in bad and ordinary holes, read again before the \
     whole order",
    "zwei oder drei Probewirbel im neuen Maß, in schlechten und gewöhnlichen Löchern, \
     nachgemessen vor der ganzen Bestellung",
);
pub(crate) const CONFIRM_SIZES: Word = Word::new(
    "diameters and lengths fitted now, and that plate and tip take more",
    "jetzige Durchmesser und Längen, und dass Platte und Stimmhammerkopf mehr zulassen",
);
pub(crate) const CONFIRM_ROOM: Word = Word::new(
    "coil gap and room to drive, before tapping",
    "Abstand der Windungen und Platz zum Nachschlagen, bevor geschlagen wird",
);
pub(crate) const CONFIRM_BUSHINGS: Word = Word::new(
    "that bushings, not the plank, are worn: one drawn pin",
    "dass die Dübel verschlissen sind und nicht der Stimmstock: ein gezogener Wirbel",
);
pub(crate) const CONFIRM_ELSEWHERE: Word = Word::new(
    "the joint of plank and back, the gap at the flange, plate and struts, bridges and strings' \
     bearing",
    "die Fuge von Stimmstock und Rast, der Spalt am Flansch, Platte und Spreizen, Stege und \
     Stegdruck",
);
pub(crate) const CONFIRM_CLIMATE: Word = Word::new(
    "humidity logged for six to eight weeks, then the same pins",
    "sechs bis acht Wochen Luftfeuchte aufgezeichnet, dann dieselben Wirbel",
);
pub(crate) const LOOSEST_PLACE: Word = Word::new("the loosest place", "an der lockersten Stelle");

/// What was not examined.
pub(crate) const UNSEEN_PLANK: Word = Word::new(
    "the plank's edges, underside and joints",
    "Kanten, Unterseite und Fugen des Stimmstocks",
);
pub(crate) const UNKNOWN_TUNE: Word =
    Word::new("whether it holds its tune", "ob es die Stimmung hält");
pub(crate) const UNSEEN_STAIN: Word =
    Word::new("oil, stain or glue at the pins", "Öl, Flecken oder Leim an den Wirbeln");
pub(crate) const UNKNOWN_HUMIDITY: Word =
    Word::new("the room's humidity over the last weeks", "die Raumfeuchte der letzten Wochen");
pub(crate) const UNKNOWN_PITCH: Word = Word::new("its pitch as found", "die vorgefundene Tonhöhe");
pub(crate) const UNSEEN_BUSHINGS: Word =
    Word::new("the plate's bushings", "die Wirbeldübel in der Platte");
pub(crate) const UNKNOWN_DIAMETERS: Word =
    Word::new("the diameter of some or all pins", "der Durchmesser einiger oder aller Wirbel");
pub(crate) const UNKNOWN_LARGEST: Word = Word::new(
    "the largest pin that plate and tip take",
    "der stärkste Wirbel, den Platte und Stimmhammerkopf zulassen",
);
pub(crate) const UNKNOWN_LENGTH: Word = Word::new(
    "the length of the pins and their grip",
    "die Länge der Wirbel und wie tief sie greifen",
);
pub(crate) const UNSEEN_INSIDE: Word = Word::new(
    "the inside of the plank: no pin was drawn, no plate lifted",
    "das Innere des Stimmstocks: kein Wirbel gezogen, keine Platte abgenommen",
);

/// Levers in doubt.
pub(crate) const EVERY_TORQUE: Word = Word::new("every torque", "jedes Drehmoment");
pub(crate) const LEVER_FAILED: Word = Word::new(
    "the lever, which failed a check: calibrate it, then read these pins again",
    "der Hebel, der eine Prüfung nicht bestand: kalibrieren, dann diese Wirbel noch einmal messen",
);
pub(crate) const LEVER_UNCALIBRATED: Word = Word::new(
    "the lever, which was not calibrated: calibrate it, then read some of these pins again",
    "der Hebel, der nicht kalibriert war: kalibrieren, dann einige dieser Wirbel noch einmal \
     messen",
);
pub(crate) const LEVER_UNKNOWN: Word = Word::new(
    "the lever, whose calibration is not in this store: calibrate it, or ask whoever did",
    "der Hebel, dessen Kalibrierung hier nicht vorliegt: kalibrieren, oder fragen, wer es tat",
);
pub(crate) const LEVER_OVERDUE: Word = Word::new(
    "the lever, whose calibration was overdue: a check with one known weight",
    "der Hebel, dessen Kalibrierung überfällig war: eine Prüfung mit einem bekannten Gewicht",
);
pub(crate) const LEVER_TEMPERATURE: Word = Word::new(
    "the lever, which was out of its temperature: some of these pins again at the one it was \
     calibrated at",
    "der Hebel, der außerhalb seiner Temperatur war: einige dieser Wirbel noch einmal bei \
     der, bei der er kalibriert wurde",
);
pub(crate) const LEVER_RANGE: Word = Word::new(
    "torques beyond the loads of the calibration: heavier ones, where it matters how tight these \
     pins are",
    "Drehmomente jenseits der Kalibrierlasten: schwerere Lasten, wo es darauf ankommt, wie \
     fest diese Wirbel sind",
);
pub(crate) const LEVER_NEXT: Word = Word::new(
    "calibrate the lever, or use another, and read the pins again",
    "den Hebel kalibrieren oder einen anderen nehmen und die Wirbel noch einmal messen",
);

/// What nobody has to be told a number for.
pub(crate) fn nothing() -> Said {
    Said::default()
}

pub(crate) const ZONES_ARE_NO_PROOF: Word = Word::new(
    "Patterns are evidence, not proof: torque neither proves nor clears a split.",
    "Muster sind Hinweise, kein Beweis: das Drehmoment beweist einen Riss nicht und schließt ihn \
     nicht aus.",
);

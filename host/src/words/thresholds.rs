//! Thresholds in words: their names and what stands behind them.
//!
//! The English stands in [`crate::analysis::profile`]; a test sees that all of it is here.

use super::{Said, Word};

const NAMES: &[Word] = &[
    Word::new("over-tight above", "überfest über"),
    Word::new("tight above", "fest über"),
    Word::new("as new from", "wie neu ab"),
    Word::new("serviceable from", "brauchbar ab"),
    Word::new("doubtful below", "zweifelhaft unter"),
    Word::new("failing below", "ungenügend unter"),
    Word::new("doubtful below, holding factor", "zweifelhaft unter, Haltefaktor"),
    Word::new("failing below, holding factor", "ungenügend unter, Haltefaktor"),
    Word::new("not holding below, holding factor", "hält nicht unter, Haltefaktor"),
    Word::new("share to treat single pins, up to", "Anteil für einzelne Wirbel, bis"),
    Word::new("share for pins or a section, up to", "Anteil für Wirbel oder einen Bereich, bis"),
    Word::new("share for larger pins, up to", "Anteil für stärkere Wirbel, bis"),
    Word::new("spread suspicious above", "Streuung verdächtig über"),
    Word::new("false zones on sound planks", "falsche Zonen auf gesunden Stimmstöcken"),
    Word::new("risk a settled band carries", "Risiko einer festgestellten Stufe"),
    Word::new(
        "highest confidence in a new plank on torque",
        "höchstes Vertrauen in einen neuen Stimmstock nach Drehmoment",
    ),
    Word::new(
        "highest confidence with a doubted lever",
        "höchstes Vertrauen bei zweifelhaftem Hebel",
    ),
    Word::new("left open below a chance of", "offen gelassen unter einer Wahrscheinlichkeit von"),
    Word::new("left open below", "offen gelassen unter"),
    Word::new("larger than first stringing from", "stärker als der erste Bezug ab"),
    Word::new("largest practical pin", "stärkster praktischer Wirbel"),
    Word::new("one size", "ein Maß"),
    Word::new("friction gained per mm of pin", "Reibungsgewinn je mm Wirbel"),
    Word::new("its standard uncertainty", "dessen Standardunsicherheit"),
    Word::new("dry room below, relative humidity", "trockener Raum unter, relative Feuchte"),
    Word::new("horizon", "Zeitraum"),
    Word::new("pins", "Wirbel"),
    Word::new("years", "Jahre"),
];

const SOURCES: &[Word] = &[
    Word::new(
        "edge of a band of GOST 24262-89 cl. 1.2.6 (new uprights), used as a default",
        "Grenze aus GOST 24262-89 Abs. 1.2.6 (neue Klaviere), als Vorgabe verwendet",
    ),
    Word::new(
        "technicians' talk of 50 and 30 in·lbf; disputed",
        "unter Fachleuten genannte 50 und 30 in·lbf; umstritten",
    ),
    Word::new(
        "our choice; no citable rule exists",
        "unsere Wahl; eine zitierbare Regel gibt es nicht",
    ),
    Word::new(
        "mechanics: friction below the pull",
        "Mechanik: Reibung kleiner als der Zug der Saite",
    ),
    Word::new(
        "10–15 % is usual in a sound plank",
        "10–15 % sind in einem gesunden Stimmstock üblich",
    ),
    Word::new(
        "guard band after JCGM 106; risk is our choice",
        "Schutzabstand nach JCGM 106; das Risiko ist unsere Wahl",
    ),
    Word::new("size 3/0 is .286 in", "Maß 3/0 sind 0,286 Zoll"),
    Word::new("practical top 4/0 to 5/0", "praktische Obergrenze 4/0 bis 5/0"),
    Word::new("steps are .004 to .006 in", "die Stufen sind 0,004 bis 0,006 Zoll"),
    Word::new(
        "one case of 56 in a dense multi-ply plank, part of it fresh thread",
        "ein Fall mit 56 in einem dichten Mehrlagenstimmstock, zum Teil frisches Gewinde",
    ),
    Word::new("wide on purpose: fit trial pins", "absichtlich weit: Probewirbel setzen"),
    Word::new("set by the user", "vom Benutzer gesetzt"),
];

/// A threshold's name, or the word its unit is.
pub(crate) fn name(english: &str) -> Said {
    known(NAMES, english)
}

/// What stands behind a threshold.
pub(crate) fn source(english: &str) -> Said {
    known(SOURCES, english)
}

fn known(words: &[Word], english: &str) -> Said {
    let found = words.iter().find(|word| word.en == english);
    found.map_or_else(|| Said::same(english), |word| word.said())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Profile;

    #[test]
    fn every_threshold_is_here() {
        let knows = |words: &[Word], english: &str| words.iter().any(|word| word.en == english);
        for (name, unit, threshold) in Profile::default().thresholds() {
            assert!(knows(NAMES, name), "{name}");
            assert!(knows(SOURCES, threshold.source), "{}", threshold.source);
            let is_word = unit.len() > 2 && unit.chars().all(|c| c.is_ascii_alphabetic());
            assert!(!is_word || knows(NAMES, unit), "{unit}");
        }
    }
}

//! What no report says in its own words, in each language: one list, held against every sentence
//! and against rendered reports.
//!
//! A report is an opinion on condition. It promises nothing, certifies nothing, finds no crack by
//! torque, judges nobody, puts no figure on years or on what an instrument would fetch, and calls
//! no torque a standard. What people typed (names, remarks) is theirs.

use super::Language;

/// Phrases that are not said; matched as whole words, letter case aside. One that ends in `-` is
/// matched as the beginning of a word.
pub(crate) const fn phrases(language: Language) -> &'static [&'static str] {
    match language {
        Language::English => &[
            "crack found",
            "crack was found",
            "crack detected",
            "found a crack",
            "split found",
            "split was found",
            "condemn-",
            "safe",
            "safely",
            "unsafe",
            "guarantee-",
            "warrant-",
            "certified",
            "certify",
            "certifies",
            "years left",
            "years of life",
            "remaining life",
            "market value",
            "resale value",
            "fault of",
            "whose fault",
            "to blame",
            "negligen-",
            "the standard value",
            "the standard torque",
            "below standard",
            "meets the standard",
            "is the standard",
        ],
        Language::German => &[
            "riss gefunden",
            "riss festgestellt",
            "riss entdeckt",
            "verurteil-",
            "abgeschrieben",
            "schrott-",
            "sicher",
            "unsicher",
            "sicherheit",
            "garant-",
            "gewährleist-",
            "zertifi-",
            "bescheinig-",
            "jahre restzeit",
            "restlebensdauer",
            "verbleibende jahre",
            "marktwert",
            "verkehrswert",
            "wiederverkaufswert",
            "schuld",
            "schuldig",
            "verschulden",
            "fahrlässig-",
            "der standard",
            "die norm",
            "normwert",
            "erfüllt die norm",
        ],
    }
}

/// The phrases a text says though it must not.
pub(crate) fn said_in(text: &str, language: Language) -> Vec<&'static str> {
    // Words alone, apart by single blanks, so that line ends and punctuation hide nothing.
    let words: Vec<String> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let text = format!(" {} ", words.join(" "));
    let is_said = |phrase: &&&str| match phrase.strip_suffix('-') {
        Some(beginning) => text.contains(&format!(" {beginning}")),
        None => text.contains(&format!(" {phrase} ")),
    };
    phrases(language).iter().filter(is_said).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phrases_are_found_whatever_stands_round_them() {
        let said = |text| said_in(text, Language::English);
        assert_eq!(said("It is SAFE."), ["safe"]);
        assert_eq!(said("a certified\nplank; guaranteed!"), ["guarantee-", "certified"]);
        assert!(said("safety, the standard uncertainty, no certificate").is_empty());
        assert_eq!(said_in("ein Riss\ngefunden", Language::German), ["riss gefunden"]);
        assert!(said_in("Standardunsicherheit, Unsicherheit", Language::German).is_empty());
    }
}

//! What is said to a person in more than one language: every sentence stands once, in all of them.
//!
//! A sentence is a function of what it tells ([`Said`]), fixed words are a constant ([`Word`]).
//! One that lacks a language, or a language that leaves out what the sentence tells, does not
//! compile. English is what the terminal and documents for programs show.
//!
//! Deliberately not here: what is said when (the analysis and the report), and names, remarks and
//! units, which are the same in every language.

use std::fmt;
use std::ops::Deref;

use serde::{Serialize, Serializer};

#[macro_use]
mod sentences;
#[cfg(test)]
pub(crate) mod banned;
pub(crate) mod chain;
pub(crate) mod comparison;
pub(crate) mod condition;
pub(crate) mod findings;
pub(crate) mod pages;
pub(crate) mod pictures;
pub(crate) mod plank;
pub(crate) mod remarks;
pub(crate) mod remedies;
#[cfg(test)]
mod tests;
pub(crate) mod thresholds;

/// A language.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
}

impl Language {
    /// All languages.
    pub const ALL: [Language; 2] = [Language::English, Language::German];

    /// Its code after BCP 47, as typed and as written into files.
    pub const fn code(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::German => "de",
        }
    }

    /// The language of a code.
    pub fn from_code(code: &str) -> Option<Language> {
        Language::ALL.into_iter().find(|language| language.code() == code)
    }

    /// A number written with a point, as this language writes it.
    ///
    /// ```
    /// use pinhold::words::Language;
    /// assert_eq!(Language::German.numeral("5.6 N·m"), "5,6 N·m");
    /// ```
    pub fn numeral(self, text: &str) -> String {
        match self {
            Language::English => text.to_owned(),
            Language::German => text.replace('.', ","),
        }
    }
}

/// Fixed words. Reads as its English where a text is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Word {
    en: &'static str,
    de: &'static str,
}

impl Word {
    /// The words in every language.
    pub const fn new(en: &'static str, de: &'static str) -> Word {
        Word { en, de }
    }

    /// In a language.
    pub const fn to(self, language: Language) -> &'static str {
        match language {
            Language::English => self.en,
            Language::German => self.de,
        }
    }

    /// As a sentence.
    pub fn said(self) -> Said {
        Said { en: self.en.to_owned(), de: self.de.to_owned() }
    }
}

impl Deref for Word {
    type Target = str;

    fn deref(&self) -> &str {
        self.en
    }
}

impl fmt::Display for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.en)
    }
}

impl Serialize for Word {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.en)
    }
}

/// A sentence, or a part of one, in every language. Reads as its English where a text is wanted.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Said {
    en: String,
    de: String,
}

impl Said {
    /// What is the same in every language: names, units, what a person typed.
    pub fn same(text: impl Into<String>) -> Said {
        let en: String = text.into();
        Said { de: en.clone(), en }
    }

    /// In a language.
    pub fn to(&self, language: Language) -> &str {
        match language {
            Language::English => &self.en,
            Language::German => &self.de,
        }
    }

    /// Several, with something between.
    pub fn joined(parts: &[Said], between: &str) -> Said {
        let all = |language| {
            let texts: Vec<&str> = parts.iter().map(|part| part.to(language)).collect();
            texts.join(between)
        };
        Said { en: all(Language::English), de: all(Language::German) }
    }
}

impl From<Word> for Said {
    fn from(word: Word) -> Said {
        word.said()
    }
}

impl Deref for Said {
    type Target = str;

    fn deref(&self) -> &str {
        &self.en
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.en)
    }
}

impl Serialize for Said {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.en)
    }
}

/// What a sentence can tell.
pub(crate) trait Spoken {
    /// In a language.
    fn spoken(&self, language: Language) -> String;
}

macro_rules! the_same_everywhere {
    ($($kind:ty),*) => { $(
        impl Spoken for $kind {
            fn spoken(&self, _: Language) -> String {
                self.to_string()
            }
        }
    )* };
}
the_same_everywhere!(usize, u8, u16, u32, u64, char, String, &String, &str);

impl Spoken for Word {
    fn spoken(&self, language: Language) -> String {
        self.to(language).to_owned()
    }
}

impl Spoken for Said {
    fn spoken(&self, language: Language) -> String {
        self.to(language).to_owned()
    }
}

impl Spoken for &Said {
    fn spoken(&self, language: Language) -> String {
        self.to(language).to_owned()
    }
}

/// A number with so many decimals.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fixed(pub(crate) f64, pub(crate) usize);

impl Spoken for Fixed {
    fn spoken(&self, language: Language) -> String {
        language.numeral(&format!("{:.*}", self.1, self.0))
    }
}

/// The same, always with its sign.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Signed(pub(crate) f64, pub(crate) usize);

impl Spoken for Signed {
    fn spoken(&self, language: Language) -> String {
        language.numeral(&format!("{:+.*}", self.1, self.0))
    }
}

/// A number written already, with a point and perhaps its unit.
#[derive(Clone, Debug)]
pub(crate) struct Numeral(pub(crate) String);

impl Spoken for Numeral {
    fn spoken(&self, language: Language) -> String {
        language.numeral(&self.0)
    }
}

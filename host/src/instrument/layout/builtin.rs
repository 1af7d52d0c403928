//! The layouts that come with the tool, as descriptions anyone could have written.
//!
//! All figures are MEM, and no instrument is drawn: stringings 10/17/61 (PRAC) and 10/17/58, the
//! bass apart, the rest between plate struts, rows and pitches by default. The plate flange is
//! taken to run along row 0 at a distance nobody measured.

use super::Layout;

/// The words for built-in layouts, the most usual first.
pub const BUILTIN_WORDS: [&str; 4] = ["grand-88", "upright-88", "grand-85", "upright-85"];

/// Their descriptions, in the same order.
const TEXTS: [&str; 4] = [
    include_str!("builtin/grand-88.toml"),
    include_str!("builtin/upright-88.toml"),
    include_str!("builtin/grand-85.toml"),
    include_str!("builtin/upright-85.toml"),
];

/// The built-in layout of a word, with its text; `None` for other words.
pub fn builtin(word: &str) -> Option<(Layout, &'static str)> {
    let at = BUILTIN_WORDS.iter().position(|known| *known == word)?;
    let text = *TEXTS.get(at)?;
    // A test reads every one of them.
    Some((Layout::parse(text).ok()?, text))
}

//! What all TOML files of a person's own have in common: a head that says what they are, and where
//! one went wrong.
//!
//! Deliberately not here: what stands under the head, and opening files.

use toml::Table;

use crate::text::printable_short;

/// Characters of a parser's words that are shown.
const SHOWN_CHARACTERS_MAX: usize = 160;

/// Line, from 1, and what is wrong there.
pub fn fault(text: &str, error: &toml::de::Error) -> (usize, String) {
    let at = error.span().map_or(0, |span| span.start.min(text.len()));
    let line = text.get(..at).unwrap_or("").matches('\n').count() + 1;
    (line, printable_short(error.message(), SHOWN_CHARACTERS_MAX))
}

/// Takes the head out of a file's table; whether it names this format and version.
pub fn take_head(table: &mut Table, format: &str, version: i64) -> bool {
    let named = table.remove("format");
    let numbered = table.remove("version");
    named.as_ref().and_then(|value| value.as_str()) == Some(format)
        && numbered.and_then(|value| value.as_integer()) == Some(version)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_told_by_its_line_and_a_head_is_taken_whole() {
        let text = "a = 1\nb = \n";
        let error = text.parse::<Table>().expect_err("no value");
        assert_eq!(fault(text, &error).0, 2);
        let mut table: Table = "format = \"x\"\nversion = 1\nb = 2\n".parse().expect("a table");
        assert!(take_head(&mut table, "x", 1));
        assert_eq!(table.len(), 1);
        assert!(!take_head(&mut table, "x", 1), "it is gone");
    }
}

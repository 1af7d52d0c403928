//! The user's letterhead as a TOML file: who sends a report.
//!
//! Deliberately not here: reading files, and the sign itself ([`super::pixels`]).

use thiserror::Error;
use toml::{Table, Value as Toml};

use crate::text::{nearest, printable, printable_short};
use crate::toml_file;

/// What a file says it is.
const FORMAT: &str = "pinhold.letterhead";
/// Version of the format that is read.
const VERSION: i64 = 1;
/// A file is no longer than this, bytes.
const BYTES_MAX: usize = 20_000;
/// Lines under the name at most, and characters of each.
const LINE_COUNT_MAX: usize = 8;
const LENGTH_MAX: usize = 120;
/// Characters of a wrong word that are shown.
const SHOWN_CHARACTERS_MAX: usize = 40;
const KEYS: [&str; 3] = ["name", "lines", "logo"];

/// A letterhead as written down.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LetterheadFile {
    /// Name, printable.
    pub name: String,
    /// Lines under it, printable.
    pub lines: Vec<String>,
    /// File of the sign, beside the letterhead's unless its path is whole.
    pub logo: Option<String>,
}

/// Why a file is no letterhead.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum LetterheadError {
    /// Longer than any letterhead.
    #[error("the file is longer than any letterhead; is it another file?")]
    TooLong,
    /// Not TOML.
    #[error("line {line}: {what}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// Another format, or none named.
    #[error("the first lines do not say format = \"{FORMAT}\" and version = 1")]
    OtherFormat,
    /// A key that nobody knows.
    #[error("'{name}' is not known; {}", advice(.meant.as_deref()))]
    Unknown {
        /// Its name.
        name: String,
        /// What may be meant.
        meant: Option<String>,
    },
    /// A value that is none.
    #[error("{name} {why}")]
    Value {
        /// Its name.
        name: &'static str,
        /// What would do.
        why: String,
    },
}

/// A file to begin with: everything it may hold, explained.
pub fn example() -> String {
    format!(
        "# Letterhead of reports. Keep it as letterhead.toml in pinhold's data folder, or name it\n\
         # with --letterhead FILE. Only the name is needed.\n\
         format = \"{FORMAT}\"\nversion = {VERSION}\n\n\
         name = \"Your name or workshop\"\n\
         # Address and what else you print, at most {LINE_COUNT_MAX} lines.\n\
         lines = [\n    \"Street and number\",\n    \"Town\",\n    \"Telephone\",\n]\n\
         # A PNG, JPEG or SVG picture of at most 4 MB, beside this file.\n\
         # logo = \"logo.png\"\n"
    )
}

/// Reads a letterhead.
///
/// # Errors
/// The first thing that is wrong.
pub fn read(text: &str) -> Result<LetterheadFile, LetterheadError> {
    if text.len() > BYTES_MAX {
        return Err(LetterheadError::TooLong);
    }
    let mut table: Table = text.parse().map_err(|error: toml::de::Error| {
        let (line, what) = toml_file::fault(text, &error);
        LetterheadError::Syntax { line, what }
    })?;
    if !toml_file::take_head(&mut table, FORMAT, VERSION) {
        return Err(LetterheadError::OtherFormat);
    }
    if let Some(name) = table.keys().find(|key| !KEYS.contains(&key.as_str())) {
        let meant = nearest(name, &KEYS.map(String::from), 1).pop();
        let name = printable_short(name, SHOWN_CHARACTERS_MAX);
        return Err(LetterheadError::Unknown { name, meant });
    }
    let name = table.get("name").map(|value| text_of("name", value)).transpose()?;
    let lines = match table.get("lines") {
        None => Vec::new(),
        Some(Toml::Array(lines)) if lines.len() <= LINE_COUNT_MAX => {
            lines.iter().map(|line| text_of("lines", line)).collect::<Result<_, _>>()?
        }
        Some(_) => {
            let why = format!("has to be a list of at most {LINE_COUNT_MAX} texts");
            return Err(LetterheadError::Value { name: "lines", why });
        }
    };
    let logo = table.get("logo").map(|value| text_of("logo", value)).transpose()?;
    let name = name.filter(|name| !name.is_empty()).ok_or(LetterheadError::Value {
        name: "name",
        why: "is missing; write who sends the report".to_owned(),
    })?;
    Ok(LetterheadFile { name, lines, logo: logo.filter(|logo| !logo.is_empty()) })
}

fn advice(meant: Option<&str>) -> String {
    match meant {
        Some(word) => format!("did you mean '{word}'?"),
        None => format!("use {}", KEYS.join(", ")),
    }
}

fn text_of(name: &'static str, value: &Toml) -> Result<String, LetterheadError> {
    let wrong = |why: String| LetterheadError::Value { name, why };
    let text = value.as_str().ok_or_else(|| wrong("has to be a text in quotes".to_owned()))?;
    if text.chars().count() > LENGTH_MAX {
        return Err(wrong(format!("is longer than {LENGTH_MAX} characters")));
    }
    Ok(printable(text.trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_example_is_a_letterhead() {
        let read = read(&example()).unwrap();
        assert_eq!(
            (read.name.as_str(), read.lines.len(), read.logo),
            ("Your name or workshop", 3, None)
        );
        let with_logo = example().replace("# logo", "logo");
        assert_eq!(super::read(&with_logo).unwrap().logo.as_deref(), Some("logo.png"));
    }

    #[test]
    fn what_is_wrong_is_told_in_a_sentence() {
        let head = format!("format = \"{FORMAT}\"\nversion = 1\n");
        let said = |rest: &str| read(&format!("{head}{rest}")).unwrap_err().to_string();
        assert!(said("").contains("name is missing"));
        assert!(said("name = 7").contains("text in quotes"));
        assert!(said("name = \"a\"\nlins = []").contains("did you mean 'lines'?"));
        assert!(said("name = \"a\"\nlines = [1]").contains("lines has to be a text"));
        assert!(said("name = \"a\"\nlines = \"b\"").contains("list of at most"));
        assert!(said(&format!("name = \"{}\"", "x".repeat(121))).contains("longer than 120"));
        assert!(said("name = ").contains("line 3"));
        assert!(read("name = \"a\"").unwrap_err().to_string().contains("format ="));
        assert_eq!(read(&"#".repeat(30_000)), Err(LetterheadError::TooLong));
    }

    #[test]
    fn nothing_a_reader_obeys_is_left() {
        let text = format!("format = \"{FORMAT}\"\nversion = 1\nname = \"a\\u001b[2Jb\\u202e\"\n");
        assert!(!read(&text).unwrap().name.chars().any(char::is_control));
    }
}

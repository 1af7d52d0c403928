//! Why a file of strings is refused, one sentence each.

use std::path::PathBuf;

use thiserror::Error;

use super::super::error::{ImportError, RowFault, fault_list, quoted};
use crate::text::printable;

/// Why a file was refused. Nothing of it is stored.
#[derive(Debug, Error)]
pub enum StringsError {
    /// No such file.
    #[error("there is no file {}; check its name and folder", printable(&path.to_string_lossy()))]
    NotFound {
        /// The file.
        path: PathBuf,
    },
    /// A folder or the like.
    #[error("it is a folder, not a file of strings")]
    NotAFile,
    /// The system would not read it.
    #[error("it cannot be read ({source}); check its permissions")]
    Unreadable {
        /// The system's reason.
        source: std::io::Error,
    },
    /// Beyond the size limit; not read.
    #[error("it is larger than {limit_mb} MB, and a string scale has at most a few hundred lines")]
    TooLarge {
        /// The limit, MB of 1,000,000 bytes.
        limit_mb: u64,
    },
    /// Nothing in it but blanks and comments.
    #[error(
        "it is empty; the first line names the columns, as in note,speaking_length_mm,wire_gauge, \
         and each further line is one note"
    )]
    Empty,
    /// Not text of UTF-8.
    #[error("it is not plain text; export the string scale as \"CSV UTF-8\"")]
    NotText,
    /// Text of another encoding.
    #[error("line {line} is not UTF-8 text; save the file as \"CSV UTF-8\"")]
    NotUtf8 {
        /// Line of the first bad byte.
        line: u32,
    },
    /// A header and nothing else.
    #[error("it has a header but no strings; each further line is one note")]
    HeaderOnly,
    /// More rows than strings are possible.
    #[error("it has more than {limit} rows; a string scale has one row for a note or a string")]
    TooManyRows {
        /// Rows possible.
        limit: usize,
    },
    /// More columns than there are names.
    #[error("its header has {count} columns; at most {limit} are possible")]
    TooManyColumns {
        /// Columns found.
        count: usize,
        /// Columns possible.
        limit: usize,
    },
    /// A header cell that is no column's name.
    #[error("line {line}: unknown column {}{}", quoted(name), offer(nearest.as_deref()))]
    UnknownColumn {
        /// Line of the header.
        line: u32,
        /// The cell.
        name: String,
        /// The name it looks like.
        nearest: Option<String>,
    },
    /// One quantity twice.
    #[error("line {line}: columns {first} and {second} give the same thing twice; keep one")]
    Twice {
        /// Line of the header.
        line: u32,
        /// One column, as written.
        first: String,
        /// The other.
        second: String,
    },
    /// A required column is missing.
    #[error(
        "line {line}: there is no column {name}; note, speaking_length_mm (or _in, _m) and \
         wire_gauge (or wire_mm, wire_in) are required"
    )]
    MissingColumn {
        /// Line of the header.
        line: u32,
        /// The name.
        name: &'static str,
    },
    /// Rows that are refused, and with them all.
    #[error("{}", fault_list(faults))]
    Rows {
        /// Every fault, in the order of the file.
        faults: Vec<RowFault>,
    },
}

fn offer(nearest: Option<&str>) -> String {
    match nearest {
        Some(name) => format!("; did you mean {name}?"),
        None => "; remove it, or see `pinhold instrument strings --help` for the names".to_string(),
    }
}

impl From<ImportError> for StringsError {
    /// From what reading and decoding any file can say; the rest is about readings.
    fn from(error: ImportError) -> StringsError {
        match error {
            ImportError::NotFound { path } => StringsError::NotFound { path },
            ImportError::NotAFile => StringsError::NotAFile,
            ImportError::Unreadable { source } => StringsError::Unreadable { source },
            ImportError::TooLarge { limit_mb } => StringsError::TooLarge { limit_mb },
            ImportError::NotUtf8 { line } => StringsError::NotUtf8 { line },
            ImportError::Binary | ImportError::Utf16 => StringsError::NotText,
            ImportError::Rows { faults } => StringsError::Rows { faults },
            _ => StringsError::Empty,
        }
    }
}

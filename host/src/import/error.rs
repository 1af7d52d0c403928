//! Why a file is refused, one sentence each.

use std::fmt;
use std::path::PathBuf;

use thiserror::Error;

use crate::text::{printable, printable_short};

/// Faulty rows shown; the rest is counted.
pub const FAULT_COUNT_SHOWN: usize = 20;

/// Characters of a bad cell shown.
const CELL_LENGTH_SHOWN: usize = 40;

/// What is wrong with one cell or row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// Line of the file, from 1.
    pub line: u32,
    /// Name of the column.
    pub column: String,
    /// What is wrong, printable.
    pub reason: String,
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let column = printable_short(&self.column, CELL_LENGTH_SHOWN);
        write!(f, "line {}, column {column}: {}", self.line, self.reason)
    }
}

/// A cell as shown in a message: short, printable, quoted.
pub(super) fn quoted(cell: &str) -> String {
    format!("'{}'", printable_short(cell, CELL_LENGTH_SHOWN))
}

/// Why a file was refused. Nothing of it is stored.
#[derive(Debug, Error)]
pub enum ImportError {
    /// No such file.
    #[error("there is no file {}; check its name and folder", printable(&path.to_string_lossy()))]
    NotFound {
        /// The file.
        path: PathBuf,
    },
    /// A folder or the like.
    #[error("it is a folder, not a file of readings")]
    NotAFile,
    /// The system would not read it.
    #[error("it cannot be read ({source}); check its permissions")]
    Unreadable {
        /// The system's reason.
        source: std::io::Error,
    },
    /// Beyond the size limit; not read.
    #[error(
        "it is larger than {limit_mb} MB, and a file of readings has a few hundred lines; \
         check that this is the right file"
    )]
    TooLarge {
        /// The limit, MB of 1,000,000 bytes.
        limit_mb: u64,
    },
    /// No bytes, or blanks only.
    #[error(
        "it is empty; the first line names the columns, as in note,string,sharp_nm,flat_nm, and \
         each further line is one pin"
    )]
    Empty,
    /// Not text.
    #[error("it is not text; export the readings as CSV and import that file")]
    Binary,
    /// Text of an encoding other than UTF-8.
    #[error("line {line} is not UTF-8 text; save the file as \"CSV UTF-8\"")]
    NotUtf8 {
        /// Line of the first bad byte.
        line: u32,
    },
    /// UTF-16, as some spreadsheets write.
    #[error("it is UTF-16 text; save the file as \"CSV UTF-8\"")]
    Utf16,
    /// A header and nothing else.
    #[error("it has a header but no readings; each further line is one pin")]
    HeaderOnly,
    /// More columns than there are names.
    #[error("its header has {count} columns; at most {limit} are possible")]
    TooManyColumns {
        /// Columns found.
        count: usize,
        /// Columns possible.
        limit: usize,
    },
    /// More rows than pins are possible.
    #[error("it has more than {limit} rows; one survey is one file, one row per pin")]
    TooManyRows {
        /// Rows possible.
        limit: usize,
    },
    /// A header cell that is no column's name.
    #[error("line 1: unknown column {}{}", quoted(name), offer(nearest.as_deref()))]
    UnknownColumn {
        /// The cell.
        name: String,
        /// The name it looks like.
        nearest: Option<String>,
    },
    /// One name twice.
    #[error("line 1: column {name} stands there twice; remove one")]
    DuplicateColumn {
        /// The name.
        name: String,
    },
    /// One torque in two units.
    #[error("line 1: columns {first} and {second} give the same torque twice; keep one")]
    TwoUnits {
        /// One column.
        first: String,
        /// The other.
        second: String,
    },
    /// A required column is missing.
    #[error("line 1: there is no column {name}; columns note and string are required")]
    MissingColumn {
        /// The name.
        name: &'static str,
    },
    /// No torque anywhere.
    #[error(
        "line 1: there is no column with a torque; add sharp_, flat_ or friction_ with the unit \
         nm, inlb or kgfcm, as in sharp_nm"
    )]
    NoTorqueColumn,
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
        None => "; remove it, or see `pinhold import --help` for the names".to_string(),
    }
}

/// The faults, one a line, the list capped.
pub(super) fn fault_list(faults: &[RowFault]) -> String {
    let count = faults.len();
    let mut list = match count {
        1 => "1 fault, nothing was stored".to_string(),
        _ => format!("{count} faults, nothing was stored"),
    };
    for fault in faults.iter().take(FAULT_COUNT_SHOWN) {
        list.push_str(&format!("\n  {fault}"));
    }
    if count > FAULT_COUNT_SHOWN {
        list.push_str(&format!("\n  and {} more", count - FAULT_COUNT_SHOWN));
    }
    list
}

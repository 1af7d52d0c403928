//! Why a file of positions is refused, one sentence each.

use std::path::PathBuf;

use thiserror::Error;

use crate::import::error::{ImportError, RowFault, fault_list};
use crate::text::printable;

/// Why a file was refused. Nothing of it is stored.
#[derive(Debug, Error)]
pub enum PlacesError {
    /// No such file.
    #[error("there is no file {}; check its name and folder", printable(&path.to_string_lossy()))]
    NotFound {
        /// The file.
        path: PathBuf,
    },
    /// A folder or the like.
    #[error("it is a folder, not a file of positions")]
    NotAFile,
    /// The system would not read it.
    #[error("it cannot be read ({source}); check its permissions")]
    Unreadable {
        /// The system's reason.
        source: std::io::Error,
    },
    /// Beyond the size limit; not read.
    #[error("it is larger than {limit_mb} MB, and positions take at most a few hundred lines")]
    TooLarge {
        /// The limit, MB of 1,000,000 bytes.
        limit_mb: u64,
    },
    /// Nothing in it but blanks and comments.
    #[error(
        "it is empty; the first line names the columns, as in note,string,x_mm,y_mm, and each \
         further line is one pin"
    )]
    Empty,
    /// Not text of UTF-8.
    #[error("it is not plain text; export the positions as \"CSV UTF-8\"")]
    NotText,
    /// Text of another encoding.
    #[error("line {line} is not UTF-8 text; save the file as \"CSV UTF-8\"")]
    NotUtf8 {
        /// Line of the first bad byte.
        line: u32,
    },
    /// A header and nothing else.
    #[error("it has a header but no positions; each further line is one pin")]
    HeaderOnly,
    /// More rows than pins are possible.
    #[error("it has more than {limit} rows, and no instrument has more pins")]
    TooManyRows {
        /// Rows possible.
        limit: usize,
    },
    /// A header that does not name columns of positions.
    #[error("line {line}: {reason}")]
    Header {
        /// Line of the header.
        line: u32,
        /// What is wrong, printable.
        reason: String,
    },
    /// Rows that are refused, and with them all.
    #[error("{}", fault_list(faults))]
    Rows {
        /// Every fault, in the order of the file.
        faults: Vec<RowFault>,
    },
}

impl From<ImportError> for PlacesError {
    /// From what reading and decoding any file can say; the rest is about readings.
    fn from(error: ImportError) -> PlacesError {
        match error {
            ImportError::NotFound { path } => PlacesError::NotFound { path },
            ImportError::NotAFile => PlacesError::NotAFile,
            ImportError::Unreadable { source } => PlacesError::Unreadable { source },
            ImportError::TooLarge { limit_mb } => PlacesError::TooLarge { limit_mb },
            ImportError::NotUtf8 { line } => PlacesError::NotUtf8 { line },
            ImportError::Binary | ImportError::Utf16 => PlacesError::NotText,
            ImportError::Rows { faults } => PlacesError::Rows { faults },
            _ => PlacesError::Empty,
        }
    }
}

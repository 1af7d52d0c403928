//! What can be wrong with a file from elsewhere, one sentence each.

use thiserror::Error;

use super::{RECORD_BYTES_MAX, RECORD_COUNT_MAX};
use crate::store::StoreError;

/// Why a file was not written or not taken.
#[derive(Debug, Error)]
pub enum ExchangeError {
    /// It could not be read or written.
    #[error("it cannot be used ({0})")]
    File(#[from] std::io::Error),
    /// The store refused a record or failed.
    #[error("{0}")]
    Store(#[from] StoreError),
    /// A record the store refused, with its place.
    #[error("line {line}: {source}; nothing was stored")]
    Refused {
        /// Line of the file, from 1.
        line: u64,
        /// Why.
        source: StoreError,
    },
    /// Not what it was taken for.
    #[error("it is no {what} of pinhold; nothing was stored")]
    Foreign {
        /// What it was taken for.
        what: &'static str,
    },
    /// Written by a newer pinhold.
    #[error(
        "it was written by a newer pinhold (version {found}, this one knows up to {known}); \
         nothing was stored: update pinhold"
    )]
    Newer {
        /// Its version.
        found: u64,
        /// The newest known here.
        known: u64,
    },
    /// Lines that are not as they were written.
    #[error(
        "{count} of its lines are damaged, the first: {first}; nothing was stored. `pinhold \
         verify` names them, --rest imports what is whole"
    )]
    Damaged {
        /// How many.
        count: u64,
        /// The first of them.
        first: String,
    },
    /// No document of the published schema.
    #[error("it is no document of the published schema ({0}); nothing was stored")]
    Shape(String),
    /// A record longer than any can be.
    #[error(
        "line {line}: a record is longer than {} MB, no instrument has such; nothing was stored",
        RECORD_BYTES_MAX / 1_000_000
    )]
    TooLong {
        /// Line of the file, from 1.
        line: u64,
    },
    /// More records than any instrument has.
    #[error("it holds more than {RECORD_COUNT_MAX} records; nothing was stored")]
    TooMany,
}

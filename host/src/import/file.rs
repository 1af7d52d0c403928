//! The one place of the import that touches the disk.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use super::error::ImportError;

/// Largest file read, bytes. A full survey with remarks is far below one megabyte.
pub const FILE_BYTES_MAX: u64 = 16_000_000;

/// All bytes of a file of readings.
///
/// # Errors
/// When it is missing, unreadable, no file, or larger than [`FILE_BYTES_MAX`]; a large one is not
/// read.
pub fn read_file(path: &Path) -> Result<Vec<u8>, ImportError> {
    let too_large = || ImportError::TooLarge { limit_mb: FILE_BYTES_MAX / 1_000_000 };
    let failed = |source: std::io::Error| match source.kind() {
        ErrorKind::NotFound => ImportError::NotFound { path: path.to_path_buf() },
        _ => ImportError::Unreadable { source },
    };
    let metadata = std::fs::metadata(path).map_err(failed)?;
    if metadata.is_dir() {
        return Err(ImportError::NotAFile);
    }
    if metadata.len() > FILE_BYTES_MAX {
        return Err(too_large());
    }
    // Pipes and device files tell no length: one byte beyond the limit is enough to know.
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed)?;
    file.take(FILE_BYTES_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > FILE_BYTES_MAX {
        return Err(too_large());
    }
    Ok(bytes)
}

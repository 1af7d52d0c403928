//! Files written whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::exit::{CliError, Exit};
use crate::import::read_file;
use crate::text::printable;

/// Names tried for the file beside.
const TRY_COUNT_MAX: u32 = 100;

/// The text of a file the user named.
///
/// # Errors
/// When it cannot be read, or is no UTF-8 text.
pub(super) fn text_of(path: &Path) -> Result<String, CliError> {
    let bytes = read_file(path).map_err(|error| CliError::refused(path, &error))?;
    String::from_utf8(bytes).map_err(|_| {
        let path = printable(&path.to_string_lossy());
        CliError::new(Exit::Refused, format!("{path} is no UTF-8 text"))
    })
}

/// Writes bytes to a file the user named, replacing it: the old content or the new one stands
/// there, never a part. What is no ordinary file (a pipe, a terminal) is written to directly.
///
/// # Errors
/// When it cannot be written; nothing is left beside it.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    write_whole_with(path, |to| {
        to.write_all(bytes).map_err(|source| CliError::unwritable(path, &source))
    })
}

/// The same, its content written bit by bit; `write` says what went wrong.
///
/// # Errors
/// What `write` says, and as [`write_whole`].
pub(super) fn write_whole_with<T>(
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> Result<T, CliError>,
) -> Result<T, CliError> {
    let unwritable = |source: std::io::Error| CliError::unwritable(path, &source);
    // Through links to the file itself, which may not be there yet.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf());
    if fs::metadata(&target).is_ok_and(|found| !found.is_file()) {
        let mut file = OpenOptions::new().write(true).open(&target).map_err(unwritable)?;
        return write(&mut file);
    }
    let (file, beside) = beside(&target).map_err(unwritable)?;
    let mut buffered = BufWriter::new(file);
    let done = write(&mut buffered).and_then(|written| {
        buffered
            .into_inner()
            .map_err(std::io::IntoInnerError::into_error)
            .and_then(|file| file.sync_all())
            .and_then(|()| keep_permissions(&target, &beside))
            .and_then(|()| fs::rename(&beside, &target))
            .map_err(unwritable)?;
        Ok(written)
    });
    done.inspect_err(|_| {
        // The first failure is the one to tell.
        let _ = fs::remove_file(&beside);
    })
}

/// A new file in the same folder.
fn beside(target: &Path) -> std::io::Result<(File, PathBuf)> {
    let name = target.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let process = std::process::id();
    let mut count = 0;
    loop {
        // Names are at most 255 bytes long on most systems.
        let short: String = name.chars().take(40).collect();
        let path = target.with_file_name(format!(".{short}.{process}-{count}.part"));
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(file) => return Ok((file, path)),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                count += 1;
                if count >= TRY_COUNT_MAX {
                    return Err(error);
                }
            }
            Err(error) => return Err(error),
        }
    }
}

fn keep_permissions(target: &Path, beside: &Path) -> std::io::Result<()> {
    match fs::metadata(target) {
        Ok(found) => fs::set_permissions(beside, found.permissions()),
        Err(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_replaced_and_nothing_left_beside() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("record.html");
        write_whole(&path, b"one").unwrap();
        write_whole(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(names(folder.path()), ["record.html"]);
    }

    #[test]
    fn what_cannot_be_written_leaves_everything_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_whole(&folder.path().join("no/such/folder.pdf"), b"one").is_err());
        assert!(write_whole(folder.path(), b"one").is_err(), "a folder");
        assert_eq!(names(folder.path()), Vec::<String>::new());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link() {
        let folder = tempfile::tempdir().unwrap();
        let (file, link) = (folder.path().join("file.pdf"), folder.path().join("link.pdf"));
        fs::write(&file, b"old").unwrap();
        std::os::unix::fs::symlink(&file, &link).unwrap();
        write_whole(&link, b"new").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }
}

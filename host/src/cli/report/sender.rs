//! Letterhead and photos: files named on the command line, read whole and made clean.
//!
//! Deliberately not here: what a letterhead holds (`report::letterhead`) and how pictures are made
//! small (`report::pixels`).

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::report::document::{Letterhead, Photo, Raster};
use crate::report::letterhead;
use crate::text::{printable, printable_short};

/// The letterhead in the data folder.
const FILE_NAME: &str = "letterhead.toml";
/// Photos of one report at most.
const PHOTO_COUNT_MAX: usize = 24;
/// Characters of a caption at most.
const CAPTION_LENGTH_MAX: usize = 300;
/// Most bytes of a letterhead or a picture.
const BYTES_MAX: u64 = 16_000_000;

/// The letterhead of a file the user named, else the one in the data folder, where there is one.
pub(super) fn letterhead(
    context: &Context,
    named: Option<&Path>,
) -> Result<Option<Letterhead>, CliError> {
    let usual = context.data.join(FILE_NAME);
    let path = match named {
        Some(path) => path,
        None if usual.is_file() => usual.as_path(),
        None => return Ok(None),
    };
    let bytes = bytes_of(path, "the letterhead")?;
    let refused = |why: &str| CliError::new(Exit::Refused, format!("{}: {why}", shown(path)));
    let text = String::from_utf8(bytes).map_err(|_| refused("the file is no text in UTF-8"))?;
    let read = letterhead::read(&text).map_err(|error| refused(&error.to_string()))?;
    let logo = match &read.logo {
        None => None,
        Some(name) => {
            // Beside the letterhead; a whole path stays what it is.
            let logo = path.parent().unwrap_or(Path::new("")).join(name);
            let bytes = bytes_of(&logo, "the letterhead's logo")?;
            Some(sign(&logo, &bytes)?)
        }
    };
    Ok(Some(Letterhead { logo, name: read.name, lines: read.lines }))
}

/// The photos, as `FILE` or `FILE=CAPTION`.
pub(super) fn photos(named: &[String]) -> Result<Vec<Photo>, CliError> {
    if named.len() > PHOTO_COUNT_MAX {
        let sentence = format!("a report takes at most {PHOTO_COUNT_MAX} photos; leave some out");
        return Err(CliError::new(Exit::Usage, sentence));
    }
    let photo = |named: &String| {
        let (file, caption) = named.split_once('=').unwrap_or((named, ""));
        let path = Path::new(file);
        let bytes = bytes_of(path, "the photo")?;
        let caption = printable_short(caption.trim(), CAPTION_LENGTH_MAX);
        Ok(Photo { raster: picture(path, &bytes)?, caption })
    };
    named.iter().map(photo).collect()
}

fn shown(path: &Path) -> String {
    printable(&path.to_string_lossy())
}

fn bytes_of(path: &Path, what: &str) -> Result<Vec<u8>, CliError> {
    let failed = |source: std::io::Error| match source.kind() {
        ErrorKind::NotFound => {
            let sentence = format!("{what} {} is not there; check its name", shown(path));
            CliError::new(Exit::NotThere, sentence)
        }
        _ => CliError::new(
            Exit::InputOutput,
            format!("{what} {} cannot be read ({source})", shown(path)),
        ),
    };
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed)?;
    file.take(BYTES_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    Ok(bytes)
}

#[cfg(any(feature = "pdf", feature = "png"))]
fn sign(path: &Path, bytes: &[u8]) -> Result<Raster, CliError> {
    crate::report::pixels::sign(bytes).map_err(|error| refused(path, &error))
}

#[cfg(any(feature = "pdf", feature = "png"))]
fn picture(path: &Path, bytes: &[u8]) -> Result<Raster, CliError> {
    crate::report::pixels::photo(bytes).map_err(|error| refused(path, &error))
}

#[cfg(any(feature = "pdf", feature = "png"))]
fn refused(path: &Path, error: &crate::report::pixels::PictureError) -> CliError {
    CliError::new(Exit::Refused, format!("{}: {error}", shown(path)))
}

#[cfg(not(any(feature = "pdf", feature = "png")))]
fn sign(_path: &Path, _bytes: &[u8]) -> Result<Raster, CliError> {
    Err(without_pictures())
}

#[cfg(not(any(feature = "pdf", feature = "png")))]
fn picture(_path: &Path, _bytes: &[u8]) -> Result<Raster, CliError> {
    Err(without_pictures())
}

#[cfg(not(any(feature = "pdf", feature = "png")))]
fn without_pictures() -> CliError {
    let sentence = "this program was built without pictures; leave logo and photos out";
    CliError::new(Exit::Usage, sentence)
}

//! Documents as files: HTML or PDF, by the end of the name.

use std::path::{Path, PathBuf};

use super::exit::{CliError, Exit};
use super::files::write_whole;
use crate::report::document::{Document, html};
use crate::text::printable;

/// Form of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Html,
    Pdf,
}

impl Form {
    /// By the end of the file's name; `what` is said of one that ends otherwise.
    ///
    /// # Errors
    /// When the name ends in neither.
    pub(super) fn of(path: &Path, what: &str) -> Result<Form, CliError> {
        let ends_in = |end: &str| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(end));
        match () {
            () if ends_in("html") || ends_in("htm") => Ok(Form::Html),
            () if ends_in("pdf") => Ok(Form::Pdf),
            () => Err(CliError::new(
                Exit::Usage,
                format!(
                    "a {what} is an HTML or a PDF file; end the name after --out in .html or .pdf"
                ),
            )),
        }
    }

    /// The bytes of a document.
    ///
    /// # Errors
    /// When the PDF cannot be made.
    pub(super) fn bytes(self, document: &Document) -> Result<Vec<u8>, CliError> {
        match self {
            Form::Html => Ok(html::render(document).into_bytes()),
            Form::Pdf => pdf(document),
        }
    }
}

/// Files one document is to be written to.
pub(super) struct Files<'a>(Vec<(Form, &'a PathBuf)>);

impl<'a> Files<'a> {
    /// By the ends of their names; see [`Form::of`].
    ///
    /// # Errors
    /// When a name ends in neither.
    pub(super) fn of(paths: &'a [PathBuf], what: &str) -> Result<Files<'a>, CliError> {
        let forms = paths.iter().map(|path| Ok((Form::of(path, what)?, path)));
        forms.collect::<Result<_, CliError>>().map(Files)
    }

    /// Writes the document to each, all of them made before the first is written; their names, to
    /// be printed.
    ///
    /// # Errors
    /// When the PDF cannot be made or a file not written.
    pub(super) fn write(self, document: &Document) -> Result<Vec<String>, CliError> {
        let made = self.0.into_iter().map(|(form, path)| Ok((form.bytes(document)?, path)));
        let made: Vec<(Vec<u8>, &PathBuf)> = made.collect::<Result<_, CliError>>()?;
        for (bytes, path) in &made {
            write_whole(path, bytes)?;
        }
        Ok(made.iter().map(|(_, path)| printable(&path.to_string_lossy())).collect())
    }
}

#[cfg(feature = "pdf")]
fn pdf(document: &Document) -> Result<Vec<u8>, CliError> {
    crate::report::pdf::render(document)
        .map_err(|error| CliError::new(Exit::Bug, error.to_string()))
}

#[cfg(not(feature = "pdf"))]
fn pdf(_document: &Document) -> Result<Vec<u8>, CliError> {
    let sentence = "this program was built without PDF; end the name after --out in .html";
    Err(CliError::new(Exit::Usage, sentence))
}

//! Documents as files: HTML or PDF, by the end of the name.

use std::path::Path;

use super::exit::{CliError, Exit};
use crate::report::document::{Document, html};

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

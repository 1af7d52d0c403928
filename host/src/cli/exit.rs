//! How the program ends: its exit codes, and errors as one sentence with one of them.
//!
//! Invariant: a number, once released, keeps its meaning.

use std::io::ErrorKind;
use std::path::Path;
use std::process::ExitCode;

use crate::bench::BenchError;
use crate::import::ImportError;
use crate::import::strings::StringsError;
use crate::store::StoreError;
use crate::survey::SurveyError;
use crate::text::printable;

/// Why the program ended, as the number the shell sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Exit {
    /// Done.
    Done = 0,
    /// What was named is not there: no such instrument, survey or file.
    NotThere = 1,
    /// The command line is at fault.
    Usage = 2,
    /// The data handed in was refused; nothing of it was stored.
    Refused = 3,
    /// The store could not be opened, read or written.
    Store = 4,
    /// No lever answers, or it cannot do what it was asked.
    LeverAbsent = 5,
    /// The data contradicts itself and must not be relied upon.
    DataSuspect = 6,
    /// A file or the terminal could not be read or written.
    InputOutput = 7,
    /// The lever did not pass its check; what was read is stored.
    CheckFailed = 8,
    /// The program is at fault.
    Bug = 70,
}

impl Exit {
    /// Every exit with its meaning, in the order of the numbers.
    pub const TABLE: [(Exit, &'static str); 10] = [
        (Exit::Done, "done"),
        (Exit::NotThere, "not there: no such instrument, survey or file"),
        (Exit::Usage, "the command line is at fault"),
        (Exit::Refused, "the data handed in was refused, nothing of it stored"),
        (Exit::Store, "the store could not be opened, read or written"),
        (Exit::LeverAbsent, "no lever answers, or it cannot do what it was asked"),
        (Exit::DataSuspect, "the data contradicts itself, do not rely on it"),
        (Exit::InputOutput, "a file or the terminal could not be read or written"),
        (Exit::CheckFailed, "the lever did not pass its check"),
        (Exit::Bug, "a fault of the program"),
    ];

    /// The number the shell sees.
    pub const fn code(self) -> u8 {
        self as u8
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit.code())
    }
}

/// The table of exits as `--help` shows it.
pub fn exit_help() -> String {
    let mut help = String::from("Exit codes:\n");
    for (exit, meaning) in Exit::TABLE {
        help.push_str(&format!("  {:>2}  {meaning}\n", exit.code()));
    }
    help
}

/// Why a command failed: one sentence (what, where, what to do) and the exit it stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CliError {
    /// The exit.
    pub exit: Exit,
    /// The sentence, printable, without a final full stop; may go on over several lines.
    pub sentence: String,
}

impl CliError {
    /// From an exit and its sentence; control characters are escaped, line ends kept.
    pub fn new(exit: Exit, sentence: impl AsRef<str>) -> CliError {
        let lines: Vec<String> = sentence.as_ref().split('\n').map(printable).collect();
        CliError { exit, sentence: lines.join("\n") }
    }

    /// A file could not be written.
    pub fn unwritable(path: &Path, source: &std::io::Error) -> CliError {
        let sentence = format!(
            "{} cannot be written ({source}); check the folder and its permissions",
            printable(&path.to_string_lossy())
        );
        CliError::new(Exit::InputOutput, sentence)
    }

    /// A file of readings was refused.
    pub fn refused(path: &Path, error: &ImportError) -> CliError {
        let exit = match error {
            ImportError::NotFound { .. } => Exit::NotThere,
            ImportError::Unreadable { .. } => Exit::InputOutput,
            _ => Exit::Refused,
        };
        if exit == Exit::NotThere {
            return CliError::new(exit, error.to_string());
        }
        let path = printable(&path.to_string_lossy());
        CliError::new(exit, format!("{path}: {error}"))
    }

    /// A file of strings was refused.
    pub fn refused_strings(path: &Path, error: &StringsError) -> CliError {
        let exit = match error {
            StringsError::NotFound { .. } => {
                return CliError::new(Exit::NotThere, error.to_string());
            }
            StringsError::Unreadable { .. } => Exit::InputOutput,
            _ => Exit::Refused,
        };
        let path = printable(&path.to_string_lossy());
        CliError::new(exit, format!("{path}: {error}"))
    }

    /// Standard output was closed by whoever read it: nothing to say, nothing wrong.
    pub(super) fn closed() -> CliError {
        CliError { exit: Exit::Done, sentence: String::new() }
    }
}

impl From<StoreError> for CliError {
    fn from(error: StoreError) -> CliError {
        let exit = match error {
            StoreError::NoSuchInstrument { .. }
            | StoreError::NothingToUndo
            | StoreError::NoSuchTrial { .. }
            | StoreError::NoSuchEntry { .. }
            | StoreError::NotInInbox { .. } => Exit::NotThere,
            StoreError::File { ref source, .. } if source.kind() == ErrorKind::NotFound => {
                Exit::NotThere
            }
            StoreError::File { .. } => Exit::InputOutput,
            StoreError::OwnFile { .. } => Exit::Usage,
            StoreError::InstrumentExists { .. }
            | StoreError::NotTaken { .. }
            | StoreError::NotStorable { .. } => Exit::Refused,
            StoreError::CalibrationExists { .. }
            | StoreError::RecordConflict { .. }
            | StoreError::Damaged { .. }
            | StoreError::Corrupt { .. } => Exit::DataSuspect,
            StoreError::Folder { .. }
            | StoreError::InUse { .. }
            | StoreError::NewerSchema { .. }
            | StoreError::NotAStore { .. }
            | StoreError::Database { .. }
            | StoreError::SurveyExists { .. } => Exit::Store,
        };
        // A name in the sentence is free text; line ends in it are escaped with the rest.
        CliError { exit, sentence: printable(&error.to_string()) }
    }
}

impl From<SurveyError> for CliError {
    fn from(error: SurveyError) -> CliError {
        let exit = match error {
            SurveyError::Store(inner) => return CliError::from(inner),
            SurveyError::NoAnswer { .. }
            | SurveyError::Version { .. }
            | SurveyError::LeverChanged { .. }
            | SurveyError::PinRefused { .. }
            | SurveyError::NotFit
            | SurveyError::GivenUp { .. }
            | SurveyError::Stalled
            | SurveyError::PortLost { .. }
            | SurveyError::Port(_) => Exit::LeverAbsent,
            SurveyError::LogDisagrees { .. } => Exit::DataSuspect,
        };
        CliError::new(exit, error.to_string())
    }
}

impl From<BenchError> for CliError {
    fn from(error: BenchError) -> CliError {
        match error {
            BenchError::Talk(inner) => CliError::from(inner),
            other => CliError::new(Exit::LeverAbsent, other.to_string()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_distinct_and_the_table_is_whole() {
        let codes: Vec<u8> = Exit::TABLE.iter().map(|(exit, _)| exit.code()).collect();
        assert_eq!(codes, [0, 1, 2, 3, 4, 5, 6, 7, 8, 70]);
        assert!(exit_help().contains(" 70  a fault of the program"));
    }

    #[test]
    fn nothing_from_outside_reaches_the_terminal_raw() {
        let name = "x\u{1b}[2J\ny".to_string();
        let error = CliError::from(StoreError::InstrumentExists { name });
        assert!(!error.sentence.chars().any(char::is_control), "{}", error.sentence);
        let kept = CliError::new(Exit::Refused, "two\nlines\u{7}");
        assert_eq!(kept.sentence, "two\nlines\\u{7}");
    }
}

//! Runs the binary in a folder of its own.

use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

/// A store of its own, gone when dropped.
pub(crate) struct Bench {
    folder: TempDir,
}

/// What a run left behind.
#[derive(Debug)]
pub(crate) struct Outcome {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Bench {
    pub(crate) fn new() -> Bench {
        Bench { folder: TempDir::new().unwrap() }
    }

    /// The store's folder.
    pub(crate) fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// A file of the bench's folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A command on this store, files taken from the bench's folder.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_pinhold"));
        command.env_remove("PINHOLD_UNIT");
        command.current_dir(self.folder.path()).arg("--data").arg(self.data()).args(arguments);
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Outcome {
        let output = self.command(arguments).output().unwrap();
        Outcome {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Writes a file into the bench's folder.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.folder.path().join(name), bytes).unwrap();
    }

    /// Runs with `--json`; the document.
    pub(crate) fn document(&self, arguments: &[&str]) -> Value {
        let outcome = self.run(&[arguments, &["--json"]].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{arguments:?}");
        serde_json::from_str(&outcome.out).unwrap()
    }

    /// Imports a file of these bytes into a new instrument `x`.
    pub(crate) fn import(&self, bytes: impl AsRef<[u8]>) -> Outcome {
        self.write("readings.csv", bytes);
        self.run(&["import", "readings.csv", "--instrument", "x", "--create"])
    }

    /// A bench with an instrument `x` of a built-in layout, some pins of it read by hand: lines of
    /// note, string, sharp and flat, N·m. `facts`: what `import` is told beside.
    pub(crate) fn surveyed(lines: &str, facts: &[&str]) -> Bench {
        let bench = Bench::new();
        let added = bench.run(&["instrument", "add", "x", "--layout", "grand-88"]);
        assert_eq!(added.code, 0, "{}", added.err);
        bench.write("hand.csv", format!("note,string,sharp_nm,flat_nm\n{lines}"));
        let import = [&["import", "hand.csv", "--instrument", "x"][..], facts].concat();
        let imported = bench.run(&import);
        assert_eq!(imported.code, 0, "{}", imported.err);
        bench
    }

    /// Names of the instruments stored.
    pub(crate) fn instruments(&self) -> Vec<String> {
        let document = self.document(&["instrument", "list"]);
        let names = document["instruments"].as_array().unwrap().iter();
        names.map(|entry| entry["name"].as_str().unwrap().to_string()).collect()
    }
}

/// Asserts a failure: its exit, its whole sentence, nothing on standard output.
#[track_caller]
pub(crate) fn assert_refused(outcome: &Outcome, code: i32, sentence: &str) {
    assert_eq!(outcome.err, format!("error: {sentence}\n"));
    assert_eq!((outcome.code, outcome.out.as_str()), (code, ""));
}

//! Our results beside those of independent libraries: a Python environment of pinned versions is
//! made under cargo's target folder, a test writes inputs and results, a script compares.
//!
//! Deliberately not here: what is compared and how close it must be (`tests/checks/tests/reference`
//! and `tests/reference/compare.py`).
//!
//! Invariant: an environment is used only if its stamp names the very requirements of this tree.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::report::Report;
use crate::runner::{Runner, output, run};
use crate::test;

/// The test that writes inputs and results, by name and in the build of all tests.
const WRITER: [&str; 5] = ["test", "--workspace", "--no-fail-fast", "--test", "reference"];
/// Oldest Python the pinned libraries run on, minor version of 3.
const PYTHON_MINOR_MIN: u32 = 11;

/// `reference`: makes what it needs, and compares.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    let mut report = Report::default();
    report.part("python libraries", |_| environment(runner).map(|_| ()));
    report.part("other libraries", |_| compare(runner));
    report.close()
}

/// Writes our results and lets the script compare them.
pub(crate) fn compare(runner: &Runner) -> Result<(), String> {
    let python = environment(runner)?;
    let file = runner.target_dir().join("reference.json");
    // What an earlier run wrote is not what is compared.
    if file.exists() {
        fs::remove_file(&file).map_err(|error| format!("{}: {error}", file.display()))?;
    }
    let name = file.to_string_lossy();
    test::with_variable(runner, &WRITER, ("PINHOLD_REFERENCE", &name))?;
    let script = runner.root.join("tests/reference/compare.py");
    run(Command::new(python).arg(script).arg(&file))
        .map_err(|_| "comparing failed; what it says above tells where".to_owned())
}

/// The interpreter of the environment, made unless it is there.
pub(crate) fn environment(runner: &Runner) -> Result<PathBuf, String> {
    let list = runner.root.join("tests/reference/requirements.txt");
    let wanted =
        fs::read_to_string(&list).map_err(|error| format!("{}: {error}", list.display()))?;
    let folder = runner.target_dir().join("reference-python");
    let python = ["bin/python", "Scripts/python.exe"].map(|name| folder.join(name));
    let stamp = folder.join("requirements.txt");
    let made = || python.iter().find(|python| python.exists()).cloned();
    if fs::read_to_string(&stamp).is_ok_and(|have| have == wanted)
        && let Some(python) = made()
    {
        return Ok(python);
    }
    let system = system_python()?;
    run(Command::new(system).args(["-m", "venv", "--clear"]).arg(&folder)).map_err(|_| {
        "Python could not make a virtual environment; on Debian install python3-venv".to_owned()
    })?;
    let python = made().ok_or("the virtual environment has no interpreter")?;
    install(&python, &list)?;
    fs::write(&stamp, wanted).map_err(|error| format!("{}: {error}", stamp.display()))?;
    Ok(python)
}

/// Installs exactly the pinned versions; they name all that they need.
fn install(python: &Path, list: &Path) -> Result<(), String> {
    let pip = ["-m", "pip", "install", "--quiet", "--no-deps", "--only-binary", ":all:"];
    // What is never imported is never compiled: that halves the time.
    let patience = ["--no-compile", "--retries", "2", "--disable-pip-version-check", "-r"];
    run(Command::new(python).args(pip).args(patience).arg(list)).map_err(|_| {
        "the pinned Python libraries could not be installed: this needs a network connection to \
         the Python package index, once; then run this again"
            .to_owned()
    })
}

/// A Python that is new enough.
fn system_python() -> Result<String, String> {
    let program = env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let ask = "import sys; print(sys.version_info[0] * 1000 + sys.version_info[1])";
    let found = output(Command::new(&program).args(["-c", ask])).ok();
    let version: u32 = found.and_then(|text| text.trim().parse().ok()).unwrap_or(0);
    if version >= 3000 + PYTHON_MINOR_MIN {
        return Ok(program);
    }
    let what = if version == 0 { "is missing" } else { "is too old" };
    Err(format!(
        "Python 3.{PYTHON_MINOR_MIN} or newer is needed to compare with other libraries, and \
         `{program}` {what}; install it (on Debian: `apt-get install python3 python3-venv`) or \
         name one in PYTHON"
    ))
}

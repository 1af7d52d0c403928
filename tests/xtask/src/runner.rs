//! Runs cargo in the workspace with the same environment for every part.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The target the boards are built for.
pub(crate) const TARGET: &str = "thumbv7em-none-eabihf";

/// The boards' packages, which are also the names of their ELF files.
pub(crate) const BOARDS: [&str; 2] = ["pinhold-board-qemu", "pinhold-board-nrf52840"];

/// The workspace and how cargo is called in it.
pub(crate) struct Runner {
    /// The workspace's root.
    pub(crate) root: PathBuf,
    rustflags: OsString,
}

impl Runner {
    /// For the workspace it is called in.
    pub(crate) fn new() -> Result<Runner, String> {
        // As the cargo that runs the runner names it: clones may share a target folder.
        let package = env::var_os("CARGO_MANIFEST_DIR").ok_or("call it as `cargo xtask`")?;
        let here = Path::new(&package).join("../..");
        let root = here.canonicalize().map_err(|error| format!("{}: {error}", here.display()))?;
        let rustflags = rustflags(&root);
        Ok(Runner { root, rustflags })
    }

    /// Where cargo puts what it makes.
    pub(crate) fn target_dir(&self) -> PathBuf {
        match env::var_os("CARGO_TARGET_DIR") {
            Some(folder) => self.root.join(folder),
            None => self.root.join("target"),
        }
    }

    fn cargo_command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        command.current_dir(&self.root).args(arguments).env("RUSTFLAGS", &self.rustflags);
        // What incremental builds keep beside the build takes a gigabyte and helps no whole run.
        command.env("CARGO_INCREMENTAL", "0");
        // What the calling cargo set for this runner is no business of the called one.
        for (name, _) in env::vars_os() {
            let text = name.to_string_lossy();
            if text.starts_with("CARGO_PKG_") || text.starts_with("CARGO_MANIFEST") {
                command.env_remove(&name);
            }
        }
        command
    }

    /// Runs cargo, its output shown; an error when it fails.
    pub(crate) fn cargo(&self, arguments: &[&str]) -> Result<(), String> {
        run(&mut self.cargo_command(arguments))
    }

    /// As [`Runner::cargo`], with one more variable in the environment.
    pub(crate) fn cargo_with(
        &self,
        arguments: &[&str],
        name: &str,
        value: &str,
    ) -> Result<(), String> {
        run(self.cargo_command(arguments).env(name, value))
    }

    /// Runs cargo and gives its standard output.
    pub(crate) fn cargo_output(&self, arguments: &[&str]) -> Result<String, String> {
        output(&mut self.cargo_command(arguments))
    }

    /// Runs cargo, which must fail; what it said.
    pub(crate) fn cargo_failure(&self, arguments: &[&str]) -> Result<String, String> {
        let mut command = self.cargo_command(arguments);
        let said = describe(&command);
        println!("$ {said}   # must fail");
        let output = command.output().map_err(|error| format!("cannot run {said}: {error}"))?;
        if output.status.success() {
            return Err(format!("{said} did not fail"));
        }
        Ok(String::from_utf8_lossy(&output.stderr).into_owned())
    }

    /// Runs cargo, shows its standard output line by line and hands each line to `take`; says
    /// whether it succeeded.
    pub(crate) fn cargo_lines(
        &self,
        arguments: &[&str],
        mut take: impl FnMut(&str),
    ) -> Result<bool, String> {
        self.cargo_lines_with(arguments, None, &mut take)
    }

    /// As [`Runner::cargo_lines`], with one more variable in the environment.
    pub(crate) fn cargo_lines_with(
        &self,
        arguments: &[&str],
        variable: Option<(&str, &str)>,
        take: &mut dyn FnMut(&str),
    ) -> Result<bool, String> {
        let mut command = self.cargo_command(arguments);
        command.envs(variable).stdout(Stdio::piped());
        lines(&mut command, take)
    }

    /// Runs cargo with more flags for the compiler, its output shown.
    pub(crate) fn cargo_with_flags(&self, arguments: &[&str], flags: &str) -> Result<(), String> {
        let mut all = self.rustflags.clone();
        all.push(" ");
        all.push(flags);
        run(self.cargo_command(arguments).env("RUSTFLAGS", all))
    }

    /// Runs a program that was built here and says what there is to say as an error, as
    /// libFuzzer does; else as [`Runner::cargo_lines_with`].
    pub(crate) fn program_lines(
        &self,
        program: &Path,
        arguments: &[String],
        variable: (&str, &str),
        take: &mut dyn FnMut(&str),
    ) -> Result<bool, String> {
        let mut command = Command::new(program);
        command.current_dir(&self.root).args(arguments).envs([variable]).stderr(Stdio::piped());
        lines(&mut command, take)
    }

    /// The commit that is checked out, and whether files differ from it.
    pub(crate) fn version(&self) -> Result<String, String> {
        let arguments = ["describe", "--always", "--dirty", "--abbrev=12"];
        let said = output(Command::new("git").current_dir(&self.root).args(arguments))?;
        Ok(said.trim().to_owned())
    }

    /// The compiler's version.
    pub(crate) fn toolchain(&self) -> Result<String, String> {
        Ok(compiler(&["--version"])?.trim().to_owned())
    }

    /// The name of the target this machine is.
    pub(crate) fn host_triple(&self) -> Result<String, String> {
        let said = compiler(&["-vV"])?;
        let host = said.lines().find_map(|line| line.strip_prefix("host: "));
        host.map(str::to_owned).ok_or_else(|| "rustc does not say what it runs on".to_owned())
    }
}

fn compiler(arguments: &[&str]) -> Result<String, String> {
    let rustc = env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    output(Command::new(rustc).args(arguments))
}

/// Runs a command, shows what it says on whichever of its outputs is piped, line by line, and hands
/// each line to `take`; says whether it succeeded.
fn lines(command: &mut Command, take: &mut dyn FnMut(&str)) -> Result<bool, String> {
    let said = describe(command);
    println!("$ {said}");
    let mut child = command.spawn().map_err(|error| format!("cannot run {said}: {error}"))?;
    let stdout = child.stdout.take().map(|pipe| Box::new(pipe) as Box<dyn Read>);
    let stderr = child.stderr.take().map(|pipe| Box::new(pipe) as Box<dyn Read>);
    for pipe in stdout.into_iter().chain(stderr) {
        for line in BufReader::new(pipe).split(b'\n') {
            let line = line.map_err(|error| format!("{said}: {error}"))?;
            let line = String::from_utf8_lossy(&line);
            println!("{line}");
            take(&line);
        }
    }
    let status = child.wait().map_err(|error| format!("{said}: {error}"))?;
    Ok(status.success())
}

/// Flags that keep this machine's paths out of what is built, so that two clones give the same
/// bytes.
fn rustflags(root: &Path) -> OsString {
    let mut flags = env::var_os("RUSTFLAGS").unwrap_or_default();
    let mut remap = |from: &Path, to: &str| {
        // Cargo splits the flags at spaces, so a path that has one is left as it is.
        if from.to_string_lossy().contains(' ') {
            eprintln!("xtask: {} has a space and stays visible in what is built", from.display());
            return;
        }
        flags.push(" --remap-path-prefix=");
        flags.push(from);
        flags.push("=");
        flags.push(to);
    };
    remap(root, "/pinhold");
    // One folder for each registry; its name differs between mirrors.
    for registry in fs::read_dir(cargo_home().join("registry/src")).into_iter().flatten().flatten()
    {
        remap(&registry.path(), "/crates");
    }
    flags
}

fn cargo_home() -> PathBuf {
    let user_home = env::var_os("HOME").unwrap_or_default();
    env::var_os("CARGO_HOME").map_or_else(|| Path::new(&user_home).join(".cargo"), PathBuf::from)
}

/// The command as a person would type it.
fn describe(command: &Command) -> String {
    let program = Path::new(command.get_program()).file_name().unwrap_or_default();
    let words = std::iter::once(program).chain(command.get_args());
    words.map(|word| word.to_string_lossy()).collect::<Vec<_>>().join(" ")
}

/// Runs a command, its output shown; an error when it fails.
pub(crate) fn run(command: &mut Command) -> Result<(), String> {
    let said = describe(command);
    println!("$ {said}");
    let status = command.status().map_err(|error| format!("cannot run {said}: {error}"))?;
    if status.success() { Ok(()) } else { Err(format!("{said}: {status}")) }
}

/// Runs a command and gives its standard output.
pub(crate) fn output(command: &mut Command) -> Result<String, String> {
    let said = describe(command);
    let output = command.stderr(Stdio::inherit()).output();
    let output = output.map_err(|error| format!("cannot run {said}: {error}"))?;
    if !output.status.success() {
        return Err(format!("{said}: {}", output.status));
    }
    String::from_utf8(output.stdout).map_err(|_| format!("{said}: output is not text"))
}

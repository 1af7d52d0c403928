//! The house's style, as far as a machine can see it.
//!
//! Module headers, file and line lengths, words that have no place here, calls whose results
//! differ between machines, files that nothing includes, links that lead nowhere. Deliberately
//! not here: formatting and lints (cargo's own), the examples in `protocol/spec.md` (its tests).

use std::fs;
use std::path::{Path, PathBuf};

use crate::runner::Runner;

/// Longest source file, lines.
const LINES_MAX: usize = 600;
/// Longest line of a source file, columns.
const COLUMNS_MAX: usize = 100;
/// Folders that hold nothing of ours.
const FOREIGN_FOLDERS: [&str; 3] = ["target", ".git", "node_modules"];
/// Folders whose arithmetic must give the same bits on every machine.
const EXACT_FOLDERS: [&str; 6] = [
    "protocol/src",
    "firmware/core/src",
    "firmware/sim/src",
    "firmware/boards/virtual/src",
    "host/src/analysis",
    "host/src/instrument",
];
/// Methods of f32 and f64 that the standard library takes from the system.
const INEXACT_METHODS: [&str; 27] = [
    "exp", "exp2", "exp_m1", "ln", "ln_1p", "log", "log2", "log10", "sin", "cos", "tan", "sin_cos",
    "asin", "acos", "atan", "atan2", "sinh", "cosh", "tanh", "asinh", "acosh", "atanh", "powf",
    "powi", "hypot", "cbrt", "gamma",
];

/// Words that have no place in this house; each is put together so that this list does not hold
/// them.
fn banned_words() -> [String; 9] {
    [
        ["TO", "DO"],
        ["FIX", "ME"],
        ["todo", "!("],
        ["unimplemented", "!("],
        ["#[", "ignore"],
        ["/work", "/"],
        ["trade", ".md"],
        ["style", ".md"],
        ["design", ".md"],
    ]
    .map(|parts| parts.concat())
}

/// `tidy`: prints every fault.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    let faults = faults(&runner.root)?;
    if faults.is_empty() { Ok(()) } else { Err(format!("\n{}", faults.join("\n"))) }
}

/// Every fault in the tree, as `file:line: what`.
fn faults(root: &Path) -> Result<Vec<String>, String> {
    let mut files = Vec::new();
    walk(root, &mut files)?;
    files.sort();
    let mut faults = Vec::new();
    for file in files {
        let name = file.strip_prefix(root).unwrap_or(&file).to_string_lossy().into_owned();
        let extension = file.extension().and_then(|extension| extension.to_str());
        let known = matches!(extension, Some("rs" | "md" | "toml" | "sql" | "x"));
        if !known || name.starts_with("tests/checks/data") {
            continue;
        }
        let text = fs::read_to_string(&file).map_err(|error| format!("{name}: {error}"))?;
        let mut found = word_faults(&text);
        match extension {
            Some("rs") => {
                found.extend(source_faults(&name, &text));
                found.extend(orphan_fault(&file));
            }
            Some("md") => found.extend(link_faults(&file, &text)),
            Some("toml") if text.contains("[package]") && !text.contains("[lints") => {
                found.push((1, "no [lints]".to_owned()));
            }
            _ => {}
        }
        faults.extend(found.into_iter().map(|(line, what)| format!("{name}:{line}: {what}")));
    }
    Ok(faults)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), String> {
    let entries = fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    for entry in entries {
        let path = entry.map_err(|error| error.to_string())?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if path.is_dir() {
            if !FOREIGN_FOLDERS.contains(&name.as_str()) {
                walk(&path, files)?;
            }
        } else {
            files.push(path);
        }
    }
    Ok(())
}

/// A fault and the line it is in.
type Fault = (usize, String);

fn word_faults(text: &str) -> Vec<Fault> {
    let words = banned_words();
    let mut faults = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        for word in words.iter().filter(|word| line.contains(word.as_str())) {
            faults.push((number, format!("'{word}' has no place here")));
        }
    }
    faults
}

fn source_faults(name: &str, text: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    if !text.starts_with("//!") {
        faults.push((1, "no module header".to_owned()));
    }
    let line_count = text.lines().count();
    if line_count > LINES_MAX {
        faults.push((line_count, format!("longer than {LINES_MAX} lines")));
    }
    let exact = EXACT_FOLDERS.iter().any(|folder| name.starts_with(folder));
    for (number, line) in (1..).zip(text.lines()) {
        if line.chars().count() > COLUMNS_MAX && !line.contains("://") {
            faults.push((number, format!("wider than {COLUMNS_MAX} columns")));
        }
        let code = line.split("//").next().unwrap_or_default();
        for method in INEXACT_METHODS.iter().filter(|method| exact && calls(code, method)) {
            faults.push((number, format!("{method}() differs between machines; use libm")));
        }
    }
    faults
}

/// Whether a line of code calls `.method(` or names `f64::method`.
fn calls(code: &str, method: &str) -> bool {
    let after_name = |at: usize| code.get(at + method.len()..).unwrap_or_default();
    code.match_indices(method).any(|(at, _)| {
        let before = code.get(..at).unwrap_or_default();
        let is_path = before.ends_with("f64::") || before.ends_with("f32::");
        // A number is never called `self` in these folders.
        let is_method = before.ends_with('.') && !before.ends_with("self.");
        let ends = !after_name(at).starts_with(|next: char| next.is_alphanumeric() || next == '_');
        ends && (is_path || (is_method && after_name(at).starts_with('(')))
    })
}

/// A source file that no other names as its module.
fn orphan_fault(file: &Path) -> Option<Fault> {
    let stem = file.file_stem()?.to_str()?;
    let folder = file.parent()?;
    let folder_name = folder.file_name()?.to_str()?;
    let is_root = matches!(stem, "main" | "lib" | "build");
    if is_root || matches!(folder_name, "tests" | "examples" | "benches" | "bin" | "fuzz_targets") {
        return None;
    }
    // A module `a/mod.rs` is named where `a.rs` would be.
    let (module, home) =
        if stem == "mod" { (folder_name, folder.parent()?) } else { (stem, folder) };
    let home_name = home.file_name()?.to_str()?;
    let mut parents: Vec<PathBuf> =
        ["mod.rs", "lib.rs", "main.rs"].iter().map(|name| home.join(name)).collect();
    parents.push(home.with_file_name(format!("{home_name}.rs")));
    let declaration = format!("mod {module}");
    let named = parents.iter().filter_map(|parent| fs::read_to_string(parent).ok()).any(|text| {
        text.lines().any(|line| {
            let line = line.trim_end();
            line.ends_with(&format!("{declaration};"))
                || line.ends_with(&format!("{declaration} {{"))
        })
    });
    (!named).then(|| (1, "no file names this module".to_owned()))
}

/// Links of a Markdown file to files and headings that are not there.
fn link_faults(file: &Path, text: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut in_code = false;
    for (number, line) in (1..).zip(text.lines()) {
        in_code ^= line.trim_start().starts_with("```");
        if in_code {
            continue;
        }
        for link in line.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let target = link.split_whitespace().next().unwrap_or_default();
            if target.contains("://") || target.starts_with("mailto:") {
                continue;
            }
            let (path, heading) = target.split_once('#').unwrap_or((target, ""));
            let aim = if path.is_empty() {
                file.to_path_buf()
            } else {
                file.parent().unwrap_or(file).join(path)
            };
            if !aim.exists() {
                faults.push((number, format!("link to {path}, which is not there")));
            } else if !heading.is_empty() && !has_heading(&aim, heading) {
                faults.push((number, format!("link to heading #{heading}, which is not there")));
            }
        }
    }
    faults
}

fn has_heading(file: &Path, wanted: &str) -> bool {
    let text = fs::read_to_string(file).unwrap_or_default();
    text.lines().filter_map(|line| line.strip_prefix('#')).any(|heading| {
        let heading = heading.trim_start_matches('#').trim().to_lowercase();
        let kept = heading.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'));
        kept.map(|c| if c == ' ' { '-' } else { c }).eq(wanted.chars())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_house_is_tidy() {
        let runner = Runner::new().unwrap();
        let faults = faults(&runner.root).unwrap();
        assert!(faults.is_empty(), "\n{}", faults.join("\n"));
    }

    #[test]
    fn sees_calls_and_only_calls() {
        assert!(calls("let y = x.exp();", "exp"));
        assert!(calls("map(f64::ln)", "ln"));
        assert!(!calls("libm::exp(x)", "exp"));
        assert!(!calls("x.expect(1)", "exp"));
        assert!(!calls("self.log.push(1)", "log"));
        assert!(!calls("self.log(a, b)", "log"));
        assert!(calls("a.ln_1p()", "ln_1p") && !calls("a.ln_1p()", "ln"));
    }

    #[test]
    fn sees_words_widths_and_headers() {
        let word = ["TO", "DO"].concat();
        let text = format!("//! Head.\n// {word}: later\n");
        assert_eq!(word_faults(&text), [(2, format!("'{word}' has no place here"))]);
        assert_eq!(source_faults("x.rs", "//! Head.\n"), []);
        assert_eq!(source_faults("x.rs", "fn f() {}\n").len(), 1);
        let wide = format!("//! Head.\n// {}\n", "x".repeat(100));
        assert_eq!(source_faults("x.rs", &wide).len(), 1);
        let call = "//! Head.\nlet y = x.exp();\n";
        assert_eq!(source_faults("firmware/sim/src/a.rs", call).len(), 1);
        assert_eq!(source_faults("tests/sim/src/a.rs", call), []);
    }

    #[test]
    fn sees_links_that_lead_nowhere() {
        let here = Runner::new().unwrap().root.join("tests/xtask/here.md");
        let text =
            "[a](src/main.rs) [b](src/none.rs)\n```\n[c](none)\n```\n[d](https://x.invalid)\n";
        let expected = (1, "link to src/none.rs, which is not there".to_owned());
        assert_eq!(link_faults(&here, text), [expected]);
    }
}

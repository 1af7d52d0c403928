//! Every sentence in every language: the same things told, and nothing that is not said.

use super::banned::said_in;
use super::*;

fn all() -> Vec<(&'static str, &'static str, &'static str)> {
    let tables = [
        findings::PATTERNS,
        plank::PATTERNS,
        remedies::PATTERNS,
        pictures::PATTERNS,
        pages::PATTERNS,
        chain::PATTERNS,
        comparison::PATTERNS,
    ];
    tables.concat()
}

/// The arguments a pattern names.
fn arguments(pattern: &str) -> Vec<&str> {
    let mut names: Vec<&str> =
        pattern.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

#[test]
fn every_language_tells_the_same() {
    assert!(all().len() > 100);
    for (name, en, de) in all() {
        assert_eq!(arguments(en), arguments(de), "{name}");
        assert!(!en.trim().is_empty() && !de.trim().is_empty(), "{name}");
        // A sentence that ends in one language ends in the other.
        assert_eq!(en.ends_with('.'), de.ends_with('.'), "{name}: {en} | {de}");
        assert_eq!(en.starts_with(' '), de.starts_with(' '), "{name}");
    }
}

/// Every text between quotes in the sources of this folder, `\` at the end of a line taken out:
/// words that are no sentence of a macro too.
fn quoted(source: &str) -> Vec<String> {
    let mut texts = Vec::new();
    let mut rest = source;
    while let Some((_, after)) = rest.split_once('"') {
        let Some((inside, after)) = after.split_once('"') else { break };
        let lines: Vec<&str> = inside
            .split("\\\n")
            .enumerate()
            .map(|(at, line)| match at {
                0 => line,
                _ => line.trim_start(),
            })
            .collect();
        texts.push(lines.concat());
        rest = after;
    }
    texts
}

#[test]
fn nothing_is_said_that_must_not_be() {
    let sources = [
        include_str!("chain.rs"),
        include_str!("comparison.rs"),
        include_str!("condition.rs"),
        include_str!("findings.rs"),
        include_str!("pages.rs"),
        include_str!("pictures.rs"),
        include_str!("plank.rs"),
        include_str!("remarks.rs"),
        include_str!("remedies.rs"),
        include_str!("thresholds.rs"),
    ];
    let texts: Vec<String> = sources.into_iter().flat_map(quoted).collect();
    assert!(texts.len() > 600, "{}", texts.len());
    for text in texts {
        for language in Language::ALL {
            assert_eq!(said_in(&text, language), Vec::<&str>::new(), "{text}");
        }
    }
}

#[test]
fn sentences_read_in_both() {
    let said = findings::share(Fixed(12.34, 1), Fixed(0.5, 1));
    assert_eq!(&*said, "12.3 % of the pins are doubtful or worse (± 0.5 %)");
    assert_eq!(
        said.to(Language::German),
        "12,3 % der Wirbel sind zweifelhaft oder schlechter (± 0,5 %)"
    );
    assert_eq!(Language::from_code("de"), Some(Language::German));
    assert_eq!(Language::from_code("xx"), None);
}

//! Text from outside, made safe to show, and words compared for "did you mean".
//!
//! Deliberately not here: escaping for HTML or CSV (the report's business).

/// Text with everything a terminal might act on escaped: control characters, and the marks that
/// reverse the direction of writing.
///
/// ```
/// use pinhold::text::printable;
/// assert_eq!(printable("a\u{1b}[31mb\nc"), "a\\u{1b}[31mb\\nc");
/// assert_eq!(printable("Flügel, 7 µm"), "Flügel, 7 µm");
/// ```
pub fn printable(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for character in text.chars() {
        let turns_writing = matches!(
            character,
            '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        );
        if character.is_control() || turns_writing || character == '\u{feff}' {
            shown.extend(character.escape_default());
        } else {
            shown.push(character);
        }
    }
    shown
}

/// [`printable`] text, cut to at most `count_max` characters with `…` for the rest.
pub fn printable_short(text: &str, count_max: usize) -> String {
    if text.chars().count() <= count_max {
        return printable(text);
    }
    let head: String = text.chars().take(count_max.saturating_sub(1)).collect();
    format!("{}…", printable(&head))
}

/// Edits (insert, delete, replace one character, swap two neighbours) from one word to another.
pub fn edit_distance(from: &str, to: &str) -> usize {
    let from: Vec<char> = from.chars().collect();
    let to: Vec<char> = to.chars().collect();
    let mut rows = vec![vec![0; to.len() + 1]; from.len() + 1];
    for (at, row) in rows.iter_mut().enumerate() {
        row[0] = at;
    }
    for (at, cell) in rows[0].iter_mut().enumerate() {
        *cell = at;
    }
    for i in 1..=from.len() {
        for j in 1..=to.len() {
            let replaced = rows[i - 1][j - 1] + usize::from(from[i - 1] != to[j - 1]);
            let mut least = replaced.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = least;
        }
    }
    rows[from.len()][to.len()]
}

/// Longest word compared; longer ones are no slip of the hand.
const WORD_LENGTH_MAX: usize = 200;

/// Names within reach of a slip of the hand, letter case aside, nearest first.
///
/// ```
/// use pinhold::text::nearest;
/// let names = ["sharp_nm", "flat_nm"].map(String::from);
/// assert_eq!(nearest("shapr_nm", &names, 1), ["sharp_nm"]);
/// ```
pub fn nearest(wanted: &str, names: &[String], count_max: usize) -> Vec<String> {
    let folded = wanted.to_lowercase();
    let length = folded.chars().count();
    if length > WORD_LENGTH_MAX {
        return Vec::new();
    }
    let mut by_distance: Vec<(usize, &String)> = names
        .iter()
        .filter(|name| name.len() <= 4 * WORD_LENGTH_MAX)
        .map(|name| (edit_distance(&folded, &name.to_lowercase()), name))
        .filter(|(distance, name)| {
            let part_of = length >= 3 && name.to_lowercase().contains(&folded);
            part_of || *distance <= 1 + length / 4
        })
        .collect();
    by_distance.sort();
    by_distance.into_iter().take(count_max).map(|(_, name)| name.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_count_edits() {
        for (from, to, distance) in
            [("", "", 0), ("a", "", 1), ("note", "noet", 1), ("kitten", "sitting", 3)]
        {
            assert_eq!(edit_distance(from, to), distance, "{from} {to}");
            assert_eq!(edit_distance(to, from), distance, "{to} {from}");
        }
    }

    #[test]
    fn only_near_names_are_offered() {
        let names = ["Parlour grand", "parlor", "Attic upright"].map(String::from);
        assert_eq!(nearest("parlour", &names, 3), ["parlor", "Parlour grand"]);
        assert_eq!(nearest("zither", &names, 3), Vec::<String>::new());
        assert_eq!(nearest(&"x".repeat(5000), &names, 3), Vec::<String>::new());
    }

    #[test]
    fn nothing_a_terminal_obeys_is_left() {
        let hostile = "\u{1b}]0;x\u{7}\u{9b}2J\r\u{202e}\u{7f}";
        let shown = printable(hostile);
        assert!(shown.is_ascii() && !shown.chars().any(char::is_control), "{shown}");
        assert_eq!(printable_short("abcdef", 4), "abc…");
    }
}

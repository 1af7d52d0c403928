//! Reads the executable parts of `spec.md`: fenced blocks of known forms, and field tables.
//!
//! A block is lines of `key: text`; an indented line continues the one before. Forms are given
//! behind the fence: `example`, `numbers`, `bits`, `limits`; `text` is for readers only. Anything
//! else is a fault of the document.

/// One fenced block.
#[derive(Debug)]
pub(crate) struct Block {
    pub(crate) form: String,
    /// Line of the opening fence, for messages.
    pub(crate) line: usize,
    pub(crate) entries: Vec<(String, String)>,
}

impl Block {
    pub(crate) fn optional(&self, key: &str) -> Option<&str> {
        let mut found = self.entries.iter().filter(|(name, _)| name == key);
        let text = found.next().map(|(_, text)| text.as_str());
        assert!(found.next().is_none(), "spec.md:{}: {key} stands twice", self.line);
        text
    }

    pub(crate) fn get(&self, key: &str) -> &str {
        self.optional(key).unwrap_or_else(|| panic!("spec.md:{}: no {key}", self.line))
    }

    pub(crate) fn bytes(&self, key: &str) -> Vec<u8> {
        crate::hex::parse(self.get(key))
    }

    /// A whole number, decimal or behind `0x`.
    pub(crate) fn number(&self, key: &str) -> u64 {
        number(self.get(key))
    }

    /// Refuses keys that no test looks at.
    pub(crate) fn has_only(&self, keys: &[&str]) {
        for (name, _) in &self.entries {
            assert!(keys.contains(&name.as_str()), "spec.md:{}: unknown key {name}", self.line);
        }
    }
}

pub(crate) fn number(text: &str) -> u64 {
    let result = match text.strip_prefix("0x") {
        Some(digits) => u64::from_str_radix(digits, 16),
        None => text.parse(),
    };
    result.unwrap_or_else(|error| panic!("{text:?}: {error}"))
}

/// All blocks but the `text` ones.
pub(crate) fn blocks(document: &str) -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut open: Option<Block> = None;
    for (index, text) in document.lines().enumerate() {
        let line = index + 1;
        match (text.strip_prefix("```"), &mut open) {
            (Some(form), None) => {
                open = Some(Block { form: form.to_owned(), line, entries: Vec::new() });
            }
            (Some(rest), Some(_)) => {
                assert_eq!(rest, "", "spec.md:{line}: a fence inside a block");
                blocks.extend(open.take());
            }
            (None, Some(block)) if block.form != "text" => push_line(block, text, line),
            (None, _) => {}
        }
    }
    assert!(open.is_none(), "spec.md: the last block is not closed");
    blocks.retain(|block| block.form != "text");
    blocks
}

fn push_line(block: &mut Block, text: &str, line: usize) {
    if text.starts_with(' ') {
        let (_, last) = block.entries.last_mut().expect("something to continue");
        last.push(' ');
        last.push_str(text.trim());
    } else {
        let (key, value) = text
            .split_once(": ")
            .unwrap_or_else(|| panic!("spec.md:{line}: expected `key: text`, found {text:?}"));
        block.entries.push((key.to_owned(), value.trim().to_owned()));
    }
}

/// A heading with its table's first column: a type's name, its number if any, its fields.
#[derive(Debug)]
pub(crate) struct FieldTable {
    pub(crate) number: Option<u64>,
    pub(crate) name: String,
    pub(crate) fields: Vec<String>,
}

/// The tables under `### 0x01 Hello` and `### Reading` headings.
pub(crate) fn field_tables(document: &str) -> Vec<FieldTable> {
    let mut tables: Vec<FieldTable> = Vec::new();
    let mut in_type = false;
    for text in document.lines() {
        if let Some(heading) = text.strip_prefix("### ") {
            let words: Vec<&str> = heading.split(' ').collect();
            let (number, name) = match words[..] {
                [number, name] if number.starts_with("0x") => (Some(self::number(number)), name),
                [name] => (None, name),
                _ => panic!("heading {heading:?} names no type"),
            };
            tables.push(FieldTable { number, name: name.to_owned(), fields: Vec::new() });
            in_type = true;
        } else if text.starts_with("## ") {
            in_type = false;
        } else if let (true, Some(row), Some(table)) =
            (in_type, text.strip_prefix("| `"), tables.last_mut())
        {
            let (field, _) = row.split_once('`').expect("a closed field name");
            table.fields.push(field.to_owned());
        }
    }
    tables
}

/// Field names of the first struct `name` in a debug text, in order.
pub(crate) fn debug_fields(text: &str, name: &str) -> Option<Vec<String>> {
    let opening = format!("{name} {{ ");
    let body = &text[text.find(&opening)? + opening.len()..];
    let mut fields = Vec::new();
    let mut depth = 0;
    let mut field_begin = Some(0);
    for (index, character) in body.char_indices() {
        match character {
            '{' | '[' | '(' => depth += 1,
            '}' if depth == 0 => return Some(fields),
            '}' | ']' | ')' => depth -= 1,
            ',' if depth == 0 => field_begin = Some(index + 2),
            ':' if depth == 0 => {
                if let Some(begin) = field_begin.take() {
                    fields.push(body[begin..index].to_owned());
                }
            }
            _ => {}
        }
    }
    None
}

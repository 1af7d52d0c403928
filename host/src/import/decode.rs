//! Bytes to text with one kind of line end.

use super::error::ImportError;

/// Text of a file: no byte-order mark, every line end a `\n`.
pub(crate) fn decode(bytes: &[u8]) -> Result<String, ImportError> {
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(ImportError::Utf16);
    }
    if bytes.iter().any(|byte| is_no_text(*byte)) {
        return Err(ImportError::Binary);
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let good = &bytes[..error.valid_up_to()];
        let line = 1 + good.iter().filter(|byte| **byte == b'\n').count();
        ImportError::NotUtf8 { line: u32::try_from(line).unwrap_or(u32::MAX) }
    })?;
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    if text.trim().is_empty() { Err(ImportError::Empty) } else { Ok(text) }
}

/// Comment lines made blank, so that lines keep their numbers.
pub(super) fn without_comments(text: &str) -> String {
    let kept = |line: &str| !line.trim_start().starts_with('#');
    let lines: Vec<&str> =
        text.split('\n').map(|line| if kept(line) { line } else { "" }).collect();
    lines.join("\n")
}

/// Bytes that no text file of readings holds: controls other than tab, line ends, form feed and
/// the end-of-file mark of old systems.
fn is_no_text(byte: u8) -> bool {
    byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C | 0x1A)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_and_line_ends_are_evened_out() {
        assert_eq!(decode(b"\xEF\xBB\xBFa\r\nb\rc\nd").unwrap(), "a\nb\nc\nd");
    }

    #[test]
    fn other_encodings_and_no_text_are_told_apart() {
        assert!(matches!(decode(b"\xFF\xFEa\0"), Err(ImportError::Utf16)));
        assert!(matches!(decode(b"\x89PNG\r\n\x1a\n\0\0"), Err(ImportError::Binary)));
        assert!(matches!(decode(b"a\nb\nfl\xFCgel"), Err(ImportError::NotUtf8 { line: 3 })));
        for blank in [&b""[..], b"\n\n", b"\xEF\xBB\xBF", b"  \r\n"] {
            assert!(matches!(decode(blank), Err(ImportError::Empty)));
        }
    }
}

//! Hex in text files and in the document.

/// Two hex digits per byte, 32 bytes a line, each line ended.
pub(crate) fn lines(bytes: &[u8]) -> String {
    bytes.chunks(32).map(|line| spaced(line) + "\n").collect()
}

/// Two hex digits per byte, a space between.
pub(crate) fn spaced(bytes: &[u8]) -> String {
    let digits: Vec<String> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    digits.join(" ")
}

/// Reads hex digits; white space counts for nothing.
pub(crate) fn parse(text: &str) -> Vec<u8> {
    let digits: Vec<u32> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16).unwrap_or_else(|| panic!("{c:?} is no hex digit in {text:?}")))
        .collect();
    assert!(digits.len().is_multiple_of(2), "half a byte in {text:?}");
    digits.chunks(2).map(|pair| (pair[0] * 16 + pair[1]) as u8).collect()
}

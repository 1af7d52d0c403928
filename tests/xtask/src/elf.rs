//! Reads 32-bit little-endian ELFs: how much flash and RAM they take, what can panic in them.
//!
//! ELF layout after the System V ABI (Tool Interface Standard, 1995). Deliberately not here: code.

use std::collections::BTreeSet;
use std::fmt;

/// Bytes taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Usage {
    /// Code, constants and initial values.
    pub(crate) flash_bytes: u64,
    /// Statics, initialised or not; the stack takes what is left.
    pub(crate) ram_bytes: u64,
}

const SECTION_WRITABLE: u32 = 1 << 0;
const SECTION_ALLOCATED: u32 = 1 << 1;
/// Takes room in memory but none in the file.
const TYPE_NO_BITS: u32 = 8;

fn u16_at(bytes: &[u8], at: usize) -> Option<usize> {
    let field = bytes.get(at..)?.first_chunk::<2>()?;
    Some(usize::from(u16::from_le_bytes(*field)))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let field = bytes.get(at..)?.first_chunk::<4>()?;
    Some(u32::from_le_bytes(*field))
}

/// Sums the sections that are loaded; `None` when this is no such ELF.
pub(crate) fn usage(elf: &[u8]) -> Option<Usage> {
    let is_elf32_little = elf.starts_with(b"\x7fELF\x01\x01");
    if !is_elf32_little {
        return None;
    }
    let table = usize::try_from(u32_at(elf, 0x20)?).ok()?;
    let (entry_size, entry_count) = (u16_at(elf, 0x2e)?, u16_at(elf, 0x30)?);
    let mut usage = Usage { flash_bytes: 0, ram_bytes: 0 };
    for index in 0..entry_count {
        let section = elf.get(table.checked_add(index.checked_mul(entry_size)?)?..)?;
        let (kind, flags, size) =
            (u32_at(section, 4)?, u32_at(section, 8)?, u64::from(u32_at(section, 20)?));
        if flags & SECTION_ALLOCATED == 0 {
            continue;
        }
        if kind != TYPE_NO_BITS {
            usage.flash_bytes += size;
        }
        // Writable sections live in RAM; those with initial values in flash as well.
        if flags & SECTION_WRITABLE != 0 || kind == TYPE_NO_BITS {
            usage.ram_bytes += size;
        }
    }
    Some(usage)
}

/// One section.
struct Section<'a> {
    kind: u32,
    flags: u32,
    address: usize,
    /// Its bytes in the file; none where it has none there.
    bytes: &'a [u8],
    /// Section that belongs to it: of symbols, the one with their names.
    link: usize,
}

const TYPE_SYMBOLS: u32 = 2;
const SYMBOL_BYTES: usize = 16;
/// Kind of symbol, in the lower half of a symbol's byte 12.
const SYMBOL_FUNCTION: u8 = 2;

fn sections(elf: &[u8]) -> Option<Vec<Section<'_>>> {
    if !elf.starts_with(b"\x7fELF\x01\x01") {
        return None;
    }
    let table = usize::try_from(u32_at(elf, 0x20)?).ok()?;
    let (entry_size, entry_count) = (u16_at(elf, 0x2e)?, u16_at(elf, 0x30)?);
    let section = |index: usize| {
        let header = elf.get(table.checked_add(index.checked_mul(entry_size)?)?..)?;
        let field = |at| Some(u32_at(header, at)? as usize);
        let kind = u32_at(header, 4)?;
        let in_file = if kind == TYPE_NO_BITS { 0 } else { field(20)? };
        let from = field(16)?;
        let bytes = elf.get(from..from.checked_add(in_file)?).unwrap_or(&[]);
        let (flags, address, link) = (u32_at(header, 8)?, field(12)?, field(24)?);
        Some(Section { kind, flags, address, bytes, link })
    };
    (0..entry_count).map(section).collect()
}

/// A place in a source that can panic.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Site {
    pub(crate) file: String,
    pub(crate) line: u32,
    pub(crate) column: u32,
}

impl fmt::Display for Site {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.file, self.line, self.column)
    }
}

/// Every place in a source that the ELF can tell a panic handler: whatever can panic hands one
/// over. Each is four words: where the file's name is, its length, line and column.
pub(crate) fn panic_sites(elf: &[u8]) -> Option<BTreeSet<Site>> {
    let sections = sections(elf)?;
    let loaded: Vec<&Section<'_>> =
        sections.iter().filter(|section| section.flags & SECTION_ALLOCATED != 0).collect();
    let text_at = |address: usize, length: usize| {
        loaded.iter().find_map(|section| {
            let from = address.checked_sub(section.address)?;
            section.bytes.get(from..from.checked_add(length)?)
        })
    };
    let site = |words: &[u8]| {
        let (address, length) = (u32_at(words, 0)? as usize, u32_at(words, 4)? as usize);
        let (line, column) = (u32_at(words, 8)?, u32_at(words, 12)?);
        if !(4..1000).contains(&length) || line == 0 || column == 0 || line.max(column) > 1 << 20 {
            return None;
        }
        let name = std::str::from_utf8(text_at(address, length)?).ok()?;
        let file = name.trim_end_matches('\0').to_owned();
        file.ends_with(".rs").then_some(Site { file, line, column })
    };
    Some(
        loaded
            .iter()
            .flat_map(|section| (0..section.bytes.len()).step_by(4).map(|at| &section.bytes[at..]))
            .filter_map(site)
            .collect(),
    )
}

/// Names of functions that start or handle a panic.
pub(crate) fn panic_symbols(elf: &[u8]) -> Option<BTreeSet<String>> {
    let sections = sections(elf)?;
    let symbols = sections.iter().find(|section| section.kind == TYPE_SYMBOLS)?;
    let names = sections.get(symbols.link)?.bytes;
    let name = |symbol: &[u8]| {
        if symbol.get(12)? & 0xf != SYMBOL_FUNCTION {
            return None;
        }
        let name = names.get(u32_at(symbol, 0)? as usize..)?.split(|byte| *byte == 0).next()?;
        Some(String::from_utf8_lossy(name).into_owned())
    };
    let panics = |name: &String| {
        ["panic", "rust_begin_unwind", "unwrap_failed"].iter().any(|word| name.contains(word))
    };
    Some(symbols.bytes.chunks_exact(SYMBOL_BYTES).filter_map(name).filter(panics).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Type, flags and size of each section.
    fn elf(sections: &[(u32, u32, u32)]) -> Vec<u8> {
        let mut bytes = vec![0; 0x34];
        bytes[..6].copy_from_slice(b"\x7fELF\x01\x01");
        bytes[0x20..0x24].copy_from_slice(&0x34_u32.to_le_bytes());
        bytes[0x2e..0x30].copy_from_slice(&40_u16.to_le_bytes());
        bytes[0x30..0x32].copy_from_slice(&(sections.len() as u16).to_le_bytes());
        for (kind, flags, size) in sections {
            let mut header = [0; 40];
            header[4..8].copy_from_slice(&kind.to_le_bytes());
            header[8..12].copy_from_slice(&flags.to_le_bytes());
            header[20..24].copy_from_slice(&size.to_le_bytes());
            bytes.extend_from_slice(&header);
        }
        bytes
    }

    #[test]
    fn initial_values_count_in_both() {
        let (text, data, bss, debug) = ((1, 0b110, 1000), (1, 0b11, 20), (8, 0b11, 300), (1, 0, 9));
        let usage = usage(&elf(&[text, data, bss, debug]));
        assert_eq!(usage, Some(Usage { flash_bytes: 1020, ram_bytes: 320 }));
    }

    #[test]
    fn what_is_no_elf_is_none() {
        assert_eq!(usage(b""), None);
        assert_eq!(usage(b"\x7fELF\x02\x01 and so on"), None);
        let mut cut = elf(&[(1, 0b110, 1000)]);
        cut.truncate(60);
        assert_eq!(usage(&cut), None);
    }
}

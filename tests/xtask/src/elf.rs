//! Reads how much flash and RAM a 32-bit little-endian ELF takes.
//!
//! ELF layout after the System V ABI (Tool Interface Standard, 1995). Deliberately not here:
//! symbols, code.

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

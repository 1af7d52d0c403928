//! The write-ahead log of a store that was not closed: whether it breaks off in the middle.
//!
//! SQLite reads a log up to the first frame that does not check and forgets the rest, which is
//! right after a cut of the power: the last transaction is then whole or not there. Where two or
//! more transactions stand behind that frame, it was no cut, for each is on the disk before the
//! next begins. Deliberately not here: reading what stands behind.
//!
//! Source: "WAL-mode File Format", sqlite.org/walformat.html.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// Bytes of the log's header, and of each frame's.
const HEADER_BYTES: usize = 32;
const FRAME_BYTES: usize = 24;
/// The log's first number, without the bit that says how its checksums are counted.
const MAGIC: u32 = 0x377f_0682;
/// Page sizes there are.
const PAGE_BYTES: std::ops::RangeInclusive<usize> = 512..=65_536;

/// Place of the frame that does not check, from 1, or 0 for the log's header, where more stands
/// behind it than a cut of the power leaves; `None` where the log is whole, was cut off within its
/// last transaction, or is not there.
pub(super) fn broken_at(log: &Path) -> Option<u64> {
    let mut log = BufReader::new(File::open(log).ok()?);
    let mut header = [0; HEADER_BYTES];
    log.read_exact(&mut header).ok()?;
    if header == [0; HEADER_BYTES] {
        // Made and not yet begun.
        return None;
    }
    let number = |bytes: &[u8], at: usize| {
        u32::from_be_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
    };
    let big_endian = number(&header, 0) & 1 == 1;
    let page_bytes = number(&header, 8) as usize;
    let mut sums = checksum([0, 0], &header[..24], big_endian);
    let mut whole = sums == [number(&header, 24), number(&header, 28)];
    // The header lies within one sector, which a disk writes whole.
    if !whole || number(&header, 0) & !1 != MAGIC || !PAGE_BYTES.contains(&page_bytes) {
        return Some(0);
    }
    let salts = [number(&header, 16), number(&header, 20)];
    let mut broken = 0;
    let mut frame = vec![0; FRAME_BYTES + page_bytes];
    let (mut place, mut behind) = (0, 0);
    while log.read_exact(&mut frame).is_ok() {
        place += 1;
        let of_this_log = [number(&frame, 8), number(&frame, 12)] == salts;
        if whole {
            sums = checksum(sums, &frame[..8], big_endian);
            sums = checksum(sums, &frame[FRAME_BYTES..], big_endian);
            whole = of_this_log && sums == [number(&frame, 16), number(&frame, 20)];
            broken = if whole { 0 } else { place };
        }
        // The frame that ends a transaction says how long the database is then.
        let ends = number(&frame, 4) != 0;
        behind += u64::from(!whole && of_this_log && ends);
    }
    (behind >= 2).then_some(broken)
}

/// Goes on with the two sums of a log over bytes, whose count is a multiple of eight.
fn checksum([mut one, mut two]: [u32; 2], bytes: &[u8], big_endian: bool) -> [u32; 2] {
    for pair in bytes.chunks_exact(8) {
        let word = |at: usize| {
            let bytes = [pair[at], pair[at + 1], pair[at + 2], pair[at + 3]];
            if big_endian { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) }
        };
        one = one.wrapping_add(word(0)).wrapping_add(two);
        two = two.wrapping_add(word(4)).wrapping_add(one);
    }
    [one, two]
}

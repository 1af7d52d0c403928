//! Files as they could be found after the power failed.
//!
//! What was synchronised is there. Of the writes since, each sector may be there or not, whatever
//! came before or after it: a disk writes in the order it likes and stops in the middle of a write,
//! though not in the middle of a sector.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::recorder::Event;

/// Bytes a disk writes whole or not at all.
pub const SECTOR_BYTES: usize = 512;

/// A seeded generator: SplitMix64 (Steele, Lea and Flood, 2014).
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// A generator that starts from a seed.
    pub const fn new(seed: u64) -> Random {
        Random(seed)
    }

    /// A number below `limit`.
    pub fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((bits ^ (bits >> 31)) % limit.max(1) as u64) as usize
    }
}

/// A change not yet on the disk.
#[derive(Clone, Debug)]
enum Pending {
    Sector { offset: usize, bytes: Vec<u8> },
    Length(usize),
}

/// A file: what is on the disk for certain, and what may be.
#[derive(Clone, Debug, Default)]
struct Disk {
    safe: Vec<u8>,
    pending: Vec<Pending>,
}

/// What the disk makes of the writes that were not synchronised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Lost,
    Kept,
    Torn,
}

/// A cut of the power.
#[derive(Clone, Debug)]
pub struct Cut {
    /// How much had been reported as stored.
    pub acknowledged: u32,
    files: BTreeMap<String, Vec<u8>>,
}

impl Cut {
    /// Cuts after the first `count` events; the seed says what becomes of what was on its way.
    pub fn after(events: &[Event], count: usize, random: &mut Random) -> Cut {
        let mut disks: BTreeMap<&str, Disk> = BTreeMap::new();
        let mut acknowledged = 0;
        for event in &events[..count] {
            match event {
                Event::Write { file, offset, bytes } => {
                    disks.entry(file).or_default().write(*offset, bytes);
                }
                Event::Truncate { file, length } => {
                    disks.entry(file).or_default().pending.push(Pending::Length(*length));
                }
                Event::Sync { file } => disks.entry(file).or_default().sync(),
                Event::Delete { file } => drop(disks.remove(file.as_str())),
                Event::Acknowledged(count) => acknowledged = *count,
            }
        }
        let files = disks
            .into_iter()
            .filter_map(|(name, disk)| Some((name.to_owned(), disk.found(random)?)))
            .collect();
        Cut { acknowledged, files }
    }

    /// Writes the files into a folder.
    ///
    /// # Errors
    /// When the system does not.
    pub fn write(&self, folder: &Path) -> std::io::Result<()> {
        self.files.iter().try_for_each(|(name, bytes)| fs::write(folder.join(name), bytes))
    }
}

impl Disk {
    fn write(&mut self, offset: usize, bytes: &[u8]) {
        let mut at = 0;
        while at < bytes.len() {
            // To the next boundary of a sector.
            let room = SECTOR_BYTES - (offset + at) % SECTOR_BYTES;
            let end = bytes.len().min(at + room);
            let piece = bytes[at..end].to_vec();
            self.pending.push(Pending::Sector { offset: offset + at, bytes: piece });
            at = end;
        }
    }

    fn sync(&mut self) {
        for change in std::mem::take(&mut self.pending) {
            apply(&mut self.safe, &change);
        }
    }

    /// What is found; `None` when the file itself is not there yet.
    fn found(self, random: &mut Random) -> Option<Vec<u8>> {
        let Disk { mut safe, pending } = self;
        let fate = [Fate::Lost, Fate::Kept, Fate::Torn, Fate::Torn][random.below(4)];
        let mut kept: Vec<Pending> = pending
            .into_iter()
            .filter(|_| match fate {
                Fate::Lost => false,
                Fate::Kept => true,
                Fate::Torn => random.below(2) == 0,
            })
            .collect();
        if fate == Fate::Torn {
            // Two writes of one sector may come in either order.
            for last in (1..kept.len()).rev() {
                kept.swap(last, random.below(last + 1));
            }
        }
        let is_there = !safe.is_empty() || !kept.is_empty();
        kept.iter().for_each(|change| apply(&mut safe, change));
        is_there.then_some(safe)
    }
}

fn apply(bytes: &mut Vec<u8>, change: &Pending) {
    match change {
        Pending::Length(length) => bytes.resize(*length, 0),
        Pending::Sector { offset, bytes: new } => {
            let end = offset + new.len();
            if bytes.len() < end {
                bytes.resize(end, 0);
            }
            bytes[*offset..end].copy_from_slice(new);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(offset: usize, byte: u8, count: usize) -> Event {
        Event::Write { file: "f".to_owned(), offset, bytes: vec![byte; count] }
    }

    #[test]
    fn what_was_synchronised_is_never_taken_away_and_the_rest_may_be() {
        let sync = Event::Sync { file: "f".to_owned() };
        let events = [write(0, 1, 2000), sync, Event::Acknowledged(1), write(0, 2, 2000)];
        let (mut old, mut new, mut torn) = (0, 0, 0);
        for seed in 0..60 {
            let cut = Cut::after(&events, 4, &mut Random::new(seed));
            assert_eq!(cut.acknowledged, 1);
            let found = &cut.files["f"];
            assert_eq!(found.len(), 2000);
            for sector in found.chunks(SECTOR_BYTES) {
                assert!(sector.iter().all(|byte| *byte == sector[0]), "a sector is whole");
            }
            match (found.contains(&1), found.contains(&2)) {
                (true, false) => old += 1,
                (false, true) => new += 1,
                _ => torn += 1,
            }
        }
        assert!(old > 0 && new > 0 && torn > 0, "{old} {new} {torn}");
        let before = Cut::after(&events, 2, &mut Random::new(1));
        assert_eq!((before.acknowledged, before.files["f"].as_slice()), (0, &[1; 2000][..]));
    }
}

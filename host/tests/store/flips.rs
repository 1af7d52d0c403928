//! A flipped byte anywhere in a store is found and named, or changes nothing that can be read.
//!
//! `PINHOLD_FLIPS` makes it longer: a factor.

use std::fs;
use std::path::Path;

use pinhold::analysis::random::Random;
use pinhold::store::{Store, verify};
use rusqlite::{Connection, OpenFlags};
use tempfile::TempDir;

use crate::everything::{dump, fill};

/// Judging seed.
const SEED: u64 = 910_001;
/// Flips in the short form.
const FLIP_COUNT: usize = 360;

/// How long the test is, from the environment: 1, or a factor.
pub(crate) fn factor() -> usize {
    std::env::var("PINHOLD_FLIPS").map_or(1, |text| text.parse().expect("a whole number"))
}

/// What became of a flip.
enum Outcome {
    /// Found, in so many words.
    Found(String),
    /// Nothing that can be read changed.
    Harmless,
    /// Something changed, and nobody said so.
    Silent(String),
}

fn judge(path: &Path, expected: &[String]) -> Outcome {
    match verify(path) {
        Err(refused) => return Outcome::Found(refused.to_string()),
        Ok(checked) if !checked.is_clean() => {
            let first = &checked.findings[0];
            return Outcome::Found(format!("{} {}", first.place, first.fault));
        }
        Ok(_) => {}
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
    match Connection::open_with_flags(path, flags).and_then(|connection| dump(&connection)) {
        Ok(found) if found == expected => Outcome::Harmless,
        Ok(_) => Outcome::Silent("reads differently".to_owned()),
        Err(error) => Outcome::Silent(error.to_string()),
    }
}

#[test]
fn every_flipped_byte_of_a_store_is_found_or_harmless() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "one", 7, 1);
    // Free pages and free space within pages, as a store in use has them.
    let mut record = store.find_instrument("one").unwrap();
    record.facts.serial = "x".repeat(9000);
    store.edit_instrument(&record).unwrap();
    record.facts.serial.clear();
    store.edit_instrument(&record).unwrap();
    let path = store.path().to_path_buf();
    drop(store);
    let bytes = fs::read(&path).unwrap();
    let expected = dump(&Connection::open(&path).unwrap()).unwrap();
    let mut random = Random::new(SEED);
    let (mut found, mut harmless) = (0, 0);
    for turn in 0..FLIP_COUNT * factor() {
        let mut flipped = bytes.clone();
        // Every byte of the header in turn, then anywhere, then where something is written.
        let mut anywhere = || (random.next_u64() % bytes.len() as u64) as usize;
        let at = match turn {
            0..100 => turn,
            _ if turn % 2 == 0 => anywhere(),
            _ => std::iter::repeat_with(anywhere).find(|at| bytes[*at] != 0).unwrap(),
        };
        let mask = 1 + (random.next_u64() % 255) as u8;
        flipped[at] ^= mask;
        fs::write(&path, &flipped).unwrap();
        match judge(&path, &expected) {
            Outcome::Found(named) => {
                found += 1;
                assert!(!named.is_empty());
            }
            Outcome::Harmless => harmless += 1,
            Outcome::Silent(how) => panic!("byte {at} ^ {mask:#04x} went unseen: {how}"),
        }
        for ending in ["-wal", "-shm", "-journal"] {
            let _ = fs::remove_file(folder.path().join(format!("pinhold.db{ending}")));
        }
    }
    println!("{found} flipped bytes found, {harmless} shown harmless, 0 unseen; seed {SEED}");
    assert!(found > 100 && harmless > 0, "{found} found, {harmless} harmless");
}

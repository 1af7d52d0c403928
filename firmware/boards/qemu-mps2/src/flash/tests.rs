//! NOR memory in a file: what it does to bits, what it refuses, and the clock behind the records.

use std::vec::Vec;

use pinhold_protocol::record::{
    Outcome, Pin, Reading, SampleCoverage, StringPosition, encode_record,
};
use pinhold_protocol::units::Angle;

use super::*;

/// A file in memory that fails after so many writes.
struct Memory {
    bytes: Vec<u8>,
    writes_left: u32,
}

impl FileBytes for Memory {
    fn read_at(&mut self, offset: u32, bytes: &mut [u8]) -> bool {
        let from = offset as usize;
        let found = self.bytes.get(from..from + bytes.len());
        found.map(|found| bytes.copy_from_slice(found)).is_some()
    }

    fn write_at(&mut self, offset: u32, bytes: &[u8]) -> bool {
        if self.writes_left == 0 {
            return false;
        }
        self.writes_left -= 1;
        let (from, to) = (offset as usize, offset as usize + bytes.len());
        if self.bytes.len() < to {
            self.bytes.resize(to, 0);
        }
        self.bytes[from..to].copy_from_slice(bytes);
        true
    }
}

fn made() -> FileFlash<Memory> {
    let made = FileFlash::make(Memory { bytes: Vec::new(), writes_left: u32::MAX });
    made.expect("memory takes every write")
}

#[test]
fn a_new_flash_has_its_length_and_every_bit_set() {
    let flash = made();
    assert_eq!(flash.file.bytes.len(), 256 * 1024);
    assert!(flash.file.bytes.iter().all(|byte| *byte == 0xff));
}

#[test]
fn a_flash_left_half_made_has_its_length_and_takes_a_log() {
    for write_count in [1, 2, 100, 511] {
        let mut file = Memory { bytes: Vec::new(), writes_left: write_count };
        assert!(FileFlash::make(&mut file).is_none());
        assert_eq!(file.bytes.len(), FLASH_BYTES);
        file.writes_left = u32::MAX;
        let mut log = Log::mount(FileFlash::new(file), 5, 9);
        log.make_room();
        assert!(log.has_room());
        assert_eq!(log.push(&[1, 2, 3]).map(|stored| stored.number), Some(0));
    }
}

impl FileBytes for &mut Memory {
    fn read_at(&mut self, offset: u32, bytes: &mut [u8]) -> bool {
        (**self).read_at(offset, bytes)
    }

    fn write_at(&mut self, offset: u32, bytes: &[u8]) -> bool {
        (**self).write_at(offset, bytes)
    }
}

#[test]
fn writes_clear_bits_and_erasing_sets_those_of_the_page_only() {
    let mut flash = made();
    let page = PAGE_BYTES as u32;
    assert_eq!(flash.write(page - 4, &[0b1100; 8]), Ok(()));
    assert_eq!(flash.write(page, &[0b1010; 4]), Ok(()));
    let mut read = [0; 8];
    assert_eq!(flash.read(page - 4, &mut read), Ok(()));
    assert_eq!(read, [0b1100, 0b1100, 0b1100, 0b1100, 0b1000, 0b1000, 0b1000, 0b1000]);
    assert_eq!(flash.erase(page, 2 * page), Ok(()));
    assert_eq!(flash.read(page - 4, &mut read), Ok(()));
    assert_eq!(read, [0b1100, 0b1100, 0b1100, 0b1100, 0xff, 0xff, 0xff, 0xff]);
}

#[test]
fn what_is_out_of_place_or_fails_is_refused() {
    let mut flash = made();
    let end = FLASH_BYTES as u32;
    assert_eq!(flash.write(2, &[0; 4]), Err(NorFlashErrorKind::NotAligned));
    assert_eq!(flash.write(0, &[0; 3]), Err(NorFlashErrorKind::NotAligned));
    assert_eq!(flash.write(end, &[0; 4]), Err(NorFlashErrorKind::OutOfBounds));
    assert_eq!(flash.read(end - 1, &mut [0; 2]), Err(NorFlashErrorKind::OutOfBounds));
    assert_eq!(flash.erase(4, 4096), Err(NorFlashErrorKind::NotAligned));
    assert_eq!(flash.erase(0, end + 4096), Err(NorFlashErrorKind::OutOfBounds));
    flash.file.writes_left = 0;
    assert_eq!(flash.write(0, &[0; 4]), Err(NorFlashErrorKind::Other));
    assert_eq!(flash.erase(0, 4096), Err(NorFlashErrorKind::Other));
}

fn reading(started_us: u64, duration_ms: u32) -> Vec<u8> {
    let reading = Reading {
        survey: 7,
        pin: Pin { note: 40, string: StringPosition::Left },
        started: DeviceTime::from_microseconds(started_us),
        duration_ms,
        outcome: Outcome::Spoiled,
        flags: 0,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: None,
        net_rotation: Angle::default(),
        excursion_flat: Angle::default(),
        excursion_sharp: Angle::default(),
        temperature_centi_celsius: 2000,
        attitude_milli_g: [0, 0, 1000],
        calibration: 0,
        samples: SampleCoverage::None,
        strokes: Default::default(),
    };
    let mut bytes = [0; RECORD_BYTES_MAX];
    let byte_count = encode_record(&reading, &mut bytes).expect("a record always fits");
    bytes[..byte_count].to_vec()
}

#[test]
fn the_clock_starts_behind_the_newest_reading() {
    let mut log = Log::mount(made(), 5, 9);
    assert_eq!(clock_start(&mut log), DeviceTime::default());
    for bytes in [reading(1_000_000, 3_000), reading(9_000_000, 2_000)] {
        log.make_room();
        assert!(log.push(&bytes).is_some());
    }
    let mut again = Log::mount(log.into_flash(), 5, 9);
    assert_eq!(clock_start(&mut again), DeviceTime::from_microseconds(11_001_000));
    // One that does not decode says nothing, and the one before it does.
    again.make_room();
    assert!(again.push(&[0xff, 0xff]).is_some());
    assert_eq!(clock_start(&mut again), DeviceTime::from_microseconds(11_001_000));
}

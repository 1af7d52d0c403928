//! A file of the machine the emulator runs on, by Arm semihosting.
//!
//! Each call stops the emulated processor until the host has answered; one takes some microseconds.
//! Operation numbers and parameter blocks after Arm's "Semihosting for AArch32 and AArch64" (PUB),
//! as QEMU does them.
//!
//! Deliberately not here: what the file holds (`pinhold_board_qemu::flash`).

use core::arch::asm;
use core::ffi::CStr;

use pinhold_board_qemu::feed::Halt;
use pinhold_board_qemu::flash::{FILE_NAME, FLASH_BYTES, FileBytes, FileFlash};

const OPEN: usize = 0x01;
const WRITE: usize = 0x05;
const READ: usize = 0x06;
const SEEK: usize = 0x0a;
const LENGTH: usize = 0x0c;

/// How OPEN is to open, as C's `r+b` and `w+b`.
const EXISTING: usize = 3;
const NEW: usize = 7;
/// What OPEN and LENGTH answer when they fail.
const FAILED: usize = usize::MAX;

const FILE_NAME_C: &CStr = c"lever-flash.bin";
const _: () = assert!(same(FILE_NAME_C.to_bytes(), FILE_NAME.as_bytes()));

const fn same(one: &[u8], other: &[u8]) -> bool {
    let mut index = 0;
    while index < one.len() && index < other.len() && one[index] == other[index] {
        index += 1;
    }
    index == one.len() && index == other.len()
}

/// Calls the emulator's host.
///
/// # Safety
/// `block` holds the operation's parameters: addresses in it are of memory that is valid for as
/// long, and in the way, as the operation uses it.
unsafe fn call(operation: usize, block: &[usize]) -> usize {
    let mut answer = operation;
    // SAFETY: the breakpoint with this number is a semihosting call, which takes r0 and r1, answers
    // in r0 and touches no other memory than the caller vouches for.
    unsafe { asm!("bkpt 0xab", inout("r0") answer, in("r1") block.as_ptr(), options(nostack)) };
    answer
}

/// An open file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct HostFile(usize);

impl HostFile {
    fn open(mode: usize) -> Option<HostFile> {
        let block = [FILE_NAME_C.as_ptr() as usize, mode, FILE_NAME_C.to_bytes().len()];
        // SAFETY: a name with its end, constant, and its length.
        let handle = unsafe { call(OPEN, &block) };
        (handle != FAILED).then_some(HostFile(handle))
    }

    fn length(self) -> usize {
        // SAFETY: no address in it.
        unsafe { call(LENGTH, &[self.0]) }
    }

    fn seek(self, offset: u32) -> bool {
        // SAFETY: no address in it.
        unsafe { call(SEEK, &[self.0, offset as usize]) == 0 }
    }
}

impl FileBytes for HostFile {
    fn read_at(&mut self, offset: u32, bytes: &mut [u8]) -> bool {
        let block = [self.0, bytes.as_mut_ptr() as usize, bytes.len()];
        // SAFETY: `bytes` is ours alone to be written to, and as long as is said.
        self.seek(offset) && unsafe { call(READ, &block) == 0 }
    }

    fn write_at(&mut self, offset: u32, bytes: &[u8]) -> bool {
        let block = [self.0, bytes.as_ptr() as usize, bytes.len()];
        // SAFETY: `bytes` is only read, and as long as is said.
        self.seek(offset) && unsafe { call(WRITE, &block) == 0 }
    }
}

/// The flash in its file, which is made where there is none.
pub(crate) fn open_flash() -> Result<FileFlash<HostFile>, Halt> {
    match HostFile::open(EXISTING) {
        Some(file) if file.length() == FLASH_BYTES => Ok(FileFlash::new(file)),
        Some(_) => Err(Halt::FlashLength),
        None => HostFile::open(NEW).and_then(FileFlash::make).ok_or(Halt::FlashFile),
    }
}

//! What the bench needs of the emulated board: timer, stack, a way to say something, an end.

use core::fmt::{self, Write};
use core::panic::PanicInfo;
use core::ptr;

use cortex_m::asm;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::entry;

use crate::cost;

/// The timer's ticks take 40 ns (25 MHz), an instruction 64.
const INSTRUCTIONS_IN_EIGHT_TICKS: u64 = 5;
/// The system timer counts down from here and over.
const TICKS: u32 = 0x00ff_ffff;

/// Semihosting: write a string that ends with zero.
const SYS_WRITE0: u32 = 0x04;
/// Semihosting: end the emulation.
const SYS_EXIT: u32 = 0x18;
/// Why: the program is done.
const APPLICATION_EXIT: u32 = 0x2_0026;

/// Painted below the stack pointer.
const PAINT: u32 = 0x5AA5_C33C;
/// Bytes painted: four times what the whole firmware may use.
const PAINTED_BYTES: usize = 64 * 1024;
/// Bytes below the stack pointer that the painting itself may use.
const MARGIN_BYTES: usize = 256;

/// Writes to the emulator's console.
pub(crate) struct Console;

impl Write for Console {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let mut buffer = [0u8; 65];
        for part in text.as_bytes().chunks(buffer.len() - 1) {
            buffer.fill(0);
            buffer[..part.len()].copy_from_slice(part);
            // SAFETY: the buffer ends with a zero and outlives the call, which only reads it.
            unsafe { asm::semihosting_syscall(SYS_WRITE0, buffer.as_ptr() as u32) };
        }
        Ok(())
    }
}

/// Counts instructions.
pub(crate) struct Counter {
    /// Ticks that nothing takes.
    idle_ticks: u32,
}

impl Counter {
    fn new(mut timer: SYST) -> Counter {
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(TICKS);
        timer.clear_current();
        timer.enable_counter();
        let mut counter = Counter { idle_ticks: 0 };
        counter.idle_ticks = counter.ticks(|| ());
        counter
    }

    #[inline(never)]
    fn ticks(&mut self, mut work: impl FnMut()) -> u32 {
        let before = SYST::get_current();
        work();
        before.wrapping_sub(SYST::get_current()) & TICKS
    }

    /// Ticks `work` takes; less than 16 million, or it shows too few.
    pub(crate) fn count(&mut self, work: impl FnMut()) -> u64 {
        u64::from(self.ticks(work).saturating_sub(self.idle_ticks))
    }
}

/// Instructions in so many ticks.
pub(crate) fn instructions(ticks: u64) -> u64 {
    (ticks * INSTRUCTIONS_IN_EIGHT_TICKS).div_ceil(8)
}

/// Bytes of stack `work` takes, itself included.
#[inline(never)]
pub(crate) fn stack_bytes(work: impl FnOnce()) -> usize {
    let top = stack_pointer() - MARGIN_BYTES;
    let bottom = top - PAINTED_BYTES;
    for address in (bottom..top).step_by(4) {
        // SAFETY: RAM below the stack pointer, which nothing uses: the board has 4 MiB, the statics
        // lie at its other end, and no interrupt is enabled.
        unsafe { ptr::write_volatile(address as *mut u32, PAINT) };
    }
    work();
    let untouched = (bottom..top).step_by(4).take_while(|address| {
        // SAFETY: as above; written just before.
        unsafe { ptr::read_volatile(*address as *const u32) == PAINT }
    });
    // The margin too: what was called had it first.
    PAINTED_BYTES + MARGIN_BYTES - 4 * untouched.count()
}

/// Within a few bytes.
fn stack_pointer() -> usize {
    let here = 0u32;
    (ptr::from_ref(core::hint::black_box(&here)) as usize) & !7
}

fn end() -> ! {
    // SAFETY: ends the emulation; nothing runs behind it.
    unsafe { asm::semihosting_syscall(SYS_EXIT, APPLICATION_EXIT) };
    loop {
        asm::wfi();
    }
}

#[entry]
fn main() -> ! {
    let Some(parts) = cortex_m::Peripherals::take() else { end() };
    let mut counter = Counter::new(parts.SYST);
    let said = cost::report(&mut counter, &mut Console);
    if said.is_ok() {
        let _ = Console.write_str("end\n");
    }
    end()
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    let _ = writeln!(Console, "panic: {info}");
    end()
}

//! The main loop, the vector table and the last words.

use core::mem::MaybeUninit;
use core::panic::PanicInfo;

use cortex_m::interrupt::{self, InterruptNumber};
use cortex_m::peripheral::NVIC;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use pinhold_board_qemu::feed::{
    FROM_BOARD_BYTES_MAX, FeedReader, Frame, FromBoard, Halt, RECEIVED_BYTES_MAX, SYNC, SyncFinder,
    ToBoard,
};
use pinhold_board_qemu::flash::{FileFlash, Log, clock_start};
use pinhold_lever::{Identity, Input, Lever, Signals};
use pinhold_protocol::units::DeviceTime;

use crate::semihosting::{HostFile, open_flash};
use crate::uart::{FEED, LINK};

/// Log frames one input may cause: the bytes received, and the signals they change.
const LOG_BYTES_PER_INPUT_MAX: usize = 2 * FROM_BOARD_BYTES_MAX;
/// Feed bytes looked at in one turn, so that the link is never kept waiting.
const FEED_BYTES_PER_TURN_MAX: usize = 512;

#[derive(Clone, Copy)]
struct Irq(u16);

// SAFETY: the numbers in `IRQS` are interrupt lines of this board, below the table's length.
unsafe impl InterruptNumber for Irq {
    fn number(self) -> u16 {
        self.0
    }
}

/// UART0 and UART1, receive and transmit (QEMU hw/arm/mps2.c).
const IRQS: [Irq; 4] = [Irq(0), Irq(1), Irq(2), Irq(3)];

unsafe extern "C" fn link_interrupt() {
    LINK.pump();
}

unsafe extern "C" fn feed_interrupt() {
    FEED.pump();
}

/// The interrupt vectors this board uses; the others are never enabled.
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
static __INTERRUPTS: [unsafe extern "C" fn(); IRQS.len()] =
    [link_interrupt, link_interrupt, feed_interrupt, feed_interrupt];

fn log(frame: FromBoard<'_>) {
    frame.write(|byte| FEED.put(byte));
}

type BoardLever = Lever<Log<HostFile>>;

/// What a start takes, once: the flash, and room for the lever that no stack could spare.
struct Parts {
    flash: FileFlash<HostFile>,
    room: &'static mut MaybeUninit<BoardLever>,
}

/// Builds the lever where it stays. By itself, so that no copy of it is on the stack.
#[inline(never)]
fn build(
    room: &'static mut MaybeUninit<BoardLever>,
    identity: Identity,
    records: Log<HostFile>,
) -> &'static mut BoardLever {
    room.write(Lever::with_log(identity, records))
}

/// The core, its clock and the log of what it is handed.
struct Running {
    lever: &'static mut BoardLever,
    signals: Signals,
    started_us: u64,
    sample_period_ns: u32,
    sample_count: u64,
    input_count: u32,
}

impl Running {
    #[inline(never)]
    fn new(identity: Identity, Parts { flash, room }: Parts) -> Running {
        let mut records = Log::mount(flash, identity.device, identity.epoch);
        let started = clock_start(&mut records);
        let lever = build(room, identity, records);
        // The first step only asks what to show.
        let signals = lever.step(started, Input::Tick);
        log(FromBoard::Signals { input_count: 0, signals });
        let started_us = started.microseconds();
        let sample_period_ns = identity.sample_period_ns;
        Running { lever, signals, started_us, sample_period_ns, sample_count: 0, input_count: 0 }
    }

    /// Time is the samples, behind all that was before.
    fn now(&self) -> DeviceTime {
        let elapsed_ns = self.sample_count.wrapping_mul(u64::from(self.sample_period_ns));
        DeviceTime::from_microseconds(self.started_us.saturating_add(elapsed_ns / 1000))
    }

    /// Hands one input to the core and logs a change of signals.
    fn step(&mut self, input: Input<'_>) {
        match input {
            Input::Sample(_) => self.sample_count += 1,
            Input::Missed(count) => self.sample_count += u64::from(count),
            _ => {}
        }
        if !matches!(input, Input::Received(_)) {
            self.input_count = self.input_count.wrapping_add(1);
        }
        let now = self.now();
        let signals = self.lever.step(now, input);
        if signals != self.signals {
            self.signals = signals;
            log(FromBoard::Signals { input_count: self.input_count, signals });
        }
    }

    /// Bytes from the host, if any and if there is room to log them.
    fn receive(&mut self) {
        if LINK.is_quiet() || FEED.room() < LOG_BYTES_PER_INPUT_MAX {
            return;
        }
        let mut bytes = [0; RECEIVED_BYTES_MAX];
        let mut byte_count = 0;
        for (slot, byte) in bytes.iter_mut().zip(core::iter::from_fn(|| LINK.take())) {
            *slot = byte;
            byte_count += 1;
        }
        let bytes = bytes.get(..byte_count).unwrap_or(&[]);
        log(FromBoard::Received { input_count: self.input_count, bytes });
        self.step(Input::Received(bytes));
    }

    /// Bytes to the host, as many as the queue takes.
    fn send(&mut self) {
        let mut byte_count: u16 = 0;
        while LINK.room() > 0 && FEED.room() >= FROM_BOARD_BYTES_MAX {
            let pending = self.lever.pending();
            let taken = pending.len().min(LINK.room()).min(usize::from(u16::MAX - byte_count));
            if taken == 0 {
                break;
            }
            pending.iter().take(taken).for_each(|byte| LINK.put(*byte));
            self.lever.sent(taken);
            byte_count += taken as u16;
        }
        if byte_count > 0 {
            log(FromBoard::Sent { input_count: self.input_count, byte_count });
        }
    }
}

/// Handles one whole frame of the feed; `None` when the feed is malformed.
fn feed_frame(
    running: &mut Option<Running>,
    parts: &mut Option<Parts>,
    frame: Frame<'_>,
) -> Option<()> {
    let Frame::ToBoard(frame) = frame else { return None };
    match (frame, running) {
        (ToBoard::Hello { device, epoch, sample_period_ns }, running @ None) => {
            let identity = Identity { device, epoch, sample_period_ns };
            *running = Some(Running::new(identity, parts.take()?));
        }
        (ToBoard::Samples(samples), Some(running)) => {
            for sample in samples.iter() {
                wait_for_log_room();
                running.step(Input::Sample(sample));
            }
        }
        (ToBoard::Motion(motion), Some(running)) => running.step(Input::Motion(motion)),
        (ToBoard::Missed(count), Some(running)) => running.step(Input::Missed(count)),
        (ToBoard::EndOfBatch, Some(running)) => {
            log(FromBoard::Credit { input_count: running.input_count });
        }
        (ToBoard::Hello { .. }, Some(_)) | (_, None) => return None,
    }
    Some(())
}

/// Sleeps until the log has room for what one more input may cause.
fn wait_for_log_room() {
    while FEED.room() < LOG_BYTES_PER_INPUT_MAX {
        sleep_unless(|| FEED.room() >= LOG_BYTES_PER_INPUT_MAX);
    }
}

/// Moves bytes, then sleeps until an interrupt unless `busy`.
///
/// With interrupts masked between the check and the sleep, one that comes in between still ends
/// the sleep (it is pending), and none is slept through.
fn sleep_unless(busy: impl Fn() -> bool) {
    interrupt::free(|_| {
        LINK.pump();
        FEED.pump();
        if !busy() {
            cortex_m::asm::wfi();
        }
    });
}

#[entry]
fn main() -> ! {
    LINK.start();
    FEED.start();
    for irq in IRQS {
        // SAFETY: the handlers only use the UARTs' atomic queues, and nothing relies on these
        // interrupts being masked.
        unsafe { NVIC::unmask(irq) };
    }
    // Past the queue, as last words go: what follows may be why the board cannot start.
    SYNC.iter().for_each(|byte| FEED.put_now(*byte));
    let flash = open_flash().unwrap_or_else(|reason| halt(reason));
    // Taken once, here: `None` cannot be.
    let room = cortex_m::singleton!(LEVER: MaybeUninit<BoardLever> = MaybeUninit::uninit());
    let mut parts = room.map(|room| Parts { flash, room });
    let mut running: Option<Running> = None;
    log(FromBoard::Ready);
    wait_for_sync();
    let mut reader = FeedReader::new();
    loop {
        if let Some(running) = running.as_mut() {
            running.receive();
        }
        for _ in 0..FEED_BYTES_PER_TURN_MAX {
            wait_for_log_room();
            let Some(byte) = FEED.take() else { break };
            let taken = match reader.push(byte) {
                Ok(None) => Some(()),
                Ok(Some(frame)) => feed_frame(&mut running, &mut parts, frame),
                Err(_) => None,
            };
            if taken.is_none() {
                halt(Halt::Feed);
            }
        }
        if let Some(running) = running.as_mut() {
            running.send();
        }
        let core_waits = running.is_some();
        sleep_unless(|| !FEED.is_quiet() || (core_waits && !LINK.is_quiet()));
    }
}

/// Skips what a reset cut short.
fn wait_for_sync() {
    let mut finder = SyncFinder::default();
    loop {
        match FEED.take() {
            Some(byte) if finder.push(byte) => return,
            Some(_) => {}
            None => sleep_unless(|| !FEED.is_quiet()),
        }
    }
}

/// Says why on the feed, past the queue, and stops for good.
fn halt(reason: Halt) -> ! {
    interrupt::disable();
    FromBoard::Halted(reason).write(|byte| FEED.put_now(byte));
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    // Keeps the places that can panic in the ELF, where the runner reads them.
    core::hint::black_box(info.location());
    halt(Halt::Panic)
}

#[exception]
unsafe fn HardFault(_frame: &ExceptionFrame) -> ! {
    halt(Halt::Fault)
}

#[exception]
unsafe fn DefaultHandler(_number: i16) -> ! {
    halt(Halt::Fault)
}

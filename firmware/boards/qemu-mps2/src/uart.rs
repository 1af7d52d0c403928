//! The board's UARTs (Arm CMSDK APB UART) with a queue each way.
//!
//! Registers after Arm's "Cortex-M System Design Kit" manual, APB UART programmer's model (MEM),
//! as QEMU models them. Flow control is by leaving a byte in the receiver: QEMU sends no other
//! until it is read.

use core::ptr;

use pinhold_drivers::ring::Ring;

/// Bytes a queue holds.
const QUEUE_BYTES: usize = 512;

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CONTROL: usize = 0x08;
const INTERRUPT_CLEAR: usize = 0x0c;
const BAUD_DIVIDER: usize = 0x10;

const STATE_TRANSMITTER_FULL: u32 = 1 << 0;
const STATE_RECEIVER_FULL: u32 = 1 << 1;
const CONTROL_BOTH_WAYS: u32 = 0b11;
const CONTROL_TRANSMIT_INTERRUPT: u32 = 1 << 2;
const CONTROL_RECEIVE_INTERRUPT: u32 = 1 << 3;
const INTERRUPT_TRANSMIT: u32 = 1 << 0;
const INTERRUPT_RECEIVE: u32 = 1 << 1;

/// One UART and its two queues. Interrupt handlers and the main loop share it.
/// Its registers begin at `BASE`, which is no field, so that the queues take no room in flash.
pub(crate) struct Uart<const BASE: usize> {
    received: Ring<QUEUE_BYTES>,
    to_send: Ring<QUEUE_BYTES>,
}

/// UART0, the link to the host.
pub(crate) static LINK: Uart<0x4000_4000> = Uart::new();
/// UART1, the sensor feed.
pub(crate) static FEED: Uart<0x4000_5000> = Uart::new();

impl<const BASE: usize> Uart<BASE> {
    const fn new() -> Self {
        Uart { received: Ring::new(), to_send: Ring::new() }
    }

    fn read(&self, register: usize) -> u32 {
        let address = (BASE + register) as *const u32;
        // SAFETY: `BASE` is one of the board's two UARTs and `register` an aligned offset of one
        // of its registers, always mapped; reading them has no effect on memory.
        unsafe { ptr::read_volatile(address) }
    }

    fn write(&self, register: usize, value: u32) {
        let address = (BASE + register) as *mut u32;
        // SAFETY: as in `read`; the UART has no access to memory of its own.
        unsafe { ptr::write_volatile(address, value) }
    }

    /// Turns the UART on, both ways, with interrupts.
    pub(crate) fn start(&self) {
        // Any divider from 16 up will do: emulated lines have no baud rate.
        self.write(BAUD_DIVIDER, 16);
        self.write(
            CONTROL,
            CONTROL_BOTH_WAYS | CONTROL_TRANSMIT_INTERRUPT | CONTROL_RECEIVE_INTERRUPT,
        );
    }

    /// Moves what it can between the registers and the queues. Called from the UART's interrupt,
    /// and by the main loop with interrupts off.
    pub(crate) fn pump(&self) {
        self.write(INTERRUPT_CLEAR, INTERRUPT_TRANSMIT | INTERRUPT_RECEIVE);
        for _ in 0..QUEUE_BYTES {
            let wanted = self.received.free() > 0;
            if !wanted || self.read(STATE) & STATE_RECEIVER_FULL == 0 {
                break;
            }
            self.received.push(self.read(DATA) as u8);
        }
        for _ in 0..QUEUE_BYTES {
            if self.read(STATE) & STATE_TRANSMITTER_FULL != 0 {
                break;
            }
            match self.to_send.pop() {
                Some(byte) => self.write(DATA, u32::from(byte)),
                None => break,
            }
        }
    }

    /// Nothing for the main loop to read.
    pub(crate) fn is_quiet(&self) -> bool {
        self.received.is_empty()
    }

    /// The oldest byte received. Main loop only.
    pub(crate) fn take(&self) -> Option<u8> {
        self.received.pop()
    }

    /// Bytes that can be queued for sending.
    pub(crate) fn room(&self) -> usize {
        self.to_send.free()
    }

    /// Queues a byte; the caller has made sure of [`Uart::room`]. Main loop only.
    pub(crate) fn put(&self, byte: u8) {
        self.to_send.push(byte);
    }

    /// Sends a byte past the queue, waiting for the transmitter; for first and
    /// last words only.
    pub(crate) fn put_now(&self, byte: u8) {
        const POLL_COUNT_MAX: u32 = 1_000_000;
        for _ in 0..POLL_COUNT_MAX {
            if self.read(STATE) & STATE_TRANSMITTER_FULL == 0 {
                break;
            }
        }
        self.write(DATA, u32::from(byte));
    }
}

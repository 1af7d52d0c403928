//! The serial link to the host: received bytes by interrupt, sent bytes by DMA from the main loop.

use core::cell::RefCell;

use cortex_m::interrupt::{Mutex, free};
use embedded_hal_02::serial::Write as _;
use embedded_io::{Read as _, ReadReady as _};
use nrf52840_hal::gpio::{Floating, Input, Output, Pin, PushPull};
use nrf52840_hal::pac::{UARTE0, interrupt};
use nrf52840_hal::uarte::{Baudrate, Parity, Pins, Uarte, UarteRx, UarteTx};
use pinhold_drivers::ring::Ring;

/// Bytes one DMA transfer sends: 0.7 ms at 921,600 baud.
const SEND_BYTES_MAX: usize = 64;
/// Bytes taken in one interrupt; the receiver's own buffer holds 6.
const TAKE_BYTES_MAX: usize = 8;

/// 5 ms at 921,600 baud; where the processor stands still for longer, the request line holds the
/// host up.
static RECEIVED: Ring<512> = Ring::new();
static RECEIVER: Mutex<RefCell<Option<UarteRx<UARTE0>>>> = Mutex::new(RefCell::new(None));

/// The link's pins.
pub(crate) struct LinkPins {
    pub(crate) send: Pin<Output<PushPull>>,
    pub(crate) receive: Pin<Input<Floating>>,
    pub(crate) request: Pin<Output<PushPull>>,
    pub(crate) clear: Pin<Input<Floating>>,
}

/// The sending half and the queue of what was received.
pub(crate) struct Link {
    sender: UarteTx<UARTE0>,
}

impl Link {
    /// Sets up the serial port and arms the receiver; `None` if called a second time.
    pub(crate) fn start(serial: UARTE0, pins: LinkPins) -> Option<Link> {
        let send_buffer = cortex_m::singleton!(: [u8; SEND_BYTES_MAX] = [0; SEND_BYTES_MAX])?;
        let receive_buffer = cortex_m::singleton!(: [u8; 1] = [0; 1])?;
        serial.intenset.write(|w| w.endrx().set_bit());
        let pins = Pins {
            txd: pins.send,
            rxd: pins.receive,
            rts: Some(pins.request),
            cts: Some(pins.clear),
        };
        let serial = Uarte::new(serial, pins, Parity::EXCLUDED, Baudrate::BAUD921600);
        let (sender, receiver) = serial.split(send_buffer, receive_buffer).ok()?;
        free(|token| {
            // Free to borrow: nothing else holds it across the end of a critical section.
            if let Ok(mut slot) = RECEIVER.borrow(token).try_borrow_mut() {
                *slot = Some(receiver);
            }
        });
        take_received();
        Some(Link { sender })
    }

    /// Nothing was received.
    pub(crate) fn is_quiet(&self) -> bool {
        RECEIVED.is_empty()
    }

    /// Moves received bytes into `buffer`; returns how many.
    pub(crate) fn receive(&mut self, buffer: &mut [u8]) -> usize {
        let bytes = core::iter::from_fn(|| RECEIVED.pop());
        buffer.iter_mut().zip(bytes).map(|(slot, byte)| *slot = byte).count()
    }

    /// Starts sending the front of `pending` if the line is free; returns how many bytes it took.
    pub(crate) fn send(&mut self, pending: &[u8]) -> usize {
        // The first flush closes a finished transfer, the last one starts the next.
        if pending.is_empty() || self.sender.flush().is_err() {
            return 0;
        }
        let mut taken = 0;
        for byte in pending.iter().take(SEND_BYTES_MAX) {
            if self.sender.write(*byte).is_err() {
                break;
            }
            taken += 1;
        }
        // Would-block is what a transfer under way says.
        match self.sender.flush() {
            Ok(()) | Err(nb::Error::WouldBlock) => {}
            // The sender was stopped from outside, which nothing here does; the frame's checksum
            // tells the host.
            Err(nb::Error::Other(_)) => {}
        }
        taken
    }
}

fn take_received() {
    free(|token| {
        let Ok(mut receiver) = RECEIVER.borrow(token).try_borrow_mut() else { return };
        let Some(receiver) = receiver.as_mut() else { return };
        for _ in 0..TAKE_BYTES_MAX {
            // Asking also arms the receiver for the next byte.
            if !matches!(receiver.read_ready(), Ok(true)) {
                break;
            }
            let mut byte = [0];
            if receiver.read(&mut byte).is_ok() {
                // A full queue loses the byte; the frame it was in fails its checksum and the
                // host asks again.
                let [byte] = byte;
                RECEIVED.push(byte);
            }
        }
    });
}

#[interrupt]
fn UARTE0_UART0() {
    take_received();
}

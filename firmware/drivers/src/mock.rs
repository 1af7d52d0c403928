//! An SPI device for tests: expects transactions in order and answers them.

use core::convert::Infallible;
use std::collections::VecDeque;

use embedded_hal::spi::{ErrorType, Operation, SpiDevice};

/// One chip-select: the bytes the driver must send, and the bytes it gets meanwhile.
struct Exchange {
    sent: Vec<u8>,
    answered: Vec<u8>,
}

/// Expects exchanges in order; [`MockSpi::done`] asserts that all of them happened.
#[derive(Default)]
pub(crate) struct MockSpi {
    exchanges: VecDeque<Exchange>,
}

impl MockSpi {
    /// The driver must send `sent` and nothing is answered.
    pub(crate) fn expect_write(mut self, sent: &[u8]) -> Self {
        self.exchanges.push_back(Exchange { sent: sent.to_vec(), answered: Vec::new() });
        self
    }

    /// The driver must send `sent` and then read exactly `answered`.
    pub(crate) fn expect_read(mut self, sent: &[u8], answered: &[u8]) -> Self {
        self.exchanges.push_back(Exchange { sent: sent.to_vec(), answered: answered.to_vec() });
        self
    }

    /// Nothing expected is left over.
    pub(crate) fn done(self) {
        assert!(self.exchanges.is_empty(), "{} exchanges never happened", self.exchanges.len());
    }
}

impl ErrorType for MockSpi {
    type Error = Infallible;
}

impl SpiDevice for MockSpi {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let mut exchange = self.exchanges.pop_front().expect("an exchange nobody expected");
        let mut sent = Vec::new();
        for operation in operations {
            match operation {
                Operation::Write(bytes) => sent.extend_from_slice(bytes),
                Operation::Read(buffer) => {
                    assert!(exchange.answered.len() >= buffer.len(), "reads more than is there");
                    let rest = exchange.answered.split_off(buffer.len());
                    buffer.copy_from_slice(&exchange.answered);
                    exchange.answered = rest;
                }
                Operation::DelayNs(_) => {}
                Operation::Transfer(..) | Operation::TransferInPlace(_) => {
                    panic!("the drivers write, then read")
                }
            }
        }
        assert_eq!(sent, exchange.sent);
        assert!(exchange.answered.is_empty(), "{} bytes unread", exchange.answered.len());
        Ok(())
    }
}

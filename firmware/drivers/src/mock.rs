//! What the drivers' tests run on: `embedded-hal-mock`'s SPI device, which expects transactions in
//! order and answers them, and one that fails at a chosen transaction.

use embedded_hal::spi::{ErrorKind, ErrorType, Operation, SpiDevice};
use embedded_hal_mock::eh1::spi::{Mock, Transaction};

/// What happens between two edges of the chip select.
#[derive(Clone, Copy)]
pub(crate) enum Exchange<'a> {
    /// The driver sends these bytes.
    Write(&'a [u8]),
    /// The driver sends the first and then reads the second.
    Read(&'a [u8], &'a [u8]),
    /// The driver sends these bytes and waits, nanoseconds.
    WriteThenWait(&'a [u8], u32),
}

/// A device that expects these exchanges, all of them and in order.
pub(crate) fn device(exchanges: &[Exchange<'_>]) -> Mock<u8> {
    let mut expected = Vec::new();
    for exchange in exchanges {
        expected.push(Transaction::transaction_start());
        match exchange {
            Exchange::Write(sent) => expected.push(Transaction::write_vec(sent.to_vec())),
            Exchange::Read(sent, answered) => {
                expected.push(Transaction::write_vec(sent.to_vec()));
                expected.push(Transaction::read_vec(answered.to_vec()));
            }
            Exchange::WriteThenWait(sent, wait_ns) => {
                expected.push(Transaction::write_vec(sent.to_vec()));
                expected.push(Transaction::delay(*wait_ns));
            }
        }
        expected.push(Transaction::transaction_end());
    }
    Mock::new(&expected)
}

/// A device whose bus fails at one transaction; those before it go to the mock within.
pub(crate) struct FailsAt {
    pub(crate) inner: Mock<u8>,
    pub(crate) good_transactions: usize,
}

impl ErrorType for FailsAt {
    type Error = ErrorKind;
}

impl SpiDevice for FailsAt {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
        let Some(left) = self.good_transactions.checked_sub(1) else {
            return Err(ErrorKind::ModeFault);
        };
        self.good_transactions = left;
        self.inner.transaction(operations)
    }
}

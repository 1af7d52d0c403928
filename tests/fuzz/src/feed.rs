//! The emulated board's sample feed.

use pinhold_board_qemu::feed::{FeedReader, Frame, ToBoard, write_samples};
use pinhold_lever::RawSample;

/// For [`run`].
pub fn seeds() -> Vec<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut put = |byte| bytes.push(byte);
    ToBoard::Hello { device: 3, epoch: 9, sample_period_ns: 1_000_000 }.write(&mut put);
    write_samples(&[RawSample { bridge_code: -70_000, rate_count: 12 }; 3], &mut put);
    ToBoard::Missed(4).write(&mut put);
    ToBoard::EndOfBatch.write(&mut put);
    vec![bytes]
}

/// Bytes to either side: what is understood is written as it came.
pub fn run(bytes: &[u8]) {
    let mut reader = FeedReader::new();
    for byte in bytes {
        match reader.push(*byte) {
            Ok(None) => {}
            Ok(Some(Frame::ToBoard(frame))) => frame.write(|_| {}),
            Ok(Some(Frame::FromBoard(frame))) => frame.write(|_| {}),
            Err(_) => return,
        }
    }
}

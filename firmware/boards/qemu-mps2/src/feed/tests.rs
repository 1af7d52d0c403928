//! Every frame there and back, and what no frame can be.

use std::vec::Vec;

use super::*;

/// Reads `bytes` one by one and hands each whole frame to `check`; returns how many there were.
fn read(bytes: &[u8], mut check: impl FnMut(Frame<'_>)) -> Result<usize, FeedError> {
    let mut reader = FeedReader::new();
    let mut frame_count = 0;
    for byte in bytes {
        if let Some(frame) = reader.push(*byte)? {
            check(frame);
            frame_count += 1;
        }
    }
    Ok(frame_count)
}

#[test]
fn every_frame_to_the_board_comes_back_as_written() {
    let motion =
        RawMotion { acceleration_milli_g: [-1000, 3, i16::MAX], temperature_centi_celsius: -1234 };
    let frames = [
        ToBoard::Hello { device: u64::MAX - 5, epoch: 7, sample_period_ns: 2_500_000 },
        ToBoard::Motion(motion),
        ToBoard::Missed(u32::MAX),
        ToBoard::EndOfBatch,
    ];
    for wanted in frames {
        let mut bytes = Vec::new();
        wanted.write(|byte| bytes.push(byte));
        let count = read(&bytes, |frame| assert_eq!(frame, Frame::ToBoard(wanted)));
        assert_eq!(count, Ok(1));
    }
}

#[test]
fn samples_keep_their_order_and_their_extremes() {
    let samples: Vec<RawSample> = (0..40)
        .map(|number| RawSample {
            bridge_code: if number == 0 { -8_388_608 } else { 8_388_607 - number },
            rate_count: if number == 0 { i16::MIN } else { number as i16 },
        })
        .collect();
    let mut bytes = Vec::new();
    write_samples(&samples, |byte| bytes.push(byte));
    assert_eq!(bytes.len(), FRAME_BYTES_MAX);
    let count = read(&bytes, |frame| match frame {
        Frame::ToBoard(ToBoard::Samples(read)) => {
            assert_eq!(read.iter().collect::<Vec<_>>(), samples);
        }
        other => panic!("{other:?}"),
    });
    assert_eq!(count, Ok(1));
}

#[test]
fn every_frame_from_the_board_comes_back_as_written() {
    let lamps = [
        Lamp::Idle,
        Lamp::Seat,
        Lamp::Ready,
        Lamp::Moving,
        Lamp::Accepted,
        Lamp::Repeat,
        Lamp::Hard,
        Lamp::Stop,
        Lamp::TooFar,
        Lamp::Zero,
        Lamp::Full,
        Lamp::BatteryLow,
        Lamp::Fault(Fault::ConverterSilent),
        Lamp::Fault(Fault::PeriodOff),
    ];
    let pin = Some(Pin { note: 88, string: StringPosition::Right });
    let mut frames = vec![
        FromBoard::Ready,
        FromBoard::Credit { input_count: 5 },
        FromBoard::Received { input_count: 9, bytes: &[0; RECEIVED_BYTES_MAX] },
        FromBoard::Sent { input_count: 9, byte_count: u16::MAX },
        FromBoard::Halted(Halt::Panic),
        FromBoard::Halted(Halt::Fault),
        FromBoard::Halted(Halt::Feed),
        FromBoard::Halted(Halt::FlashFile),
        FromBoard::Halted(Halt::FlashLength),
    ];
    frames.extend(lamps.map(|lamp| FromBoard::Signals {
        input_count: u32::MAX,
        signals: Signals {
            lamp,
            beep: lamp == Lamp::Accepted,
            pin: pin.filter(|_| lamp != Lamp::Idle),
            asleep: false,
        },
    }));
    for wanted in frames {
        let mut bytes = Vec::new();
        wanted.write(|byte| bytes.push(byte));
        assert!(bytes.len() <= FROM_BOARD_BYTES_MAX);
        let count = read(&bytes, |frame| assert_eq!(frame, Frame::FromBoard(wanted)));
        assert_eq!(count, Ok(1));
    }
}

#[test]
fn what_no_frame_can_be_is_refused_at_its_byte() {
    assert_eq!(read(&[0x77], |_| ()), Err(FeedError::Kind(0x77)));
    assert_eq!(read(&[SAMPLES, 0], |_| ()), Err(FeedError::Count(0)));
    assert_eq!(read(&[SAMPLES, 41], |_| ()), Err(FeedError::Count(41)));
    for lamp in [12, 31, 44, 255] {
        assert_eq!(read(&[SIGNALS, 0, 0, 0, 0, lamp, 0, 0, 0], |_| ()), Err(FeedError::Field));
    }
    assert_eq!(read(&[SIGNALS, 0, 0, 0, 0, 1, 0, 40, b'x'], |_| ()), Err(FeedError::Field));
    assert_eq!(read(&[HALTED, 0], |_| ()), Err(FeedError::Field));
    assert_eq!(read(&[HALTED, 6], |_| ()), Err(FeedError::Field));
    assert_eq!(read(&[HELLO, 1, 2], |_| ()), Ok(0));
}

#[test]
fn a_start_is_found_behind_a_frame_cut_short() {
    let mut cut = Vec::new();
    FromBoard::Received { input_count: u32::MAX, bytes: &[0xff; 40] }.write(|byte| cut.push(byte));
    for cut_at in 0..cut.len() {
        let mut finder = SyncFinder::default();
        let bytes = cut[..cut_at].iter().chain(&SYNC).copied();
        let found: Vec<usize> =
            bytes.enumerate().filter_map(|(at, byte)| finder.push(byte).then_some(at)).collect();
        assert_eq!(found, [cut_at + SYNC.len() - 1]);
    }
}

//! The encoding of messages, byte stuffing, checksum, clock.

use core::fmt::Debug;

use heapless::{String, Vec};
use pinhold_checks::{Case, Row, hex};
use pinhold_drivers::clock::elapsed_us;
use pinhold_protocol::CRC32;
use pinhold_protocol::error::DecodeError;
use pinhold_protocol::frame::{self, FrameReader};
use pinhold_protocol::stuffing::{stuff, stuffed_bytes_max, unstuff};
use serde::{Deserialize, Serialize};

fn stuffed(plain: &[u8]) -> std::vec::Vec<u8> {
    let mut bytes = vec![0; stuffed_bytes_max(plain.len())];
    let len = stuff(plain, &mut bytes).expect("room");
    bytes.truncate(len);
    bytes
}

fn unstuffed(stuffed: &[u8]) -> Result<std::vec::Vec<u8>, DecodeError> {
    let mut bytes = stuffed.to_vec();
    let len = unstuff(&mut bytes)?;
    bytes.truncate(len);
    Ok(bytes)
}

/// Checks the encoding of `value` both ways, and its stuffed form with the delimiter.
fn check_value<'a, T>(row: &Row, encoded: &'a [u8], value: &T)
where
    T: Serialize + Deserialize<'a> + PartialEq + Debug,
{
    let mut buffer = [0; 64];
    let written = postcard::to_slice(value, &mut buffer).expect("room");
    assert_eq!(written, encoded, "{value:?}");
    let (back, rest) = postcard::take_from_bytes::<T>(encoded).expect("readable");
    assert_eq!((&back, rest), (value, &[][..]));
    let mut on_the_wire = stuffed(encoded);
    on_the_wire.push(0);
    assert_eq!(on_the_wire, row.bytes("cobs_frame_hex"), "{value:?}");
}

fn integers(case: &Case) {
    for row in case.rows() {
        let encoded = row.bytes("encoded_hex");
        let text = row.text("value");
        macro_rules! check {
            ($kind:ty) => {
                check_value(&row, &encoded, &text.parse::<$kind>().expect("in range"))
            };
        }
        match row.text("type") {
            "u16" => check!(u16),
            "u32" => check!(u32),
            "u64" => check!(u64),
            "i8" => check!(i8),
            "i16" => check!(i16),
            "i32" => check!(i32),
            "i64" => check!(i64),
            other => panic!("type {other}"),
        }
    }
}

fn primitives(case: &Case) {
    for row in case.rows() {
        let encoded = row.bytes("encoded_hex");
        let (kind, text) = row.text("value").split_once(':').expect("type and value");
        match (kind, text) {
            ("f32", _) => check_value(&row, &encoded, &text.parse::<f32>().expect("f32")),
            ("f64", _) => check_value(&row, &encoded, &text.parse::<f64>().expect("f64")),
            ("bool", _) => check_value(&row, &encoded, &text.parse::<bool>().expect("bool")),
            ("str", _) => check_value(&row, &encoded, &text),
            ("char", _) => check_value(&row, &encoded, &text.parse::<char>().expect("char")),
            ("opt_u8", "none") => check_value(&row, &encoded, &None::<u8>),
            ("opt_u8", _) => check_value(&row, &encoded, &Some(text.parse::<u8>().expect("u8"))),
            ("vec_u8", _) => check_value(&row, &encoded, &list::<u8, 8>(text)),
            ("arr_u8_4", _) => {
                let array = list::<u8, 4>(text).into_array::<4>().expect("four");
                check_value(&row, &encoded, &array);
            }
            ("tuple", "(u8 7,u16 300,i32 -5)") => {
                check_value(&row, &encoded, &(7_u8, 300_u16, -5_i32));
            }
            other => panic!("value {other:?}"),
        }
    }
}

/// `[1,0,255]`
fn list<T: core::str::FromStr, const N: usize>(text: &str) -> Vec<T, N> {
    let inside = text.trim_start_matches('[').trim_end_matches(']');
    let parts = inside.split(',').filter(|part| !part.is_empty());
    parts.map(|part| part.trim().parse().ok().expect("element")).collect()
}

// The shapes of PRO-P03's `type_definitions`; names never reach the wire.

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Sample {
    t_us: u32,
    torque_raw: i32,
    angle_udeg: i32,
    flags: u8,
}

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Hello {
    proto: u16,
    serial: [u8; 4],
    name: String<16>,
    cal_mv_per_v: f32,
    offset: Option<i32>,
}

#[derive(Debug, PartialEq, Serialize, Deserialize)]
enum Msg {
    Ping,
    Sample(Sample),
    Batch { seq: u16, data: Vec<i16, 8> },
    Cal(i32, u32),
    Text(String<16>),
}

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Mix {
    a: bool,
    b: i8,
    c: u64,
    d: i64,
    e: f64,
    f: (u8, u16),
    g: Option<u8>,
    h: Vec<u8, 8>,
    c2: char,
}

fn text<const N: usize>(text: &str) -> String<N> {
    String::try_from(text).expect("short")
}

fn structs(case: &Case) {
    let sample =
        |t_us, torque_raw, angle_udeg, flags| Sample { t_us, torque_raw, angle_udeg, flags };
    for row in case.rows() {
        let bytes = row.bytes("encoded_hex");
        match row.text("value") {
            "Sample:1000000,-123456,2500000,5" => {
                check_value(&row, &bytes, &sample(1_000_000, -123_456, 2_500_000, 5));
            }
            "Sample:0,0,0,0" => check_value(&row, &bytes, &sample(0, 0, 0, 0)),
            "Sample:4294967295,8388607,-8388608,255" => {
                check_value(&row, &bytes, &sample(u32::MAX, 8_388_607, -8_388_608, 255));
            }
            "Hello:1,deadbeef,lever,2.0,None" => {
                let hello = Hello {
                    proto: 1,
                    serial: [0xde, 0xad, 0xbe, 0xef],
                    name: text("lever"),
                    cal_mv_per_v: 2.0,
                    offset: None,
                };
                check_value(&row, &bytes, &hello);
            }
            "Ping" => check_value(&row, &bytes, &Msg::Ping),
            "Sample(t_us 250, torque_raw 70000, angle_udeg -300, flags 1)" => {
                check_value(&row, &bytes, &Msg::Sample(sample(250, 70_000, -300, 1)));
            }
            "Batch(seq 513, data [0,-2,1000])" => {
                let data = list("[0,-2,1000]");
                check_value(&row, &bytes, &Msg::Batch { seq: 513, data });
            }
            "Text(\"ok\")" => check_value(&row, &bytes, &Msg::Text(text("ok"))),
            "Mix(true,-3,300,-300,-2.25,(9,1000),Some(0),[0,0,7],'°')" => {
                let mix = Mix {
                    a: true,
                    b: -3,
                    c: 300,
                    d: -300,
                    e: -2.25,
                    f: (9, 1000),
                    g: Some(0),
                    h: list("[0,0,7]"),
                    c2: '°',
                };
                check_value(&row, &bytes, &mix);
            }
            other => panic!("value {other}"),
        }
    }
    // The definitions name a variant that no row holds.
    assert_eq!(postcard::from_bytes(&[3, 0x01, 0x02]), Ok(Msg::Cal(-1, 2)));
}

fn acceptance(case: &Case) {
    for row in case.rows() {
        let bytes = row.bytes("bytes_hex");
        let behaviour = row.text("behaviour");
        let accepted = match row.text("type") {
            "u16" => postcard::from_bytes::<u16>(&bytes).ok().map(u32::from),
            "bool" => postcard::from_bytes::<bool>(&bytes).ok().map(u32::from),
            "Option<u8>" => postcard::from_bytes::<Option<u8>>(&bytes).ok().map(|_| 0),
            "Msg" => postcard::from_bytes::<Msg>(&bytes).ok().map(|_| 0),
            other => panic!("type {other}"),
        };
        match behaviour.strip_prefix("accept as ") {
            Some(value) => {
                let value = value.split(' ').next().and_then(|value| value.parse().ok());
                assert_eq!(accepted, Some(value.expect("value")), "{behaviour}");
            }
            None => {
                assert!(behaviour.starts_with("reject"), "{behaviour}");
                assert_eq!(accepted, None, "{bytes:02x?} {behaviour}");
            }
        }
    }
}

fn checked_frame(case: &Case) {
    let mut bytes = case.bytes("/inputs/message_hex");
    bytes.extend(CRC32.checksum(&bytes).to_le_bytes());
    assert_eq!(bytes, case.bytes("/expected/with_crc_hex"));
    let mut on_the_wire = stuffed(&bytes);
    on_the_wire.push(0);
    assert_eq!(on_the_wire, case.bytes("/expected/frame_hex"));
}

/// The input of a row, written out or described by its name.
fn stuffing_input(row: &Row) -> std::vec::Vec<u8> {
    let input: std::vec::Vec<u8> = match row.text("name") {
        "01..fd (253)" => (0x01..=0xfd).collect(),
        "01..fe (254)" => (0x01..=0xfe).collect(),
        "01..ff (255)" => (0x01..=0xff).collect(),
        "02..ff 00" => (0x02..=0xff).chain([0]).collect(),
        "01..fe 00" => (0x01..=0xfe).chain([0]).collect(),
        "254 x ff then 00" => std::iter::repeat_n(0xff, 254).chain([0]).collect(),
        "508 x 01" => vec![1; 508],
        "256 x 00" => vec![0; 256],
        _ => row.bytes("input_hex_if_short"),
    };
    assert_eq!(input.len() as f64, row.number("input_len"), "{}", row.text("name"));
    input
}

fn stuffing(case: &Case) {
    let mut ends_full_count = 0;
    for row in case.rows() {
        let input = stuffing_input(&row);
        let encoded = stuffed(&input);
        assert_eq!(encoded, row.bytes("encoded_hex_without_delimiter"), "{}", row.text("name"));
        let checksum = format!("{:08x}", CRC32.checksum(&encoded));
        assert_eq!(checksum, row.text("crc32_of_encoded"), "{}", row.text("name"));
        assert_eq!(unstuffed(&encoded), Ok(input.clone()));
        // After a final full group the other form carries an empty one: read all the same.
        if encoded.len().is_multiple_of(255) && !input.contains(&0) {
            let mut other_form = encoded;
            other_form.push(1);
            assert_eq!(unstuffed(&other_form), Ok(input));
            ends_full_count += 1;
        }
    }
    assert_eq!(ends_full_count, 2);
}

fn bad_stuffing(case: &Case) {
    for row in case.rows() {
        let got = unstuffed(&row.bytes("encoded_hex"));
        assert_eq!(got, Err(DecodeError::Framing), "{}", row.text("why"));
    }
}

fn checksum(case: &Case) {
    let rows = case.rows();
    let row = rows.iter().find(|row| row.text("name") == "CRC-32/ISO-HDLC").expect("row");
    let sample = case.bytes("/inputs/crc_sample_message_input_hex");
    let inputs: [(&str, &[u8]); 6] = [
        ("check_123456789", b"123456789"),
        ("crc_empty", b""),
        ("crc_00", &[0]),
        ("crc_ffffffff", &[0xff; 4]),
        ("crc_sample_message", &sample),
        ("crc_ascii_pinhold", b"pinhold"),
    ];
    for (column, input) in inputs {
        let got = format!("{:#010x}", CRC32.checksum(input));
        assert_eq!(got, row.text(column), "{column}");
    }
}

fn resynchronising(case: &Case) {
    let (mut whole, mut error_count) = (Vec::<_, 4>::new(), 0);
    let stream = case.bytes("/inputs/stream_hex");
    for piece in stream.split(|byte| *byte == 0).filter(|piece| !piece.is_empty()) {
        match unstuffed(piece) {
            Ok(plain) => whole.push(plain).expect("few"),
            Err(_) => error_count += 1,
        }
    }
    let expected: std::vec::Vec<_> = (0..case.count("/expected/frames_ok_hex"))
        .map(|index| case.bytes(&format!("/expected/frames_ok_hex/{index}")))
        .collect();
    assert_eq!(whole.as_slice(), expected);
    assert_eq!(f64::from(error_count), case.number("/expected/errors"));

    // The same damage to frames of our own: the middle one's first code byte altered, then the
    // line joined midway through the first.
    let bodies = [expected[0].clone(), hex("01 fa 01"), expected[1].clone()];
    let mut ours = std::vec::Vec::new();
    let mut second_from = 0;
    for (sequence, body) in (0_u16..).zip(&bodies) {
        let mut bytes = [0; frame::WIRE_BYTES_MAX];
        let write = |room: &mut [u8]| {
            room[..body.len()].copy_from_slice(body);
            Ok(body.len())
        };
        let len = frame::encode(1, sequence, write, &mut bytes).expect("room");
        if sequence == 1 {
            second_from = ours.len();
        }
        ours.extend_from_slice(&bytes[..len]);
    }
    let mut damaged = ours.clone();
    damaged[second_from] ^= 0x40;
    assert_eq!(read(&damaged), (vec![bodies[0].clone(), bodies[2].clone()], 1));
    assert_eq!(read(&ours[5..]), (vec![bodies[1].clone(), bodies[2].clone()], 1));
    // The recorded stream has no checksums of ours, so joined midway nothing of it is delivered.
    let (delivered, _) = read(&case.bytes("/inputs/stream_joined_midway_hex"));
    assert_eq!(delivered, std::vec::Vec::<std::vec::Vec<u8>>::new());
    let midway = case.bytes("/inputs/stream_joined_midway_hex");
    let last = midway.split(|byte| *byte == 0).rfind(|piece| !piece.is_empty()).expect("frame");
    assert_eq!(unstuffed(last), Ok(case.bytes("/expected/midway/last_frame_hex")));
}

/// Bodies of the whole frames in a stream, and how many were refused.
fn read(stream: &[u8]) -> (std::vec::Vec<std::vec::Vec<u8>>, usize) {
    let mut reader = FrameReader::new();
    let (mut bodies, mut refused_count) = (std::vec::Vec::new(), 0);
    for byte in stream {
        match reader.push(*byte) {
            None => {}
            Some(Ok(frame)) => bodies.push(frame.body.to_vec()),
            Some(Err(_)) => refused_count += 1,
        }
    }
    (bodies, refused_count)
}

fn wrapping_clock(case: &Case) {
    for index in 0..case.count("/inputs/pairs") {
        let end = |which| case.number(&format!("/inputs/pairs/{index}/{which}")) as u32;
        let got = f64::from(elapsed_us(end(0), end(1)));
        case.check(got, &format!("/expected/elapsed_us/{index}"), "");
    }
}

cases! {
    "07_protocol":
    "PRO-P01" integers_as_varints, "`postcard` as the messages use it, `stuffing`", integers;
    "PRO-P02" floats_texts_lists, "`postcard` as the messages use it, `stuffing`", primitives;
    "PRO-P03" structs_and_enums, "`postcard` as the messages use it, `stuffing`", structs;
    "PRO-P04" what_a_decoder_accepts, "`postcard` as the messages use it", acceptance;
    "PRO-P05" message_checksum_stuffing, "`CRC32`, `stuffing`", checked_frame;
    "PRO-P06" stuffing_vectors, "`stuffing`: `stuff`, `unstuff`", stuffing;
    "PRO-P07" stuffing_to_refuse, "`stuffing::unstuff`", bad_stuffing;
    "PRO-P08" checksum_catalogue, "`CRC32` (the other algorithms are not used)", checksum;
    "PRO-P10" resynchronising_after_damage,
        "`stuffing::unstuff`, and the same damage to `frame::FrameReader`", resynchronising;
    "PRO-P11" clock_that_wraps, "`pinhold_drivers::clock::elapsed_us`", wrapping_clock;
}

//! Executes `spec.md`: every example both ways, every number, bit and limit, every field table.

use std::collections::BTreeSet;
use std::fmt::Debug;

use pinhold_protocol::block::{self, RawSample};
use pinhold_protocol::content::{self, Content, decode_content};
use pinhold_protocol::error::{CommandResult, DecodeError, Fault};
use pinhold_protocol::frame::{self, Frame, FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::lost::{LOST_VERSION, chain_behind, decode_lost, encode_lost};
use pinhold_protocol::message::{self, FromHost, FromLever, Phase, Start, plan_checksum};
use pinhold_protocol::record::{
    self, Direction, Knee, Outcome, Pin, SampleCoverage, StringPosition, chain_next, chain_start,
    decode_record, reading_flags, record_checksum, stroke_flags,
};
use pinhold_protocol::stuffing::{stuff, unstuff};
use pinhold_protocol::{CRC32, PROTOCOL_VERSION};
use serde::de::DeserializeOwned;

use crate::spec_form::{self, Block};
use crate::{hex, sample};

const DOCUMENT: &str = include_str!("../../spec.md");

fn blocks(form: &str) -> Vec<Block> {
    let blocks: Vec<Block> =
        spec_form::blocks(DOCUMENT).into_iter().filter(|block| block.form == form).collect();
    assert!(!blocks.is_empty(), "spec.md has no {form} block");
    blocks
}

/// Texts are the same when they are the same without white space.
fn assert_same(actual: &str, stated: &str, line: usize) {
    let squeeze = |text: &str| text.split_whitespace().collect::<String>();
    assert_eq!(squeeze(actual), squeeze(stated), "spec.md:{line}\n  decodes to {actual}");
}

/// A message as the document writes it: Rust's debug form, byte strings in hex.
fn lever_text(message: &FromLever<'_>) -> String {
    let bytes = match message {
        FromLever::Samples(samples) => samples.data,
        FromLever::Record(record) => record.bytes,
        _ => return format!("{message:?}"),
    };
    format!("{message:?}").replace(&format!("{bytes:?}"), &format!("h'{}'", hex::spaced(bytes)))
}

/// What the reader makes of bytes from the line: exactly one frame or error.
fn received<T>(wire: &[u8], read: impl Fn(Frame<'_>) -> T) -> Result<T, DecodeError> {
    let mut reader = FrameReader::new();
    let mut results = Vec::new();
    for byte in wire {
        results.extend(reader.push(*byte).map(|result| result.map(&read)));
    }
    assert_eq!(results.len(), 1, "one delimiter, at the end");
    results.remove(0)
}

fn run_frame(example: &Block) -> String {
    example.has_only(&["name", "kind", "type", "sequence", "hex", "value"]);
    let wire = example.bytes("hex");
    let kind = example.number("type") as u8;
    let sequence = example.number("sequence") as u16;
    let outcome = received(&wire, |frame| {
        assert_eq!((frame.kind, frame.sequence), (kind, sequence), "line {}", example.line);
        let mut room = [0; WIRE_BYTES_MAX];
        if kind < 0x80 {
            let message = FromLever::try_from(frame).expect("a message of the lever");
            let used = message.encode(sequence, &mut room).expect("fits");
            (lever_text(&message), room[..used].to_vec())
        } else {
            let message = FromHost::try_from(frame).expect("a message of the host");
            let used = message.encode(sequence, &mut room).expect("fits");
            (format!("{message:?}"), room[..used].to_vec())
        }
    });
    let (text, encoded) = outcome.expect("a whole frame");
    assert_same(&text, example.get("value"), example.line);
    assert_eq!(hex::spaced(&encoded), hex::spaced(&wire), "spec.md:{}", example.line);
    text
}

fn run_damaged(example: &Block) -> DecodeError {
    example.has_only(&["name", "kind", "hex", "error"]);
    let read = |frame: Frame<'_>| FromLever::try_from(frame).map(|message| format!("{message:?}"));
    let error = received(&example.bytes("hex"), read).and_then(|inner| inner).expect_err("damaged");
    assert_same(&format!("{error:?}"), example.get("error"), example.line);
    error
}

fn run_record(example: &Block) -> Option<String> {
    example.has_only(&["name", "kind", "hex", "value", "error"]);
    let bytes = example.bytes("hex");
    match (decode_content(&bytes), example.optional("value"), example.optional("error")) {
        (Ok(content), Some(value), None) => {
            let text = match &content {
                Content::Reading(reading) => format!("{reading:?}"),
                Content::Trace(trace) => format!("{trace:?}"),
                Content::Skip(skip) => format!("{skip:?}"),
                Content::Lost { .. } => panic!("spec.md:{}: kind lost", example.line),
            };
            assert_same(&text, value, example.line);
            let encoded = sample::content_bytes(&content);
            assert_eq!(hex::spaced(&encoded), hex::spaced(&bytes), "spec.md:{}", example.line);
            Some(text)
        }
        (Err(actual), None, Some(stated)) => {
            assert_same(&format!("{actual:?}"), stated, example.line);
            None
        }
        (result, ..) => panic!("spec.md:{}: {result:?}", example.line),
    }
}

/// `bridge rate, bridge rate, …`
fn samples(text: &str) -> Vec<RawSample> {
    let pair = |text: &str| {
        let (bridge, rate) = text.trim().split_once(' ').expect("two numbers");
        RawSample {
            bridge_code: bridge.parse().expect("a bridge code"),
            rate_count: rate.parse().expect("a rate"),
        }
    };
    text.split(',').map(pair).collect()
}

fn run_block(example: &Block) -> u8 {
    example.has_only(&["name", "kind", "coding", "samples", "hex"]);
    let stated = samples(example.get("samples"));
    let coding = example.number("coding") as u8;
    let bytes = sample::packed_as(coding, &stated);
    if coding != block::CODING_RICE {
        assert_eq!(sample::packed(&stated), (coding, bytes.clone()), "spec.md:{}", example.line);
    }
    assert_eq!(hex::spaced(&bytes), example.get("hex"), "spec.md:{}", example.line);
    let mut decoded = vec![RawSample::default(); stated.len()];
    block::decode(coding, &example.bytes("hex"), &mut decoded).expect("a whole block");
    assert_eq!(decoded, stated, "spec.md:{}", example.line);
    coding
}

fn run_primitive(example: &Block) {
    match example.get("kind") {
        "crc" => {
            example.has_only(&["name", "kind", "hex", "value"]);
            let value = CRC32.checksum(&example.bytes("hex"));
            assert_eq!(u64::from(value), example.number("value"), "spec.md:{}", example.line);
        }
        "lost" => {
            example.has_only(&["name", "kind", "hex", "chain"]);
            let bytes = example.bytes("hex");
            let chain = decode_lost(&bytes).expect("a lost record");
            assert_eq!(u64::from(chain), example.number("chain"), "spec.md:{}", example.line);
            assert_eq!(encode_lost(chain)[..], bytes, "spec.md:{}", example.line);
            assert_eq!(decode_record(&bytes), Err(DecodeError::Version(LOST_VERSION)));
            assert_eq!(chain_behind(7, 9, &bytes), chain, "whatever stood before");
        }
        "plan" => {
            example.has_only(&["name", "kind", "pins", "value"]);
            let pin = |text: &str| {
                let (note, letter) = text.split_at(text.len() - 1);
                let string = letter.chars().next().and_then(StringPosition::from_letter);
                let string = string.expect("a string's letter");
                Pin { note: note.parse().expect("a note number"), string }
            };
            let value = plan_checksum(example.get("pins").split(' ').map(pin));
            assert_eq!(u64::from(value), example.number("value"), "spec.md:{}", example.line);
        }
        "stuffing" => {
            example.has_only(&["name", "kind", "plain", "hex"]);
            let plain = example.bytes("plain");
            let mut room = [0; WIRE_BYTES_MAX];
            let used = stuff(&plain, &mut room).expect("fits");
            assert_eq!(hex::spaced(&room[..used]), example.get("hex"), "line {}", example.line);
            let plain_len = unstuff(&mut room[..used]).expect("own stuffing");
            assert_eq!(room[..plain_len], plain, "spec.md:{}", example.line);
        }
        "checksum" => {
            example.has_only(&["name", "kind", "epoch", "number", "hex", "value"]);
            let (epoch, number) = (example.number("epoch"), example.number("number"));
            let value = record_checksum(epoch as u32, number as u32, &example.bytes("hex"));
            assert_eq!(u64::from(value), example.number("value"), "spec.md:{}", example.line);
        }
        "chain" => {
            example.has_only(&["name", "kind", "device", "epoch", "checksums", "values"]);
            let start = chain_start(example.number("device"), example.number("epoch") as u32);
            let mut values = vec![start];
            for checksum in example.get("checksums").split(' ').map(spec_form::number) {
                values.push(chain_next(*values.last().expect("the start"), checksum as u32));
            }
            let stated: Vec<u64> =
                example.get("values").split(' ').map(spec_form::number).collect();
            let values: Vec<u64> = values.into_iter().map(u64::from).collect();
            assert_eq!(values, stated, "spec.md:{}", example.line);
        }
        other => panic!("spec.md:{}: no kind {other}", example.line),
    }
}

/// Runs every example, and sees to it that none of what must have one is without.
#[test]
fn every_example_holds() {
    let mut names = BTreeSet::new();
    let mut frame_texts = Vec::new();
    let mut record_texts = Vec::new();
    let mut kinds = BTreeSet::new();
    let mut errors = BTreeSet::new();
    let mut codings = BTreeSet::new();
    let mut primitives = BTreeSet::new();
    for example in &blocks("example") {
        assert!(names.insert(example.get("name").to_owned()), "two examples have one name");
        match example.get("kind") {
            "frame" => {
                kinds.insert(example.number("type"));
                frame_texts.push((example.number("type"), run_frame(example)));
            }
            "damaged" => {
                // The variant alone, without its number.
                let text = format!("{:?}", run_damaged(example));
                errors.insert(text.split('(').next().unwrap_or_default().to_owned());
            }
            "record" => record_texts.extend(run_record(example)),
            "block" => drop(codings.insert(run_block(example))),
            other => {
                run_primitive(example);
                primitives.insert(other.to_owned());
            }
        }
    }
    println!("{} examples executed", names.len());
    let known = (0..=255u8).filter(|kind| {
        let frame = Frame { kind: *kind, sequence: 0, body: &[] };
        let unknown = Some(DecodeError::UnknownType(*kind));
        FromLever::try_from(frame).err() != unknown || FromHost::try_from(frame).err() != unknown
    });
    assert_eq!(kinds, known.map(u64::from).collect(), "every message type has an example");
    let all_errors =
        ["Checksum", "Content", "Framing", "Length", "TrailingBytes", "UnknownType", "Version"];
    assert_eq!(errors, all_errors.map(str::to_owned).into(), "every error has an example");
    assert_eq!(codings, [block::CODING_PLAIN, block::CODING_RICE, block::CODING_PREDICTED].into());
    let all_primitives = ["chain", "checksum", "crc", "lost", "plan", "stuffing"];
    assert_eq!(primitives, all_primitives.map(str::to_owned).into());
    assert!(!record_texts.is_empty(), "no record example");
    assert_tables(&frame_texts, &record_texts);
}

/// Field tables name the fields the examples show, in the order in which they travel.
fn assert_tables(frame_texts: &[(u64, String)], record_texts: &[String]) {
    let mut numbered = BTreeSet::new();
    let mut named = BTreeSet::new();
    for table in spec_form::field_tables(DOCUMENT) {
        let texts: Vec<&str> = match table.number {
            Some(number) => {
                numbered.insert(number);
                let of_type = frame_texts.iter().filter(|(kind, _)| *kind == number);
                of_type.map(|(_, text)| text.as_str()).collect()
            }
            None => {
                named.insert(table.name.clone());
                let frames = frame_texts.iter().map(|(_, text)| text.as_str());
                record_texts.iter().map(String::as_str).chain(frames).collect()
            }
        };
        let found = texts.iter().find_map(|text| spec_form::debug_fields(text, &table.name));
        let empty_body = texts.iter().any(|text| *text == format!("{}(())", table.name));
        match found {
            Some(fields) => assert_eq!(table.fields, fields, "table of {}", table.name),
            None => {
                assert!(empty_body, "no example shows a {}", table.name);
                assert_eq!(table.fields, [""; 0], "table of {}", table.name);
            }
        }
    }
    assert_eq!(numbered, frame_texts.iter().map(|(kind, _)| *kind).collect());
    let structs = ["LinkCounters", "Pin", "Reading", "Skip", "Stroke", "Trace", "TracePoint"];
    assert_eq!(named, structs.map(str::to_owned).into());
}

/// Variants of an enum in the order of their wire numbers, found by reading each number.
fn variants<T: DeserializeOwned + Debug>() -> String {
    let read = |number: u8| postcard::from_bytes::<T>(&[number]).ok();
    let all: Vec<Option<T>> = (0..128).map(read).collect();
    let count = all.iter().take_while(|variant| variant.is_some()).count();
    assert!(all.iter().skip(count).all(Option::is_none), "numbers leave no gap");
    let names: Vec<String> = all.iter().flatten().map(|variant| format!("{variant:?}")).collect();
    names.join(" ")
}

#[test]
fn numbers_of_enums_are_as_stated() {
    let actual = [
        ("CommandResult", variants::<CommandResult>()),
        ("Direction", variants::<Direction>()),
        ("Knee", variants::<Knee>()),
        ("Outcome", variants::<Outcome>()),
        ("Phase", variants::<Phase>()),
        ("SampleCoverage", variants::<SampleCoverage>()),
        ("Start", variants::<Start>()),
        ("StringPosition", variants::<StringPosition>()),
    ];
    let mut stated: Vec<(String, String)> =
        blocks("numbers").into_iter().flat_map(|block| block.entries).collect();
    stated.sort();
    assert_eq!(stated, actual.map(|(name, variants)| (name.to_owned(), variants)));
}

#[test]
fn bits_of_flags_are_as_stated() {
    macro_rules! named {
        ($module:ident: $($name:ident)+) => {
            vec![$((stringify!($name), $module::$name)),+]
        };
    }
    let stroke = named!(stroke_flags: FIRST_BREAK SLIP_TOO_SHORT JUMPY DRIVEN_BY_STRING HARD
        SAMPLES_SPOILED LEVER_SLIPPED JERK TOO_FAR);
    let reading = named!(reading_flags: NOT_HOLDING JUMPY HIGH_FIRST_BREAK SLACK UNSTRUNG
        MOVED_ON_SEATING SPONGY HARD TOO_FAR RETUNE NOT_ZEROED);
    let blocks = blocks("bits");
    let [block] = &blocks[..] else { panic!("one block of bits, found {}", blocks.len()) };
    block.has_only(&["stroke_flags", "reading_flags", "faults"]);
    for (key, constants) in [("stroke_flags", stroke), ("reading_flags", reading)] {
        let stated: Vec<(&str, u16)> =
            block.get(key).split(' ').zip((0..16).map(|bit| 1 << bit)).collect();
        assert_eq!(stated, constants, "{key}");
    }
    let faults: Vec<(String, u32)> =
        Fault::ALL.iter().map(|fault| (format!("{fault:?}"), fault.bit())).collect();
    let stated: Vec<(String, u32)> = block
        .get("faults")
        .split(' ')
        .zip((0..32).map(|bit| 1 << bit))
        .map(|(name, bit)| (name.to_owned(), bit))
        .collect();
    assert_eq!(stated, faults, "faults");
    assert!(Fault::ALL.iter().zip(1..).all(|(fault, code)| fault.code() == code));
}

#[test]
fn limits_are_as_stated() {
    let actual = [
        ("PROTOCOL_VERSION", usize::from(PROTOCOL_VERSION)),
        ("RECORD_VERSION", usize::from(record::RECORD_VERSION)),
        ("HEADER_BYTES", frame::HEADER_BYTES),
        ("CHECKSUM_BYTES", frame::CHECKSUM_BYTES),
        ("BODY_BYTES_MAX", frame::BODY_BYTES_MAX),
        ("PLAIN_BYTES_MAX", frame::PLAIN_BYTES_MAX),
        ("WIRE_BYTES_MAX", frame::WIRE_BYTES_MAX),
        ("RECORD_BYTES_MAX", record::RECORD_BYTES_MAX),
        ("STROKE_COUNT_MAX", record::STROKE_COUNT_MAX),
        ("BLOCK_SAMPLE_COUNT_MAX", block::BLOCK_SAMPLE_COUNT_MAX),
        ("BLOCK_BYTES_MAX", block::BLOCK_BYTES_MAX),
        ("TRACE_POINT_COUNT_MAX", content::TRACE_POINT_COUNT_MAX),
        ("TRACE_BYTES_MAX", content::TRACE_BYTES_MAX),
        ("PLAN_PART_PIN_COUNT", message::PLAN_PART_PIN_COUNT),
        ("PLAN_PIN_COUNT_MAX", message::PLAN_PIN_COUNT_MAX),
        ("NOTE_MIN", usize::from(record::NOTE_MIN)),
        ("NOTE_MAX", usize::from(record::NOTE_MAX)),
    ];
    let stated: Vec<(String, String)> =
        blocks("limits").into_iter().flat_map(|block| block.entries).collect();
    assert_eq!(stated, actual.map(|(name, value)| (name.to_owned(), value.to_string())));
}

//! Values to bytes in the postcard wire format (version 1), without a panic path.
//!
//! Written out here, because the `postcard` crate's own serializer leaves bounds checks in the
//! firmware; that crate reads on the lever, and is the tests' oracle for every message.
//! Deliberately not here: floats, strings, maps and 128-bit numbers, which no message carries;
//! asked for one it is an error. Invariant: what does not fit is an error, never cut.

use serde::ser::{self, Impossible, Serialize};

use crate::error::EncodeError;

/// Writes `value` into `destination`; returns the length in bytes.
///
/// # Errors
/// [`EncodeError`] when `destination` is too short, or for a type no message has.
pub fn encode<T: Serialize + ?Sized>(
    value: &T,
    destination: &mut [u8],
) -> Result<usize, EncodeError> {
    let capacity = destination.len();
    let mut encoder = Encoder { room: destination };
    value.serialize(&mut encoder)?;
    Ok(capacity - encoder.room.len())
}

/// Bytes as one piece rather than as a list of numbers; the same on the wire.
pub(crate) fn bytes<S: ser::Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_bytes(bytes)
}

impl ser::Error for EncodeError {
    fn custom<T: core::fmt::Display>(_message: T) -> EncodeError {
        EncodeError
    }
}

/// What is left of the destination.
struct Encoder<'a> {
    room: &'a mut [u8],
}

type Encoded = Result<(), EncodeError>;

impl Encoder<'_> {
    fn put(&mut self, byte: u8) -> Encoded {
        let (slot, rest) = core::mem::take(&mut self.room).split_first_mut().ok_or(EncodeError)?;
        *slot = byte;
        self.room = rest;
        Ok(())
    }

    fn put_all(&mut self, bytes: &[u8]) -> Encoded {
        let room = core::mem::take(&mut self.room);
        let (slots, rest) = room.split_at_mut_checked(bytes.len()).ok_or(EncodeError)?;
        for (slot, byte) in slots.iter_mut().zip(bytes) {
            *slot = *byte;
        }
        self.room = rest;
        Ok(())
    }

    /// Seven bits a byte, the lowest first.
    fn put_number(&mut self, mut value: u32) -> Encoded {
        while value >= 0x80 {
            self.put(value as u8 | 0x80)?;
            value >>= 7;
        }
        self.put(value as u8)
    }

    fn put_long_number(&mut self, mut value: u64) -> Encoded {
        while value >= 0x80 {
            self.put(value as u8 | 0x80)?;
            value >>= 7;
        }
        self.put(value as u8)
    }

    fn put_length(&mut self, length: usize) -> Encoded {
        self.put_number(u32::try_from(length).map_err(|_| EncodeError)?)
    }
}

impl<'a> ser::Serializer for &mut Encoder<'a> {
    type Ok = ();
    type Error = EncodeError;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Impossible<(), EncodeError>;
    type SerializeMap = Impossible<(), EncodeError>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Impossible<(), EncodeError>;

    fn serialize_bool(self, value: bool) -> Encoded {
        self.put(u8::from(value))
    }

    fn serialize_i8(self, value: i8) -> Encoded {
        self.put(value as u8)
    }

    fn serialize_i16(self, value: i16) -> Encoded {
        self.serialize_i32(i32::from(value))
    }

    fn serialize_i32(self, value: i32) -> Encoded {
        self.put_number(((value << 1) ^ (value >> 31)) as u32)
    }

    fn serialize_i64(self, value: i64) -> Encoded {
        self.put_long_number(((value << 1) ^ (value >> 63)) as u64)
    }

    fn serialize_u8(self, value: u8) -> Encoded {
        self.put(value)
    }

    fn serialize_u16(self, value: u16) -> Encoded {
        self.put_number(u32::from(value))
    }

    fn serialize_u32(self, value: u32) -> Encoded {
        self.put_number(value)
    }

    fn serialize_u64(self, value: u64) -> Encoded {
        self.put_long_number(value)
    }

    fn serialize_f32(self, _value: f32) -> Encoded {
        Err(EncodeError)
    }

    fn serialize_f64(self, _value: f64) -> Encoded {
        Err(EncodeError)
    }

    fn serialize_char(self, _value: char) -> Encoded {
        Err(EncodeError)
    }

    fn serialize_str(self, _value: &str) -> Encoded {
        Err(EncodeError)
    }

    fn collect_str<T: core::fmt::Display + ?Sized>(self, _value: &T) -> Encoded {
        Err(EncodeError)
    }

    fn serialize_bytes(self, value: &[u8]) -> Encoded {
        self.put_length(value.len())?;
        self.put_all(value)
    }

    fn serialize_none(self) -> Encoded {
        self.put(0)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Encoded {
        self.put(1)?;
        value.serialize(self)
    }

    fn serialize_unit(self) -> Encoded {
        Ok(())
    }

    fn serialize_unit_struct(self, _name: &'static str) -> Encoded {
        Ok(())
    }

    fn serialize_unit_variant(
        self,
        _name: &'static str,
        index: u32,
        _variant: &'static str,
    ) -> Encoded {
        self.put_number(index)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _name: &'static str,
        value: &T,
    ) -> Encoded {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _name: &'static str,
        index: u32,
        _variant: &'static str,
        value: &T,
    ) -> Encoded {
        self.put_number(index)?;
        value.serialize(self)
    }

    fn serialize_seq(self, length: Option<usize>) -> Result<Self, EncodeError> {
        self.put_length(length.ok_or(EncodeError)?)?;
        Ok(self)
    }

    fn serialize_tuple(self, _length: usize) -> Result<Self, EncodeError> {
        Ok(self)
    }

    fn serialize_tuple_struct(
        self,
        _name: &'static str,
        _length: usize,
    ) -> Result<Self, EncodeError> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self::SerializeTupleVariant, EncodeError> {
        Err(EncodeError)
    }

    fn serialize_map(self, _length: Option<usize>) -> Result<Self::SerializeMap, EncodeError> {
        Err(EncodeError)
    }

    fn serialize_struct(self, _name: &'static str, _length: usize) -> Result<Self, EncodeError> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self::SerializeStructVariant, EncodeError> {
        Err(EncodeError)
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

/// The parts of a compound stand one behind the other, nothing between or behind them.
macro_rules! parts {
    ($($compound:ident $part:ident,)+) => {$(
        impl ser::$compound for &mut Encoder<'_> {
            type Ok = ();
            type Error = EncodeError;

            fn $part<T: Serialize + ?Sized>(&mut self, value: &T) -> Encoded {
                value.serialize(&mut **self)
            }

            fn end(self) -> Encoded {
                Ok(())
            }
        }
    )+};
}

parts! {
    SerializeSeq serialize_element,
    SerializeTuple serialize_element,
    SerializeTupleStruct serialize_field,
}

impl ser::SerializeStruct for &mut Encoder<'_> {
    type Ok = ();
    type Error = EncodeError;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, _key: &'static str, value: &T) -> Encoded {
        value.serialize(&mut **self)
    }

    fn end(self) -> Encoded {
        Ok(())
    }
}

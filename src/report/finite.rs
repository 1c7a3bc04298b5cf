//! Every number is checked to be finite before it is written to a table or a summary.

use std::fmt;

use serde::Serialize;
use serde::ser::{
    self, SerializeMap, SerializeSeq, SerializeStruct, SerializeStructVariant, SerializeTuple,
    SerializeTupleStruct, SerializeTupleVariant, Serializer,
};

/// Asserts that no number in a value is infinite or NaN. The model gives none (`replay/head.rs`); this
/// holds if it ever does, since a table or JSON would hide it.
///
/// # Panics
///
/// If one is: that is a fault of this program, never of a job or a board.
pub fn assert_finite<T: Serialize + ?Sized>(value: &T) {
    if let Err(Found(number)) = value.serialize(Finite) {
        panic!("{number} was about to be written as a result; please report this job and board");
    }
}

/// Walks through a value and stops at the first number that is not finite.
struct Finite;

/// The number that is none; NaN also for what no result holds.
#[derive(Debug)]
struct Found(f64);

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl std::error::Error for Found {}

impl ser::Error for Found {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Found(f64::NAN)
    }
}

type Walked = Result<(), Found>;

macro_rules! passes {
    ($($name:ident: $of:ty),*) => {
        $(fn $name(self, _: $of) -> Walked { Ok(()) })*
    };
}

impl Serializer for Finite {
    type Ok = ();
    type Error = Found;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = Self;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    passes!(serialize_bool: bool, serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u32: u32, serialize_u64: u64, serialize_char: char,
        serialize_str: &str, serialize_bytes: &[u8], serialize_unit_struct: &'static str);

    fn serialize_f32(self, number: f32) -> Walked {
        self.serialize_f64(f64::from(number))
    }

    fn serialize_f64(self, number: f64) -> Walked {
        number.is_finite().then_some(()).ok_or(Found(number))
    }

    fn serialize_none(self) -> Walked {
        Ok(())
    }

    fn serialize_unit(self) -> Walked {
        Ok(())
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Walked {
        value.serialize(self)
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> Walked {
        Ok(())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Walked {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        value: &T,
    ) -> Walked {
        value.serialize(self)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Found> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Found> {
        Ok(self)
    }
}

macro_rules! walks {
    ($($kind:ident: $name:ident($($key:ty)?)),*) => {
        $(impl $kind for Finite {
            type Ok = ();
            type Error = Found;

            fn $name<T: Serialize + ?Sized>(&mut self, $(_: $key,)? value: &T) -> Walked {
                value.serialize(Finite)
            }

            fn end(self) -> Walked {
                Ok(())
            }
        })*
    };
}

walks!(SerializeSeq: serialize_element(), SerializeTuple: serialize_element(),
    SerializeTupleStruct: serialize_field(), SerializeTupleVariant: serialize_field(),
    SerializeStruct: serialize_field(&'static str), SerializeStructVariant: serialize_field(&'static str));

impl SerializeMap for Finite {
    type Ok = ();
    type Error = Found;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, _: &T) -> Walked {
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Walked {
        value.serialize(Finite)
    }

    fn end(self) -> Walked {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{Finite, assert_finite};
    use serde::Serialize;

    #[derive(Serialize)]
    struct Row {
        name: &'static str,
        some: Option<f64>,
        list: [f64; 2],
    }

    fn row(some: f64, second: f64) -> Row {
        Row {
            name: "-dash",
            some: Some(some),
            list: [-1.0, second],
        }
    }

    #[test]
    fn numbers_that_are_none_are_found_wherever_they_stand() {
        assert!(row(1.0, -2.0).serialize(Finite).is_ok());
        assert!(row(f64::NAN, 0.0).serialize(Finite).is_err());
        assert!(row(0.0, f64::INFINITY).serialize(Finite).is_err());
        assert!(vec![row(0.0, f64::NEG_INFINITY)].serialize(Finite).is_err());
        let map = std::collections::BTreeMap::from([("a", f64::NAN)]);
        assert!(map.serialize(Finite).is_err());
    }

    #[test]
    #[should_panic(expected = "about to be written")]
    fn a_result_with_one_is_refused() {
        assert_finite(&row(f64::NAN, 0.0));
    }
}

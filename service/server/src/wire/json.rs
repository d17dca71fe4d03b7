//! JSON text to a tree, stricter than usual: a field that comes twice in one object is a mistake, not a choice.
//!
//! NaN and infinities, numbers beyond doubles, lone surrogates, broken UTF-8, trailing text and nesting deeper than 128
//! are refused by `serde_json` itself. (RFC 8259, section 4 leaves doubled names to the reader; I-JSON, RFC 7493 section
//! 2.3, forbids them, and so do we: of two quantities nobody knows which was meant.)

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

use super::mistake::{MistakeCode, Mistakes, Pointer};

/// Values in one document. A value takes some 50 bytes of memory where its text may take two, so that the limit on a
/// body's bytes alone would let a small body fill a large memory. A job of 20,000 items has about a million.
const MOST_VALUES: usize = 2_000_000;

/// Parses a document; `None` when it is not JSON, which is then the last mistake.
pub(super) fn parse(text: &[u8], mistakes: &mut Mistakes) -> Option<Value> {
    // RFC 8259, section 8.1 lets a reader skip a byte order mark, which some editors write.
    let text = text.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(text);
    let mut deserializer = serde_json::Deserializer::from_slice(text);
    let tree = Tree { pointer: Pointer::root(), mistakes, values: &mut 0 };
    let parsed = tree.deserialize(&mut deserializer).and_then(|value| deserializer.end().map(|()| value));
    match parsed {
        Ok(value) => Some(value),
        Err(error) => {
            mistakes.add(MistakeCode::NotJson, &Pointer::root(), why_not(text, &error));
            None
        }
    }
}

/// What is wrong, in words for whoever sent it.
fn why_not(text: &[u8], error: &serde_json::Error) -> String {
    match text.iter().find(|byte| !byte.is_ascii_whitespace()) {
        None => "it is empty".to_owned(),
        // RFC 8259, section 2: what a JSON text can begin with.
        Some(first) if !b"{[\"-0123456789tfn".contains(first) => {
            format!("it does not begin like JSON, but with byte 0x{first:02x}: is it a picture? ({error})")
        }
        Some(_) => error.to_string(),
    }
}

struct Tree<'m> {
    pointer: Pointer,
    mistakes: &'m mut Mistakes,
    /// Values so far.
    values: &'m mut usize,
}

impl<'de> DeserializeSeed<'de> for Tree<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        *self.values += 1;
        if *self.values > MOST_VALUES {
            return Err(D::Error::custom(format_args!("more than {MOST_VALUES} values in one document")));
        }
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Tree<'_> {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a JSON value")
    }

    fn visit_unit<E: Error>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("number out of range"))
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_string<E: Error>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut sequence: A) -> Result<Value, A::Error> {
        let mut values = Vec::new();
        loop {
            let pointer = self.pointer.index(values.len());
            let element = Tree { pointer, mistakes: &mut *self.mistakes, values: &mut *self.values };
            match sequence.next_element_seed(element)? {
                Some(value) => values.push(value),
                None => return Ok(Value::Array(values)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(key) = access.next_key::<String>()? {
            let pointer = self.pointer.key(&key);
            if map.contains_key(&key) {
                let message = format!("`{key}` comes twice in one object");
                self.mistakes.add(MistakeCode::DuplicateField, &pointer, message);
            }
            let tree = Tree { pointer, mistakes: &mut *self.mistakes, values: &mut *self.values };
            let value = access.next_value_seed(tree)?;
            map.insert(key, value);
        }
        Ok(Value::Object(map))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(text: &[u8]) -> Vec<(MistakeCode, String)> {
        let mut mistakes = Mistakes::default();
        parse(text, &mut mistakes);
        mistakes.into_list().into_iter().map(|mistake| (mistake.code, mistake.pointer.as_str().to_owned())).collect()
    }

    #[test]
    fn a_field_that_comes_twice_is_pointed_at() {
        assert_eq!(
            codes(br#"{"a": [0, {"b/c": 1, "b/c": 2}], "d": 1, "d": 1}"#),
            [(MistakeCode::DuplicateField, "/a/1/b~1c".to_owned()), (MistakeCode::DuplicateField, "/d".to_owned())]
        );
    }

    #[test]
    fn what_is_not_json_is_refused() {
        let deep = [b"[".repeat(200), b"]".repeat(200)].concat();
        let broken: [&[u8]; 9] =
            [b"", b"{", b"[NaN]", b"[Infinity]", b"[1e999]", b"[\"\\ud800\"]", b"[\"\xff\"]", b"{} {}", &deep];
        for text in broken {
            assert_eq!(codes(text), [(MistakeCode::NotJson, String::new())], "{}", String::from_utf8_lossy(text));
        }
    }

    #[test]
    fn a_document_of_too_many_values_is_refused_before_they_fill_the_memory() {
        let many = [b"[".to_vec(), b"0,".repeat(MOST_VALUES), b"0]".to_vec()].concat();
        assert_eq!(codes(&many), [(MistakeCode::NotJson, String::new())]);
    }

    #[test]
    fn a_byte_order_mark_is_skipped() {
        assert_eq!(codes(b"\xEF\xBB\xBF{}"), []);
    }

    #[test]
    fn values_come_out_as_written() {
        let mut mistakes = Mistakes::default();
        let text = br#"{"a": null, "b": [true, 1, -2, 1.5, "\u00e9\n"], "c": {}}"#;
        let expected: Value = serde_json::from_slice(text).expect("valid JSON");
        assert_eq!(parse(text, &mut mistakes), Some(expected));
        assert_eq!(mistakes.count(), 0);
    }
}

//! Strings of a PDF that people read.

use lopdf::{Object, StringFormat};

/// A text string (ISO 32000-1, 7.9.2.2): plain where it is printable ASCII, else UTF-16BE behind its mark.
pub(crate) fn text_string(text: &str) -> Object {
    if text.bytes().all(|byte| (0x20..0x7f).contains(&byte)) {
        return literal(text);
    }
    let units = std::iter::once(0xfeff).chain(text.encode_utf16());
    Object::String(units.flat_map(u16::to_be_bytes).collect(), StringFormat::Hexadecimal)
}

/// Bytes as they are.
pub(crate) fn literal(text: &str) -> Object {
    Object::String(text.as_bytes().to_vec(), StringFormat::Literal)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_beyond_ascii_is_utf_16_with_its_mark() {
        assert_eq!(text_string("run / 1"), literal("run / 1"));
        let Object::String(bytes, _) = text_string("é🦊") else { unreachable!("a string") };
        assert_eq!(bytes, [0xfe, 0xff, 0x00, 0xe9, 0xd8, 0x3e, 0xdd, 0x8a]);
    }
}

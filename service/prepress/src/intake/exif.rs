//! Which way up a picture is stored.
//!
//! Sources: CIPA DC-008 (Exif 2.32), 4.6.4 A, tag 0x0112; TIFF 6.0, section 8, `Orientation`; PNG 3rd edition, 11.3.2.9
//! (`eXIf`); the text chunk `Raw profile type exif` is common practice: a line break, a name, a length, hexadecimal digits.

use image::metadata::Orientation;

/// The orientation that an Exif block says; with or without the six bytes that JPEG puts before it.
pub(super) fn orientation(block: &[u8]) -> Option<Orientation> {
    let tiff = block.strip_prefix(b"Exif\0\0").unwrap_or(block);
    Orientation::from_exif_chunk(tiff)
}

/// The orientation in the words of a text chunk with a raw profile.
pub(super) fn orientation_in_text(text: &[u8]) -> Option<Orientation> {
    // "\nexif\n    1234\n45786966…": the name, the length, then the digits.
    let mut words = text.splitn(4, |byte| *byte == b'\n').filter(|line| !line.is_empty());
    let (_name, _length) = (words.next()?, words.next()?);
    let digits: Vec<u8> =
        words.next()?.iter().filter_map(|byte| (*byte as char).to_digit(16)).map(|d| d as u8).collect();
    let block: Vec<u8> = digits.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect();
    orientation(&block)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TURNED: &[u8] = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0";

    #[test]
    fn orientation_is_read_with_and_without_the_prefix_of_jpeg() {
        assert_eq!(orientation(TURNED), Some(Orientation::Rotate90));
        assert_eq!(orientation(&[b"Exif\0\0", TURNED].concat()), Some(Orientation::Rotate90));
        assert_eq!(orientation(b"Exif"), None);
    }

    #[test]
    fn a_raw_profile_in_a_text_is_read() {
        let digits: String = TURNED.iter().map(|byte| format!("{byte:02x}")).collect();
        let text = format!("\nexif\n      {}\n{}\n", TURNED.len(), digits.replace("2a", "2a\n"));
        assert_eq!(orientation_in_text(text.as_bytes()), Some(Orientation::Rotate90));
        assert_eq!(orientation_in_text(b"\nexif\n"), None);
        assert_eq!(orientation_in_text(b""), None);
    }
}

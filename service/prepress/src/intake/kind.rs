//! Recognises what a file is from its first bytes.
//!
//! Signatures: PNG 3rd edition 5.2; JPEG ITU-T T.81 B.1.1.3; WebP RFC 9649 2.4; GIF89a 18; TIFF 6.0 section 2; PDF ISO
//! 32000-2 7.5.2; HEIF and AVIF ISO 14496-12 4.3 (`ftyp` brands); gzip RFC 1952 2.3.1; the rest from memory.

use super::Format;

/// What the bytes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Png,
    Jpeg,
    Webp,
    Gif,
    Bmp,
    Tiff,
    Svg,
    /// A gzip file: perhaps a drawing (svgz), which only a look inside tells.
    Gzip,
    /// Recognised, and not taken: its name.
    Other(&'static str),
    /// Nothing that we know.
    Unknown,
}

impl Kind {
    /// The format of a picture that is made of pixels.
    pub(super) fn of_pixels(self) -> Option<Format> {
        match self {
            Kind::Png => Some(Format::Png),
            Kind::Jpeg => Some(Format::Jpeg),
            Kind::Webp => Some(Format::Webp),
            Kind::Gif => Some(Format::Gif),
            Kind::Bmp => Some(Format::Bmp),
            Kind::Tiff => Some(Format::Tiff),
            Kind::Svg | Kind::Gzip | Kind::Other(_) | Kind::Unknown => None,
        }
    }
}

/// Signatures of the kinds that are taken. TIFF in both byte orders, with offsets of 32 and of 64 bits.
const TAKEN: &[(&[u8], Kind)] = &[
    (b"\x89PNG\r\n\x1A\n", Kind::Png),
    (b"\xFF\xD8\xFF", Kind::Jpeg),
    (b"GIF87a", Kind::Gif),
    (b"GIF89a", Kind::Gif),
    (b"II*\0", Kind::Tiff),
    (b"MM\0*", Kind::Tiff),
    (b"II+\0", Kind::Tiff),
    (b"MM\0+", Kind::Tiff),
    (b"\x1F\x8B", Kind::Gzip),
];

/// A signature and the name of the kind it belongs to.
const OTHERS: &[(&[u8], &str)] = &[
    (b"%PDF-", "PDF"),
    (b"%!PS", "PostScript"),
    (b"\xC5\xD0\xD3\xC6", "PostScript"),
    (b"8BPS", "layered picture (PSD)"),
    (b"PK\x03\x04", "ZIP archive"),
    (b"\0\0\0\x0CjP  ", "JPEG 2000"),
    (b"\xFF\x4F\xFF\x51", "JPEG 2000"),
    (b"\0\0\0\x0CJXL ", "JPEG XL"),
    (b"\xFF\x0A", "JPEG XL"),
    (b"\0\0\x01\0", "ICO"),
    (b"\xFF\xFE", "text in UTF-16"),
    (b"\xFE\xFF", "text in UTF-16"),
];

/// Recognises a file; never looks past what it needs.
pub(super) fn recognise(bytes: &[u8]) -> Kind {
    if let Some((_, kind)) = TAKEN.iter().find(|(signature, _)| bytes.starts_with(signature)) {
        return *kind;
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Kind::Webp;
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return Kind::Other(boxed_kind(bytes));
    }
    if bytes.starts_with(b"BM") && bytes.get(6..10) == Some(&[0; 4]) {
        return Kind::Bmp;
    }
    if let Some((_, name)) = OTHERS.iter().find(|(signature, _)| bytes.starts_with(signature)) {
        return Kind::Other(name);
    }
    text_kind(bytes)
}

/// Which of the kinds in an ISO base media file.
fn boxed_kind(bytes: &[u8]) -> &'static str {
    let brands = bytes.get(8..bytes.len().min(64)).unwrap_or_default();
    let has = |brand: &[u8]| brands.windows(4).any(|window| window == brand);
    if has(b"avif") || has(b"avis") {
        "AVIF"
    } else if has(b"heic") || has(b"heix") || has(b"mif1") || has(b"heim") || has(b"hevc") {
        "HEIC"
    } else {
        "video"
    }
}

/// How much of a file is looked at to tell whether it is text.
const TEXT_HEAD_BYTES: usize = 4096;

fn text_kind(bytes: &[u8]) -> Kind {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let head = bytes.get(..bytes.len().min(TEXT_HEAD_BYTES)).unwrap_or_default();
    // A cut in the middle of a character is no damage.
    let text = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(error) if error.error_len().is_none() => {
            std::str::from_utf8(head.get(..error.valid_up_to()).unwrap_or_default()).unwrap_or_default()
        }
        Err(_) => return Kind::Unknown,
    };
    let text = text.trim_start();
    let binary = text.chars().any(|character| character.is_control() && !character.is_whitespace());
    if text.is_empty() || binary {
        return Kind::Unknown;
    }
    match root_element(bytes) {
        Some("svg") => Kind::Svg,
        Some("html" | "HTML") => Kind::Other("HTML"),
        Some(_) => Kind::Other("XML"),
        None => Kind::Other("plain text"),
    }
}

/// The local name of the first element of a marked-up text, past declarations, comments (a licence may fill pages) and a
/// document type; looks no further than that.
fn root_element(text: &[u8]) -> Option<&str> {
    let mut rest = text;
    loop {
        let inside = rest.trim_ascii_start().strip_prefix(b"<")?;
        let after = |end: &[u8]| inside.windows(end.len()).position(|window| window == end).map(|at| at + end.len());
        let end = if inside.starts_with(b"!--") {
            after(b"-->")?
        } else if inside.starts_with(b"?") {
            after(b"?>")?
        } else if inside.starts_with(b"!") {
            // The vector door refuses a document type; here it only tells what the file is.
            let declared = inside.get(..inside.len().min(TEXT_HEAD_BYTES))?;
            let is_html = declared.to_ascii_lowercase().starts_with(b"!doctype html");
            let is_svg = declared.windows(3).any(|window| window == b"svg");
            return if is_html { Some("html") } else { is_svg.then_some("svg") };
        } else {
            let name_ends = |byte: &u8| byte.is_ascii_whitespace() || matches!(byte, b'>' | b'/');
            let name = std::str::from_utf8(inside.split(name_ends).next()?).ok()?;
            return Some(name.rsplit(':').next().unwrap_or(name)).filter(|name| !name.is_empty());
        };
        rest = inside.get(end..)?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_told_by_content() {
        assert_eq!(recognise(b"GIF89a\x01\0"), Kind::Gif);
        assert_eq!(recognise(b"II*\0\x08\0\0\0"), Kind::Tiff);
        assert_eq!(recognise(b"BM\x46\0\0\0\0\0\0\0\x36\0"), Kind::Bmp);
        assert_eq!(recognise(b"\x1F\x8B\x08\0"), Kind::Gzip);
        assert_eq!(recognise(b"%PDF-1.7"), Kind::Other("PDF"));
        assert_eq!(recognise(b"\0\0\0\x1Cftypheic\0\0\0\0mif1heic"), Kind::Other("HEIC"));
        assert_eq!(recognise(b"\0\0\0\x1Cftypavif\0\0\0\0mif1avif"), Kind::Other("AVIF"));
        assert_eq!(recognise(b"not a picture"), Kind::Other("plain text"));
        assert_eq!(recognise(b"<!DOCTYPE html><html></html>"), Kind::Other("HTML"));
        assert_eq!(recognise(b""), Kind::Unknown);
        assert_eq!(recognise(&[0xAB, 0xCD, 0, 1, 2, 3]), Kind::Unknown);
    }

    #[test]
    fn an_svg_is_told_past_its_preamble() {
        let text = "\u{FEFF}<?xml version=\"1.0\"?>\n<!-- drawn --><svg:svg xmlns:svg=\"http://www.w3.org/2000/svg\"/>";
        assert_eq!(recognise(text.as_bytes()), Kind::Svg);
        assert_eq!(recognise(b"<svg/>"), Kind::Svg);
        let long = format!("<?xml version=\"1.0\"?><!-- {} --><svg/>", "All rights are given. ".repeat(1000));
        assert_eq!(recognise(long.as_bytes()), Kind::Svg);
        assert_eq!(recognise(b"<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>"), Kind::Svg);
    }
}

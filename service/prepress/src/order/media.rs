//! Self-describing media names of PWG 5101.1-2013 (Media Standardized Names 2.0), section 5.

use crate::units::{MM_PER_INCH, Mm};

/// Width and height that a self-describing media name states, e.g. `na_letter_8.5x11in` or `iso_a4_210x297mm`.
///
/// The grammar is `class_name_WxHunit`; the size is what the name says, so every name of the standard is known. `None`
/// for anything else.
pub fn media_size(name: &str) -> Option<(Mm, Mm)> {
    let mut parts = name.splitn(3, '_');
    let (class, label, size) = (parts.next()?, parts.next()?, parts.next()?);
    let classes = ["asme", "custom", "disc", "iso", "jis", "jpn", "na", "oe", "om", "prc", "roc", "roll"];
    let plain = |text: &str| {
        !text.is_empty()
            && text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b"-.".contains(&byte))
    };
    if !classes.contains(&class) || !plain(label) {
        return None;
    }
    let (digits, scale) = match (size.strip_suffix("in"), size.strip_suffix("mm")) {
        (Some(inches), _) => (inches, MM_PER_INCH),
        (_, Some(millimetres)) => (millimetres, 1.0),
        _ => return None,
    };
    let (width, height) = digits.split_once('x')?;
    Some((side(width, scale)?, side(height, scale)?))
}

/// One side: digits with at most one point, no sign, no exponent, above zero.
fn side(text: &str, scale: f64) -> Option<Mm> {
    let simple = text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        && text.starts_with(|c: char| c.is_ascii_digit());
    let value: f64 = text.parse().ok().filter(|_| simple)?;
    (value > 0.0 && value < 1e6).then(|| Mm::of(value * scale))
}

/// The media word for a size without a standard name: `custom_<stock>_WxHmm`, width across the feed.
pub fn media_word(stock: &str, across: Mm, along: Mm) -> String {
    let plain: String = stock
        .to_ascii_lowercase()
        .chars()
        .map(|c| if c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '.' { c } else { '-' })
        .collect();
    let tidy = |length: Mm| (length.mm() * 1000.0).round() / 1000.0;
    format!("custom_{plain}_{}x{}mm", tidy(across), tidy(along))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn size_mm(name: &str) -> Option<(f64, f64)> {
        media_size(name).map(|(width, height)| (width.mm(), height.mm()))
    }

    #[test]
    fn names_of_the_standard_give_their_sizes() {
        // PWG 5101.1-2013, tables 1 to 4; ISO 216 A sizes.
        assert_eq!(size_mm("iso_a4_210x297mm"), Some((210.0, 297.0)));
        assert_eq!(size_mm("iso_a3_297x420mm"), Some((297.0, 420.0)));
        let (width, height) = size_mm("na_letter_8.5x11in").expect("a standard name");
        assert!((width - 215.9).abs() < 1e-9 && (height - 279.4).abs() < 1e-9);
        for wrong in [
            "letter",
            "na_letter",
            "na_letter_8.5x11",
            "na_letter_-1x11in",
            "xx_a_1x1mm",
            "iso_a4_1e2x2mm",
            "iso__1x1mm",
        ] {
            assert_eq!(size_mm(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_size_without_a_name_gets_a_custom_one() {
        assert_eq!(media_word("Clear_Film", Mm::of(330.0), Mm::of(480.5)), "custom_clear-film_330x480.5mm");
    }
}

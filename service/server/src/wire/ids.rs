//! Ids, names, colours and dates: text with rules of its own.

use super::range;
use quoin_prepress::order::Colour;

/// Longest id, tag and stock name in characters (the contract, section 1).
pub(super) const ID_MAX_CHARS: usize = 64;

/// Longest run name in characters (the contract, section 1).
pub(super) const RUN_MAX_CHARS: usize = 32;

/// [`is_plain`] for the whole of a text, as a regular expression of ECMA-262 (JSON Schema 2020-12 core, section 6.4).
pub(super) const PLAIN_PATTERN: &str = "^[^\\u0000-\\u001F\\u007F-\\u009F\\uFFFE\\uFFFF]*$";

/// [`file_name`] as such an expression, its length apart.
pub(super) const FILE_NAME_PATTERN: &str = "^[A-Za-z0-9_-][A-Za-z0-9._-]*$";

/// [`colour`] as such an expression.
pub(super) const COLOUR_PATTERN: &str = "^#[0-9A-Fa-f]{6}$";

/// Whether XML 1.0 (fifth edition, 2.2, production `Char`) allows a character, control characters excepted.
fn is_plain(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}')
}

/// Free text of at most so many characters, or why not.
pub(super) fn text(text: &str, least: usize, most: usize) -> Result<(), String> {
    let count = text.chars().count();
    if !(least..=most).contains(&count) {
        return Err(format!("has {count} characters; {least} to {most} are taken"));
    }
    match text.chars().find(|c| !is_plain(*c)) {
        Some(c) => Err(format!("U+{:04X} may not stand in it", u32::from(c))),
        None => Ok(()),
    }
}

/// An order, item or piece id, or a tag.
pub(super) fn id(id: &str) -> Result<(), String> {
    text(id, 1, ID_MAX_CHARS)
}

/// A layer's name: a separation of the print and a title of the cut file.
pub(super) fn layer_name(name: &str) -> Result<(), String> {
    if name.len() > range::LAYER_BYTES {
        return Err(format!("has {} bytes; at most {} are taken", name.len(), range::LAYER_BYTES));
    }
    text(name, 1, range::LAYER_BYTES)
}

/// A stock's name.
pub(super) fn stock_name(name: &str) -> Result<(), String> {
    file_name(name, ID_MAX_CHARS)
}

/// A run's name.
pub(super) fn run_name(name: &str) -> Result<(), String> {
    file_name(name, RUN_MAX_CHARS)
}

fn file_name(name: &str, most: usize) -> Result<(), String> {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"._-".contains(&byte);
    if name.is_empty() || name.len() > most || !name.bytes().all(plain) {
        return Err(format!("1 to {most} of A-Z a-z 0-9 . _ - are taken"));
    }
    if name.starts_with('.') { Err("may not start with a dot".to_owned()) } else { Ok(()) }
}

/// [`digest`] as a regular expression of ECMA-262.
pub(super) const DIGEST_PATTERN: &str = "^[0-9A-Fa-f]{64}$";

/// A SHA-256 in hexadecimal digits.
pub(super) fn digest(text: &str) -> Result<(), String> {
    if text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return Ok(());
    }
    Err("the digest of a proof is 64 hexadecimal digits".to_owned())
}

/// `#rrggbb`.
pub(super) fn colour(text: &str) -> Option<Colour> {
    let digits = text.strip_prefix('#').filter(|digits| digits.len() == 6)?;
    if !digits.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return None;
    }
    let number = u32::from_str_radix(digits, 16).ok()?;
    let [_, red, green, blue] = number.to_be_bytes();
    Some(Colour([red, green, blue]))
}

/// A number of exactly so many digits at the start of the text, and what follows.
fn digits(text: &str, count: usize) -> Option<(u32, &str)> {
    let head = text.get(..count).filter(|head| head.bytes().all(|byte| byte.is_ascii_digit()))?;
    Some((head.parse().ok()?, &text[count..]))
}

/// Days of a month in the Gregorian calendar (RFC 3339, appendix C).
fn days_of(year: u32, month: u32) -> u32 {
    match month {
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// `full-date` of RFC 3339, section 5.6, at the start of the text, and what follows.
fn full_date(text: &str) -> Option<&str> {
    let (year, rest) = digits(text, 4)?;
    let (month, rest) = digits(rest.strip_prefix('-')?, 2)?;
    let (day, rest) = digits(rest.strip_prefix('-')?, 2)?;
    ((1..=12).contains(&month) && (1..=days_of(year, month)).contains(&day)).then_some(rest)
}

/// Whether a text is a day of the calendar, `YYYY-MM-DD`.
pub(super) fn is_day(text: &str) -> bool {
    full_date(text) == Some("")
}

/// Whether a text is a `date-time` or a `full-date` of RFC 3339, section 5.6.
pub(super) fn is_date(text: &str) -> bool {
    is_day(text) || full_date(text).and_then(time_of_day).is_some_and(is_offset)
}

/// `partial-time` with the letter before it, and what follows. A leap second is second 60.
fn time_of_day(text: &str) -> Option<&str> {
    let (hour, rest) = digits(text.strip_prefix(['T', 't'])?, 2)?;
    let (minute, rest) = digits(rest.strip_prefix(':')?, 2)?;
    let (second, rest) = digits(rest.strip_prefix(':')?, 2)?;
    if hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    let Some(fraction) = rest.strip_prefix('.') else { return Some(rest) };
    let rest = fraction.trim_start_matches(|c: char| c.is_ascii_digit());
    (rest.len() < fraction.len()).then_some(rest)
}

/// `time-offset`.
fn is_offset(text: &str) -> bool {
    let numeric = |rest: &str| {
        let (hour, rest) = digits(rest, 2)?;
        let (minute, rest) = digits(rest.strip_prefix(':')?, 2)?;
        (hour <= 23 && minute <= 59 && rest.is_empty()).then_some(())
    };
    matches!(text, "Z" | "z") || text.strip_prefix(['+', '-']).and_then(numeric).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_take_what_xml_allows_but_no_control_characters() {
        for good in ["1", "Bestellung № 7/ä", "🦊", "\u{10FFFF}", "..", &"é".repeat(64)] {
            assert_eq!(id(good), Ok(()), "{good:?}");
        }
        for bad in ["", "a\nb", "\u{7f}", "\u{85}", "\u{FFFE}", "\u{FFFF}", "\0", &"é".repeat(65)] {
            assert!(id(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn stock_and_run_names_are_safe_file_names() {
        for good in ["gloss-white-vinyl", "A.b_c-9", "-", &"x".repeat(32)] {
            assert_eq!(run_name(good), Ok(()), "{good:?}");
        }
        for bad in ["", ".", "..", ".hidden", "a/b", "a b", "ä", &"x".repeat(33)] {
            assert!(run_name(bad).is_err(), "{bad:?}");
        }
        assert!(stock_name(&"x".repeat(64)).is_ok() && stock_name(&"x".repeat(65)).is_err());
    }

    #[test]
    fn colours_are_six_hexadecimal_digits() {
        assert_eq!(colour("#0f766E"), Some(Colour([0x0f, 0x76, 0x6e])));
        for bad in ["0f766e", "#0f766", "#0f766ee", "#0f766g", "#+f766e", "#äää", "white", ""] {
            assert_eq!(colour(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn days_are_those_of_the_calendar() {
        for good in ["2026-12-01", "2024-02-29", "2000-02-29"] {
            assert!(is_day(good), "{good}");
        }
        for bad in [
            "2026-02-29",
            "1900-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-04-31",
            "2026-1-1",
            "20261201",
            "",
            "2026-12-01 ",
        ] {
            assert!(!is_day(bad), "{bad}");
        }
    }

    #[test]
    fn dates_are_those_of_rfc_3339() {
        // The examples of RFC 3339, section 5.8.
        for good in [
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T23:59:60Z",
            "1990-12-31T15:59:60-08:00",
            "1937-01-01T12:00:27.87+00:20",
            "2026-11-24",
        ] {
            assert!(is_date(good), "{good}");
        }
        for bad in [
            "2026-11-24T10:00Z",
            "2026-11-24T10:00:00",
            "2026-11-24T24:00:00Z",
            "2026-11-24T10:00:00.Z",
            "2026-11-24 10:00:00Z",
            "2026-11-24T10:00:00+1:00",
            "today",
        ] {
            assert!(!is_date(bad), "{bad}");
        }
    }
}

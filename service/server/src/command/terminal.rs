//! Text on a terminal: what a customer wrote must not move the cursor, change colours or turn the line around.

use std::fmt::Write as _;
use std::io::{self, Write};

/// Characters that change what surrounds them: controls, line separators, and the bidirectional and invisible formatting
/// characters of Unicode (Unicode Technical Report 36, section 2.10; UAX 9, section 2).
fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61C}'
                | '\u{200B}'
                | '\u{200E}'
                | '\u{200F}'
                | '\u{2028}'..='\u{202E}'
                | '\u{2060}'..='\u{206F}'
                | '\u{FEFF}'
                | '\u{FFF9}'..='\u{FFFB}'
                | '\u{E0000}'..='\u{E007F}'
        )
}

/// The text with every unsafe character written as `\u{…}`.
pub(super) fn harmless(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        if is_unsafe(c) {
            let _ = write!(safe, "\\u{{{:x}}}", u32::from(c));
        } else {
            safe.push(c);
        }
    }
    safe
}

/// Writes one line to stderr. A closed stderr leaves nobody to tell.
pub(super) fn complain(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{}", harmless(line));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moves_cursor_or_direction_is_written_out() {
        assert_eq!(harmless("a\x1b[31m\n\u{202e}b\u{2066}"), "a\\u{1b}[31m\\u{a}\\u{202e}b\\u{2066}");
        assert_eq!(harmless("Grüße 🦊 שלום"), "Grüße 🦊 שלום");
    }
}

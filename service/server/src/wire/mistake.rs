//! What is wrong with a request: a code, a pointer to the place (RFC 6901), and a sentence.
//!
//! Reading never stops at the first mistake; all of them are handed back together.

use std::collections::BTreeSet;
use std::fmt;

/// An RFC 6901 pointer into the request. The empty pointer is the whole document.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Pointer(String);

impl Pointer {
    /// The whole document.
    pub(crate) fn root() -> Pointer {
        Pointer::default()
    }

    /// A member of the object that this points to; `~` and `/` are escaped (RFC 6901, section 3).
    #[must_use]
    pub(crate) fn key(&self, key: &str) -> Pointer {
        let mut text = String::with_capacity(self.0.len() + key.len() + 1);
        text.push_str(&self.0);
        text.push('/');
        for c in key.chars() {
            match c {
                '~' => text.push_str("~0"),
                '/' => text.push_str("~1"),
                _ => text.push(c),
            }
        }
        Pointer(text)
    }

    /// An element of the array that this points to.
    #[must_use]
    pub(crate) fn index(&self, index: usize) -> Pointer {
        Pointer(format!("{}/{index}", self.0))
    }

    /// With an already escaped pointer appended, e.g. `/margins_mm/left`.
    #[must_use]
    pub(crate) fn below(&self, pointer: &str) -> Pointer {
        Pointer(format!("{}{pointer}", self.0))
    }

    /// As written.
    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Pointer {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident = $code:literal;)*) => {
        /// The stable code of a mistake. A code never changes its meaning once published.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub(crate) enum MistakeCode { $($(#[$doc])* $name,)* }

        impl MistakeCode {
            /// As written in answers.
            pub(crate) const fn as_str(self) -> &'static str {
                match self { $(MistakeCode::$name => $code,)* }
            }
        }
    };
}

codes! {
    /// Not JSON at all: broken syntax or UTF-8, NaN, a number beyond doubles, nested too deep.
    NotJson = "job.not_json";
    /// One object has a field twice.
    DuplicateField = "job.duplicate_field";
    /// A field that this object does not have, by name or by its shape or product.
    UnknownField = "job.unknown_field";
    /// A field that must be there is not.
    MissingField = "job.missing_field";
    /// Another JSON type than asked for.
    WrongType = "job.wrong_type";
    /// A number outside its range, or a list or text too short or too long.
    OutOfRange = "job.out_of_range";
    /// A word that is none of the field's choices.
    UnknownWord = "job.unknown_word";
    /// Part of the contract, but not made yet.
    NotSupportedYet = "job.not_supported_yet";
    /// Two orders, items of one order, pieces or stocks with one id.
    DuplicateId = "job.duplicate_id";
    /// An id, name, tag or text with a character that it may not have, or of a wrong length.
    BadId = "job.bad_id";
    /// Not a `#rrggbb` colour.
    BadColour = "job.bad_colour";
    /// Not a calendar date, or not a time of RFC 3339.
    BadDate = "job.bad_date";
    /// Not a self-describing media name of PWG 5101.1.
    UnknownMedia = "job.unknown_media";
    /// A stock that the job does not list, or that nobody configured.
    UnknownStock = "job.unknown_stock";
    /// Several stocks, and neither item nor order nor defaults choose one.
    NoStockChosen = "job.no_stock_chosen";
    /// A stock that no sheet can be made of, e.g. without room for its marks.
    BrokenStock = "job.broken_stock";
    /// Fields that exclude each other.
    Contradiction = "job.contradiction";
    /// More copies in one job than are taken.
    TooManyCopies = "job.too_many_copies";
    /// A file that is not there, cannot be read or is no regular file.
    FileMissing = "job.file_missing";
    /// A file outside the job file's folder.
    FileOutsideFolder = "job.file_outside_folder";
    /// A way of sending pictures that this door does not take: `part` on the command line.
    ArtNotTaken = "job.art_not_taken";
    /// Not base64 (RFC 4648, section 4).
    BadBase64 = "job.bad_base64";
}

/// One mistake in a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Mistake {
    /// What kind.
    pub(crate) code: MistakeCode,
    /// Where the bad value is written; for something missing, the object that lacks it.
    pub(crate) pointer: Pointer,
    /// What is wrong and what would be right.
    pub(crate) message: String,
}

/// Every mistake of a request, in the order found. A value in `defaults` is read by many items: its mistake is kept once.
#[derive(Debug, Default)]
pub(crate) struct Mistakes {
    list: Vec<Mistake>,
    seen: BTreeSet<(MistakeCode, Pointer, String)>,
}

impl Mistakes {
    /// Adds one, unless it is there already.
    pub(crate) fn add(&mut self, code: MistakeCode, pointer: &Pointer, message: impl Into<String>) {
        let message = message.into();
        if self.seen.insert((code, pointer.clone(), message.clone())) {
            self.list.push(Mistake { code, pointer: pointer.clone(), message });
        }
    }

    /// How many so far: whether something went wrong in between is seen by comparing.
    pub(crate) fn count(&self) -> usize {
        self.list.len()
    }

    /// All of them.
    pub(crate) fn into_list(self) -> Vec<Mistake> {
        self.list
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pointers_escape_tilde_and_slash() {
        // RFC 6901, section 5: "/a~1b" names the key "a/b", "/m~0n" the key "m~n".
        assert_eq!(Pointer::root().key("a/b").as_str(), "/a~1b");
        assert_eq!(Pointer::root().key("m~n").index(3).as_str(), "/m~0n/3");
        assert_eq!(Pointer::root().as_str(), "");
    }

    #[test]
    fn the_same_mistake_is_listed_once() {
        let mut mistakes = Mistakes::default();
        let pointer = Pointer::root().key("defaults");
        mistakes.add(MistakeCode::WrongType, &pointer, "no");
        mistakes.add(MistakeCode::WrongType, &pointer, "no");
        mistakes.add(MistakeCode::OutOfRange, &pointer, "no");
        assert_eq!(mistakes.into_list().len(), 2);
    }
}

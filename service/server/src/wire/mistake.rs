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
    ($($(#[$doc:meta])* $name:ident = $code:literal, $cause:literal, $remedy:literal;)*) => {
        /// The stable code of a mistake. A code never changes its meaning once published.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub(crate) enum MistakeCode { $($(#[$doc])* $name,)* }

        impl MistakeCode {
            /// Every code there is.
            pub(crate) const ALL: &[MistakeCode] = &[$(MistakeCode::$name,)*];

            /// As written in answers.
            pub(crate) const fn as_str(self) -> &'static str {
                match self { $(MistakeCode::$name => $code,)* }
            }

            /// How it comes about, for its page.
            pub(crate) const fn cause(self) -> &'static str {
                match self { $(MistakeCode::$name => $cause,)* }
            }

            /// What to do, for its page.
            pub(crate) const fn remedy(self) -> &'static str {
                match self { $(MistakeCode::$name => $remedy,)* }
            }
        }
    };
}

codes! {
    /// Not JSON at all: broken syntax or UTF-8, NaN, a number beyond doubles, nested too deep.
    NotJson = "job.not_json",
        "The text is not JSON as RFC 8259 has it.",
        "Write it with a JSON library.";
    /// One object has a field twice.
    DuplicateField = "job.duplicate_field",
        "One object has the same field twice; nobody knows which was meant.",
        "Leave one of them out.";
    /// A field that this object does not have, by name or by its shape or product.
    UnknownField = "job.unknown_field",
        "There is no field of this name here: it is mistyped, stands in the wrong object, or belongs to another shape or product.",
        "Compare the name with /docs; take it out.";
    /// A field that must be there is not.
    MissingField = "job.missing_field",
        "A field that must be there is not.",
        "Add it to the object that the pointer names.";
    /// Another JSON type than asked for.
    WrongType = "job.wrong_type",
        "The value has another JSON type than the field.",
        "Write the type that the message names: lengths are numbers, not text with a unit.";
    /// A number outside its range, or a list or text too short or too long.
    OutOfRange = "job.out_of_range",
        "A number is outside its range, or a list or text is too short or too long.",
        "Stay within the range that the message names.";
    /// A word that is none of the field's choices.
    UnknownWord = "job.unknown_word",
        "The word is none of the field's choices.",
        "Choose one of the words that the message lists.";
    /// Part of the contract, but not made yet.
    NotSupportedYet = "job.not_supported_yet",
        "The field is known, but this version does not do what it asks for.",
        "Leave it out or at its default.";
    /// Two orders, items of one order, pieces or stocks with one id.
    DuplicateId = "job.duplicate_id",
        "Two orders, two items of one order, two pieces of a page, two fillers or two stocks have the same id.",
        "Give each an id of its own; one line with a larger quantity says the same as two lines.";
    /// An id, name, tag or text with a character that it may not have, or of a wrong length.
    BadId = "job.bad_id",
        "An id, name, tag or text has a character that it may not have, or is too short or too long.",
        "Keep to what the message says: control characters are never taken.";
    /// Not a `#rrggbb` colour.
    BadColour = "job.bad_colour",
        "The colour is not written as # and six hexadecimal digits.",
        "Write it like #ffffff.";
    /// Not a calendar date, or not a time of RFC 3339.
    BadDate = "job.bad_date",
        "The date is not in the calendar, or not written as RFC 3339 has it.",
        "Write a day like 2026-12-01, a time like 2026-12-01T18:00:00Z.";
    /// Not a self-describing media name of PWG 5101.1.
    UnknownMedia = "job.unknown_media",
        "The size is not a self-describing media name of PWG 5101.1.",
        "Write it like iso_a4_210x297mm, or give `width_mm` and `height_mm`.";
    /// A stock that the job does not list, or that nobody configured.
    UnknownStock = "job.unknown_stock",
        "No stock of this name is listed in the job or configured in the service.",
        "Compare the name with GET /v1/stocks, or describe the stock with `stock` and `form`.";
    /// Several stocks, and nothing chooses one.
    NoStockChosen = "job.no_stock_chosen",
        "There are several stocks to choose from, and neither the item, its order nor the defaults name one.",
        "Name a stock in the item, its order or `defaults`; in a single request, in `stock`.";
    /// A stock that no sheet can be made of, e.g. without room for its marks.
    BrokenStock = "job.broken_stock",
        "No sheet can be made of this stock: its margins, marks, label or layers contradict each other.",
        "Change the field that the pointer names as the message says.";
    /// Fields that exclude each other.
    Contradiction = "job.contradiction",
        "Two fields, or a field and the shape or product that it stands in, exclude each other.",
        "Keep one of them.";
    /// More copies in one job than are taken.
    TooManyCopies = "job.too_many_copies",
        "One job asks for more copies than are taken at once.",
        "Split the job.";
    /// A file that is not there, cannot be read or is no regular file.
    FileMissing = "job.file_missing",
        "A file that the job names is not beside the job file, or cannot be read.",
        "Check its name and place. This is of the command line alone.";
    /// A file outside the job file's folder.
    FileOutsideFolder = "job.file_outside_folder",
        "A file that the job names lies outside the job file's folder.",
        "Copy it into the folder. This is of the command line alone.";
    /// A way of sending pictures that this door does not take: `part` on the command line, `file` over HTTP.
    ArtNotTaken = "job.art_not_taken",
        "Pictures cannot be sent this way here: `file` is for the command line, `part` for multipart requests.",
        "Over HTTP, send the picture as a part and name it with `part`, or as `base64`.";
    /// A part that the job mentions is not in the body.
    PartMissing = "job.part_missing",
        "The job mentions a part that is not in the body.",
        "Send the picture as a part of that name; names are compared letter by letter.";
    /// A part that nothing mentions.
    PartUnused = "job.part_unused",
        "The body has a part that nothing in the job mentions.",
        "Mention it with `part`, or leave it out.";
    /// Two parts of one name.
    PartDoubled = "job.part_doubled",
        "The body has two parts of one name; nobody knows which was meant.",
        "Give each part a name of its own. One part may be mentioned by many items.";
    /// Not base64 (RFC 4648, section 4).
    BadBase64 = "job.bad_base64",
        "The text is not base64 as RFC 4648, section 4 has it, with its padding and without line breaks.",
        "Encode the picture's bytes with the standard alphabet.";
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

/// Mistakes that are listed. Nobody mends more at once, and a request made of nothing else must not fill the memory.
const MOST_LISTED: usize = 10_000;

/// Every mistake of a request, in the order found. A value in `defaults` is read by many items: its mistake is kept once.
#[derive(Debug, Default)]
pub(crate) struct Mistakes {
    list: Vec<Mistake>,
    seen: BTreeSet<(MistakeCode, Pointer, String)>,
}

impl Mistakes {
    /// Adds one, unless it is there already.
    pub(crate) fn add(&mut self, code: MistakeCode, pointer: &Pointer, message: impl Into<String>) {
        if self.list.len() >= MOST_LISTED {
            return;
        }
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
    fn a_request_of_nothing_but_mistakes_fills_no_memory() {
        let mut mistakes = Mistakes::default();
        for index in 0..2 * MOST_LISTED {
            mistakes.add(MistakeCode::WrongType, &Pointer::root().index(index), "no");
        }
        assert_eq!(mistakes.count(), MOST_LISTED);
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

//! The pick list for the packer: sorts cut stickers into orders, sees what is missing and why.
//!
//! In: the sheets of a run and what was set aside. Out: a PDF in the paper size asked for. For each sheet a page with the
//! sheet in small, its stickers in the colour of their order with the order's letter and their placement number inside,
//! and a table of what goes where; then a summary of all orders and of what was set aside. An order keeps its letter and
//! colour through the whole run, and the QR code of each page is the one on the sheet.
//!
//! Text is real text and can be searched. Ids come from outside: whatever they hold is set as plain glyphs, a box where the
//! font has none, and cut or wrapped to its column.
//!
//! Sizes of type and the order of things: common practice, no source.

mod book;
mod keys;
mod map;
mod rows;
mod sheet_pages;
mod summary;
mod table;

#[cfg(test)]
mod tests;

use book::Book;
use keys::Keys;

use crate::fault::Fault;
use crate::sheet::Sheet;
use crate::units::Mm;

/// What the pick list says of an item that was set aside.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAsideLine {
    /// The order; empty for a shop's own sticker.
    pub order: String,
    /// The item.
    pub item: String,
    /// How many copies.
    pub copies: u32,
    /// Why, in plain words.
    pub why: String,
}

/// `pick-list.pdf`: each sheet in small, marked by order, with a table, and a summary page.
///
/// # Errors
/// `output.broken`.
pub fn write(sheets: &[Sheet], set_aside: &[SetAsideLine], page: (Mm, Mm)) -> Result<Vec<u8>, Fault> {
    let keys = Keys::of(sheets);
    let mut book = Book::new(page);
    for sheet in sheets {
        sheet_pages::write(&mut book, sheet, &keys);
    }
    summary::write(&mut book, sheets, set_aside, &keys);
    let run = sheets.first().map_or("", |sheet| sheet.run.as_str());
    let date = sheets.first().and_then(|sheet| sheet.date.clone());
    book.finish(run, date)
}

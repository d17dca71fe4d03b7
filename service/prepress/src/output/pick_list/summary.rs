//! The summary: totals, every order, and what was set aside with the reason.

use std::collections::{BTreeMap, BTreeSet};

use super::SetAsideLine;
use super::book::{Book, QUIET};
use super::keys::{Keys, order_of};
use super::rows::ranges;
use super::table::{self, Column, Kind, Line};
use crate::geom::{Rect, Shape};
use crate::lettering::Weight;
use crate::output::pdf::{Align, Ink};
use crate::sheet::Sheet;

const ORDERS: [Column; 6] = [
    Column { head: "", share: 0.8, kind: Kind::Chip },
    Column { head: "Order", share: 3.6, kind: Kind::Loud },
    Column { head: "Sheets", share: 2.4, kind: Kind::Plain },
    Column { head: "Pieces", share: 1.2, kind: Kind::Count },
    Column { head: "Set aside", share: 1.3, kind: Kind::Count },
    Column { head: "", share: 2.2, kind: Kind::Plain },
];

const SET_ASIDE: [Column; 4] = [
    Column { head: "Order", share: 2.2, kind: Kind::Loud },
    Column { head: "Item", share: 1.6, kind: Kind::Plain },
    Column { head: "Copies", share: 1.0, kind: Kind::Count },
    Column { head: "Why", share: 6.0, kind: Kind::Plain },
];

/// What is known of one order.
#[derive(Default)]
struct Tally {
    sheets: BTreeSet<u32>,
    pieces: u64,
    set_aside: u64,
}

/// Writes the summary's pages.
pub(super) fn write(book: &mut Book, sheets: &[Sheet], set_aside: &[SetAsideLine], keys: &Keys) {
    let run = sheets.first().map_or("", |sheet| sheet.run.as_str());
    let running = [run, "summary"].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" · ");
    let tallies = tally(sheets, set_aside);
    book.open(&running);
    let (left, top, scale) = (book.left(), book.y, book.scale);
    let quiet = book.style(3.2, Weight::Regular, QUIET);
    let width = book.width();
    book.text_within(run, (left, top + 3.4 * scale), width, quiet);
    let loud = book.style(10.0, Weight::Bold, Ink::Black);
    book.text_within("Summary", (left, top + 13.4 * scale), width, loud);
    book.y = top + 18.0 * scale;
    totals(book, sheets, &tallies);
    section(book, "Orders", &ORDERS, &order_lines(&tallies, keys), &running);
    let lines: Vec<Line> = set_aside.iter().map(set_aside_line).collect();
    section(book, "Set aside", &SET_ASIDE, &lines, &running);
}

fn tally(sheets: &[Sheet], set_aside: &[SetAsideLine]) -> BTreeMap<String, Tally> {
    let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
    for sheet in sheets {
        for order in sheet.placements.iter().filter_map(order_of) {
            let tally = tallies.entry(order.to_owned()).or_default();
            tally.sheets.insert(sheet.number);
            tally.pieces += 1;
        }
    }
    for line in set_aside.iter().filter(|line| !line.order.is_empty()) {
        tallies.entry(line.order.clone()).or_default().set_aside += u64::from(line.copies);
    }
    tallies
}

/// Large numbers in a row of boxes.
fn totals(book: &mut Book, sheets: &[Sheet], tallies: &BTreeMap<String, Tally>) {
    let placed: u64 = tallies.values().map(|tally| tally.pieces).sum();
    let aside: u64 = tallies.values().map(|tally| tally.set_aside).sum();
    let fillers =
        sheets.iter().flat_map(|sheet| &sheet.placements).filter(|placement| order_of(placement).is_none()).count();
    let complete = tallies.values().filter(|tally| tally.set_aside == 0).count();
    let boxes = [
        (sheets.len().to_string(), "sheets"),
        (placed.to_string(), "stickers placed"),
        (aside.to_string(), "set aside"),
        (format!("{complete} / {}", tallies.len()), "orders complete"),
        (fillers.to_string(), "shop’s own"),
    ];
    let (scale, gap) = (book.scale, 2.5 * book.scale);
    let width = (book.width() - gap * (boxes.len() - 1) as f64) / boxes.len() as f64;
    let (mut x, y) = (book.left(), book.y);
    for (number, word) in boxes {
        let area = Rect::new(x, y, x + width, y + 16.0 * scale);
        book.canvas().fill(&area.to_rounded_rect(1.5 * scale).to_path(1e-3), Ink::Grey(0.95));
        let mut loud = book.style(7.0, Weight::Bold, Ink::Black);
        let wide = book.fonts.width(&number, loud.size, loud.weight).mm();
        loud.size = loud.size * (width * 0.86 / wide).min(1.0);
        book.text(&number, (area.center().x, y + 8.4 * scale), Align::Centre, loud);
        let mut quiet = book.style(2.7, Weight::Regular, QUIET);
        let wide = book.fonts.width(word, quiet.size, quiet.weight).mm();
        quiet.size = quiet.size * (width * 0.92 / wide).min(1.0);
        book.text(word, (area.center().x, y + 13.0 * scale), Align::Centre, quiet);
        x += width + gap;
    }
    book.y = y + 16.0 * scale;
}

fn section(book: &mut Book, title: &str, columns: &[Column], lines: &[Line], running: &str) {
    if lines.is_empty() {
        return;
    }
    let scale = book.scale;
    // A title never stands alone at a page's foot.
    if book.room() < 32.0 * scale {
        book.go_on(running);
    }
    let style = book.style(4.6, Weight::Bold, Ink::Black);
    let at = (book.left(), book.y + 10.0 * scale);
    book.text(title, at, Align::Left, style);
    book.y += 12.0 * scale;
    table::set(book, columns, lines, running);
}

/// Orders on sheets as they first stand there, then those of which nothing could be placed.
fn order_lines(tallies: &BTreeMap<String, Tally>, keys: &Keys) -> Vec<Line> {
    let mut orders: Vec<(&String, &Tally)> = tallies.iter().collect();
    orders.sort_by_key(|(order, _)| keys.rank(Some(order)));
    let line = |(order, tally): (&String, &Tally)| {
        let sheets: Vec<u32> = tally.sheets.iter().copied().collect();
        let state = match (tally.pieces, tally.set_aside) {
            (_, 0) => "complete",
            (0, _) => "nothing placed",
            _ => "incomplete",
        };
        let cells = [
            String::new(),
            order.clone(),
            ranges(&sheets),
            tally.pieces.to_string(),
            tally.set_aside.to_string(),
            state.to_owned(),
        ];
        Line { key: (tally.pieces > 0).then(|| keys.key(Some(order))), cells: cells.to_vec() }
    };
    orders.into_iter().map(line).collect()
}

fn set_aside_line(line: &SetAsideLine) -> Line {
    let order = if line.order.is_empty() { "shop’s own".to_owned() } else { line.order.clone() };
    Line { key: None, cells: vec![order, line.item.clone(), line.copies.to_string(), line.why.clone()] }
}

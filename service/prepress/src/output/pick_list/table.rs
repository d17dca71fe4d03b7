//! Tables whose rows wrap, break over pages and repeat their heads.

use super::book::{Book, QUIET, RULE};
use super::keys::Key;
use crate::geom::{BezPath, Rect};
use crate::lettering::Weight;
use crate::output::pdf::{Align, Ink, Style};
use crate::units::Mm;

/// A column.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column {
    /// Its head.
    pub(super) head: &'static str,
    /// Its share of the width that columns have together.
    pub(super) share: f64,
    /// How its cells are set.
    pub(super) kind: Kind,
}

/// How cells are set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// An order's letter in its colour.
    Chip,
    /// Large and bold.
    Loud,
    /// As it is, wrapped.
    Plain,
    /// Numbers, to the right.
    Count,
}

/// One row: a cell of text for each column, and the order's mark for the chip.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// For a column of chips.
    pub(super) key: Option<Key>,
    /// One for each column; a chip's is not looked at.
    pub(super) cells: Vec<String>,
}

/// Most lines of a cell in one piece; what is longer goes on in the next row. Keeps every row shorter than a page.
const MOST_LINES: usize = 10;

/// Line spacing and size of type of rows, for A4.
const LEADING: f64 = 3.9;
const SIZE: f64 = 2.9;
const LOUD: f64 = 3.6;
const PADDING: f64 = 1.5;

/// How much height a table takes in one piece.
pub(super) fn height(book: &Book, columns: &[Column], lines: &[Line]) -> f64 {
    let rows: f64 =
        lines.iter().flat_map(|line| pieces(book, columns, line)).map(|piece| piece_height(book, &piece)).sum();
    rows + head_height(book)
}

/// Sets a table from where the book is, going on to new pages where it must. `running` stands at their feet.
pub(super) fn set(book: &mut Book, columns: &[Column], lines: &[Line], running: &str) {
    let mut started = false;
    for line in lines {
        let mut chip = line.key.as_ref();
        for piece in pieces(book, columns, line) {
            let needed = piece_height(book, &piece) + if started { 0.0 } else { head_height(book) };
            if needed > book.room() {
                book.go_on(running);
                started = false;
            }
            if !started {
                head(book, columns);
                started = true;
            }
            row(book, columns, &piece, chip.take());
        }
    }
}

/// A row's cells, wrapped and cut into pieces of at most [`MOST_LINES`].
fn pieces(book: &Book, columns: &[Column], line: &Line) -> Vec<Vec<Vec<String>>> {
    let cells: Vec<Vec<String>> = columns
        .iter()
        .zip(widths(book, columns))
        .zip(&line.cells)
        .map(|((column, width), text)| match column.kind {
            Kind::Chip => Vec::new(),
            Kind::Loud | Kind::Plain | Kind::Count => {
                wrapped(book, text, style(book, column.kind), width - PADDING * book.scale)
            }
        })
        .collect();
    let most = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
    let piece = |start: usize| -> Vec<Vec<String>> {
        let part = |cell: &Vec<String>| cell.iter().skip(start).take(MOST_LINES).cloned().collect();
        cells.iter().map(part).collect()
    };
    (0..most).step_by(MOST_LINES).map(piece).collect()
}

fn piece_height(book: &Book, piece: &[Vec<String>]) -> f64 {
    let lines = piece.iter().map(Vec::len).max().unwrap_or(0).max(1);
    (lines as f64 * LEADING + PADDING * 2.0) * book.scale
}

fn head_height(book: &Book) -> f64 {
    6.0 * book.scale
}

fn widths(book: &Book, columns: &[Column]) -> Vec<f64> {
    let whole: f64 = columns.iter().map(|column| column.share).sum();
    columns.iter().map(|column| column.share / whole * book.width()).collect()
}

fn style(book: &Book, kind: Kind) -> Style<'static> {
    match kind {
        Kind::Chip | Kind::Loud => book.style(LOUD, Weight::Bold, Ink::Black),
        Kind::Plain | Kind::Count => book.style(SIZE, Weight::Regular, Ink::Black),
    }
}

fn head(book: &mut Book, columns: &[Column]) {
    let style = book.style(2.3, Weight::Bold, QUIET);
    let (mut x, y) = (book.left(), book.y + 3.6 * book.scale);
    for (column, width) in columns.iter().zip(widths(book, columns)) {
        let padding = PADDING * book.scale;
        match column.kind {
            Kind::Count => book.text(column.head, (x + width - padding * 2.0, y), Align::Right, style),
            Kind::Chip | Kind::Loud | Kind::Plain => book.text_within(column.head, (x, y), width - padding, style),
        }
        x += width;
    }
    book.y += head_height(book);
    let y = book.y;
    book.rule(y);
}

fn row(book: &mut Book, columns: &[Column], piece: &[Vec<String>], key: Option<&Key>) {
    let height = piece_height(book, piece);
    let scale = book.scale;
    let (mut x, top) = (book.left(), book.y);
    for ((column, width), lines) in columns.iter().zip(widths(book, columns)).zip(piece) {
        let style = style(book, column.kind);
        let baseline = top + (PADDING + LEADING * 0.76) * scale;
        if let (Kind::Chip, Some(key)) = (column.kind, key) {
            let side = (LEADING + PADDING) * scale;
            let width = (width - PADDING * scale).min(side * 1.6);
            let area = Rect::new(x, top + PADDING * 0.5 * scale, x + width, top + PADDING * 0.5 * scale + side);
            book.chip(area, &key.letter, key.colour, 3.9);
        }
        for (number, line) in lines.iter().enumerate() {
            let y = baseline + number as f64 * LEADING * scale;
            match column.kind {
                Kind::Count => book.text(line, (x + width - PADDING * 2.0 * scale, y), Align::Right, style),
                Kind::Chip | Kind::Loud | Kind::Plain => book.text(line, (x, y), Align::Left, style),
            }
        }
        x += width;
    }
    book.y = top + height;
    let mut under = BezPath::new();
    under.move_to((book.left(), book.y));
    under.line_to((book.right(), book.y));
    book.canvas().stroke(&under, Mm::of(0.1), RULE);
}

/// Text broken at spaces into lines of a width; a word longer than a line is cut.
pub(super) fn wrapped(book: &Book, text: &str, style: Style<'_>, width: f64) -> Vec<String> {
    let room = Mm::of(width.max(1.0));
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match longer.filter(|line| book.fonts.width(line, style.size, style.weight) <= room) {
            Some(line) => {
                lines.pop();
                lines.push(line);
            }
            None => lines.push(book.fonts.elided(word, style, room)),
        }
    }
    lines
}

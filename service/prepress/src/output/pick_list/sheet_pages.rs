//! The pages of one sheet: head, the sheet in small, the table.

use qrcodegen::QrCodeEcc;

use super::book::{Book, QUIET};
use super::keys::Keys;
use super::map;
use super::rows::{self, Row, ranges};
use super::table::{self, Column, Kind, Line};
use crate::geom::{Affine, Rect, Vec2};
use crate::lettering::Weight;
use crate::output::pdf::{Align, Ink};
use crate::sheet::Sheet;
use crate::sheet::qr::{self, QUIET_MODULES};

/// What a packer looks for, in the order in which the eye runs along.
const COLUMNS: [Column; 9] = [
    Column { head: "", share: 0.8, kind: Kind::Chip },
    Column { head: "Order", share: 2.0, kind: Kind::Loud },
    Column { head: "Item", share: 1.4, kind: Kind::Plain },
    Column { head: "Pieces", share: 1.05, kind: Kind::Count },
    Column { head: "Copies", share: 1.6, kind: Kind::Plain },
    Column { head: "Where on sheet", share: 1.9, kind: Kind::Plain },
    Column { head: "Product", share: 1.5, kind: Kind::Plain },
    Column { head: "Size", share: 1.65, kind: Kind::Plain },
    Column { head: "Tags", share: 2.4, kind: Kind::Plain },
];

/// Characters of an item id that its column has room for.
const LONG_ITEM_CHARS: usize = 9;

/// Least share of the page's height that the sheet in small gets when a table follows on the same page.
const LEAST_MAP: f64 = 0.5;

/// Side of the QR code with its quiet zone on A4.
const QR_MM: f64 = 24.0;

/// Writes the pages of a sheet.
pub(super) fn write(book: &mut Book, sheet: &Sheet, keys: &Keys) {
    let running = format!("{} · sheet {} of {} · {}", sheet.run, sheet.number, sheet.of, sheet.stock.stock);
    let rows = rows::of(sheet, keys);
    let lines: Vec<Line> = rows.iter().map(|row| line(row, keys)).collect();
    book.open(&running);
    head(book, sheet, &rows);
    let gap = 4.0 * book.scale;
    let columns = columns(&rows);
    let needed = table::height(book, &columns, &lines) + gap;
    let room = book.room();
    // Where the table does not fit under a map of fair size, the map has the page to itself.
    let map_height = if room - needed >= room * LEAST_MAP { room - needed } else { room };
    let area = map::fit(sheet, book.left(), book.y, book.width(), map_height);
    map::draw(book, sheet, keys, area);
    book.y = (area.y1 + gap + 2.0).min(book.y + map_height + gap);
    table::set(book, &columns, &lines, &running);
}

/// Item ids get the room that tags do not need, and some of theirs when ids are long.
fn columns(rows: &[Row]) -> [Column; 9] {
    let mut columns = COLUMNS;
    let lent = if rows.iter().all(|row| row.tags.is_empty()) {
        1.8
    } else if rows.iter().any(|row| row.item.chars().count() > LONG_ITEM_CHARS) {
        0.8
    } else {
        0.0
    };
    columns[2].share += lent;
    columns[8].share -= lent;
    columns
}

fn line(row: &Row, keys: &Keys) -> Line {
    let order = row.order.clone().unwrap_or_else(|| "shop’s own".to_owned());
    let cells = vec![
        String::new(),
        order,
        row.item.clone(),
        row.places.len().to_string(),
        ranges(&row.copies),
        ranges(&row.places),
        row.product.clone(),
        row.size.clone(),
        row.tags.join(", "),
    ];
    Line { key: Some(keys.key(row.order.as_deref())), cells }
}

fn head(book: &mut Book, sheet: &Sheet, rows: &[Row]) {
    let (scale, top, left) = (book.scale, book.y, book.left());
    let side = QR_MM * scale;
    qr_code(
        book,
        &format!("{}/{}", sheet.run, sheet.number),
        Rect::new(book.right() - side, top, book.right(), top + side),
    );
    let width = book.width() - side - 4.0 * scale;
    let quiet = book.style(3.2, Weight::Regular, QUIET);
    let date = sheet.date.as_deref().map(|date| format!(" · {date}")).unwrap_or_default();
    book.text_within(&format!("{}{date}", sheet.run), (left, top + 3.4 * scale), width, quiet);
    let loud = book.style(10.0, Weight::Bold, Ink::Black);
    let title = format!("Sheet {}", sheet.number);
    let baseline = top + 13.4 * scale;
    let after = book.fonts.width(&title, loud.size, loud.weight).mm();
    book.text_within(&title, (left, baseline), width, loud);
    let of = book.style(5.0, Weight::Regular, QUIET);
    book.text_within(&format!("of {}", sheet.of), (left + after + 2.5 * scale, baseline), width - after, of);
    let stock = [sheet.stock.stock.as_str(), sheet.stock.finish.as_str()];
    let stock = stock.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" · ");
    let plain = book.style(3.6, Weight::Bold, Ink::Black);
    book.text_within(&stock, (left, top + 19.0 * scale), width, plain);
    let orders = rows.iter().filter_map(|row| row.order.as_deref()).collect::<std::collections::BTreeSet<_>>().len();
    let counted = format!(
        "{} · {} · {} × {} mm",
        counted(sheet.placements.len(), "sticker"),
        counted(orders, "order"),
        (sheet.frame.width.mm() * 10.0).round() / 10.0,
        (sheet.frame.height.mm() * 10.0).round() / 10.0
    );
    book.text_within(&counted, (left, top + 23.6 * scale), width, quiet);
    book.y = top + side + 2.0 * scale;
    let y = book.y;
    book.rule(y);
    book.y += 1.0 * scale;
}

/// A number with its noun.
pub(super) fn counted(number: usize, noun: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {noun}{plural}")
}

/// Four modules of quiet zone (ISO/IEC 18004, 6.3.8) inside the area.
fn qr_code(book: &mut Book, text: &str, area: Rect) {
    // A run has at most 32 characters and a sheet's number at most 10: far below what a code holds.
    let Some(code) = qr::encode(text, QrCodeEcc::Medium) else { return };
    let module = area.width() / (f64::from(code.modules) + 2.0 * QUIET_MODULES);
    let corner = area.origin().to_vec2() + Vec2::new(QUIET_MODULES, QUIET_MODULES) * module;
    let path = Affine::translate(corner) * Affine::scale(module) * code.path;
    book.canvas().fill(&path, Ink::Black);
    let caption = book.style(2.3, Weight::Regular, QUIET);
    book.text(text, (area.center().x, area.y1), Align::Centre, caption);
}

//! The sheet in small: where every sticker stands, whose it is, and which edge goes first.

use std::collections::BTreeMap;
use std::sync::Arc;

use kurbo::{Circle, Shape};

use super::book::{Book, QUIET, RULE};
use super::keys::{Keys, order_of};
use crate::geom::{Affine, BezPath, Point, Rect, Ring};
use crate::lettering::Weight;
use crate::order::FeedEdge;
use crate::output::pdf::{Align, Ink, Style};
use crate::sheet::{Placement, Sheet};
use crate::sticker::Sticker;
use crate::units::Mm;

/// Least and greatest size of the lettering in a sticker, mm on paper. Under the least nobody could read it.
const LETTERING_MM: (f64, f64) = (1.3, 5.0);

/// Lettering keeps this share of the room, so that it stands clear of the outline.
const CLEAR: f64 = 0.88;

/// Cells along each side of the grid on which a sticker's roomiest place is looked for: exact enough for lettering.
const GRID: usize = 14;

/// Room for the arrow at the feed edge.
const ARROW_MM: f64 = 4.5;

/// The largest box of the sheet's shape in a room of this width and height, in its middle, arrow aside.
pub(super) fn fit(sheet: &Sheet, left: f64, top: f64, width: f64, height: f64) -> Rect {
    let (room_width, room_height) = ((width - 2.0 * ARROW_MM).max(1.0), (height - 2.0 * ARROW_MM).max(1.0));
    let scale = (room_width / sheet.frame.width.mm()).min(room_height / sheet.frame.height.mm());
    let (map_width, map_height) = (sheet.frame.width.mm() * scale, sheet.frame.height.mm() * scale);
    let x = left + (width - map_width) / 2.0;
    let y = top + ARROW_MM;
    Rect::new(x, y, x + map_width, y + map_height)
}

/// Draws the sheet into a box of its shape.
pub(super) fn draw(book: &mut Book, sheet: &Sheet, keys: &Keys, area: Rect) {
    let scale = area.width() / sheet.frame.width.mm();
    let to_paper = Affine::translate((area.x0, area.y0)) * Affine::scale(scale);
    book.canvas().stroke(&area.to_path(0.1), Mm::of(0.35), QUIET);
    let window = to_paper.transform_rect_bbox(sheet.frame.window);
    book.canvas().stroke(&window.to_path(0.1), Mm::of(0.12), RULE);
    for mark in &sheet.frame.marks {
        let radius = (mark.diameter.mm() / 2.0 * scale).max(0.4);
        book.canvas().fill(&Circle::new(to_paper * mark.centre, radius).to_path(0.01), Ink::Black);
    }
    let mut roomiest = BTreeMap::new();
    for placement in &sheet.placements {
        sticker(book, placement, keys, to_paper, &mut roomiest);
    }
    feed_arrow(book, sheet.stock.feed_edge, area);
}

/// By a sticker's address (for look-up only): its roomiest place with the room around it, in its own frame.
type Roomiest = BTreeMap<*const Sticker, Option<(Point, f64)>>;

fn sticker(book: &mut Book, placement: &Placement, keys: &Keys, to_paper: Affine, roomiest: &mut Roomiest) {
    let key = keys.key(order_of(placement));
    let place = to_paper * placement.pose.to_affine();
    let mut path = BezPath::new();
    for ring in &placement.sticker.outermost {
        outline(&mut path, &thinned(&ring.transformed(place)));
    }
    let canvas = book.canvas();
    canvas.fill(&path, Ink::Rgb(key.colour));
    canvas.stroke(&path, Mm::of(0.15), Ink::Grey(0.45));
    let found = *roomiest.entry(Arc::as_ptr(&placement.sticker)).or_insert_with(|| {
        placement.sticker.outermost.iter().filter_map(roomiest_place).max_by(|a, b| a.1.total_cmp(&b.1))
    });
    let Some((centre, room)) = found else { return };
    let scale = to_paper.as_coeffs()[0];
    letter(book, &key.letter, placement.placement, place * centre, room * scale * CLEAR);
}

/// The order's letter, bold, and the placement's number: beside each other, one above the other, or the letter alone.
fn letter(book: &mut Book, letter: &str, number: u32, centre: Point, room: f64) {
    let number = number.to_string();
    let bold = |size: f64| Style { size: Mm::of(size), weight: Weight::Bold, ink: Ink::Black };
    let plain = |size: f64| Style { size: Mm::of(size), weight: Weight::Regular, ink: Ink::Black };
    let width = |book: &Book, text: &str, weight| book.fonts.width(text, Mm::of(1.0), weight).mm();
    let (letter_em, number_em) = (width(book, letter, Weight::Bold), width(book, &number, Weight::Regular));
    // Largest sizes at which each setting stays inside the circle of this radius.
    let stacked = room / (letter_em.max(number_em * 0.8) / 2.0).hypot(0.9);
    let beside = room / ((letter_em + number_em + 0.3) / 2.0).hypot(0.4);
    let alone = room / (letter_em / 2.0).hypot(0.4);
    let capped = |size: f64| size.min(LETTERING_MM.1);
    if stacked.max(beside) >= LETTERING_MM.0 && beside >= stacked {
        let size = capped(beside);
        let start = centre.x - (letter_em + number_em + 0.3) * size / 2.0;
        let y = centre.y + size * 0.36;
        book.text(letter, (start, y), Align::Left, bold(size));
        book.text(&number, (start + (letter_em + 0.3) * size, y), Align::Left, plain(size));
    } else if stacked >= LETTERING_MM.0 {
        let size = capped(stacked);
        book.text(letter, (centre.x, centre.y - size * 0.12), Align::Centre, bold(size));
        book.text(&number, (centre.x, centre.y + size * 0.78), Align::Centre, plain(size * 0.8));
    } else if alone >= LETTERING_MM.0 {
        let size = capped(alone);
        book.text(letter, (centre.x, centre.y + size * 0.36), Align::Centre, bold(size));
    }
}

/// The place of a ring with the most room around it, and how much, by a grid over its box.
fn roomiest_place(ring: &Ring) -> Option<(Point, f64)> {
    let ring = thinned(ring);
    let bounds = ring.bounds();
    let step = |n: usize, from: f64, length: f64| from + length * (n as f64 + 0.5) / GRID as f64;
    let cells = (0..GRID * GRID).map(|cell| {
        Point::new(step(cell % GRID, bounds.x0, bounds.width()), step(cell / GRID, bounds.y0, bounds.height()))
    });
    // The middle first: where it is as good as any, lettering stands there.
    let candidates = std::iter::once(bounds.center()).chain(cells).filter(|point| ring.contains(*point));
    let with_room = candidates.map(|point| (point, ring.distance_to_edges(point)));
    with_room.reduce(|best, next| if next.1 > best.1 * 1.1 { next } else { best })
}

/// Without points nearer than a tenth of a millimetre to the one before: nobody sees them, and files stay small.
fn thinned(ring: &Ring) -> Ring {
    let mut kept: Vec<Point> = Vec::new();
    for point in ring.points() {
        if kept.last().is_none_or(|last| last.distance(*point) > 0.1) {
            kept.push(*point);
        }
    }
    if kept.len() < 3 { ring.clone() } else { Ring::new(kept) }
}

fn outline(path: &mut BezPath, ring: &Ring) {
    let Some((first, rest)) = ring.points().split_first() else { return };
    path.move_to(*first);
    rest.iter().for_each(|point| path.line_to(*point));
    path.close_path();
}

/// A triangle outside the edge that enters the machine first.
fn feed_arrow(book: &mut Book, edge: FeedEdge, area: Rect) {
    let centre = area.center();
    let (tip, back) = match edge {
        FeedEdge::Top => (Point::new(centre.x, area.y0 - ARROW_MM + 1.0), Point::new(centre.x, area.y0 - 1.0)),
        FeedEdge::Bottom => (Point::new(centre.x, area.y1 + ARROW_MM - 1.0), Point::new(centre.x, area.y1 + 1.0)),
        FeedEdge::Left => (Point::new(area.x0 - ARROW_MM + 1.0, centre.y), Point::new(area.x0 - 1.0, centre.y)),
        FeedEdge::Right => (Point::new(area.x1 + ARROW_MM - 1.0, centre.y), Point::new(area.x1 + 1.0, centre.y)),
    };
    let along = tip - back;
    let across = kurbo::Vec2::new(-along.y, along.x) * 0.6;
    let mut path = BezPath::new();
    path.move_to(tip);
    path.line_to(back + across);
    path.line_to(back - across);
    path.close_path();
    book.canvas().fill(&path, QUIET);
    let style = Style { size: Mm::of(2.3), weight: Weight::Regular, ink: QUIET };
    match edge {
        FeedEdge::Top | FeedEdge::Bottom => {
            let y = (tip.y + back.y) / 2.0 + 0.8;
            book.text("feeds first", (centre.x + 3.0, y), Align::Left, style);
        }
        // Beside the sheet a word would need more room than there is.
        FeedEdge::Left | FeedEdge::Right => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roomiest_place_of_a_concave_outline_lies_inside_it() {
        let corners = [(0.0, 0.0), (30.0, 0.0), (30.0, 4.0), (12.0, 4.0), (12.0, 30.0), (0.0, 30.0)];
        let ring = Ring::new(corners.iter().map(|(x, y)| Point::new(*x, *y)).collect());
        let (place, room) = roomiest_place(&ring).expect("a place");
        assert!(ring.contains(place) && room > 4.5, "{place:?} {room}");
        assert_eq!(roomiest_place(&Ring::new(Vec::new())), None);
    }
}

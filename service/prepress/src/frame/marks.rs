//! Register marks: where the discs stand, rows and bands of a roll.

use crate::frame::sides::{Extent, clockwise_of, index, on, opposite};
use crate::frame::{Mark, TOLERANCE_MM};
use crate::geom::{Point, Rect};
use crate::order::{FeedEdge, Form, RegisterMarks, Stock};
use crate::units::Mm;

/// Place of the fifth disc between its two corner discs: off the middle, so that no other position of the sheet shows
/// the same pattern.
const FIFTH_AT: f64 = 3.0 / 8.0;

/// Length of the band between two sections.
pub(super) fn band_length(discs: &RegisterMarks) -> f64 {
    discs.diameter.mm() + 2.0 * discs.clear.mm()
}

/// Section length of a roll that has sections: rolls without marks have none.
fn section_mm(stock: &Stock) -> Option<f64> {
    match (&stock.form, &stock.register_marks) {
        (Form::Roll { section_length, .. }, Some(_)) => section_length.map(Mm::mm),
        (Form::Roll { .. }, None) | (Form::Sheet { .. }, _) => None,
    }
}

/// Distance of the first row from the feed edge.
fn first_row(stock: &Stock, discs: &RegisterMarks) -> f64 {
    on(&stock.unprintable, stock.feed_edge) + discs.diameter.mm() / 2.0
}

/// A roll's longest length shortened where its window would end inside a band, which no sticker can use.
pub(super) fn without_dead_end(stock: &Stock, extent: Extent, strips: [f64; 4]) -> Extent {
    let (Some(section), Some(discs)) = (section_mm(stock), &stock.register_marks) else { return extent };
    let far = opposite(stock.feed_edge);
    let beyond = on(&stock.margins, far) + strips[index(far)];
    let end = extent.height - beyond;
    let half = band_length(discs) / 2.0;
    let nearest = ((end - first_row(stock, discs)) / section).round();
    let band = first_row(stock, discs) + nearest * section;
    let ends_in_band = nearest >= 1.0 && end > band - half && end <= band + half + TOLERANCE_MM;
    if ends_in_band { Extent { height: band - half + beyond, ..extent } } else { extent }
}

/// Distances of the rows of corner discs from the feed edge, nearest first; empty without marks. A sheet has two.
pub(super) fn rows(stock: &Stock, extent: Extent, window: Rect) -> Vec<f64> {
    let Some(discs) = &stock.register_marks else { return Vec::new() };
    let length = Feed { edge: stock.feed_edge, extent }.length();
    let last = length - on(&stock.unprintable, opposite(stock.feed_edge)) - discs.diameter.mm() / 2.0;
    let mut rows = vec![first_row(stock, discs)];
    let Some(section) = section_mm(stock) else {
        rows.push(last);
        return rows;
    };
    let window_end = match stock.feed_edge {
        FeedEdge::Bottom => extent.height - window.y0,
        FeedEdge::Top | FeedEdge::Right | FeedEdge::Left => window.y1,
    };
    let half = band_length(discs) / 2.0;
    let mut next = rows[0] + section;
    while next - half < window_end - TOLERANCE_MM && next < last {
        rows.push(next);
        next += section;
    }
    rows.push(last.min(next));
    rows
}

/// The bands between sections, as wide as the window.
pub(super) fn bands(stock: &Stock, extent: Extent, rows: &[f64], window: Rect) -> Vec<Rect> {
    let Some(discs) = &stock.register_marks else { return Vec::new() };
    let half = band_length(discs) / 2.0;
    let inner = rows.get(1..rows.len().saturating_sub(1)).unwrap_or_default();
    let centre = |row: &f64| if stock.feed_edge == FeedEdge::Bottom { extent.height - row } else { *row };
    inner
        .iter()
        .map(centre)
        .map(|y| Rect::new(window.x0, (y - half).max(window.y0), window.x1, (y + half).min(window.y1)))
        .collect()
}

/// Every mark.
pub(super) fn stand(stock: &Stock, extent: Extent, rows: &[f64]) -> Vec<Mark> {
    let Some(discs) = &stock.register_marks else { return Vec::new() };
    match &discs.at {
        None => our_own(stock, discs, extent, rows),
        Some(at) => {
            let mut marks: Vec<Mark> = Vec::new();
            for mark in (0..at.len()).flat_map(|number| stands_of(stock, extent, rows, number)) {
                if marks.iter().all(|other| other.centre.distance(mark.centre) > TOLERANCE_MM) {
                    marks.push(mark);
                }
            }
            if matches!(stock.form, Form::Roll { .. }) {
                let from_feed = |mark: &Mark| match stock.feed_edge {
                    FeedEdge::Bottom => -mark.centre.y,
                    FeedEdge::Top | FeedEdge::Right | FeedEdge::Left => mark.centre.y,
                };
                marks.sort_by(|a, b| from_feed(a).total_cmp(&from_feed(b)));
            }
            marks
        }
    }
}

/// Corner discs in each row and a fifth in every row but the last.
fn our_own(stock: &Stock, discs: &RegisterMarks, extent: Extent, rows: &[f64]) -> Vec<Mark> {
    let feed = Feed { edge: stock.feed_edge, extent };
    let radius = discs.diameter.mm() / 2.0;
    let end_side = clockwise_of(stock.feed_edge);
    let start = on(&stock.unprintable, opposite(end_side)) + radius;
    let end = feed.across() - on(&stock.unprintable, end_side) - radius;
    let fifth = start + FIFTH_AT * (end - start);
    let last = rows.len().saturating_sub(1);
    let mut marks = Vec::new();
    for (number, row) in rows.iter().enumerate() {
        let places: &[f64] = if number < last { &[start, fifth, end] } else { &[start, end] };
        marks.extend(places.iter().map(|place| mark(discs, feed.point(*place, *row))));
    }
    marks
}

fn mark(discs: &RegisterMarks, centre: Point) -> Mark {
    Mark { centre, diameter: discs.diameter, clear: discs.clear }
}

/// Where a centre that the stock gives stands: once on a sheet, once in each section of a roll.
///
/// On a roll its coordinates are those on a sheet whose two rows of corner discs are a section apart. In a section that is
/// shorter, the last one, a disc in the farther half keeps its distance from the farther row, and one that would stand
/// past the section's end is left out.
pub(super) fn stands_of(stock: &Stock, extent: Extent, rows: &[f64], number: usize) -> Vec<Mark> {
    let Some((discs, at)) = stock.register_marks.as_ref().and_then(|discs| Some((discs, discs.at.as_ref()?))) else {
        return Vec::new();
    };
    let Some(given) = at.get(number) else { return Vec::new() };
    let Form::Roll { max_length, .. } = stock.form else { return vec![mark(discs, *given)] };
    let first = first_row(stock, discs);
    let behind = on(&stock.unprintable, opposite(stock.feed_edge)) + discs.diameter.mm() / 2.0;
    let section = section_mm(stock).unwrap_or(max_length.mm() - behind - first);
    let nominal = first + section + behind;
    let bottom_first = stock.feed_edge == FeedEdge::Bottom;
    let from_feed = if bottom_first { nominal - given.y } else { given.y };
    let far = from_feed > nominal / 2.0;
    let place = |pair: &[f64]| {
        let row = if far { pair[1] + from_feed - first - section } else { pair[0] + from_feed - first };
        let shorter = pair[1] - pair[0] < section - TOLERANCE_MM;
        let has_no_place = shorter && (row < pair[0] - first || row > pair[1] + behind);
        let y = if bottom_first { extent.height - row } else { row };
        (!has_no_place).then(|| mark(discs, Point::new(given.x, y)))
    };
    rows.windows(2).filter_map(place).collect()
}

/// Coordinates of the feed: `row` away from the feed edge, `place` clockwise along it.
struct Feed {
    edge: FeedEdge,
    extent: Extent,
}

impl Feed {
    fn length(&self) -> f64 {
        match self.edge {
            FeedEdge::Top | FeedEdge::Bottom => self.extent.height,
            FeedEdge::Right | FeedEdge::Left => self.extent.width,
        }
    }

    fn across(&self) -> f64 {
        match self.edge {
            FeedEdge::Top | FeedEdge::Bottom => self.extent.width,
            FeedEdge::Right | FeedEdge::Left => self.extent.height,
        }
    }

    fn point(&self, place: f64, row: f64) -> Point {
        let Extent { width, height } = self.extent;
        match self.edge {
            FeedEdge::Top => Point::new(place, row),
            FeedEdge::Right => Point::new(width - row, place),
            FeedEdge::Bottom => Point::new(width - place, height - row),
            FeedEdge::Left => Point::new(row, height - place),
        }
    }
}

//! The print's pixel grid on the sticker, and signed distances to cut lines on it.

use crate::geom::{Affine, CutLine, Point, Rect, Ring, Vec2};
use crate::outline::FLATNESS;
use crate::units::{MM_PER_INCH, Ppi};

/// Most pixels of one print: beyond it the resolution is lowered. 300 ppi up to 680 x 680 mm; a longer banner is looked at
/// from farther away. Larger costs memory, about 14 bytes for each pixel while a sticker is made.
const MOST_PIXELS: f64 = 64e6;

/// Print pixels in the sticker's frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Grid {
    /// Upper left corner, mm.
    pub(super) origin: Point,
    /// Columns.
    pub(super) width: usize,
    /// Rows.
    pub(super) height: usize,
    /// Resolution.
    pub(super) ppi: Ppi,
}

impl Grid {
    /// The smallest grid that covers a box, with a pixel to spare on each side for soft edges.
    pub(super) fn covering(area: Rect, ppi: Ppi) -> Grid {
        let wanted = area.width().max(1.0) * area.height().max(1.0) * ppi.px_per_mm().powi(2);
        let ppi = if wanted > MOST_PIXELS { Ppi::of(ppi.ppi() * (MOST_PIXELS / wanted).sqrt()) } else { ppi };
        let pixel = MM_PER_INCH / ppi.ppi();
        let count = |length: f64| (length.max(0.0) / pixel).ceil() as usize + 2;
        let (width, height) = (count(area.width()), count(area.height()));
        let spare = Vec2::new(width as f64 * pixel - area.width(), height as f64 * pixel - area.height()) / 2.0;
        Grid { origin: Point::new(area.x0, area.y0) - spare, width, height, ppi }
    }

    /// How many pixels.
    pub(super) fn len(&self) -> usize {
        self.width * self.height
    }

    /// From pixels to the sticker's millimetres.
    pub(super) fn to_mm(self) -> Affine {
        Affine::translate(self.origin.to_vec2()) * Affine::scale(MM_PER_INCH / self.ppi.ppi())
    }

    /// Lines as polylines in pixels.
    pub(super) fn in_pixels<'a>(&self, lines: impl Iterator<Item = &'a CutLine>) -> Vec<Ring> {
        let to_px = self.to_mm().inverse();
        lines.map(|line| line.flattened(FLATNESS).transformed(to_px)).collect()
    }
}

/// Steps of a stored distance in one pixel: fine enough for 8-bit soft edges.
const STEPS: f32 = 32.0;

/// Pixels along a line that are measured together.
const STRIDE_PX: f64 = 16.0;

/// Signed distance of every pixel's centre to the edge of an area bounded by rings (even-odd), in pixels: negative inside,
/// exact up to a range and no more than that range beyond it.
#[derive(Clone, Debug)]
pub(super) struct Field {
    steps: Vec<i16>,
}

impl Field {
    /// Measures up to `range_px` on either side of the rings, given in pixels. Time in proportion to the lines' length
    /// times the range, plus the pixels.
    pub(super) fn of(rings: &[Ring], width: usize, height: usize, range_px: f64) -> Field {
        let range = range_px.clamp(1.0, f64::from(i16::MAX) / f64::from(STEPS) - 2.0);
        let far = (range * f64::from(STEPS)) as i16;
        let mut field = Field { steps: vec![far; width * height] };
        for (a, b) in rings.iter().flat_map(Ring::edges) {
            let pieces = ((b - a).hypot() / STRIDE_PX).ceil().max(1.0);
            for piece in 0..pieces as u32 {
                let at = |n: u32| a.lerp(b, f64::from(n) / pieces);
                field.near(at(piece), at(piece + 1), width, height, range);
            }
        }
        fill_inside(rings, width, height, |index| field.steps[index] = -field.steps[index]);
        field
    }

    /// Lowers the distance of pixels within `range` of a short straight piece.
    fn near(&mut self, a: Point, b: Point, width: usize, height: usize, range: f64) {
        let span = |low: f64, high: f64, count: usize| {
            let from = (low - range - 0.5).ceil().clamp(0.0, count as f64) as usize;
            let to = (high + range + 0.5).floor().clamp(0.0, count as f64) as usize;
            from..to.max(from)
        };
        let columns = span(a.x.min(b.x), a.x.max(b.x), width);
        let along = b - a;
        let per_length = if along.hypot2() > 0.0 { 1.0 / along.hypot2() } else { 0.0 };
        for row in span(a.y.min(b.y), a.y.max(b.y), height) {
            let line = &mut self.steps[row * width..][columns.clone()];
            let mut from = Point::new(columns.start as f64 + 0.5, row as f64 + 0.5) - a;
            for step in line {
                let share = (from.dot(along) * per_length).clamp(0.0, 1.0);
                let distance = ((from - along * share).hypot2() as f32).sqrt() * STEPS;
                *step = (*step).min(distance.min(f32::from(i16::MAX)) as i16);
                from.x += 1.0;
            }
        }
    }

    /// Signed distance of a pixel, in pixels.
    pub(super) fn px(&self, index: usize) -> f32 {
        f32::from(self.steps[index]) / STEPS
    }

    /// How much of a pixel lies within `offset` pixels outside the edge, 0 to 1: the soft edge of a straight line.
    pub(super) fn cover(&self, index: usize, offset: f32) -> f32 {
        (0.5 + offset - self.px(index)).clamp(0.0, 1.0)
    }
}

/// Calls `mark` for every pixel whose centre is inside the rings by the even-odd rule.
pub(super) fn fill_inside(rings: &[Ring], width: usize, height: usize, mut mark: impl FnMut(usize)) {
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); height];
    for (a, b) in rings.iter().flat_map(Ring::edges) {
        let (upper, lower) = if a.y <= b.y { (a, b) } else { (b, a) };
        // Rows whose centre y is in upper.y <= y < lower.y, so that a corner on a centre counts once.
        let row_of = |y: f64| (y - 0.5).ceil().clamp(0.0, height as f64) as usize;
        for (row, crossed) in crossings.iter_mut().enumerate().take(row_of(lower.y)).skip(row_of(upper.y)) {
            let share = (row as f64 + 0.5 - upper.y) / (lower.y - upper.y);
            crossed.push(upper.x + (lower.x - upper.x) * share);
        }
    }
    for (row, crossed) in crossings.iter_mut().enumerate() {
        crossed.sort_by(f64::total_cmp);
        for pair in crossed.chunks_exact(2) {
            let column_of = |x: f64| (x - 0.5).ceil().clamp(0.0, width as f64) as usize;
            (column_of(pair[0])..column_of(pair[1])).for_each(|column| mark(row * width + column));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grid_covers_its_box_and_keeps_its_resolution() {
        let area = Rect::new(-30.0, -20.0, 30.0, 20.0);
        let grid = Grid::covering(area, Ppi::of(300.0));
        let covered = grid.to_mm().transform_rect_bbox(Rect::new(0.0, 0.0, grid.width as f64, grid.height as f64));
        assert!(covered.union(area) == covered && covered.width() < 60.0 + 4.0 * 0.085);
        // 60 mm at 300 ppi: 708.66 px.
        assert_eq!(grid.width, 711);
    }

    #[test]
    fn a_huge_sticker_is_printed_coarser() {
        let grid = Grid::covering(Rect::new(0.0, 0.0, 6000.0, 3000.0), Ppi::of(300.0));
        assert!(grid.len() < 65_000_000 && grid.ppi.ppi() < 300.0);
    }

    #[test]
    fn distances_to_a_square_are_those_of_geometry() {
        let ring = Ring::rectangle(Rect::new(10.0, 10.0, 30.0, 30.0));
        let field = Field::of(&[ring], 40, 40, 8.0);
        let at = |x: usize, y: usize| field.px(y * 40 + x);
        assert!((at(20, 11) + 1.5).abs() < 0.05, "inside, one and a half pixels below the upper edge");
        assert!((at(34, 20) - 4.5).abs() < 0.05);
        assert!((at(32, 32) - 2.5 * 2f32.sqrt()).abs() < 0.05, "about a corner");
        assert!((at(20, 20) + 8.0).abs() < 0.05, "no more than the range");
        assert!(
            (field.cover(20 * 40 + 30, 0.0) - 0.0).abs() < 0.05 && (field.cover(20 * 40 + 29, 0.0) - 1.0).abs() < 0.05
        );
    }

    #[test]
    fn a_hole_is_outside() {
        let rings =
            [Ring::rectangle(Rect::new(2.0, 2.0, 38.0, 38.0)), Ring::rectangle(Rect::new(10.0, 10.0, 30.0, 30.0))];
        let mut inside = 0;
        fill_inside(&rings, 40, 40, |_| inside += 1);
        assert_eq!(inside, 36 * 36 - 20 * 20);
        assert!(Field::of(&rings, 40, 40, 4.0).px(20 * 40 + 20) > 0.0);
    }
}

//! Rows and columns of a picture, copied out one at a time.

use image::RgbaImage;

use crate::finding::Place;

/// Which way a line runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Axis {
    Row,
    Column,
}

/// One row or column inside the art's box, with two pixels more at each end where the picture has them.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) axis: Axis,
    /// The row's y, or the column's x.
    pub(super) fixed: u32,
    /// The place of the first pixel along the line.
    pub(super) start: u32,
    /// How many rows (columns) each one that is looked at stands for.
    pub(super) step: u32,
    pub(super) pixels: Vec<[u8; 4]>,
    pub(super) alpha: Vec<u8>,
    pub(super) luma: Vec<u8>,
}

/// What needs no pixel in between looks at so many places of a line at most.
const MOST_PLACES: usize = 800;

impl Line {
    /// From one place to the next for what looks at a few of them.
    pub(super) fn stride(&self) -> usize {
        self.pixels.len().div_ceil(MOST_PLACES).max(1)
    }

    /// The picture's pixel at a place along the line.
    pub(super) fn at(&self, along: usize) -> (u32, u32) {
        let along = self.start + along as u32;
        match self.axis {
            Axis::Row => (along, self.fixed),
            Axis::Column => (self.fixed, along),
        }
    }
}

/// Goes through rows or columns.
pub(super) struct Scan {
    next: u32,
    end: u32,
    from: u32,
    to: u32,
    line: Line,
}

impl Scan {
    /// Over an area, at most so many lines, evenly spread.
    pub(super) fn new(axis: Axis, area: Place, most: u32) -> Scan {
        let (across, along) = match axis {
            Axis::Row => ((area.y_px, area.height_px), (area.x_px, area.width_px)),
            Axis::Column => ((area.x_px, area.width_px), (area.y_px, area.height_px)),
        };
        let step = across.1.div_ceil(most).max(1);
        let line = Line { axis, fixed: 0, start: 0, step, pixels: Vec::new(), alpha: Vec::new(), luma: Vec::new() };
        Scan {
            next: across.0 + step / 2,
            end: across.0 + across.1,
            from: along.0.saturating_sub(2),
            to: along.0 + along.1 + 2,
            line,
        }
    }

    /// The next line; the one before is gone then.
    pub(super) fn next(&mut self, picture: &RgbaImage) -> Option<&Line> {
        let (width, height) = picture.dimensions();
        let (most_across, most_along) = if self.line.axis == Axis::Row { (height, width) } else { (width, height) };
        if self.next >= self.end.min(most_across) {
            return None;
        }
        self.line.fixed = self.next;
        self.line.start = self.from;
        self.next += self.line.step;
        let to = self.to.min(most_along);
        let samples = picture.as_raw();
        let (width, fixed) = (width as usize, self.line.fixed as usize);
        let line = &mut self.line;
        line.pixels.clear();
        let four = |pixel: &[u8]| [pixel[0], pixel[1], pixel[2], pixel[3]];
        match line.axis {
            Axis::Row => {
                let row = &samples[(fixed * width + self.from as usize) * 4..(fixed * width + to as usize) * 4];
                line.pixels.extend(row.chunks_exact(4).map(four));
            }
            Axis::Column => {
                let column = (self.from as usize..to as usize).map(|y| (y * width + fixed) * 4);
                line.pixels.extend(column.map(|at| four(&samples[at..at + 4])));
            }
        }
        line.alpha.clear();
        line.alpha.extend(line.pixels.iter().map(|pixel| pixel[3]));
        line.luma.clear();
        line.luma.extend(line.pixels.iter().map(|pixel| luma(*pixel)));
        Some(&self.line)
    }
}

/// Alpha at a place; `None` beside the picture.
pub(super) fn alpha_at(picture: &RgbaImage, x: i64, y: i64) -> Option<u8> {
    let inside = (0..i64::from(picture.width())).contains(&x) && (0..i64::from(picture.height())).contains(&y);
    inside.then(|| picture.get_pixel(x as u32, y as u32).0[3])
}

/// Luma in the weights of Rec. ITU-R BT.601, in 256ths.
pub(super) fn luma(pixel: [u8; 4]) -> u8 {
    let [r, g, b, _] = pixel.map(u32::from);
    ((77 * r + 150 * g + 29 * b + 128) >> 8) as u8
}

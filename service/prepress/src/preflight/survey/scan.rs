//! Rows and columns of a picture, copied out one at a time.

use std::ops::Range;

use image::RgbaImage;

use super::CLEAR;
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
    /// Where the line is on the art: stretches that are not clear.
    pub(super) runs: Vec<Range<usize>>,
}

/// What needs no pixel in between looks at so many places of a line at most.
const MOST_PLACES: usize = 800;

impl Line {
    /// From one place to the next for what looks at a few of them.
    pub(super) fn stride(&self) -> usize {
        self.pixels.len().div_ceil(MOST_PLACES).max(1)
    }

    fn find_runs(&mut self) {
        self.runs.clear();
        let mut begun = None;
        for (block, alphas) in self.alpha.chunks(ALIKE).enumerate() {
            // Most of a line is long runs: a block that goes on like the pixel before it is passed at once.
            if alphas.iter().fold(true, |all, alpha| all & ((*alpha > CLEAR) == begun.is_some())) {
                continue;
            }
            for (at, alpha) in (block * ALIKE..).zip(alphas) {
                match (begun, *alpha > CLEAR) {
                    (None, true) => begun = Some(at),
                    (Some(from), false) => {
                        self.runs.push(from..at);
                        begun = None;
                    }
                    (None, false) | (Some(_), true) => {}
                }
            }
        }
        self.runs.extend(begun.map(|from| from..self.alpha.len()));
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

/// Columns that are copied out of the picture together: their pixels of one row lie in few pages. Measured, no source.
const TOGETHER: usize = 16;

/// Values that are looked at together. Measured, no source.
pub(super) const ALIKE: usize = 32;

/// Goes through rows or columns.
pub(super) struct Scan {
    next: u32,
    end: u32,
    from: u32,
    to: u32,
    line: Line,
    /// Columns copied ahead, one behind the other, and how many of them were handed out.
    ahead: Vec<[u8; 4]>,
    handed_out: usize,
}

impl Scan {
    /// Over an area, at most so many lines, evenly spread.
    pub(super) fn new(axis: Axis, area: Place, most: u32) -> Scan {
        let (across, along) = match axis {
            Axis::Row => ((area.y_px, area.height_px), (area.x_px, area.width_px)),
            Axis::Column => ((area.x_px, area.width_px), (area.y_px, area.height_px)),
        };
        let step = across.1.div_ceil(most).max(1);
        let line = Line {
            axis,
            fixed: 0,
            start: 0,
            step,
            pixels: Vec::new(),
            alpha: Vec::new(),
            luma: Vec::new(),
            runs: Vec::new(),
        };
        Scan {
            next: across.0 + step / 2,
            end: across.0 + across.1,
            from: along.0.saturating_sub(2),
            to: along.0 + along.1 + 2,
            line,
            ahead: Vec::new(),
            handed_out: 0,
        }
    }

    /// The next line; the one before is gone then.
    pub(super) fn next(&mut self, picture: &RgbaImage) -> Option<&Line> {
        let (width, height) = picture.dimensions();
        let (most_across, most_along) = if self.line.axis == Axis::Row { (height, width) } else { (width, height) };
        if self.next >= self.end.min(most_across) {
            return None;
        }
        let to = self.to.min(most_along);
        if self.line.axis == Axis::Column {
            self.copy_ahead(picture, to, self.end.min(most_across));
        }
        self.line.fixed = self.next;
        self.line.start = self.from;
        self.next += self.line.step;
        let line = &mut self.line;
        line.pixels.clear();
        match line.axis {
            Axis::Row => {
                let (width, fixed) = (width as usize, line.fixed as usize);
                let row =
                    &picture.as_raw()[(fixed * width + self.from as usize) * 4..(fixed * width + to as usize) * 4];
                line.pixels.extend(row.as_chunks().0);
            }
            Axis::Column => {
                let length = (to - self.from) as usize;
                line.pixels.extend_from_slice(&self.ahead[self.handed_out * length..(self.handed_out + 1) * length]);
                self.handed_out += 1;
            }
        }
        line.alpha.clear();
        line.alpha.extend(line.pixels.iter().map(|pixel| pixel[3]));
        line.luma.clear();
        line.luma.extend(line.pixels.iter().map(|pixel| luma(*pixel)));
        line.find_runs();
        Some(&self.line)
    }

    /// Copies the next columns, unless there are some left.
    fn copy_ahead(&mut self, picture: &RgbaImage, to: u32, end: u32) {
        let length = (to - self.from) as usize;
        if (self.handed_out + 1) * length <= self.ahead.len() {
            return;
        }
        let columns: Vec<usize> =
            (self.next..end).step_by(self.line.step as usize).take(TOGETHER).map(|x| x as usize).collect();
        self.handed_out = 0;
        self.ahead.clear();
        self.ahead.resize(columns.len() * length, [0; 4]);
        let rows = picture.as_raw().chunks_exact(picture.width() as usize * 4);
        for (place, row) in rows.skip(self.from as usize).take(length).enumerate() {
            let (pixels, _) = row.as_chunks();
            for (number, x) in columns.iter().enumerate() {
                self.ahead[number * length + place] = pixels[*x];
            }
        }
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

//! For every pixel, the nearest of the pixels that were chosen: exact Euclidean feature transform.
//!
//! Source: Felzenszwalb and Huttenlocher, "Distance Transforms of Sampled Functions" (2012), with the index of the parabola
//! kept. Linear time.

/// No pixel was chosen.
const NOWHERE: u32 = u32::MAX;

/// The nearest chosen pixel of each pixel.
pub(super) struct Nearest {
    index: Vec<u32>,
    width: usize,
}

impl Nearest {
    /// Of the pixels for which `chosen` holds. Ties go to the pixel that comes first in a fixed order.
    pub(super) fn of(width: usize, height: usize, chosen: impl Fn(usize) -> bool) -> Nearest {
        let mut index = rows_of_nearest(width, height, chosen);
        let mut hull = Hull { width, columns: Vec::with_capacity(width), starts: Vec::with_capacity(width) };
        let mut rows = vec![NOWHERE; width];
        for row in 0..height {
            let line = &mut index[row * width..][..width];
            rows.copy_from_slice(line);
            hull.build(&rows, row);
            hull.read(|column, nearest| line[column] = rows[nearest] * width as u32 + nearest as u32);
        }
        Nearest { index, width }
    }

    /// The nearest chosen pixel; `None` where none was chosen.
    pub(super) fn pixel(&self, index: usize) -> Option<usize> {
        Some(self.index[index]).filter(|nearest| *nearest != NOWHERE).map(|nearest| nearest as usize)
    }

    /// Distance between the centres of a pixel and its nearest chosen one, in pixels.
    pub(super) fn distance_px(&self, index: usize) -> f32 {
        self.pixel(index).map_or(f32::INFINITY, |nearest| {
            let dx = (index % self.width).abs_diff(nearest % self.width) as f32;
            let dy = (index / self.width).abs_diff(nearest / self.width) as f32;
            dx.hypot(dy)
        })
    }
}

/// For each pixel the row of the nearest chosen pixel of its column: one sweep down, one up.
fn rows_of_nearest(width: usize, height: usize, chosen: impl Fn(usize) -> bool) -> Vec<u32> {
    let mut rows = vec![NOWHERE; width * height];
    for row in 0..height {
        for column in 0..width {
            let here = row * width + column;
            if chosen(here) {
                rows[here] = row as u32;
            } else if row > 0 {
                rows[here] = rows[here - width];
            }
        }
    }
    for row in (0..height.saturating_sub(1)).rev() {
        for column in 0..width {
            let here = row * width + column;
            let below = rows[here + width];
            let nearer = rows[here] == NOWHERE || (below as usize).abs_diff(row) < (rows[here] as usize).abs_diff(row);
            if below != NOWHERE && nearer {
                rows[here] = below;
            }
        }
    }
    rows
}

/// The lower envelope of one row's parabolas.
struct Hull {
    width: usize,
    columns: Vec<usize>,
    starts: Vec<f64>,
}

impl Hull {
    fn build(&mut self, rows: &[u32], row: usize) {
        self.columns.clear();
        self.starts.clear();
        let height_at = |column: usize| {
            let away = (rows[column] as usize).abs_diff(row) as f64;
            away * away + (column * column) as f64
        };
        for column in (0..rows.len()).filter(|column| rows[*column] != NOWHERE) {
            let mut start = f64::NEG_INFINITY;
            while let Some(last) = self.columns.last() {
                start = (height_at(column) - height_at(*last)) / (2.0 * (column - last) as f64);
                if self.starts.last().is_some_and(|before| start <= *before) {
                    self.columns.pop();
                    self.starts.pop();
                    start = f64::NEG_INFINITY;
                } else {
                    break;
                }
            }
            self.columns.push(column);
            self.starts.push(start);
        }
    }

    fn read(&self, mut tell: impl FnMut(usize, usize)) {
        let ends = self.starts.iter().skip(1).copied().chain([f64::INFINITY]);
        let mut column = 0;
        for (nearest, end) in self.columns.iter().zip(ends) {
            while (column as f64) <= end && column < self.width {
                tell(column, *nearest);
                column += 1;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_trying_every_pixel() {
        let (width, height) = (37, 23);
        let chosen = |index: usize| (index * 7919) % 97 == 3;
        let nearest = Nearest::of(width, height, chosen);
        for index in 0..width * height {
            let away = |other: usize| {
                let dx = (index % width).abs_diff(other % width);
                let dy = (index / width).abs_diff(other / width);
                dx * dx + dy * dy
            };
            let least = (0..width * height).filter(|other| chosen(*other)).map(away).min().expect("some are chosen");
            let found = nearest.pixel(index).expect("some are chosen");
            assert!(chosen(found));
            assert_eq!(away(found), least);
        }
    }

    #[test]
    fn without_a_choice_there_is_no_nearest() {
        let nearest = Nearest::of(5, 4, |_| false);
        assert!((0..20).all(|index| nearest.pixel(index).is_none() && nearest.distance_px(index).is_infinite()));
    }
}

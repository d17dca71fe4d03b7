//! Equal boxes in a window: the best of grids in both orientations and of five blocks.
//!
//! Source: E. Bischoff, W. B. Dowsland, *An application of the micro to product design and distribution*, 1982: four blocks in
//! the corners, each of boxes that lie alike, and one in the middle of what they leave. Blocks of no size make it grids and
//! guillotine cuts.

use super::super::part::{on_tick, up};
use super::rows::floor;

/// Corner blocks are tried in every size while a grid has at most so many boxes; with more, straight cuts waste little.
const MOST_FOR_FIVE: u64 = 300;
/// Most places of a straight cut that are tried.
const MOST_CUTS: u64 = 2_000;

/// A box's sides with the gutter, and the window's sides with one gutter more.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packing {
    /// Sides of a box, gutter included.
    pub(super) sides: (f64, f64),
    /// Sides of the window, gutter included.
    pub(super) window: (f64, f64),
    /// Whether boxes may lie turned by a quarter.
    pub(super) turns: bool,
}

/// A rectangle of the window, from its corner.
#[derive(Clone, Copy, Debug, Default)]
struct Block {
    x: f64,
    y: f64,
    width: f64,
    height: f64,
}

/// A box: its corner, and whether it lies turned by a quarter.
pub(super) type Lying = (f64, f64, bool);

impl Packing {
    fn fit(length: f64, side: f64) -> u64 {
        if length <= 0.0 { 0 } else { floor((length + 1e-7) / side) as u64 }
    }

    /// The most boxes of one orientation in a block, and whether they are turned.
    fn grid(&self, block: Block) -> (u64, bool) {
        let (a, b) = self.sides;
        let upright = Self::fit(block.width, a) * Self::fit(block.height, b);
        let turned = if self.turns { Self::fit(block.width, b) * Self::fit(block.height, a) } else { 0 };
        if turned > upright { (turned, true) } else { (upright, false) }
    }

    /// The best blocks.
    fn blocks(&self) -> (u64, [Block; 5]) {
        let (width, height) = self.window;
        let whole = Block { width, height, ..Block::default() };
        let mut best = (0, [Block::default(); 5]);
        let mut look = |blocks: [Block; 5]| {
            let count = blocks.iter().map(|block| self.grid(*block).0).sum();
            if count > best.0 {
                best = (count, blocks);
            }
        };
        look([whole, Block::default(), Block::default(), Block::default(), Block::default()]);
        let (a, b) = self.sides;
        if self.turns {
            for (across, along) in [(a, b), (b, a)] {
                let (columns, rows) = (Self::fit(width, across), Self::fit(height, along));
                for first in 0..=columns.min(MOST_CUTS) {
                    look(five(width, height, (first as f64 * across, width), (height, height)));
                }
                for upper in 0..=rows.min(MOST_CUTS) {
                    let cut = upper as f64 * along;
                    look(five(width, height, (width, width), (cut, cut)));
                }
                if columns * rows <= MOST_FOR_FIVE {
                    corners(columns, rows, |first, last, upper, lower| {
                        let (x1, x2) = (first as f64 * across, width - last as f64 * across);
                        let (y1, y2) = (upper as f64 * along, height - lower as f64 * along);
                        if y2 <= y1 {
                            look(five(width, height, (x1, x2), (y1, y2)));
                        }
                    });
                }
            }
        }
        best
    }

    /// How many boxes the window holds.
    pub(super) fn count(&self) -> u64 {
        self.blocks().0
    }

    /// Where they lie, on whole ticks.
    pub(super) fn boxes(&self) -> Vec<Lying> {
        let mut lying = Vec::new();
        for block in self.blocks().1 {
            let (count, turned) = self.grid(block);
            let (a, b) = if turned { (self.sides.1, self.sides.0) } else { self.sides };
            let columns = Self::fit(block.width, a).max(1);
            for index in 0..count {
                let x = up(block.x) + (index % columns) as f64 * a;
                let y = up(block.y) + (index / columns) as f64 * b;
                lying.push((on_tick(x), on_tick(y), turned));
            }
        }
        lying
    }
}

/// Sizes of two corner blocks that stand beside one another.
fn corners(columns: u64, rows: u64, mut call: impl FnMut(u64, u64, u64, u64)) {
    for first in 0..=columns {
        for last in 0..=columns - first {
            for upper in 0..=rows {
                for lower in (rows - upper).saturating_sub(1)..=rows {
                    call(first, last, upper, lower);
                }
            }
        }
    }
}

/// Five blocks like a pinwheel: the upper left one ends at (`x1`, `y1`), the lower right one begins at (`x2`, `y2`), with
/// `x1 <= x2` and `y2 <= y1`; two fill the other corners, the last the middle.
fn five(width: f64, height: f64, (x1, x2): (f64, f64), (y1, y2): (f64, f64)) -> [Block; 5] {
    let block = |x0: f64, y0: f64, x1: f64, y1: f64| Block { x: x0, y: y0, width: x1 - x0, height: y1 - y0 };
    [
        block(0.0, 0.0, x1, y1),
        block(x1, 0.0, width, y2),
        block(x2, y2, width, height),
        block(0.0, y1, x2, height),
        block(x1, y2, x2, y1),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_boxes_turn_around_a_hole() {
        // Four boxes of 3 x 2 around a hole of 1 x 1 fill a square of 5; no grid and no straight cut holds four.
        let packing = Packing { sides: (3.0, 2.0), window: (5.0, 5.0), turns: true };
        assert_eq!(packing.count(), 4);
        assert_eq!(packing.boxes().len(), 4);
        assert_eq!(Packing { turns: false, ..packing }.count(), 2);
    }

    #[test]
    fn never_fewer_than_either_grid_and_never_more_than_the_area_holds() {
        for step in 1..200 {
            let step = f64::from(step);
            let (a, b) = (7.0 + step * 0.13, 5.0 + step * 0.07);
            let (width, height) = (60.0 + (step * 7.3) % 50.0, 80.0 + (step * 3.1) % 40.0);
            let count = Packing { sides: (a, b), window: (width, height), turns: true }.count() as f64;
            let grid = |a: f64, b: f64| (width / a).floor() * (height / b).floor();
            assert!(count >= grid(a, b).max(grid(b, a)) && count <= width * height / (a * b));
        }
    }

    #[test]
    fn published_pallet_problems_are_packed_at_their_optimum_or_nearly() {
        // Window 43 x 26, boxes 7 x 3: the optimum is 53 (M. Z. Arslanov, 2000; found by five blocks with recursion only; from
        // memory). Window 22 x 16, boxes 5 x 3: 23 (from memory).
        assert!(Packing { sides: (7.0, 3.0), window: (43.0, 26.0), turns: true }.count() >= 51);
        assert!(Packing { sides: (5.0, 3.0), window: (22.0, 16.0), turns: true }.count() >= 22);
    }
}

//! Boxes around many single places.

use std::collections::BTreeSet;

use crate::finding::Place;

/// Tiles along the longest side of the art. Places in tiles that touch become one box.
const TILES: u32 = 24;

/// Square tiles over the art.
pub(in super::super) struct Grid {
    area: Place,
    side: u32,
}

/// Boxes around places in an area: of those in tiles that touch, one; the largest first.
pub(in super::super) fn boxes(area: Place, places: impl Iterator<Item = (u32, u32)>) -> Vec<Place> {
    Grid::over(area).boxes(places)
}

impl Grid {
    pub(super) fn over(area: Place) -> Grid {
        Grid { area, side: area.width_px.max(area.height_px).div_ceil(TILES).max(1) }
    }

    /// See [`boxes`].
    pub(super) fn boxes(&self, places: impl Iterator<Item = (u32, u32)>) -> Vec<Place> {
        // What lies just beside the area belongs to the tile beside it.
        let within = |at: u32, from: u32, size: u32| at.saturating_sub(from).min(size.saturating_sub(1)) / self.side;
        let tile = |(x, y): (u32, u32)| {
            (within(y, self.area.y_px, self.area.height_px), within(x, self.area.x_px, self.area.width_px))
        };
        let mut left: BTreeSet<(u32, u32)> = places.map(tile).collect();
        let mut found = Vec::new();
        while let Some(first) = left.pop_first() {
            let mut reached = vec![first];
            let (mut top, mut bottom, mut start, mut end) = (first.0, first.0, first.1, first.1);
            while let Some((row, column)) = reached.pop() {
                (top, bottom) = (top.min(row), bottom.max(row));
                (start, end) = (start.min(column), end.max(column));
                for near in neighbours(row, column) {
                    if left.remove(&near) {
                        reached.push(near);
                    }
                }
            }
            found.push(self.place(top, bottom, start, end));
        }
        Place::largest(found)
    }

    fn place(&self, top: u32, bottom: u32, start: u32, end: u32) -> Place {
        let (x_px, y_px) = (self.area.x_px + start * self.side, self.area.y_px + top * self.side);
        let width_px = ((end - start + 1) * self.side).min(self.area.x_px + self.area.width_px - x_px);
        let height_px = ((bottom - top + 1) * self.side).min(self.area.y_px + self.area.height_px - y_px);
        Place { x_px, y_px, width_px, height_px }
    }
}

fn neighbours(row: u32, column: u32) -> impl Iterator<Item = (u32, u32)> {
    let span = |centre: u32| centre.saturating_sub(1)..=centre + 1;
    span(row).flat_map(move |row| span(column).map(move |column| (row, column)))
}

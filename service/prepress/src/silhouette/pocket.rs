//! Pockets: white between the strokes of a drawing that the flood reached through gaps in its outline.
//!
//! White plumage on white paper cannot be told from the paper behind it. Where most of what was removed lies behind narrow
//! gaps, nobody can say what is art. Gaps are closed on a coarse grid, as trapped balls do (Zhang, Chen, Zhu, Hu and Yang,
//! "Vectorizing Cartoon Animations", 2009).

use super::ground::{ART, GROUND, GroundMap, NEAR};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Cells along the longest side: gaps under about three cells are closed, so a hundredth of the picture.
const CELLS: usize = 320;

/// Share of art and pockets together that is pockets.
pub(super) fn share(map: &GroundMap, cancel: &Cancel) -> Result<f64, Fault> {
    let cell = map.width.max(map.height).div_ceil(CELLS).max(1);
    let (columns, rows) = (map.width.div_ceil(cell), map.height.div_ceil(cell));
    let (mut has_art, mut ground, mut art) = (vec![false; columns * rows], vec![0_usize; columns * rows], 0_usize);
    for (y, classes) in map.classes.chunks_exact(map.width).enumerate() {
        cancel.check()?;
        for (column, classes) in classes.chunks(cell).enumerate() {
            let at = y / cell * columns + column;
            let ground_here = classes.iter().filter(|class| **class == GROUND).count();
            ground[at] += ground_here;
            has_art[at] |= ground_here < classes.len();
            art += classes.len() - ground_here;
        }
    }
    let walls = wider(&has_art, columns, rows);
    let classes = walls.iter().map(|wall| if *wall { ART } else { NEAR }).collect();
    let mut grid = GroundMap { classes, width: columns, height: rows };
    grid.flood(grid.rim().collect(), (NEAR, GROUND), cancel, |_| ())?;
    // Back by as much as the walls were widened, and one cell more for those that art only touches.
    let reached: Vec<bool> = grid.classes.iter().map(|class| *class == GROUND).collect();
    let reached = wider(&wider(&reached, columns, rows), columns, rows);
    let pockets: usize = ground.iter().zip(reached).filter(|(_, reached)| !reached).map(|(count, _)| count).sum();
    Ok(pockets as f64 / (pockets + art).max(1) as f64)
}

/// With each cell's eight neighbours.
fn wider(cells: &[bool], columns: usize, rows: usize) -> Vec<bool> {
    let mut wide = vec![false; cells.len()];
    for (index, _) in cells.iter().enumerate().filter(|(_, is)| **is) {
        let (x, y) = (index % columns, index / columns);
        for row in y.saturating_sub(1)..=(y + 1).min(rows - 1) {
            let first = row * columns;
            wide[first + x.saturating_sub(1)..=first + (x + 1).min(columns - 1)].fill(true);
        }
    }
    wide
}

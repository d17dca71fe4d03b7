//! Pockets: white between the strokes of a drawing that the flood reached through gaps in its outline.
//!
//! White plumage on white paper cannot be told from the paper behind it. Where most of what was removed lies behind narrow
//! gaps, nobody can say what is art. Gaps are closed on a coarse grid, as trapped balls do (Zhang, Chen, Zhu, Hu and Yang,
//! "Vectorizing Cartoon Animations", 2009).

use super::bits::Bits;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Cells along the longest side: gaps under about three cells are closed, so a hundredth of the picture.
const CELLS: usize = 320;

/// Share of art and pockets together that is pockets.
pub(super) fn share(ground: &Bits, cancel: &Cancel) -> Result<f64, Fault> {
    let cell = ground.width.max(ground.height).div_ceil(CELLS).max(1);
    let (columns, rows) = (ground.width.div_ceil(cell), ground.height.div_ceil(cell));
    let mut art_in = vec![0_usize; columns * rows];
    let art = ground.clone().others();
    for y in 0..art.height {
        cancel.check_every(64, y)?;
        for (first, last) in art.runs(y) {
            for column in first / cell..=last / cell {
                let within = first.max(column * cell)..(last + 1).min((column + 1) * cell);
                art_in[y / cell * columns + column] += within.len();
            }
        }
    }
    let mut has_art = Bits::none(columns, rows);
    art_in.iter().enumerate().filter(|(_, art)| **art > 0).for_each(|(at, _)| has_art.insert(at));
    let mut open = has_art.widened().others();
    let mut reached = Bits::none(columns, rows);
    open.flood(open.rim(), cancel, |y, run| reached.insert_run(y, run))?;
    // Back by as much as the walls were widened, and one cell more for those that art only touches.
    let side = |at: usize, all: usize| ((at + 1) * cell).min(all) - at * cell;
    let area = |at: usize| side(at % columns, ground.width) * side(at / columns, ground.height);
    let pockets: usize = reached.widened().widened().others().indices().map(|at| area(at) - art_in[at]).sum();
    Ok(pockets as f64 / (pockets + art.count()).max(1) as f64)
}

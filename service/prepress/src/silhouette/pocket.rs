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
    let (mut has_art, mut ground_in, mut art) = (Bits::none(columns, rows), vec![0_usize; columns * rows], 0_usize);
    for y in 0..ground.height {
        cancel.check_every(64, y)?;
        for column in 0..columns {
            let at = y / cell * columns + column;
            let pixels = column * cell..((column + 1) * cell).min(ground.width);
            let ground_here = ground.count_in(y, pixels.clone());
            ground_in[at] += ground_here;
            art += pixels.len() - ground_here;
            if ground_here < pixels.len() {
                has_art.insert(at);
            }
        }
    }
    let mut open = has_art.widened().others();
    let mut reached = Bits::none(columns, rows);
    open.flood(open.rim(), cancel, |y, run| reached.insert_run(y, run))?;
    // Back by as much as the walls were widened, and one cell more for those that art only touches.
    let pockets: usize = reached.widened().widened().others().indices().map(|cell| ground_in[cell]).sum();
    Ok(pockets as f64 / (pockets + art).max(1) as f64)
}

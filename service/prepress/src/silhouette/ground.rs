//! Which pixels of an opaque picture are ground: those of the backdrop's colour that hang together with the canvas's edge,
//! and windows in the art through which it shows for sure.
//!
//! More tolerance never removes less: a pixel near enough for one tolerance is near enough for a larger one, windows are
//! found at one tolerance whatever is ordered, and what is left of an island is judged by its farthest pixel.

use super::band;
use super::bits::Bits;
use super::judge::Judge;
use super::values::Values;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// An island of at most so many pixels may be a speck of compression noise. Common practice, no source.
const SPECK_PX: usize = 64;

/// The distance from the backdrop of a speck's farthest pixel, in tolerances, up to which it is noise and not a small
/// piece of art.
const SPECK_TOLERANCES: f32 = 3.0;

/// The same for dots of at most so many pixels, which compression rings around sharp edges leave in stronger colours.
const DOT_PX: usize = 6;
const DOT_TOLERANCES: f32 = 6.0;

/// A crumb of compression is at most so far from the backdrop, in tolerances, and of the square so far around it at most
/// so many pixels are no ground: along a straight edge there are 15, at the corner of a square 9. The rounds eat what is
/// longer from its end. Measured on composites with known alpha.
const CRUMB_TOLERANCES: f32 = 3.0;
const CRUMB_REACH: usize = 2;
const CRUMB_OTHERS: usize = 8;
const CRUMB_ROUNDS: usize = 3;

/// What has the backdrop's colour.
pub(super) struct Near {
    /// All within the tolerance.
    pub all: Bits,
    /// Those of them that hang together with the canvas's edge, windows, and noise around them.
    pub ground: Bits,
}

/// Finds the ground. `tolerance` is a distance in OKLab; windows are ground as far as they are within it. Linear in pixels.
pub(super) fn find(judge: &Judge, tolerance: f32, windows: Option<&Bits>, cancel: &Cancel) -> Result<Near, Fault> {
    let all = judge.within(tolerance, None, cancel)?;
    let mut ground = Bits::none(all.width, all.height);
    all.clone().flood(all.rim(), cancel, |y, run| ground.insert_run(y, run))?;
    let mut near = Near { all, ground };
    near.open_windows(windows, judge, tolerance, cancel)?;
    Ok(near)
}

impl Near {
    /// Those that art encloses.
    pub(super) fn enclosed(&self) -> Bits {
        self.all.clone().without(&self.ground)
    }

    /// Makes ground of windows as far as they are within the tolerance, and of noise around them and elsewhere. Nothing
    /// spreads from there: windows were found by a tolerance of their own.
    pub(super) fn open_windows(
        &mut self,
        windows: Option<&Bits>,
        judge: &Judge,
        tolerance: f32,
        cancel: &Cancel,
    ) -> Result<(), Fault> {
        if let Some(windows) = windows {
            self.ground.add(&windows.clone().and(&self.all));
        }
        remove_specks(&mut self.ground, judge, tolerance, cancel)
    }
}

/// Makes ground of crumbs that compression left along the art's edge: pixels not far from the backdrop's colour with
/// hardly anything but ground around them. Linear in the length of the edge.
pub(super) fn drop_crumbs(ground: &mut Bits, judge: &Judge, tolerance: f32, cancel: &Cancel) -> Result<(), Fault> {
    let mut reach = ground.clone();
    for _ in 0..CRUMB_ROUNDS {
        reach = reach.widened();
    }
    let near = judge.within(CRUMB_TOLERANCES * tolerance, Some(&reach.without(ground)), cancel)?;
    for _ in 0..CRUMB_ROUNDS {
        let open = near.clone().and(&band::beside(ground));
        let is_crumb = Values::new(&open, |index| is_crumb(ground, index), cancel)?;
        let crumbs: Vec<usize> = is_crumb.iter().filter(|(_, is)| *is).map(|(index, _)| index).collect();
        crumbs.into_iter().for_each(|index| ground.insert(index));
    }
    Ok(())
}

/// Whether a pixel has little but ground around it.
fn is_crumb(ground: &Bits, index: usize) -> bool {
    let (x, y) = ground.place(index);
    let columns = x.saturating_sub(CRUMB_REACH)..(x + CRUMB_REACH + 1).min(ground.width);
    let rows = y.saturating_sub(CRUMB_REACH)..(y + CRUMB_REACH + 1).min(ground.height);
    let others: usize = rows.map(|row| columns.len() - ground.count_in(row, columns.clone())).sum();
    others <= CRUMB_OTHERS
}

/// Makes ground of tiny islands that are nearly the backdrop's colour.
fn remove_specks(ground: &mut Bits, judge: &Judge, tolerance: f32, cancel: &Cancel) -> Result<(), Fault> {
    // Pixels known to belong to something larger than a speck: reaching one ends the search.
    let mut large = Bits::none(ground.width, ground.height);
    let mut island = Vec::with_capacity(SPECK_PX + 8);
    let art = ground.clone().others();
    for y in 0..ground.height {
        cancel.check()?;
        for (x, _) in art.runs(y) {
            // Noise that was found from another of its rows is ground by now.
            if ground.has(x, y) || large.has(x, y) {
                continue;
            }
            let is_speck = gather(ground, &large, y * ground.width + x, &mut island);
            let is_noise = is_speck && is_noise(&island, judge, tolerance);
            let set = if is_noise { &mut *ground } else { &mut large };
            island.iter().for_each(|index| set.insert(*index));
        }
    }
    Ok(())
}

/// Gathers an island up to a speck's size; whether that is all of it.
fn gather(ground: &Bits, large: &Bits, start: usize, island: &mut Vec<usize>) -> bool {
    island.clear();
    island.push(start);
    let mut next = 0;
    while let Some(index) = island.get(next).copied() {
        next += 1;
        for neighbour in ground.around(index) {
            if large.contains(neighbour) {
                return false;
            }
            // At most a few dozen: looking through them is faster than any set.
            if !ground.contains(neighbour) && !island.contains(&neighbour) {
                island.push(neighbour);
            }
        }
        if island.len() > SPECK_PX {
            return false;
        }
    }
    true
}

fn is_noise(island: &[usize], judge: &Judge, tolerance: f32) -> bool {
    let allowed = tolerance * if island.len() <= DOT_PX { DOT_TOLERANCES } else { SPECK_TOLERANCES };
    island.iter().all(|index| judge.distance_squared(*index) <= allowed * allowed)
}

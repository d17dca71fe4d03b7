//! Which pixels of an opaque picture are ground: those of the backdrop's colour that hang together with the canvas's edge,
//! and windows in the art through which it shows for sure.
//!
//! More tolerance never removes less: a pixel near enough for one tolerance is near enough for a larger one, windows are
//! found at one tolerance whatever is ordered, and what is left of an island is judged by its farthest pixel.

use super::band;
use super::judge::Judge;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Not the backdrop's colour.
pub(super) const ART: u8 = 0;
/// The backdrop's colour, not reached from the edge.
pub(super) const NEAR: u8 = 1;
/// Ground.
pub(super) const GROUND: u8 = 2;
/// The backdrop's colour, enclosed by art, and looked at.
pub(super) const SEEN: u8 = 3;

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

/// Pixels between two looks at the flag: about a millisecond.
const STEPS: usize = 1 << 20;

/// A class for each pixel.
pub(super) struct GroundMap {
    /// Row by row.
    pub classes: Vec<u8>,
    pub width: usize,
    pub height: usize,
}

/// Pixels of one row, first and last.
pub(super) type Run = (usize, usize);

impl GroundMap {
    /// Pixels of a class.
    pub(super) fn count(&self, wanted: u8, cancel: &Cancel) -> Result<usize, Fault> {
        let mut count = 0;
        for piece in self.classes.chunks(STEPS) {
            cancel.check()?;
            count += piece.iter().filter(|class| **class == wanted).count();
        }
        Ok(count)
    }

    /// The same, copied in pieces.
    pub(super) fn copy(&self, cancel: &Cancel) -> Result<GroundMap, Fault> {
        let mut classes = Vec::with_capacity(self.classes.len());
        for piece in self.classes.chunks(STEPS) {
            cancel.check()?;
            classes.extend_from_slice(piece);
        }
        Ok(GroundMap { classes, width: self.width, height: self.height })
    }

    /// The pixels along the canvas's edge, clockwise from the upper left; corners of a canvas of one row or column twice.
    pub(super) fn rim(&self) -> impl Iterator<Item = usize> + use<> {
        let (width, height) = (self.width, self.height);
        let top = 0..width;
        let right = (1..height).map(move |y| y * width + width - 1);
        let bottom = (0..width - 1).rev().map(move |x| (height - 1) * width + x);
        let left = (1..height.max(2) - 1).rev().map(move |y| y * width);
        top.chain(right).chain(bottom).chain(left)
    }

    /// The up to eight neighbours of a pixel on the canvas.
    pub(super) fn around(&self, index: usize) -> impl Iterator<Item = usize> + use<> {
        let (width, height) = (self.width, self.height);
        let (x, y) = (index % width, index / width);
        let rows = y.saturating_sub(1)..=(y + 1).min(height - 1);
        rows.flat_map(move |row| (x.saturating_sub(1)..=(x + 1).min(width - 1)).map(move |column| row * width + column))
            .filter(move |neighbour| *neighbour != index)
    }

    /// Turns what hangs together with the open pixels from one class into another, by runs of a row; tells each run.
    pub(super) fn flood(
        &mut self,
        mut open: Vec<usize>,
        (from, to): (u8, u8),
        cancel: &Cancel,
        mut tell: impl FnMut(Run),
    ) -> Result<(), Fault> {
        let width = self.width;
        let mut steps = 0;
        while let Some(index) = open.pop() {
            if self.classes[index] != from {
                continue;
            }
            let row = index / width * width;
            let mut first = index;
            while first > row && self.classes[first - 1] == from {
                first -= 1;
            }
            let mut last = index;
            while last + 1 < row + width && self.classes[last + 1] == from {
                last += 1;
            }
            // A run costs about as much as some dozen pixels besides its own.
            steps += last - first + 32;
            if steps > STEPS {
                cancel.check()?;
                steps = 0;
            }
            self.classes[first..=last].fill(to);
            tell((first, last));
            if row > 0 {
                self.open_runs(first - width..=last - width, from, &mut open);
            }
            if row + width < self.classes.len() {
                self.open_runs(first + width..=last + width, from, &mut open);
            }
        }
        Ok(())
    }

    /// Adds the first pixel of each run of a class.
    fn open_runs(&self, range: std::ops::RangeInclusive<usize>, wanted: u8, open: &mut Vec<usize>) {
        let mut is_run = false;
        for index in range {
            let is = self.classes[index] == wanted;
            if is && !is_run {
                open.push(index);
            }
            is_run = is;
        }
    }
}

/// Finds the ground. `tolerance` is a distance in OKLab; windows are ground as far as they are within it. Linear in pixels.
pub(super) fn find(judge: &Judge, tolerance: f32, windows: &[Run], cancel: &Cancel) -> Result<GroundMap, Fault> {
    let mut map = judge.classify(tolerance, cancel)?;
    map.flood(map.rim().collect(), (NEAR, GROUND), cancel, |_| ())?;
    open_windows(&mut map, judge, tolerance, windows, cancel)?;
    Ok(map)
}

/// Makes ground of crumbs that compression left along the art's edge: pixels not far from the backdrop's colour with
/// hardly anything but ground around them. Linear in the length of the edge.
pub(super) fn drop_crumbs(map: &mut GroundMap, judge: &Judge, tolerance: f32, cancel: &Cancel) -> Result<(), Fault> {
    let limit = CRUMB_TOLERANCES * tolerance;
    let is_near = |index: &usize| judge.distance_squared(*index) <= limit * limit;
    let mut open: Vec<usize> = band::beside_ground(map, cancel)?.into_iter().filter(is_near).collect();
    for _ in 0..CRUMB_ROUNDS {
        cancel.check()?;
        let (crumbs, rest): (Vec<usize>, Vec<usize>) = open.iter().partition(|index| is_crumb(map, **index));
        crumbs.iter().for_each(|index| map.classes[*index] = GROUND);
        let mut next: Vec<usize> = crumbs.iter().flat_map(|index| map.around(*index)).collect();
        next.retain(|index| map.classes[*index] != GROUND && is_near(index));
        next.extend(rest);
        next.sort_unstable();
        next.dedup();
        open = next;
    }
    Ok(())
}

/// Whether a pixel has little but ground around it.
fn is_crumb(map: &GroundMap, index: usize) -> bool {
    let (x, y) = (index % map.width, index / map.width);
    let columns = x.saturating_sub(CRUMB_REACH)..(x + CRUMB_REACH + 1).min(map.width);
    let rows = y.saturating_sub(CRUMB_REACH)..(y + CRUMB_REACH + 1).min(map.height);
    let row = |row: usize| &map.classes[row * map.width + columns.start..row * map.width + columns.end];
    let others: usize = rows.map(|at| row(at).iter().filter(|class| **class != GROUND).count()).sum();
    others <= CRUMB_OTHERS
}

/// Makes ground of windows as far as they are within the tolerance, and of noise around them and elsewhere.
pub(super) fn open_windows(
    map: &mut GroundMap,
    judge: &Judge,
    tolerance: f32,
    windows: &[Run],
    cancel: &Cancel,
) -> Result<(), Fault> {
    let limit = tolerance * tolerance;
    // Nothing spreads from here: windows were found by a tolerance of their own.
    for (place, index) in windows.iter().flat_map(|(first, last)| *first..=*last).enumerate() {
        cancel.check_every(1 << 16, place)?;
        if judge.distance_squared(index) <= limit {
            map.classes[index] = GROUND;
        }
    }
    remove_specks(map, judge, tolerance, cancel)
}

/// Makes ground of tiny islands that are nearly the backdrop's colour.
fn remove_specks(map: &mut GroundMap, judge: &Judge, tolerance: f32, cancel: &Cancel) -> Result<(), Fault> {
    // Pixels known to belong to something larger than a speck: reaching one ends the search.
    let mut large = vec![false; map.classes.len()];
    let mut island = Vec::with_capacity(SPECK_PX + 8);
    for start in 1..map.classes.len() {
        cancel.check_every(1 << 18, start)?;
        if map.classes[start] == GROUND || map.classes[start - 1] != GROUND || large[start] {
            continue;
        }
        let is_speck = gather(map, &large, start, &mut island);
        if is_speck && is_noise(&island, judge, tolerance) {
            island.iter().for_each(|index| map.classes[*index] = GROUND);
        } else {
            island.iter().for_each(|index| large[*index] = true);
        }
    }
    Ok(())
}

/// Gathers an island up to a speck's size; whether that is all of it.
fn gather(map: &GroundMap, large: &[bool], start: usize, island: &mut Vec<usize>) -> bool {
    island.clear();
    island.push(start);
    let mut next = 0;
    while let Some(index) = island.get(next).copied() {
        next += 1;
        for neighbour in map.around(index) {
            if large[neighbour] {
                return false;
            }
            // At most a few dozen: looking through them is faster than any set.
            if map.classes[neighbour] != GROUND && !island.contains(&neighbour) {
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

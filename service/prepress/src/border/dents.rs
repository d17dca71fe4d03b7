//! Shallow dents between the waves of a ragged outline, filled.
//!
//! Feathers, curls and letters close together leave a wave in the border for every tooth: arcs that meet in corners of the
//! cutting radius. A blade turns at each of them for a tenth of a millimetre that nobody sees. So a dent is bridged as by a
//! large disc rolled along outside (the closing by a disc, Serra 1982, "Image analysis and mathematical morphology", II.C),
//! but only where that moves the line by a small share of the border; and tight inside corners are eased the same way by a
//! smaller disc and a smaller share. What is left between the old line and that bridge is then used to run smoothly.
//!
//! Guarantees: no point moves inward, nor outward by more than [`Leave`] allows; where nothing is filled the ring keeps its
//! points. Where a dent gets too deep, too wide or leads into a bay its filling fades out, so that the
//! outline follows its art continuously. The method is ours, its constants are measured on clip art.

use rayon::prelude::*;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Parabola, Point, Ring, Vec2};

/// No dent is filled by more than this share of the border. A border that is a tenth wider for a few millimetres looks even; a
/// cut without a border shows every move.
const DEEPEST_SHARE: f64 = 0.1;

/// Depths, as shares of the deepest that is filled, up to which dents are filled and from which on they stay. In between the
/// line moves by more than the depth does: the shorter the way, the more a coarse and a fine version of one picture differ.
/// No filling gets past the deepest. Where that is less, behind thin borders, the longer way gains nothing. Measured on clip art
/// of 400 and 6000 pixels and on random drawings.
const FADES_OUT: [f64; 2] = [0.9, 2.4];
const FADES_OUT_SOON: [f64; 2] = [1.0, 2.0];

/// And no deeper than this, mm: waves behind wide borders are shallow by themselves.
const DEEPEST_MM: f64 = 0.3;

/// Where the cutting radius, or what else was done, has moved the line already it may move as much again, but by no more than
/// this, mm: there it runs beside its art in any case. More saves few nodes and rounds less evenly. Measured on clip art, no
/// source.
const AGAIN_MM: f64 = 0.1;

/// How fast that begins beside a place that stays, mm in a millimetre. An inside corner that touches its art is made sharper by
/// twice as much: with 0.3 the curve fit missed it.
const STEEPEST: f64 = 0.1;

/// Radius of the disc that bridges dents, mm.
const DENT_RADIUS_MM: f64 = 60.0;

/// Share of that depth by which tight inside corners are eased: two thirds leave a node more in 100 mm, all of it moves lines of
/// coarse and fine pictures apart. Measured on clip art.
const CORNER_SHARE: f64 = 5.0 / 6.0;

/// Discs that do so, in cutting radii: of those that go no deeper, the largest counts.
const CORNER_RADII: [f64; 4] = [1.2, 1.4, 1.7, 2.0];

/// So much everywhere, also without a border: the curve fit passes over it by itself, mm. Shallower dents are not worth it.
const LEAST_DEPTH_MM: f64 = 0.02;

/// Dents are looked at from this depth on, mm.
const LEAST_LOOKED_AT_MM: f64 = LEAST_DEPTH_MM / 4.0;

/// Distance of samples, mm.
const STEP_MM: f64 = 0.1;

/// Samples that a smoothing parabola spans to each side, and how often it is laid.
const WINDOW: usize = 10;
const ROUNDS: usize = 24;

/// Fewest samples of a ring that can have dents.
const FEWEST: usize = 4 * WINDOW;

/// Half the chord by which directions are measured, samples.
const SLOPE_WINDOW: isize = 2;

/// What a bridge over a dent must keep; where two limits are given, it is kept at the first and fades out to the second.
struct Limits {
    /// Depth of the dent, mm.
    depth: [f64; 2],
    /// How far the outline may rise over the bridge, and over its run beyond both ends, mm.
    poke: [f64; 2],
    /// How far beyond its ends, in samples.
    beyond: usize,
    /// Length, mm.
    length: [f64; 2],
    /// Samples between ends that are tried.
    stride: usize,
}

/// Shortest bridge, samples.
const SHORTEST: usize = 4;

/// Filling fades out where the outline does not run along the bridge: its progress as a share of its way. Running back, it
/// would be folded.
const PROGRESS: [f64; 2] = [0.3, 0.0];

impl Limits {
    /// Dents between two heads: the outline falls away, or runs straight on, beyond both ends. In a bay it rises there.
    fn of_dents(depth: f64) -> Limits {
        let fades_out = if depth < DEEPEST_MM { FADES_OUT_SOON } else { FADES_OUT };
        let depth = fades_out.map(|share| share * depth);
        Limits { depth, poke: [0.01, 0.05], beyond: 10, length: [5.0, 8.0], stride: 2 }
    }

    /// Corners tighter than the disc, wherever they are, that it touches from the side.
    fn of_corners(depth: f64) -> Limits {
        let depth = [depth * CORNER_SHARE, 1.5 * depth * CORNER_SHARE];
        Limits { depth, poke: [0.02, 0.06], beyond: 2, length: [2.0, 3.0], stride: 1 }
    }

    fn longest(&self) -> usize {
        (self.length[1] / STEP_MM) as usize
    }

    /// By what angle the outline turns at least where it lies so far under a chord that it is worth a look: by twice the depth to
    /// half the length on each side, and a tenth less for rounding.
    fn least_dent(&self) -> f64 {
        0.9 * 4.0 * LEAST_LOOKED_AT_MM / self.length[1]
    }
}

/// How much of something is done: all at the first limit, nothing at the second.
fn fading(value: f64, [all, nothing]: [f64; 2]) -> f64 {
    ((nothing - value) / (nothing - all)).clamp(0.0, 1.0)
}

/// Places where bridges start that are dealt with at once. Common practice, no source.
const STARTS: usize = 256;

/// A ring as points at even steps.
struct Samples {
    /// With the last ones once more before the first, and the first ones once more after the last.
    points: Vec<Point>,
    /// By what angle the ring has turned towards its outside from the first of those up to each, all turns the other way left
    /// out.
    dents: Vec<f64>,
    count: usize,
    step: f64,
}

/// How many come once more: longer than any bridge and what is looked at beyond it.
const AROUND: usize = 96;

impl Samples {
    /// `None` of a ring too short to have dents.
    fn of(ring: &Ring) -> Option<Samples> {
        let length = ring.perimeter().mm();
        let count = (length / STEP_MM).round() as usize;
        if count < FEWEST {
            return None;
        }
        let step = length / count as f64;
        let points = ring.at_even_steps(0, count);
        let count = points.len();
        let around =
            (0..count + 2 * AROUND).map(|index| points[(index + (AROUND / count + 1) * count - AROUND) % count]);
        let points: Vec<Point> = around.collect();
        let inner = points.windows(3).scan(0.0, |sum, three| {
            let (to, from) = (three[1] - three[0], three[2] - three[1]);
            // The region lies to the right of its rings.
            *sum += (-to.cross(from).atan2(to.dot(from))).max(0.0);
            Some(*sum)
        });
        let dents = std::iter::once(0.0).chain(inner).collect();
        Some(Samples { points, dents, count, step })
    }

    /// Counted from the first one; up to [`AROUND`] less, or more than there are, goes around the ring.
    fn at(&self, index: isize) -> Point {
        self.points[(index + AROUND as isize) as usize]
    }

    /// By what angle the ring turns towards its outside between a sample and one that is a span away.
    fn dent(&self, start: usize, span: usize) -> f64 {
        self.dents[start + AROUND + span - 1] - self.dents[start + AROUND]
    }

    /// Samples next to each other.
    fn run(&self, from: isize, count: usize) -> &[Point] {
        let first = (from + AROUND as isize) as usize;
        &self.points[first..first + count]
    }
}

/// Bridges between the same two samples: arcs of large radii, by their parabolas, that sag into the dent.
struct Bridges<const N: usize> {
    from: Point,
    along: Vec2,
    outward: Vec2,
    length: f64,
    /// Half the curvatures.
    sags: [f64; N],
}

impl<const N: usize> Bridges<N> {
    fn between((from, to): (Point, Point), radii: &[f64; N]) -> Option<Bridges<N>> {
        let chord = to - from;
        let length = chord.hypot();
        let along = chord / length;
        // The region lies to the right of its rings.
        let outward = Vec2::new(along.y, -along.x);
        (length > 1e-6).then_some(Bridges { from, along, outward, length, sags: radii.map(|radius| 0.5 / radius) })
    }

    /// How far a point lies under each of the bridges, and where along them.
    fn over(&self, point: Point) -> ([f64; N], f64) {
        let off = point - self.from;
        let along = off.dot(self.along);
        let (under, spread) = (-off.dot(self.outward), along * (self.length - along));
        (self.sags.map(|sag| under - spread * sag), along)
    }
}

/// Where and how far samples may be moved outward.
struct Room {
    most: Vec<f64>,
    direction: Vec<Vec2>,
}

impl Room {
    fn none(samples: &Samples) -> Room {
        let direction = |index: usize| {
            let index = index as isize;
            let along = samples.at(index + SLOPE_WINDOW) - samples.at(index - SLOPE_WINDOW);
            // The region lies to the right of its rings.
            Vec2::new(along.y, -along.x) / along.hypot().max(1e-9)
        };
        Room { most: vec![0.0; samples.count], direction: (0..samples.count).map(direction).collect() }
    }

    /// Makes room under all bridges that keep limits, each as far as it keeps them. Limits that differ in nothing but the
    /// radius are looked at together: which bridges are worth a look is the same for all of them.
    fn add<const N: usize>(
        &mut self,
        samples: &Samples,
        limits: &Limits,
        radii: &[f64; N],
        cancel: &Cancel,
    ) -> Result<(), Fault> {
        // No bridge leads over more than a quarter of a ring.
        let longest = limits.longest().min(samples.count / 4);
        let starts: Vec<usize> = (0..samples.count).step_by(limits.stride).collect();
        let part = |starts: &[usize]| under_bridges(samples, (starts, longest), radii, limits, cancel);
        let parts: Vec<Vec<f64>> = starts.par_chunks(STARTS).map(part).collect::<Result<_, Fault>>()?;
        for (starts, part) in starts.chunks(STARTS).zip(parts) {
            for (index, room) in part.into_iter().enumerate() {
                let most = &mut self.most[(starts[0] + index) % samples.count];
                *most = most.max(room);
            }
        }
        Ok(())
    }

    /// Leaves no more room than is allowed where the line lies so far `off` the border's edge; between places that stay and
    /// places that move it grows slowly, or the outline would have corners there.
    fn keep_to(&mut self, samples: &Samples, leave: Leave, off: impl Fn(Point) -> f64) {
        let count = self.most.len();
        let allowed = |index: usize| {
            let needs_leave = self.most[index] > leave.anywhere;
            if needs_leave { leave.anywhere + off(samples.at(index as isize)).max(0.0) } else { f64::INFINITY }
        };
        let mut allowed: Vec<f64> = (0..count).map(allowed).collect();
        // Twice around, so that the first sample heeds the last one.
        for index in 0..2 * count {
            let (before, after) = (index % count, (index + 1) % count);
            allowed[after] = allowed[after].min(allowed[before] + samples.step * STEEPEST);
        }
        for index in (0..2 * count).rev() {
            let (before, after) = (index % count, (index + 1) % count);
            allowed[before] = allowed[before].min(allowed[after] + samples.step * STEEPEST);
        }
        self.most.iter_mut().zip(allowed).for_each(|(most, allowed)| *most = most.min(allowed.max(leave.anywhere)));
    }
}

/// The room under the bridges from some starts, from the first of them on.
fn under_bridges<const N: usize>(
    samples: &Samples,
    (starts, longest): (&[usize], usize),
    radii: &[f64; N],
    limits: &Limits,
    cancel: &Cancel,
) -> Result<Vec<f64>, Fault> {
    cancel.check()?;
    let (first, least_dent) = (starts[0], limits.least_dent());
    let mut most = vec![0.0_f64; starts[starts.len() - 1] - first + longest];
    for &start in starts {
        let ahead = samples.run(start as isize, longest + 1);
        for span in (SHORTEST..=longest).step_by(limits.stride) {
            let has_dent = samples.dent(start, span) >= least_dent;
            if !has_dent || rises_over((ahead[0], ahead[span]), ahead[span / 2], limits.poke[1]) {
                continue;
            }
            let Some(bridges) = Bridges::between((ahead[0], ahead[span]), radii) else { continue };
            let shares = kept(samples, &bridges, (start, span), limits);
            if shares.iter().all(|share| *share <= 0.0) {
                continue;
            }
            // As large a share of it as each keeps.
            for (most, point) in most[start + 1 - first..].iter_mut().zip(&ahead[1..span]) {
                let (under, _) = bridges.over(*point);
                *most = under.into_iter().zip(&shares).fold(*most, |most, (under, share)| most.max(under * share));
            }
        }
    }
    Ok(most)
}

/// Whether a point rises over a chord by more than a length: over any bridge there it then rises more. Most candidates end
/// here, before a root is drawn.
fn rises_over((from, to): (Point, Point), point: Point, by: f64) -> bool {
    let (chord, off) = (to - from, point - from);
    let (along, rise) = (off.dot(chord), chord.y * off.x - chord.x * off.y);
    let length2 = chord.hypot2();
    along >= 0.0 && along <= length2 && rise > 0.0 && rise * rise > by * by * length2
}

/// How far each of some bridges keeps limits, 0 to 1.
fn kept<const N: usize>(
    samples: &Samples,
    bridges: &Bridges<N>,
    (start, span): (usize, usize),
    limits: &Limits,
) -> [f64; N] {
    let (start, beyond, stride) = (start as isize, limits.beyond as isize, limits.stride);
    let end = start + span as isize;
    let ([_, deepest], [_, highest]) = (limits.depth, limits.poke);
    let (mut depth, mut poke, mut progress, mut last) = ([0.0_f64; N], [0.0_f64; N], f64::INFINITY, 0.0);
    // Most candidates fail here: what is round outward in the middle, what leads into a bay at the ends.
    let mut first = [0.0_f64; N];
    for index in [(start + end) / 2, start - beyond, end + beyond] {
        rise(&mut first, &bridges.over(samples.at(index)).0);
    }
    let lost = first.map(|poke| poke > highest);
    let failed =
        |depth: &[f64; N], poke: &[f64; N]| (0..N).all(|at| lost[at] || depth[at] >= deepest || poke[at] >= highest);
    if failed(&depth, &poke) {
        return [0.0; N];
    }
    for point in samples.run(start, span + 1).iter().skip(stride).step_by(stride) {
        let (under, along) = bridges.over(*point);
        rise(&mut poke, &under);
        depth.iter_mut().zip(under).for_each(|(depth, under)| *depth = depth.max(under));
        progress = progress.min(along - last);
        last = along;
        if failed(&depth, &poke) {
            return [0.0; N];
        }
    }
    let aside = [samples.run(start - beyond, limits.beyond), samples.run(end + 1, limits.beyond)];
    for point in aside.into_iter().flatten() {
        rise(&mut poke, &bridges.over(*point).0);
    }
    let (length, progress) =
        (fading(bridges.length, limits.length), fading(progress / (samples.step * stride as f64), PROGRESS));
    std::array::from_fn(|at| {
        if lost[at] || depth[at] < LEAST_LOOKED_AT_MM {
            return 0.0;
        }
        fading(depth[at], limits.depth) * fading(poke[at], limits.poke) * length * progress
    })
}

/// Keeps how far points rise over bridges.
fn rise<const N: usize>(poke: &mut [f64; N], under: &[f64; N]) {
    poke.iter_mut().zip(under).for_each(|(poke, under)| *poke = poke.max(-under));
}

/// Runs a parabola over the samples and lets those that have room follow it, again and again. From the bridges down, so that
/// what it leaves of them is as much as is smooth.
fn smoothed(samples: &Samples, room: &Room) -> Vec<Point> {
    let parabola = Parabola::over(WINDOW);
    let count = samples.count;
    let movable: Vec<usize> = (0..count).filter(|index| room.most[*index] > 0.0).collect();
    let mut rise = room.most.clone();
    let place = |rise: f64, index: usize| samples.at(index as isize) + room.direction[index] * rise;
    let mut points: Vec<Point> = (0..count).map(|index| place(rise[index], index)).collect();
    for _ in 0..ROUNDS {
        for &index in &movable {
            let moved = (parabola.at(&points, index) - points[index].to_vec2()).dot(room.direction[index]);
            rise[index] = (rise[index] + moved).clamp(0.0, room.most[index]);
        }
        for &index in &movable {
            points[index] = place(rise[index], index);
        }
    }
    points
}

/// The ring's own points where nothing moves, the moved samples elsewhere.
fn merged(ring: &Ring, samples: &Samples, moved: &[Point], room: &Room) -> Ring {
    let count = samples.count;
    let moves = |index: usize| room.most[index % count] > 0.0;
    let mut points = Vec::with_capacity(ring.points().len());
    let mut sample = 0;
    let mut walked = 0.0;
    for (from, to) in ring.edges() {
        // Samples up to this point come before it.
        while sample < count && sample as f64 * samples.step <= walked {
            if moves(sample + count - 1) || moves(sample) || moves(sample + 1) {
                points.push(moved[sample]);
            }
            sample += 1;
        }
        if !moves(sample + count - 1) && !moves(sample) {
            points.push(from);
        }
        walked += from.distance(to);
    }
    points.extend((sample..count).filter(|index| moves(*index)).map(|index| moved[index]));
    Ring::new(points)
}

/// How far a line may be moved outward, mm.
#[derive(Clone, Copy)]
pub(super) struct Leave {
    /// Anywhere.
    anywhere: f64,
    /// Where it had to leave the border's edge already.
    at_most: f64,
}

impl Leave {
    /// Behind a border.
    pub(super) fn behind(border: f64) -> Leave {
        let anywhere = (border * DEEPEST_SHARE).clamp(LEAST_DEPTH_MM, DEEPEST_MM);
        Leave { anywhere, at_most: (anywhere + AGAIN_MM).min(DEEPEST_MM) }
    }
}

/// A ring with its shallow dents filled and its tight inside corners eased; `off` says how far a place of it lies outside of
/// the border's edge already, mm. Linear in the ring's length.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn filled(
    ring: Ring,
    leave: Leave,
    inside_radius: f64,
    off: impl Fn(Point) -> f64,
    cancel: &Cancel,
) -> Result<Ring, Fault> {
    let Some(samples) = Samples::of(&ring) else { return Ok(ring) };
    let mut room = Room::none(&samples);
    room.add(&samples, &Limits::of_dents(leave.at_most), &[DENT_RADIUS_MM], cancel)?;
    let corners = CORNER_RADII.map(|radius| radius * inside_radius);
    room.add(&samples, &Limits::of_corners(leave.at_most), &corners, cancel)?;
    room.keep_to(&samples, leave, off);
    if room.most.iter().all(|most| *most <= 0.0) {
        return Ok(ring);
    }
    let moved = smoothed(&samples, &room);
    Ok(merged(&ring, &samples, &moved, &room))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    const BORDER_MM: f64 = 3.0;
    const DEPTH_MM: f64 = 0.3;

    fn even(ring: &Ring) -> Ring {
        behind(BORDER_MM, ring, 0.0)
    }

    fn behind(border: f64, ring: &Ring, off: f64) -> Ring {
        filled(ring.clone(), Leave::behind(border), 0.5, |_| off, &Cancel::new()).expect("nothing is cancelled")
    }

    /// A slab of 40 x 20 mm with round corners, its upper side a row of waves between smooth heads, of depths from left to right.
    fn waves(depths: &[f64], width: f64) -> Ring {
        let total = depths.len() as f64 * width;
        let top = |x: f64| {
            let wave = ((x + total / 2.0) / width).floor();
            let depth = depths.get(wave as usize).copied().unwrap_or(0.0);
            depth * (1.0 - (2.0 * PI * (x + total / 2.0) / width).cos()) / 2.0
        };
        let mut points: Vec<Point> =
            (-1000..=1000).map(|n| f64::from(n) * 0.02).map(|x| Point::new(x, top(x))).collect();
        let end = |middle: f64, from: f64| {
            (1..180)
                .map(move |degree| (from + f64::from(degree)).to_radians().sin_cos())
                .map(move |(sin, cos)| Point::new(middle + 10.0 * cos, 10.0 + 10.0 * sin))
        };
        points.extend(end(20.0, -90.0));
        points.push(Point::new(20.0, 20.0));
        points.push(Point::new(-20.0, 20.0));
        points.extend(end(-20.0, 90.0));
        Ring::new(points)
    }

    /// How deep a ring still lies under the upper side at a place.
    fn left(ring: &Ring, x: f64) -> f64 {
        let crossed = |(from, to): (Point, Point)| {
            let share = (x - from.x) / (to.x - from.x);
            (from.x <= x && x < to.x).then(|| from.lerp(to, share).y)
        };
        ring.edges().filter_map(crossed).fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn a_row_of_shallow_waves_becomes_nearly_straight() {
        let ring = waves(&[0.15, 0.25, 0.1, 0.3, 0.2], 4.0);
        let smooth = even(&ring);
        for n in -95..95 {
            assert!(left(&smooth, f64::from(n) * 0.1) < 0.06, "{} at {n}", left(&smooth, f64::from(n) * 0.1));
        }
    }

    #[test]
    fn nothing_moves_inward_nor_outward_by_more_than_a_tenth_of_the_border() {
        for depths in [[0.1, 0.3, 0.2, 0.5, 0.4], [1.0, 0.3, 2.0, 0.05, 0.6]] {
            for width in [1.5, 2.5, 4.0, 7.0] {
                let ring = waves(&depths, width);
                let smooth = even(&ring);
                for point in ring.points() {
                    assert!(smooth.contains(*point) || smooth.distance_to_edges(*point) < 0.01, "{point:?}");
                }
                for point in smooth.points() {
                    assert!(ring.distance_to_edges(*point) < DEPTH_MM + 1e-6, "{point:?}");
                }
            }
        }
    }

    #[test]
    fn filling_fades_out_as_a_dent_deepens() {
        let mut before: Option<f64> = None;
        for step in 2..120 {
            let depth = f64::from(step) * 0.01;
            let filling = depth - left(&even(&waves(&[depth], 3.0)), 0.0);
            let change = before.map_or(0.0, |before: f64| (filling - before).abs());
            assert!(change < 0.035, "{depth}: {filling} after {before:?}");
            before = Some(filling);
        }
        // Its tight bottom is eased all the same.
        let deep = before.unwrap_or(1.0);
        assert!(deep <= CORNER_SHARE * DEPTH_MM, "{deep}");
    }

    #[test]
    fn smooth_outlines_and_holes_stay_as_they_are() {
        let bean = Ring::new(
            (0..2000)
                .map(|n| f64::from(n) / 2000.0 * 2.0 * PI)
                .map(|angle| {
                    let radius = 20.0 + 4.0 * (3.0 * angle).cos();
                    Point::new(radius * angle.cos(), radius * angle.sin())
                })
                .collect(),
        );
        let smooth = even(&bean);
        let moved = smooth.points().iter().map(|point| bean.distance_to_edges(*point)).fold(0.0, f64::max);
        assert!(moved < 0.02, "{moved}");
        let hole = Ring::new(
            (0..2000)
                .map(|n| -f64::from(n) / 2000.0 * 2.0 * PI)
                .map(|angle| Point::new(4.0 * angle.cos(), 4.0 * angle.sin()))
                .collect(),
        );
        assert!(even(&hole) == hole);
    }

    #[test]
    fn without_a_border_moves_are_as_small_as_those_of_the_radius_and_never_large() {
        let ring = waves(&[0.09, 0.08], 3.0);
        for (off, most) in [(0.0, LEAST_DEPTH_MM), (0.03, 0.03 + LEAST_DEPTH_MM), (5.0, AGAIN_MM + LEAST_DEPTH_MM)] {
            let smooth = behind(0.0, &ring, off);
            let moved = smooth.points().iter().map(|point| ring.distance_to_edges(*point)).fold(0.0, f64::max);
            assert!(moved > 0.5 * most && moved < most + 1e-6, "{moved} of {most}");
        }
    }

    #[test]
    fn needles_and_dots_are_no_trouble() {
        for corners in [vec![(0.0, 0.0), (30.0, 0.1), (0.0, 0.2)], vec![(0.0, 0.0), (0.01, 0.0), (0.0, 0.01)]] {
            let ring = Ring::new(corners.into_iter().map(|(x, y)| Point::new(x, y)).collect());
            let smooth = even(&ring);
            assert!((smooth.area_mm2() - ring.area_mm2()).abs() < 0.01);
        }
    }
}

//! A ring resampled in even steps and smoothed, with its direction at every station.

use std::ops::Range;

use crate::geom::{Parabola, Point, Ring, Vec2};

/// Distance of stations, mm. Finer follows the grid's noise and costs time; coarser misses turns of half a millimetre.
const STEP_MM: f64 = 0.1;

/// Fewest stations of a ring, however small.
const FEWEST: usize = 48;

/// Half of the two smoothing windows, stations. The wide one takes out shallow dents; the narrow one then evens out what
/// [`MOST_MOVED_MM`] cut off. A parabola over 1.7 mm shrinks a turn of radius 3 mm by less than 0.001 mm. Measured on clip
/// art, no source.
const WINDOWS: [usize; 2] = [8, 3];

/// Half the window over which directions are measured, stations.
const SLOPE_WINDOW: usize = 3;

/// A line starts where it is about straight for so many stations to each side: less curved than this, 1/mm. There its last
/// cubic meets its first one without a turn to be shared, and a blade that cuts on past the end stays on the line. Measured
/// on drawings by chance, no source.
const START_WINDOW: usize = 5;
const STRAIGHT: f64 = 0.1;

/// Stations of a stretch, and half as many more: long rings are dealt with in stretches side by side. Each costs about half a
/// node, because its last cubic has to end where the next stretch begins.
const STRETCH: usize = 1500;

/// A ring as stations, the first one once more after the last.
#[derive(Clone)]
pub(super) struct Stations {
    raw: Vec<Point>,
    smooth: Vec<Point>,
    tangents: Vec<Vec2>,
    curvature: Vec<f64>,
}

/// Some of a ring's stations: no span goes beyond.
#[derive(Clone, Copy)]
pub(super) struct Stretch<'a> {
    /// On the ring itself.
    pub(super) raw: &'a [Point],
    /// Smoothed.
    pub(super) smooth: &'a [Point],
    /// Unit direction of travel.
    pub(super) tangents: &'a [Vec2],
    /// Signed curvature, 1/mm: positive turns clockwise as seen with y down.
    pub(super) curvature: &'a [f64],
}

impl Stretch<'_> {
    /// Steps from its first station to its last.
    pub(super) fn count(&self) -> usize {
        self.raw.len() - 1
    }

    /// About how long it is.
    pub(super) fn length_mm(&self) -> f64 {
        self.count() as f64 * STEP_MM
    }
}

impl Stations {
    /// Stations along a ring, starting from the first straight place after its topmost, leftmost point; smoothing moves none
    /// by more than `most_moved`, mm.
    pub(super) fn along(ring: &Ring, most_moved: f64) -> Stations {
        let raw = resampled(ring);
        let smooth = WINDOWS.iter().fold(raw.clone(), |points, window| smoothed(&raw, &points, *window, most_moved));
        let count = smooth.len();
        let step = ring.perimeter().mm() / count as f64;
        let mut tangents = Vec::with_capacity(count);
        for index in 0..count {
            let derivative = slope(&smooth, index);
            let chord = smooth[(index + 1) % count] - smooth[index];
            tangents.push(unit(derivative).or_else(|| unit(chord)).unwrap_or(Vec2::new(1.0, 0.0)));
        }
        let turn = |index: usize| {
            let (before, after) = (tangents[(index + count - 2) % count], tangents[(index + 2) % count]);
            before.cross(after).atan2(before.dot(after)) / (4.0 * step).max(1e-12)
        };
        let curvature: Vec<f64> = (0..count).map(turn).collect();
        let mut stations = Stations {
            raw: closed(raw),
            smooth: closed(smooth),
            tangents: closed(tangents),
            curvature: closed(curvature),
        };
        stations.start_at(stations.straight_place(0..count));
        stations
    }

    /// By how much the ring turns in all, to either side, in radian per 100 mm.
    pub(super) fn turn_per_100_mm(&self) -> f64 {
        let curvature = &self.curvature[1..];
        curvature.iter().map(|curvature| curvature.abs()).sum::<f64>() / curvature.len() as f64 * 100.0
    }

    /// The same ring from another straight place, a third of it farther on.
    pub(super) fn start_elsewhere(&mut self) {
        let (count, from) = (self.count(), self.count() / 3);
        self.start_at(self.straight_place(from..from + count));
    }

    /// The ring from where it starts, cut at straight places. The stretches are the ring's and not the threads', so that any
    /// number of these comes to the same line.
    pub(super) fn stretches(&self) -> Vec<Stretch<'_>> {
        let count = self.count();
        let pieces = (count / STRETCH).max(1);
        let cut = |piece: usize| match piece * count / pieces {
            near if piece > 0 && piece < pieces => self.straight_place(near - STRETCH / 4..near + STRETCH / 4),
            end => end,
        };
        let cuts: Vec<usize> = (0..=pieces).map(cut).collect();
        cuts.windows(2).map(|ends| self.stretch(ends[0]..ends[1] + 1)).collect()
    }

    fn stretch(&self, stations: Range<usize>) -> Stretch<'_> {
        Stretch {
            raw: &self.raw[stations.clone()],
            smooth: &self.smooth[stations.clone()],
            tangents: &self.tangents[stations.clone()],
            curvature: &self.curvature[stations],
        }
    }

    /// The first straight place of some stations; the straightest where none is.
    fn straight_place(&self, stations: Range<usize>) -> usize {
        let count = self.count();
        let around = |index: usize| (0..=2 * START_WINDOW).map(move |k| (index + count + k - START_WINDOW) % count);
        let most = |index: usize| around(index).map(|near| self.curvature[near].abs()).fold(0.0, f64::max);
        let on = || stations.clone().map(|index| index % count);
        let straightest = || on().min_by(|a, b| most(*a).total_cmp(&most(*b)));
        on().find(|index| most(*index) < STRAIGHT).or_else(straightest).unwrap_or(0)
    }

    fn start_at(&mut self, index: usize) {
        fn turned<T: Copy>(values: &mut Vec<T>, index: usize) {
            values.pop();
            values.rotate_left(index);
            values.extend(values.first().copied());
        }
        turned(&mut self.raw, index);
        turned(&mut self.smooth, index);
        turned(&mut self.tangents, index);
        turned(&mut self.curvature, index);
    }

    fn count(&self) -> usize {
        self.raw.len() - 1
    }
}

/// Values around a ring with the first one once more after the last.
fn closed<T: Copy>(mut values: Vec<T>) -> Vec<T> {
    values.extend(values.first().copied());
    values
}

fn unit(vector: Vec2) -> Option<Vec2> {
    let length = vector.hypot();
    (length > 1e-12).then(|| vector / length)
}

fn resampled(ring: &Ring) -> Vec<Point> {
    let points = ring.points();
    let topmost = (0..points.len()).min_by(|a, b| {
        let (a, b) = (points[*a], points[*b]);
        a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x))
    });
    let first = topmost.unwrap_or(0);
    ring.at_even_steps(first, ((ring.perimeter().mm() / STEP_MM).round() as usize).max(FEWEST))
}

fn smoothed(raw: &[Point], points: &[Point], window: usize, most_moved: f64) -> Vec<Point> {
    let parabola = Parabola::over(window);
    let smooth = |(index, own): (usize, &Point)| {
        let moved = parabola.at(points, index) - own.to_vec2();
        *own + moved * (most_moved / moved.hypot().max(most_moved))
    };
    raw.iter().enumerate().map(smooth).collect()
}

/// First derivative by the same parabola: weight of the k-th proportional to k.
fn slope(points: &[Point], index: usize) -> Vec2 {
    let count = points.len();
    (1..=SLOPE_WINDOW)
        .fold(Vec2::ZERO, |sum, k| sum + (points[(index + k) % count] - points[(index + count - k) % count]) * k as f64)
}

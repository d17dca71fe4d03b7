//! Where a thin stroke ends.
//!
//! A stroke thinner than a pixel is drawn half a pixel wide, and its drawn end says little about its own: where it tapers
//! out, alpha fades over several pixels. But filters that make pictures smaller keep area and where its middle is, so alpha
//! summed across a stroke is its width there, and what is left of it from a place on has its middle where alpha has. That is
//! half way to the end of a stroke that stays as wide, a third of the way to a point, and between where its width falls evenly
//! to a blunt end: with `k` of its width lost in a pixel, one that goes on for `l` has its middle at
//! `l (1/2 - k l / 3) / (1 - k l / 2)`.

use super::plane::{CLEAR_ALPHA, Plane};
use super::tips::MOST_PX;
use crate::geom::{Point, Vec2};

/// What is left is measured from so far behind the drawn end on, and how fast the width falls in two strips behind that, px.
const BEHIND_PX: f64 = 1.5;
const STRIP_PX: f64 = 1.5;

/// So many times as fast it falls towards the end: strips that are cut a little askew say too little. Of drawings by chance,
/// this brings tips of half angles of 1.5 to 8 degrees and blunt ends closest to where they are.
const FALLS_MORE: f64 = 1.8;

/// So many times as much it loses at most as the shape of what is left says, which is less sure: behind a tail of even width there
/// may be a shoulder. Found in the same way.
const SHAPE_MORE: f64 = 2.0;

/// The direction is that between the middles of what covers up to so far around the drawn end, and of the stretch of the same
/// length behind that.
const AROUND_PX: f64 = 1.5;

/// The axis of a stroke lies no farther from its drawn end.
const OFF_AXIS_PX: f64 = 0.7;

/// What lies up to so far beside a stroke counts as its own: half of it there, less beyond.
const BESIDE_PX: f64 = 2.0;

/// What is left is summed in so many steps of so many px: a stroke may taper for as long.
const LEFT_STEPS: usize = 10;
const STEP_PX: f64 = 0.5;

/// Variance by which all of that is blurred along the stroke, px²: by a filter that takes the mean of a pixel, by pixels being
/// square, and by widths being means over a pixel, of each a twelfth. For each pixel of width the moment is larger by half of it.
const BLUR_PX2: f64 = 0.25;

/// Pixels to each side of the drawn end in which all of this lies.
const REACH_PX: i64 = 6;

/// Width under which it is noise, px.
const LEAST_WIDTH_PX: f64 = 0.02;

/// Cosine of the angle by which the direction may differ from that of the drawn stroke.
const LEAST_ALIKE: f64 = 0.8;

/// Covered pixels around the end of a stroke.
struct Around {
    /// Where each is from the drawn end, and which part of it is covered.
    pixels: Vec<(Vec2, f64)>,
    along: Vec2,
    /// Of the stroke's axis, from the drawn end.
    offset: Vec2,
}

/// Where a stroke ends that was drawn from `behind` to `tip`, and how far that is from `tip`. `None` where alpha goes on before
/// it, or what is there is no stroke.
pub(super) fn of(plane: &Plane<'_>, behind: Point, tip: Point) -> Option<(Point, f64)> {
    let drawn = tip - behind;
    if drawn.hypot() < BEHIND_PX {
        return None;
    }
    let drawn = drawn.normalize();
    let ground = plane.largest_before(tip, drawn);
    if ground > CLEAR_ALPHA {
        return None;
    }
    let around = Around::of(plane, tip, drawn, ground)?;
    let way = around.offset + around.along * (around.length_left()? - BEHIND_PX);
    let way = way * (MOST_PX / way.hypot()).min(1.0);
    Some((tip + way, way.dot(drawn)))
}

impl Around {
    fn of(plane: &Plane<'_>, tip: Point, drawn: Vec2, ground: u8) -> Option<Around> {
        let (x, y) = (tip.x.floor() as i64, tip.y.floor() as i64);
        let places = (y - REACH_PX..=y + REACH_PX).flat_map(|y| (x - REACH_PX..=x + REACH_PX).map(move |x| (x, y)));
        let covered = places.filter_map(|(x, y)| {
            let share = f64::from(plane.own_alpha(x, y).saturating_sub(ground)) / f64::from(u8::MAX);
            (share > 0.0).then(|| (Point::new(x as f64 + 0.5, y as f64 + 0.5) - tip, share))
        });
        let pixels: Vec<(Vec2, f64)> = covered.collect();
        let middle = |from: f64, to: f64| {
            let is_near = |off: Vec2| (from..=to).contains(&off.dot(drawn)) && off.cross(drawn).abs() <= BESIDE_PX;
            let near = pixels.iter().filter(|(off, _)| is_near(*off));
            let (sum, area) =
                near.fold((Vec2::ZERO, 0.0), |(sum, area), (off, share)| (sum + *off * *share, area + share));
            (area > 0.0).then(|| sum / area)
        };
        let (front, back) = (middle(-AROUND_PX, AROUND_PX)?, middle(-3.0 * AROUND_PX, -AROUND_PX)?);
        let along = (front - back).normalize();
        let offset = front - along * front.dot(along);
        let is_stroke = along.dot(drawn) >= LEAST_ALIKE && offset.hypot() <= OFF_AXIS_PX;
        is_stroke.then_some(Around { pixels, along, offset })
    }

    /// Mean width over a stretch of the stroke, by where its middle is from the drawn end and how long it is, px.
    fn width(&self, middle: f64, length: f64) -> f64 {
        let part = |(off, share): &(Vec2, f64)| {
            let beside = (BESIDE_PX + 0.5 - (*off - self.offset).cross(self.along).abs()).clamp(0.0, 1.0);
            share * beside * part_within(off.dot(self.along) - middle, length, self.along)
        };
        self.pixels.iter().map(part).sum::<f64>() / length
    }

    /// How far the stroke goes on from [`BEHIND_PX`] behind its drawn end.
    fn length_left(&self) -> Option<f64> {
        let strip = |behind: f64| self.width(-BEHIND_PX - behind * STRIP_PX, STRIP_PX);
        let (near, far) = (strip(0.5), strip(1.5));
        let falls = ((far - near) / STRIP_PX).max(0.0);
        if near < LEAST_WIDTH_PX {
            return None;
        }
        // Behind a shoulder the width falls by more than there is of it.
        let width = (near - falls * STRIP_PX / 2.0).max(LEAST_WIDTH_PX);
        // A stroke that tapers never widens again: what does lies before it or beside it.
        let mut most = self.width(-BEHIND_PX - 0.5, 1.0);
        let (mut area, mut moment) = (0.0, 0.0);
        for at in (0..LEFT_STEPS).map(|step| (step as f64 + 0.5) * STEP_PX) {
            let here = self.width(at - BEHIND_PX, 1.0).min(most);
            if at > 1.0 {
                most = here;
            }
            area += here * STEP_PX;
            moment += here * at * STEP_PX;
        }
        let moment = moment - BLUR_PX2 * width / 2.0;
        let middle = moment / area;
        if middle <= 0.0 || middle.is_nan() {
            return None;
        }
        let lost = lost_by_taper(FALLS_MORE * falls / width, middle)
            .min(SHAPE_MORE * lost_by_shape(area * area / (self.width(-BEHIND_PX, STRIP_PX) * moment)));
        Some(middle * (1.0 - lost / 2.0) / (0.5 - lost / 3.0))
    }
}

/// The part of its width that a stroke has lost where it ends, by the part that it loses in a pixel and how far its middle is:
/// all of it, one, where it ends in a point.
fn lost_by_taper(falls: f64, middle: f64) -> f64 {
    if falls * middle >= 1.0 / 3.0 {
        return 1.0;
    }
    let half = 0.5 + falls * middle / 2.0;
    falls * 2.0 * middle / (half + (half * half - falls * middle * 4.0 / 3.0).max(0.0).sqrt())
}

/// The same by how full it is: its area squared to its width where it begins and its moment about that place. That is 2 for an
/// even stroke and 3/2 for a point.
fn lost_by_shape(full: f64) -> f64 {
    let full = full.clamp(1.5, 2.0);
    2.0 * (1.0 - full / 3.0 - (full * (2.0 * full - 3.0) / 18.0).sqrt())
}

/// How much of a pixel lies within a stretch along a direction, px², by how far the pixel's middle is from the stretch's: the
/// shadow that its square casts in that direction. Pixels side by side sum up evenly in all directions.
fn part_within(off: f64, length: f64, along: Vec2) -> f64 {
    // No side is quite nothing: it is divided by.
    let [one, other] = [along.x, along.y].map(|side| side.abs().max(1e-3));
    // The shadow's second integral, by its corners.
    let second = |at: f64| {
        let corner = |(sign, half): (f64, f64)| sign * (at + half).max(0.0).powi(2) / 2.0;
        let (sum, difference) = ((one + other) / 2.0, (one - other) / 2.0);
        [(1.0, sum), (-1.0, difference), (-1.0, -difference), (1.0, -sum)].map(corner).iter().sum::<f64>()
    };
    (second(off + length / 2.0) - second(off - length / 2.0)) / (one * other)
}

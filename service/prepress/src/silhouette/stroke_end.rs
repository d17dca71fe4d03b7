//! Where a thin stroke ends.
//!
//! A stroke thinner than a pixel is drawn half a pixel wide, and its drawn end says little about its own: where it tapers
//! out, alpha fades over several pixels. But filters that make pictures smaller keep area, so alpha summed across a stroke
//! is its width there, and the sum of all alpha from a place on is the area of what is left of it. A stroke whose width
//! falls evenly from `s` by `d` in a pixel, whether to a point or to a blunt end, and that has the area `a` left, ends
//! after `l` with `a = s l - d l² / 2`.

use super::plane::Plane;
use super::tips::{CLEAR_ALPHA, MOST_PX};
use crate::geom::{Point, Vec2};

/// The width is measured so far behind the drawn end, and how fast it falls over so far behind that, px.
const BEHIND_PX: f64 = 1.5;
const FALLS_OVER_PX: f64 = 2.0;

/// The direction is that between the middles of what covers up to so far around the drawn end, and of the stretch of the same
/// length behind that.
const AROUND_PX: f64 = 1.5;

/// The axis of a stroke lies no farther from its drawn end.
const OFF_AXIS_PX: f64 = 0.7;

/// What lies up to so far beside a stroke counts as its own: half of it there, less beyond.
const BESIDE_PX: f64 = 2.0;

/// Pixels from the place where the width is measured over which a stroke may still taper.
const LEFT_PX: usize = 5;

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

    /// Width at a place along the stroke, counted from the drawn end, px.
    fn width_at(&self, at: f64) -> f64 {
        let part = |(off, share): &(Vec2, f64)| {
            let near = (1.0 - (off.dot(self.along) - at).abs()).max(0.0);
            let beside = (BESIDE_PX + 0.5 - (*off - self.offset).cross(self.along).abs()).clamp(0.0, 1.0);
            share * near * beside
        };
        self.pixels.iter().map(part).sum()
    }

    /// How far the stroke goes on from where its width is measured.
    fn length_left(&self) -> Option<f64> {
        let width = self.width_at(-BEHIND_PX);
        if width < LEAST_WIDTH_PX {
            return None;
        }
        let falls = ((self.width_at(-BEHIND_PX - FALLS_OVER_PX) - width) / FALLS_OVER_PX).max(0.0);
        // A stroke that tapers never widens again: what does lies before it or beside it.
        let mut left = width;
        let ahead = (1..=LEFT_PX).map(|step| {
            left = left.min(self.width_at(step as f64 - BEHIND_PX));
            left
        });
        let area = width / 2.0 + ahead.sum::<f64>();
        let under_root = width * width - 2.0 * falls * area;
        // Else more is left than if the width fell on as evenly: as far as it would fall to nothing, or as with an even width.
        Some(if under_root > 0.0 {
            2.0 * area / (width + under_root.sqrt())
        } else {
            (width / falls).max(area / width)
        })
    }
}

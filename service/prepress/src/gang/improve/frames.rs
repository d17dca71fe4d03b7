//! Shortens one long container frame by frame: some dozens of pieces are pushed together at a time, and all that stands beyond
//! them moves up.

use super::{Improver, Scene};
use crate::fault::Fault;
use crate::gang::body::{Body, meet};
use crate::gang::fill::Spot;
use crate::gang::part::{Part, at_tick, most_reach, on_tick, turned_bounds};
use crate::gang::separate::{Field, Place};
use crate::geom::{Rect, Vec2};

/// Pieces of a frame, about. Measured: the work that a frame needs grows faster than its pieces.
pub(super) const FRAME: usize = 80;
/// Sweeps over the container; every other one has its frames half a frame on.
const SWEEPS: usize = 2;

/// How much is first taken off a frame at once, as a share of its length: little, because a frame gets little work. Measured.
const FIRST_STEP: f64 = 0.002;

/// One frame: its pieces by their ranks along the container, and the room they have.
struct Frame {
    from: usize,
    to: usize,
    low: f64,
    high: f64,
}

/// What stands in a container, in order along it.
struct Line {
    spots: Vec<Spot>,
    boxes: Vec<Rect>,
}

/// Whether a bin is long enough to be shortened by frames.
pub(super) fn is_long(bin: &[Spot]) -> bool {
    bin.len() >= 2 * FRAME
}

impl Improver<'_> {
    /// A bin made shorter.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn framed(&self, bin: Vec<Spot>, task: u64) -> Result<Vec<Spot>, Fault> {
        let mut line = Line::of(self.shop.parts, bin);
        for sweep in 0..SWEEPS {
            let count = line.spots.len() / FRAME;
            let edges = |frame: usize| {
                let half = if sweep % 2 == 1 && frame > 0 && frame < count { FRAME / 2 } else { 0 };
                (frame * line.spots.len() / count).saturating_sub(half)
            };
            let frames: Vec<(usize, usize)> = (0..count).map(|frame| (edges(frame), edges(frame + 1))).collect();
            for (index, ends) in frames.into_iter().enumerate() {
                let task = task << 32 | (sweep << 24 | index) as u64;
                self.shorten_frame(&mut line, ends, task)?;
            }
            line = Line::of(self.shop.parts, line.spots);
        }
        Ok(line.spots)
    }

    fn shorten_frame(&self, line: &mut Line, (from, to): (usize, usize), task: u64) -> Result<(), Fault> {
        let (reach, section) = (most_reach(self.shop.parts), &self.shop.sections[0]);
        let low = line.boxes[from..to].iter().map(|bounds| bounds.y0).fold(f64::INFINITY, f64::min) - reach;
        let high = line.boxes[from..to].iter().map(|bounds| bounds.y1).fold(0.0, f64::max) + reach;
        let frame = Frame { from, to, low: if from == 0 { 0.0 } else { low.max(0.0) }, high };
        let apart = self.shop.scale.gutter + 2.0 * reach + 1.0;
        // Free zones do not move up with what stands beyond.
        if section.obstacles.iter().any(|zone| zone.body.bounds.y1 + zone.radius + apart > frame.low) {
            return Ok(());
        }
        let far = line.boxes[..to].iter().map(|bounds| bounds.y1).fold(high, f64::max);
        let heads: Vec<usize> = (0..from).filter(|index| line.boxes[*index].y1 > frame.low - apart).collect();
        let tails: Vec<usize> = (to..line.spots.len()).filter(|index| line.boxes[*index].y0 < far + apart).collect();
        let mut scene = Scene::default();
        for index in (from..to).chain(heads.iter().copied()).chain(tails.iter().copied()) {
            let spot = line.spots[index];
            let place = Place { window: 0, at: spot.at - Vec2::new(0.0, frame.low), angle_deg: spot.angle_deg };
            scene.add(spot.part, place, !(from..to).contains(&index), &self.shapes);
        }
        let room = [(section.width, frame.high - frame.low)];
        let mut field = Field::new(&scene.shapes, &room, &scene.pieces);
        field.follow((to - from + heads.len()..scene.pieces.len()).collect());
        let looks = self.looks / SWEEPS as u64 * (to - from) as u64;
        let (length, _) = self.search((looks, task), |search| search.shorten(&mut field, 0, FIRST_STEP))?;
        let gain = on_tick(room[0].1 - length);
        if gain > 0.0 && self.heads_keep_apart(line, &heads, to, gain) {
            let made = scene.bins(&field, 1);
            line.advance(self.shop.parts, &frame, &made[0], gain);
        }
        Ok(())
    }

    /// Whether what stands before a frame keeps its distance when all from a rank on moves up.
    fn heads_keep_apart(&self, line: &Line, heads: &[usize], to: usize, gain: f64) -> bool {
        let need = self.shop.scale.gutter + super::SPARE_MM;
        let body = |index: usize| {
            let spot = line.spots[index];
            (Body::new(&self.shop.parts[spot.part].rings, spot.angle_deg), spot.at)
        };
        (to..line.spots.len()).all(|tail| {
            let moved = line.boxes[tail] - Vec2::new(0.0, gain);
            let mut near = heads.iter().filter(|head| meet(moved.inflate(need, need), line.boxes[**head])).peekable();
            near.peek().is_none() || {
                let (tail, at) = body(tail);
                near.all(|head| {
                    let (head, head_at) = body(*head);
                    !tail.is_nearer(&head, head_at - at + Vec2::new(0.0, gain), need)
                })
            }
        })
    }
}

fn bounds(parts: &[Part], spot: &Spot) -> Rect {
    turned_bounds(&parts[spot.part].rings, spot.angle_deg) + spot.at
}

impl Line {
    fn of(parts: &[Part], spots: Vec<Spot>) -> Line {
        let mut boxed: Vec<(Spot, Rect)> = spots.into_iter().map(|spot| (spot, bounds(parts, &spot))).collect();
        boxed.sort_by(|a, b| a.1.center().y.total_cmp(&b.1.center().y));
        let (spots, boxes) = boxed.into_iter().unzip();
        Line { spots, boxes }
    }

    /// Takes what a frame came to, and moves up what stands beyond it.
    fn advance(&mut self, parts: &[Part], frame: &Frame, made: &[Spot], gain: f64) {
        for (index, spot) in (frame.from..frame.to).zip(made) {
            self.spots[index] = Spot { at: at_tick(spot.at + Vec2::new(0.0, frame.low)), ..*spot };
        }
        for spot in &mut self.spots[frame.to..] {
            spot.at = at_tick(spot.at - Vec2::new(0.0, gain));
        }
        for index in frame.from..self.spots.len() {
            self.boxes[index] = bounds(parts, &self.spots[index]);
        }
    }
}

//! Shortens one long container frame by frame: some dozens of pieces are pushed together at a time, and all that stands beyond
//! them moves up.

use std::collections::BTreeMap;

use super::{Aim, STREAM, Scene, Spent, tick};
use crate::fault::Fault;
use crate::gang::body::{Body, meet};
use crate::gang::fill::Spot;
use crate::gang::part::{on_tick, turned_bounds};
use crate::gang::plan::Shop;
use crate::gang::rng::Rng;
use crate::gang::separate::{Field, Place, Search, Shape, Work};
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

impl Shop<'_> {
    /// Whether a bin is long enough to be shortened by frames.
    pub(super) fn is_long(&self, bin: &[Spot]) -> bool {
        bin.len() >= 2 * FRAME
    }

    /// A bin made shorter.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn framed(
        &self,
        bin: Vec<Spot>,
        shapes: &BTreeMap<usize, Shape>,
        aim: &Aim<'_>,
        (task, spent): (u64, &Spent<'_>),
    ) -> Result<Vec<Spot>, Fault> {
        let mut line = self.line(bin);
        for sweep in 0..SWEEPS {
            let count = line.spots.len() / FRAME;
            let edges = |frame: usize| {
                let half = if sweep % 2 == 1 && frame > 0 && frame < count { FRAME / 2 } else { 0 };
                (frame * line.spots.len() / count).saturating_sub(half)
            };
            let frames: Vec<(usize, usize)> = (0..count).map(|frame| (edges(frame), edges(frame + 1))).collect();
            for (index, ends) in frames.into_iter().enumerate() {
                let task = task << 32 | (sweep << 24 | index) as u64;
                self.shorten_frame(&mut line, ends, shapes, (aim.looks / SWEEPS as u64, task), spent)?;
            }
            line = self.line(line.spots);
        }
        Ok(line.spots)
    }

    fn line(&self, mut spots: Vec<Spot>) -> Line {
        let bounds = |spot: &Spot| turned_bounds(&self.parts[spot.part].rings, spot.angle_deg) + spot.at;
        spots.sort_by(|a, b| bounds(a).center().y.total_cmp(&bounds(b).center().y));
        let boxes = spots.iter().map(bounds).collect();
        Line { spots, boxes }
    }

    fn shorten_frame(
        &self,
        line: &mut Line,
        (from, to): (usize, usize),
        shapes: &BTreeMap<usize, Shape>,
        (looks, task): (u64, u64),
        spent: &Spent<'_>,
    ) -> Result<(), Fault> {
        let reach = self.parts.iter().map(|part| part.reach).fold(0.0, f64::max);
        let low = line.boxes[from..to].iter().map(|bounds| bounds.y0).fold(f64::INFINITY, f64::min) - reach;
        let high = line.boxes[from..to].iter().map(|bounds| bounds.y1).fold(0.0, f64::max) + reach;
        let frame = Frame { from, to, low: if from == 0 { 0.0 } else { low.max(0.0) }, high };
        let apart = self.scale.gutter + 2.0 * reach + 1.0;
        // Free zones do not move up with what stands beyond.
        let zones = &self.sections[0].obstacles;
        if zones.iter().any(|zone| zone.body.bounds.y1 + zone.radius + apart > frame.low) {
            return Ok(());
        }
        let far = line.boxes[..to].iter().map(|bounds| bounds.y1).fold(high, f64::max);
        let heads: Vec<usize> = (0..from).filter(|index| line.boxes[*index].y1 > frame.low - apart).collect();
        let tails: Vec<usize> = (to..line.spots.len()).filter(|index| line.boxes[*index].y0 < far + apart).collect();
        let mut scene = Scene::default();
        for index in (from..to).chain(heads.iter().copied()).chain(tails.iter().copied()) {
            let spot = line.spots[index];
            let place = Place { window: 0, at: spot.at - Vec2::new(0.0, frame.low), angle_deg: spot.angle_deg };
            scene.add(spot.part, place, !(from..to).contains(&index), shapes);
        }
        let room = [(self.sections[0].width, frame.high - frame.low)];
        let mut field = Field::new(&scene.shapes, &room, &scene.pieces);
        field.follow((to - from + heads.len()..scene.pieces.len()).collect());
        let meter = spent.meter();
        let is_over = |looks: u64| {
            meter.tell(looks);
            self.clock.is_over()
        };
        let work = Work { looks: looks * (to - from) as u64, cancel: self.cancel, is_over: &is_over };
        let (length, _) = Search::new(Rng::new(self.seed, STREAM ^ task), work).shorten(&mut field, 0, FIRST_STEP)?;
        let gain = on_tick(room[0].1 - length);
        if gain > 0.0 && self.heads_keep_apart(line, &heads, to, gain) {
            let made = scene.bins(&field, 1);
            line.advance(self, &frame, &made[0], gain);
        }
        Ok(())
    }

    /// Whether what stands before a frame keeps its distance when all from a rank on moves up.
    fn heads_keep_apart(&self, line: &Line, heads: &[usize], to: usize, gain: f64) -> bool {
        let need = self.scale.gutter + super::SPARE_MM;
        let body = |index: usize| {
            let spot = line.spots[index];
            (Body::new(&self.parts[spot.part].rings, spot.angle_deg), spot.at)
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

impl Line {
    /// Takes what a frame came to, and moves up what stands beyond it.
    fn advance(&mut self, shop: &Shop<'_>, frame: &Frame, made: &[Spot], gain: f64) {
        for (index, spot) in (frame.from..frame.to).zip(made) {
            self.spots[index] = Spot { at: tick(spot.at + Vec2::new(0.0, frame.low)), ..*spot };
        }
        for index in frame.to..self.spots.len() {
            let spot = &mut self.spots[index];
            spot.at = tick(spot.at - Vec2::new(0.0, gain));
        }
        for index in frame.from..self.spots.len() {
            let spot = &self.spots[index];
            self.boxes[index] = turned_bounds(&shop.parts[spot.part].rings, spot.angle_deg) + spot.at;
        }
    }
}

//! Pieces in windows, overlaps allowed: how much each pair overlaps, and what that weighs.

use super::shape::{Shape, Turned};
use crate::geom::{Rect, Vec2};

/// Depth at which overlaps begin to fade, as a share of the larger diameter.
const FADE: f32 = 0.01;
/// Weights grow by these factors for the least and the worst overlap of a round, and fall where there is none.
const WEIGHT_GROWS: (f32, f32) = (1.2, 2.0);
const WEIGHT_FALLS: f32 = 0.95;

/// Most bands of a window.
const MOST_BANDS: f64 = 1000.0;
/// Pieces whose weights are raised in the time of one look.
const PIECES_PER_LOOK: usize = 10;

/// A window to be filled.
#[derive(Clone, Debug)]
pub(super) struct Window {
    pub(super) width: f64,
    pub(super) length: f64,
    /// Who stands in it.
    pub(super) members: Vec<usize>,
    /// Who reaches into each of the bands that the window is divided into along its length; the first and the last go on.
    bands: Vec<Vec<usize>>,
    band_length: f64,
}

impl Window {
    fn bands_of(&self, low: f64, high: f64) -> (usize, usize) {
        let band = |y: f64| ((y / self.band_length).max(0.0) as usize).min(self.bands.len() - 1);
        (band(low), band(high))
    }

    fn enter(&mut self, index: usize, bounds: Rect) {
        let (first, last) = self.bands_of(bounds.y0, bounds.y1);
        self.bands[first..=last].iter_mut().for_each(|band| band.push(index));
    }

    fn leave(&mut self, index: usize, bounds: Rect) {
        let (first, last) = self.bands_of(bounds.y0, bounds.y1);
        for band in &mut self.bands[first..=last] {
            if let Some(at) = band.iter().position(|member| *member == index) {
                band.swap_remove(at);
            }
        }
    }
}

/// Where a piece stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::gang) struct Place {
    pub(in crate::gang) window: usize,
    pub(in crate::gang) at: Vec2,
    pub(in crate::gang) angle_deg: f64,
}

/// A piece, or a free zone.
#[derive(Clone, Debug)]
pub(in crate::gang) struct Piece {
    pub(super) shape: usize,
    pub(super) window: usize,
    pub(super) at: Vec2,
    pub(super) turned: Turned,
    /// Free zones stay.
    pub(super) fixed: bool,
}

impl Piece {
    pub(in crate::gang) fn place(&self) -> Place {
        Place { window: self.window, at: self.at, angle_deg: self.turned.angle_deg }
    }
}

/// What a piece has to do with another.
#[derive(Clone, Copy, Debug)]
struct Pair {
    other: usize,
    overlap: f32,
    weight: f32,
}

/// All of it.
pub(in crate::gang) struct Field<'a> {
    pub(super) shapes: &'a [Shape],
    pub(super) windows: Vec<Window>,
    pub(in crate::gang) pieces: Vec<Piece>,
    /// True bounding boxes in their windows.
    boxes: Vec<Rect>,
    /// Of each piece the others that it overlaps, or did not long ago. Each pair is there twice, alike.
    pairs: Vec<Vec<Pair>>,
    /// How far out of its window each piece is, and its weight.
    outs: Vec<(f32, f32)>,
    /// By how much any shape counts as grown, at most.
    most_grown: f64,
    /// Pieces of the first window that move with its end, and how far beyond it they stand.
    followers: Vec<(usize, f64)>,
    /// Memory of the search for neighbours.
    near: Vec<usize>,
    /// Pairs of outlines looked at so far: what work is counted in.
    pub(super) looks: u64,
}

impl<'a> Field<'a> {
    /// Windows of these widths and lengths with pieces in them: shape, place, and whether it stays.
    pub(in crate::gang) fn new(
        shapes: &'a [Shape],
        windows: &[(f64, f64)],
        pieces: &[(usize, Place, bool)],
    ) -> Field<'a> {
        let sizes: f64 = shapes.iter().map(|shape| shape.size).sum();
        let typical = (sizes / shapes.len().max(1) as f64).max(1e-9);
        let window = |(width, length): &(f64, f64)| {
            let count = (length / typical).clamp(1.0, MOST_BANDS) as usize;
            let (bands, band_length) = (vec![Vec::new(); count], (length / count as f64).max(1e-9));
            Window { width: *width, length: *length, members: Vec::new(), bands, band_length }
        };
        let piece = |(shape, place, fixed): &(usize, Place, bool)| {
            let turned = Turned::new(&shapes[*shape], place.angle_deg);
            Piece { shape: *shape, window: place.window, at: place.at, turned, fixed: *fixed }
        };
        let pieces: Vec<Piece> = pieces.iter().map(piece).collect();
        let mut field = Field {
            shapes,
            windows: windows.iter().map(window).collect(),
            boxes: pieces.iter().map(|piece| piece.turned.bounds + piece.at).collect(),
            pairs: vec![Vec::new(); pieces.len()],
            outs: vec![(0.0, 1.0); pieces.len()],
            most_grown: shapes.iter().map(|shape| shape.grown).fold(0.0, f64::max),
            followers: Vec::new(),
            near: Vec::new(),
            looks: 0,
            pieces,
        };
        for index in 0..field.pieces.len() {
            let window = &mut field.windows[field.pieces[index].window];
            window.members.push(index);
            window.enter(index, field.boxes[index]);
        }
        (0..field.pieces.len()).for_each(|piece| field.measure(piece));
        field
    }

    /// Whether nothing but free zones stands in a window.
    pub(in crate::gang) fn is_empty(&self, window: usize) -> bool {
        self.windows[window].members.iter().all(|member| self.pieces[*member].fixed)
    }

    /// Where everything stands.
    pub(super) fn places(&self) -> Vec<Place> {
        self.pieces.iter().map(Piece::place).collect()
    }

    /// Puts everything back.
    pub(super) fn restore(&mut self, places: &[Place]) {
        for (index, place) in places.iter().enumerate() {
            if self.pieces[index].place() != *place {
                self.put(index, *place);
            }
        }
    }

    /// Moves a piece.
    pub(super) fn put(&mut self, index: usize, place: Place) {
        let mut turned = std::mem::take(&mut self.pieces[index].turned);
        turned.turn(&self.shapes[self.pieces[index].shape], place.angle_deg);
        self.put_turned(index, place.window, place.at, turned);
    }

    /// Moves a piece that is turned already.
    pub(super) fn put_turned(&mut self, index: usize, window: usize, at: Vec2, mut turned: Turned) {
        turned.outline(&self.shapes[self.pieces[index].shape]);
        let old = self.pieces[index].window;
        for position in 0..self.pairs[index].len() {
            let pair = self.pairs[index][position];
            if pair.overlap > 0.0 {
                self.set_overlap(index, pair.other, 0.0);
            }
        }
        if old != window {
            self.windows[old].members.retain(|member| *member != index);
            self.windows[window].members.push(index);
        }
        self.windows[old].leave(index, self.boxes[index]);
        self.boxes[index] = turned.bounds + at;
        self.windows[window].enter(index, self.boxes[index]);
        let piece = &mut self.pieces[index];
        (piece.window, piece.at, piece.turned) = (window, at, turned);
        self.measure(index);
    }

    /// Lets pieces of the first window move with its end from now on.
    pub(in crate::gang) fn follow(&mut self, pieces: Vec<usize>) {
        let end = self.windows[0].length;
        self.followers = pieces.into_iter().map(|index| (index, self.pieces[index].at.y - end)).collect();
    }

    /// Changes the length of a window.
    pub(in crate::gang) fn set_length(&mut self, window: usize, length: f64) {
        self.windows[window].length = length;
        for position in 0..self.windows[window].members.len() {
            let index = self.windows[window].members[position];
            self.outs[index].0 = self.out(index);
        }
        for position in 0..self.followers.len() {
            let (index, beyond) = self.followers[position];
            let place = self.pieces[index].place();
            let at = Vec2::new(place.at.x, self.windows[0].length + beyond);
            if at != place.at {
                self.put(index, Place { at, ..place });
            }
        }
    }

    fn out(&self, index: usize) -> f32 {
        let piece = &self.pieces[index];
        if piece.fixed { 0.0 } else { self.out_of(piece.window, &self.shapes[piece.shape], self.boxes[index]) }
    }

    /// Takes the measure of one piece against all others in its window.
    fn measure(&mut self, index: usize) {
        let window = self.pieces[index].window;
        self.outs[index].0 = self.out(index);
        let mut turned = std::mem::take(&mut self.pieces[index].turned);
        let (shape, at) = (self.pieces[index].shape, self.pieces[index].at);
        let mut near = std::mem::take(&mut self.near);
        self.near(window, self.wide(shape, self.boxes[index]), &mut near);
        for other in &near {
            // What stays cannot be taken apart.
            if *other != index && !(self.pieces[index].fixed && self.pieces[*other].fixed) {
                let overlap = self.overlap(shape, &mut turned, at, self.boxes[index], *other);
                if overlap > 0.0 {
                    self.set_overlap(index, *other, overlap);
                }
            }
        }
        self.near = near;
        self.pieces[index].turned = turned;
    }

    fn set_overlap(&mut self, a: usize, b: usize, overlap: f32) {
        for (from, to) in [(a, b), (b, a)] {
            match self.pairs[from].iter_mut().find(|pair| pair.other == to) {
                Some(pair) => pair.overlap = overlap,
                None => self.pairs[from].push(Pair { other: to, overlap, weight: 1.0 }),
            }
        }
    }

    /// How far a box is out of a window; 0 inside.
    fn out_of(&self, window: usize, shape: &Shape, bounds: Rect) -> f32 {
        let room = &self.windows[window];
        let past = |low: f64, high: f64, room: f64| (shape.reach - low).max(0.0) + (high + shape.reach - room).max(0.0);
        let out = past(bounds.x0, bounds.x1, room.width) + past(bounds.y0, bounds.y1, room.length);
        // Under a hundred-thousandth it is rounding.
        if out <= 1e-9 * (room.width + room.length) {
            0.0
        } else {
            2.0 * ((out * shape.size).sqrt() * shape.size) as f32
        }
    }

    /// How much a piece at some place overlaps another; 0 where they keep their distance.
    fn overlap(&self, shape: usize, turned: &mut Turned, at: Vec2, bounds: Rect, other: usize) -> f32 {
        let piece = &self.pieces[other];
        let (a, b) = (&self.shapes[shape], &self.shapes[piece.shape]);
        let need = a.grown + b.grown;
        let there = &self.boxes[other];
        let apart = bounds.x0 - there.x1 >= need
            || there.x0 - bounds.x1 >= need
            || bounds.y0 - there.y1 >= need
            || there.y0 - bounds.y1 >= need;
        if apart {
            return 0.0;
        }
        let offset = piece.at - at;
        let fade = FADE * a.diameter.max(b.diameter) as f32;
        let (depth, meets) = turned.depth(&piece.turned, offset, fade);
        if !meets && !turned.outline(a).is_nearer(piece.turned.standing(), offset, need) {
            return 0.0;
        }
        (depth + fade * fade).sqrt() * ((a.size * b.size).sqrt() as f32)
    }

    /// A box with room for the distance to any neighbour.
    fn wide(&self, shape: usize, bounds: Rect) -> Rect {
        let reach = self.shapes[shape].grown + self.most_grown;
        bounds.inflate(reach, reach)
    }

    /// Who in a window meets a box.
    fn near(&self, window: usize, wide: Rect, near: &mut Vec<usize>) {
        near.clear();
        let room = &self.windows[window];
        let (first, last) = room.bands_of(wide.y0, wide.y1);
        for band in first..=last {
            for other in &room.bands[band] {
                let there = &self.boxes[*other];
                let meets = wide.x0 < there.x1 && there.x0 < wide.x1 && wide.y0 < there.y1 && there.y0 < wide.y1;
                // Who reaches into several bands is taken in the first of those that are looked at.
                if meets && (band == first || room.bands_of(there.y0, there.y1).0 == band) {
                    near.push(*other);
                }
            }
        }
    }

    /// What it weighs when a piece stands somewhere else; at least `limit` once it is clear that it is no less.
    pub(super) fn weigh(&mut self, index: usize, window: usize, at: Vec2, turned: &mut Turned, limit: f32) -> f32 {
        let shape = self.pieces[index].shape;
        let bounds = turned.bounds + at;
        self.looks += 1;
        let mut weight = self.out_of(window, &self.shapes[shape], bounds) * self.outs[index].1;
        if weight >= limit {
            return weight;
        }
        let mut near = std::mem::take(&mut self.near);
        self.near(window, self.wide(shape, bounds), &mut near);
        for other in near.iter().filter(|other| **other != index) {
            self.looks += 1;
            let overlap = self.overlap(shape, turned, at, bounds, *other);
            if overlap > 0.0 {
                let known = self.pairs[index].iter().find(|pair| pair.other == *other);
                weight += overlap * known.map_or(1.0, |pair| pair.weight);
                if weight >= limit {
                    break;
                }
            }
        }
        self.near = near;
        weight
    }

    /// What a piece weighs where it stands.
    pub(super) fn weight_of(&self, index: usize) -> f32 {
        let out = self.outs[index].0 * self.outs[index].1;
        out + self.pairs[index].iter().map(|pair| pair.overlap * pair.weight).sum::<f32>()
    }

    /// Overlaps of a piece, unweighted.
    pub(super) fn loss_of(&self, index: usize) -> f32 {
        self.outs[index].0 + self.pairs[index].iter().map(|pair| pair.overlap).sum::<f32>()
    }

    /// Overlaps of everything, each pair once.
    pub(super) fn loss(&self) -> f32 {
        let outs: f32 = self.outs.iter().map(|out| out.0).sum();
        outs + self.pairs.iter().flatten().map(|pair| pair.overlap).sum::<f32>() / 2.0
    }

    /// Makes overlaps that remain weigh more, and forgets slowly where there are none.
    ///
    /// Source: guided local search, C. Voudouris, E. Tsang, 1999; the factors are those of Gardeyn and others 2025.
    pub(super) fn raise_weights(&mut self) {
        let outs = self.outs.iter().map(|out| out.0);
        let worst = self.pairs.iter().flatten().map(|pair| pair.overlap).chain(outs).fold(0.0f32, f32::max);
        if worst <= 0.0 {
            return;
        }
        let grown = |overlap: f32, weight: f32| {
            let grows = WEIGHT_GROWS.0 + (WEIGHT_GROWS.1 - WEIGHT_GROWS.0) * overlap / worst;
            if overlap > 0.0 { weight * grows } else { (weight * WEIGHT_FALLS).max(1.0) }
        };
        self.looks += (self.pieces.len() / PIECES_PER_LOOK) as u64;
        for pairs in &mut self.pairs {
            pairs.iter_mut().for_each(|pair| pair.weight = grown(pair.overlap, pair.weight));
            pairs.retain(|pair| pair.overlap > 0.0 || pair.weight > 1.0);
        }
        for (overlap, weight) in &mut self.outs {
            *weight = grown(*overlap, *weight);
        }
    }

    /// All overlaps weigh the same again.
    pub(super) fn forget_weights(&mut self) {
        self.pairs.iter_mut().flatten().for_each(|pair| pair.weight = 1.0);
        self.outs.iter_mut().for_each(|out| out.1 = 1.0);
    }
}

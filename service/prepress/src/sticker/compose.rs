//! Paints a sticker's print: backing, border, the art's own colours carried outward, the art; and the white ink under it.

use super::art;
use super::grid::{Field, Grid};
use super::nearest::Nearest;
use super::plan::Plan;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::order::{Colour, White};
use crate::units::Mm;

/// Alpha from which an edge's colour is its own and not its ground's: 90 % (design decision). Lower brings in fringes.
const OWN_COLOUR_ALPHA: u8 = 230;

/// Alpha under which a pixel counts as ground when colours are carried past a cut, 10 %.
const GROUND_ALPHA: u8 = 26;

/// How deep inside the edge ground is sought, pixels: nearer than this it may be the edge's own softness.
const GROUND_DEPTH_PX: f32 = 1.5;

/// How deep under the art's edge carried colour begins, pixels; a pixel nearer to the edge it is whole. As far as the
/// resampling kernel softens an edge.
const CARRIED_UNDER_PX: f32 = 2.0;

/// How deep in the art lenders count in full when carried colour is averaged: less deep is the edge's own fringe. Twice the
/// softness of a common picture's edge in print; common practice, no source.
const LENDS_WHOLE_AT: Mm = Mm::of(0.2);

/// Depth, as a share of [`LENDS_WHOLE_AT`], that the shallowest lender is given, so that some lender always counts.
const LEAST_DEPTH: f32 = 0.1;

/// Lenders so far around the nearest one are averaged. Less draws streaks out from an edge with grain or hairs, more greys
/// the colours of neighbours; common practice, no source.
const LENDS_WITHIN: Mm = Mm::of(0.3);

/// How far colour is spread under transparent pixels: more than any resampling kernel reads.
const SPREAD_PX: usize = 8;

/// Unpacked planes of a print.
pub(super) struct Painted {
    /// RGB.
    pub(super) colour: Vec<u8>,
    /// Alpha.
    pub(super) alpha: Vec<u8>,
    /// White ink.
    pub(super) white: Option<Vec<u8>>,
}

/// Distances of the grid's pixels to the lines that matter.
struct Fields {
    /// The sticker's own line.
    face: Field,
    /// The line by which the art is cropped, where it is another.
    crop: Option<Field>,
    /// The backing's line, where the backing is printed.
    backing: Option<Field>,
}

/// Colours carried outward from the art's edge.
struct Carried {
    nearest: Nearest,
    /// Alpha from which a pixel of the art lends its colour.
    lends_from: u8,
    /// The art's outermost edge, for contours; other shapes carry past their own line only.
    art_edge: Option<Field>,
    /// Where a contour takes carried colour.
    takes: Vec<bool>,
    /// Pixels that are averaged, from the nearest lender.
    around: Vec<(i32, i32)>,
    /// See [`LENDS_WHOLE_AT`].
    whole_px: f32,
    /// Size of the grid.
    width: usize,
}

/// Paints the print on its grid.
pub(super) fn paint(plan: &Plan<'_>, grid: &Grid, cancel: &Cancel) -> Result<Painted, Fault> {
    let pixels = art::on_grid(&plan.cut_out.pixels, plan.outlined.art_to_mm, grid, cancel)?;
    cancel.check()?;
    let fields = Fields::measure(plan, grid);
    let carried = plan.carries_colour.then(|| Carried::from_art(plan, grid, &pixels, &fields));
    cancel.check()?;
    let mut painter = Painter { plan, grid, fields, carried, pixels };
    let mut painted = painter.mix();
    painter.pixels = Vec::new();
    painter.carried = None;
    cancel.check()?;
    if let Some(mask) = painted.white.take() {
        painted.white = Some(painter.white_ink(&mask, &painted.alpha));
    }
    spread_colour(&mut painted, grid);
    Ok(painted)
}

impl Fields {
    fn measure(plan: &Plan<'_>, grid: &Grid) -> Fields {
        let field = |lines: &[crate::geom::CutLine], reach_mm: f64| {
            Field::of(&grid.in_pixels(lines.iter()), grid.width, grid.height, reach_mm * grid.ppi.px_per_mm() + 3.0)
        };
        let crop = plan.crop().map(|line| field(std::slice::from_ref(line), 0.0));
        let backing = plan.backing_colour.map(|_| field(&plan.outlined.through, plan.stock.bleed.mm()));
        Fields { face: field(plan.face_lines(), plan.face_reach.mm()), crop, backing }
    }
}

impl Carried {
    fn from_art(plan: &Plan<'_>, grid: &Grid, pixels: &[[u8; 4]], fields: &Fields) -> Carried {
        let strongest = pixels.iter().map(|pixel| pixel[3]).max().unwrap_or_default();
        // Art that is translucent all over lends what colour it has.
        let lends_from = OWN_COLOUR_ALPHA.min((f32::from(strongest) * 0.9) as u8).max(1);
        let in_pixels = |length: Mm| (length.mm() * grid.ppi.px_per_mm()) as f32;
        let whole_px = in_pixels(LENDS_WHOLE_AT);
        let art_edge = plan.is_contour().then(|| {
            let to_px = grid.to_mm().inverse() * plan.outlined.art_to_mm;
            let rings: Vec<_> = plan.solid_art().into_iter().map(|ring| ring.transformed(to_px)).collect();
            Field::of(&rings, grid.width, grid.height, f64::from(whole_px.max(3.0)))
        });
        let line = fields.crop.as_ref().unwrap_or(&fields.face);
        let chosen = |index: usize| {
            let alpha = pixels[index][3];
            let is_ground = art_edge.is_none() && alpha < GROUND_ALPHA && line.px(index) < -GROUND_DEPTH_PX;
            alpha >= lends_from || is_ground
        };
        let nearest = Nearest::of(grid.width, grid.height, chosen);
        let depth_px = in_pixels(plan.carried_depth());
        let takes = art_edge.as_ref().map(|edge| reached_from_outside(grid, edge, &fields.face, depth_px));
        Carried {
            nearest,
            lends_from,
            takes: takes.unwrap_or_default(),
            around: disc_of_pixels(in_pixels(LENDS_WITHIN)),
            whole_px,
            width: grid.width,
            art_edge,
        }
    }

    /// The colour carried to a pixel and how much of it: none inside the art, all of it from the art's edge outward, so
    /// that the edge's own softness lies over its own colour; and none deep inside the sticker's line, where a space that
    /// the line closes off stays as bare as in the art.
    fn at(&self, index: usize, fields: &Fields, pixels: &[[u8; 4]]) -> Option<([u8; 3], f32)> {
        let cover = match &self.art_edge {
            Some(edge) => {
                let takes = f32::from(u8::from(self.takes[index]));
                takes * (CARRIED_UNDER_PX + edge.px(index)).clamp(0.0, 1.0)
            }
            None => (CARRIED_UNDER_PX + fields.crop.as_ref().unwrap_or(&fields.face).px(index)).clamp(0.0, 1.0),
        };
        let lender = self.nearest.pixel(index).filter(|_| cover > 0.0)?;
        (pixels[lender][3] >= self.lends_from).then(|| (self.lent(lender, pixels), cover))
    }

    /// The art's colour around a lender, where the art is deep enough to be free of its edge's fringe.
    fn lent(&self, lender: usize, pixels: &[[u8; 4]]) -> [u8; 3] {
        let (column, row) = ((lender % self.width) as i32, (lender / self.width) as i32);
        let (mut sum, mut weights) = ([0.0_f32; 3], 0.0_f32);
        for (right, down) in &self.around {
            let (x, y) = (column + right, row + down);
            if x < 0 || y < 0 || x as usize >= self.width {
                continue;
            }
            let index = y as usize * self.width + x as usize;
            let Some(pixel) = pixels.get(index).filter(|pixel| pixel[3] >= self.lends_from) else { continue };
            // Where nothing is deep, as in a thin line, the deepest still decides.
            let depth = self.art_edge.as_ref().map_or(1.0, |edge| -edge.px(index) / self.whole_px);
            let weight = depth.clamp(LEAST_DEPTH, 1.0).powi(2);
            sum.iter_mut().zip(pixel).for_each(|(sum, channel)| *sum += f32::from(*channel) * weight);
            weights += weight;
        }
        sum.map(|channel| (channel / weights).round() as u8)
    }
}

/// Pixels outside a contour's line, and those to which a way of no more than `depth_px` leads from there without crossing
/// the art; and the art's edge beside them, as deep as carried colour goes under it. Steps alternate between four and
/// eight neighbours, so that a way is an octagon's: none of this length is missed, some are up to 12 % longer.
fn reached_from_outside(grid: &Grid, art_edge: &Field, line: &Field, depth_px: f32) -> Vec<bool> {
    let mut reached: Vec<bool> =
        (0..grid.len()).map(|index| line.px(index) >= 0.0 && art_edge.px(index) >= 0.0).collect();
    let mut front: Vec<usize> = (0..grid.len()).filter(|index| reached[*index] && line.px(*index) < 2.0).collect();
    let steps = depth_px.ceil() as usize;
    for step in 0..steps + CARRIED_UNDER_PX as usize + 1 {
        let past_edge = step >= steps;
        if step == steps {
            front = (0..grid.len()).filter(|index| reached[*index] && art_edge.px(*index) < 2.0).collect();
        }
        let mut next = Vec::new();
        for index in front {
            for beside in neighbours_of(index, grid, past_edge || step % 2 == 1) {
                if !reached[beside] && (art_edge.px(beside) < 0.0) == past_edge {
                    reached[beside] = true;
                    next.push(beside);
                }
            }
        }
        front = next;
    }
    reached
}

/// The four or eight pixels beside one.
fn neighbours_of(index: usize, grid: &Grid, with_corners: bool) -> impl Iterator<Item = usize> + use<> {
    const ALL: [(isize, isize); 8] = [(0, -1), (-1, 0), (1, 0), (0, 1), (-1, -1), (1, -1), (-1, 1), (1, 1)];
    let (width, height) = (grid.width, grid.height);
    let (column, row) = (index % width, index / width);
    ALL.into_iter().take(if with_corners { 8 } else { 4 }).filter_map(move |(right, down)| {
        let x = column.checked_add_signed(right).filter(|x| *x < width)?;
        let y = row.checked_add_signed(down).filter(|y| *y < height)?;
        Some(y * width + x)
    })
}

/// Offsets of the pixels within a radius.
fn disc_of_pixels(radius_px: f32) -> Vec<(i32, i32)> {
    let reach = radius_px as i32;
    let square = (-reach..=reach).flat_map(|down| (-reach..=reach).map(move |right| (right, down)));
    square.filter(|(right, down)| ((right * right + down * down) as f32) <= radius_px * radius_px).collect()
}

/// A pixel under work: colour with alpha multiplied in, 0 to 1.
#[derive(Clone, Copy, Default)]
struct Mixed {
    colour: [f32; 3],
    alpha: f32,
}

impl Mixed {
    /// Source over (Porter and Duff 1984).
    fn cover_with(&mut self, colour: [u8; 3], alpha: f32) {
        for (mixed, channel) in self.colour.iter_mut().zip(colour) {
            *mixed = *mixed * (1.0 - alpha) + f32::from(channel) * alpha;
        }
        self.alpha = self.alpha * (1.0 - alpha) + alpha;
    }
}

struct Painter<'a> {
    plan: &'a Plan<'a>,
    grid: &'a Grid,
    fields: Fields,
    carried: Option<Carried>,
    pixels: Vec<[u8; 4]>,
}

impl Painter<'_> {
    /// Colour and alpha of every pixel; where white ink is asked for, `white` holds what it goes under.
    fn mix(&self) -> Painted {
        let count = self.grid.len();
        let mut painted = Painted { colour: vec![255; count * 3], alpha: vec![0; count], white: None };
        let mut under_white = self.plan.prints_white().then(|| vec![0_u8; count]);
        let px_per_mm = self.grid.ppi.px_per_mm();
        let (reach_px, bleed_px) =
            ((self.plan.face_reach.mm() * px_per_mm) as f32, (self.plan.stock.bleed.mm() * px_per_mm) as f32);
        for index in 0..count {
            let mut mixed = Mixed::default();
            if let (Some(field), Some(Colour(colour))) = (&self.fields.backing, self.plan.backing_colour) {
                mixed.cover_with(colour, field.cover(index, bleed_px));
            }
            let face = self.fields.face.cover(index, reach_px);
            if let Some(Colour(colour)) = self.plan.ground {
                mixed.cover_with(colour, face);
            }
            let own = self.cover_with_art(&mut mixed, index, face);
            let alpha = (mixed.alpha * 255.0).round() as u8;
            painted.alpha[index] = alpha;
            if alpha > 0 {
                for (out, channel) in painted.colour[index * 3..].iter_mut().zip(mixed.colour) {
                    *out = (channel / mixed.alpha).round().clamp(0.0, 255.0) as u8;
                }
            }
            if let Some(under) = &mut under_white {
                under[index] = if self.plan.design.white == White::Art { (own * 255.0).round() as u8 } else { alpha };
            }
        }
        painted.white = under_white;
        painted
    }

    /// The art over colours carried from it; says how much of the pixel the two cover.
    fn cover_with_art(&self, mixed: &mut Mixed, index: usize, face: f32) -> f32 {
        let clip = self.fields.crop.as_ref().map_or(face, |crop| crop.cover(index, 0.0));
        if clip <= 0.0 {
            return 0.0;
        }
        // Laid on each other before the clip: a soft edge over its own colour is opaque, and the clip applies once.
        let mut own = Mixed::default();
        if let Some((colour, alpha)) =
            self.carried.as_ref().and_then(|carried| carried.at(index, &self.fields, &self.pixels))
        {
            own.cover_with(colour, alpha);
        }
        let pixel = self.pixels[index];
        if pixel[3] > 0 {
            own.cover_with([pixel[0], pixel[1], pixel[2]], f32::from(pixel[3]) / 255.0);
        }
        let alpha = own.alpha * clip;
        for (under, over) in mixed.colour.iter_mut().zip(own.colour) {
            *under = *under * (1.0 - alpha) + over * clip;
        }
        mixed.alpha = mixed.alpha * (1.0 - alpha) + alpha;
        alpha
    }

    /// White ink wherever `under` reaches the threshold, drawn back from bare stock inside the cut and from nothing else.
    fn white_ink(&self, under: &[u8], alpha: &[u8]) -> Vec<u8> {
        let underbase = &self.plan.stock.underbase;
        let threshold = (underbase.threshold * 255.0).ceil().clamp(1.0, 255.0) as u8;
        let choke_px = (underbase.choke.mm() * self.grid.ppi.px_per_mm()) as f32;
        let is_bare = |index: usize| alpha[index] < threshold && self.fields.face.px(index) < 0.0;
        let bare = Nearest::of(self.grid.width, self.grid.height, is_bare);
        let px_per_mm = self.grid.ppi.px_per_mm();
        let (reach_px, bleed_px) =
            ((self.plan.face_reach.mm() * px_per_mm) as f32, (self.plan.stock.bleed.mm() * px_per_mm) as f32);
        let ink = |index: usize| {
            if under[index] < threshold {
                return 0;
            }
            let face = self.fields.face.cover(index, reach_px);
            let backing = self.fields.backing.as_ref().map_or(0.0, |field| field.cover(index, bleed_px));
            // Pixel centres are a half pixel from the edge between them: the edge after the choke is where this is a half.
            let held_back = (bare.distance_px(index) - choke_px).clamp(0.0, 1.0);
            (held_back.min(face.max(backing)) * 255.0).round() as u8
        };
        (0..under.len()).map(ink).collect()
    }
}

/// Gives transparent pixels near visible ones the colour of a visible neighbour, ring by ring.
fn spread_colour(painted: &mut Painted, grid: &Grid) {
    let (width, height) = (grid.width, grid.height);
    let mut known: Vec<bool> = painted.alpha.iter().map(|alpha| *alpha > 0).collect();
    let neighbours = |index: usize| {
        let (column, row) = (index % width, index / width);
        let beside = [
            (column > 0).then(|| index - 1),
            (column + 1 < width).then(|| index + 1),
            (row > 0).then(|| index - width),
            (row + 1 < height).then(|| index + width),
        ];
        beside.into_iter().flatten()
    };
    let mut front: Vec<usize> =
        (0..known.len()).filter(|index| known[*index] && neighbours(*index).any(|beside| !known[beside])).collect();
    for _ in 0..SPREAD_PX {
        let mut next = Vec::new();
        for index in front {
            for beside in neighbours(index) {
                if !known[beside] {
                    known[beside] = true;
                    painted.colour.copy_within(index * 3..index * 3 + 3, beside * 3);
                    next.push(beside);
                }
            }
        }
        front = next;
    }
}

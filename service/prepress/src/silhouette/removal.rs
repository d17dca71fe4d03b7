//! Removes the backdrop of an opaque picture, or says that it cannot be told from the art.

use std::sync::Arc;

use image::RgbaImage;
use rayon::prelude::*;

use super::bits::Bits;
use super::ground::Near;
use super::judge::Judge;
use super::oklab::{Converter, distance_squared};
use super::values::Values;
use super::{BackdropFound, band, frame_fit, ground, pocket, unmix, veil, white_rim, window};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::order::{Backdrop, BackdropRemove};

/// Share of the edge's pixels that must be backdrop, and how far they may scatter in OKLab, for a verdict without doubt.
/// Measured on composites with known alpha and on textures.
const SURE_SHARE: f32 = 0.6;
const SURE_SIGMA: f32 = 0.02;

/// Grain of the backdrop, in multiples of its scatter, that goes with it whatever tolerance is ordered: nearly all of it.
pub(super) const SCATTER_SIGMAS: f32 = 3.0;

/// Share of the art's pixels just inside its edge that still nearly have the backdrop's colour, from which on the edge is
/// no edge: the removal ran into a slope of light, or art and backdrop are alike. On composites with known alpha clean
/// removals stay under 0.17 and failed ones are over 0.49.
const MAX_BLURRED_SHARE: f64 = 0.35;

/// Less ground than this share of the canvas is no backdrop.
const LEAST_GROUND_SHARE: f64 = 0.005;

/// Less art than this share of the canvas is nothing.
const LEAST_ART_SHARE: f64 = 0.0002;

/// How far from white an empty sheet may be, in OKLab: paper, scanned. Common practice, no source.
const EMPTY_DISTANCE: f32 = 0.08;

/// Share of art and pockets together that lies behind narrow gaps, from which on white or black art cannot be told from a
/// backdrop of its colour. On composites with known alpha ink with white plumage has 0.31
/// and all others stay under 0.03.
const MOST_POCKETS: f64 = 0.2;

/// Places at which art may touch the edge of the canvas. More is a patterned backdrop - bricks, stripes, dots - of which
/// only the joints would go. On composites with known alpha art cut off on all sides has 5 of them,
/// patterns have 18 and more.
const MOST_TOUCHES: usize = 14;

/// Removes the backdrop of an opaque picture as ordered.
pub(super) fn remove(pixels: &mut Arc<RgbaImage>, order: Backdrop, cancel: &Cancel) -> Result<BackdropFound, Fault> {
    if order.remove == BackdropRemove::Never {
        return Ok(BackdropFound::Kept);
    }
    let colours = Converter::new();
    let fit = frame_fit::fit(pixels, &colours);
    let (removed, kept) = match fit.checker {
        Some(_) => (BackdropFound::CheckerRemoved, BackdropFound::CheckerCannotTell),
        None => (BackdropFound::Removed, BackdropFound::CannotTell),
    };
    let is_auto = order.remove == BackdropRemove::Auto;
    if is_auto && (fit.share < SURE_SHARE || fit.sigma > SURE_SIGMA) {
        return Ok(kept);
    }
    let grain = SCATTER_SIGMAS * fit.sigma;
    let mut usual = frame_fit::AGREES.max(grain);
    let mut tolerance = ((order.tolerance_delta_e / 100.0).max(0.0) as f32).max(grain);
    let judge = Judge { pixels, fit: &fit, colours: &colours };
    let mut study = study(&judge, usual, cancel)?;
    if is_auto && let Some(spared) = study.spared(&judge, cancel)? {
        if spared < grain {
            return Ok(kept);
        }
        (usual, tolerance) = (spared, tolerance.min(spared));
        study = self::study(&judge, usual, cancel)?;
    }
    if is_auto && study.is_doubtful(&judge, usual, cancel)? {
        return Ok(kept);
    }
    // The verdict is made at the usual tolerance, so that it does not hang on the one that is ordered.
    let mut ground = if tolerance.total_cmp(&usual).is_eq() {
        study.ground
    } else {
        let mut ground = ground::find(&judge, tolerance, study.windows.as_ref(), cancel)?.ground;
        if study.is_lossy {
            ground::drop_crumbs(&mut ground, &judge, tolerance, cancel)?;
        }
        ground
    };
    let (ground_px, total) = (ground.count(), ground.width * ground.height);
    if (ground_px as f64) < LEAST_GROUND_SHARE * total as f64 {
        return Ok(kept);
    }
    if ((total - ground_px) as f64) < LEAST_ART_SHARE * total as f64 {
        // A sheet of one colour is art if nobody says otherwise; an empty white one is not.
        return if is_auto && !is_white(pixels, &colours) { Ok(kept) } else { Err(Fault::ArtBlank) };
    }
    let veils = veil::colours(&judge, &study.veil, cancel)?;
    veils.iter().for_each(|(index, _)| ground.insert(*index));
    let mut cleared = cleared(pixels, &ground, cancel)?;
    unmix::unmix(&mut cleared, &judge, &ground, study.is_lossy, cancel)?;
    veil::keep(&mut cleared, &veils);
    *pixels = Arc::new(cleared);
    Ok(removed)
}

/// Whether a picture of one colour is white, told by the pixel in its middle.
fn is_white(pixels: &RgbaImage, colours: &Converter) -> bool {
    let [red, green, blue, _] = pixels.get_pixel(pixels.width() / 2, pixels.height() / 2).0;
    distance_squared(colours.lab(red, green, blue), colours.lab(255, 255, 255)) <= EMPTY_DISTANCE.powi(2)
}

/// A picture of one's own without its ground.
fn cleared(pixels: &RgbaImage, ground: &Bits, cancel: &Cancel) -> Result<RgbaImage, Fault> {
    let mut samples = vec![0; pixels.as_raw().len()];
    let row = pixels.width() as usize * 4;
    let rows = samples.par_chunks_exact_mut(row).zip(pixels.as_raw().par_chunks_exact(row));
    rows.enumerate().try_for_each(|(y, (cleared, samples))| {
        cancel.check_every(64, y)?;
        cleared.copy_from_slice(samples);
        for (first, last) in ground.runs(y) {
            cleared[first * 4..(last + 1) * 4].chunks_exact_mut(4).for_each(|sample| sample[3] = 0);
        }
        Ok(())
    })?;
    Ok(RgbaImage::from_raw(pixels.width(), pixels.height(), samples).expect("as many samples as the picture had"))
}

/// The ground at the usual tolerance.
struct Study {
    ground: Bits,
    windows: Option<Bits>,
    /// The picture was compressed lossily.
    is_lossy: bool,
    /// Pixels of cast shadows, which are not in the ground.
    veil: Bits,
}

fn study(judge: &Judge, usual: f32, cancel: &Cancel) -> Result<Study, Fault> {
    let mut near = ground::find(judge, usual, None, cancel)?;
    let noise = window::noise_beside_art(&near.ground, judge, cancel)?;
    let windows = window::find(&near, judge, noise, cancel)?;
    if windows.is_some() {
        near.open_windows(windows.as_ref(), judge, usual, cancel)?;
    }
    let Near { mut ground, .. } = near;
    let is_lossy = noise > 0.0;
    if is_lossy {
        ground::drop_crumbs(&mut ground, judge, usual, cancel)?;
    }
    let veil = veil::find(&ground, judge, cancel)?;
    Ok(Study { ground, windows, is_lossy, veil })
}

impl Study {
    /// The tolerance that spares a white outline, where the usual one takes it for ground.
    fn spared(&self, judge: &Judge, cancel: &Cancel) -> Result<Option<f32>, Fault> {
        if judge.fit.checker.is_some() || !white_rim::is_pale(judge) {
            return Ok(None);
        }
        let edge_px = band::beside(&self.ground).count();
        white_rim::spared(&self.ground, judge, (edge_px, self.is_lossy), cancel)
    }

    /// Whether the ground may be art, or the art ground.
    fn is_doubtful(&self, judge: &Judge, usual: f32, cancel: &Cancel) -> Result<bool, Fault> {
        let mut ground = self.ground.clone();
        ground.add(&self.veil);
        let [_, _, innermost] = band::layers(&ground, cancel)?;
        // A white outline on light grey is near the backdrop, and is no slope.
        let limit = (2.0 * usual).powi(2);
        let is_blurred = |at: usize| !judge.is_white_outline(at) && judge.distance_squared(at) < limit;
        let blurred = Values::new(&innermost, is_blurred, cancel)?.iter().filter(|(_, is)| *is).count();
        if blurred as f64 > MAX_BLURRED_SHARE * innermost.count() as f64 {
            return Ok(true);
        }
        // Art has no slopes and chequers of its own.
        let ground_is_own = judge.fit.checker.is_none()
            && window::is_own(judge.fit.lab_at(judge.pixels.width() / 2, judge.pixels.height() / 2));
        Ok(ground_is_own && pocket::share(&self.ground, cancel)? > MOST_POCKETS || touches(&self.ground) > MOST_TOUCHES)
    }
}

/// How often art begins along the edge of the canvas.
fn touches(ground: &Bits) -> usize {
    if ground.width < 2 || ground.height < 2 {
        return 0;
    }
    let is_art: Vec<bool> = ground.rim().map(|index| !ground.contains(index)).collect();
    // A single pixel is grain.
    (0..is_art.len())
        .filter(|&at| {
            let next = |step: usize| is_art[(at + step) % is_art.len()];
            !next(0) && next(1) && next(2)
        })
        .count()
}

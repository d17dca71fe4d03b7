//! A drawing and what is asked of its rendering.

use std::sync::Arc;
use std::time::Duration;

use image::RgbaImage;

use super::limits::{Drawings, Limits};
use super::samples::unreadable;
use super::{Artwork, Format, vector};
use crate::fault::Fault;

/// Part of a canvas, in shares of its sides from its upper left corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Left edge, 0 to 1.
    pub x: f64,
    /// Upper edge, 0 to 1.
    pub y: f64,
    /// Width, over 0.
    pub width: f64,
    /// Height, over 0.
    pub height: f64,
}

impl Window {
    /// All of the canvas.
    pub const WHOLE: Window = Window { x: 0.0, y: 0.0, width: 1.0, height: 1.0 };
}

/// How large a drawing is rendered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Longest side of the whole canvas, if the limits let it.
    pub longest_px: u32,
    /// Least longest side that is of any use: what would have to be smaller is over the limit.
    pub least_px: u32,
    /// What of the canvas is rendered.
    pub window: Window,
}

impl Scale {
    /// The whole canvas, as large as this or as the limits let it.
    pub fn whole(longest_px: u32) -> Scale {
        Scale { longest_px, least_px: 1, window: Window::WHOLE }
    }
}

/// A drawing to be rendered.
#[derive(Clone, Copy, Debug)]
pub struct Drawing<'a> {
    /// SVG, or svgz.
    pub bytes: &'a [u8],
    /// How large.
    pub scale: Scale,
    /// What it may ask for.
    pub limits: &'a Limits,
    /// Processor time that it took of its limit already, for an earlier look.
    pub spent: Duration,
}

impl Drawing<'_> {
    /// Whole seconds of processor time that are left, one at least.
    pub fn cpu_left_s(&self) -> u32 {
        let spent_s = u32::try_from(self.spent.as_secs()).unwrap_or(u32::MAX);
        self.limits.max_drawing_cpu_s.saturating_sub(spent_s).max(1)
    }
}

/// A rendered drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Rendering {
    /// The window's pixels, straight alpha, sRGB.
    pub pixels: RgbaImage,
    /// The whole canvas at this scale.
    pub canvas_px: (u32, u32),
    /// The whole canvas as the drawing says it (SVG 2, 8.2), with 96 of its own pixels to the inch (CSS Values 4, 6.2), mm.
    pub canvas_mm: (f64, f64),
    /// Words that are live text in another face than a bundled one.
    pub live_text: Vec<String>,
    /// Pictures and parts that are missing: linked from elsewhere, or pictures of no kind that is taken.
    pub missing_parts: usize,
    /// Processor time that it took; zero where it was not rendered in a process of its own.
    pub spent: Duration,
}

/// Most words that are told of.
pub(super) const MAX_WORDS: usize = 20;

/// Most characters of one of them.
pub(super) const MAX_WORD_CHARACTERS: usize = 80;

/// Has a drawing rendered by whoever does that.
pub(super) fn open(bytes: &[u8], scale: &Scale, spent: Duration, limits: &Limits) -> Result<Artwork, Fault> {
    let drawing = Drawing { bytes, scale: *scale, limits, spent };
    let rendering = match limits.drawings {
        Drawings::Refused => return Err(Fault::ArtUnsupported { kind: "SVG".to_owned() }),
        Drawings::Here => vector::render(&drawing),
        Drawings::Elsewhere(renderer) => renderer.render(&drawing),
    }?;
    // A renderer elsewhere is not believed: its answer goes through later stages like any picture.
    limits.check_size(rendering.pixels.width(), rendering.pixels.height())?;
    let (width_px, height_px) = rendering.canvas_px;
    if width_px < rendering.pixels.width() || height_px < rendering.pixels.height() {
        return Err(unreadable("a window larger than its canvas"));
    }
    let mut live_text = rendering.live_text;
    live_text.truncate(MAX_WORDS);
    Ok(Artwork {
        canvas_px: rendering.canvas_px,
        canvas_mm: Some(rendering.canvas_mm),
        drawn_in: spent + rendering.spent,
        live_text,
        missing_parts: rendering.missing_parts,
        ..Artwork::new(Arc::new(rendering.pixels), Format::Svg)
    })
}

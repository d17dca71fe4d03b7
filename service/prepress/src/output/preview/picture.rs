//! Prints at the resolution of a picture: unpacked once, brought down without aliasing, forgotten when no longer needed.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use fast_image_resize as fir;
use resvg::tiny_skia::{IntSize, Pixmap};

use super::View;
use crate::geom::{Affine, Rect};
use crate::sheet::Sheet;
use crate::sticker::{Print, Sticker};

/// A print (by its address) at a size in pixels.
type Key = (usize, u32, u32);

/// A print where it shows.
#[derive(Clone)]
pub(in crate::output) struct Place {
    /// Index of the placement.
    pub(in crate::output) placement: usize,
    /// From the brought-down picture's pixels to the view's.
    pub(in crate::output) to_px: Affine,
    key: Key,
    print: Arc<Print>,
    rows: Range<f64>,
}

/// All prints of a sheet in painting order, and those already unpacked.
pub(in crate::output) struct Pictures {
    places: Vec<Place>,
    ready: BTreeMap<Key, Option<Pixmap>>,
}

impl Pictures {
    pub(super) fn of(sheet: &Sheet, view: &View) -> Pictures {
        let placements = sheet.placements.iter().enumerate();
        let places = placements.flat_map(|(placement, placed)| {
            let pose = placed.pose.to_affine();
            placed.sticker.prints.iter().map(move |print| {
                let to_view = view.to_px * pose * print.to_mm;
                place(placement, &print.print, to_view)
            })
        });
        Pictures { places: places.collect(), ready: BTreeMap::new() }
    }

    /// Those of one sticker, whose millimetres become pixels by `to_px`.
    pub(in crate::output) fn of_sticker(sticker: &Sticker, to_px: Affine) -> Pictures {
        let places = sticker.prints.iter().map(|print| place(0, &print.print, to_px * print.to_mm));
        Pictures { places: places.collect(), ready: BTreeMap::new() }
    }

    /// All of them, in painting order.
    pub(in crate::output) fn all(&self) -> Vec<Place> {
        self.places.clone()
    }

    /// What shows in some rows, in painting order.
    pub(in crate::output) fn in_rows(&self, rows: Range<u32>) -> Vec<Place> {
        let (top, bottom) = (f64::from(rows.start), f64::from(rows.end));
        self.places.iter().filter(|place| place.rows.end >= top && place.rows.start <= bottom).cloned().collect()
    }

    /// Drops what no row from here on shows.
    pub(in crate::output) fn forget_above(&mut self, row: u32) {
        let top = f64::from(row);
        let needed: std::collections::BTreeSet<Key> =
            self.places.iter().filter(|place| place.rows.end >= top).map(|place| place.key).collect();
        self.ready.retain(|key, _| needed.contains(key));
    }

    /// The picture of a place.
    pub(in crate::output) fn picture(&mut self, place: &Place) -> Option<&Pixmap> {
        let (_, width, height) = place.key;
        self.ready.entry(place.key).or_insert_with(|| bring_down(&place.print, width, height)).as_ref()
    }
}

fn place(placement: usize, print: &Arc<Print>, to_view: Affine) -> Place {
    let [a, b, c, d, ..] = to_view.as_coeffs();
    let (across, down) = (a.hypot(b), c.hypot(d));
    // Never enlarged here: the last step interpolates anyway.
    let brought_down =
        |pixels: u32, scale: f64| ((f64::from(pixels) * scale.min(1.0)).round() as u32).clamp(1, pixels.max(1));
    let (width, height) = (brought_down(print.width_px, across), brought_down(print.height_px, down));
    let back = Affine::scale_non_uniform(
        f64::from(print.width_px) / f64::from(width),
        f64::from(print.height_px) / f64::from(height),
    );
    let area = Rect::new(0.0, 0.0, f64::from(print.width_px), f64::from(print.height_px));
    let bounds = to_view.transform_rect_bbox(area);
    Place {
        placement,
        to_px: to_view * back,
        key: (Arc::as_ptr(print) as usize, width, height),
        print: Arc::clone(print),
        rows: bounds.y0..bounds.y1,
    }
}

/// Art over its white ink, premultiplied, at a size no larger than its own.
pub(in crate::output) fn bring_down(print: &Print, width: u32, height: u32) -> Option<Pixmap> {
    let colour = print.colour.unpack();
    let alpha = print.alpha.unpack();
    let white = print.white.as_ref().map(crate::sticker::Plane::unpack);
    let mut pixels = Vec::with_capacity(alpha.len() * 4);
    for (index, (rgb, alpha)) in colour.chunks_exact(3).zip(&alpha).enumerate() {
        let under = white.as_ref().and_then(|white| white.get(index)).map_or(0, |white| u32::from(*white));
        let alpha = u32::from(*alpha);
        let bare = div_255(under * (255 - alpha));
        let over = |channel: u8| (div_255(u32::from(channel) * alpha) + bare).min(255) as u8;
        let covered = (alpha + bare).min(255) as u8;
        pixels.extend(rgb.iter().map(|channel| over(*channel).min(covered)));
        pixels.push(covered);
    }
    if (width, height) != (print.width_px, print.height_px) {
        pixels = resized(pixels, (print.width_px, print.height_px), (width, height))?;
    }
    Pixmap::from_vec(pixels, IntSize::from_wh(width, height)?)
}

/// Rounded division by 255.
fn div_255(value: u32) -> u32 {
    (value + 127) / 255
}

/// Premultiplied pixels averaged down. The Hamming kernel, stretched to the scale, is as sharp as bicubic and has no
/// negative lobes: edges do not ring.
fn resized(pixels: Vec<u8>, from: (u32, u32), to: (u32, u32)) -> Option<Vec<u8>> {
    let source = fir::images::Image::from_vec_u8(from.0, from.1, pixels, fir::PixelType::U8x4).ok()?;
    let mut target = fir::images::Image::new(to.0, to.1, fir::PixelType::U8x4);
    let options =
        fir::ResizeOptions::new().resize_alg(fir::ResizeAlg::Convolution(fir::FilterType::Hamming)).use_alpha(false);
    fir::Resizer::new().resize(&source, &mut target, &options).ok()?;
    let mut pixels = target.into_vec();
    for pixel in pixels.chunks_exact_mut(4) {
        let alpha = pixel[3];
        pixel[..3].iter_mut().for_each(|channel| *channel = (*channel).min(alpha));
    }
    Some(pixels)
}

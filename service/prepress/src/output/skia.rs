//! Our shapes and colours for the rasteriser, and its pixels for PNG.

use resvg::tiny_skia::{Color, Paint, Path, PathBuilder, Pixmap, Transform};

use crate::geom::{Affine, BezPath, PathEl, Point};
use crate::order::Face;

/// What white stock, see-through and shining stock look like where nothing is printed. The chequer says "nothing here"
/// without drawing the eye.
pub(super) const WHITE_GROUND: [u8; 3] = [255, 255, 255];
const CLEAR_GROUND: [u8; 3] = [238, 240, 242];
pub(super) const CLEAR_CHEQUER: [u8; 3] = [230, 233, 236];
const METALLIC_GROUND: [u8; 3] = [208, 212, 217];

/// The colour of bare stock; on see-through stock every second square of a chequer is [`CLEAR_CHEQUER`].
pub(super) fn face(face: Face) -> [u8; 3] {
    match face {
        Face::White => WHITE_GROUND,
        Face::Clear => CLEAR_GROUND,
        Face::Metallic => METALLIC_GROUND,
    }
}

pub(super) fn colour([r, g, b]: [u8; 3]) -> Color {
    Color::from_rgba8(r, g, b, 255)
}

pub(super) fn paint(ink: [u8; 3]) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color(colour(ink));
    paint
}

pub(super) fn transform(transform: Affine) -> Transform {
    let [a, b, c, d, e, f] = transform.as_coeffs();
    Transform::from_row(a as f32, b as f32, c as f32, d as f32, e as f32, f as f32)
}

/// `None` for a path of nothing.
pub(super) fn path(path: &BezPath) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let at = |p: &Point| (p.x as f32, p.y as f32);
    for element in path.elements() {
        match element {
            PathEl::MoveTo(p) => builder.move_to(at(p).0, at(p).1),
            PathEl::LineTo(p) => builder.line_to(at(p).0, at(p).1),
            PathEl::QuadTo(a, p) => builder.quad_to(at(a).0, at(a).1, at(p).0, at(p).1),
            PathEl::CurveTo(a, b, p) => builder.cubic_to(at(a).0, at(a).1, at(b).0, at(b).1, at(p).0, at(p).1),
            PathEl::ClosePath => builder.close(),
        }
    }
    builder.finish()
}

/// Pixels without premultiplication, with alpha or (opaque ones) without.
pub(super) fn straight(pixels: &Pixmap, kind: png::ColorType) -> Vec<u8> {
    let channels = if kind == png::ColorType::Rgb { 3 } else { 4 };
    let mut out = Vec::with_capacity(pixels.pixels().len() * channels);
    for pixel in pixels.pixels() {
        let colour = pixel.demultiply();
        out.extend_from_slice(&[colour.red(), colour.green(), colour.blue(), colour.alpha()][..channels]);
    }
    out
}

/// Every second square of a side. Drawn pixel by pixel from the row `top_px` of the whole picture on, so that no square
/// depends on where bands begin.
pub(super) fn chequer(pixels: &mut Pixmap, side_px: f64, top_px: u32) {
    let [r, g, b] = CLEAR_CHEQUER;
    let width = pixels.width() as usize;
    let square = |px: usize| (px as f64 / side_px) as usize;
    for (index, pixel) in pixels.data_mut().chunks_exact_mut(4).enumerate() {
        let (x, y) = (index % width, index / width + top_px as usize);
        if (square(x) + square(y)) % 2 == 1 {
            pixel.copy_from_slice(&[r, g, b, 255]);
        }
    }
}

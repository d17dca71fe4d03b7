//! Cut-outs, designs and stocks for tests of this stage and the ones after it.

use std::sync::Arc;

use image::{Rgba, RgbaImage};

use crate::finding::Place;
use crate::geom::{Point, Rect, Region, Ring};
use crate::order::{ArtInput, Design, Form, Shape, Size, Stock};
use crate::silhouette::{BackdropFound, CutOut};
use crate::units::Mm;

/// The contract's default stock on a letter sheet.
pub(crate) fn stock() -> Stock {
    Stock::with_defaults("gloss", Form::Sheet { width: Mm::of(215.9), height: Mm::of(279.4), media: None })
}

/// A design with the contract's defaults.
pub(crate) fn design(shape: Shape, size: Size, border: f64) -> Design {
    let mut design = Design::with_defaults(ArtInput::Bytes(Arc::from(Vec::new())), size);
    design.outline.shape = shape;
    design.outline.border = Mm::of(border);
    design
}

/// A picture whose alpha is soft where `inside` (pixels inside the edge, negative outside) passes zero.
pub(crate) fn cut_out(
    width: u32,
    height: u32,
    rings: Vec<Ring>,
    colour: [u8; 3],
    inside: impl Fn(f64, f64) -> f64,
) -> CutOut {
    let pixels = RgbaImage::from_fn(width, height, |x, y| {
        let alpha = (inside(f64::from(x) + 0.5, f64::from(y) + 0.5) + 0.5).clamp(0.0, 1.0);
        Rgba([colour[0], colour[1], colour[2], (alpha * 255.0).round() as u8])
    });
    let edge = Region::new(rings);
    let bounds = edge.bounds().unwrap_or_default();
    let visible = Place {
        x_px: bounds.x0.floor() as u32,
        y_px: bounds.y0.floor() as u32,
        width_px: (bounds.x1.ceil() - bounds.x0.floor()) as u32,
        height_px: (bounds.y1.ceil() - bounds.y0.floor()) as u32,
    };
    CutOut { pixels: Arc::new(pixels), edge, visible, backdrop: BackdropFound::None, translucent_share: 0.0 }
}

/// A clockwise ring about a point.
pub(crate) fn round(centre: Point, radius: f64) -> Ring {
    let at = |n: u32| f64::from(n) / 720.0 * std::f64::consts::TAU;
    Ring::new((0..720).map(|n| centre + crate::geom::Vec2::new(at(n).cos(), at(n).sin()) * radius).collect())
}

/// A disc of one colour in the middle of a square canvas.
pub(crate) fn disc(canvas: u32, radius: f64, colour: [u8; 3]) -> CutOut {
    let middle = f64::from(canvas) / 2.0;
    let ring = round(Point::new(middle, middle), radius);
    cut_out(canvas, canvas, vec![ring], colour, |x, y| radius - (x - middle).hypot(y - middle))
}

/// A disc with a round hole.
pub(crate) fn washer(canvas: u32, radius: f64, hole: f64, colour: [u8; 3]) -> CutOut {
    let middle = f64::from(canvas) / 2.0;
    let centre = Point::new(middle, middle);
    cut_out(canvas, canvas, vec![round(centre, radius), round(centre, hole).reversed()], colour, |x, y| {
        let from = (x - middle).hypot(y - middle);
        (radius - from).min(from - hole)
    })
}

/// An upright triangle with a horizontal base, in a canvas of its own size and some room.
pub(crate) fn triangle(width: f64, height: f64) -> CutOut {
    let corners = [
        Point::new(10.0 + width / 2.0, 10.0),
        Point::new(10.0 + width, 10.0 + height),
        Point::new(10.0, 10.0 + height),
    ];
    let sides = [(0, 1), (1, 2), (2, 0)].map(|(a, b)| (corners[a], corners[b] - corners[a]));
    let inside = move |x: f64, y: f64| {
        let depth = |(from, along): (Point, crate::geom::Vec2)| along.cross(Point::new(x, y) - from) / along.hypot();
        sides.into_iter().map(depth).fold(f64::INFINITY, f64::min)
    };
    cut_out(width as u32 + 20, height as u32 + 20, vec![Ring::new(corners.to_vec())], [20, 120, 60], inside)
}

/// An opaque picture: left half one colour, right half another.
pub(crate) fn photo(width: u32, height: u32, left: [u8; 3], right: [u8; 3]) -> CutOut {
    let ring = Ring::rectangle(Rect::new(0.0, 0.0, f64::from(width), f64::from(height)));
    let mut found = cut_out(width, height, vec![ring], left, |_, _| 1.0);
    let mut pixels = (*found.pixels).clone();
    for (x, _, pixel) in pixels.enumerate_pixels_mut() {
        if x >= width / 2 {
            pixel.0[..3].copy_from_slice(&right);
        }
    }
    found.pixels = Arc::new(pixels);
    found.backdrop = BackdropFound::Kept;
    found
}

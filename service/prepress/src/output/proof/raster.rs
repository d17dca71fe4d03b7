//! A proof as pixels.

use resvg::tiny_skia::{
    BlendMode, FillRule, FilterQuality, Mask, Pixmap, PixmapPaint, PremultipliedColorU8, Stroke, Transform,
};

use super::inks::as_printed;
use super::shadow::Shadow;
use super::{CHEQUERS, CUT_LINE, all_lines, area, ground};
use crate::fault::Fault;
use crate::geom::{Affine, BezPath, Rect};
use crate::order::{Colour, Face, Stock, View};
use crate::output::preview::picture::Pictures;
use crate::output::skia;
use crate::sticker::Sticker;

/// Least width of cut lines on screen.
const LEAST_LINE_PX: f64 = 1.25;

/// Draws a sticker as PNG: RGB, or RGBA on a transparent ground, its longest side as long as the view says, with its
/// resolution to the nearest whole number (pHYs, PNG 3rd edition, 11.3.4.3).
///
/// # Errors
/// `output.broken`.
pub fn png(sticker: &Sticker, stock: &Stock, view: &View) -> Result<Vec<u8>, Fault> {
    let sticker = &*as_printed(sticker, stock);
    let canvas = Canvas::of(sticker, view);
    let broken = || Fault::OutputBroken { file: "proof.png", source: "the picture cannot be drawn".into() };
    let pixels = canvas.draw(sticker, stock, view).ok_or_else(broken)?;
    let kind = if ground(view.ground).is_some() { png::ColorType::Rgb } else { png::ColorType::Rgba };
    encode(&pixels, kind, (canvas.scale * 1000.0).round() as u32)
        .map_err(|source| Fault::OutputBroken { file: "proof.png", source: Box::new(source) })
}

fn encode(pixels: &Pixmap, kind: png::ColorType, density: u32) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, pixels.width(), pixels.height());
    encoder.set_color(kind);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: density, yppu: density, unit: png::Unit::Meter }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&skia::straight(pixels, kind))?;
    writer.finish()?;
    Ok(bytes)
}

/// The picture's pixels on the sticker.
struct Canvas {
    width_px: u32,
    height_px: u32,
    /// Pixels for each millimetre.
    scale: f64,
    to_px: Affine,
}

impl Canvas {
    fn of(sticker: &Sticker, view: &View) -> Canvas {
        let area = area(sticker);
        let longest_px = f64::from(view.longest_px.max(1));
        let scale = longest_px / area.width().max(area.height()).max(1e-6);
        let side = |length: f64| ((length * scale).round() as u32).max(1);
        let (width_px, height_px) = (side(area.width()), side(area.height()));
        // What rounding adds or takes is shared by both edges.
        let drawn = Rect::from_center_size(area.center(), (f64::from(width_px) / scale, f64::from(height_px) / scale));
        let to_px = Affine::scale(scale) * Affine::translate((-drawn.x0, -drawn.y0));
        Canvas { width_px, height_px, scale, to_px }
    }

    fn draw(&self, sticker: &Sticker, stock: &Stock, view: &View) -> Option<Pixmap> {
        let through = self.to_px * all_lines(&sticker.through);
        let sticker_mask = self.mask(&through, FillRule::EvenOdd)?;
        let outer = self.to_px * outer_lines(sticker);
        let outer_mask = self.mask(&outer, FillRule::Winding)?;
        let shadow = Shadow::of(&outer, self.width_px, self.height_px)?;
        let face = self.face(sticker, stock)?;
        let mut picture = Pixmap::new(self.width_px, self.height_px)?;
        let ground = ground(view.ground);
        let width = self.width_px as usize;
        let covers = sticker_mask.data().iter().zip(outer_mask.data());
        let pixels = picture.pixels_mut().iter_mut().zip(face.pixels()).zip(covers);
        for (index, ((pixel, face), (cover, outer))) in pixels.enumerate() {
            *pixel = if *cover == 255 {
                *face
            } else {
                let dark = shadow.at(index % width, index / width) * f32::from(255 - outer) / 255.0;
                mixed(ground, dark, *face, *cover)
            };
        }
        if view.cut_line {
            self.stroke(&mut picture, &all_lines(&sticker.kiss), stock.layers.kiss.colour);
            self.stroke(&mut picture, &all_lines(&sticker.through), stock.layers.through.colour);
        }
        Some(picture)
    }

    fn mask(&self, shape: &BezPath, rule: FillRule) -> Option<Mask> {
        let mut mask = Mask::new(self.width_px, self.height_px)?;
        mask.fill_path(&skia::path(shape)?, rule, true, Transform::identity());
        Some(mask)
    }

    /// Bare stock with everything printed on it, bleed included.
    fn face(&self, sticker: &Sticker, stock: &Stock) -> Option<Pixmap> {
        let mut face = Pixmap::new(self.width_px, self.height_px)?;
        face.fill(skia::colour(skia::face(stock.face)));
        if stock.face == Face::Clear {
            let side_px = f64::from(self.width_px.max(self.height_px)) / CHEQUERS;
            skia::chequer(&mut face, side_px, 0);
        }
        let mut pictures = Pictures::of_sticker(sticker, self.to_px);
        for place in pictures.all() {
            let paint =
                PixmapPaint { opacity: 1.0, blend_mode: BlendMode::SourceOver, quality: FilterQuality::Bicubic };
            if let Some(picture) = pictures.picture(&place) {
                face.draw_pixmap(0, 0, picture.as_ref(), &paint, skia::transform(place.to_px), None);
            }
        }
        Some(face)
    }

    fn stroke(&self, picture: &mut Pixmap, lines: &BezPath, Colour(ink): Colour) {
        let width = (CUT_LINE.mm() * self.scale).max(LEAST_LINE_PX) as f32;
        if let Some(path) = skia::path(&(self.to_px * lines)) {
            let stroke = Stroke { width, ..Stroke::default() };
            picture.stroke_path(&path, &skia::paint(ink), &stroke, Transform::identity(), None);
        }
    }
}

/// The outermost lines without kept holes, each a polygon run in one direction.
fn outer_lines(sticker: &Sticker) -> BezPath {
    let mut path = BezPath::new();
    for ring in &sticker.outermost {
        let forward = if ring.signed_area() < 0.0 { ring.reversed() } else { ring.clone() };
        for (index, point) in forward.points().iter().enumerate() {
            if index == 0 { path.move_to(*point) } else { path.line_to(*point) }
        }
        path.close_path();
    }
    path
}

/// A pixel of the sticker that covers so much of a shadowed ground.
fn mixed(ground: Option<[u8; 3]>, dark: f32, face: PremultipliedColorU8, cover: u8) -> PremultipliedColorU8 {
    let over = f32::from(cover) / 255.0;
    let (below, alpha) = match ground {
        Some(channels) => (channels.map(|channel| f32::from(channel) * (1.0 - dark)), 255.0),
        None => ([0.0; 3], dark * 255.0),
    };
    let mix = |below: f32, face: u8| (below * (1.0 - over) + f32::from(face) * over).round().clamp(0.0, 255.0) as u8;
    let alpha = mix(alpha, face.alpha());
    let [r, g, b] = [mix(below[0], face.red()), mix(below[1], face.green()), mix(below[2], face.blue())];
    PremultipliedColorU8::from_rgba(r.min(alpha), g.min(alpha), b.min(alpha), alpha).unwrap_or(face)
}

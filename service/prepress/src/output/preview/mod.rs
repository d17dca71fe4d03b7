//! Pictures of a sheet.
//!
//! Drawn in bands and written row by row: memory holds one band and the prints that it and later bands still need, at the
//! picture's own resolution, however long a roll is.

pub(super) mod picture;

use resvg::tiny_skia::{BlendMode, FillRule, FilterQuality, Mask, Pixmap, PixmapPaint, Stroke, Transform};

use super::skia;
use crate::fault::Fault;
use crate::geom::{Affine, BezPath, Rect};
use crate::order::{Colour, Face};
use crate::sheet::Sheet;
use crate::units::{Mm, Ppi};
use picture::Pictures;

/// Resolution of previews: the contract's.
pub const PREVIEW_PPI: Ppi = Ppi::of(150.0);

/// Width of cut lines on screen.
const CUT_LINE: Mm = Mm::of(0.25);
/// Rows drawn at once. Fewer take less memory and more drawing of what lies on two bands.
const BAND_ROWS: u32 = 1024;
/// Side of a square of the chequer.
const CHEQUER: Mm = Mm::of(5.0);

/// `preview.png` at 150 ppi: what the sheet will look like, with cut lines.
///
/// # Errors
/// `output.broken`.
pub fn write(sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    let page = Rect::new(0.0, 0.0, sheet.frame.width.mm(), sheet.frame.height.mm());
    let view = View::new(page, PREVIEW_PPI);
    let mut pictures = Pictures::of(sheet, &view);
    let scene = Scene::of(sheet);
    let rows = |band: &mut Band<'_>| {
        band.ground(sheet.stock.face);
        band.mark_grounds(sheet);
        band.stickers(sheet, &mut pictures);
        scene.ink.iter().for_each(|path| band.fill(path, [0, 0, 0]));
        for (colour, lines) in &scene.cuts {
            lines.iter().for_each(|path| band.stroke(path, *colour));
        }
    };
    encode(&view, png::ColorType::Rgb, "preview.png", rows)
}

/// `sheet.png` at the stock's `print_ppi`: the window's art alone, bleed included, on a transparent ground.
///
/// # Errors
/// `output.broken`.
pub fn write_window(sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    let view = View::new(sheet.frame.window, sheet.stock.print_ppi);
    let mut pictures = Pictures::of(sheet, &view);
    encode(&view, png::ColorType::Rgba, "sheet.png", |band| band.stickers(sheet, &mut pictures))
}

/// A part of the sheet as pixels.
struct View {
    width_px: u32,
    height_px: u32,
    ppi: Ppi,
    /// From sheet millimetres to pixels.
    to_px: Affine,
}

impl View {
    fn new(area: Rect, ppi: Ppi) -> View {
        let scale = ppi.px_per_mm();
        View {
            width_px: ppi.pixels(Mm::of(area.width())),
            height_px: ppi.pixels(Mm::of(area.height())),
            ppi,
            to_px: Affine::scale(scale) * Affine::translate((-area.x0, -area.y0)),
        }
    }
}

/// What is drawn over the stickers: black furniture, coloured cut lines.
struct Scene {
    ink: Vec<BezPath>,
    cuts: [([u8; 3], Vec<BezPath>); 2],
}

impl Scene {
    fn of(sheet: &Sheet) -> Scene {
        let furniture = sheet.furniture();
        let ink = furniture.marks.into_iter().chain(furniture.lettering).collect();
        let (kiss, through) = sheet.cuts();
        let layers = &sheet.stock.layers;
        let lines = |Colour(colour): Colour, cuts: &[crate::sheet::SheetCut<'_>]| {
            (colour, cuts.iter().map(|cut| cut.line.path().clone()).collect())
        };
        Scene { ink, cuts: [lines(layers.kiss.colour, &kiss), lines(layers.through.colour, &through)] }
    }
}

/// Some rows of a view.
struct Band<'a> {
    view: &'a View,
    top_px: u32,
    pixels: Pixmap,
    /// From sheet millimetres to the band's pixels.
    to_px: Affine,
}

impl Band<'_> {
    fn ground(&mut self, face: Face) {
        self.pixels.fill(skia::colour(skia::face(face)));
        if face == Face::Clear {
            skia::chequer(&mut self.pixels, CHEQUER.mm() * self.view.ppi.px_per_mm(), self.top_px);
        }
    }

    /// The white ink under marks and their clear zones, as far as the printer reaches.
    fn mark_grounds(&mut self, sheet: &Sheet) {
        if !sheet.stock.face.takes_white_ink() {
            return;
        }
        let edge = &sheet.stock.unprintable;
        let reach = Rect::new(
            edge.left.mm(),
            edge.top.mm(),
            sheet.frame.width.mm() - edge.right.mm(),
            sheet.frame.height.mm() - edge.bottom.mm(),
        );
        let Some(mask) = self.mask(&kurbo::Shape::to_path(&reach, 0.1)) else { return };
        for mark in &sheet.frame.marks {
            let zone = kurbo::Circle::new(mark.centre, mark.clear_radius().mm());
            self.fill_within(&kurbo::Shape::to_path(&zone, 0.01), skia::WHITE_GROUND, Some(&mask));
        }
    }

    fn stickers(&mut self, sheet: &Sheet, pictures: &mut Pictures) {
        let rows = self.top_px..self.top_px + self.pixels.height();
        pictures.forget_above(rows.start);
        for place in pictures.in_rows(rows) {
            let clip = sheet.placements[place.placement].clip.as_ref();
            let mask = clip.map(|clip| self.mask(clip));
            if matches!(mask, Some(None)) {
                continue;
            }
            let transform = skia::transform(Affine::translate((0.0, -f64::from(self.top_px))) * place.to_px);
            let paint =
                PixmapPaint { opacity: 1.0, blend_mode: BlendMode::SourceOver, quality: FilterQuality::Bilinear };
            if let Some(picture) = pictures.picture(&place) {
                self.pixels.draw_pixmap(0, 0, picture.as_ref(), &paint, transform, mask.flatten().as_ref());
            }
        }
    }

    /// A clip in this band; `None` where it lies outside.
    fn mask(&self, clip: &BezPath) -> Option<Mask> {
        let path = self.path(clip)?;
        let mut mask = Mask::new(self.pixels.width(), self.pixels.height())?;
        mask.fill_path(&path, FillRule::Winding, true, Transform::identity());
        Some(mask)
    }

    fn fill(&mut self, path: &BezPath, ink: [u8; 3]) {
        self.fill_within(path, ink, None);
    }

    fn fill_within(&mut self, path: &BezPath, ink: [u8; 3], mask: Option<&Mask>) {
        if let Some(path) = self.path(path) {
            self.pixels.fill_path(&path, &skia::paint(ink), FillRule::Winding, Transform::identity(), mask);
        }
    }

    fn stroke(&mut self, path: &BezPath, ink: [u8; 3]) {
        let width = (CUT_LINE.mm() * self.view.ppi.px_per_mm()) as f32;
        if let Some(path) = self.path(path) {
            let stroke = Stroke { width, ..Stroke::default() };
            self.pixels.stroke_path(&path, &skia::paint(ink), &stroke, Transform::identity(), None);
        }
    }

    /// A path in this band's pixels; `None` when nothing of it can show here.
    fn path(&self, path: &BezPath) -> Option<resvg::tiny_skia::Path> {
        let moved = self.to_px * path;
        let bounds = kurbo::Shape::bounding_box(&moved).inflate(2.0, 2.0);
        let (width, height) = (f64::from(self.pixels.width()), f64::from(self.pixels.height()));
        let shows = bounds.x1 >= 0.0 && bounds.y1 >= 0.0 && bounds.x0 <= width && bounds.y0 <= height;
        if !shows {
            return None;
        }
        skia::path(&moved)
    }
}

/// Draws a view band by band and writes it as PNG with its resolution (pHYs, PNG 3rd edition, 11.3.4.3).
fn encode(
    view: &View,
    kind: png::ColorType,
    file: &'static str,
    mut draw: impl FnMut(&mut Band<'_>),
) -> Result<Vec<u8>, Fault> {
    let broken = |source: png::EncodingError| Fault::OutputBroken { file, source: Box::new(source) };
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, view.width_px, view.height_px);
    encoder.set_color(kind);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    let density = view.ppi.px_per_metre();
    encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: density, yppu: density, unit: png::Unit::Meter }));
    let mut writer = encoder.write_header().map_err(broken)?;
    let mut stream = writer.stream_writer().map_err(broken)?;
    let mut top_px = 0;
    while top_px < view.height_px {
        let rows = BAND_ROWS.min(view.height_px - top_px);
        let pixels = Pixmap::new(view.width_px, rows)
            .ok_or_else(|| Fault::OutputBroken { file, source: "more pixels than can be drawn".into() })?;
        let to_px = Affine::translate((0.0, -f64::from(top_px))) * view.to_px;
        let mut band = Band { view, top_px, pixels, to_px };
        draw(&mut band);
        let row_bytes = skia::straight(&band.pixels, kind);
        std::io::Write::write_all(&mut stream, &row_bytes)
            .map_err(|source| Fault::OutputBroken { file, source: Box::new(source) })?;
        top_px += rows;
    }
    stream.finish().map_err(broken)?;
    writer.finish().map_err(broken)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests;

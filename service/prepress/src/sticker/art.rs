//! The art on the print's pixel grid.
//!
//! Resampled with alpha multiplied in, 16 bits a channel, in bands, so that neither the picture nor its transparent ground
//! is copied whole. A Catmull-Rom kernel (Keys 1981, a = -1/2): a Lanczos kernel's third lobe leaves a faint ghost line
//! beside a clean edge, which shows on white.

use fast_image_resize::images::TypedImage;
use fast_image_resize::pixels::U16x4;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::RgbaImage;

use super::grid::Grid;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Affine, Rect};

/// One step of alpha as stored. Full alpha is half of what 16 bits hold: the kernel overshoots beside edges, colour and
/// alpha alike, and only when neither is cut off do they part again in the art's own colour.
const STEP: u32 = 128;

/// Rows of print made at once.
const BAND_ROWS: usize = 128;

/// Source pixels that the kernel reads on each side of its middle, for each pixel of its width, and one for rounding.
const KERNEL_REACH: f64 = 2.0;

/// Source pixels are averaged in whole blocks until so many blocks remain for each print pixel: enough for the kernel to
/// be as sharp as from the full picture ("reducing gap" of 2; common practice, no source).
const BLOCKS_PER_PIXEL: f64 = 2.0;

/// Resamples the art to the whole grid: straight alpha, colour undefined (black) where alpha is zero.
pub(super) fn on_grid(art: &RgbaImage, art_to_mm: Affine, grid: &Grid, cancel: &Cancel) -> Result<Vec<[u8; 4]>, Fault> {
    let mut pixels = vec![[0_u8; 4]; grid.len()];
    let art_to_px = grid.to_mm().inverse() * art_to_mm;
    let canvas = Rect::new(0.0, 0.0, f64::from(art.width()), f64::from(art.height()));
    // Two pixels more than the canvas: what the kernel spreads.
    let landed = art_to_px.transform_rect_bbox(canvas).inflate(2.0, 2.0);
    let clip = |value: f64, most: usize| value.clamp(0.0, most as f64) as usize;
    let columns = clip(landed.x0.floor(), grid.width)..clip(landed.x1.ceil(), grid.width);
    let rows = clip(landed.y0.floor(), grid.height)..clip(landed.y1.ceil(), grid.height);
    if columns.is_empty() || rows.is_empty() {
        return Ok(pixels);
    }
    let mut resizer = Resizer::new();
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom)).use_alpha(false);
    let to_art = art_to_px.inverse();
    for top in rows.clone().step_by(BAND_ROWS) {
        cancel.check()?;
        let bottom = (top + BAND_ROWS).min(rows.end);
        let target = Rect::new(columns.start as f64, top as f64, columns.end as f64, bottom as f64);
        let source = to_art.transform_rect_bbox(target);
        let (image, crop) = premultiplied_blocks(art, source, source.width() / target.width());
        let mut band = TypedImage::<U16x4>::new((columns.end - columns.start) as u32, (bottom - top) as u32);
        let cropped = options.clone().crop(crop.x0, crop.y0, crop.width(), crop.height());
        let resized = resizer.resize_typed(&image, &mut band, &cropped);
        resized.map_err(|error| Fault::OutputBroken { file: "print", source: Box::new(error) })?;
        for (line, row) in band.pixels().chunks_exact(columns.len()).zip(top..) {
            let out = &mut pixels[row * grid.width..][columns.clone()];
            out.iter_mut().zip(line).for_each(|(out, pixel)| *out = straight(pixel.0));
        }
    }
    Ok(pixels)
}

/// Colour and alpha apart again. The kernel's overshoot beyond full alpha is cut off after that.
fn straight(pixel: [u16; 4]) -> [u8; 4] {
    let alpha = u32::from(pixel[3]);
    if alpha < STEP / 2 {
        return [0; 4];
    }
    let colour = |channel: u16| ((u32::from(channel).min(alpha) * 255 + alpha / 2) / alpha) as u8;
    [colour(pixel[0]), colour(pixel[1]), colour(pixel[2]), ((alpha + STEP / 2) / STEP).min(255) as u8]
}

/// The part of the picture that a band needs, averaged in square blocks, transparent beyond the canvas; and where `source`
/// (picture pixels) lies in it.
fn premultiplied_blocks(art: &RgbaImage, source: Rect, per_pixel: f64) -> (TypedImage<'static, U16x4>, Rect) {
    let block = (per_pixel / BLOCKS_PER_PIXEL).floor().max(1.0);
    let reach = (KERNEL_REACH * (per_pixel / block).max(1.0)).ceil() + 1.0;
    let (left, top) = ((source.x0 / block - reach).floor(), (source.y0 / block - reach).floor());
    let width = ((source.x1 / block + reach).ceil() - left) as usize;
    let height = ((source.y1 / block + reach).ceil() - top) as usize;
    let side = block as i64;
    let (left_px, top_px) = (left as i64 * side, top as i64 * side);
    let mut pixels = vec![U16x4::default(); width * height];
    let mut sums = vec![[0_u64; 4]; width];
    for (row, line) in pixels.chunks_exact_mut(width).enumerate() {
        let from = top_px + row as i64 * side;
        let clip = |y: i64| y.clamp(0, i64::from(art.height()));
        if clip(from) == clip(from + side) {
            continue;
        }
        sums.fill([0; 4]);
        for y in clip(from)..clip(from + side) {
            add_row(art, y as usize, left_px, side as usize, &mut sums);
        }
        // Sums are of 255 x alpha and of colour x alpha.
        let count = (side * side) as u64 * 255;
        for (out, sum) in line.iter_mut().zip(&sums) {
            out.0 = sum.map(|value| ((value * u64::from(STEP) + count / 2) / count) as u16);
        }
    }
    let image =
        TypedImage::from_pixels(width as u32, height as u32, pixels).expect("as many pixels as width times height");
    (
        image,
        Rect::new(source.x0 / block - left, source.y0 / block - top, source.x1 / block - left, source.y1 / block - top),
    )
}

/// Adds one row of the picture to the sums of its blocks.
fn add_row(art: &RgbaImage, y: usize, left_px: i64, side: usize, sums: &mut [[u64; 4]]) {
    let stride = art.width() as usize * 4;
    let row = &art.as_raw()[y * stride..][..stride];
    let first = left_px.max(0) as usize;
    let last = (left_px + (sums.len() * side) as i64).clamp(0, i64::from(art.width())) as usize;
    for x in first..last.max(first) {
        let pixel = &row[x * 4..][..4];
        let alpha = u64::from(pixel[3]);
        let sum = &mut sums[((x as i64 - left_px) as usize) / side];
        for (total, channel) in sum.iter_mut().zip(&pixel[..3]) {
            *total += u64::from(*channel) * alpha;
        }
        sum[3] += alpha * 255;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Point, Vec2};
    use crate::units::Ppi;
    use image::Rgba;

    fn half_picture(size: u32) -> RgbaImage {
        RgbaImage::from_fn(size, size, |x, _| if x < size / 2 { Rgba([200, 40, 10, 255]) } else { Rgba([0, 0, 0, 0]) })
    }

    /// Column at which the alpha of the middle row crosses one half, in mm.
    fn edge_mm(pixels: &[[u8; 4]], grid: &Grid) -> f64 {
        let row = &pixels[grid.height / 2 * grid.width..][..grid.width];
        let covered: f64 = row.iter().map(|pixel| f64::from(pixel[3]) / 255.0).sum();
        grid.origin.x + covered * 25.4 / grid.ppi.ppi()
    }

    #[test]
    fn an_edge_lands_within_a_tenth_of_a_print_pixel() {
        let grid = Grid { origin: Point::new(-10.0, -10.0), width: 240, height: 240, ppi: Ppi::of(300.0) };
        for size in [97, 100, 236, 1000, 2048] {
            let scale = 20.0 / f64::from(size);
            let shift = Vec2::new(-10.0, -10.0);
            let to_mm = Affine::translate(shift) * Affine::scale(scale);
            let pixels = on_grid(&half_picture(size), to_mm, &grid, &Cancel::new()).expect("resampled");
            let expected = -10.0 + f64::from(size / 2) * scale;
            // The left edge of the picture is the left edge of the grid: half of the kernel's spread is lost there.
            assert!((edge_mm(&pixels, &grid) - expected).abs() < 0.06, "{size}: {}", edge_mm(&pixels, &grid));
        }
    }

    #[test]
    fn colour_at_a_soft_edge_is_the_arts_own() {
        let grid = Grid { origin: Point::new(-12.0, -12.0), width: 290, height: 290, ppi: Ppi::of(300.0) };
        let to_mm = Affine::translate(Vec2::new(-10.0, -10.0)) * Affine::scale(20.0 / 777.0);
        let pixels = on_grid(&half_picture(777), to_mm, &grid, &Cancel::new()).expect("resampled");
        for pixel in pixels.iter().filter(|pixel| pixel[3] > 0) {
            assert!(pixel[0].abs_diff(200) < 3 && pixel[1].abs_diff(40) < 3 && pixel[2].abs_diff(10) < 3, "{pixel:?}");
        }
    }

    #[test]
    fn bands_leave_no_seams() {
        let art = RgbaImage::from_pixel(400, 400, Rgba([9, 99, 199, 255]));
        let grid = Grid { origin: Point::new(0.0, 0.0), width: 300, height: 300, ppi: Ppi::of(254.0) };
        let pixels = on_grid(&art, Affine::scale(31.0 / 400.0), &grid, &Cancel::new()).expect("resampled");
        for row in 5..295 {
            assert_eq!(pixels[row * 300 + 150], [9, 99, 199, 255], "row {row}");
        }
    }
}

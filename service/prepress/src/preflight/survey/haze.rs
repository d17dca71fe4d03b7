//! Areas of haze: soft shadows and glows, which print as a dirty edge.

use image::RgbaImage;

use super::scan::Line;

/// Alpha of haze, 2 to 60 % (design, `transparency.haze`).
const HAZE: std::ops::RangeInclusive<u8> = 6..=153;

/// A pixel is in an area of haze when all pixels so far around it are hazy too: anti-aliased edges, also those of pictures
/// enlarged a little, are narrower.
const AROUND_PX: i64 = 3;

/// Places are looked at in steps along a row, at most so many.
const MOST_STEPS: usize = 800;

/// Counts places looked at.
#[derive(Debug, Default)]
pub(super) struct Haze {
    visible: u64,
    hazy: u64,
    pub(super) places: Vec<(u32, u32)>,
}

impl Haze {
    pub(super) fn look(&mut self, line: &Line, picture: &RgbaImage) {
        let step = line.pixels.len().div_ceil(MOST_STEPS).max(1);
        for (along, pixel) in line.pixels.iter().enumerate().step_by(step) {
            self.visible += u64::from(pixel[3] >= *HAZE.start());
            if !HAZE.contains(&pixel[3]) {
                continue;
            }
            let (x, y) = line.at(along);
            if is_all_hazy(picture, x, y) {
                self.hazy += 1;
                self.places.push((x, y));
            }
        }
    }

    pub(super) fn share(&self) -> f64 {
        self.hazy as f64 / self.visible.max(1) as f64
    }
}

fn is_all_hazy(picture: &RgbaImage, x: u32, y: u32) -> bool {
    let around = [-AROUND_PX, 0, AROUND_PX];
    let alpha = |dx: i64, dy: i64| {
        let (x, y) = (i64::from(x) + dx, i64::from(y) + dy);
        let inside = (0..i64::from(picture.width())).contains(&x) && (0..i64::from(picture.height())).contains(&y);
        inside.then(|| picture.get_pixel(x as u32, y as u32).0[3])
    };
    around.into_iter().all(|dy| around.into_iter().all(|dx| alpha(dx, dy).is_none_or(|alpha| HAZE.contains(&alpha))))
}

//! Areas of haze: soft shadows and glows, which print as a dirty edge.

use image::RgbaImage;

use super::scan::{Line, alpha_at};
use crate::silhouette::TRANSLUCENT;

/// A pixel is in an area of haze when all pixels so far around it are hazy too: anti-aliased edges, also those of pictures
/// enlarged a little, are narrower.
const AROUND_PX: i64 = 3;

/// Counts places looked at.
#[derive(Debug, Default)]
pub(super) struct Haze {
    visible: u64,
    hazy: u64,
    pub(super) places: Vec<(u32, u32)>,
}

impl Haze {
    pub(super) fn look(&mut self, line: &Line, picture: &RgbaImage) {
        for (along, pixel) in line.pixels.iter().enumerate().step_by(line.stride()) {
            self.visible += u64::from(pixel[3] >= *TRANSLUCENT.start());
            if !TRANSLUCENT.contains(&pixel[3]) {
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
    let alpha = |dx: i64, dy: i64| alpha_at(picture, i64::from(x) + dx, i64::from(y) + dy);
    let is_hazy = |dx: i64, dy: i64| alpha(dx, dy).is_none_or(|alpha| TRANSLUCENT.contains(&alpha));
    around.into_iter().all(|dy| around.into_iter().all(|dx| is_hazy(dx, dy)))
}

//! How much ink a picture in CMYK asks for.

use image::RgbaImage;

/// Most that four inks make, in percent.
const MOST_PERCENT: usize = 400;

/// Alpha from which a pixel is counted: what shows at least by half.
const SHOWS: u8 = 128;

/// How many of the visible pixels ask for how much ink: one count for each whole percent of all four together, the last of
/// them for full inks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InkLoad(Vec<u32>);

impl InkLoad {
    /// Of inks as stored, 255 is full; alpha where the picture has it.
    pub(crate) fn of(inks: &RgbaImage, alpha: Option<&[u8]>) -> InkLoad {
        let mut by_sum = vec![0_u32; 4 * 255 + 1];
        for (index, pixel) in inks.pixels().enumerate() {
            let sum: usize = pixel.0.iter().map(|ink| usize::from(*ink)).sum();
            let shows = alpha.is_none_or(|alpha| alpha.get(index).is_some_and(|alpha| *alpha >= SHOWS));
            by_sum[sum] += u32::from(shows);
        }
        let mut counts = vec![0; MOST_PERCENT + 1];
        for (sum, count) in by_sum.into_iter().enumerate() {
            counts[(sum * 100 + 127) / 255] += count;
        }
        InkLoad(counts)
    }

    /// Share of the visible pixels that ask for more than so many percent, 0 to 1.
    pub fn share_over(&self, percent: f64) -> f64 {
        let all: u64 = self.0.iter().copied().map(u64::from).sum();
        let over: u64 = self.counted().filter(|(at, _)| *at > percent).map(|(_, count)| u64::from(count)).sum();
        over as f64 / all.max(1) as f64
    }

    /// The most that any visible pixel asks for, in percent.
    pub fn most_percent(&self) -> f64 {
        self.counted().filter(|(_, count)| *count > 0).map(|(percent, _)| percent).fold(0.0, f64::max)
    }

    fn counted(&self) -> impl Iterator<Item = (f64, u32)> {
        self.0.iter().enumerate().map(|(percent, count)| (percent as f64, *count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inks_are_added_up_where_they_show() {
        let mut inks = RgbaImage::from_pixel(10, 1, image::Rgba([0, 0, 0, 255]));
        inks.put_pixel(0, 0, image::Rgba([255; 4]));
        inks.put_pixel(1, 0, image::Rgba([255, 255, 255, 0]));
        let load = InkLoad::of(&inks, None);
        assert!((load.most_percent() - 400.0).abs() < 1e-9);
        assert!((load.share_over(300.0) - 0.1).abs() < 1e-9 && (load.share_over(299.0) - 0.2).abs() < 1e-9);
        let load = InkLoad::of(&inks, Some(&[0, 255, 255, 255, 255, 0, 0, 0, 0, 0]));
        assert!((load.most_percent() - 300.0).abs() < 1e-9 && load.share_over(300.0).abs() < 1e-9);
        assert!((load.share_over(200.0) - 0.25).abs() < 1e-9);
    }

    #[test]
    fn of_a_picture_that_shows_nothing_no_share_is_over() {
        let load = InkLoad::of(&RgbaImage::new(2, 2), Some(&[0; 4]));
        assert!(load.most_percent().abs() < 1e-9 && load.share_over(0.0).abs() < 1e-9);
    }
}

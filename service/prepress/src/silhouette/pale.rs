//! Parts that are evenly pale, and stand alone: a star at two thirds of full alpha.
//!
//! Half of full coverage is three quarters of what covers such a part, so that the line would run inside of its edge, by a
//! quarter of a pixel along its sides and by a pixel at its tips: on a coarse picture that is a quarter of a millimetre, on a
//! fine one nothing. Its edge is where half of its own alpha is. So its alpha is taken as a share of its own. What fades
//! slowly, as glows do, is at no alpha in particular, and stays as it is.

use rayon::prelude::*;

use super::bits::{Bits, Run, WORD};
use super::plane::{ALIKE, Plane, ROWS, STRONG_ALPHA, Stretch, WEAK_ALPHA};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Alpha under which a part is pale: over it, its half is no more than a tenth of a pixel from half of full.
const PALE_BELOW: u8 = 230;

/// Alphas inside of a part, its edge apart, differ by no more: filters that make pictures smaller leave a tenth of full beside
/// hard edges, and fading takes more.
const FLAT: u8 = 48;

/// Pixels of the longer side to each row that is looked at: a part that lies between two of them is as small as noise.
const PIXELS_PER_STEP: usize = 1000;

/// Pixels of the largest part: of larger ones a quarter of a pixel is little.
const LARGEST_PX: usize = 1 << 16;

/// Pixels of all such parts together, or noise would fill the memory. Common practice, no source.
const MOST_PX: usize = 1 << 18;

/// Takes the alpha of such parts as a share of their own. Linear in pixels.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn scale(plane: &mut Plane<'_>, cancel: &Cancel) -> Result<(), Fault> {
    let pale = |plane: &Plane<'_>, stretch: &Stretch| {
        // Most stretches are all solid or all clear.
        if stretch.high < STRONG_ALPHA || stretch.low >= PALE_BELOW {
            return 0;
        }
        let pale = stretch.strong & !plane.bits(&stretch.pixels, PALE_BELOW);
        // With pale ones on both sides; what is beside the stretch is looked at later.
        pale & (pale << 1 | 1) & (pale >> 1 | 1 << (ALIKE - 1))
    };
    let step = (plane.width.max(plane.height) / PIXELS_PER_STEP).max(1);
    let mut insides = bits(plane, step, pale, cancel)?;
    let mut parts = None;
    let mut left = MOST_PX;
    for y in 0..plane.height {
        cancel.check_every(64, y)?;
        let mut from = 0;
        while let Some(x) = insides.next_of_row(y, from) {
            from = x + 1;
            // Most are the blur of an edge, and most pictures have no others.
            if !around(plane, (x, y)).is_some_and(is_inside) {
                continue;
            }
            cancel.check()?;
            let parts = match &mut parts {
                Some(parts) => parts,
                parts => parts.insert(Parts::of(plane, cancel)?),
            };
            let part = parts.take(plane, &mut insides, (x, y), cancel)?.filter(|part| part.pixels <= left);
            let Some((part, alpha)) = part.and_then(|part| part.alpha(plane).map(|alpha| (part, alpha))) else {
                continue;
            };
            left -= part.pixels;
            for index in part.indices(plane.width) {
                let share = f64::from(plane.sample(index)) / alpha;
                plane.replace(index, (share * f64::from(u8::MAX)).round().min(f64::from(u8::MAX)) as u8);
            }
        }
    }
    Ok(())
}

/// Bounds of the alphas of a pixel and its eight neighbours, where it has so many.
fn around(plane: &Plane<'_>, (x, y): (usize, usize)) -> Option<(u8, u8)> {
    if x == 0 || y == 0 || x + 1 == plane.width || y + 1 == plane.height {
        return None;
    }
    let around = (y - 1..=y + 1).flat_map(|y| (x - 1..=x + 1).map(move |x| (x, y)));
    Some(around.fold((u8::MAX, 0), |(least, most), (x, y)| {
        let alpha = plane.sample(y * plane.width + x);
        (alpha.min(least), alpha.max(most))
    }))
}

/// Whether alphas between such bounds are pale and hardly differ.
fn is_inside((least, most): (u8, u8)) -> bool {
    least >= STRONG_ALPHA && most < PALE_BELOW && most - least <= FLAT
}

/// The pixels of every so manieth row that are so by what is known of each stretch.
fn bits(
    plane: &Plane<'_>,
    step: usize,
    of_stretch: impl Fn(&Plane<'_>, &Stretch) -> u32 + Sync,
    cancel: &Cancel,
) -> Result<Bits, Fault> {
    const STRETCHES: usize = WORD / ALIKE;
    let mut bits = Bits::none(plane.width, plane.height);
    let words_per_row = bits.words_per_row();
    bits.bands_mut(ROWS).enumerate().try_for_each(|(band, rows)| {
        cancel.check()?;
        for (row, y) in rows.chunks_exact_mut(words_per_row).zip(band * ROWS..).filter(|(_, y)| y % step == 0) {
            for (number, stretch) in plane.stretches(y).enumerate() {
                row[number / STRETCHES] |= u64::from(of_stretch(plane, &stretch)) << (number % STRETCHES * ALIKE);
            }
        }
        Ok(())
    })?;
    Ok(bits)
}

/// What is visible and was not looked at yet, and what was refused.
struct Parts {
    visible: Bits,
    refused: Bits,
}

impl Parts {
    fn of(plane: &Plane<'_>, cancel: &Cancel) -> Result<Parts, Fault> {
        let visible = bits(plane, 1, |_, stretch| stretch.weak, cancel)?;
        Ok(Parts { visible, refused: Bits::none(plane.width, plane.height) })
    }

    /// Takes out the part that a pixel belongs to; `None` where that was done, or it is too large or solid somewhere: then
    /// nothing inside of it needs to be looked at any more.
    fn take(
        &mut self,
        plane: &Plane<'_>,
        insides: &mut Bits,
        (x, y): (usize, usize),
        cancel: &Cancel,
    ) -> Result<Option<Part>, Fault> {
        let (mut part, mut is_pale) = (Part { runs: Vec::new(), pixels: 0 }, true);
        let mut seeds = vec![y * plane.width + x];
        while !seeds.is_empty() && is_pale {
            let known = part.runs.len();
            self.visible.flood(seeds.drain(..), cancel, |y, (first, last)| {
                part.pixels += last - first + 1;
                is_pale &=
                    part.pixels <= LARGEST_PX && (first..=last).all(|x| plane.sample(y * plane.width + x) < PALE_BELOW);
                part.runs.push((y, (first, last)));
                if !is_pale {
                    part.refuse(&mut self.refused, insides);
                }
            })?;
            // What is beside a run is taken; its corners may lead on.
            for (y, (first, last)) in part.runs.iter().skip(known) {
                let columns = [first.checked_sub(1), Some(last + 1).filter(|x| *x < plane.width)];
                let rows = [y.checked_sub(1), Some(y + 1).filter(|y| *y < plane.height)];
                let columns = columns.into_iter().flatten();
                for (x, y) in columns.flat_map(|x| rows.into_iter().flatten().map(move |y| (x, y))) {
                    is_pale &= !self.refused.has(x, y);
                    seeds.extend(self.visible.has(x, y).then_some(y * plane.width + x));
                }
            }
        }
        if !is_pale {
            part.refuse(&mut self.refused, insides);
        }
        Ok((is_pale && part.pixels > 0).then_some(part))
    }
}

/// What hangs together, by runs of pixels in rows.
struct Part {
    runs: Vec<(usize, Run)>,
    pixels: usize,
}

impl Part {
    fn refuse(&mut self, refused: &mut Bits, insides: &mut Bits) {
        for (y, run) in self.runs.drain(..) {
            refused.insert_run(y, run);
            insides.remove_run(y, run);
        }
    }

    fn indices(&self, width: usize) -> impl Iterator<Item = usize> {
        self.runs.iter().flat_map(move |(y, (first, last))| y * width + first..=y * width + last)
    }

    /// The mean alpha inside, where the part is even but for its edge.
    fn alpha(&self, plane: &Plane<'_>) -> Option<f64> {
        let around = |index: usize| around(plane, (index % plane.width, index / plane.width));
        let (mut sum, mut inside, mut least, mut most) = (0.0, 0_u32, u8::MAX, 0);
        for index in self.indices(plane.width) {
            let (own, Some((least_around, most_around))) = (plane.sample(index), around(index)) else { continue };
            if least_around >= WEAK_ALPHA {
                (least, most) = (own.min(least), own.max(most));
            }
            if is_inside((least_around, most_around)) {
                (sum, inside) = (sum + f64::from(own), inside + 1);
            }
        }
        (inside > 0 && most - least <= FLAT).then(|| sum / f64::from(inside))
    }
}

#[cfg(test)]
mod tests {
    use image::{Rgba, RgbaImage};

    use super::*;
    use crate::silhouette::tests::disc_share;
    use crate::silhouette::{HALF_COVERED, trace};

    const ALPHA: f64 = 160.0;

    /// The area inside of the line around a picture's parts.
    fn area(picture: &RgbaImage) -> f64 {
        let mut plane = Plane::of(picture, &Cancel::new()).unwrap();
        scale(&mut plane, &Cancel::new()).unwrap();
        trace::trace(&plane, HALF_COVERED, &Cancel::new()).unwrap().iter().map(|ring| ring.signed_area()).sum()
    }

    fn picture(alpha: impl Fn(u32, u32) -> f64) -> RgbaImage {
        RgbaImage::from_fn(90, 70, |x, y| Rgba([9, 9, 9, alpha(x, y).round().min(255.0) as u8]))
    }

    #[test]
    fn a_pale_part_has_the_line_of_a_solid_one() {
        for radius in [3.0, 7.3, 20.0] {
            for step in 0..8 {
                let centre = (40.0 + 0.13 * f64::from(step), 33.0 + 0.29 * f64::from(step));
                let [pale, solid] =
                    [ALPHA, 255.0].map(|alpha| area(&picture(|x, y| alpha * disc_share(x, y, centre, radius))));
                // At half of full a quarter of a pixel is missing all around.
                let off_px = (pale - solid) / (std::f64::consts::TAU * radius);
                assert!(off_px.abs() < 0.03, "radius {radius}: {off_px}");
            }
        }
    }

    #[test]
    fn what_is_solid_somewhere_fades_or_is_large_stays_as_it_is() {
        let centre = (40.0, 33.0);
        let disc = |x, y| ALPHA * disc_share(x, y, centre, 12.0);
        let attached = picture(|x, y| disc(x, y).max(255.0 * disc_share(x, y, (50.0, 33.0), 5.0)));
        let fading = picture(|x, y| (260.0 - 9.0 * (f64::from(x) - 40.0).hypot(f64::from(y) - 33.0)).clamp(0.0, 200.0));
        let large = RgbaImage::from_fn(300, 300, |x, y| {
            let is_inside = (5..295).contains(&x) && (5..295).contains(&y);
            Rgba([9, 9, 9, if is_inside { 160 } else { 0 }])
        });
        // All of it that covers by itself is between 128 and 160.
        let glow = picture(|x, y| (160.0 - 4.0 * (f64::from(x) - 40.0).hypot(f64::from(y) - 33.0)).max(0.0));
        let corner = picture(|x, y| {
            let is_in = |from: u32| (from..from + 20).contains(&x) && (from..from + 20).contains(&y);
            let pale = if is_in(10) || is_in(30) { ALPHA } else { 0.0 };
            if (x, y) == (20, 20) { 255.0 } else { pale }
        });
        for picture in [attached, fading, large, glow, image::imageops::rotate180(&corner), corner] {
            let mut plane = Plane::of(&picture, &Cancel::new()).unwrap();
            scale(&mut plane, &Cancel::new()).unwrap();
            assert!(picture.pixels().enumerate().all(|(index, pixel)| plane.sample(index) == pixel.0[3]));
        }
    }

    #[test]
    fn a_part_is_followed_around_corners_and_what_lies_beside_it_is_not() {
        let mut alphas = [[0_u8; 40]; 20];
        (5..12).for_each(|y| alphas[y][5..12].fill(150));
        // A tip that hangs on by corners, and solid art a pixel away.
        (0..4).for_each(|step| alphas[12 + step][12 + step] = 75);
        (5..12).for_each(|y| alphas[y][14..20].fill(255));
        let picture = RgbaImage::from_fn(40, 20, |x, y| Rgba([9, 9, 9, alphas[y as usize][x as usize]]));
        let mut plane = Plane::of(&picture, &Cancel::new()).unwrap();
        scale(&mut plane, &Cancel::new()).unwrap();
        assert_eq!(
            [(5, 5), (11, 11), (12, 12), (15, 15), (14, 5), (13, 8)].map(|(x, y)| plane.alpha(x, y)),
            [255, 255, 128, 128, 255, 0]
        );
        assert!(plane.stretches(12).next().is_some_and(|stretch| stretch.strong >> 12 & 1 == 1 && stretch.high >= 128));
    }
}

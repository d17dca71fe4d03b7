//! A chequerboard of two greys, drawn where transparency was meant: which tones, how large its squares, where they begin.
//!
//! Found along the canvas's edge. Tones by two means (Lloyd, "Least squares quantization in PCM", 1982) on lightness;
//! squares from the places where a side of the canvas changes tone, by least squares on their count. The caller holds the
//! result against all samples of the edge: a wrong period agrees with half of them.

use image::RgbaImage;

use super::oklab::{Converter, Lab, distance_squared};

/// Farthest from grey that a square's tone is, OKLab. Programs draw neutral ones. Common practice, no source.
const MOST_CHROMA: f32 = 0.03;

/// Between the tones' lightness: less is one backdrop within the tolerance, more is a drawing. Common practice, no source.
const TONES_APART: std::ops::RangeInclusive<f32> = 0.03..=0.5;

/// Share of the edge that each tone has at least: half but for art on the edge.
const LEAST_TONE_SHARE: f32 = 0.2;

/// Smallest and largest square, and how many changes of tone along a side tell its size.
const SQUARES_PX: std::ops::RangeInclusive<f64> = 3.0..=256.0;
const LEAST_CHANGES: usize = 6;

/// How far from its place, in squares, a change of tone may lie.
const CHANGE_SCATTER: f64 = 0.25;

/// Pixels from a square's side up to which resampling and compression mix the tones.
const SOFT_PX: f64 = 1.5;

/// The pattern: which tone a pixel has is the product of its column's and its row's value, 1 for the lighter.
#[derive(Clone, Debug)]
pub(super) struct Checker {
    columns: Vec<Square>,
    rows: Vec<Square>,
    /// Half of the way from the darker tone to the lighter one.
    pub lab: Lab,
    pub rgb: [f32; 3],
}

/// A column's or row's tone, -1 to 1, mixed where a square's side falls within the pixel.
#[derive(Clone, Copy, Debug)]
struct Square {
    tone: f32,
    is_soft: bool,
}

impl Checker {
    /// From -1, the darker tone, to 1.
    pub(super) fn tone(&self, x: u32, y: u32) -> f32 {
        self.columns[x as usize].tone * self.rows[y as usize].tone
    }

    /// Whether the pixel is so near to a square's side that its tone may be anything between.
    pub(super) fn is_soft(&self, x: u32, y: u32) -> bool {
        self.columns[x as usize].is_soft || self.rows[y as usize].is_soft
    }

    fn invert(&mut self) {
        self.columns.iter_mut().for_each(|square| square.tone = -square.tone);
    }
}

/// Finds the pattern; `edge` are colours along the canvas's edge with their places.
pub(super) fn find(
    pixels: &RgbaImage,
    colours: &Converter,
    edge: impl Iterator<Item = ((u32, u32), Lab)> + Clone,
) -> Option<Checker> {
    let (dark, light) = tones(&edge.clone().map(|(_, lab)| lab).collect::<Vec<_>>())?;
    let (width, height) = pixels.dimensions();
    let middle = f32::midpoint(dark[0], light[0]);
    let half = (light[0] - dark[0]) / 2.0;
    let tone_at = |x: u32, y: u32| {
        let [red, green, blue, _] = pixels.get_pixel(x, y).0;
        (colours.lab(red, green, blue)[0] - middle) / half
    };
    let along = |length: u32, at: &dyn Fn(u32) -> f32| squares((0..length).map(at));
    let across = along(width, &|x| tone_at(x, 0)).or_else(|| along(width, &|x| tone_at(x, height - 1)))?;
    let down = along(height, &|y| tone_at(0, y)).or_else(|| along(height, &|y| tone_at(width - 1, y)))?;
    // Stretched with its picture, but not to stripes.
    if !(0.5..=2.0).contains(&(across.0 / down.0)) {
        return None;
    }
    let grey = |lab: Lab| grey_code(colours, lab[0]);
    let mut found = Checker {
        columns: line(width, across),
        rows: line(height, down),
        lab: [0, 1, 2].map(|channel| (light[channel] - dark[channel]) / 2.0),
        rgb: [(grey(light) - grey(dark)) / 2.0; 3],
    };
    let agreement: f32 = edge.map(|((x, y), lab)| found.tone(x, y) * ((lab[0] - middle) / half).clamp(-1.0, 1.0)).sum();
    if agreement < 0.0 {
        found.invert();
    }
    Some(found)
}

/// The darker and the lighter tone, where the edge has just two greys.
fn tones(edge: &[Lab]) -> Option<(Lab, Lab)> {
    let start = edge.iter().fold((f32::MAX, f32::MIN), |range, lab| (range.0.min(lab[0]), range.1.max(lab[0])));
    let mut means = [[start.0, 0.0, 0.0], [start.1, 0.0, 0.0]];
    let mut shares = [0.0; 2];
    let count = edge.len() as f32;
    for _ in 0..8 {
        let mut sums = [([0.0_f32; 3], 0.0_f32); 2];
        // Far outliers - art on the edge - pull no tone after the first rounds.
        for lab in edge {
            let nearer = usize::from((lab[0] - means[1][0]).abs() < (lab[0] - means[0][0]).abs());
            let (sum, number) = &mut sums[nearer];
            sum.iter_mut().zip(lab).for_each(|(sum, value)| *sum += value);
            *number += 1.0;
        }
        for index in 0..2 {
            let (sum, number) = sums[index];
            means[index] = sum.map(|value| value / number.max(1.0));
            shares[index] = number / count.max(1.0);
        }
    }
    let neutral = |lab: &Lab| distance_squared(*lab, [lab[0], 0.0, 0.0]) <= MOST_CHROMA * MOST_CHROMA;
    let two = shares.iter().all(|share| *share >= LEAST_TONE_SHARE) && means.iter().all(neutral);
    (two && TONES_APART.contains(&(means[1][0] - means[0][0]))).then_some((means[0], means[1]))
}

/// The sRGB code of a grey's lightness, between two whole codes.
fn grey_code(colours: &Converter, lightness: f32) -> f32 {
    let at = |code: u8| colours.lab(code, code, code)[0];
    let above = (1..=255_u8).find(|code| at(*code) >= lightness).unwrap_or(u8::MAX);
    let (low, high) = (at(above - 1), at(above));
    f32::from(above - 1) + ((lightness - low) / (high - low)).clamp(0.0, 1.0)
}

/// Size of the squares along a side, and where one begins, from its tones (-1 and 1).
fn squares(tones: impl Iterator<Item = f32>) -> Option<(f64, f64)> {
    let mut changes = Vec::new();
    let mut is_light = None;
    let mut before = 0.0_f32;
    for (place, tone) in tones.enumerate() {
        // Only a clear tone counts, so that noise near the middle changes nothing; art is no tone at all.
        let clear = (0.5..2.0).contains(&tone.abs()).then_some(tone > 0.0);
        if let (Some(is), Some(was)) = (clear, is_light)
            && is != was
        {
            // The change lies where the tone passes the middle; a mixed pixel between says where within it.
            let mixed = before.abs() < 0.5;
            let share = if mixed { f64::from(0.5 + if was { before } else { -before } / 2.0) } else { 1.0 };
            changes.push(place as f64 - 1.0 + share);
        }
        is_light = clear.or(is_light);
        before = tone;
    }
    if changes.len() < LEAST_CHANGES {
        return None;
    }
    let mut gaps: Vec<f64> = changes.windows(2).map(|pair| pair[1] - pair[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let (mut size, mut begin) = (gaps[gaps.len() / 2], changes[0]);
    if !SQUARES_PX.contains(&size) {
        return None;
    }
    // From few changes to all, so that the count of squares is never off by one.
    let mut taken = LEAST_CHANGES;
    loop {
        let counted = changes[..taken.min(changes.len())].iter().map(|change| {
            let count = ((change - begin) / size).round();
            (count, *change)
        });
        let near = counted.filter(|(count, change)| (begin + count * size - change).abs() <= CHANGE_SCATTER * size);
        (begin, size) = straight_line(near)?;
        if taken >= changes.len() {
            return SQUARES_PX.contains(&size).then_some((size, begin));
        }
        taken *= 2;
    }
}

/// Least squares through (count, place): place of count 0, and distance between counts.
fn straight_line(points: impl Iterator<Item = (f64, f64)>) -> Option<(f64, f64)> {
    let (mut n, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (count, place) in points {
        n += 1.0;
        x += count;
        y += place;
        xx += count * count;
        xy += count * place;
    }
    let spread = n * xx - x * x;
    (spread > 0.0).then(|| {
        let slope = (n * xy - x * y) / spread;
        ((y - slope * x) / n, slope)
    })
}

/// Each pixel's tone along a side.
fn line(length: u32, (size, begin): (f64, f64)) -> Vec<Square> {
    // The integral of a wave that is 1 on even and -1 on odd squares.
    let integral = |place: f64| {
        let squares = (place - begin) / size;
        let within = squares.rem_euclid(2.0);
        size * if within <= 1.0 { within } else { 2.0 - within }
    };
    let square = |index: u32| {
        let place = f64::from(index);
        let tone = (integral(place + 1.0) - integral(place)).clamp(-1.0, 1.0);
        let from_side = ((place + 0.5 - begin) / size).rem_euclid(1.0) * size;
        Square { tone: tone as f32, is_soft: from_side.min(size - from_side) < SOFT_PX }
    };
    (0..length).map(square).collect()
}

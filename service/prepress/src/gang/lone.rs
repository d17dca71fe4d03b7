//! Containers of one lot alone.

use super::fill::{Spot, Taste};
use super::lattice::Lattice;
use super::plan::{Bins, Shop};
use crate::fault::Fault;
use crate::order::Rotate;

/// Up to so many copies in a container the map is tried too: few copies leave more rim than pattern.
const FEW: usize = 24;
/// A part of a window that nearly any pattern fills.
const SURELY_HELD: f64 = 0.4;
/// How the map looks for room that a pattern leaves.
const TOP_UP: Taste = Taste { depth_per_mm: 0.01, depth_at: 0.7, look_mm: 12.0 };

/// One lot and the containers that it fills.
pub(super) struct Lone<'a> {
    shop: &'a Shop<'a>,
    part: usize,
    lattice: Lattice<'a>,
    /// For each section, as many copies as it holds, once somebody asked.
    full: Vec<Option<Vec<Spot>>>,
}

impl<'a> Lone<'a> {
    /// For one of the shop's parts.
    pub(super) fn new(shop: &'a Shop<'a>, part: usize, rotate: Rotate) -> Lone<'a> {
        let lattice = Lattice::new(shop.parts, part, rotate, shop.scale, shop.cancel);
        Lone { shop, part, lattice, full: vec![None; shop.sections.len()] }
    }

    /// As many copies as a section holds.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn full(&mut self, section: usize) -> Result<Vec<Spot>, Fault> {
        if let Some(full) = &self.full[section] {
            return Ok(full.clone());
        }
        let room = &self.shop.sections[section];
        let alike = (0..section).find(|other| {
            let other = &self.shop.sections[*other];
            let same = |a: f64, b: f64| (a - b).abs() < 1e-9;
            let free = room.obstacles.is_empty() && other.obstacles.is_empty();
            free && same(other.width, room.width) && same(other.length, room.length)
        });
        let made = match alike.and_then(|alike| self.full[alike].clone()) {
            Some(same) => same,
            None => self.fill(section)?,
        };
        self.full[section] = Some(made.clone());
        Ok(made)
    }

    fn fill(&self, section: usize) -> Result<Vec<Spot>, Fault> {
        let room = &self.shop.sections[section];
        let spots = self.lattice.most(room)?;
        let spots = self.topped_up(section, &spots)?;
        if spots.len() <= FEW {
            let mapped = self.mapped(section, u32::MAX)?;
            if mapped.len() > spots.len() {
                return Ok(mapped);
            }
        }
        Ok(spots)
    }

    /// Copies that the map finds room for beside others.
    fn topped_up(&self, section: usize, spots: &[Spot]) -> Result<Vec<Spot>, Fault> {
        let mut fill = self.shop.empty(section);
        for spot in spots {
            self.shop.cancel.check()?;
            fill.add(*spot);
        }
        while fill.place(self.part, TOP_UP, f64::INFINITY, self.shop.cancel)? {}
        Ok(fill.spots)
    }

    /// What the map makes of so many copies.
    fn mapped(&self, section: usize, copies: u32) -> Result<Vec<Spot>, Fault> {
        let mut left = vec![0; self.shop.parts.len()];
        left[self.part] = copies;
        self.shop.filled(section, &left)
    }

    /// So many copies as near to the feed edge as may be.
    fn last(&mut self, section: usize, copies: u32) -> Result<Vec<Spot>, Fault> {
        let mut made = vec![self.lattice.shortest(&self.shop.sections[section], copies)?];
        if copies as usize <= FEW {
            made.push(self.mapped(section, copies)?);
        }
        if made[0].len() < copies as usize {
            let mut some = self.full(section)?;
            self.lattice.nearest(&mut some, copies);
            made.push(some);
        }
        let key = |spots: &Vec<Spot>| (spots.len(), -(self.lattice.used(spots) * 1e6).round() as i64);
        // The first of the best, for there are ties.
        Ok(made.into_iter().rev().max_by_key(key).unwrap_or_default())
    }

    /// One section's copies of what is left. Where few are left, how many fill it need not be known.
    fn next(&mut self, section: usize, left: u32) -> Result<Vec<Spot>, Fault> {
        let room = &self.shop.sections[section];
        let few = f64::from(left) * self.shop.parts[self.part].area < SURELY_HELD * room.width * room.length;
        if few && self.full[section].is_none() {
            let last = self.last(section, left)?;
            if last.len() == left as usize {
                return Ok(last);
            }
        }
        let full = self.full(section)?;
        if full.len() > left as usize { self.last(section, left) } else { Ok(full) }
    }

    /// Section after section of copies of this lot; all of them unless a section holds none.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn layout(&mut self, copies: u32) -> Result<Bins, Fault> {
        let mut bins = Bins::new();
        let (mut left, mut idle) = (copies, 0);
        while left > 0 && idle < self.shop.sections.len() {
            let section = bins.len() % self.shop.sections.len();
            let spots = self.next(section, left)?;
            idle = if spots.is_empty() { idle + 1 } else { 0 };
            left -= spots.len() as u32;
            bins.push(spots);
        }
        while bins.last().is_some_and(Vec::is_empty) {
            bins.pop();
        }
        Ok(bins)
    }
}

#[cfg(test)]
mod tests {
    use super::super::rng::Rng;
    use super::super::tests::{box_of, frame, lot, mix, nesting, run, star};
    use super::super::{Layout, Nesting};
    use crate::frame::KeepOut;
    use crate::geom::{Point, Rect, Ring};
    use crate::order::{FeedEdge, Rotate};
    use crate::units::Mm;

    fn disc(diameter: f64) -> Vec<Ring> {
        let point = |index: u32| {
            let angle = f64::from(index) * 1.5f64.to_radians();
            Point::new(diameter / 2.0 * angle.cos(), diameter / 2.0 * angle.sin())
        };
        vec![Ring::new((0..240).map(point).collect())]
    }

    fn polygon(corners: &[(f64, f64)], scale: f64) -> Vec<Ring> {
        vec![Ring::new(corners.iter().map(|(x, y)| Point::new(x * scale, y * scale)).collect())]
    }

    /// Every turn is an allowed one; `check` in `run` looks at the rest.
    fn turns_are_allowed(nesting: &Nesting<'_>, layout: &Layout) {
        for placed in layout.sheets.iter().flatten() {
            let turn = placed.pose.rotation_deg;
            match nesting.lots[placed.lot].rotate {
                Rotate::None => assert!(turn.abs() < 1e-9, "{turn}"),
                Rotate::QuarterTurns => assert!((turn / 90.0 - (turn / 90.0).round()).abs() < 1e-9, "{turn}"),
                Rotate::HalfTurns => assert!((turn / 180.0 - (turn / 180.0).round()).abs() < 1e-9, "{turn}"),
                Rotate::Free => {}
            }
        }
    }

    /// Share of a window, grown by half the gutter on each side, that outlines grown as much take on the first sheet.
    fn share(layout: &Layout, window: Rect, grown_area: f64, gutter: f64) -> f64 {
        layout.sheets[0].len() as f64 * grown_area / ((window.width() + gutter) * (window.height() + gutter))
    }

    #[test]
    fn discs_are_never_fewer_than_in_square_or_hexagonal_rows() {
        // Rows of discs a pitch apart stand half the square root of three pitches apart when each lies in the gaps of the other
        // (elementary).
        for step in 0..6u32 {
            let (width, length) = (101.0 + 7.3 * f64::from(step), 143.0 - 5.1 * f64::from(step));
            let (diameter, gutter) = (11.0 + 1.7 * f64::from(step), 2.0);
            let pitch = diameter + gutter;
            let fit = |room: f64, step: f64| if room < 0.0 { 0.0 } else { (room / step).floor() + 1.0 };
            let hexagonal = |width: f64, length: f64| {
                let rows = fit(length - diameter, pitch * 0.75f64.sqrt());
                let (full, less) = (fit(width - diameter, pitch), fit(width - diameter - pitch / 2.0, pitch));
                (rows / 2.0).ceil() * full + (rows / 2.0).floor() * less
            };
            let square = fit(width - diameter, pitch) * fit(length - diameter, pitch);
            let formula = square.max(hexagonal(width, length)).max(hexagonal(length, width));
            let frame = frame(Rect::new(10.0, 10.0, 10.0 + width, 10.0 + length), Vec::new());
            let rotate = [Rotate::None, Rotate::Free][step as usize % 2];
            let nesting = nesting(&frame, gutter, vec![lot(disc(diameter), 0.0, rotate, 1_000)]);
            let layout = run(&nesting);
            turns_are_allowed(&nesting, &layout);
            assert!(layout.sheets[0].len() as f64 >= formula, "{} of {formula}", layout.sheets[0].len());
        }
    }

    #[test]
    fn boxes_are_never_fewer_than_in_a_grid() {
        for step in 0..6u32 {
            let (width, length) = (101.0 + 7.3 * f64::from(step), 143.0 - 5.1 * f64::from(step));
            let (a, b, gutter) = (21.0 + 1.3 * f64::from(step), 13.0, 2.0);
            let grid =
                |a: f64, b: f64| ((width + gutter) / (a + gutter)).floor() * ((length + gutter) / (b + gutter)).floor();
            let frame = frame(Rect::new(10.0, 10.0, 10.0 + width, 10.0 + length), Vec::new());
            let rotate = [Rotate::None, Rotate::QuarterTurns, Rotate::Free][step as usize % 3];
            let formula = if rotate == Rotate::None { grid(a, b) } else { grid(a, b).max(grid(b, a)) };
            let nesting = nesting(&frame, gutter, vec![lot(box_of(a, b), 0.0, rotate, 500)]);
            let layout = run(&nesting);
            turns_are_allowed(&nesting, &layout);
            assert!(layout.sheets[0].len() as f64 >= formula, "{} of {formula}", layout.sheets[0].len());
        }
    }

    #[test]
    fn boxes_and_windows_between_ticks_keep_their_places() {
        // Lengths that are no whole millionths: each block that is rounded by itself would reach out of the window.
        let window = Rect::new(7.25, 9.5, 7.25 + 126.927_008_242_892_73, 9.5 + 116.641_695_585_078_57);
        let frame = frame(window, Vec::new());
        let rings = box_of(32.218_882_872_098_71, 12.484_855_734_718_405);
        let layout = run(&nesting(&frame, 3.5, vec![lot(rings, 0.0, Rotate::QuarterTurns, 200)]));
        let counts: Vec<usize> = layout.sheets.iter().map(Vec::len).collect();
        assert!(counts[0] >= 24 && counts[0] >= counts[1], "3 x 8 stand in a grid: {counts:?}");
    }

    #[test]
    fn a_grid_that_fills_the_window_exactly_is_found() {
        let frame = frame(Rect::new(7.25, 9.5, 7.25 + 5.0 * 22.0 - 2.0, 9.5 + 7.0 * 17.0 - 2.0), Vec::new());
        for rotate in [Rotate::None, Rotate::QuarterTurns, Rotate::Free] {
            let layout = run(&nesting(&frame, 2.0, vec![lot(box_of(20.0, 15.0), 0.0, rotate, 35)]));
            assert_eq!(layout.sheets.len(), 1, "{rotate:?}");
        }
    }

    #[test]
    fn shapes_that_tile_the_plane_nearly_fill_a_large_window() {
        // Any triangle and its half-turned self make a parallelogram; an angle of five squares tiles by shifts alone. What is
        // missing lies along the window's sides.
        let window = Rect::new(0.0, 0.0, 600.0, 600.0);
        let frame = frame(window, Vec::new());
        let triangle = polygon(&[(0.0, 0.0), (3.0, 0.0), (1.0, 2.0)], 5.0);
        let angle = polygon(&[(0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0)], 6.0);
        for rings in [triangle, angle] {
            let area: f64 = rings.iter().map(Ring::area_mm2).sum();
            let layout = run(&nesting(&frame, 0.0, vec![lot(rings, 0.0, Rotate::Free, 6_000)]));
            let share = share(&layout, window, area, 0.0);
            assert!(share > 0.93, "{share}");
        }
    }

    #[test]
    fn stars_of_any_rotation_keep_every_promise_at_every_feed_edge() {
        let disc = KeepOut::Disc { centre: Point::new(12.0, 15.0), radius: Mm::of(9.0) };
        let bar = KeepOut::Box(Rect::new(60.0, 100.0, 90.0, 112.0));
        let frame = frame(Rect::new(10.0, 12.5, 130.0, 160.25), vec![disc, bar]);
        let mut rng = Rng::new(31, 0);
        for (index, edge) in
            [FeedEdge::Top, FeedEdge::Right, FeedEdge::Bottom, FeedEdge::Left].into_iter().cycle().take(6).enumerate()
        {
            let rotate = [Rotate::Free, Rotate::QuarterTurns, Rotate::None][index % 3];
            let rings = star(&mut rng, 16.0 + 4.0 * index as f64);
            let mut nesting = nesting(&frame, [2.0, 0.0, 3.3][index / 2], vec![lot(rings, 0.7, rotate, 90)]);
            nesting.feed_edge = edge;
            let layout = run(&nesting);
            assert!(layout.unplaced.is_empty());
            turns_are_allowed(&nesting, &layout);
        }
    }

    #[test]
    fn the_last_sheet_and_a_roll_end_with_their_copies() {
        let window = Rect::new(10.0, 10.0, 190.0, 260.0);
        let frame = frame(window, Vec::new());
        let rings = polygon(&[(0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0)], 8.0);
        let used = |nesting: &Nesting<'_>, layout: &Layout| {
            let far = |placed: &super::super::Placed| {
                nesting.lots[0].outermost[0].transformed(placed.pose.to_affine()).bounds().y1 - window.y0
            };
            layout.sheets.last().expect("a sheet").iter().map(far).fold(0.0, f64::max)
        };
        let whole = nesting(&frame, 2.0, vec![lot(rings.clone(), 0.0, Rotate::Free, 10_000)]);
        let per_sheet = run(&whole).sheets[0].len() as u32;
        for more in [1, per_sheet / 4, per_sheet / 2, per_sheet - 1] {
            for roll in [false, true] {
                let copies = 2 * per_sheet + more;
                let mut nesting = nesting(&frame, 2.0, vec![lot(rings.clone(), 0.0, Rotate::Free, copies)]);
                nesting.roll = roll;
                let layout = run(&nesting);
                let share = f64::from(more) / f64::from(per_sheet) * window.height();
                assert_eq!(layout.sheets.len(), 3);
                assert!(used(&nesting, &layout) < share + 34.0, "{more} copies, the piece is 24 mm long");
            }
        }
    }

    #[test]
    fn a_pattern_is_the_same_on_one_thread_and_on_many() {
        let frame = frame(Rect::new(10.0, 10.0, 150.0, 190.0), Vec::new());
        let nesting = nesting(&frame, 2.0, vec![lot(star(&mut Rng::new(5, 5), 24.0), 0.0, Rotate::Free, 120)]);
        let with = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
            pool.install(|| run(&nesting)).sheets
        };
        assert_eq!(with(1), with(3));
    }

    #[test]
    fn a_large_lot_of_a_mix_takes_whole_sheets() {
        let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
        let mut lots = mix(9, 5);
        lots.push(lot(box_of(18.0, 18.0), 0.0, Rotate::Free, 100));
        let layout = run(&nesting(&frame, 2.0, lots));
        let whole =
            |sheet: &&Vec<super::super::Placed>| sheet.iter().all(|placed| placed.lot == 5) && sheet.len() == 35;
        assert_eq!(layout.sheets.iter().filter(whole).count(), 2, "5 x 7 squares fill a sheet");
    }
}

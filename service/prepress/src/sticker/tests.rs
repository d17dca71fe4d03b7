use super::*;
use crate::geom::Vec2;
use crate::order::{ArtFit, Colour, Face, Fill, Shape, Size, Thresholds, White};
use crate::outline::fit;
use crate::outline::samples::{cut_out, design, disc, photo, stock, washer};

const RED: Colour = Colour([200, 10, 10]);
const BLUE: Colour = Colour([10, 20, 200]);

fn mm(length: f64) -> Mm {
    Mm::of(length)
}

/// A print unpacked, read by millimetres of the sticker.
struct Seen {
    print: Arc<Print>,
    colour: Vec<u8>,
    alpha: Vec<u8>,
    white: Option<Vec<u8>>,
    to_px: Affine,
}

impl Seen {
    fn of(placed: &PlacedPrint) -> Seen {
        Seen {
            print: Arc::clone(&placed.print),
            colour: placed.print.colour.unpack(),
            alpha: placed.print.alpha.unpack(),
            white: placed.print.white.as_ref().map(Plane::unpack),
            to_px: placed.to_mm.inverse(),
        }
    }

    /// Index of the pixel at a place; `None` beside the print.
    fn index(&self, x_mm: f64, y_mm: f64) -> Option<usize> {
        let at = (self.to_px * Point::new(x_mm, y_mm)).floor();
        let inside = at.x >= 0.0
            && at.y >= 0.0
            && at.x < f64::from(self.print.width_px)
            && at.y < f64::from(self.print.height_px);
        inside.then(|| at.y as usize * self.print.width_px as usize + at.x as usize)
    }

    fn alpha(&self, x_mm: f64, y_mm: f64) -> u8 {
        self.index(x_mm, y_mm).map_or(0, |index| self.alpha[index])
    }

    fn white(&self, x_mm: f64, y_mm: f64) -> u8 {
        let white = self.white.as_ref().expect("white ink is printed");
        self.index(x_mm, y_mm).map_or(0, |index| white[index])
    }

    fn colour(&self, x_mm: f64, y_mm: f64) -> [u8; 3] {
        let index = self.index(x_mm, y_mm).expect("inside the print");
        [self.colour[index * 3], self.colour[index * 3 + 1], self.colour[index * 3 + 2]]
    }

    fn assert_colour(&self, x_mm: f64, y_mm: f64, expected: [u8; 3]) {
        let seen = self.colour(x_mm, y_mm);
        assert!(self.alpha(x_mm, y_mm) > 250, "opaque at {x_mm}, {y_mm}");
        let off = seen.iter().zip(expected).map(|(seen, expected)| seen.abs_diff(expected)).max();
        assert!(off.is_some_and(|off| off <= 2), "{seen:?} is not {expected:?} at {x_mm}, {y_mm}");
    }
}

fn made(cut_out: &CutOut, order: &Design, backing: Option<&Backing>, stock: &Stock) -> (Sticker, Seen) {
    let outlined = fit(cut_out, order, backing, stock, &Thresholds::default(), &Cancel::new()).expect("it can be made");
    let sticker = make(cut_out, &outlined, order, backing, stock, &Cancel::new()).expect("it can be made");
    let seen = Seen::of(&sticker.prints[0]);
    (sticker, seen)
}

fn coloured(shape: Shape, border: f64, colour: Colour) -> Design {
    let mut order = design(shape, Size::Width(mm(40.0)), border);
    order.outline.border_colour = colour;
    order
}

#[test]
fn a_white_border_on_a_white_face_prints_only_the_art() {
    let art = disc(500, 220.0, [200, 120, 0]);
    let (sticker, seen) = made(&art, &design(Shape::Circle, Size::Width(mm(40.0)), 3.0), None, &stock());
    assert_eq!(sticker.reach, Mm::ZERO);
    assert!(seen.white.is_none());
    seen.assert_colour(0.0, 0.0, [200, 120, 0]);
    seen.assert_colour(16.8, 0.0, [200, 120, 0]);
    assert_eq!(seen.alpha(17.2, 0.0), 0, "17 mm is the art's edge");
    assert!((sticker.area_mm2 - std::f64::consts::PI * 400.0).abs() < 0.1);
    // 34 mm over 440 of 500 px.
    assert!(
        (f64::from(seen.print.width_px) - 34.0 * 500.0 / 440.0 / 25.4 * 300.0).abs() < 4.0,
        "as large as the canvas"
    );
}

#[test]
fn the_art_sits_on_its_place_within_half_a_print_pixel() {
    let art = disc(500, 220.0, [200, 120, 0]);
    let (_, seen) = made(&art, &design(Shape::Circle, Size::Width(mm(40.0)), 3.0), None, &stock());
    let covered: f64 = seen.alpha.iter().map(|alpha| f64::from(*alpha) / 255.0).sum::<f64>();
    let pixel = 25.4 / 300.0;
    // Area of a disc of 17 mm; a tenth of a pixel around it is 0.9 mm2.
    assert!((covered * pixel * pixel - std::f64::consts::PI * 289.0).abs() < 0.9);
    let width = seen.print.width_px as usize;
    let (x, y) = seen.alpha.iter().enumerate().fold((0.0, 0.0), |(x, y), (index, alpha)| {
        let share = f64::from(*alpha) / 255.0 / covered;
        (x + (index % width) as f64 * share, y + (index / width) as f64 * share)
    });
    let centre = seen.to_px.inverse() * Point::new(x + 0.5, y + 0.5);
    assert!(centre.distance(Point::ORIGIN) < pixel / 10.0, "{centre:?}");
}

#[test]
fn a_coloured_border_reaches_past_the_cut_by_the_bleed() {
    let art = disc(500, 220.0, [0, 200, 0]);
    let (sticker, seen) = made(&art, &coloured(Shape::Circle, 3.0, RED), None, &stock());
    assert_eq!(sticker.reach, mm(1.0));
    seen.assert_colour(16.5, 0.0, [0, 200, 0]);
    seen.assert_colour(18.0, 0.0, RED.0);
    seen.assert_colour(0.0, 20.9, RED.0);
    // 21.2 mm from the middle: two pixels past the last printed one.
    assert_eq!(seen.alpha(15.0, 15.0), 0);
    assert_eq!(seen.colour(15.0, 15.0), RED.0, "transparent pixels have the border's colour");
}

#[test]
fn without_border_the_edges_own_colours_go_on_past_the_cut() {
    let art = photo(400, 400, [250, 200, 0], [0, 60, 250]);
    let (sticker, seen) = made(&art, &design(Shape::Rectangle, Size::Width(mm(40.0)), 0.0), None, &stock());
    assert_eq!(sticker.reach, mm(1.0));
    for x in [19.5, 19.96, 20.04, 20.5, 20.9] {
        seen.assert_colour(x, 3.0, [0, 60, 250]);
        seen.assert_colour(-x, 3.0, [250, 200, 0]);
    }
    assert_eq!(seen.alpha(21.15, 0.0), 0);
}

#[test]
fn a_contour_without_border_prints_its_bleed_and_leaves_its_holes_bare() {
    let art = washer(500, 220.0, 100.0, [160, 0, 160]);
    let mut order = design(Shape::Contour, Size::Width(mm(44.0)), 0.0);
    let (_, seen) = made(&art, &order, None, &stock());
    seen.assert_colour(21.0, 0.0, [160, 0, 160]);
    seen.assert_colour(22.0, 0.0, [160, 0, 160]);
    seen.assert_colour(22.9, 0.0, [160, 0, 160]);
    assert_eq!(seen.alpha(0.0, 0.0), 0);
    assert_eq!(seen.alpha(9.7, 0.0), 0, "a filled hole of 10 mm shows the stock");
    order.outline.keep_holes_wider_than = Some(mm(3.0));
    let (sticker, seen) = made(&art, &order, None, &stock());
    assert_eq!((sticker.through.len(), sticker.outermost.len()), (2, 1));
    seen.assert_colour(9.2, 0.0, [160, 0, 160]);
    assert_eq!(seen.alpha(8.7, 0.0), 0, "a kept hole is printed by the bleed past its line");
}

/// Two halves of a ring in a square canvas of 500 px, `gap` px apart.
fn ring_in_halves(outer: f64, inner: f64, gap: f64) -> CutOut {
    let turn = |radius: f64, n: u32| {
        let from = (gap / 2.0 / radius).asin();
        let angle = from + f64::from(n) / 360.0 * (std::f64::consts::PI - 2.0 * from);
        Vec2::new(angle.sin(), -angle.cos()) * radius
    };
    let half: Vec<Vec2> = (0..=360).map(|n| turn(outer, n)).chain((0..=360).rev().map(|n| turn(inner, n))).collect();
    let middle = Point::new(250.0, 250.0);
    let right = Ring::new(half.iter().map(|from| middle + *from).collect());
    let left = Ring::new(half.iter().map(|from| middle - *from).collect());
    cut_out(500, 500, vec![right, left], [160, 0, 160], |x, y| {
        let from = (x - 250.0).hypot(y - 250.0);
        (outer - from).min(from - inner).min((x - 250.0).abs() - gap / 2.0)
    })
}

#[test]
fn a_space_that_bridges_close_off_stays_bare() {
    let art = ring_in_halves(220.0, 180.0, 20.0);
    let order = design(Shape::Contour, Size::Width(mm(44.0)), 0.0);
    let (sticker, seen) = made(&art, &order, None, &stock());
    assert_eq!(sticker.through.len(), 1, "the bridges make one part of it");
    assert_eq!(seen.alpha(0.0, 0.0), 0);
    assert_eq!(seen.alpha(16.5, 0.0), 0, "beside the art");
    assert_eq!(seen.alpha(-16.5, 0.0), 0);
    // The bridge stands amid the halves' ends, which look at each other; the line sinks in between them.
    let line = &sticker.outermost[0];
    let crossings = line.edges().filter(|(from, to)| (from.x < 0.0) != (to.x < 0.0)).map(|(from, _)| from.y);
    let bridge_edge = crossings.fold(f64::INFINITY, f64::min);
    assert!((-22.0..-21.0).contains(&bridge_edge), "{bridge_edge}");
    let right = line.bounds().x1;
    for outward in [-1.2, -0.5, 0.0, 0.5, 0.9] {
        seen.assert_colour(0.0, bridge_edge - outward, [160, 0, 160]);
        seen.assert_colour(right + outward, 0.0, [160, 0, 160]);
    }
}

#[test]
fn what_thickening_adds_is_printed_to_its_line() {
    // A handle 0.6 mm thick on a disc.
    let bar = Rect::new(140.0, 247.0, 480.0, 253.0);
    let corner = |x: f64, y: f64| Point::new(x, y);
    let arc = (0..=300).map(|n| {
        let from = (3.0_f64 / 70.0).asin();
        let angle = from + f64::from(n) / 300.0 * (std::f64::consts::TAU - 2.0 * from);
        corner(80.0 + 70.0 * angle.cos(), 250.0 + 70.0 * angle.sin())
    });
    let ring = Ring::new(arc.chain([corner(bar.x1, bar.y0), corner(bar.x1, bar.y1)]).collect());
    let art = cut_out(500, 500, vec![ring], [0, 90, 160], |x, y| {
        let in_bar = (x - bar.x0).min(bar.x1 - x).min(y - bar.y0).min(bar.y1 - y);
        in_bar.max(70.0 - (x - 80.0).hypot(y - 250.0))
    });
    let order = design(Shape::Contour, Size::Width(mm(47.0)), 0.0);
    let outlined = fit(&art, &order, None, &stock(), &Thresholds::default(), &Cancel::new()).expect("it can be made");
    let (_, seen) = made(&art, &order, None, &stock());
    let beside = outlined.art_to_mm * Point::new(350.0, 250.0);
    for off in [0.0, 0.6, 1.0, 1.4, 2.0, 2.4] {
        seen.assert_colour(beside.x, beside.y + off, [0, 90, 160]);
        seen.assert_colour(beside.x, beside.y - off, [0, 90, 160]);
    }
}

#[test]
fn the_bleed_has_the_colour_within_the_edge_and_not_of_its_fringe() {
    let mut art = disc(500, 220.0, [160, 0, 160]);
    let mut pixels = (*art.pixels).clone();
    // A fringe 0.1 mm deep in light and dark spots.
    for (x, y, pixel) in pixels.enumerate_pixels_mut() {
        let from = Vec2::new(f64::from(x) - 249.5, f64::from(y) - 249.5);
        if from.hypot() > 219.0 {
            let spot = (from.atan2() * 55.0).rem_euclid(2.0) < 1.0;
            pixel.0[..3].copy_from_slice(if spot { &[255, 255, 255] } else { &[0, 0, 0] });
        }
    }
    art.pixels = Arc::new(pixels);
    let (_, seen) = made(&art, &design(Shape::Contour, Size::Width(mm(44.0)), 0.0), None, &stock());
    for n in 0..90 {
        let (sin, cos) = (f64::from(n) / 90.0 * std::f64::consts::TAU).sin_cos();
        let bleed = seen.colour(22.5 * cos, 22.5 * sin);
        let off = bleed.iter().zip([160, 0, 160_u8]).map(|(seen, expected)| seen.abs_diff(expected)).max();
        assert!(off.is_some_and(|off| off <= 25), "{bleed:?} at {n}");
    }
}

#[test]
fn a_kept_hole_in_a_border_is_bare_but_for_the_bleed() {
    let art = washer(500, 220.0, 150.0, [160, 0, 160]);
    let mut order = coloured(Shape::Contour, 2.0, RED);
    order.outline.keep_holes_wider_than = Some(mm(3.0));
    let (_, seen) = made(&art, &order, None, &stock());
    // 18 mm over 220 px: the hole is 12.27 mm, its line at 10.27, the bleed ends at 9.27.
    seen.assert_colour(11.0, 0.0, RED.0);
    seen.assert_colour(9.5, 0.0, RED.0);
    assert_eq!(seen.alpha(9.0, 0.0), 0);
}

#[test]
fn cover_crops_the_art_and_shows_the_border_beyond() {
    let art = photo(800, 400, [250, 200, 0], [0, 60, 250]);
    let mut order = coloured(Shape::Circle, 2.0, RED);
    order.outline.art_fit = ArtFit::Cover;
    let (_, seen) = made(&art, &order, None, &stock());
    seen.assert_colour(17.8, 0.0, [0, 60, 250]);
    seen.assert_colour(18.3, 0.0, RED.0);
    seen.assert_colour(0.3, 17.7, [0, 60, 250]);
    seen.assert_colour(-0.3, 18.3, RED.0);
    seen.assert_colour(-20.8, 0.0, RED.0);
}

#[test]
fn cover_without_border_goes_on_with_the_picture() {
    let mut art = photo(800, 400, [250, 200, 0], [250, 200, 0]);
    // 40 mm over 400 px: 20.5 mm right of the middle is column 605, past the cut and still in the picture.
    let mut pixels = (*art.pixels).clone();
    pixels.enumerate_pixels_mut().filter(|(x, _, _)| *x >= 603).for_each(|(_, _, pixel)| pixel.0 = [1, 2, 3, 255]);
    art.pixels = Arc::new(pixels);
    let mut order = design(Shape::Circle, Size::Width(mm(40.0)), 0.0);
    order.outline.art_fit = ArtFit::Cover;
    let (_, seen) = made(&art, &order, None, &stock());
    seen.assert_colour(19.9, 0.0, [250, 200, 0]);
    seen.assert_colour(20.7, 0.0, [1, 2, 3]);
    seen.assert_colour(0.0, 20.7, [250, 200, 0]);
}

#[test]
fn ground_of_a_shape_without_border_is_not_smeared() {
    let art = disc(500, 220.0, [0, 200, 0]);
    let order = design(Shape::Rectangle, Size::Both { width: mm(60.0), height: mm(40.0) }, 0.0);
    let (_, seen) = made(&art, &order, None, &stock());
    assert_eq!(seen.alpha(28.0, 0.0), 0, "bare ground inside");
    assert_eq!(seen.alpha(30.5, 0.0), 0, "and past the cut");
    seen.assert_colour(0.0, 20.6, [0, 200, 0]);
}

#[test]
fn white_ink_goes_under_art_border_and_bleed() {
    let clear = Stock { face: Face::Clear, ..stock() };
    let art = disc(500, 220.0, [0, 200, 0]);
    let (sticker, seen) = made(&art, &design(Shape::Circle, Size::Width(mm(40.0)), 3.0), None, &clear);
    assert_eq!(sticker.reach, mm(1.0));
    for x in [0.0, 16.0, 18.0, 19.9, 20.1, 20.9] {
        assert_eq!(seen.white(x, 0.0), 255, "{x}");
    }
    assert_eq!(seen.white(21.15, 0.0), 0);
    seen.assert_colour(19.0, 0.0, [255, 255, 255]);
}

#[test]
fn white_ink_under_the_art_alone_is_choked_inside_the_cut() {
    let clear =
        Stock { face: Face::Clear, underbase: crate::order::Underbase { choke: mm(0.5), threshold: 0.02 }, ..stock() };
    let art = disc(500, 220.0, [0, 200, 0]);
    let mut order = design(Shape::Circle, Size::Width(mm(40.0)), 3.0);
    order.white = White::Art;
    let (sticker, seen) = made(&art, &order, None, &clear);
    assert_eq!(sticker.reach, Mm::ZERO);
    assert_eq!((seen.white(16.35, 0.0), seen.white(16.7, 0.0)), (255, 0), "17 mm less 0.5");
    assert_eq!(seen.alpha(16.7, 0.0), 255);
    // On a coloured border the edge meets no bare stock.
    order.outline.border_colour = BLUE;
    let (_, seen) = made(&art, &order, None, &clear);
    assert_eq!((seen.white(16.9, 0.0), seen.white(17.3, 0.0)), (255, 0));
}

#[test]
fn white_ink_without_border_is_choked_at_holes_and_never_at_the_cut() {
    let clear =
        Stock { face: Face::Clear, underbase: crate::order::Underbase { choke: mm(0.5), threshold: 0.02 }, ..stock() };
    let art = washer(500, 220.0, 100.0, [160, 0, 160]);
    let (_, seen) = made(&art, &design(Shape::Contour, Size::Width(mm(44.0)), 0.0), None, &clear);
    assert_eq!((seen.white(10.3, 0.0), seen.white(10.7, 0.0)), (0, 255));
    assert_eq!((seen.white(22.0, 0.0), seen.white(22.9, 0.0)), (255, 255));
}

#[test]
fn a_kiss_cut_bleeds_onto_its_backing() {
    let art = disc(500, 220.0, [0, 200, 0]);
    let order = coloured(Shape::Circle, 3.0, RED);
    let backing = |colour| Backing { shape: Shape::Rectangle, margin: mm(4.0), colour };
    let (sticker, seen) = made(&art, &order, Some(&backing(None)), &stock());
    assert_eq!((sticker.kiss.len(), sticker.through.len(), sticker.reach), (1, 1, Mm::ZERO));
    assert!((sticker.overall.width() - 48.0).abs() < 1e-6 && (sticker.finished_width.mm() - 40.0).abs() < 1e-6);
    seen.assert_colour(20.8, 0.0, RED.0);
    assert_eq!(seen.alpha(21.2, 0.0), 0);
    let (sticker, seen) = made(&art, &order, Some(&backing(Some(BLUE))), &stock());
    assert_eq!(sticker.reach, mm(1.0));
    seen.assert_colour(20.8, 0.0, RED.0);
    seen.assert_colour(21.5, 0.0, BLUE.0);
    seen.assert_colour(24.6, 24.6, BLUE.0);
    assert!((sticker.area_mm2 - 48.0 * 48.0).abs() < 1e-3);
    let white = coloured(Shape::Circle, 3.0, Colour::WHITE);
    let (_, seen) = made(&art, &white, Some(&backing(Some(BLUE))), &stock());
    seen.assert_colour(19.0, 0.0, [255, 255, 255]);
}

#[test]
fn a_page_cuts_its_pieces_as_kiss_cuts() {
    let art = disc(500, 220.0, [0, 200, 0]);
    let (piece, _) = made(&art, &coloured(Shape::Circle, 3.0, RED), None, &stock());
    let page = Page {
        width: mm(150.0),
        height: mm(100.0),
        corner_radius: mm(3.0),
        gap: mm(2.0),
        pieces: Vec::new(),
        fill: Fill::None,
    };
    let sticker = Arc::new(piece);
    let place = |id: &str, x_mm: f64| PlacedPiece {
        piece: id.to_owned(),
        sticker: Arc::clone(&sticker),
        pose: Pose::new(x_mm, 5.0, 90.0),
    };
    let sheet = assemble_page(&page, &[place("a", -40.0), place("b", 30.0)]);
    assert_eq!((sheet.kiss.len(), sheet.through.len(), sheet.prints.len()), (2, 1, 2));
    assert_eq!(sheet.kiss[1].piece.as_deref(), Some("b"));
    assert!(sheet.kiss[1].line.bounds().center().distance(Point::new(30.0, 5.0)) < 1e-6);
    assert!(Arc::ptr_eq(&sheet.prints[0].print, &sheet.prints[1].print));
    assert_eq!(sheet.reach, Mm::ZERO);
    let area = 150.0 * 100.0 - (4.0 - std::f64::consts::PI) * 9.0;
    assert!((sheet.area_mm2 - area).abs() < 0.01);
    let seen = Seen::of(&sheet.prints[0]);
    seen.assert_colour(-40.0, 5.0, [0, 200, 0]);
}

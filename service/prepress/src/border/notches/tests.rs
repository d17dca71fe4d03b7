use super::*;
use crate::border::edges::Edges;
use crate::border::grid::{Fineness, Grid};
use crate::border::strip::Reach;
use crate::border::trace::{fill_holes, zero_rings};
use crate::border::winding::inside_flags;
use crate::cancel::Cancel;
use crate::geom::Affine;

const DISTANCE_MM: f64 = 3.5;
const ARM_MM: f64 = 25.0;

/// Two arms of a V from the origin, 4 mm thick, one of them pointing some way.
fn arms(opening_deg: f64, turned_deg: f64) -> Ring {
    let way = |degrees: f64| Vec2::new(degrees.to_radians().cos(), degrees.to_radians().sin());
    let (one, other) = (way(turned_deg), way(turned_deg + opening_deg));
    let (aside, beside) = (Vec2::new(one.y, -one.x) * 4.0, Vec2::new(-other.y, other.x) * 4.0);
    let corners =
        [aside, aside + one * ARM_MM, one * ARM_MM, Vec2::ZERO, other * ARM_MM, beside + other * ARM_MM, beside];
    Ring::new(corners.map(|corner| corner.to_point()).to_vec())
}

/// The grown rings of some art as they are traced, and with their corners.
fn grown(art: &Ring, patch: Option<Point>) -> (Vec<Ring>, Vec<Ring>) {
    grown_within(std::slice::from_ref(art), patch, DISTANCE_MM + 1.0)
}

/// The same, measured so far.
fn grown_within(art: &[Ring], patch: Option<Point>, outward: f64) -> (Vec<Ring>, Vec<Ring>) {
    let bounds = art.iter().map(Ring::bounds).reduce(|all, ring| all.union(ring)).expect("some art");
    let grid = Grid::over(bounds, DISTANCE_MM + 1.0, Fineness::Even).expect("small");
    let edges = Edges::of_rings(art);
    let reach = Reach { inward: 0.0, outward };
    let inside = inside_flags(&grid, art);
    let field = Field::measure(grid, &edges, inside, reach, &Cancel::new()).expect("nothing is cancelled");
    let mut values = field.signed_plus(-DISTANCE_MM);
    for (node, value) in values.iter_mut().enumerate() {
        let disc = patch.map_or(f32::INFINITY, |centre| (grid.point(node).distance(centre) - 2.0) as f32);
        *value = value.min(disc);
    }
    // What lies by itself in the end of a notch is filled.
    let traced = fill_holes(zero_rings(&grid, &values), |_| false).rings;
    let sharp = sharpened(traced.clone(), (&field, DISTANCE_MM), &values, &Cancel::new());
    (traced, sharp.expect("nothing is cancelled"))
}

fn nearest(rings: &[Ring], place: Point) -> f64 {
    rings.iter().flat_map(Ring::points).map(|point| point.distance(place)).fold(f64::INFINITY, f64::min)
}

/// Where both arms' edges are equally far: on the bisector, the distance over the sine of half the angle.
fn corner(opening_deg: f64, turned_deg: f64) -> Point {
    let half = (opening_deg / 2.0).to_radians();
    let middle = turned_deg.to_radians() + half;
    (Vec2::new(middle.cos(), middle.sin()) * (DISTANCE_MM / half.sin())).to_point()
}

#[test]
fn corners_lie_where_both_sides_are_equally_far_however_the_grid_lies() {
    let mut lost = 0.0_f64;
    for opening_deg in [30.0, 45.0, 60.0, 90.0, 120.0] {
        for turned_deg in (0..24).map(|step| f64::from(step) * 7.3) {
            let corner = corner(opening_deg, turned_deg);
            let (traced, sharp) = grown(&arms(opening_deg, turned_deg), None);
            lost = lost.max(nearest(&traced, corner));
            let off = nearest(&sharp, corner);
            assert!(off < 1e-3, "{opening_deg} degrees, turned by {turned_deg}: {off} mm");
        }
    }
    assert!(lost > 0.2, "without it, corners are cut by up to {lost} mm");
}

#[test]
fn corners_of_ragged_channels_lie_where_the_way_out_ends() {
    // Walls four degrees off parallel, as ragged as the edge of a coarse picture: where each lies is by chance.
    let wobble = |number: usize| ((number * 7919 + number * number * 31) % 17) as f64 / 16.0 * 0.016 - 0.008;
    let wall = |side: f64, number: usize| {
        let (y, salt) = (number as f64 * 0.04 - 6.0, if side > 0.0 { 5 } else { 0 });
        Point::new(side * (DISTANCE_MM - 0.2 + y * 4.0_f64.to_radians().tan() + wobble(number + salt)), y)
    };
    let far = [(-12.0, 12.0), (-12.0, -9.0), (12.0, -9.0), (12.0, 12.0)].map(|(x, y)| Point::new(x, y));
    let walls = (0..=450).rev().map(|number| wall(1.0, number)).chain((0..=450).map(|number| wall(-1.0, number)));
    let upright = Ring::new(far.into_iter().chain(walls).collect());
    for turned in (0..24).map(|step| (f64::from(step) * 7.3_f64).to_radians()) {
        let (_, sharp) = grown(&upright.transformed(Affine::rotate(turned)), None);
        let back = |point: &Point| Affine::rotate(-turned) * *point;
        let in_channel = |point: &Point| point.x.abs() < 0.1 && point.y > 0.0 && point.y < 12.0;
        let points = sharp.iter().flat_map(Ring::points).map(back).filter(in_channel);
        let corner = points.min_by(|a, b| a.y.total_cmp(&b.y)).expect("it ends in the channel");
        let widest = |y: f64| {
            let across = (-20..=20).map(|step| Point::new(f64::from(step) * 2e-3, y));
            across.map(|place| upright.distance_to_edges(place)).fold(0.0, f64::max)
        };
        assert!((upright.distance_to_edges(corner) - DISTANCE_MM).abs() < 2e-3, "{corner:?}");
        assert!(widest(corner.y - 0.3) < DISTANCE_MM, "it goes on beyond {corner:?}");
        assert!((0..60).all(|step| widest(corner.y + f64::from(step) * 0.05) > DISTANCE_MM - 2e-3), "{corner:?}");
    }
}

#[test]
fn flanks_beside_round_art_are_no_nearer_to_it() {
    const RADIUS_MM: f64 = 2.0;
    // Two discs, grown until they overlap by little: each notch between them ends in a sharp corner far within.
    let apart = 2.0 * (DISTANCE_MM + RADIUS_MM) - 0.004;
    let disc = |centre: Point| {
        let way = |step: i32| Vec2::from_angle((f64::from(step) * 0.5).to_radians());
        Ring::new((0..720).map(|step| centre + way(step) * RADIUS_MM).collect())
    };
    for turned in (0..24).map(|step| (f64::from(step) * 7.3_f64).to_radians()) {
        let art = [Vec2::ZERO, Vec2::from_angle(turned) * apart].map(|centre| disc(centre.to_point()));
        let (traced, sharp) = grown_within(&art, None, DISTANCE_MM + 1.0);
        let points = |rings: &[Ring]| rings.iter().map(|ring| ring.points().len()).sum::<usize>();
        assert!(points(&sharp) >= points(&traced) + 2, "each notch has its corner");
        let aside = ((DISTANCE_MM + RADIUS_MM).powi(2) - (apart / 2.0).powi(2)).sqrt();
        for aside in [aside, -aside] {
            let corner = Affine::rotate(turned) * Point::new(apart / 2.0, aside);
            // Discs of straight pieces meet a little nearer.
            assert!(nearest(&sharp, corner) < 5e-3, "no corner at {corner:?}");
        }
        let away = |place: Point| art.iter().map(|disc| disc.distance_to_edges(place)).fold(f64::INFINITY, f64::min);
        for (from, to) in sharp.iter().flat_map(Ring::edges) {
            let middle = from.midpoint(to);
            assert!(away(middle) > DISTANCE_MM - 3e-3, "{} at {middle:?}", away(middle));
        }
        let known: Vec<Point> = traced.iter().flat_map(|ring| ring.points().to_vec()).collect();
        for place in sharp.iter().flat_map(Ring::points).filter(|place| !known.contains(place)) {
            assert!((away(*place) - DISTANCE_MM).abs() < 1e-3, "{} at {place:?}", away(*place));
        }
    }
}

#[test]
fn nothing_put_in_is_nearer_to_the_art_and_no_edges_cross() {
    for turned_deg in [0.0_f64, 11.0, 37.0] {
        // Teeth of all widths, so that notches end at each other.
        let teeth = (0..24).flat_map(|tooth| {
            let (at, wide) = (f64::from(tooth) * 2.3, 0.1 + f64::from(tooth * 7 % 11) * 0.15);
            [(at, 20.0), (at + wide, 12.0 - f64::from(tooth % 5)), (at + 2.0 * wide.min(1.1), 20.0)]
        });
        let outline = teeth.chain([(60.0, 20.0), (60.0, 26.0), (-3.0, 26.0), (-3.0, 20.0)]);
        let art = Ring::new(outline.map(|(x, y)| Point::new(x, y)).collect());
        let art = art.transformed(Affine::rotate(turned_deg.to_radians()));
        let (traced, sharp) = grown(&art, None);
        let edges: Vec<Edge> = sharp.iter().flat_map(Ring::edges).collect();
        assert!(edges.len() > traced.iter().flat_map(Ring::edges).count());
        for (at, edge) in edges.iter().enumerate() {
            assert!(edges[..at].iter().all(|other| !crosses(*other, *edge)), "{edge:?}");
        }
        let known: Vec<Point> = traced.iter().flat_map(|ring| ring.points().to_vec()).collect();
        for point in sharp.iter().flat_map(Ring::points).filter(|point| !known.contains(point)) {
            assert!(art.distance_to_edges(*point) >= DISTANCE_MM - 1e-3, "{point:?}");
        }
        for (from, to) in edges.iter().filter(|(from, to)| !(known.contains(from) && known.contains(to))) {
            let middle = from.midpoint(*to);
            assert!(art.distance_to_edges(middle) >= DISTANCE_MM - 3e-3, "{middle:?}");
        }
    }
}

#[test]
fn upright_art_that_fills_its_corners_is_no_trouble_however_far_is_measured() {
    for at in (0..40).map(|step| f64::from(step) * 0.0131) {
        let (x, y) = (20.0 + at, 20.0 - 0.7 * at);
        let corners = [(0.0, 0.0), (x + 20.0, 0.0), (x + 20.0, y), (x, y), (x, y + 20.0), (0.0, y + 20.0)];
        let art = Ring::new(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        let (_, sharp) = grown_within(&[art], None, 40.0);
        let off = nearest(&sharp, Point::new(x + DISTANCE_MM, y + DISTANCE_MM));
        assert!(off < 1e-3, "{off} mm");
    }
}

#[test]
fn corners_in_a_disc_stay_filled() {
    let (opening_deg, turned_deg) = (60.0, 20.0);
    let corner = corner(opening_deg, turned_deg);
    let (_, sharp) = grown(&arms(opening_deg, turned_deg), Some(corner));
    assert!(nearest(&sharp, corner) > 1.5 && sharp[0].contains(corner));
}

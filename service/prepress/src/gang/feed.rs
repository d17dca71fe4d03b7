//! The frame in which work is done: its corner at the window's feed side, x across the feed, y along it, away from the edge
//! that enters first. Bands across the whole window divide it into sections, which are filled one after another.

use super::body::Body;
use super::mask::Mask;
use super::part::up;
use crate::frame::{Frame, KeepOut};
use crate::geom::{Affine, Point, Pose, Rect, Ring, Vec2};
use crate::order::FeedEdge;

/// From the sheet to the feed frame and back. A rotation by quarter turns, never a mirror.
#[derive(Clone, Copy, Debug)]
pub(super) struct Feed {
    corner: Point,
    /// Angle from the sheet's frame to the feed frame.
    pub(super) turn_deg: f64,
    /// Across the feed.
    pub(super) width: f64,
    /// Along the feed.
    pub(super) length: f64,
}

impl Feed {
    /// The feed frame of a window.
    pub(super) fn new(window: Rect, edge: FeedEdge) -> Feed {
        let (across, along) = (window.width(), window.height());
        // The corner is rounded as poses are, so that rounding a layout moves all its pieces alike.
        let corner = |x: f64, y: f64| Pose::new(x, y, 0.0).rounded().origin();
        match edge {
            FeedEdge::Top => Feed { corner: corner(window.x0, window.y0), turn_deg: 0.0, width: across, length: along },
            FeedEdge::Right => {
                Feed { corner: corner(window.x1, window.y0), turn_deg: 270.0, width: along, length: across }
            }
            FeedEdge::Bottom => {
                Feed { corner: corner(window.x1, window.y1), turn_deg: 180.0, width: across, length: along }
            }
            FeedEdge::Left => {
                Feed { corner: corner(window.x0, window.y1), turn_deg: 90.0, width: along, length: across }
            }
        }
    }

    fn back(self) -> Affine {
        Pose::new(self.corner.x, self.corner.y, 360.0 - self.turn_deg).to_affine()
    }

    /// A place in the feed frame as a pose on the sheet.
    pub(super) fn pose(self, at: Vec2, angle_deg: f64) -> Pose {
        let origin = self.back() * at.to_point();
        Pose::new(origin.x, origin.y, angle_deg - self.turn_deg).rounded()
    }

    /// A point of the sheet in the feed frame.
    pub(super) fn point(self, point: Point) -> Point {
        self.back().inverse() * point
    }

    /// A box of the sheet in the feed frame.
    pub(super) fn rect(self, rect: Rect) -> Rect {
        Rect::from_points(self.point(Point::new(rect.x0, rect.y0)), self.point(Point::new(rect.x1, rect.y1)))
    }
}

/// A free zone in the feed frame, from the corner of its section.
#[derive(Clone, Debug)]
pub(super) struct Obstacle {
    /// Its outline; a disc is a point.
    pub(super) body: Body,
    pub(super) outline: Vec<Point>,
    /// Radius of a disc.
    pub(super) radius: f64,
}

/// What is filled at a time: a sheet's window, or the part of a roll between two bands.
#[derive(Clone, Debug)]
pub(super) struct Section {
    /// Where it starts, from the feed side.
    pub(super) from: f64,
    /// Its length along the feed.
    pub(super) length: f64,
    /// Across the feed.
    pub(super) width: f64,
    /// Free zones in it.
    pub(super) obstacles: Vec<Obstacle>,
}

/// Divides a container at the bands across it. Sections keep the gutter even over a band that is narrower.
pub(super) fn sections(frame: &Frame, feed: Feed, gutter: f64) -> Vec<Section> {
    let mut bands = Vec::new();
    for keep_out in &frame.keep_outs {
        if let KeepOut::Box(rect) = keep_out {
            let rect = feed.rect(*rect);
            if rect.x0 <= 1e-6 && rect.x1 >= feed.width - 1e-6 {
                bands.push((rect.y0, rect.y1));
            }
        }
    }
    bands.sort_by(|a, b| a.0.total_cmp(&b.0));
    bands.push((feed.length, feed.length));
    let mut sections: Vec<Section> = Vec::new();
    let mut from = 0.0_f64;
    for (start, end) in bands {
        let start = start.min(feed.length);
        if start - from > 1e-9 {
            let obstacles = obstacles(frame, feed, from, start);
            sections.push(Section { from, length: start - from, width: feed.width, obstacles });
        }
        let last_end = sections.last().map_or(0.0, |last| last.from + last.length + gutter);
        from = from.max(up(end)).max(if sections.is_empty() { 0.0 } else { up(last_end) });
    }
    sections
}

/// Free zones near a section, the bands themselves left out.
fn obstacles(frame: &Frame, feed: Feed, from: f64, to: f64) -> Vec<Obstacle> {
    let mut obstacles = Vec::new();
    for keep_out in &frame.keep_outs {
        let (ring, radius) = match keep_out {
            KeepOut::Disc { centre, radius } => (Ring::new(vec![feed.point(*centre)]), radius.mm()),
            KeepOut::Box(rect) => {
                let rect = feed.rect(*rect);
                if rect.x0 <= 1e-6 && rect.x1 >= feed.width - 1e-6 {
                    continue;
                }
                (Ring::rectangle(rect), 0.0)
            }
        };
        let bounds = ring.bounds();
        if bounds.y1 + radius < from - 100.0 || bounds.y0 - radius > to + 100.0 {
            continue;
        }
        let outline: Vec<Point> = ring.points().iter().map(|point| *point - Vec2::new(0.0, from)).collect();
        obstacles.push(Obstacle { body: Body::new(&[Ring::new(outline.clone())], 0.0), outline, radius });
    }
    obstacles
}

impl Obstacle {
    /// Its cells, for pieces whose masks are grown by half the gutter and whose bleeds reach at most so far.
    pub(super) fn mask(&self, reach: f64, gutter: f64, pad: f64, cell: f64) -> Option<Mask> {
        let growth = self.radius + reach - gutter / 2.0;
        let outline: Vec<Point> = self.outline.iter().map(|point| *point + Vec2::new(pad, pad)).collect();
        if growth >= 0.0 {
            return Some(Mask::of(&[outline], growth, cell));
        }
        // Masks keep farther away than the zone asks for, so a smaller zone will do. From its corners to those of the zone it
        // must be no farther than that: hence the root of two. A zone smaller than that becomes a line or a point.
        let bounds = Ring::new(outline).bounds();
        let inset = |side: f64| (-growth * std::f64::consts::FRAC_1_SQRT_2).min(side / 2.0);
        let inner = bounds.inflate(-inset(bounds.width()), -inset(bounds.height()));
        Some(Mask::of(&[Ring::rectangle(inner).points().to_vec()], 0.0, cell))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_feed_edge_is_where_depth_counts_from() {
        let window = Rect::new(10.0, 20.0, 110.0, 220.0);
        let corner_of = |edge| Feed::new(window, edge).pose(Vec2::new(1.0, 2.0), 0.0);
        let at = |x: f64, y: f64, pose: Pose| (pose.x_mm - x).abs() < 1e-9 && (pose.y_mm - y).abs() < 1e-9;
        assert!(at(11.0, 22.0, corner_of(FeedEdge::Top)));
        assert!(at(108.0, 21.0, corner_of(FeedEdge::Right)));
        assert!(at(109.0, 218.0, corner_of(FeedEdge::Bottom)));
        assert!(at(12.0, 219.0, corner_of(FeedEdge::Left)));
        for edge in [FeedEdge::Top, FeedEdge::Right, FeedEdge::Bottom, FeedEdge::Left] {
            let feed = Feed::new(window, edge);
            let rect = feed.rect(window);
            assert!(rect.origin().distance(Point::ORIGIN) < 1e-9, "{edge:?} {rect:?}");
            assert!((rect.x1 - feed.width).abs() < 1e-9 && (rect.y1 - feed.length).abs() < 1e-9, "{edge:?} {rect:?}");
        }
    }

    #[test]
    fn a_zone_is_kept_free_of_pieces_that_keep_a_wider_gutter() {
        // A piece's mask is grown by 4 mm; whatever it is, it may come no nearer than 1 mm to any point of the zone.
        let zones =
            [Rect::new(10.0, 10.0, 30.0, 14.0), Rect::new(10.0, 10.0, 11.0, 10.5), Rect::new(10.0, 10.0, 40.0, 40.0)];
        for zone in zones {
            let outline = Ring::rectangle(zone).points().to_vec();
            let body = Body::new(&[Ring::new(outline.clone())], 0.0);
            let cells = Obstacle { body, outline, radius: 0.0 }.mask(1.0, 8.0, 0.0, 0.05).expect("cells");
            let taken = |at: Point| {
                (0..cells.rows()).any(|row| {
                    let y = f64::from(cells.top + row as i32) * 0.05;
                    let near = |run: &super::super::mask::Run| {
                        let (x0, x1) = (f64::from(run.from) * 0.05, f64::from(run.to) * 0.05);
                        let (dx, dy) = ((x0 - at.x).max(at.x - x1).max(0.0), (y - at.y).max(at.y - y - 0.05).max(0.0));
                        dx.hypot(dy) <= 4.0
                    };
                    cells.row(row).iter().any(near)
                })
            };
            for step in 0..40 {
                let angle = f64::from(step) * std::f64::consts::TAU / 40.0;
                for corner in Ring::rectangle(zone).points() {
                    let at = *corner + Vec2::new(angle.cos(), angle.sin()) * 0.999;
                    assert!(taken(at), "{zone:?} {at:?}");
                }
            }
        }
    }
}

//! What a picture's pixels tell, in pixels and before any size is known: how sharp its edges are, where it is hazy, what
//! its rim looks like, how thin its lines are.
//!
//! Looks at rows and columns spread evenly over the art, not at every pixel, so that the cost does not grow with the
//! picture: at most [`MOST_LINES`] of each. What counts lines and edges sees each of them many times all the same.

mod edges;
mod haze;
mod lines;
mod rim;
mod scan;
mod tiles;

#[cfg(test)]
mod tests;

use std::sync::Arc;

pub(super) use lines::FineLine;
pub(super) use rim::RimSample;

use crate::finding::Place;
use crate::intake::{Artwork, Format};
use crate::silhouette::CutOut;
use scan::{Axis, Scan};
pub(super) use tiles::boxes;

/// Most rows, and most columns, that are looked at. More cost time; with fewer, short lines and small areas are missed.
const MOST_LINES: u32 = 240;

/// Alpha up to which a pixel is outside, 5 %.
const CLEAR: u8 = 12;

/// Alpha from which a pixel's colour is seen whole.
const OPAQUE: u8 = 250;

/// What was seen.
#[derive(Clone, Debug, Default)]
pub(super) struct Survey {
    /// Width of the sharpest edges in pixels; `None` where there are too few to say, and of drawings.
    pub(super) edge_px: Option<f64>,
    /// Share of the visible pixels that lie in areas of haze, 0 to 1, and where.
    pub(super) haze_share: f64,
    pub(super) haze_places: Vec<Place>,
    /// Share of the edge with a light and with a dark rim, 0 to 1, and where.
    pub(super) light_rim_share: f64,
    pub(super) dark_rim_share: f64,
    pub(super) rim_places: Vec<Place>,
    /// Colours just inside the art's edge.
    pub(super) rim: Vec<RimSample>,
    /// Colours of all opaque art looked at.
    pub(super) colours: rim::Colours,
    /// Lines thin enough that they may be fine in print.
    pub(super) lines: Vec<FineLine>,
}

/// Looks over a picture. `cut_out` is the picture without its backdrop.
pub(super) fn survey(artwork: &Artwork, cut_out: &CutOut) -> Survey {
    let is_same = Arc::ptr_eq(&artwork.pixels, &cut_out.pixels);
    let area = cut_out.visible;
    let mut edges = edges::Edges::default();
    let mut haze = haze::Haze::default();
    let mut rims = rim::Rims::default();
    let mut lines = lines::Lines::default();
    let grid = tiles::Grid::over(area);
    for axis in [Axis::Row, Axis::Column] {
        let mut scan = Scan::new(axis, area, MOST_LINES);
        while let Some(line) = scan.next(&cut_out.pixels) {
            if is_same {
                edges.look(line, &cut_out.pixels);
            }
            if axis == Axis::Row {
                haze.look(line, &cut_out.pixels);
                rims.count_colours(line);
            }
            rims.look(line);
            lines.look(line, &cut_out.pixels);
        }
        if !is_same {
            let mut scan = Scan::new(axis, area, MOST_LINES);
            while let Some(line) = scan.next(&artwork.pixels) {
                edges.look(line, &artwork.pixels);
            }
        }
    }
    let (light_rim_share, dark_rim_share) = rims.shares();
    Survey {
        edge_px: edges.width_px().filter(|_| artwork.format != Format::Svg),
        haze_share: haze.share(),
        haze_places: grid.boxes(haze.places.iter().copied()),
        light_rim_share,
        dark_rim_share,
        rim_places: grid.boxes(rims.fringed.iter().copied()),
        rim: rims.samples,
        colours: rims.colours,
        lines: lines.found,
    }
}

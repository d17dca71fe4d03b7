//! Ganging: its promises on random input, its patterns against formulas and an exhaustive search, orders, pages, cancelling.
#![allow(clippy::print_stdout, reason = "figures are read with --nocapture")]

mod cancelling;
#[path = "../../orders/dealing.rs"]
mod dealing;
mod formulas;
#[path = "../../ganging/instance.rs"]
mod instance;
mod judge;
mod orders;
mod outlines;
mod pages;
mod periodic;
mod promises;

use std::path::Path;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::frame::{Frame, KeepOut};
use quoin_prepress::gang::{Claim, Layout, Lot, Nesting, nest};
use quoin_prepress::geom::{Point, Pose, Rect, Ring};
use quoin_prepress::order::{Effort, FeedEdge, Rotate};
use quoin_prepress::units::Mm;

/// A sheet whose window is this.
fn frame(window: Rect, keep_outs: Vec<KeepOut>) -> Frame {
    let size = (window.x1 + window.x0, window.y1 + window.y0);
    Frame { keep_outs, ..instance::frame(size, window) }
}

/// An instance of the fixtures: its container and its lots.
fn fixture(name: &str) -> (instance::Container, Vec<Lot>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/packing");
    let text = std::fs::read_to_string(folder.join(name)).expect("a fixture can be read");
    let value = serde_json::from_str(&text).expect("a fixture is JSON");
    let container = instance::container(&value).expect("a fixture has a container");
    (container, instance::lots(&value).expect("a fixture has items"))
}

/// Copies of one outline for one order.
fn lot(outline: Vec<Point>, rotate: Rotate, copies: u32) -> Lot {
    let claims = vec![Claim { order: 0, item: 0, copies, due: None }];
    Lot { outermost: vec![Ring::new(outline)], reach: Mm::ZERO, rotate, claims, filler: false }
}

/// At draft on sheets, fed by their top edge.
fn nesting<'a>(frame: &'a Frame, gutter_mm: f64, lots: Vec<Lot>) -> Nesting<'a> {
    Nesting {
        frame,
        roll: false,
        feed_edge: FeedEdge::Top,
        gutter: Mm::of(gutter_mm),
        lots,
        effort: Effort::Draft,
        out_of_time: &|| false,
        seed: 1,
        keep_orders_together: true,
    }
}

/// The layout, with every promise looked at.
fn judged(nesting: &Nesting<'_>) -> Layout {
    let layout = nest(nesting, &|_| (), &Cancel::new()).expect("finite outlines have a layout");
    judge::judge(nesting, &layout);
    layout
}

/// Where things stand, sheet by sheet.
fn poses(layout: &Layout) -> Vec<Vec<Pose>> {
    layout.sheets.iter().map(|sheet| sheet.iter().map(|placed| placed.pose).collect()).collect()
}

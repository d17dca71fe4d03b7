//! Numbers and paths as SVG writes them (SVG 1.1, 4.2 and 8.3).

use crate::geom::{BezPath, PathEl, Point};

/// At most four decimals, no exponent, no negative zero.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A path in absolute commands.
pub(super) fn path_data(path: &BezPath) -> String {
    let at = |point: &Point| format!("{} {}", number(point.x), number(point.y));
    let command = |element: &PathEl| match element {
        PathEl::MoveTo(p) => format!("M{}", at(p)),
        PathEl::LineTo(p) => format!("L{}", at(p)),
        PathEl::QuadTo(a, p) => format!("Q{} {}", at(a), at(p)),
        PathEl::CurveTo(a, b, p) => format!("C{} {} {}", at(a), at(b), at(p)),
        PathEl::ClosePath => "Z".to_owned(),
    };
    path.elements().iter().map(command).collect::<Vec<_>>().join(" ")
}

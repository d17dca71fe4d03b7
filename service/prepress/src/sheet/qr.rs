//! A QR code (ISO/IEC 18004) as one filled outline, so that no reader shows seams between its modules.

use std::collections::BTreeMap;

use qrcodegen::{QrCode, QrCodeEcc};

use crate::geom::{BezPath, Point};

/// A code in units of its modules.
pub(crate) struct Code {
    /// Modules on a side.
    pub(crate) modules: u32,
    /// Its dark area, nonzero winding; origin at its top-left corner.
    pub(crate) path: BezPath,
}

/// Modules of light around a code: ISO/IEC 18004, 9.1.
pub(crate) const QUIET_MODULES: f64 = 4.0;

/// The smallest code that holds a text with at least this error correction, and with the best that its size has; `None` for
/// a text longer than any code holds.
pub(crate) fn encode(text: &str, least: QrCodeEcc) -> Option<Code> {
    let code = QrCode::encode_text(text, least).ok()?;
    let modules = u32::try_from(code.size()).ok()?;
    Some(Code { modules, path: outline(&code) })
}

/// Walks the edges between dark and light, the dark always on the right.
fn outline(code: &QrCode) -> BezPath {
    let dark = |x: i32, y: i32| code.get_module(x, y);
    let mut edges: BTreeMap<(i32, i32), Vec<(i32, i32)>> = BTreeMap::new();
    for y in 0..code.size() {
        for x in (0..code.size()).filter(|x| dark(*x, y)) {
            let sides = [
                (dark(x, y - 1), (x, y), (x + 1, y)),
                (dark(x + 1, y), (x + 1, y), (x + 1, y + 1)),
                (dark(x, y + 1), (x + 1, y + 1), (x, y + 1)),
                (dark(x - 1, y), (x, y + 1), (x, y)),
            ];
            for (_, from, to) in sides.into_iter().filter(|(joined, ..)| !joined) {
                edges.entry(from).or_default().push(to);
            }
        }
    }
    let mut path = BezPath::new();
    while let Some((&start, _)) = edges.first_key_value() {
        let mut corners = vec![start];
        let mut here = start;
        while let Some(next) = take(&mut edges, here) {
            if next == start {
                break;
            }
            corners.push(next);
            here = next;
        }
        trace(&mut path, &corners);
    }
    path
}

/// Takes one edge that leaves a corner. Where two dark modules touch at a corner, either way round gives the same area.
fn take(edges: &mut BTreeMap<(i32, i32), Vec<(i32, i32)>>, from: (i32, i32)) -> Option<(i32, i32)> {
    let ends = edges.get_mut(&from)?;
    let to = ends.pop();
    if ends.is_empty() {
        edges.remove(&from);
    }
    to
}

/// One closed loop without the corners that lie on a straight line.
fn trace(path: &mut BezPath, corners: &[(i32, i32)]) {
    let count = corners.len();
    let turns = |at: &usize| {
        let (before, here, after) = (corners[(at + count - 1) % count], corners[*at], corners[(at + 1) % count]);
        (before.0 == here.0) != (here.0 == after.0)
    };
    let point = |at: usize| Point::new(f64::from(corners[at].0), f64::from(corners[at].1));
    let mut bends = (0..count).filter(turns).map(point);
    if let Some(first) = bends.next() {
        path.move_to(first);
        bends.for_each(|bend| path.line_to(bend));
        path.close_path();
    }
}

#[cfg(test)]
mod tests {
    use kurbo::Shape;

    use super::*;

    #[test]
    fn outline_covers_exactly_the_dark_modules() {
        let text = "tuesday-night/1";
        let code = QrCode::encode_text(text, QrCodeEcc::Low).expect("short");
        let drawn = encode(text, QrCodeEcc::Low).expect("short");
        assert_eq!((drawn.modules, code.version().value()), (21, 1));
        for y in 0..code.size() {
            for x in 0..code.size() {
                let centre = Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                assert_eq!(drawn.path.winding(centre) != 0, code.get_module(x, y), "{x}, {y}");
            }
        }
        let dark = (0..code.size()).flat_map(|y| (0..code.size()).map(move |x| (x, y)));
        let count = dark.filter(|(x, y)| code.get_module(*x, *y)).count();
        assert!((drawn.path.area().abs() - count as f64).abs() < 1e-9);
    }

    #[test]
    fn longest_run_name_needs_no_more_than_29_modules() {
        let text = format!("{}/9999", "x".repeat(32));
        assert_eq!(encode(&text, QrCodeEcc::Low).expect("fits").modules, 29);
        assert!(encode(&"x".repeat(5000), QrCodeEcc::Low).is_none());
    }
}

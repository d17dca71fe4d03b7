//! Painting on one page, in millimetres with y down.

use printpdf::matrix::CurTransMat;
use printpdf::{DictItem, ExtendedGraphicsStateId, LayerInternalId, Op, XObjectId, XObjectTransform};

use crate::geom::{Affine, BezPath, PathEl, Point};
use crate::order::Colour;
use crate::units::Mm;

/// What a path is painted with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Ink<'a> {
    /// 100 % K alone on a press, RGB 0 on a desktop printer.
    Black,
    /// A grey, 0 black to 1 white.
    Grey(f64),
    /// A device colour, for people's eyes only.
    Rgb(Colour),
    /// Full tint of the separation whose colour space the page's resources name so.
    Spot(&'a str),
}

/// Operators of one page. Everything that goes in is in millimetres from the page's top-left corner, y down; what comes
/// out is in points, y up: nobody who reads a path has to know a matrix.
#[derive(Debug)]
pub(crate) struct Canvas {
    ops: Vec<Op>,
    to_pt: Affine,
}

/// Decimals of a point that are kept: 0.0001 pt is 0.00004 mm.
const PER_PT: f64 = 1e4;

impl Canvas {
    /// An empty page of this height.
    pub(crate) fn new(height: Mm) -> Canvas {
        let scale = Mm::of(1.0).to_pt();
        Canvas { ops: Vec::new(), to_pt: Affine::new([scale, 0.0, 0.0, -scale, 0.0, height.to_pt()]) }
    }

    /// The operators, in order.
    pub(crate) fn into_ops(self) -> Vec<Op> {
        self.ops
    }

    /// Paints in a graphics state of its own.
    pub(crate) fn scoped(&mut self, paint: impl FnOnce(&mut Canvas)) {
        self.ops.push(Op::SaveGraphicsState);
        paint(self);
        self.ops.push(Op::RestoreGraphicsState);
    }

    /// Paints on a layer.
    pub(crate) fn on_layer(&mut self, layer: &str, paint: impl FnOnce(&mut Canvas)) {
        self.ops.push(Op::BeginLayer { layer_id: LayerInternalId(layer.to_owned()) });
        paint(self);
        self.ops.push(Op::EndLayer);
    }

    /// Switches to a graphics state that the page's resources name.
    pub(crate) fn state(&mut self, name: &str) {
        self.ops.push(Op::LoadGraphicsState { gs: ExtendedGraphicsStateId(name.to_owned()) });
    }

    /// Limits what follows in this scope to a path, by the non-zero rule.
    pub(crate) fn clip(&mut self, path: &BezPath) {
        self.path(path);
        self.operator("W", Vec::new());
        self.operator("n", Vec::new());
    }

    /// Fills a path by the non-zero rule.
    pub(crate) fn fill(&mut self, path: &BezPath, ink: Ink<'_>) {
        if path.elements().is_empty() {
            return;
        }
        self.ink(ink, ["g", "rg", "cs", "scn"]);
        self.path(path);
        self.operator("f", Vec::new());
    }

    /// Strokes a path, joins and ends round.
    pub(crate) fn stroke(&mut self, path: &BezPath, width: Mm, ink: Ink<'_>) {
        if path.elements().is_empty() {
            return;
        }
        self.ink(ink, ["G", "RG", "CS", "SCN"]);
        self.operator("w", vec![real(width.to_pt())]);
        self.operator("J", vec![DictItem::Int(1)]);
        self.operator("j", vec![DictItem::Int(1)]);
        self.path(path);
        self.operator("S", Vec::new());
    }

    /// Paints a picture that the page's resources name. `to_mm` takes the picture's unit square (x right, y down from its
    /// top-left corner) to millimetres.
    /// With `state`, in that graphics state, whose soft mask then lies in the unit square too.
    pub(crate) fn picture(&mut self, name: &str, state: Option<&str>, to_mm: Affine) {
        // A picture's own space has y up (ISO 32000-1, 8.9.5.1).
        let upright = Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 1.0]);
        let [a, b, c, d, e, f] = (self.to_pt * to_mm * upright).as_coeffs();
        let matrix = CurTransMat::Raw([a, b, c, d, e, f].map(short));
        let transform = XObjectTransform { no_auto_scale: true, ..XObjectTransform::default() };
        self.scoped(|canvas| {
            canvas.ops.push(Op::SetTransformationMatrix { matrix });
            if let Some(state) = state {
                canvas.state(state);
            }
            canvas.ops.push(Op::UseXobject { id: XObjectId(name.to_owned()), transform });
        });
    }

    /// Shows glyphs of a font that the page's resources name, each as two bytes, from a point on the baseline. `said`: what
    /// the line says where its glyphs cannot be read back.
    pub(crate) fn glyphs(&mut self, font: &str, size: Mm, at: Point, codes: &[u16], ink: Ink<'_>, said: Option<&str>) {
        let origin = self.to_pt * at;
        let bytes = codes.iter().flat_map(|code| code.to_be_bytes()).collect();
        if let Some(text) = said {
            let units = std::iter::once(0xfeff).chain(text.encode_utf16());
            let text = DictItem::Bytes(units.flat_map(u16::to_be_bytes).collect());
            let properties = DictItem::Dict { map: [("ActualText".to_owned(), text)].into() };
            self.ops.push(Op::BeginMarkedContentWithProperties { tag: "Span".to_owned(), properties });
        }
        self.ink(ink, ["g", "rg", "cs", "scn"]);
        self.operator("BT", Vec::new());
        self.operator("Tf", vec![DictItem::Name(font.as_bytes().to_vec()), real(size.to_pt())]);
        self.operator("Td", vec![real(origin.x), real(origin.y)]);
        self.operator("Tj", vec![DictItem::Bytes(bytes)]);
        self.operator("ET", Vec::new());
        if said.is_some() {
            self.ops.push(Op::EndMarkedContent);
        }
    }

    fn ink(&mut self, ink: Ink<'_>, [grey, rgb, space, tint]: [&str; 4]) {
        match ink {
            Ink::Black => self.operator(grey, vec![DictItem::Int(0)]),
            Ink::Grey(level) => self.operator(grey, vec![real(level)]),
            Ink::Rgb(Colour(channels)) => {
                let parts = channels.iter().map(|channel| real(f64::from(*channel) / 255.0)).collect();
                self.operator(rgb, parts);
            }
            Ink::Spot(name) => {
                self.operator(space, vec![DictItem::Name(name.as_bytes().to_vec())]);
                self.operator(tint, vec![DictItem::Int(1)]);
            }
        }
    }

    fn path(&mut self, path: &BezPath) {
        let mut last = Point::ORIGIN;
        for element in path.elements() {
            match *element {
                PathEl::MoveTo(to) => self.points("m", &[to]),
                PathEl::LineTo(to) => self.points("l", &[to]),
                // PDF knows cubics only; raising the degree is exact.
                PathEl::QuadTo(handle, to) => {
                    let toward = |from: Point| from + (handle - from) * (2.0 / 3.0);
                    self.points("c", &[toward(last), toward(to), to]);
                }
                PathEl::CurveTo(first, second, to) => self.points("c", &[first, second, to]),
                PathEl::ClosePath => self.operator("h", Vec::new()),
            }
            last = element.end_point().unwrap_or(last);
        }
    }

    fn points(&mut self, key: &str, points: &[Point]) {
        let placed = points.iter().map(|point| self.to_pt * *point);
        let numbers = placed.flat_map(|point| [real(point.x), real(point.y)]).collect();
        self.operator(key, numbers);
    }

    fn operator(&mut self, key: &str, value: Vec<DictItem>) {
        self.ops.push(Op::Unknown { key: key.to_owned(), value });
    }
}

/// A number of points, rounded so that no noise is written.
fn real(points: f64) -> DictItem {
    DictItem::Real(((points * PER_PT).round() / PER_PT + 0.0) as f32)
}

/// A coefficient of a matrix: rounded finer, because it is multiplied by pixels or lengths.
fn short(coefficient: f64) -> f32 {
    ((coefficient * 1e7).round() / 1e7 + 0.0) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadratic_curves_become_cubics_through_the_same_points() {
        let mut canvas = Canvas::new(Mm::of(25.4));
        let mut path = BezPath::new();
        path.move_to((0.0, 25.4));
        path.quad_to((12.7, 0.0), (25.4, 25.4));
        canvas.fill(&path, Ink::Black);
        let ops = canvas.into_ops();
        let operators =
            ops.iter().filter_map(|op| if let Op::Unknown { key, value } = op { Some((key, value)) } else { None });
        let curve = operators.filter(|(key, _)| *key == "c").map(|(_, value)| value).next();
        // The middle of a cubic is (p0 + 3 p1 + 3 p2 + p3) / 8; of this quadratic (p0 + 2 p1 + p2) / 4 = (36, 36) pt.
        let number = |item: &DictItem| if let DictItem::Real(number) = item { *number } else { f32::NAN };
        let numbers: Vec<f32> = curve.expect("a curve").iter().map(number).collect();
        let middle = (3.0 * numbers[0] + 3.0 * numbers[2] + numbers[4]) / 8.0;
        let height = (3.0 * numbers[1] + 3.0 * numbers[3] + numbers[5]) / 8.0;
        assert!((middle - 36.0).abs() < 1e-3 && (height - 36.0).abs() < 1e-3, "{numbers:?}");
    }
}

//! Register marks of a stock.

use quoin_prepress::geom::Point;
use quoin_prepress::order::RegisterMarks;
use quoin_prepress::units::Mm;
use serde_json::Value;

use super::mistake::{MistakeCode, Mistakes};
use super::node::{Node, wrong_type};
use super::range;

/// What a stock without marks says instead of an object.
pub(super) const NO_MARKS: [(&str, ()); 1] = [("none", ())];

/// Fields of `register_marks`.
pub(super) const FIELDS: [&str; 4] = ["shape", "diameter_mm", "clear_mm", "at"];

/// Shapes of marks.
pub(super) const SHAPES: [(&str, ()); 1] = [("disc", ())];

/// `"none"`, or discs with their clear zones.
pub(super) fn read_register_marks(entry: &Node<'_>, mistakes: &mut Mistakes) -> Option<RegisterMarks> {
    let marks = entry.choice("register_marks")?;
    match marks.value() {
        Some(Value::String(_)) => {
            marks.as_word(mistakes, &NO_MARKS);
            return None;
        }
        Some(value) if !value.is_object() => {
            wrong_type(mistakes, &marks.pointer(), "\"none\" or an object", value);
            return None;
        }
        _ => {}
    }
    marks.only_fields(mistakes, &FIELDS);
    marks.word(mistakes, "shape", &SHAPES);
    Some(RegisterMarks {
        diameter: marks.length(mistakes, "diameter_mm", &range::MARK_DIAMETER).unwrap_or(Mm::of(5.0)),
        clear: marks.length(mistakes, "clear_mm", &range::MARK_CLEAR).unwrap_or(Mm::of(3.0)),
        at: read_places(&marks, mistakes),
    })
}

fn read_places(marks: &Node<'_>, mistakes: &mut Mistakes) -> Option<Vec<Point>> {
    let list = marks.list(mistakes, "at")?;
    if list.is_empty() || list.len() > range::MARKS {
        let pointer = marks.get("at").map(|node| node.pointer()).unwrap_or_default();
        let message = format!("1 to {} marks are taken; null asks for the five of our own", range::MARKS);
        mistakes.add(MistakeCode::OutOfRange, &pointer, message);
    }
    Some(list.iter().filter_map(|place| read_place(place, mistakes)).collect())
}

fn read_place(place: &Node<'_>, mistakes: &mut Mistakes) -> Option<Point> {
    let coordinates = place.elements();
    let [x, y] = coordinates.as_slice() else {
        mistakes.add(MistakeCode::WrongType, &place.pointer(), "a mark's centre is [x, y] in millimetres");
        return None;
    };
    let x = x.as_number(mistakes, &range::MARK_PLACE);
    let y = y.as_number(mistakes, &range::MARK_PLACE);
    Some(Point::new(x?, y?))
}

//! A picture and the size of the sticker that it becomes.

use serde_json::{Value, json};

use super::super::range;
use super::field::{Field, object};

/// `art`. The reader's third way, `file`, is refused over HTTP.
pub(super) fn art() -> Value {
    let part = "Name of the part of the multipart body that holds the picture.";
    let base64 = "The picture itself, base64 (RFC 4648, section 4) with padding, in one line.";
    let mut schema = object(
        "A picture: PNG, JPEG, WebP, TIFF, GIF, BMP or SVG (also svgz), told by its content. Exactly one of `part` and `base64`. Nothing is ever \
         fetched from a URL. (The command line takes `file`, a path beside the job file, instead of `part`; over HTTP it \
         is refused.)",
        &[],
        vec![
            ("part", Field::schema(json!({"type": "string", "minLength": 1}), part).optional()),
            ("base64", Field::schema(json!({"type": "string", "contentEncoding": "base64"}), base64).optional()),
        ],
    );
    schema["oneOf"] = json!([{"required": ["part"]}, {"required": ["base64"]}]);
    schema
}

/// `size`.
pub(super) fn size() -> Value {
    let length = |what: &str| Field::number(&range::ORDERED, what).optional();
    let mut schema = object(
        "Size of the finished sticker: the bounding box of its outermost cut line before rotation, border included \
         (kiss cut: of the kiss cut, without its backing). Exactly one length; the other side follows from the art and the \
         border. Only a rectangle, rounded rectangle or ellipse may give both width and height. For a circle each of the \
         three is its diameter.",
        &[],
        vec![
            ("width_mm", length("Width.")),
            ("height_mm", length("Height.")),
            ("longest_mm", length("The longer side, whichever it is.")),
        ],
    );
    schema["minProperties"] = json!(1);
    schema["maxProperties"] = json!(2);
    schema["if"] = json!({"required": ["longest_mm"]});
    schema["then"] = json!({"maxProperties": 1});
    schema
}

//! An item's settings as they are used.

use serde_json::{Map, Value, json};

use crate::order::{
    ArtFit, Backdrop, BackdropRemove, Backing, Design, Fill, Inquiry, Outline, Page, Parts, Product, Rotate, Shape,
    Size, White,
};

/// Every setting that a product has, in the words of a request: `product`, `quantity`, `rotate`, then for a sticker `size`
/// (null when it was left out), `outline`, `backing` (kiss cuts only), `backdrop`, `white`, `accept`; for a sticker sheet
/// `page`, `fill` and `pieces` with those of each. What a shape does not have is not there. Art, ids and tags are no
/// settings.
pub(super) fn settings(inquiry: &Inquiry) -> Value {
    let mut item = Map::new();
    item.insert("product".to_owned(), json!(inquiry.product.word()));
    item.insert("quantity".to_owned(), json!(inquiry.quantity));
    item.insert("rotate".to_owned(), json!(rotate(inquiry.rotate)));
    match &inquiry.product {
        Product::DieCut(of) => design(&mut item, of, inquiry.sized),
        Product::KissCut(of, around) => {
            design(&mut item, of, inquiry.sized);
            item.insert("backing".to_owned(), backing(around));
        }
        Product::StickerSheet(page) => sheet(&mut item, page),
    }
    Value::Object(item)
}

fn design(into: &mut Map<String, Value>, design: &Design, sized: bool) {
    into.insert("size".to_owned(), if sized { size(design.size) } else { Value::Null });
    into.insert("outline".to_owned(), outline(&design.outline));
    into.insert("backdrop".to_owned(), backdrop(design.backdrop_used()));
    into.insert("white".to_owned(), json!(white(design.white)));
    into.insert("accept".to_owned(), json!(design.accept.0));
}

fn sheet(into: &mut Map<String, Value>, page: &Page) {
    let pieces = page.pieces.iter().map(|piece| {
        let mut of = Map::new();
        of.insert("piece".to_owned(), json!(piece.piece));
        of.insert("copies".to_owned(), json!(piece.copies));
        design(&mut of, &piece.design, true);
        Value::Object(of)
    });
    into.insert("pieces".to_owned(), pieces.collect());
    into.insert(
        "page".to_owned(),
        json!({
            "width_mm": page.width.mm(),
            "height_mm": page.height.mm(),
            "corner_radius_mm": page.corner_radius.mm(),
            "gap_mm": page.gap.mm(),
        }),
    );
    let fill = match page.fill {
        Fill::None => json!({"with": "none"}),
        Fill::SmallerCopies { smallest } => json!({"with": "smaller_copies", "smallest_mm": smallest.mm()}),
    };
    into.insert("fill".to_owned(), fill);
}

fn size(size: Size) -> Value {
    match size {
        Size::Width(width) => json!({"width_mm": width.mm()}),
        Size::Height(height) => json!({"height_mm": height.mm()}),
        Size::Longest(longest) => json!({"longest_mm": longest.mm()}),
        Size::Both { width, height } => json!({"width_mm": width.mm(), "height_mm": height.mm()}),
    }
}

/// A shape's word and measures.
fn shape(into: &mut Map<String, Value>, shape: Shape) {
    let word = match shape {
        Shape::Contour => "contour",
        Shape::Rectangle => "rectangle",
        Shape::RoundedRectangle { .. } => "rounded_rectangle",
        Shape::Circle => "circle",
        Shape::Ellipse => "ellipse",
    };
    into.insert("shape".to_owned(), json!(word));
    if let Shape::RoundedRectangle { corner_radius } = shape {
        into.insert("corner_radius_mm".to_owned(), json!(corner_radius.mm()));
    }
}

fn outline(outline: &Outline) -> Value {
    let mut of = Map::new();
    shape(&mut of, outline.shape);
    of.insert("border_mm".to_owned(), json!(outline.border.mm()));
    of.insert("border_colour".to_owned(), json!(outline.border_colour.to_string()));
    if outline.shape == Shape::Contour {
        let keep = outline.keep_holes_wider_than.map(|width| width.mm());
        of.insert("keep_holes_wider_than_mm".to_owned(), json!(keep));
    } else {
        let fit = match outline.art_fit {
            ArtFit::Contain => "contain",
            ArtFit::Cover => "cover",
        };
        of.insert("art_fit".to_owned(), json!(fit));
    }
    let parts = match outline.parts {
        Parts::Join => "join",
        Parts::Separate => "separate",
        Parts::SetAside => "set_aside",
    };
    of.insert("parts".to_owned(), json!(parts));
    Value::Object(of)
}

fn backing(backing: &Backing) -> Value {
    let mut of = Map::new();
    shape(&mut of, backing.shape);
    of.insert("margin_mm".to_owned(), json!(backing.margin.mm()));
    of.insert("colour".to_owned(), json!(backing.colour.map(|colour| colour.to_string())));
    Value::Object(of)
}

fn backdrop(backdrop: Backdrop) -> Value {
    let remove = match backdrop.remove {
        BackdropRemove::Auto => "auto",
        BackdropRemove::Always => "always",
        BackdropRemove::Never => "never",
    };
    json!({"remove": remove, "tolerance_delta_e": backdrop.tolerance_delta_e})
}

fn white(white: White) -> &'static str {
    match white {
        White::All => "all",
        White::Art => "art",
        White::None => "none",
    }
}

fn rotate(rotate: Rotate) -> &'static str {
    match rotate {
        Rotate::Free => "free",
        Rotate::QuarterTurns => "quarter_turns",
        Rotate::HalfTurns => "half_turns",
        Rotate::None => "none",
    }
}

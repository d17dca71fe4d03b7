//! A stock, a policy and an item as the contract writes them, complete.

mod item;

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::order::{
    AtHand, CutLinesInPrint, Face, FeedEdge, Form, Inquiry, LabelPlace, Layer, Margins, Policy, RegisterMarks, Stock,
    Thresholds,
};

/// A stock with every field.
pub fn stock(stock: &Stock) -> Value {
    json!({
        "stock": stock.stock,
        "form": form(&stock.form),
        "margins_mm": margins(&stock.margins),
        "unprintable_mm": margins(&stock.unprintable),
        "feed_edge": feed_edge(stock.feed_edge),
        "gutter_mm": stock.gutter.mm(),
        "bleed_mm": stock.bleed.mm(),
        "face": face(stock.face),
        "finish": stock.finish,
        "register_marks": stock.register_marks.as_ref().map_or_else(|| json!("none"), register_marks),
        "label": match stock.label { LabelPlace::Margin => "margin", LabelPlace::None => "none" },
        "cut_lines_in_print": match stock.cut_lines_in_print {
            CutLinesInPrint::None => "none",
            CutLinesInPrint::Separations => "separations",
        },
        "layers": {
            "kiss": layer(&stock.layers.kiss),
            "through": layer(&stock.layers.through),
            "white": layer(&stock.layers.white),
        },
        "colour": stock.colour.word(),
        "print_ppi": stock.print_ppi.ppi(),
        "print_scale": {"x": 1.0, "y": 1.0},
        "cutting": {
            "minimum_width_mm": stock.cutting.minimum_width.mm(),
            "bridge_reach_mm": stock.cutting.bridge_reach.map(|reach| reach.mm()),
            "inside_radius_mm": stock.cutting.inside_radius.mm(),
            "outside_radius_mm": stock.cutting.outside_radius.mm(),
            "speck_mm": stock.cutting.speck.mm(),
            "nick_mm": null,
        },
        "underbase": {"choke_mm": stock.underbase.choke.mm(), "threshold": stock.underbase.threshold},
        "available": stock.available.map(at_hand),
        "start_offset_mm": 0.0,
    })
}

/// A policy with every field; fillers by their item ids, because their art is not repeated.
pub fn policy(policy: &Policy) -> Value {
    let fillers: Vec<Value> = policy
        .fill_offcuts_with
        .iter()
        .map(|filler| json!({"item": filler.item.item, "at_most": filler.item.quantity}))
        .collect();
    json!({
        "effort": policy.effort.word(),
        "time_budget_ms": policy.time_budget_ms,
        "seed": policy.seed,
        "keep_orders_together": policy.keep_orders_together,
        "overs_percent": 0,
        "order_tags": false,
        "fill_offcuts_with": fillers,
    })
}

/// The settings of an item that somebody asks about, in the words of a request.
pub fn inquiry(inquiry: &Inquiry) -> Value {
    item::settings(inquiry)
}

/// Thresholds of preflight by their names.
pub fn thresholds(thresholds: &Thresholds) -> BTreeMap<&'static str, f64> {
    thresholds.values().into_iter().collect()
}

fn form(form: &Form) -> Value {
    match form {
        Form::Sheet { media: Some(name), .. } => json!({"sheet": {"size": name}}),
        Form::Sheet { width, height, media: None } => {
            json!({"sheet": {"width_mm": width.mm(), "height_mm": height.mm()}})
        }
        Form::Roll { width, max_length, section_length } => json!({"roll": {
            "width_mm": width.mm(),
            "max_length_mm": max_length.mm(),
            "section_length_mm": section_length.map(|length| length.mm()),
        }}),
    }
}

fn margins(margins: &Margins) -> Value {
    json!({
        "top": margins.top.mm(),
        "right": margins.right.mm(),
        "bottom": margins.bottom.mm(),
        "left": margins.left.mm(),
    })
}

fn feed_edge(edge: FeedEdge) -> &'static str {
    match edge {
        FeedEdge::Top => "top",
        FeedEdge::Right => "right",
        FeedEdge::Bottom => "bottom",
        FeedEdge::Left => "left",
    }
}

fn face(face: Face) -> &'static str {
    match face {
        Face::White => "white",
        Face::Clear => "clear",
        Face::Metallic => "metallic",
    }
}

fn register_marks(marks: &RegisterMarks) -> Value {
    let centres: Option<Vec<[f64; 2]>> =
        marks.at.as_ref().map(|at| at.iter().map(|centre| [centre.x, centre.y]).collect());
    json!({"shape": "disc", "diameter_mm": marks.diameter.mm(), "clear_mm": marks.clear.mm(), "at": centres})
}

fn at_hand(at_hand: AtHand) -> Value {
    match at_hand {
        AtHand::Sheets(sheets) => sheets.into(),
        AtHand::Length(length) => length.mm().into(),
    }
}

fn layer(layer: &Layer) -> Value {
    json!({"name": layer.name, "colour": layer.colour.to_string()})
}

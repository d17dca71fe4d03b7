//! The cut lines of a sheet as SVG.
//!
//! One user unit is one millimetre. Both cut groups are always there, empty or not, so that a cutter's import settings find
//! the layers that they were set up with. Coordinates have at most four decimals: a tenth of a micrometre.

use std::fmt::Write;

use super::svg::{number, path_data};
use crate::frame::Mark;
use crate::geom::{Affine, Rect};
use crate::order::Layer;
use crate::sheet::{Sheet, SheetCut};
use crate::units::Mm;

pub use crate::frame::layer_id;

/// Width of lines on screen; a cutter takes no notice of it.
const STROKE: Mm = Mm::of(0.1);

/// `cut.svg`: millimetres, same origin and size as the sheet.
pub fn write(sheet: &Sheet) -> String {
    let page = Rect::new(0.0, 0.0, sheet.frame.width.mm(), sheet.frame.height.mm());
    let mut svg = cuts(sheet, page);
    marks(&mut svg, &sheet.frame.marks);
    svg.push_str("</svg>\n");
    svg
}

/// `cut-window.svg` beside `sheet.png`: the same lines with the window as origin and size. Marks stand outside of it and are
/// left out.
pub fn write_window(sheet: &Sheet) -> String {
    let mut svg = cuts(sheet, sheet.frame.window);
    svg.push_str("</svg>\n");
    svg
}

/// The head and both cut groups, with a page's corner as origin.
fn cuts(sheet: &Sheet, page: Rect) -> String {
    let mut svg = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let (width, height) = (number(page.width()), number(page.height()));
    line(
        &mut svg,
        format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\">"
        ),
    );
    let (kiss, through) = sheet.cuts();
    let layers = &sheet.stock.layers;
    let to_page = Affine::translate((-page.x0, -page.y0));
    group(&mut svg, &layers.kiss, &kiss, to_page);
    group(&mut svg, &layers.through, &through, to_page);
    svg
}

fn group(svg: &mut String, layer: &Layer, cuts: &[SheetCut<'_>], to_page: Affine) {
    let id = layer_id(&layer.name);
    let stroke = format!("fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"", layer.colour, number(STROKE.mm()));
    line(svg, format_args!("  <g id=\"{id}\" {stroke}>"));
    if id != layer.name {
        line(svg, format_args!("    <title>{}</title>", escaped(&layer.name)));
    }
    for cut in cuts {
        let path = path_data(&(to_page * cut.line.path()));
        line(svg, format_args!("    <path id=\"{}\"{} d=\"{path}\"/>", cut.id, data(cut)));
    }
    svg.push_str("  </g>\n");
}

/// Whose line it is; what nobody ordered has no order.
fn data(cut: &SheetCut<'_>) -> String {
    let placement = cut.placement;
    let copy = placement.copy.to_string();
    let said = [
        ("order", placement.order.as_deref()),
        ("item", placement.item.as_deref()),
        ("copy", Some(copy.as_str())),
        ("piece", cut.piece),
    ];
    said.iter().filter_map(|(name, value)| value.map(|value| format!(" data-{name}=\"{}\"", escaped(value)))).collect()
}

fn marks(svg: &mut String, marks: &[Mark]) {
    svg.push_str("  <g id=\"Marks\" fill=\"#000000\" stroke=\"none\">\n");
    for mark in marks {
        let (x, y, r) = (number(mark.centre.x), number(mark.centre.y), number(mark.diameter.mm() / 2.0));
        line(svg, format_args!("    <circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>"));
    }
    svg.push_str("  </g>\n");
}

/// For attributes and text (XML 1.0, 2.4). Characters that XML does not allow cannot be written at all and become U+FFFD.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push_str(&format!("&#{};", c as u32)),
            '\u{0}'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

fn line(svg: &mut String, text: std::fmt::Arguments<'_>) {
    // Writing to a string does not fail.
    let _ = writeln!(svg, "{text}");
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use resvg::usvg::roxmltree::Document;

    use super::*;
    use crate::sheet::tests::{die_cut, kiss_cut, sheet_of, sticker_sheet};

    fn parsed(svg: &str) -> Document<'_> {
        Document::parse(svg).expect("well-formed XML")
    }

    #[test]
    fn file_has_the_sheets_size_in_millimetres_and_absolute_closed_single_paths() {
        let sheet = sheet_of(vec![die_cut(60.0, 40.0, 33.0), kiss_cut(100.0, 120.0), sticker_sheet(100.0, 200.0)]);
        let svg = write(&sheet);
        let document = parsed(&svg);
        let root = document.root_element();
        assert_eq!((root.attribute("width"), root.attribute("height")), (Some("215.9mm"), Some("279.4mm")));
        assert_eq!(root.attribute("viewBox"), Some("0 0 215.9 279.4"));
        let mut ids = BTreeSet::new();
        for path in document.descendants().filter(|node| node.has_tag_name("path")) {
            let data = path.attribute("d").expect("data");
            assert!(data.chars().all(|c| "MLCZ -.0123456789".contains(c)), "{data}");
            assert_eq!((data.matches('M').count(), data.matches('Z').count()), (1, 1));
            assert!(data.starts_with('M') && data.ends_with('Z'));
            assert!(ids.insert(path.attribute("id").expect("an id").to_owned()));
        }
        assert_eq!(ids.len(), 2 + 2 + 3);
        assert!(!svg.contains("transform"));
        let groups: Vec<_> = root.children().filter_map(|node| node.attribute("id")).collect();
        assert_eq!(groups, ["PartialCutting", "Cutting", "Marks"]);
    }

    #[test]
    fn ids_of_orders_with_markup_and_odd_scripts_come_back_unharmed() {
        let mut sheet = sheet_of(vec![die_cut(60.0, 40.0, 0.0)]);
        let odd = "\"<&>'\u{202E}أ🦊\u{200F}";
        sheet.placements[0].order = Some(odd.to_owned());
        let mut stock = (*sheet.stock).clone();
        stock.layers.through.name = "Knife <2> & more".to_owned();
        sheet.stock = stock.into();
        let svg = write(&sheet);
        let document = parsed(&svg);
        let path = document.descendants().find(|node| node.has_tag_name("path")).expect("one path");
        assert_eq!(path.attribute("data-order"), Some(odd));
        let group = path.parent().expect("a group");
        assert_eq!(group.attribute("id"), Some("Knife__2____more"));
        let title = group.children().find(|node| node.has_tag_name("title")).and_then(|node| node.text());
        assert_eq!(title, Some("Knife <2> & more"));
    }

    #[test]
    fn fillers_have_no_order_and_pieces_are_named() {
        let mut sheet = sheet_of(vec![die_cut(60.0, 40.0, 0.0), sticker_sheet(100.0, 150.0)]);
        (sheet.placements[0].order, sheet.placements[0].filler) = (None, true);
        let svg = write(&sheet);
        let document = parsed(&svg);
        let by_id = |id: &str| document.descendants().find(|node| node.attribute("id") == Some(id)).expect("there");
        assert!(!by_id("p1-through").has_attribute("data-order"));
        assert_eq!(by_id("p1-through").attribute("data-copy"), Some("1"));
        assert_eq!(by_id("p2-kiss-1").attribute("data-piece"), Some("fox"));
    }

    #[test]
    fn window_file_has_the_windows_origin() {
        let sheet = sheet_of(vec![die_cut(60.0, 40.0, 0.0)]);
        let (whole, window) = (write(&sheet), write_window(&sheet));
        let start = |svg: &str| {
            let document = parsed(svg);
            let path = document.descendants().find(|node| node.has_tag_name("path")).expect("one path");
            let data = path.attribute("d").expect("data")[1..].to_owned();
            let numbers: Vec<f64> = data.split(' ').take(2).map(|text| text.parse().expect("a number")).collect();
            (numbers[0], numbers[1])
        };
        let ((x0, y0), (x1, y1)) = (start(&whole), start(&window));
        assert!((x0 - x1 - 16.0).abs() < 2e-4 && (y0 - y1 - 16.0).abs() < 2e-4);
        assert!(window.contains("width=\"183.9mm\"") && !window.contains("Marks"));
    }

    #[test]
    fn numbers_are_short_and_plain() {
        assert_eq!([12.0, 0.1, -0.00001, 1234.56789, -3.5].map(number), ["12", "0.1", "0", "1234.5679", "-3.5"]);
    }
}

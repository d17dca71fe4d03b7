//! The list, read back with the parser of `lopdf` and by what stands in its fonts.

use std::sync::Arc;

use lopdf::Document as Read;

use super::*;
use crate::geom::{CutLine, Pose, Ring};
use crate::order::{CutLinesInPrint, Face, media_size};
use crate::output::pdf::specimen::{placement, print, sheet, star, sticker, stock};
use crate::sticker::{Cut, Sticker};

fn starry(points: usize, outer: f64, inner: f64) -> Arc<Sticker> {
    let round = sticker(&print(8, [90, 90, 90], false), outer * 2.0);
    let ring: Ring = star(points, outer, inner);
    let line = CutLine::polygon(&ring).expect("a star");
    Arc::new(Sticker { outermost: vec![ring], through: vec![Cut { line, piece: None }], ..(*round).clone() })
}

/// Sheets of 48 stickers of 14 orders, the last order's id as wild as ids may be.
fn run(sheets: u32) -> Vec<Sheet> {
    let shapes =
        [sticker(&print(8, [9, 9, 9], false), 14.0), starry(5, 8.5, 4.0), starry(9, 8.0, 6.5), starry(3, 9.0, 5.0)];
    let wild = "<b>🦊\u{202E}\u{200F} Ωmega-1042-a-very-long-order-number-that-never-ends</b>";
    let one = |number: u32| {
        let placements = (0..48u32).map(|n| {
            let order = (n / 4 + number * 5) % 14;
            let order = if order == 13 { wild.to_owned() } else { (1042 + order).to_string() };
            let pose = Pose::new(26.0 + f64::from(n % 6) * 19.0, 27.0 + f64::from(n / 6) * 21.0, f64::from(n) * 23.0);
            let mut one = placement(n + 1, &order, &shapes[n as usize % 4], pose);
            one.item = Some((n % 3 + 1).to_string());
            one.tags = vec!["fox".to_owned(), "christmas market 2026".to_owned()];
            one.product = ["die_cut", "kiss_cut", "sticker_sheet"][n as usize % 3];
            one.filler = n > 45;
            one
        });
        let mut sheet = sheet(stock(Face::White, CutLinesInPrint::None), placements.collect());
        (sheet.number, sheet.of) = (number, sheets);
        sheet
    };
    (1..=sheets).map(one).collect()
}

fn set_aside() -> Vec<SetAsideLine> {
    let why = "The picture falls into 4 parts too far apart to be held together by a border. Move the parts closer \
               together, widen the border, or have each part cut by itself.";
    vec![
        SetAsideLine { order: "1043".to_owned(), item: "2".to_owned(), copies: 3, why: why.to_owned() },
        SetAsideLine { order: "2000".to_owned(), item: "1".to_owned(), copies: 100_000, why: why.to_owned() },
        SetAsideLine { order: String::new(), item: "wave".to_owned(), copies: 20, why: "No room was left.".to_owned() },
    ]
}

fn written(sheets: &[Sheet], paper: &str) -> Vec<u8> {
    write(sheets, &set_aside(), media_size(paper).expect("a paper size")).expect("a file")
}

fn page_count(bytes: &[u8]) -> usize {
    Read::load_mem(bytes).expect("a PDF").get_pages().len()
}

#[test]
fn every_paper_size_has_a_page_for_each_sheet_and_a_summary() {
    for paper in ["iso_a4_210x297mm", "na_letter_8.5x11in", "iso_a5_148x210mm"] {
        assert!(page_count(&written(&run(2), paper)) >= 3, "{paper}");
    }
}

#[test]
fn few_orders_share_the_page_with_the_sheet() {
    let mut sheets = run(1);
    for placement in &mut sheets[0].placements {
        placement.order = Some(if placement.placement < 30 { "1042" } else { "Ünal & Söhne, №7" }.to_owned());
        placement.item = Some("1".to_owned());
    }
    assert_eq!(page_count(&written(&sheets, "na_letter_8.5x11in")), 2, "one for the sheet, one for the summary");
}

#[test]
fn same_run_gives_the_same_bytes() {
    assert!(written(&run(2), "iso_a4_210x297mm") == written(&run(2), "iso_a4_210x297mm"));
}

#[test]
fn paper_too_small_for_anything_still_ends() {
    let bytes = write(&run(1), &set_aside(), (Mm::of(30.0), Mm::of(20.0))).expect("a file");
    assert!(page_count(&bytes) > 3);
}

#[test]
fn run_in_which_nothing_was_placed_has_its_summary() {
    assert_eq!(page_count(&written(&[], "iso_a4_210x297mm")), 1);
}

#[test]
fn long_tables_go_on_over_pages() {
    let mut sheets = run(1);
    for (n, placement) in (0..).zip(&mut sheets[0].placements) {
        placement.order = Some(format!("order-{n}"));
        placement.filler = false;
    }
    let few = page_count(&written(&run(1), "iso_a4_210x297mm"));
    assert!(page_count(&written(&sheets, "iso_a4_210x297mm")) > few);
}

#[test]
fn text_can_be_read_back() {
    let document = Read::load_mem(&written(&run(1), "iso_a4_210x297mm")).expect("a PDF");
    let fonts: Vec<_> = document
        .objects
        .values()
        .filter_map(|object| object.as_dict().ok())
        .filter(|dict| dict.get(b"Subtype").and_then(lopdf::Object::as_name).is_ok_and(|name| name == b"Type0"))
        .collect();
    assert_eq!(fonts.len(), 2, "regular and bold");
    for font in fonts {
        let map = font.get_deref(b"ToUnicode", &document).and_then(lopdf::Object::as_stream).expect("a map");
        let map = String::from_utf8(map.get_plain_content().expect("a map")).expect("text");
        // The "e" of Sheet, in bold, and of Size: its code leads back to U+0065.
        assert!(map.contains("> <0065>\n"), "{map}");
    }
}

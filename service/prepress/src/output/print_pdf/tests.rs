//! What the file says, read back with the parser of `lopdf`.

use std::sync::Arc;

use lopdf::content::Content;
use lopdf::{Dictionary, Document as Read, Object};

use super::*;
use crate::geom::{Point, Pose};
use crate::order::{Face, Stock};
use crate::output::pdf::specimen::{circle, placement, points_of, print, sheet, sticker, stock};
use crate::units::Mm;

/// Two designs in 50 placements, turned, and one clipped.
fn fifty(stock: Stock) -> Sheet {
    let white = stock.face.takes_white_ink();
    let (fox, owl) = (print(60, [200, 90, 20], white), print(48, [30, 80, 160], white));
    let (big, small) = (sticker(&fox, 14.0), sticker(&owl, 12.0));
    let mut placements: Vec<_> = (0..50)
        .map(|n: u32| {
            let pose = Pose::new(25.0 + f64::from(n % 6) * 17.0, 28.0 + f64::from(n / 6) * 17.0, f64::from(n) * 7.3);
            placement(
                n + 1,
                if n.is_multiple_of(2) { "1042" } else { "1043" },
                if n.is_multiple_of(2) { &big } else { &small },
                pose,
            )
        })
        .collect();
    placements[7].clip = Some(circle(placements[7].pose.x_mm, placements[7].pose.y_mm, 5.0));
    sheet(stock, placements)
}

/// What stands on a sheet, without the sheet stage.
fn contents(sheet: &Sheet) -> Contents {
    let marks = sheet.frame.marks.iter().map(|mark| circle(mark.centre.x, mark.centre.y, 2.5)).collect();
    let furniture = Furniture { marks, lettering: vec![circle(74.0, 203.0, 1.0)] };
    let on = sheet.stock.cut_lines_in_print == CutLinesInPrint::Separations;
    let lines = |kiss: bool| -> Vec<BezPath> {
        let placed = sheet.placements.iter().filter(|_| on).flat_map(|placement| {
            let cuts = if kiss { &placement.sticker.kiss } else { &placement.sticker.through };
            cuts.iter().map(|cut| cut.line.transformed(placement.pose.to_affine()).path().clone())
        });
        placed.collect()
    };
    Contents { furniture, kiss: lines(true), through: lines(false) }
}

fn written(sheet: &Sheet) -> Vec<u8> {
    compose(sheet, &contents(sheet)).expect("a file")
}

fn page(document: &Read) -> Dictionary {
    let id = document.page_iter().next().expect("a page");
    document.get_dictionary(id).expect("a page").clone()
}

fn named(document: &Read, kind: &[u8]) -> Dictionary {
    let page = page(document);
    let resources = page.get_deref(b"Resources", document).and_then(Object::as_dict).expect("resources");
    resources.get_deref(kind, document).and_then(Object::as_dict).cloned().unwrap_or_default()
}

fn operations(document: &Read) -> Vec<lopdf::content::Operation> {
    let id = document.page_iter().next().expect("a page");
    Content::decode(&document.get_page_content(id)).expect("operators").operations
}

#[test]
fn every_page_box_is_the_sheet_to_a_hundredth_of_a_millimetre() {
    let document = Read::load_mem(&written(&fifty(stock(Face::White, CutLinesInPrint::None)))).expect("a PDF");
    assert_eq!(document.version, "1.6");
    for key in ["MediaBox", "TrimBox", "CropBox", "BleedBox"] {
        let corners = page(&document).get(key.as_bytes()).and_then(Object::as_array).expect("a box").clone();
        let mm: Vec<f64> = corners.iter().map(|v| f64::from(v.as_float().expect("a number")) / 72.0 * 25.4).collect();
        for (measured, sheet) in mm.iter().zip([0.0, 0.0, 148.0, 210.0]) {
            assert!((measured - sheet).abs() < 0.001, "{key}: {mm:?}");
        }
    }
    assert!(page(&document).get(b"UserUnit").is_err());
}

#[test]
fn longest_roll_fits_the_largest_page() {
    let mut long = fifty(stock(Face::White, CutLinesInPrint::Separations));
    long.frame.height = Mm::of(5080.0);
    long.placements[0].pose = Pose::new(74.0, 5000.0, 33.3);
    let document = Read::load_mem(&compose(&long, &contents(&long)).expect("a file")).expect("a PDF");
    let corners = page(&document).get(b"MediaBox").and_then(Object::as_array).expect("a box").clone();
    assert!((corners[3].as_float().expect("a number") - 14400.0).abs() < 1e-3);
}

#[test]
fn fifty_placements_of_two_designs_embed_two_pictures() {
    let sheet = fifty(stock(Face::White, CutLinesInPrint::None));
    let document = Read::load_mem(&written(&sheet)).expect("a PDF");
    let pictures = named(&document, b"XObject");
    assert_eq!(pictures.len(), 2);
    let is_picture = |object: &&Object| {
        object
            .as_stream()
            .is_ok_and(|stream| stream.dict.get(b"Subtype").and_then(Object::as_name).ok() == Some(b"Image"))
    };
    assert_eq!(document.objects.values().filter(is_picture).count(), 4, "two colours, two masks");
    assert_eq!(operations(&document).iter().filter(|operation| operation.operator == "Do").count(), 50);
    let fox = pictures.get_deref(b"P1", &document).and_then(Object::as_stream).expect("a picture");
    assert_eq!(fox.content, sheet.placements[0].sticker.prints[0].print.colour.data());
}

#[test]
fn equal_pictures_made_apart_are_embedded_once() {
    let (one, other) = (print(20, [9, 9, 9], false), print(20, [9, 9, 9], false));
    let places = [&one, &other].map(|print| placement(1, "1", &sticker(print, 10.0), Pose::new(50.0, 50.0, 0.0)));
    let sheet = sheet(stock(Face::White, CutLinesInPrint::None), places.to_vec());
    let document = Read::load_mem(&compose(&sheet, &contents(&sheet)).expect("a file")).expect("a PDF");
    assert_eq!(named(&document, b"XObject").len(), 1);
}

#[test]
fn same_sheet_gives_the_same_bytes() {
    // Made anew, so that addresses differ.
    let bytes = || written(&fifty(stock(Face::Clear, CutLinesInPrint::Separations)));
    let (first, second) = (bytes(), bytes());
    assert!(first == second);
    assert!(!first.windows(6).any(|window| window == b"quoin-"), "the place of the ID was filled");
}

#[test]
fn print_without_separations_has_no_cut_line_and_no_layer() {
    let document = Read::load_mem(&written(&fifty(stock(Face::White, CutLinesInPrint::None)))).expect("a PDF");
    assert!(named(&document, b"ColorSpace").is_empty());
    assert!(document.catalog().expect("a catalog").get(b"OCProperties").is_err());
    assert!(
        !operations(&document).iter().any(|operation| ["S", "s", "CS", "SCN", "BDC"].contains(&&*operation.operator))
    );
}

#[test]
fn separations_are_named_like_their_layers_and_stroked_with_overprint() {
    let mut shop = stock(Face::White, CutLinesInPrint::Separations);
    shop.layers.kiss.name = "Halb schnitt/é".to_owned();
    let document = Read::load_mem(&written(&fifty(shop))).expect("a PDF");
    let spaces = named(&document, b"ColorSpace");
    let name = |key: &[u8]| {
        let space = spaces.get_deref(key, &document).and_then(Object::as_array).expect("a colour space");
        assert_eq!(space[0].as_name().ok(), Some(&b"Separation"[..]));
        String::from_utf8(space[1].as_name().expect("a name").to_vec()).expect("UTF-8")
    };
    assert_eq!((name(b"Kiss"), name(b"Through")), ("Halb schnitt/é".to_owned(), "Cutting".to_owned()));
    assert!(spaces.get(b"White").is_err());
    let operations = operations(&document);
    let strokes = operations.iter().filter(|operation| operation.operator == "S").count();
    assert_eq!(strokes, 100, "one path for each line");
    let over = named(&document, b"ExtGState");
    let over = over.get_deref(b"Over", &document).and_then(Object::as_dict).expect("a state");
    assert!(over.get(b"OP").and_then(Object::as_bool).is_ok_and(|on| on));
    assert!(over.get(b"op").and_then(Object::as_bool).is_ok_and(|on| on));
    let first = operations.iter().position(|operation| operation.operator == "S").expect("a stroke");
    assert!(operations[..first].iter().any(|operation| operation.operator == "gs"));
}

#[test]
fn layers_carry_their_processing_steps() {
    let document = Read::load_mem(&written(&fifty(stock(Face::Clear, CutLinesInPrint::Separations)))).expect("a PDF");
    let properties = document.catalog().expect("a catalog").get_deref(b"OCProperties", &document);
    let groups = properties.and_then(Object::as_dict).and_then(|dict| dict.get(b"OCGs")).and_then(Object::as_array);
    let mut steps = Vec::new();
    for group in groups.expect("groups") {
        let (_, group) = document.dereference(group).expect("a group");
        let group = group.as_dict().expect("a group");
        let text = |dict: &Dictionary, key: &[u8]| {
            dict.get(key).and_then(Object::as_name).map(|name| String::from_utf8_lossy(name).into_owned()).ok()
        };
        let step = group.get(b"GTS_Metadata").and_then(Object::as_dict).expect("ISO 19593-1");
        assert!(group.get(b"Usage").is_err());
        steps.push((text(step, b"GTS_ProcStepsGroup").expect("a group"), text(step, b"GTS_ProcStepsType")));
    }
    let structural = |kind: &str| ("Structural".to_owned(), Some(kind.to_owned()));
    assert_eq!(steps, [("White".to_owned(), None), structural("PartialCutting"), structural("Cutting")]);
}

#[test]
fn white_is_painted_before_all_art_and_art_overprints_it() {
    let document = Read::load_mem(&written(&fifty(stock(Face::Metallic, CutLinesInPrint::None)))).expect("a PDF");
    let operations = operations(&document);
    let painted: Vec<String> = operations
        .iter()
        .filter(|operation| operation.operator == "Do")
        .map(|operation| String::from_utf8_lossy(operation.operands[0].as_name().expect("a name")).into_owned())
        .collect();
    assert!(
        painted[..50].iter().all(|name| name.starts_with('W'))
            && painted[50..].iter().all(|name| name.starts_with('P'))
    );
    let art = operations.iter().rposition(|operation| operation.operator == "EMC").expect("a layer");
    assert!(operations[art..].iter().find(|operation| operation.operator == "gs").is_some());
    let white = named(&document, b"XObject");
    let white = white.get_deref(b"W1", &document).and_then(Object::as_stream).expect("a picture");
    assert!(white.dict.get(b"SMask").is_ok() && white.content == [255]);
}

#[test]
fn cut_lines_keep_their_curves_to_a_thousandth_of_a_millimetre() {
    let sheet = fifty(stock(Face::White, CutLinesInPrint::Separations));
    let document = Read::load_mem(&written(&sheet)).expect("a PDF");
    let operations = operations(&document);
    let start = operations.iter().position(|operation| operation.operator == "CS").expect("a cut line");
    let drawn: Vec<Point> = operations[start..]
        .iter()
        .filter(|operation| ["m", "l", "c"].contains(&&*operation.operator))
        .flat_map(|operation| {
            let mm: Vec<f64> =
                operation.operands.iter().map(|v| f64::from(v.as_float().expect("a number")) / 72.0 * 25.4).collect();
            mm.chunks(2).map(|pair| Point::new(pair[0], 210.0 - pair[1])).collect::<Vec<_>>()
        })
        .collect();
    let contents = contents(&sheet);
    let asked: Vec<Point> = contents.kiss.iter().chain(&contents.through).flat_map(points_of).collect();
    assert_eq!(drawn.len(), asked.len());
    let worst = drawn.iter().zip(&asked).map(|(a, b)| a.distance(*b)).fold(0.0, f64::max);
    assert!(worst < 0.001, "{worst} mm");
}

#[test]
fn clipped_placement_paints_inside_its_clip_only() {
    let document = Read::load_mem(&written(&fifty(stock(Face::White, CutLinesInPrint::None)))).expect("a PDF");
    let operations = operations(&document);
    let clip = operations.iter().position(|operation| operation.operator == "W").expect("a clip");
    let painted = operations[..clip].iter().filter(|operation| operation.operator == "Do").count();
    assert_eq!(painted, 7, "the eighth placement is clipped");
    let mut nothing_left = fifty(stock(Face::White, CutLinesInPrint::None));
    nothing_left.placements[7].clip = Some(BezPath::new());
    let document = Read::load_mem(&compose(&nothing_left, &contents(&nothing_left)).expect("a file")).expect("a PDF");
    assert_eq!(self::operations(&document).iter().filter(|operation| operation.operator == "Do").count(), 49);
}

#[test]
fn document_says_what_it_is_and_that_it_must_not_be_scaled() {
    let document = Read::load_mem(&written(&fifty(stock(Face::White, CutLinesInPrint::None)))).expect("a PDF");
    let catalog = document.catalog().expect("a catalog");
    let wishes = catalog.get_deref(b"ViewerPreferences", &document).and_then(Object::as_dict).expect("wishes");
    assert_eq!(wishes.get(b"PrintScaling").and_then(Object::as_name).ok(), Some(&b"None"[..]));
    let info = document.trailer.get(b"Info").and_then(Object::as_reference).expect("info");
    let info = document.get_dictionary(info).expect("info");
    let says = |key: &[u8]| String::from_utf8_lossy(info.get(key).and_then(Object::as_str).expect("text")).into_owned();
    assert_eq!(says(b"Title"), "tuesday-night / sheet 1");
    assert_eq!(says(b"Producer"), "Quoin");
    assert_eq!(says(b"Keywords"), "fox");
    assert_eq!(says(b"CreationDate"), "D:20261125200509+01'00'");
}

#[test]
fn sheet_with_nothing_on_it_is_still_a_page() {
    let empty = sheet(stock(Face::Clear, CutLinesInPrint::Separations), Vec::new());
    let none = Contents {
        furniture: Furniture { marks: Vec::new(), lettering: Vec::new() },
        kiss: Vec::new(),
        through: Vec::new(),
    };
    let document = Read::load_mem(&compose(&empty, &none).expect("a file")).expect("a PDF");
    assert!(named(&document, b"ColorSpace").get(b"White").is_ok());
    assert_eq!(Arc::strong_count(&empty.stock), 1);
}

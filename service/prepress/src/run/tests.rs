//! One item asked about, and the same item in a run.

use std::io::{self, Cursor};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use image::{ImageFormat, Rgba, RgbaImage};

use super::*;
use crate::finding::{Code, Severity};
use crate::order::{
    ArtFile, ArtInput, Backing, Design, Effort, Fill, Ground, Inquiry, Item, Order, Page, Piece, Policy, Product,
    ProofDrawing, Rotate, Shape, Size, Stock, Thresholds, View,
};
use crate::outline::samples;
use crate::output::report::Verdict;
use crate::units::Mm;

struct Nowhere;

impl Store for Nowhere {
    fn put(&self, _: &str, _: &[u8]) -> io::Result<()> {
        Ok(())
    }
}

fn png(picture: &RgbaImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// Discs (x, y, radius) in pixels on a transparent ground.
fn discs(width: u32, height: u32, discs: &[(f64, f64, f64)], colour: [u8; 3]) -> Vec<u8> {
    png(&RgbaImage::from_fn(width, height, |x, y| {
        let inside = |disc: &(f64, f64, f64)| disc.2 - (f64::from(x) + 0.5 - disc.0).hypot(f64::from(y) + 0.5 - disc.1);
        let deepest = discs.iter().map(inside).fold(f64::NEG_INFINITY, f64::max);
        let [r, g, b] = colour;
        Rgba([r, g, b, ((deepest + 0.5).clamp(0.0, 1.0) * 255.0) as u8])
    }))
}

fn one_disc() -> Vec<u8> {
    discs(400, 400, &[(200.0, 200.0, 190.0)], [200, 30, 30])
}

/// Two discs far apart.
fn two_discs() -> Vec<u8> {
    discs(600, 300, &[(60.0, 150.0, 55.0), (540.0, 150.0, 55.0)], [30, 30, 200])
}

fn design(bytes: &[u8], longest: f64) -> Design {
    let sample = samples::design(Shape::Contour, Size::Longest(Mm::of(longest)), 2.0);
    Design { art: ArtInput::Bytes(Arc::from(bytes)), ..sample }
}

fn asked(product: Product) -> Inquiry {
    Inquiry {
        product,
        quantity: 1,
        rotate: Rotate::Free,
        stock: samples::stock(),
        sized: true,
        thresholds: Thresholds::default(),
    }
}

fn die_cut(bytes: &[u8], longest: f64) -> Inquiry {
    asked(Product::DieCut(design(bytes, longest)))
}

fn report(inquiry: &Inquiry) -> crate::output::report::Report {
    preflight(inquiry, &Limits::default(), &Cancel::new()).unwrap()
}

fn proved(inquiry: &Inquiry, view: &View) -> Proof {
    proof(inquiry, view, ProofDrawing::Png, &Limits::default(), &Cancel::new()).unwrap()
}

fn digest(inquiry: &Inquiry) -> String {
    proved(inquiry, &View { longest_px: 64, ..View::default() }).digest
}

/// One order of these items on one stock, of which no files are written.
fn draft_of(stock: Stock, items: Vec<Item>) -> Job {
    Job {
        run: "r".to_owned(),
        date: None,
        stocks: vec![stock],
        orders: vec![Order { order: "1".to_owned(), due: None, items }],
        policy: Policy {
            effort: Effort::Draft,
            time_budget_ms: None,
            seed: 1,
            keep_orders_together: true,
            fill_offcuts_with: Vec::new(),
        },
        report_size: (Mm::of(210.0), Mm::of(297.0)),
        outputs: Vec::new(),
        thresholds: Thresholds::default(),
    }
}

fn item_of(inquiry: &Inquiry, number: usize, quantity: u32, approved: Option<String>) -> Item {
    Item {
        item: number.to_string(),
        quantity,
        product: inquiry.product.clone(),
        rotate: inquiry.rotate,
        stock: 0,
        tags: Vec::new(),
        approved,
    }
}

/// The inquired item as the only one of a run at `draft`.
fn run_of(inquiry: &Inquiry, quantity: u32, approved: Option<String>) -> Result<Ticket, Fault> {
    let job = draft_of(inquiry.stock.clone(), vec![item_of(inquiry, 1, quantity, approved)]);
    let hooks = Hooks { progress: &|_| (), out_of_time: &|| false, cancel: &Cancel::new() };
    gang(&job, &Limits::default(), &Nowhere, hooks)
}

fn codes(findings: &[crate::finding::Finding]) -> Vec<&'static str> {
    findings.iter().map(|finding| finding.code.as_str()).collect()
}

#[test]
fn a_broken_picture_is_a_report_and_no_proof() {
    let inquiry = die_cut(b"no picture at all, only words", 60.0);
    let report = report(&inquiry);
    assert_eq!((report.verdict, report.finished), (Verdict::Reject, None));
    assert_eq!(report.measures, crate::preflight::Measures::default());
    let refused = proof(&inquiry, &View::default(), ProofDrawing::Png, &Limits::default(), &Cancel::new());
    let Err(Fault::NoSticker { findings }) = refused else { panic!("there is nothing to draw") };
    assert_eq!(codes(&findings), ["art.unsupported"]);
}

#[test]
fn of_an_empty_picture_is_told_what_it_is() {
    let empty = report(&die_cut(&png(&RgbaImage::new(60, 40)), 60.0));
    assert_eq!(codes(&empty.findings), ["art.blank"]);
    let measures = empty.measures;
    assert_eq!((measures.format, measures.width_px, measures.height_px), (Some("png"), Some(60), Some(40)));
}

#[test]
fn how_few_pixels_are_a_tiny_picture_is_a_setting() {
    let mut inquiry = die_cut(&discs(31, 31, &[(15.5, 15.5, 14.0)], [10, 90, 10]), 60.0);
    assert_eq!(codes(&report(&inquiry).findings), ["art.tiny"]);
    inquiry.thresholds.least_picture_px = 31.0;
    assert!(!codes(&report(&inquiry).findings).contains(&"art.tiny"));
}

#[test]
fn without_a_size_nothing_is_judged_that_follows_from_one() {
    let small = discs(40, 40, &[(20.0, 20.0, 18.0)], [10, 90, 10]);
    let mut inquiry = die_cut(&small, 60.0);
    let sized = report(&inquiry);
    assert_eq!(codes(&sized.findings), ["resolution.low"]);
    assert!(sized.finished.is_some_and(|finished| (finished.width_mm - 60.0).abs() < 0.1));
    inquiry.sized = false;
    let unsized_ = report(&inquiry);
    assert_eq!((unsized_.findings.len(), unsized_.finished, unsized_.measures.effective_ppi), (0, None, None));
    assert_eq!(unsized_.measures.largest_mm_at_150_ppi, sized.measures.largest_mm_at_150_ppi);
    assert!(unsized_.measures.largest_mm_at_300_ppi.is_some_and(|longest| longest < 10.0));
    // 1 : 12 without border is under 10 mm wide at 60 mm.
    let thin = png(&RgbaImage::from_pixel(1200, 100, Rgba([0, 0, 0, 255])));
    let mut thin = design(&thin, 60.0);
    thin.outline.shape = Shape::Rectangle;
    thin.outline.border = Mm::ZERO;
    thin.backdrop.remove = crate::order::BackdropRemove::Never;
    let report = report(&Inquiry { sized: false, ..asked(Product::DieCut(thin)) });
    assert!(report.findings.iter().all(|finding| finding.code != Code::SizeTooSmall));
    assert!(report.measures.largest_mm_at_300_ppi.is_some_and(|longest| (longest - 101.6).abs() < 0.2));
}

#[test]
fn a_sticker_larger_than_the_window_is_told_and_drawn_all_the_same() {
    let inquiry = die_cut(&discs(1600, 1600, &[(800.0, 800.0, 790.0)], [9, 9, 9]), 200.0);
    assert!(codes(&report(&inquiry).findings).contains(&"size.too_large"));
    assert_eq!(proved(&inquiry, &View::default()).report.verdict, Verdict::Reject);
    assert!(matches!(run_of(&inquiry, 1, None), Err(Fault::NothingPlaced { .. })));
}

#[test]
fn the_size_that_is_advised_for_a_sticker_too_large_fits() {
    // Two discs side by side: the border is a larger part of the shorter side.
    let art = discs(1600, 800, &[(400.0, 400.0, 390.0), (1200.0, 400.0, 390.0)], [9, 9, 9]);
    let large = report(&die_cut(&art, 320.0));
    let too_large = large.findings.iter().find(|finding| finding.code == Code::SizeTooLarge).expect("is too large");
    let advised = too_large.remedy.split_whitespace().find_map(|word| word.parse::<f64>().ok()).expect("a size");
    assert!(advised > 100.0, "{}", too_large.remedy);
    assert!(!codes(&report(&die_cut(&art, advised)).findings).contains(&"size.too_large"), "{}", too_large.remedy);
}

#[test]
fn an_approved_sticker_is_placed_and_another_one_is_set_aside() {
    let inquiry = die_cut(&one_disc(), 30.0);
    let ticket = run_of(&inquiry, 3, Some(digest(&inquiry))).unwrap();
    assert_eq!((ticket.totals.placed, ticket.totals.set_aside), (3, 0));
    let other = die_cut(&one_disc(), 31.0);
    let Err(Fault::NothingPlaced { set_aside }) = run_of(&inquiry, 3, Some(digest(&other))) else {
        panic!("another sticker was approved")
    };
    assert_eq!((codes(&set_aside[0].findings), set_aside[0].copies.len()), (vec!["proof.changed"], 3));
}

#[test]
fn a_lenient_proof_has_the_digest_of_what_is_made_once_accepted() {
    let mut inquiry = die_cut(&two_discs(), 100.0);
    let proof = proved(&inquiry, &View::default());
    let rejects = proof.report.findings.iter().filter(|finding| finding.severity == Severity::Reject);
    let rejects: Vec<_> = rejects.map(|finding| (finding.code.as_str(), finding.places.len())).collect();
    assert_eq!(rejects, [("shape.parts", 2)], "and where the two discs are");
    assert!(matches!(run_of(&inquiry, 1, None), Err(Fault::NothingPlaced { .. })));
    let Product::DieCut(design) = &mut inquiry.product else { panic!("a die cut") };
    design.accept.0.push("shape.parts".to_owned());
    assert_eq!(run_of(&inquiry, 2, Some(proof.digest)).unwrap().totals.placed, 2);
}

#[test]
fn the_digest_follows_what_is_made_and_nothing_else() {
    let inquiry = die_cut(&one_disc(), 30.0);
    let one = digest(&inquiry);
    assert_eq!(one.len(), 64);
    let view = View { ground: Ground::Dark, cut_line: false, longest_px: 99 };
    assert_eq!(proved(&inquiry, &view).digest, one);
    assert_eq!(digest(&Inquiry { quantity: 500, rotate: Rotate::None, ..inquiry.clone() }), one);
    let mut wider = inquiry.clone();
    let Product::DieCut(design) = &mut wider.product else { panic!("a die cut") };
    design.outline.border = Mm::of(2.5);
    assert_ne!(digest(&wider), one);
    let clear = Stock { face: crate::order::Face::Clear, ..samples::stock() };
    assert_ne!(digest(&Inquiry { stock: clear, ..inquiry }), one);
}

/// Bytes, if they are there, and how often they were read.
#[derive(Debug)]
struct Drawer(Option<Vec<u8>>, AtomicU32);

impl Drawer {
    fn of(bytes: Option<Vec<u8>>) -> Drawer {
        Drawer(bytes, AtomicU32::new(0))
    }
}

impl ArtFile for Drawer {
    fn load(&self) -> io::Result<Arc<[u8]>> {
        self.1.fetch_add(1, Ordering::Relaxed);
        self.0.as_deref().map(Arc::from).ok_or_else(|| io::Error::other("gone"))
    }
}

fn stored(bytes: u64, drawer: Drawer) -> Inquiry {
    let mut inquiry = die_cut(&[], 30.0);
    let Product::DieCut(design) = &mut inquiry.product else { panic!("a die cut") };
    design.art = ArtInput::Stored { sha256: [7; 32], bytes, file: Arc::new(drawer) };
    inquiry
}

#[test]
fn a_picture_that_lies_elsewhere_is_the_same_picture() {
    let bytes = one_disc();
    let inquiry = stored(bytes.len() as u64, Drawer::of(Some(bytes.clone())));
    assert_eq!(digest(&inquiry), digest(&die_cut(&bytes, 30.0)));
    let lost = preflight(&stored(10, Drawer::of(None)), &Limits::default(), &Cancel::new());
    assert!(matches!(lost, Err(Fault::ArtLost { .. })));
    let too_long = report(&stored(u64::MAX, Drawer::of(None)));
    assert_eq!(codes(&too_long.findings), ["art.over_limit"], "judged before anything is read");
    assert_eq!(stored(10, Drawer::of(None)), stored(10, Drawer::of(Some(bytes))), "known by length and checksum");
}

#[test]
fn a_picture_is_decoded_once_in_a_run_however_it_is_used() {
    let bytes = one_disc();
    let drawer = Arc::new(Drawer::of(Some(bytes.clone())));
    let art = ArtInput::Stored { sha256: [7; 32], bytes: bytes.len() as u64, file: Arc::clone(&drawer) as _ };
    let of_it = |longest: f64, tolerance: f64| {
        let mut design = Design { art: art.clone(), ..design(&[], longest) };
        design.backdrop.tolerance_delta_e = tolerance;
        design
    };
    let page = |height: f64| {
        let Product::StickerSheet(mut page) = sheet(80.0, 1).product else { panic!("a sheet") };
        page.height = Mm::of(height);
        page.pieces[0].design = of_it(30.0, 3.5);
        page.pieces[1].design = of_it(20.0, 6.0);
        Product::StickerSheet(page)
    };
    let products = [Product::DieCut(of_it(30.0, 3.5)), page(90.0), Product::DieCut(of_it(25.0, 5.0)), page(100.0)];
    let items = products.into_iter().enumerate().map(|(number, product)| item_of(&asked(product), number, 1, None));
    let job = draft_of(samples::stock(), items.collect());
    let hooks = Hooks { progress: &|_| (), out_of_time: &|| false, cancel: &Cancel::new() };
    let ticket = gang(&job, &Limits::default(), &Nowhere, hooks).unwrap();
    assert_eq!((ticket.totals.placed, drawer.1.load(Ordering::Relaxed)), (4, 1));
}

#[test]
fn a_drawing_is_refused_where_none_is_taken() {
    let svg =
        br#"<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100"><circle cx="50" cy="50" r="45"/></svg>"#;
    let inquiry = die_cut(svg, 30.0);
    assert_eq!(report(&inquiry).verdict, Verdict::Ready);
    let limits = Limits { drawings: crate::intake::Drawings::Refused, ..Limits::default() };
    let report = preflight(&inquiry, &limits, &Cancel::new()).unwrap();
    assert_eq!(codes(&report.findings), ["art.unsupported"]);
}

#[test]
fn a_drawing_looks_the_same_in_company() {
    let svg =
        br#"<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100"><circle cx="50" cy="50" r="45"/></svg>"#;
    let (small, large) = (die_cut(svg, 20.0), die_cut(svg, 90.0));
    let item = |inquiry: &Inquiry, name: &str| Item {
        item: name.to_owned(),
        quantity: 1,
        product: inquiry.product.clone(),
        rotate: Rotate::Free,
        stock: 0,
        tags: Vec::new(),
        approved: Some(digest(inquiry)),
    };
    let mut job_items = vec![item(&large, "large"), item(&small, "small")];
    for _ in 0..2 {
        job_items.reverse();
        let job = draft_of(samples::stock(), job_items.clone());
        let products = prepare::products(&job, &Limits::default(), &Meter::new(&|_| ()), &Cancel::new());
        assert_eq!(products.unwrap().changed, [None, None]);
    }
}

#[test]
fn an_estimate_agrees_with_runs() {
    let roll = crate::order::Form::Roll { width: Mm::of(200.0), max_length: Mm::of(400.0), section_length: None };
    let on_roll = Inquiry { stock: Stock::with_defaults("roll", roll), ..die_cut(&one_disc(), 30.0) };
    for inquiry in [die_cut(&one_disc(), 40.0), on_roll] {
        let quantities = [1, 5, 40, 301, 433, 900];
        let estimate = estimate(&inquiry, &quantities, &Limits::default(), &Cancel::new()).unwrap();
        assert_eq!(estimate.quantities.len(), quantities.len());
        for entry in &estimate.quantities {
            let ticket = run_of(&inquiry, entry.quantity, None).unwrap();
            let last = ticket.sheets.last().unwrap();
            let area: f64 = ticket.sheets.iter().map(|sheet| sheet.width_mm * sheet.height_mm).sum();
            assert_eq!(entry.sheets, ticket.totals.sheets, "{entry:?}");
            assert!((entry.stock_area_mm2 - area).abs() < 0.01, "{entry:?} {area}");
            if let Some(length) = entry.stock_length_mm {
                assert!((length * 200.0 - area).abs() < 0.01);
            } else {
                assert!((entry.last_sheet_share - last.used_length_mm / last.window_mm.height).abs() < 1e-5);
            }
            if entry.quantity == 900 {
                assert_eq!(estimate.copies_per_sheet, Some(ticket.sheets[0].placements.len() as u32));
            }
        }
        assert_ne!(estimate.verdict, Verdict::Reject);
    }
}

#[test]
fn ink_covers_the_art_and_not_the_white_border() {
    let inquiry = die_cut(&one_disc(), 40.0);
    let estimate = estimate(&inquiry, &[], &Limits::default(), &Cancel::new()).unwrap();
    // A disc of 18 mm radius in one of 20 mm.
    let share = estimate.ink_share.unwrap();
    assert!((share - 0.81).abs() < 0.01, "{share}");
    let length = estimate.cut_length_mm.unwrap();
    assert!(length.kiss.abs() < 1e-9 && (length.through - 40.0 * std::f64::consts::PI).abs() < 0.2, "{length:?}");
}

#[test]
fn a_rejected_item_has_no_quantities() {
    let estimate = estimate(&die_cut(&two_discs(), 100.0), &[1, 2], &Limits::default(), &Cancel::new()).unwrap();
    assert_eq!((estimate.verdict, estimate.quantities.len()), (Verdict::Reject, 0));
    assert_eq!((estimate.copies_per_sheet, estimate.ink_share), (None, None));
}

fn sheet(width: f64, copies: u32) -> Inquiry {
    let piece = |name: &str| Piece { piece: name.to_owned(), design: design(&one_disc(), 30.0), copies };
    asked(Product::StickerSheet(Page {
        width: Mm::of(width),
        height: Mm::of(100.0),
        corner_radius: Mm::of(3.0),
        gap: Mm::of(2.0),
        pieces: vec![piece("a"), piece("b")],
        fill: Fill::None,
    }))
}

#[test]
fn a_sticker_sheet_reports_its_pieces_and_its_own_fullness() {
    let inquiry = sheet(80.0, 1);
    let good = report(&inquiry);
    assert_eq!((good.verdict, good.pieces.len()), (Verdict::Ready, 2));
    assert_eq!(good.finished.map(|finished| finished.width_mm), Some(80.0));
    assert!(good.measures.format.is_none() && good.pieces[1].measures.format == Some("png"));
    let full = report(&sheet(80.0, 20));
    assert_eq!(codes(&full.findings), ["page.full"]);
    let ticket = run_of(&inquiry, 1, Some(digest(&inquiry))).unwrap();
    assert_eq!(ticket.totals.placed, 1);
    let estimate = estimate(&inquiry, &[3], &Limits::default(), &Cancel::new()).unwrap();
    assert!(estimate.quantities[0].sheets >= 1 && estimate.cut_length_mm.unwrap().kiss > 150.0);
    let broken = Piece { piece: "c".to_owned(), design: design(b"no", 30.0), copies: 1 };
    let Product::StickerSheet(mut page) = inquiry.product else { panic!("a sheet") };
    page.pieces.push(broken);
    let told = report(&asked(Product::StickerSheet(page)));
    assert_eq!(told.findings[0].piece.as_deref(), Some("c"));
}

#[test]
fn a_proof_is_as_large_as_the_view_says_and_holds_its_ground() {
    let inquiry = die_cut(&one_disc(), 40.0);
    for (ground, channels) in [(Ground::Neutral, 3), (Ground::Dark, 3), (Ground::Transparent, 4)] {
        let view = View { ground, cut_line: true, longest_px: 500 };
        let proof = proved(&inquiry, &view);
        let decoder = png::Decoder::new(Cursor::new(&proof.picture));
        let mut reader = decoder.read_info().unwrap();
        let info = reader.info();
        assert_eq!((info.width.max(info.height), info.color_type.samples()), (500, channels));
        // 40 mm and 7 % of it on each side: 45.6 mm over 500 px.
        assert!(info.pixel_dims.unwrap().xppu.abs_diff((500.0 / 0.0456) as u32) <= 20, "{:?}", info.pixel_dims);
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        let middle = (250 * 500 + 250) * channels;
        assert_eq!(pixels[middle..middle + 3], [200, 30, 30], "the art in the middle");
        assert_eq!(proved(&inquiry, &view).picture, proof.picture, "same bytes");
    }
}

#[test]
fn a_drawn_proof_refers_to_nothing_outside() {
    let backing = Backing { shape: Shape::Circle, margin: Mm::of(4.0), colour: None };
    let inquiry = asked(Product::KissCut(design(&one_disc(), 40.0), backing));
    let proof = proof(&inquiry, &View::default(), ProofDrawing::Svg, &Limits::default(), &Cancel::new()).unwrap();
    let text = String::from_utf8(proof.picture).unwrap();
    let references = text.match_indices("href=\"").map(|(at, found)| &text[at + found.len()..]);
    let outside = references.filter(|target| !target.starts_with('#') && !target.starts_with("data:image/png;base64,"));
    assert_eq!(outside.count(), 0);
    assert!(!text.contains("<script") && text.contains("mm\" viewBox="));
    assert_eq!(text.matches("stroke=\"#").count(), 2, "one kiss and one through cut");
}

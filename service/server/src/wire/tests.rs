//! Whole jobs through the reader.

use quoin_prepress::order::{
    ArtFit, ArtInput, BackdropRemove, Effort, Fill, Form, Job, OutputKind, Parts, PrintColour, Product, Rotate, Shape,
    Size,
};
use quoin_prepress::units::Mm;
use serde_json::{Value, json};

use super::art::{ArtMissing, ArtRef};
use super::mistake::MistakeCode;
use super::{ArtSource, Configured, read_estimate, read_gang_job, read_preflight, read_proof};

/// Every file is there.
struct AnyArt;

impl ArtSource for AnyArt {
    fn fetch(&mut self, _: ArtRef<'_>) -> Result<ArtInput, ArtMissing> {
        Ok(ArtInput::Bytes(std::sync::Arc::from(*b"art")))
    }

    fn limit_bytes(&self) -> u64 {
        1000
    }
}

fn good_item() -> Value {
    json!({"item": "1", "art": {"file": "fox.png"}, "size": {"width_mm": 60}, "quantity": 2})
}

fn good_job() -> Value {
    json!({
        "run": "r",
        "stocks": [{"stock": "gloss", "form": {"sheet": {"size": "na_letter_8.5x11in"}}}],
        "orders": [{"order": "1042", "items": [good_item()]}],
    })
}

/// The good job with one place changed or added.
fn with(mut job: Value, pointer: &str, value: Value) -> Value {
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer");
    let parent = job.pointer_mut(parent).expect("the parent is there");
    if let Value::Array(list) = parent {
        list[key.parse::<usize>().expect("an index")] = value;
    } else {
        parent[key] = value;
    }
    job
}

fn read(job: &Value) -> Job {
    match read_gang_job(job.to_string().as_bytes(), &mut AnyArt, &Configured::default()) {
        Ok(job) => job,
        Err(mistakes) => panic!("{mistakes:#?}"),
    }
}

fn mistakes(job: &Value) -> Vec<(MistakeCode, String)> {
    let mistakes =
        read_gang_job(job.to_string().as_bytes(), &mut AnyArt, &Configured::default()).expect_err("the job is broken");
    mistakes.into_iter().map(|mistake| (mistake.code, mistake.pointer.as_str().to_owned())).collect()
}

#[track_caller]
fn assert_mistake(job: &Value, code: MistakeCode, pointer: &str) {
    assert_eq!(mistakes(job), [(code, pointer.to_owned())]);
}

const ITEM: &str = "/orders/0/items/0";

#[test]
fn a_short_job_has_the_defaults_of_the_contract() {
    let job = read(&good_job());
    let item = &job.orders[0].items[0];
    assert_eq!((item.quantity, item.stock, item.rotate), (2, 0, Rotate::Free));
    let Product::DieCut(design) = &item.product else { panic!("{item:?}") };
    assert_eq!(design.size, Size::Width(Mm::of(60.0)));
    assert_eq!(design.outline.shape, Shape::Contour);
    assert_eq!(design.outline.border, Mm::of(3.0));
    assert_eq!((design.outline.art_fit, design.outline.parts), (ArtFit::Contain, Parts::Join));
    assert_eq!(design.backdrop.remove, BackdropRemove::Auto);
    let stock = &job.stocks[0];
    assert_eq!((stock.gutter, stock.bleed, stock.margins.left), (Mm::of(2.0), Mm::of(1.0), Mm::of(16.0)));
    assert_eq!((stock.unprintable.top, stock.register_marks.is_none()), (Mm::of(4.0), true));
    assert!(matches!(&stock.form, Form::Sheet { media: Some(name), .. } if name == "na_letter_8.5x11in"));
    assert_eq!((job.policy.effort, job.policy.seed), (Effort::Standard, 1));
    assert_eq!(job.report_size, (Mm::of(210.0), Mm::of(297.0)));
    assert_eq!(
        job.outputs,
        [OutputKind::PrintPdf, OutputKind::CutSvg, OutputKind::PreviewPng, OutputKind::PickListPdf]
    );
}

#[test]
fn defaults_reach_items_and_null_takes_them_back() {
    let defaults = json!({"outline": {"border_mm": 5, "shape": "rounded_rectangle", "corner_radius_mm": 7},
                          "rotate": "none", "quantity": 9});
    let job = with(good_job(), "/defaults", defaults);
    let job = with(job, "/orders/0/items/0/outline", json!({"border_mm": null}));
    let job = with(job, "/orders/0/items/0/quantity", json!(null));
    let with_null =
        read_gang_job(job.to_string().as_bytes(), &mut AnyArt, &Configured::default()).expect_err("no quantity");
    assert_eq!(with_null[0].code, MistakeCode::MissingField);
    let item = read(&with(job, "/orders/0/items/0/quantity", json!(4))).orders.remove(0).items.remove(0);
    assert_eq!((item.quantity, item.rotate), (4, Rotate::None));
    let Product::DieCut(design) = item.product else { panic!("a die cut") };
    assert_eq!(design.outline.shape, Shape::RoundedRectangle { corner_radius: Mm::of(7.0) });
    assert_eq!(design.outline.border, Mm::of(3.0));
}

#[test]
fn what_a_shape_or_product_does_not_have_is_refused_in_items_and_ignored_in_defaults() {
    let defaults = json!({"outline": {"corner_radius_mm": 5, "art_fit": "cover"}, "backing": {"margin_mm": 9},
                          "page": {"gap_mm": 3}, "fill": {"with": "none"}});
    read(&with(good_job(), "/defaults", defaults));
    let circle = json!({"shape": "circle", "corner_radius_mm": 5});
    let job = with(good_job(), &format!("{ITEM}/outline"), circle);
    assert_mistake(&job, MistakeCode::UnknownField, &format!("{ITEM}/outline/corner_radius_mm"));
    for (field, value) in [
        ("backing", json!({"margin_mm": 4})),
        ("page", json!({"width_mm": 50, "height_mm": 50})),
        ("pieces", json!([])),
        ("fill", json!({"with": "none"})),
    ] {
        let job = with(good_job(), &format!("{ITEM}/{field}"), value);
        assert_mistake(&job, MistakeCode::UnknownField, &format!("{ITEM}/{field}"));
    }
    let job = with(good_job(), &format!("{ITEM}/outline"), json!({"art_fit": "cover"}));
    assert_mistake(&job, MistakeCode::Contradiction, &format!("{ITEM}/outline/art_fit"));
}

#[test]
fn a_mistake_in_defaults_is_told_once_and_there() {
    let job = with(good_job(), "/defaults", json!({"outline": {"border_mm": 21}, "sise": 1}));
    let second = with(
        job,
        "/orders/0/items",
        json!([good_item(), {"item": "2", "art": {"file": "a"},
        "size": {"width_mm": 5}, "quantity": 1, "outline": {"border_mm": 1}}]),
    );
    assert_eq!(
        mistakes(&second),
        [
            (MistakeCode::UnknownField, "/defaults/sise".to_owned()),
            (MistakeCode::OutOfRange, "/defaults/outline/border_mm".to_owned()),
        ]
    );
}

#[test]
fn what_is_not_made_yet_is_refused_unless_it_is_the_default() {
    let cases = [
        ("/stocks/0/colour", json!("cmyk"), ""),
        ("/stocks/0/print_scale", json!({"y": 1.01}), "/y"),
        ("/stocks/0/cutting", json!({"nick_mm": 0.3}), "/nick_mm"),
        ("/stocks/0/start_offset_mm", json!(50), ""),
        ("/policy", json!({"overs_percent": 5}), "/overs_percent"),
        ("/policy", json!({"order_tags": true}), "/order_tags"),
        ("/reprint", json!([]), ""),
        ("/outputs", json!(["test_sheet"]), "/0"),
    ];
    for (pointer, value, below) in cases {
        let job = with(good_job(), pointer, value);
        assert_mistake(&job, MistakeCode::NotSupportedYet, &format!("{pointer}{below}"));
    }
    let mut job = with(good_job(), "/reprint", Value::Null);
    job = with(job, "/stocks/0/print_scale", json!({"x": 1, "y": 1.0}));
    job = with(job, "/stocks/0/cutting", json!({"nick_mm": null}));
    job = with(job, "/policy", json!({"overs_percent": 0, "order_tags": false}));
    read(&job);
}

#[test]
fn stock_printed_in_inks_is_taken_before_the_order_and_refused_in_runs() {
    let stock = json!({"stock": "gloss", "form": {"sheet": {"size": "na_letter_8.5x11in"}}, "colour": "cmyk"});
    let item = json!({"art": {"part": "a"}, "size": {"width_mm": 60}});
    let question = json!({"item": item, "stock": stock}).to_string();
    let taken = read_preflight(question.as_bytes(), &mut AnyArt, &Configured::default()).expect("good");
    assert_eq!(taken.stock.colour, PrintColour::Cmyk);
    assert!(read_proof(question.as_bytes(), &mut AnyArt, &Configured::default()).is_ok());
    assert!(read_estimate(question.as_bytes(), &mut AnyArt, &Configured::default()).is_ok());
    // A configured one is told where it is named, or where the request says it anew.
    let configured = Configured::read(&[stock]).expect("good");
    for (entry, pointer) in [
        (json!("gloss"), "/stocks/0"),
        (json!({"stock": "gloss"}), "/stocks/0"),
        (json!({"stock": "gloss", "colour": "cmyk"}), "/stocks/0/colour"),
    ] {
        let job = with(good_job(), "/stocks/0", entry).to_string();
        let refused = read_gang_job(job.as_bytes(), &mut AnyArt, &configured).expect_err("not yet");
        let told: Vec<_> = refused.iter().map(|mistake| (mistake.code, mistake.pointer.as_str())).collect();
        assert_eq!(told, [(MistakeCode::NotSupportedYet, pointer)]);
    }
    let rgb = with(good_job(), "/stocks/0", json!({"stock": "gloss", "colour": "rgb"})).to_string();
    assert!(read_gang_job(rgb.as_bytes(), &mut AnyArt, &configured).is_ok());
}

#[test]
fn a_size_is_one_length_but_for_shapes_with_two() {
    let both = json!({"width_mm": 50, "height_mm": 40});
    let job = with(good_job(), &format!("{ITEM}/size"), both);
    for shape in ["rectangle", "rounded_rectangle", "ellipse"] {
        read(&with(job.clone(), &format!("{ITEM}/outline"), json!({"shape": shape})));
    }
    for shape in ["contour", "circle"] {
        let job = with(job.clone(), &format!("{ITEM}/outline"), json!({"shape": shape}));
        assert_mistake(&job, MistakeCode::Contradiction, &format!("{ITEM}/size"));
    }
    assert_mistake(&with(job, &format!("{ITEM}/size"), json!({})), MistakeCode::MissingField, &format!("{ITEM}/size"));
}

#[test]
fn a_backing_keeps_twice_the_bleed() {
    let job = with(good_job(), "/stocks/0/bleed_mm", json!(3));
    let job = with(job, &format!("{ITEM}/product"), json!("kiss_cut"));
    let item = &read(&job).orders[0].items[0];
    let Product::KissCut(_, backing) = &item.product else { panic!("{item:?}") };
    assert_eq!(backing.margin, Mm::of(6.0));
    assert_eq!(backing.shape, Shape::RoundedRectangle { corner_radius: Mm::of(3.0) });
    read(&with(job.clone(), &format!("{ITEM}/backing"), json!({"margin_mm": 6})));
    let narrow = with(job, &format!("{ITEM}/backing"), json!({"margin_mm": 5.9}));
    assert_mistake(&narrow, MistakeCode::OutOfRange, &format!("{ITEM}/backing/margin_mm"));
}

fn sticker_sheet() -> Value {
    let item = json!({
        "item": "1", "quantity": 1, "product": "sticker_sheet", "page": {"width_mm": 100, "height_mm": 150},
        "outline": {"border_mm": 1, "shape": "circle"}, "accept": ["shape.parts"],
        "pieces": [{"piece": "a", "art": {"file": "a"}, "size": {"width_mm": 30}, "outline": {"border_mm": 2}},
                   {"piece": "b", "art": {"file": "b"}, "size": {"width_mm": 30}, "copies": 3, "accept": []}],
    });
    with(good_job(), ITEM, item)
}

#[test]
fn pieces_take_from_their_item_what_they_leave_out() {
    let job = with(sticker_sheet(), "/defaults", json!({"size": {"height_mm": 1}, "white": "none"}));
    let item = &read(&job).orders[0].items[0];
    let Product::StickerSheet(page) = &item.product else { panic!("{item:?}") };
    assert_eq!((page.gap, page.corner_radius, page.fill), (Mm::of(2.0), Mm::of(3.0), Fill::None));
    let [a, b] = page.pieces.as_slice() else { panic!("{page:?}") };
    assert_eq!((a.design.outline.border, a.design.outline.shape), (Mm::of(2.0), Shape::Circle));
    assert_eq!((b.design.outline.border, b.design.outline.shape), (Mm::of(1.0), Shape::Circle));
    assert_eq!((a.copies, b.copies), (1, 3));
    assert!(a.design.accept.has("shape.parts") && !b.design.accept.has("shape.parts"));
    assert_eq!(a.design.size, Size::Width(Mm::of(30.0)));
}

#[test]
fn a_broken_sticker_sheet_is_pointed_at() {
    let job = with(sticker_sheet(), &format!("{ITEM}/pieces/1/piece"), json!("a"));
    assert_mistake(&job, MistakeCode::DuplicateId, &format!("{ITEM}/pieces/1/piece"));
    let job = with(sticker_sheet(), &format!("{ITEM}/page/gap_mm"), json!(0.9));
    assert_mistake(&job, MistakeCode::OutOfRange, &format!("{ITEM}/page/gap_mm"));
    let job = with(sticker_sheet(), &format!("{ITEM}/art"), json!({"file": "a"}));
    assert_mistake(&job, MistakeCode::UnknownField, &format!("{ITEM}/art"));
    let job = with(sticker_sheet(), &format!("{ITEM}/pieces/0/rotate"), json!("none"));
    assert_mistake(&job, MistakeCode::UnknownField, &format!("{ITEM}/pieces/0/rotate"));
    let job = with(sticker_sheet(), &format!("{ITEM}/pieces"), json!([]));
    assert_mistake(&job, MistakeCode::OutOfRange, &format!("{ITEM}/pieces"));
}

#[test]
fn a_stock_is_chosen_by_item_order_defaults_or_being_alone() {
    let sheet = json!({"sheet": {"size": "iso_a4_210x297mm"}});
    let job = with(good_job(), "/stocks", json!([{"stock": "a", "form": sheet}, {"stock": "b", "form": sheet}]));
    assert_mistake(&job, MistakeCode::NoStockChosen, ITEM);
    let chosen = |job: &Value| read(job).orders[0].items[0].stock;
    let job = with(job, "/defaults", json!({"stock": "b"}));
    assert_eq!(chosen(&job), 1);
    let job = with(job, "/orders/0/stock", json!("a"));
    assert_eq!(chosen(&job), 0);
    let job = with(job, &format!("{ITEM}/stock"), json!("b"));
    assert_eq!(chosen(&job), 1);
    let job = with(job, &format!("{ITEM}/stock"), json!("c"));
    assert_mistake(&job, MistakeCode::UnknownStock, &format!("{ITEM}/stock"));
    assert_mistake(&with(good_job(), "/stocks/0", json!("gloss")), MistakeCode::UnknownStock, "/stocks/0");
}

#[test]
fn fillers_have_at_most_instead_of_quantity() {
    let filler = json!({"item": "wave", "art": {"file": "w"}, "size": {"width_mm": 20}, "at_most": 20});
    let job = with(good_job(), "/defaults", json!({"quantity": 3, "rotate": "none"}));
    let job = with(job, "/policy", json!({"fill_offcuts_with": [filler]}));
    let filler = &read(&job).policy.fill_offcuts_with[0].item;
    assert_eq!((filler.quantity, filler.rotate), (20, Rotate::None));
    let job = with(job, "/policy/fill_offcuts_with/0/quantity", json!(1));
    assert_mistake(&job, MistakeCode::UnknownField, "/policy/fill_offcuts_with/0/quantity");
}

#[test]
fn stocks_that_contradict_themselves_are_refused() {
    let roll = json!({"stock": "gloss", "form": {"roll": {"width_mm": 610}}, "feed_edge": "left"});
    assert_mistake(&with(good_job(), "/stocks/0", roll), MistakeCode::Contradiction, "/stocks/0/feed_edge");
    let layers = json!({"kiss": {"name": "Cutting"}});
    let job = with(good_job(), "/stocks/0/layers", layers);
    assert!(mistakes(&job).iter().all(|(code, at)| *code == MistakeCode::BrokenStock && at.contains("/layers/")));
    let margins = json!({"left": 2});
    let job = with(good_job(), "/stocks/0/margins_mm", margins);
    assert_mistake(&job, MistakeCode::BrokenStock, "/stocks/0/margins_mm/left");
    let size = json!({"sheet": {"size": "letter"}});
    let job = with(good_job(), "/stocks/0/form", size);
    assert_mistake(&job, MistakeCode::UnknownMedia, "/stocks/0/form/sheet/size");
}

#[test]
fn numbers_texts_and_dates_are_held_to_their_rules() {
    use MistakeCode::{BadBase64, BadColour, BadDate, BadId, OutOfRange, TooManyCopies, UnknownWord, WrongType};
    let item = |field: &str| format!("{ITEM}/{field}");
    let cases = [
        (item("quantity"), json!(0), OutOfRange, item("quantity")),
        (item("quantity"), json!(100_001), OutOfRange, item("quantity")),
        (item("quantity"), json!("2"), WrongType, item("quantity")),
        (item("item"), json!("a\u{7}"), BadId, item("item")),
        (item("tags"), json!(vec!["x"; 33]), OutOfRange, item("tags")),
        (item("accept"), json!(["size.too_small"]), UnknownWord, item("accept/0")),
        (item("outline"), json!({"border_colour": "white"}), BadColour, item("outline/border_colour")),
        (item("art"), json!({"base64": "*"}), BadBase64, item("art/base64")),
        ("/orders/0/due".to_owned(), json!("2026-02-30"), BadDate, "/orders/0/due".to_owned()),
        ("/date".to_owned(), json!("tuesday"), BadDate, "/date".to_owned()),
        ("/stocks/0/print_ppi".to_owned(), json!(71), OutOfRange, "/stocks/0/print_ppi".to_owned()),
        ("/stocks/0/unprintable_mm".to_owned(), json!("4"), WrongType, "/stocks/0/unprintable_mm".to_owned()),
    ];
    for (pointer, value, code, at) in cases {
        assert_mistake(&with(good_job(), &pointer, value), code, &at);
    }
    let many: Vec<Value> = (0..11)
        .map(|n| {
            with(with(json!({"i": good_item()}), "/i/quantity", json!(100_000)), "/i/item", json!(n.to_string()))["i"]
                .take()
        })
        .collect();
    assert_mistake(&with(good_job(), "/orders/0/items", json!(many)), TooManyCopies, "/orders");
}

#[test]
fn everything_wrong_is_told_at_once() {
    let job = json!({"run": "", "orders": [{"items": [{"art": {"part": 1}, "a/b": 0}, 7]}], "stocks": [{}]});
    let found = mistakes(&job);
    for (code, pointer) in [
        (MistakeCode::BadId, "/run"),
        (MistakeCode::MissingField, "/stocks/0"),
        (MistakeCode::MissingField, "/orders/0"),
        (MistakeCode::UnknownField, "/orders/0/items/0/a~1b"),
        (MistakeCode::WrongType, "/orders/0/items/0/art/part"),
        (MistakeCode::MissingField, "/orders/0/items/0"),
        (MistakeCode::WrongType, "/orders/0/items/1"),
    ] {
        assert!(found.contains(&(code, pointer.to_owned())), "{code:?} at {pointer} in {found:#?}");
    }
}

fn configured() -> Configured {
    let sheet = json!({"sheet": {"size": "iso_a4_210x297mm"}});
    let roll = json!({"roll": {"width_mm": 610}});
    let stocks = [
        json!({"stock": "gloss", "form": sheet, "gutter_mm": 4, "margins_mm": {"left": 30},
               "cutting": {"speck_mm": 1, "minimum_width_mm": 2}}),
        json!({"stock": "film", "form": roll, "face": "clear"}),
    ];
    Configured::read(&stocks).expect("both are good")
}

fn told<T>(read: Result<T, Vec<super::Mistake>>) -> Vec<(MistakeCode, String)> {
    let mistakes = read.err().unwrap_or_default();
    mistakes.into_iter().map(|mistake| (mistake.code, mistake.pointer.as_str().to_owned())).collect()
}

fn question(stock: &Value) -> Vec<u8> {
    json!({"item": {"art": {"part": "fox"}}, "stock": stock}).to_string().into_bytes()
}

#[test]
fn a_configured_stock_is_named_or_built_upon() {
    let configured = configured();
    let stock = |stock: &Value| read_preflight(&question(stock), &mut AnyArt, &configured).expect("good").stock;
    assert_eq!(stock(&json!("gloss")), configured.stocks()[0]);
    let over = json!({"stock": "gloss", "gutter_mm": null, "bleed_mm": 2, "cutting": {"speck_mm": 0.5}, "margins_mm": {"top": 20}});
    let over = stock(&over);
    assert_eq!((over.gutter, over.bleed), (Mm::of(2.0), Mm::of(2.0)), "null restores what is built in");
    assert_eq!((over.cutting.speck, over.cutting.minimum_width), (Mm::of(0.5), Mm::of(2.0)), "merged field by field");
    assert_eq!((over.margins.top, over.margins.left), (Mm::of(20.0), Mm::of(16.0)), "replaced whole");
    let mut job = with(good_job(), "/stocks", json!(["gloss", {"stock": "film", "gutter_mm": 3}]));
    job = with(job, "/orders/0/stock", json!("film"));
    let job = read_gang_job(job.to_string().as_bytes(), &mut AnyArt, &configured).expect("good");
    assert_eq!((job.stocks[0].gutter, job.stocks[1].gutter), (Mm::of(4.0), Mm::of(3.0)));
    assert_eq!(job.orders[0].items[0].stock, 1);
}

#[test]
fn a_request_needs_a_stock_unless_just_one_is_configured() {
    let text = json!({"item": {"art": {"part": "fox"}}}).to_string();
    let read = |configured: &Configured| read_preflight(text.as_bytes(), &mut AnyArt, configured);
    assert_eq!(told(read(&Configured::default())), [(MistakeCode::MissingField, String::new())]);
    assert_eq!(told(read(&configured())), [(MistakeCode::NoStockChosen, String::new())]);
    let one = json!({"stock": "only", "form": {"sheet": {"size": "iso_a5_148x210mm"}}});
    let one = Configured::read(&[one]).expect("good");
    assert_eq!(read(&one).expect("good").stock.stock, "only");
}

#[test]
fn what_a_configured_stock_says_is_not_blamed_on_the_request() {
    let configured = configured();
    let read = |stock: Value| told(read_preflight(&question(&stock), &mut AnyArt, &configured));
    // The form is too narrow for the margins, of which none is written in the request.
    let narrow = json!({"stock": "gloss", "form": {"sheet": {"width_mm": 40, "height_mm": 297}}});
    let mistakes = read(narrow);
    assert!(
        !mistakes.is_empty() && mistakes.iter().all(|(code, at)| *code == MistakeCode::BrokenStock && at == "/stock"),
        "{mistakes:?}"
    );
    assert_eq!(read(json!("matt")), [(MistakeCode::UnknownStock, "/stock".to_owned())]);
    let narrow = json!({"stock": "gloss", "margins_mm": {"left": 1}});
    assert_eq!(read(narrow), [(MistakeCode::BrokenStock, "/stock/margins_mm/left".to_owned())]);
}

#[test]
fn broken_configured_stocks_are_pointed_at() {
    let sheet = json!({"sheet": {"size": "iso_a4_210x297mm"}});
    let stocks = [
        json!({"stock": "a", "form": sheet, "margins_mm": {"left": 1}}),
        json!({"stock": "b", "form": sheet}),
        json!({"stock": "b", "form": sheet, "gutter": 1}),
        json!("c"),
    ];
    let at = |pointer: &str| pointer.to_owned();
    assert_eq!(
        told(Configured::read(&stocks)),
        [
            (MistakeCode::BrokenStock, at("/stocks/0/margins_mm/left")),
            (MistakeCode::UnknownField, at("/stocks/2/gutter")),
            (MistakeCode::DuplicateId, at("/stocks/2/stock")),
            (MistakeCode::UnknownStock, at("/stocks/3")),
        ]
    );
}

#[test]
fn an_item_asked_about_has_defaults_for_what_only_an_order_needs() {
    let text = question(&json!("gloss"));
    let inquiry = read_preflight(&text, &mut AnyArt, &configured()).expect("good");
    let Product::DieCut(design) = &inquiry.product else { panic!("{inquiry:?}") };
    assert_eq!((inquiry.sized, inquiry.quantity, design.size), (false, 1, Size::UNSAID));
    let (_, view) = read_proof(&text, &mut AnyArt, &configured()).expect("good");
    assert_eq!(view, quoin_prepress::order::View::default());
    let missing = told(read_estimate(&text, &mut AnyArt, &configured()));
    assert_eq!(missing, [(MistakeCode::MissingField, "/item".to_owned())]);
    let text = json!({"item": {"art": {"part": "fox"}, "size": {"width_mm": 30}, "quantity": 9}, "stock": "gloss"});
    let (inquiry, quantities) = read_estimate(text.to_string().as_bytes(), &mut AnyArt, &configured()).expect("good");
    assert_eq!((inquiry.sized, quantities), (true, vec![9]));
    let piece = json!({"piece": "a", "art": {"part": "fox"}});
    let sheet = json!({"item": {"product": "sticker_sheet", "page": {"width_mm": 90, "height_mm": 90}, "pieces": [piece]},
                       "stock": "gloss"});
    let missing = told(read_preflight(sheet.to_string().as_bytes(), &mut AnyArt, &configured()));
    assert_eq!(missing, [(MistakeCode::MissingField, "/item/pieces/0".to_owned())], "a piece always has a size");
}

#[test]
fn an_approved_digest_is_64_hexadecimal_digits() {
    let job = with(good_job(), &format!("{ITEM}/approved"), json!("AB".repeat(32)));
    assert_eq!(read(&job).orders[0].items[0].approved, Some("ab".repeat(32)));
    for bad in ["ab".repeat(31), "xy".repeat(32)] {
        let job = with(good_job(), &format!("{ITEM}/approved"), json!(bad));
        assert_mistake(&job, MistakeCode::BadId, &format!("{ITEM}/approved"));
    }
}

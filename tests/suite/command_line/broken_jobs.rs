//! A job that contradicts itself is refused whole, with every mistake listed, and nothing is written.

use serde_json::{Value, json};

use super::shop::{Shop, good_job, item, job, with};

/// The good job with one thing wrong is refused with this code at this place.
#[track_caller]
fn assert_refused(pointer: &str, value: Value, code: &str, told_at: &str) {
    let shop = Shop::open();
    shop.gang(&with(good_job(), pointer, value)).assert_refused(code, told_at);
    shop.assert_nothing_written(&[]);
}

#[test]
fn the_job_that_the_others_spoil_is_good() {
    let shop = Shop::open();
    shop.gang(&good_job()).assert_done();
}

#[test]
fn broken_json_is_refused() {
    for text in ["", "{", "[1, 2", "{\"run\": NaN}", "nothing", "{} {}"] {
        let shop = Shop::open();
        shop.gang_text(text).assert_refused("job.not_json", "");
        shop.assert_nothing_written(&[]);
    }
}

#[test]
fn json_nested_without_end_is_refused() {
    let shop = Shop::open();
    shop.gang_text(&"[".repeat(200_000)).assert_refused("job.not_json", "");
}

#[test]
fn an_unknown_field_is_refused_where_it_stands() {
    assert_refused("/colour", json!(1), "job.unknown_field", "/colour");
    assert_refused("/orders/0/items/0/sise", json!(1), "job.unknown_field", "/orders/0/items/0/sise");
    assert_refused(
        "/orders/0/items/0/outline",
        json!({"bordr_mm": 3}),
        "job.unknown_field",
        "/orders/0/items/0/outline/bordr_mm",
    );
    assert_refused("/stocks/0/guter_mm", json!(2), "job.unknown_field", "/stocks/0/guter_mm");
    assert_refused("/policy/speed", json!("fast"), "job.unknown_field", "/policy/speed");
}

#[test]
fn a_field_that_the_shape_or_product_does_not_have_is_refused() {
    let circle = json!({"shape": "circle", "corner_radius_mm": 3});
    assert_refused("/orders/0/items/0/outline", circle, "job.", "/orders/0/items/0/outline/corner_radius_mm");
    assert_refused("/orders/0/items/0/backing", json!({"margin_mm": 4}), "job.", "/orders/0/items/0/backing");
    assert_refused(
        "/orders/0/items/0/page",
        json!({"width_mm": 50, "height_mm": 50}),
        "job.",
        "/orders/0/items/0/page",
    );
}

#[test]
fn a_missing_picture_is_refused() {
    let art = "/orders/0/items/0/art";
    assert_refused(art, json!({"file": "nobody.png"}), "job.file_missing", art);
    assert_refused(art, json!({}), "job.missing_field", art);
    assert_refused(art, json!({"file": "good.png", "base64": "AAAA"}), "job.contradiction", art);
    assert_refused(art, json!({"base64": "*"}), "job.bad_base64", art);
    assert_refused(art, json!({"file": "."}), "job.file_missing", art);
}

#[test]
fn a_path_that_leaves_the_folder_is_refused() {
    for path in ["../good.png", "/etc/passwd", "x/../../good.png", "..", "./../../../../etc/passwd"] {
        let art = "/orders/0/items/0/art";
        assert_refused(art, json!({"file": path}), "job.file_outside_folder", art);
    }
}

#[cfg(unix)]
#[test]
fn a_link_that_leaves_the_folder_is_refused() {
    let (shop, elsewhere) = (Shop::open(), Shop::open());
    std::os::unix::fs::symlink(elsewhere.path("good.png"), shop.path("link.png")).expect("a link");
    let spoilt = with(good_job(), "/orders/0/items/0/art", json!({"file": "link.png"}));
    shop.gang(&spoilt).assert_refused("job.file_outside_folder", "/orders/0/items/0/art");
    shop.assert_nothing_written(&["link.png"]);
}

#[test]
fn a_size_that_is_none_is_refused() {
    let size = "/orders/0/items/0/size";
    for width in [json!(-5), json!(0), json!(1e9), json!("60")] {
        assert_refused(size, json!({"width_mm": width}), "job.", "/orders/0/items/0/size/width_mm");
    }
    assert_refused(size, json!({}), "job.missing_field", size);
    assert_refused(size, json!({"width_mm": 40, "height_mm": 40}), "job.contradiction", size);
}

#[test]
fn a_number_too_large_for_json_readers_is_refused() {
    let shop = Shop::open();
    let text = good_job().to_string().replace("\"width_mm\":40", "\"width_mm\":1e999");
    let ended = shop.gang_text(&text);
    assert_eq!(ended.code, 1, "{}", ended.stderr);
    shop.assert_nothing_written(&[]);
}

#[test]
fn a_quantity_of_none_or_of_millions_is_refused() {
    for quantity in [json!(0), json!(-1), json!(10_000_000), json!(1.5), json!("2")] {
        assert_refused("/orders/0/items/0/quantity", quantity, "job.", "/orders/0/items/0/quantity");
    }
}

#[test]
fn an_unknown_stock_is_refused() {
    assert_refused("/orders/0/items/0/stock", json!("gold"), "job.unknown_stock", "/orders/0/items/0/stock");
    assert_refused("/orders/0/stock", json!("gold"), "job.unknown_stock", "/orders/0/stock");
    assert_refused("/stocks/0", json!("gold"), "job.unknown_stock", "/stocks/0");
}

#[test]
fn a_choice_of_two_stocks_must_be_made() {
    let sheet = json!({"sheet": {"size": "iso_a4_210x297mm"}});
    let stocks = json!([{"stock": "a", "form": sheet}, {"stock": "b", "form": sheet}]);
    assert_refused("/stocks", stocks, "job.no_stock_chosen", "/orders/0/items/0");
}

#[test]
fn ids_that_come_twice_are_refused() {
    let twice = json!([item("1", "good.png", 1), item("1", "leaf.png", 1)]);
    assert_refused("/orders/0/items", twice, "job.duplicate_id", "/orders/0/items/1/item");
    let order = json!({"order": "1", "items": [item("1", "good.png", 1)]});
    assert_refused("/orders", json!([order, order]), "job.duplicate_id", "/orders/1/order");
    let stock = json!({"stock": "white", "form": {"sheet": {"size": "iso_a5_148x210mm"}}});
    assert_refused("/stocks", json!([stock, stock]), "job.duplicate_id", "/stocks/1");
}

#[test]
fn one_object_with_a_field_twice_is_refused() {
    let shop = Shop::open();
    let text = good_job().to_string().replace("\"quantity\":2", "\"quantity\":2,\"quantity\":3");
    shop.gang_text(&text).assert_refused("job.duplicate_field", "/orders/0/items/0/quantity");
}

#[test]
fn a_margin_too_narrow_for_the_marks_is_refused_and_the_margin_needed_is_told() {
    let stock = json!({
        "stock": "white", "form": {"sheet": {"size": "iso_a5_148x210mm"}}, "unprintable_mm": 5,
        "margins_mm": {"top": 20, "right": 20, "bottom": 20, "left": 8},
        "register_marks": {"shape": "disc", "diameter_mm": 6, "clear_mm": 3},
    });
    let shop = Shop::open();
    let ended = shop.gang(&with(good_job(), "/stocks/0", stock));
    ended.assert_refused("broken", "/stocks/0/margins_mm/left");
    assert!(ended.stderr.contains("11"), "5 mm and a disc of 6 mm need 11 mm:\n{}", ended.stderr);
    shop.assert_nothing_written(&[]);
}

#[test]
fn a_margin_under_the_printers_edge_is_refused() {
    let margins = json!({"top": 16, "right": 2, "bottom": 16, "left": 16});
    assert_refused("/stocks/0/margins_mm", margins, "broken", "/stocks/0/margins_mm/right");
}

#[test]
fn every_mistake_is_told_at_once() {
    let mut spoilt = job(&json!([item("1", "nobody.png", 0), item("1", "good.png", 1)]));
    spoilt = with(spoilt, "/polcy", json!({}));
    spoilt = with(spoilt, "/orders/0/items/1/size", json!({"width_mm": -1}));
    let shop = Shop::open();
    let ended = shop.gang(&spoilt);
    ended.assert_refused("job.unknown_field", "/polcy");
    ended.assert_refused("job.file_missing", "/orders/0/items/0/art");
    ended.assert_refused("job.out_of_range", "/orders/0/items/0/quantity");
    ended.assert_refused("job.duplicate_id", "/orders/0/items/1/item");
    ended.assert_refused("job.out_of_range", "/orders/0/items/1/size/width_mm");
    shop.assert_nothing_written(&[]);
}

#[test]
fn a_backing_margin_or_page_gap_under_the_least_is_refused() {
    let kiss = with(good_job(), "/orders/0/items/0/product", json!("kiss_cut"));
    let shop = Shop::open();
    let ended = shop.gang(&with(kiss, "/orders/0/items/0/backing", json!({"margin_mm": 1})));
    ended.assert_refused("job.out_of_range", "/orders/0/items/0/backing/margin_mm");
    let page = json!([{
        "item": "1", "product": "sticker_sheet", "quantity": 1,
        "page": {"width_mm": 100, "height_mm": 100, "gap_mm": 0.5},
        "pieces": [{"piece": "a", "art": {"file": "good.png"}, "size": {"width_mm": 30}}],
    }]);
    shop.gang(&job(&page)).assert_refused("job.out_of_range", "/orders/0/items/0/page/gap_mm");
}

//! What the contract names and this build does not make is refused, never quietly left out.

use serde_json::{Value, json};

use super::shop::{Shop, good_job, with};

#[track_caller]
fn assert_not_yet(pointer: &str, value: Value, told_at: &str) {
    let shop = Shop::open();
    shop.gang(&with(good_job(), pointer, value)).assert_refused("job.not_supported_yet", told_at);
    shop.assert_nothing_written(&[]);
}

#[test]
fn settings_that_are_not_made_yet_are_refused() {
    assert_not_yet("/stocks/0/colour", json!("cmyk"), "/stocks/0/colour");
    assert_not_yet("/stocks/0/print_scale", json!({"x": 1.002, "y": 1.0}), "/stocks/0/print_scale");
    assert_not_yet("/stocks/0/cutting", json!({"nick_mm": 0.3}), "/stocks/0/cutting/nick_mm");
    assert_not_yet("/stocks/0/start_offset_mm", json!(50), "/stocks/0/start_offset_mm");
    assert_not_yet("/policy/overs_percent", json!(5), "/policy/overs_percent");
    assert_not_yet("/policy/order_tags", json!(true), "/policy/order_tags");
    assert_not_yet("/reprint", json!([{"order": "1", "item": "1", "copies": [1]}]), "/reprint");
    assert_not_yet("/outputs", json!(["print_pdf", "test_sheet"]), "/outputs/1");
}

#[test]
fn the_built_in_values_of_the_same_settings_are_taken() {
    let mut plain = with(good_job(), "/stocks/0/colour", json!("rgb"));
    plain = with(plain, "/stocks/0/print_scale", json!({"x": 1.0, "y": 1}));
    plain = with(plain, "/stocks/0/cutting", json!({"nick_mm": null}));
    plain = with(plain, "/stocks/0/start_offset_mm", json!(0));
    plain = with(plain, "/policy/overs_percent", json!(0));
    plain = with(plain, "/policy/order_tags", json!(false));
    plain = with(plain, "/orders/0/items/0/approved", Value::Null);
    plain = with(plain, "/reprint", Value::Null);
    Shop::open().gang(&plain).assert_done();
}

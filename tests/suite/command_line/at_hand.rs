//! What a run makes when the material at hand does not suffice for all: the contract's `available` and `stock.short`.

use serde_json::{Value, json};

use super::conservation::balanced;
use super::shop::{Shop, item, job, with};

/// One order of one item.
fn order(name: &str, due: Option<&str>, item: &Value) -> Value {
    json!({"order": name, "due": due, "items": [item]})
}

/// A long, thin sticker.
fn bar(length_mm: f64, quantity: u32) -> Value {
    let outline = json!({"shape": "rectangle"});
    let size = json!({"width_mm": 20.0, "height_mm": length_mm});
    json!({"item": "bar", "art": {"file": "leaf.png"}, "size": size, "quantity": quantity, "outline": outline, "rotate": "none"})
}

/// A night of these orders with a filler of the shop's own; `at_hand` of its stock.
fn night(orders: Value, at_hand: Value) -> Value {
    let filler = json!({"item": "ours", "art": {"file": "leaf.png"}, "size": {"width_mm": 20}, "at_most": 30});
    let night = with(job(&json!([])), "/orders", orders);
    with(with(night, "/policy/fill_offcuts_with", json!([filler])), "/stocks/0/available", at_hand)
}

fn placed_of(ticket: &Value, order: usize) -> u64 {
    ticket["orders"][order]["items"][0]["placed"].as_u64().expect("a number")
}

/// The findings with which copies were set aside, all of them for want of material.
fn short_of(ticket: &Value, unit: &str, at_hand: f64) {
    let set_aside = ticket["set_aside"].as_array().expect("a list");
    assert!(!set_aside.is_empty());
    for entry in set_aside {
        let finding = &entry["findings"][0];
        assert_eq!((&finding["code"], &finding["severity"]), (&json!("stock.short"), &json!("reject")));
        assert_eq!((&finding["unit"], finding["limit"].as_f64()), (&json!(unit), Some(at_hand)));
        assert!(finding["measured"].as_f64() > Some(at_hand), "{finding}");
        assert!(finding["remedy"].as_str().is_some_and(|remedy| remedy.contains("material")));
    }
}

#[test]
fn orders_that_are_due_later_are_set_aside_first() {
    let shop = Shop::open();
    let orders = json!([
        order("undated", None, &item("1", "good.png", 9)),
        order("late", Some("2026-12-24"), &item("1", "good.png", 12)),
        order("soon", Some("2026-12-01"), &item("1", "good.png", 11)),
    ]);
    let night = night(orders, json!(2));
    shop.gang(&night).assert_done();
    let ticket = shop.ticket();
    assert_eq!(balanced(&night, &ticket), 3);
    assert_eq!(ticket["totals"]["sheets"], 2);
    short_of(&ticket, "sheets", 2.0);
    // All copies are alike, so that two full sheets hold as many as any two.
    let (undated, late, soon) = (placed_of(&ticket, 0), placed_of(&ticket, 1), placed_of(&ticket, 2));
    assert_eq!((undated, soon), (0, 11));
    assert!((1..12).contains(&late), "{late}");
    let set_aside = ticket["set_aside"][1]["copies"].as_array().expect("copies");
    assert_eq!(set_aside.first(), Some(&json!(late + 1)), "the first copies are made");
    assert_eq!((&ticket["orders"][2]["complete"], &ticket["orders"][1]["complete"]), (&json!(true), &json!(false)));
    assert_eq!(ticket["totals"]["fillers"], 0, "ordered copies wait, so no filler is made");
}

#[test]
fn small_late_copies_go_where_a_large_one_leaves_room() {
    let shop = Shop::open();
    let large = with(item("1", "good.png", 3), "/size", json!({"width_mm": 100}));
    let orders = json!([
        order("large", Some("2026-12-01"), &large),
        order("small", Some("2026-12-02"), &with(item("1", "leaf.png", 40), "/size", json!({"width_mm": 25}))),
    ]);
    let night = night(orders, json!(1));
    shop.gang(&night).assert_done();
    let ticket = shop.ticket();
    assert_eq!(balanced(&night, &ticket), 2);
    assert_eq!((&ticket["totals"]["sheets"], placed_of(&ticket, 0)), (&json!(1), 1));
    assert!(placed_of(&ticket, 1) >= 4, "a strip of 116 x 76 mm holds four of 25 mm: {}", placed_of(&ticket, 1));
    short_of(&ticket, "sheets", 1.0);
}

#[test]
fn a_short_stock_gets_the_effort_that_was_asked_for() {
    let leaf = |name: &str, width_mm: f64, quantity: u32| {
        with(item(name, "leaf.png", quantity), "/size", json!({"width_mm": width_mm}))
    };
    let orders = json!([
        order("late", None, &leaf("1", 31.0, 60)),
        order("soon", Some("2026-12-01"), &leaf("1", 43.0, 9)),
        order("next", Some("2026-12-02"), &leaf("1", 24.0, 60)),
    ]);
    let made = |effort: &str| {
        let shop = Shop::open();
        let night = with(night(orders.clone(), json!(1)), "/policy/effort", json!(effort));
        shop.gang(&night).assert_done();
        let ticket = shop.ticket();
        assert_eq!(balanced(&night, &ticket), 3);
        assert_eq!(ticket["totals"]["sheets"], 1);
        short_of(&ticket, "sheets", 1.0);
        assert_eq!(placed_of(&ticket, 1), 9, "{effort}: the first that is due");
        assert!((1..60).contains(&placed_of(&ticket, 2)) && placed_of(&ticket, 0) < 60, "{effort}");
        placed_of(&ticket, 2)
    };
    let (quick, better) = (made("draft"), made("standard"));
    assert!(better >= quick, "{better} of the second order on a sheet, {quick} at draft");
}

#[test]
fn of_a_roll_no_more_is_cut_off_than_there_is() {
    let roll = json!({"roll": {"width_mm": 300, "max_length_mm": 500}});
    for at_hand in [150.0, 450.5, 600.0] {
        let shop = Shop::open();
        let orders = json!([
            order("long", Some("2026-12-01"), &bar(400.0, 3)),
            order("short", Some("2026-12-02"), &item("1", "good.png", 90)),
        ]);
        let night = with(night(orders, json!(at_hand)), "/stocks/0/form", roll.clone());
        shop.gang(&night).assert_done();
        let ticket = shop.ticket();
        assert_eq!(balanced(&night, &ticket), 2);
        let lengths = ticket["sheets"].as_array().expect("sheets").iter();
        let cut_off: f64 = lengths.map(|sheet| sheet["height_mm"].as_f64().expect("a number")).sum();
        assert!(cut_off <= at_hand + 1e-3, "{cut_off} of {at_hand} mm");
        // A row of discs is under 42 mm long, and a length of its own has 32 mm of leader and trailer besides.
        assert!(cut_off > at_hand - 75.0, "{cut_off} of {at_hand} mm");
        assert_eq!(placed_of(&ticket, 0), if at_hand < 432.0 { 0 } else { 3 }, "what is too long is passed over");
        assert!(placed_of(&ticket, 1) > 0);
        short_of(&ticket, "mm", at_hand);
    }
}

#[test]
fn enough_material_changes_nothing() {
    let orders = || json!([order("a", None, &item("1", "good.png", 11))]);
    let made = |at_hand: Value| {
        let shop = Shop::open();
        shop.gang(&night(orders(), at_hand)).assert_done();
        shop.ticket()
    };
    let (enough, unsaid) = (made(json!(2)), made(Value::Null));
    assert_eq!((&enough["sheets"], &enough["set_aside"]), (&unsaid["sheets"], &json!([])));
    assert!(enough["totals"]["fillers"].as_u64() > Some(0));
    assert_eq!(enough["settings"]["stocks"]["white"]["available"], 2);
}

#[test]
fn without_any_material_nothing_is_placed() {
    let shop = Shop::open();
    let ended = shop.gang(&night(json!([order("a", None, &item("1", "good.png", 1))]), json!(0)));
    assert_eq!(ended.code, 2, "{}", ended.stderr);
    assert!(ended.stderr.contains("stock.short"), "{}", ended.stderr);
    shop.assert_nothing_written(&[]);
}

#[test]
fn sheets_come_whole_and_an_estimate_does_not_count_them() {
    let shop = Shop::open();
    shop.gang(&night(json!([order("a", None, &item("1", "good.png", 1))]), json!(1.5)))
        .assert_refused("job.wrong_type", "/stocks/0/available");
    let stock = json!({"stock": "white", "form": {"sheet": {"size": "iso_a5_148x210mm"}}, "available": 1});
    let request =
        json!({"item": {"art": {"file": "good.png"}, "size": {"width_mm": 40}}, "stock": stock, "quantities": [100]});
    let estimate = shop.ask("estimate", &request, &[]).json();
    assert!(estimate["quantities"][0]["sheets"].as_u64() > Some(8), "{estimate}");
    assert_eq!(estimate["settings"]["stock"]["available"], 1);
}

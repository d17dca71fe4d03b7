//! Ordered = placed + set aside, for every item, always.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::shop::{Shop, item, job, with};

/// Copies placed by (order, item), counted from the sheets.
fn placed(ticket: &Value) -> BTreeMap<(String, String), Vec<u64>> {
    let mut found: BTreeMap<_, Vec<u64>> = BTreeMap::new();
    for sheet in ticket["sheets"].as_array().expect("sheets") {
        for placement in sheet["placements"].as_array().expect("placements") {
            if placement["filler"] == false && placement["over"] == false {
                let word = |field: &str| placement[field].as_str().expect("an id").to_owned();
                let copy = placement["copy"].as_u64().expect("a number");
                found.entry((word("order"), word("item"))).or_default().push(copy);
            }
        }
    }
    found
}

/// Holds every copy of every item to be placed once or set aside once, and nothing else made; gives the number of items.
pub(super) fn balanced(night: &Value, ticket: &Value) -> usize {
    let mut counted = placed(ticket);
    for entry in ticket["set_aside"].as_array().expect("a list").iter().filter(|entry| !entry["order"].is_null()) {
        let key =
            (entry["order"].as_str().expect("an id").to_owned(), entry["item"].as_str().expect("an id").to_owned());
        let copies = entry["copies"].as_array().expect("copies").iter().filter_map(Value::as_u64);
        counted.entry(key).or_default().extend(copies);
    }
    let mut checked = 0;
    for order in night["orders"].as_array().expect("orders") {
        for line in order["items"].as_array().expect("items") {
            let key =
                (order["order"].as_str().expect("an id").to_owned(), line["item"].as_str().expect("an id").to_owned());
            let mut copies = counted.remove(&key).unwrap_or_default();
            copies.sort_unstable();
            let wanted: Vec<u64> = (1..=line["quantity"].as_u64().expect("a number")).collect();
            assert_eq!(copies, wanted, "{key:?}");
            checked += 1;
        }
    }
    assert!(counted.is_empty(), "nothing is made that nobody ordered: {counted:?}");
    checked
}

#[test]
fn every_copy_is_placed_once_or_set_aside_once() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let large = with(item("large", "good.png", 4), "/size", json!({"width_mm": 300}));
    let mut night =
        job(&json!([item("a", "good.png", 13), item("b", "leaf.png", 1), item("bad", "bad.png", 5), large]));
    let second = json!({"order": "2", "items": [item("a", "leaf.png", 17), item("c", "good.png", 2)]});
    night["orders"].as_array_mut().expect("a list").push(second);
    shop.gang(&night).assert_done();
    let ticket = shop.ticket();
    assert_eq!(balanced(&night, &ticket), 6);
    let totals = &ticket["totals"];
    assert_eq!((&totals["ordered"], &totals["placed"], &totals["set_aside"]), (&json!(42), &json!(33), &json!(9)));
}

#[test]
fn fillers_say_so_and_belong_to_no_order() {
    let shop = Shop::open();
    let filler = json!({"item": "ours", "art": {"file": "leaf.png"}, "size": {"width_mm": 20}, "at_most": 4});
    shop.gang(&with(job(&json!([item("1", "good.png", 2)])), "/policy/fill_offcuts_with", json!([filler])))
        .assert_done();
    let ticket = shop.ticket();
    let fillers: Vec<&Value> = ticket["sheets"][0]["placements"]
        .as_array()
        .expect("placements")
        .iter()
        .filter(|placement| placement["filler"] == true)
        .collect();
    assert_eq!(fillers.len(), 4, "a half-empty sheet has room for four");
    for (number, filler) in (1..).zip(fillers) {
        assert_eq!((&filler["order"], &filler["item"]), (&Value::Null, &json!("ours")));
        assert!(filler["copy"].as_u64().is_some_and(|copy| (1..=4).contains(&copy)), "{number}: {filler}");
    }
    assert_eq!((&ticket["totals"]["placed"], &ticket["totals"]["fillers"]), (&json!(2), &json!(4)));
}

#[test]
fn a_broken_filler_is_left_out_and_said() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let filler = json!({"item": "ours", "art": {"file": "bad.png"}, "size": {"width_mm": 20}, "at_most": 4});
    shop.gang(&with(job(&json!([item("1", "good.png", 2)])), "/policy/fill_offcuts_with", json!([filler])))
        .assert_done();
    let ticket = shop.ticket();
    assert_eq!((&ticket["set_aside"][0]["order"], &ticket["set_aside"][0]["item"]), (&Value::Null, &json!("ours")));
    assert_eq!((&ticket["totals"]["placed"], &ticket["totals"]["set_aside"]), (&json!(2), &json!(0)));
}

#[test]
fn orders_that_were_set_aside_whole_are_listed_too() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let mut night = job(&json!([item("1", "good.png", 1)]));
    night["orders"].as_array_mut().expect("a list").push(json!({"order": "lost", "items": [item("1", "bad.png", 2)]}));
    shop.gang(&night).assert_done();
    let ticket = shop.ticket();
    let lost = &ticket["orders"][1];
    assert_eq!((&lost["order"], &lost["complete"], &lost["sheets"]), (&json!("lost"), &json!(false), &json!([])));
    assert_eq!(lost["items"][0]["set_aside"], 2);
}

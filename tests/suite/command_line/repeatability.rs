//! The same job gives the same bytes, with one thread or many.

use serde_json::{Value, json};

use super::shop::{Shop, item, job, with};

/// Every product, two stocks, marks and white ink.
fn mixed_job() -> Value {
    let kiss = with(item("kiss", "leaf.png", 3), "/product", json!("kiss_cut"));
    let page = json!({
        "item": "page", "product": "sticker_sheet", "quantity": 2, "page": {"width_mm": 70, "height_mm": 80},
        "pieces": [{"piece": "a", "art": {"file": "good.png"}, "size": {"width_mm": 30}},
                   {"piece": "b", "art": {"file": "leaf.png"}, "size": {"width_mm": 25}, "copies": 2}],
        "fill": {"with": "smaller_copies", "smallest_mm": 15},
    });
    let clear = with(item("clear", "leaf.png", 6), "/stock", json!("clear"));
    let mut mixed = job(&json!([item("die", "good.png", 7), item("leaf", "leaf.png", 9), kiss, page, clear]));
    mixed = with(mixed, "/defaults", json!({"stock": "white"}));
    with(
        mixed,
        "/stocks",
        json!([
            {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}},
            {"stock": "clear", "form": {"roll": {"width_mm": 200, "max_length_mm": 300}}, "face": "clear",
             "register_marks": {"shape": "disc"}, "cut_lines_in_print": "separations"},
        ]),
    )
}

#[test]
fn the_same_job_gives_the_same_bytes_on_any_number_of_threads() {
    let text = mixed_job().to_string();
    let trees: Vec<_> = [None, None, Some(1), Some(2), Some(5)]
        .into_iter()
        .map(|threads| {
            let shop = Shop::open();
            shop.gang_with(&text, &[], threads).assert_done();
            shop.tree()
        })
        .collect();
    assert!(trees[0].len() > 8, "two stocks and a ticket: {:?}", trees[0].keys());
    for tree in &trees[1..] {
        assert_eq!(tree.keys().collect::<Vec<_>>(), trees[0].keys().collect::<Vec<_>>());
        for (path, bytes) in tree {
            assert!(bytes == &trees[0][path], "{path} differs");
        }
    }
}

#[test]
fn a_date_in_the_job_is_the_only_date() {
    let shop = Shop::open();
    shop.gang(&mixed_job()).assert_done();
    assert_eq!(shop.ticket()["date"], Value::Null);
    for (path, bytes) in shop.tree() {
        if path.ends_with(".pdf") {
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let dates: Vec<&str> = text.match_indices("D:20").filter_map(|(at, _)| text.get(at..at + 10)).collect();
            let first = dates.first().copied();
            assert!(dates.iter().all(|date| Some(*date) == first), "{path}: {dates:?}");
        }
    }
}

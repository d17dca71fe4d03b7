//! Ids are the shop's own words: they may hold nearly anything, and must stay harmless.

use serde_json::{Value, json};

use super::shop::{Shop, good_job, with};

const STRANGE: [&str; 7] = [
    "../../../etc/passwd",
    "a/b\\c:d*e?",
    "<script>alert('1')</script>",
    "\"quoted\" & 'so' ]]> -->",
    "\u{202e}txet\u{202c} \u{5e9}\u{5dc}\u{5d5}\u{5dd}",
    "\u{1f98a}\u{1f3fd}\u{200d}\u{2b50}",
    "=1+1|cmd",
];

fn job_of(id: &str) -> Value {
    with(with(good_job(), "/orders/0/order", json!(id)), "/orders/0/items/0/item", json!(id))
}

#[test]
fn strange_ids_come_back_as_they_were_and_name_no_file() {
    for id in STRANGE {
        let shop = Shop::open();
        shop.gang(&job_of(id)).assert_done();
        let ticket = shop.ticket();
        assert_eq!(ticket["orders"][0]["order"], id);
        assert_eq!(ticket["sheets"][0]["placements"][0]["item"], id);
        let names: Vec<String> = shop.tree().into_keys().collect();
        let usual =
            ["pick-list.pdf", "sheet-001/cut.svg", "sheet-001/preview.png", "sheet-001/print.pdf", "ticket.json"];
        assert_eq!(names, usual, "{id}");
    }
}

#[test]
fn markup_in_ids_stays_text_in_the_cut_file() {
    for id in STRANGE {
        let shop = Shop::open();
        shop.gang(&job_of(id)).assert_done();
        let svg = String::from_utf8(shop.tree()["sheet-001/cut.svg"].clone()).expect("SVG is UTF-8");
        assert!(!svg.contains("<script"), "{svg}");
        assert!(svg.contains("data-order="), "{svg}");
    }
}

#[test]
fn control_characters_and_long_ids_are_refused() {
    let long = "x".repeat(65);
    for id in ["", "a\u{0}b", "a\nb", "tab\t", "\u{7f}", "\u{85}", "\u{fffe}", long.as_str()] {
        let shop = Shop::open();
        let ended = shop.gang(&job_of(id));
        ended.assert_refused("job.", "/orders/0/order");
        ended.assert_refused("job.", "/orders/0/items/0/item");
        shop.assert_nothing_written(&[]);
    }
}

#[test]
fn ids_are_counted_in_characters_not_bytes() {
    let shop = Shop::open();
    shop.gang(&job_of(&"\u{1f98a}".repeat(64))).assert_done();
    shop.gang_with(&job_of(&"\u{1f98a}".repeat(65)).to_string(), &["--replace"], None)
        .assert_refused("job.", "/orders/0/order");
}

#[test]
fn run_and_stock_names_are_fit_for_files() {
    for name in ["../x", ".hidden", "a b", "a/b", "", "\u{e9}t\u{e9}"] {
        let shop = Shop::open();
        shop.gang(&with(good_job(), "/run", json!(name))).assert_refused("job.", "/run");
        shop.gang(&with(good_job(), "/stocks/0/stock", json!(name))).assert_refused("job.", "/stocks/0/stock");
        shop.assert_nothing_written(&[]);
    }
    let shop = Shop::open();
    shop.gang(&with(good_job(), "/run", json!("x".repeat(33)))).assert_refused("job.", "/run");
}

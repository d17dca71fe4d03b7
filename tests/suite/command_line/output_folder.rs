//! The output folder: nobody's files are overwritten unasked, and a run is there whole or not at all.

use std::fs;

use serde_json::json;

use super::shop::{Shop, good_job, with};

#[test]
fn a_folder_with_files_in_it_is_refused_and_kept() {
    let shop = Shop::open();
    fs::create_dir(shop.out()).expect("a folder");
    fs::write(shop.out().join("mine.txt"), "mine").expect("a file");
    let ended = shop.gang(&good_job());
    assert_eq!(ended.code, 1, "{}", ended.stderr);
    assert!(ended.stderr.contains("--replace"), "the way out is told:\n{}", ended.stderr);
    assert_eq!(shop.tree().into_iter().collect::<Vec<_>>(), [("mine.txt".to_owned(), b"mine".to_vec())]);
}

#[test]
fn an_empty_folder_is_taken() {
    let shop = Shop::open();
    fs::create_dir(shop.out()).expect("a folder");
    shop.gang(&good_job()).assert_done();
    assert_eq!(shop.ticket()["totals"]["placed"], 2);
}

#[test]
fn replace_puts_the_new_run_in_the_old_ones_place() {
    let shop = Shop::open();
    shop.gang(&good_job()).assert_done();
    let other = with(good_job(), "/orders/0/items/0/quantity", json!(3)).to_string();
    assert_eq!(shop.gang_with(&other, &[], None).code, 1, "not without being asked");
    assert_eq!(shop.ticket()["totals"]["placed"], 2);
    shop.gang_with(&other, &["--replace"], None).assert_done();
    assert_eq!(shop.ticket()["totals"]["placed"], 3);
    shop.assert_nothing_written(&["out"]);
}

#[test]
fn a_broken_job_with_replace_leaves_the_old_run_alone() {
    let shop = Shop::open();
    shop.gang(&good_job()).assert_done();
    let before = shop.tree();
    let broken = with(good_job(), "/orders/0/items/0/quantity", json!(0)).to_string();
    shop.gang_with(&broken, &["--replace"], None).assert_refused("job.", "/orders/0/items/0/quantity");
    shop.keep("bad.png", b"no picture");
    let empty = with(good_job(), "/orders/0/items/0/art", json!({"file": "bad.png"})).to_string();
    assert_eq!(shop.gang_with(&empty, &["--replace"], None).code, 2);
    assert_eq!(shop.tree(), before);
    shop.assert_nothing_written(&["out", "bad.png"]);
}

#[test]
fn a_finished_run_leaves_nothing_but_its_folder() {
    let shop = Shop::open();
    shop.gang(&good_job()).assert_done();
    shop.assert_nothing_written(&["out"]);
}

#[test]
fn a_place_that_is_a_file_is_refused_and_kept() {
    let shop = Shop::open();
    shop.keep("out", b"a file of mine");
    let ended = shop.gang_with(&good_job().to_string(), &["--replace"], None);
    assert_eq!(ended.code, 1, "{}", ended.stderr);
    assert_eq!(fs::read(shop.out()).expect("still a file"), b"a file of mine");
}

#[test]
fn only_what_was_asked_for_is_written() {
    let shop = Shop::open();
    shop.gang(&with(good_job(), "/outputs", json!(["cut_svg", "sheet_png"]))).assert_done();
    let names: Vec<String> = shop.tree().into_keys().collect();
    assert_eq!(names, ["sheet-001/cut-window.svg", "sheet-001/cut.svg", "sheet-001/sheet.png", "ticket.json"]);
}

//! A picture that cannot be printed is set aside with its findings, and the rest of the night goes on.

use serde_json::{Value, json};

use image::{Rgba, RgbaImage};

use super::shop::{Ended, Shop, disc, good_job, item, job, png, with};

/// Runs a good sticker beside a bad one.
fn run_beside(bytes: &[u8]) -> (Shop, Ended) {
    let shop = Shop::open();
    shop.keep("bad.png", bytes);
    let ended = shop.gang(&job(&json!([item("bad", "bad.png", 3), item("good", "good.png", 2)])));
    (shop, ended)
}

/// The bad one is set aside whole with this reject, the good one is placed.
#[track_caller]
fn assert_set_aside(bytes: &[u8], codes: &[&str]) {
    let (shop, ended) = run_beside(bytes);
    ended.assert_done();
    let ticket = shop.ticket();
    let aside = ticket["set_aside"].as_array().expect("a list");
    assert_eq!(aside.len(), 1, "{aside:?}");
    assert_eq!(
        (&aside[0]["order"], &aside[0]["item"], &aside[0]["copies"]),
        (&json!("1"), &json!("bad"), &json!([1, 2, 3]))
    );
    let rejects: Vec<&str> =
        findings(&aside[0]).filter(|(_, severity)| *severity == "reject").map(|(code, _)| code).collect();
    assert!(rejects.iter().any(|code| codes.contains(code)), "{rejects:?} has none of {codes:?}");
    assert_eq!(ticket["totals"]["placed"], 2);
    assert_eq!(ticket["orders"][0]["complete"], false);
}

fn findings(entry: &Value) -> impl Iterator<Item = (&str, &str)> {
    let list = entry["findings"].as_array().expect("a list of findings");
    list.iter()
        .map(|finding| (finding["code"].as_str().expect("a code"), finding["severity"].as_str().expect("a severity")))
}

/// A PNG's chunk with a right checksum (PNG, Third Edition, 5.3).
fn chunk(kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let body: Vec<u8> = kind.iter().chain(data).copied().collect();
    let length = u32::try_from(data.len()).expect("short");
    [&length.to_be_bytes()[..], &body, &crc(&body).to_be_bytes()].concat()
}

/// CRC-32 as PNG, Third Edition, annex D writes it.
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| if sum & 1 == 1 { 0xedb8_8320 ^ (sum >> 1) } else { sum >> 1 })
    })
}

#[test]
fn a_cut_short_file_is_set_aside() {
    let whole = png(&disc(400));
    assert_set_aside(&whole[..whole.len() / 2], &["art.unreadable"]);
    assert_set_aside(&whole[..60], &["art.unreadable"]);
}

#[test]
fn what_is_no_picture_is_set_aside() {
    assert_set_aside(b"", &["art.unreadable", "art.unsupported"]);
    assert_set_aside(b"%PDF-1.6 not here", &["art.unreadable", "art.unsupported"]);
    assert_set_aside(&[0; 5000], &["art.unreadable", "art.unsupported"]);
}

#[test]
fn a_blank_picture_is_set_aside() {
    assert_set_aside(&png(&RgbaImage::from_pixel(500, 500, Rgba([10, 20, 30, 0]))), &["art.blank"]);
}

#[test]
fn a_tiny_picture_is_set_aside() {
    assert_set_aside(&png(&disc(12)), &["art.tiny"]);
}

#[test]
fn a_picture_that_claims_to_be_huge_is_set_aside_before_it_is_unpacked() {
    // 250,000 x 250,000 pixels in a hundred bytes: only the header says so.
    let side = 250_000_u32.to_be_bytes();
    let header = [&side[..], &side, &[8, 6, 0, 0, 0]].concat();
    let bomb =
        [b"\x89PNG\r\n\x1a\n".to_vec(), chunk(b"IHDR", &header), chunk(b"IDAT", &[0x78, 0x9c]), chunk(b"IEND", &[])];
    assert_set_aside(&bomb.concat(), &["art.over_limit"]);
}

#[test]
fn a_vector_picture_that_would_read_files_draws_nothing_of_them() {
    let svg = br#"<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>
        <svg xmlns="http://www.w3.org/2000/svg" width="100" height="100"><text>&x;</text></svg>"#;
    assert_set_aside(svg, &["art.unreadable", "art.unsupported", "art.blank", "art.over_limit"]);
}

#[test]
fn a_sticker_larger_than_the_sheet_is_set_aside() {
    let shop = Shop::open();
    let items = json!([item("1", "good.png", 2), item("2", "good.png", 1)]);
    let large = with(job(&items), "/orders/0/items/1/size", json!({"width_mm": 400}));
    let large = with(large, "/orders/0/items/1/accept", json!(["resolution.low"]));
    shop.gang(&large).assert_done();
    let ticket = shop.ticket();
    assert!(findings(&ticket["set_aside"][0]).any(|finding| finding == ("size.too_large", "reject")), "{ticket:#}");
}

#[test]
fn a_sticker_no_larger_than_its_border_is_set_aside() {
    let shop = Shop::open();
    let items = json!([item("1", "good.png", 2), item("2", "good.png", 1)]);
    shop.gang(&with(job(&items), "/orders/0/items/1/size", json!({"width_mm": 5}))).assert_done();
    let ticket = shop.ticket();
    assert!(findings(&ticket["set_aside"][0]).any(|finding| finding == ("size.too_small", "reject")), "{ticket:#}");
}

#[test]
fn when_nothing_can_be_placed_the_exit_says_so_and_nothing_is_written() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let ended = shop.gang(&job(&json!([item("1", "bad.png", 3)])));
    assert_eq!(ended.code, 2, "{}", ended.stderr);
    assert!(ended.stderr.contains("art."), "the reason is told:\n{}", ended.stderr);
    shop.assert_nothing_written(&["bad.png"]);
}

#[test]
fn a_finding_that_was_accepted_is_printed_all_the_same() {
    let shop = Shop::open();
    shop.keep("small.png", &png(&disc(100)));
    let small = with(good_job(), "/orders/0/items/0/art", json!({"file": "small.png"}));
    assert_eq!(shop.gang(&small).code, 2, "100 px on 34 mm are 75 ppi: under 150");
    shop.gang(&with(small, "/orders/0/items/0/accept", json!(["resolution.low"]))).assert_done();
    assert_eq!(shop.ticket()["totals"]["placed"], 2);
}

#[test]
fn every_reason_to_set_an_item_aside_is_told_at_once() {
    let shop = Shop::open();
    let large = with(item("soft", "good.png", 1), "/size", json!({"width_mm": 250}));
    shop.gang(&job(&json!([large, item("good", "good.png", 1)]))).assert_done();
    let ticket = shop.ticket();
    let told: Vec<(&str, &str)> = findings(&ticket["set_aside"][0]).collect();
    assert!(told.contains(&("resolution.low", "reject")), "600 px on 250 mm: {told:?}");
    assert!(told.contains(&("size.too_large", "reject")), "250 mm on A5: {told:?}");
}

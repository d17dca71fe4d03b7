//! `quoin preflight`, `quoin proof` and `quoin estimate`.

use std::fs;

use serde_json::{Value, json};

use super::shop::{Shop, good_job, with};

fn question() -> Value {
    json!({
        "item": {"art": {"file": "good.png"}, "size": {"width_mm": 40}},
        "stock": {"stock": "white", "form": {"sheet": {"size": "iso_a5_148x210mm"}}},
    })
}

/// Names of the fields of an object, sorted.
fn fields(object: &Value) -> Vec<&str> {
    let mut names: Vec<&str> = object.as_object().expect("an object").keys().map(String::as_str).collect();
    names.sort_unstable();
    names
}

fn digest_in(stdout: &[u8]) -> String {
    let text = String::from_utf8(stdout.to_vec()).expect("words");
    let line = text.lines().find_map(|line| line.strip_prefix("Digest:")).expect("the digest is told");
    line.trim().to_owned()
}

#[test]
fn a_report_has_every_field_of_the_contract() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let bad = with(question(), "/item/art/file", json!("bad.png"));
    let unsaid = json!({"item": {"art": {"file": "leaf.png"}}, "stock": question()["stock"]});
    for (request, verdict) in [(question(), "ready"), (bad, "reject"), (unsaid, "ready")] {
        let report = shop.ask("preflight", &request, &[]).json();
        assert_eq!(fields(&report), ["findings", "finished", "measures", "pieces", "settings", "verdict"]);
        assert_eq!(report["verdict"], verdict, "{report:#}");
        let measures = [
            "art_height_px",
            "art_width_px",
            "art_x_px",
            "art_y_px",
            "backdrop",
            "colour_profile",
            "effective_ppi",
            "format",
            "height_px",
            "largest_mm_at_150_ppi",
            "largest_mm_at_300_ppi",
            "parts",
            "suggested_border_mm",
            "suggested_longest_mm",
            "thinnest_mm",
            "translucent_share",
            "width_px",
        ];
        assert_eq!(fields(&report["measures"]), measures);
        assert_eq!(report["settings"]["stock"]["gutter_mm"], 2.0);
        assert_eq!(report["settings"]["item"]["outline"]["border_mm"], 3.0);
        for finding in report["findings"].as_array().expect("a list") {
            let names = ["code", "limit", "measured", "message", "piece", "places", "remedy", "severity", "unit"];
            assert_eq!(fields(finding), names);
        }
    }
    let finished = &shop.ask("preflight", &question(), &[]).json()["finished"];
    assert!((finished["width_mm"].as_f64().expect("a number") - 40.0).abs() < 0.1);
}

#[test]
fn an_estimate_has_every_field_of_the_contract() {
    let shop = Shop::open();
    let request = with(question(), "/quantities", json!([1, 2000]));
    let estimate = shop.ask("estimate", &request, &[]).json();
    let names = [
        "area_mm2",
        "copies_per_sheet",
        "cut_length_mm",
        "findings",
        "finished",
        "ink_share",
        "quantities",
        "settings",
        "verdict",
    ];
    assert_eq!(fields(&estimate), names);
    let [one, many] = estimate["quantities"].as_array().expect("a list").as_slice() else { panic!("{estimate:#}") };
    assert_eq!(fields(one), ["last_sheet_share", "quantity", "sheets", "stock_area_mm2", "stock_length_mm"]);
    assert_eq!((&one["sheets"], &many["quantity"]), (&json!(1), &json!(2000)));
    let per_sheet = estimate["copies_per_sheet"].as_u64().expect("a number");
    assert_eq!(many["sheets"].as_u64(), Some(2000_u64.div_ceil(per_sheet)));
    let own = with(with(question(), "/item/quantity", json!(7)), "/item/tags", json!(["fox"]));
    assert_eq!(shop.ask("estimate", &own, &[]).json()["quantities"][0]["quantity"], 7);
    shop.assert_nothing_written(&[]);
}

#[test]
fn a_proof_is_written_whole_and_twice_the_same() {
    let shop = Shop::open();
    let mut digests = Vec::new();
    for (name, starts) in [("a.png", &b"\x89PNG"[..]), ("a.svg", b"<?xml"), ("a.json", b"{")] {
        let out = ["--out", name];
        let asked = shop.ask("proof", &question(), &out);
        asked.ended.assert_done();
        digests.push(digest_in(&asked.stdout));
        let first = fs::read(shop.path(name)).expect("written");
        assert!(first.starts_with(starts), "{name}");
        assert_eq!(shop.ask("proof", &question(), &out).ended.code, 1, "it is there already");
        shop.ask("proof", &question(), &["--out", name, "--replace"]).ended.assert_done();
        assert_eq!(fs::read(shop.path(name)).expect("written"), first, "{name}");
    }
    digests.dedup();
    assert_eq!(digests.len(), 1, "one sticker, whatever the file: {digests:?}");
    let document: Value = serde_json::from_slice(&fs::read(shop.path("a.json")).expect("written")).expect("JSON");
    assert_eq!(fields(&document), ["digest", "picture", "report"]);
    assert_eq!((&document["digest"], &document["picture"]["media_type"]), (&json!(digests[0]), &json!("image/png")));
    shop.assert_nothing_written(&["a.png", "a.svg", "a.json"]);
}

#[test]
fn what_cannot_be_proved_leaves_nothing() {
    let shop = Shop::open();
    shop.keep("bad.png", b"no picture");
    let bad = with(question(), "/item/art/file", json!("bad.png"));
    let ended = shop.ask("proof", &bad, &["--out", "a.png"]).ended;
    assert_eq!(ended.code, 2, "{}", ended.stderr);
    assert!(ended.stderr.contains("proof.no_sticker") && ended.stderr.contains("art.un"), "{}", ended.stderr);
    let soft = with(question(), "/item/size", json!({"width_mm": 140}));
    shop.ask("proof", &soft, &["--out", "soft.png"]).ended.assert_done();
    let ended = shop.ask("proof", &question(), &["--out", "good.png", "--replace"]).ended;
    assert!(ended.code == 1 && ended.stderr.contains("the job reads it"), "{}", ended.stderr);
    shop.assert_nothing_written(&["bad.png", "soft.png"]);
}

#[test]
fn broken_questions_are_pointed_at() {
    let shop = Shop::open();
    let refused = |command: &str, request: &Value, code: &str, pointer: &str| {
        shop.ask(command, request, &[]).ended.assert_refused(code, pointer);
    };
    refused("preflight", &with(question(), "/item/stock", json!("white")), "job.unknown_field", "/item/stock");
    refused("preflight", &with(question(), "/stock", json!("gloss")), "job.unknown_stock", "/stock");
    refused("preflight", &with(question(), "/view", json!({})), "job.unknown_field", "/view");
    refused("preflight", &json!({"item": {"art": {"file": "good.png"}}}), "job.missing_field", "");
    refused(
        "estimate",
        &json!({"item": {"art": {"file": "good.png"}}, "stock": question()["stock"]}),
        "job.missing_field",
        "/item",
    );
    refused("estimate", &with(question(), "/quantities", json!([0])), "job.out_of_range", "/quantities/0");
    refused("estimate", &with(question(), "/quantities", json!([])), "job.out_of_range", "/quantities");
    refused("estimate", &with(question(), "/item/approved", json!("00")), "job.bad_id", "/item/approved");
    let view = with(question(), "/view", json!({"longest_px": 2001}));
    shop.ask("proof", &view, &["--out", "a.png"]).ended.assert_refused("job.out_of_range", "/view/longest_px");
    shop.assert_nothing_written(&[]);
}

#[test]
fn the_digest_of_a_proof_is_what_a_run_holds_its_stickers_against() {
    let shop = Shop::open();
    let asked = shop.ask("proof", &question(), &["--out", "a.png"]);
    let approved = with(good_job(), "/orders/0/items/0/approved", json!(digest_in(&asked.stdout)));
    shop.gang(&approved).assert_done();
    let wider = with(approved, "/orders/0/items/0/size", json!({"width_mm": 41}));
    let ended = shop.gang_with(&wider.to_string(), &["--replace"], None);
    assert!(ended.code == 2 && ended.stderr.contains("proof.changed"), "{}", ended.stderr);
}

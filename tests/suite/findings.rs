//! What holds of every report, on pictures that nobody would send: measures are numbers, and the same wherever a picture
//! stands.

use std::io::Cursor;
use std::sync::Arc;

use image::{ImageFormat, Rgba, RgbaImage};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::intake::Limits;
use quoin_prepress::order::{
    ArtInput, Design, Face, Form, Inquiry, Margins, Parts, PrintColour, Product, Rotate, Shape, Size, Stock, Thresholds,
};
use quoin_prepress::output::report::Report;
use quoin_prepress::run;
use quoin_prepress::units::Mm;
use serde_json::Value;

use crate::chance::Chance;

const SEED: u64 = 20_261_126;
const PICTURES: u32 = 60;

/// Noise, dust, bars, gradients of alpha, flat colours: of any sides, mostly odd ones.
fn picture(chance: &mut Chance) -> RgbaImage {
    let (width, height) = (32 + chance.below(200), 1 + chance.below(180));
    let kind = chance.below(6);
    let sparse = u64::from(1 + chance.below(400));
    let mut picture = RgbaImage::new(width, height);
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let byte = chance.next();
        let [r, g, b] = [byte as u8, (byte >> 8) as u8, (byte >> 16) as u8];
        *pixel = match kind {
            0 => Rgba([r, g, b, (byte >> 24) as u8]),
            1 => Rgba([r, g, b, if byte.is_multiple_of(sparse) { 255 } else { 0 }]),
            2 => Rgba([0, 0, 0, if (x + y) % 9 < 2 { 255 } else { 0 }]),
            3 => Rgba([255, 255, 255, (x * 255 / width) as u8]),
            4 => Rgba([128, 128, 128, 255]),
            _ => Rgba([r, 40, 40, if x.abs_diff(width / 2) + y < height { 255 } else { 3 }]),
        };
    }
    picture
}

fn inquiry(chance: &mut Chance) -> Inquiry {
    let mut bytes = Cursor::new(Vec::new());
    picture(chance).write_to(&mut bytes, ImageFormat::Png).expect("a picture in memory is written");
    let bytes: Arc<[u8]> = bytes.into_inner().into();
    let size = chance.of(&[0.001, 5.0, 30.0, 99.9, 4_000.0, 100_000.0]);
    let mut design = Design::with_defaults(ArtInput::Bytes(bytes), Size::Longest(Mm::of(size)));
    design.outline.border = Mm::of(chance.of(&[0.0, 0.4, 3.0, 20.0]));
    design.outline.shape = chance.of(&[Shape::Contour, Shape::Contour, Shape::Circle, Shape::Rectangle]);
    design.outline.parts = chance.of(&[Parts::Join, Parts::Separate]);
    design.outline.keep_holes_wider_than = chance.of(&[None, Some(Mm::of(2.0))]);
    let form = Form::Sheet { width: Mm::of(330.0), height: Mm::of(480.0), media: None };
    let mut stock = Stock::with_defaults("plain", form);
    stock.face = chance.of(&[Face::White, Face::Clear]);
    stock.colour = chance.of(&[PrintColour::Rgb, PrintColour::Cmyk]);
    stock.margins = Margins::even(Mm::of(chance.of(&[16.0, 30.0])));
    stock.bleed = Mm::of(chance.of(&[0.0, 1.0, 5.0]));
    let mut thresholds = Thresholds::default();
    for threshold in Thresholds::ALL {
        thresholds.set(threshold.name, chance.of(&[threshold.least, threshold.built_in, threshold.built_in]));
    }
    Inquiry {
        product: Product::DieCut(design),
        quantity: 1,
        rotate: Rotate::Free,
        stock,
        sized: chance.below(5) > 0,
        thresholds,
    }
}

fn report(inquiry: &Inquiry) -> Report {
    run::preflight(inquiry, &Limits::default(), &Cancel::new()).expect("what is wrong with a picture is a finding")
}

/// The places of what is unknown. JSON has no NaN: serde writes null for it, which only fields that may be unknown have.
fn nulls(value: &Value, path: &str, found: &mut Vec<String>) {
    match value {
        Value::Null => found.push(path.to_owned()),
        Value::Array(list) => list.iter().for_each(|value| nulls(value, path, found)),
        Value::Object(fields) => fields.iter().for_each(|(name, value)| nulls(value, &format!("{path}/{name}"), found)),
        Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[test]
fn no_measure_is_ever_other_than_a_number() {
    let mut chance = Chance::new(SEED);
    let mut told = 0;
    for number in 0..PICTURES {
        let inquiry = inquiry(&mut chance);
        let report = report(&inquiry);
        for finding in &report.findings {
            let named = format!("seed {SEED}, picture {number}: {finding:?}");
            assert!(finding.measured.is_none_or(f64::is_finite) && finding.limit.is_none_or(f64::is_finite), "{named}");
            // A measure that was not finite is dropped by `Finding::measured`, which leaves its unit.
            assert_eq!(finding.unit.is_some(), finding.measured.is_some(), "{named}");
            assert!(!finding.message.contains("NaN") && !finding.message.contains("inf "), "{named}");
            assert!(!finding.remedy.contains("NaN") && !finding.remedy.is_empty(), "{named}");
            told += 1;
        }
        let measures = serde_json::to_value(&report.measures).expect("JSON");
        let mut unknown = Vec::new();
        nulls(&measures, "", &mut unknown);
        let readable = report.measures.format.is_some();
        let always = ["/width_px", "/height_px", "/art_width_px", "/translucent_share", "/backdrop"];
        assert!(
            !readable || always.iter().all(|name| !unknown.iter().any(|path| path == name)),
            "{number}: {unknown:?}"
        );
        if let Some(finished) = report.finished {
            assert!(finished.width_mm > 0.0 && finished.height_mm > 0.0, "{number}");
        }
    }
    assert!(told > PICTURES, "only {told} findings");
}

#[test]
fn a_report_is_the_same_whatever_was_asked_before_it() {
    let mut chance = Chance::new(SEED + 1);
    let inquiries: Vec<Inquiry> = (0..12).map(|_| inquiry(&mut chance)).collect();
    let written = |inquiry: &Inquiry| serde_json::to_string(&report(inquiry)).expect("JSON");
    let forwards: Vec<String> = inquiries.iter().map(written).collect();
    let mut backwards: Vec<String> = inquiries.iter().rev().map(written).collect();
    backwards.reverse();
    assert_eq!(forwards, backwards);
}

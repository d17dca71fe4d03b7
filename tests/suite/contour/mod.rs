//! The contour's promises (design section 6) on drawings by chance, and its behaviour on the worst of pictures.
#![allow(clippy::print_stdout, reason = "the suite's table is read with --nocapture")]

mod measure;
mod pictures;
mod strange;

use std::sync::Arc;

use measure::{Measured, measure};
use pictures::{Kind, drawing, picture};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::Artwork;
use quoin_prepress::order::{ArtInput, Design, Form, Parts, Size, Stock, Thresholds};
use quoin_prepress::outline::{Outlined, fit};
use quoin_prepress::silhouette::{CutOut, cut_out};
use quoin_prepress::units::Mm;
use rayon::prelude::*;

use crate::chance::Chance;

/// Drawings of each kind and border.
const SEEDS: u64 = 5;

/// Promises, mm and degrees.
const SIZE_MM: f64 = 0.1;
const BORDER_SHORT_MM: f64 = -0.05;
const OFF_REGION_MM: f64 = 0.05;
const NARROWER_MM: f64 = 0.1;
const CUTTING_RADIUS_MM: f64 = 1.0;
/// Share of the cutting radii that is kept.
const RADIUS_SHARE: f64 = 0.95;
const TURN_DEG: f64 = 1.0;

fn stock() -> Stock {
    Stock::with_defaults("plain", Form::Sheet { width: Mm::of(1000.0), height: Mm::of(1000.0), media: None })
}

/// Parts that are out of reach of each other may stay so.
fn design(longest_mm: f64, border_mm: f64) -> Design {
    let art = ArtInput::Bytes(Arc::from(Vec::new()));
    let mut design = Design::with_defaults(art, Size::Longest(Mm::of(longest_mm)));
    design.outline.border = Mm::of(border_mm);
    design.outline.parts = Parts::Separate;
    design
}

fn outlined(artwork: &Artwork, design: &Design) -> Result<(CutOut, Outlined), Fault> {
    let cut = cut_out(artwork, design.backdrop, &Cancel::new())?;
    let outlined = fit(&cut, design, None, &stock(), &Thresholds::default(), &Cancel::new())?;
    Ok((cut, outlined))
}

/// What of the promises a contour breaks.
fn broken(measured: &Measured, off_size_mm: f64) -> Vec<String> {
    let mut broken = Vec::new();
    let mut hold = |kept: bool, what: String| {
        if !kept {
            broken.push(what);
        }
    };
    hold(off_size_mm.abs() <= SIZE_MM, format!("size off by {off_size_mm:.3} mm"));
    hold(measured.border_short_mm >= BORDER_SHORT_MM, format!("border short by {:.3} mm", measured.border_short_mm));
    hold(measured.off_region_mm <= OFF_REGION_MM, format!("{:.3} mm off the region", measured.off_region_mm));
    hold(measured.worst_turn <= TURN_DEG, format!("a kink of {:.1} degrees", measured.worst_turn));
    let share = (measured.radii_mm.0 / 0.5).min(measured.radii_mm.1 / CUTTING_RADIUS_MM);
    hold(share >= RADIUS_SHARE, format!("radii of {:?} mm", measured.radii_mm));
    hold(measured.crossing.is_none(), format!("lines cross: {:?}", measured.crossing));
    hold(measured.holes == 0, format!("{} holes are open", measured.holes));
    hold(measured.narrower == 0, format!("{} parts are too narrow: {:?}", measured.narrower, measured.narrowest_mm));
    broken
}

/// Draws one drawing's contour and says what it breaks; `None` where the order itself is refused as too small.
fn tried(kind: Kind, border_mm: f64, seed: u64) -> Option<(String, Vec<String>)> {
    let mut chance = Chance::new(seed * 31 + kind as u64 * 7 + border_mm as u64);
    let polygons = drawing(kind, &mut chance);
    let longest_mm = chance.between(20.0, 150.0).max(4.0 * border_mm + 10.0);
    let name = format!("{kind:?} {seed}, {longest_mm:.1} mm, border {border_mm}");
    let design = design(longest_mm, border_mm);
    let (cut, outlined) = match outlined(&picture(polygons), &design) {
        Ok(drawn) => drawn,
        Err(Fault::SizeTooSmall { .. }) => return None,
        Err(fault) => return Some((name, vec![fault.to_string()])),
    };
    let cutting = stock().cutting;
    let narrow = cutting.minimum_width.mm() - NARROWER_MM;
    let measured = measure(&cut, &outlined, border_mm, &cutting, narrow);
    let off_size = outlined.finished_width.max(outlined.finished_height).mm() - longest_mm;
    println!("{name}: {measured:?}");
    Some((name, broken(&measured, off_size)))
}

fn hold_all(kind: Kind) {
    let orders: Vec<(f64, u64)> = [0.0, 0.4, 1.0, 2.0, 3.0, 5.0]
        .into_iter()
        .flat_map(|border| (0..SEEDS).map(move |seed| (border, seed)))
        .collect();
    let count = orders.len();
    let drawn: Vec<(String, Vec<String>)> =
        orders.into_par_iter().filter_map(|(border, seed)| tried(kind, border, seed)).collect();
    assert!(drawn.len() * 10 >= count * 8, "only {} of {count} could be made", drawn.len());
    let broken: Vec<_> = drawn.iter().filter(|(_, broken)| !broken.is_empty()).collect();
    assert!(broken.is_empty(), "{} of {}: {broken:#?}", broken.len(), drawn.len());
}

#[test]
fn blobs_hold_what_is_named() {
    hold_all(Kind::Blob);
}

#[test]
fn stars_hold_what_is_named() {
    hold_all(Kind::Star);
}

#[test]
fn combs_hold_what_is_named() {
    hold_all(Kind::Comb);
}

#[test]
fn dust_holds_what_is_named() {
    hold_all(Kind::Dust);
}

/// Drawings whose first lines were 0.0500 to 0.0513 mm off the region between the places that cubics are fitted to.
#[test]
fn lines_keep_to_the_region_between_stations_too() {
    let drawings = [(Kind::Comb, 0.4, 20), (Kind::Comb, 0.4, 36), (Kind::Star, 0.0, 12), (Kind::Dust, 0.0, 20)];
    for (kind, border, seed) in drawings {
        let (name, broken) = tried(kind, border, seed).expect("this can be made");
        assert!(broken.is_empty(), "{name}: {broken:?}");
    }
}

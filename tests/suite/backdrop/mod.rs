//! Backdrop removal against pictures whose true alpha is known: `fixtures/art/backdrop`.
#![allow(clippy::print_stdout, reason = "the suite's table is read with --nocapture")]

mod measure;

use std::path::Path;

use measure::{Measured, Sample, head, measure, remove, row, samples};
use quoin_prepress::order::BackdropRemove;
use quoin_prepress::silhouette::BackdropFound;
use rayon::prelude::*;

/// Where the art cannot be told from the ground, in parts or at all: white plumage on white, a pale heart on paler grey,
/// grainy paper, light that falls off, grass.
const UNDECIDABLE: [&str; 5] =
    ["near_edge_colour", "paper_noisy", "scanner_uneven", "texture_grass", "white_inside_and_holes"];

fn all() -> Vec<Sample> {
    let found = samples(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/art/backdrop"));
    assert_eq!(found.len(), 17);
    found
}

fn is_kept(found: BackdropFound) -> bool {
    matches!(found, BackdropFound::CannotTell | BackdropFound::CheckerCannotTell)
}

#[test]
fn removed_backdrops_leave_the_true_alpha_and_no_fringe() {
    let all = all();
    let measured: Vec<(&str, Measured)> = all
        .par_iter()
        .map(|sample| (sample.name.as_str(), measure(sample, &remove(sample, BackdropRemove::Auto, 3.5))))
        .collect();
    println!("{}", head());
    measured.iter().for_each(|(name, measured)| println!("{}", row(name, measured)));
    let (kept, removed): (Vec<_>, Vec<_>) = measured.iter().partition(|(_, measured)| is_kept(measured.found));
    let kept: Vec<&str> = kept.iter().map(|(name, _)| *name).collect();
    assert!(kept.iter().all(|name| UNDECIDABLE.contains(name)), "left as they are: {kept:?}");
    let worst =
        |of: fn(&Measured) -> f64| removed.iter().map(|(name, is)| (of(is), *name)).max_by(|a, b| a.0.total_cmp(&b.0));
    let mut overlaps: Vec<f64> = removed.iter().map(|(_, measured)| measured.overlap).collect();
    overlaps.sort_by(f64::total_cmp);
    println!("median overlap {:.4} (asked 0.997)", overlaps[overlaps.len() / 2]);
    assert!(overlaps[overlaps.len() / 2] >= 0.997);
    for (what, asked, found) in [
        ("1 - overlap", 0.02, worst(|measured| 1.0 - measured.overlap)),
        ("fringe, mean of three grounds", 10.0, worst(|measured| measured.fringe.iter().sum::<f64>() / 3.0)),
        ("line, px", 0.6, worst(|measured| measured.line_error_px)),
    ] {
        let (value, name) = found.expect("some backdrops are removed");
        println!("worst {what}: {value:.4} (asked {asked}), {name}");
        assert!(value <= asked, "{what}: {value} in {name}");
    }
}

#[test]
fn more_tolerance_never_removes_less_from_any_picture() {
    let less: Vec<String> = all()
        .par_iter()
        .flat_map_iter(|sample| {
            let covered = |tolerance: f64| {
                let result = remove(sample, BackdropRemove::Always, tolerance);
                result.pixels.pixels().filter(|pixel| pixel.0[3] >= 128).count()
            };
            let counts = [0.5, 1.5, 2.5, 3.5, 4.0, 5.0, 7.0, 10.0].map(covered);
            // The ground only grows; un-mixing then guesses a handful of pixels along its edge anew, by other neighbours.
            let grows = counts.windows(2).any(|pair| pair[1] > pair[0] + pair[0] / 20_000);
            grows.then(|| format!("{}: {counts:?}", sample.name))
        })
        .collect();
    assert!(less.is_empty(), "{less:#?}");
}

//! Equal boxes and discs against closed formulas.

use quoin_prepress::geom::{Point, Rect};
use quoin_prepress::order::Rotate;

use super::outlines::{disc, rectangle, rounded};
use super::{frame, judged, lot, nesting};
use crate::chance::Chance;

/// How many of a pitch fit a room whose last one needs no gutter.
fn fit(room: f64, size: f64, pitch: f64) -> f64 {
    if room < size - 1e-9 { 0.0 } else { ((room - size) / pitch + 1e-9).floor() + 1.0 }
}

/// Copies on the first sheet of as many as fill more than one.
fn on_one_sheet(corners: Vec<Point>, rotate: Rotate, gutter: f64, window: Rect) -> f64 {
    let frame = frame(window, Vec::new());
    let layout = judged(&nesting(&frame, gutter, vec![lot(corners, rotate, 700)]));
    assert!(layout.sheets.len() > 1, "the first sheet is full");
    layout.sheets[0].len() as f64
}

#[test]
fn boxes_with_sharp_or_round_corners_are_no_fewer_than_in_the_best_grid() {
    // Best grid along the window's sides: floor((W + g) / (a + g)) * floor((H + g) / (b + g)), the better of both ways round
    // (elementary).
    let chance = &mut Chance::new(11);
    for case in 0..24 {
        let (width, height) = (chance.between(90.0, 200.0), chance.between(90.0, 200.0));
        let (a, b, gutter) = (chance.between(11.0, 35.0), chance.between(9.0, 30.0), chance.of(&[0.0, 1.0, 2.0, 3.5]));
        let grid = |a: f64, b: f64| fit(width, a, a + gutter) * fit(height, b, b + gutter);
        let rotate = [Rotate::Free, Rotate::QuarterTurns, Rotate::None][case % 3];
        let formula = if rotate == Rotate::None { grid(a, b) } else { grid(a, b).max(grid(b, a)) };
        let corners = if case % 2 == 0 { rectangle(a, b) } else { rounded(a, b, 3.0) };
        let window = Rect::new(7.25, 9.5, 7.25 + width, 9.5 + height);
        let count = on_one_sheet(corners, rotate, gutter, window);
        assert!(count >= formula, "{a} x {b}, gutter {gutter}, {width} x {height}: {count} of {formula}");
    }
}

#[test]
fn a_window_that_a_grid_fills_to_the_last_tick_is_filled() {
    for (columns, rows, a, b, gutter) in
        [(5.0, 7.0, 20.0, 15.0, 2.0), (9.0, 4.0, 11.1, 33.3, 0.0), (3.0, 3.0, 31.7, 31.7, 5.3)]
    {
        let (width, height) = (columns * (a + gutter) - gutter, rows * (b + gutter) - gutter);
        let window = Rect::new(7.25, 9.5, 7.25 + width, 9.5 + height);
        for rotate in [Rotate::Free, Rotate::QuarterTurns, Rotate::None] {
            assert!(on_one_sheet(rectangle(a, b), rotate, gutter, window) >= columns * rows, "{a} x {b} {rotate:?}");
        }
    }
}

#[test]
fn discs_are_no_fewer_than_in_the_best_square_or_hexagonal_rows() {
    // Square: one disc for each pitch d + g across and along. Hexagonal: rows half the square root of three pitches apart, each
    // second one shifted by half a pitch, across or along (the densest lattice: J. L. Lagrange, 1773; A. Thue, 1910).
    let chance = &mut Chance::new(12);
    for case in 0..20 {
        let (width, height) = (chance.between(90.0, 200.0), chance.between(90.0, 200.0));
        let (diameter, gutter) = (chance.between(9.0, 30.0), chance.of(&[0.0, 1.0, 2.0, 3.5]));
        let pitch = diameter + gutter;
        let hexagonal = |width: f64, height: f64| {
            let rows = fit(height, diameter, pitch * 0.75f64.sqrt());
            let (whole, less) = (fit(width, diameter, pitch), fit(width - pitch / 2.0, diameter, pitch));
            (rows / 2.0).ceil() * whole + (rows / 2.0).floor() * less
        };
        let square = fit(width, diameter, pitch) * fit(height, diameter, pitch);
        let formula = square.max(hexagonal(width, height)).max(hexagonal(height, width));
        let rotate = [Rotate::Free, Rotate::None][case % 2];
        let window = Rect::new(7.25, 9.5, 7.25 + width, 9.5 + height);
        let count = on_one_sheet(disc(diameter, 300), rotate, gutter, window);
        assert!(count >= formula, "{diameter}, gutter {gutter}, {width} x {height}: {count} of {formula}");
    }
}

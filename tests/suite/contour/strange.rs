//! The worst of pictures: a good line or a fault within bounded time, and an end within 50 ms of being told to stop.

use std::f64::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use image::{Rgba, RgbaImage};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::{Artwork, Format};
use quoin_prepress::order::{Backdrop, BackdropRemove, Thresholds};
use quoin_prepress::outline::fit;
use quoin_prepress::silhouette::cut_out;
use quoin_tests::processor;

use super::pictures::{Polygon, picture};
use super::{design, measure, outlined, stock};
use crate::chance::Chance;
use crate::threads::on_threads;

/// Seconds of computing that nothing may take: ten times what the slowest takes today, so that a slow machine passes.
const MOST_CPU_S: f64 = 15.0;

/// From being told to stop to having stopped, milliseconds of computing.
const STOPPED_MS: f64 = 50.0;

/// With twenty thousand specks on a large sticker the promise falls short: single steps over all of them take longer.
const STOPPED_WITH_SPECKS_MS: f64 = 150.0;

/// The picture's contour at 60 mm for several borders: within the time, good where it is one.
fn bounded(name: &str, artwork: &Artwork) -> Vec<Result<usize, String>> {
    let draw = |border_mm: f64| {
        let (drawn, took) = on_threads(1, || {
            let began = processor::of_this_thread();
            let drawn = outlined(artwork, &design(60.0, border_mm));
            (drawn, processor::of_this_thread() - began)
        });
        println!("{name}, border {border_mm}: {took:.2} CPU-s");
        assert!(took <= MOST_CPU_S, "{name}, border {border_mm}: {took} CPU-s");
        let (cut, outlined) = drawn.map_err(|fault| fault.code().to_owned())?;
        let measured = measure(&cut, &outlined, border_mm, &stock().cutting, 0.0);
        assert!(measured.crossing.is_none(), "{name}, border {border_mm}: {measured:?}");
        assert!(measured.border_short_mm >= super::BORDER_SHORT_MM, "{name}, border {border_mm}: {measured:?}");
        assert!(measured.off_region_mm <= super::OFF_REGION_MM, "{name}, border {border_mm}: {measured:?}");
        Ok(outlined.through.len())
    };
    [0.0, 0.5, 3.0].map(draw).to_vec()
}

fn plain(width: u32, height: u32, colour: [u8; 4]) -> Artwork {
    Artwork::new(Arc::new(RgbaImage::from_pixel(width, height, Rgba(colour))), Format::Png)
}

/// A snowflake of H. von Koch (1904): every side of a triangle becomes four, again and again.
fn snowflake(size: f64, rounds: u32) -> Polygon {
    let corner = |n: f64| [size / 2.0 * (n / 3.0 * TAU).cos(), size / 2.0 * (n / 3.0 * TAU).sin()];
    let mut polygon: Polygon = [0.0, 1.0, 2.0].map(corner).to_vec();
    for _ in 0..rounds {
        let mut finer = Vec::with_capacity(polygon.len() * 4);
        for (index, [x, y]) in polygon.iter().copied().enumerate() {
            let [to_x, to_y] = polygon[(index + 1) % polygon.len()];
            let (dx, dy) = ((to_x - x) / 3.0, (to_y - y) / 3.0);
            let (sin, cos) = (-TAU / 6.0).sin_cos();
            let tip = [x + dx + dx * cos - dy * sin, y + dy + dx * sin + dy * cos];
            finer.extend([[x, y], [x + dx, y + dy], tip, [x + 2.0 * dx, y + 2.0 * dy]]);
        }
        polygon = finer;
    }
    polygon
}

/// A body and twenty thousand squares of one to four pixels.
fn specks() -> Artwork {
    let mut chance = Chance::new(7);
    let mut pixels = RgbaImage::new(1600, 1600);
    let mut fill = |left: u32, top: u32, width: u32, height: u32| {
        for y in top..(top + height).min(1600) {
            for x in left..(left + width).min(1600) {
                pixels.put_pixel(x, y, Rgba([30, 30, 30, 255]));
            }
        }
    };
    fill(500, 500, 600, 600);
    for _ in 0..20_000 {
        let side = chance.between(1.0, 5.0) as u32;
        fill(chance.between(0.0, 1600.0) as u32, chance.between(0.0, 1600.0) as u32, side, side);
    }
    Artwork::new(Arc::new(pixels), Format::Png)
}

#[test]
fn twenty_thousand_specks_end_in_bounded_time() {
    for drawn in bounded("specks", &specks()) {
        assert!(drawn.is_ok(), "{drawn:?}");
    }
}

#[test]
fn fractal_edges_end_in_bounded_time_and_in_a_line() {
    for drawn in bounded("snowflake", &picture(vec![snowflake(1500.0, 7)])) {
        assert_eq!(drawn, Ok(1));
    }
}

#[test]
fn single_pixels_full_canvases_and_plain_colours_have_a_line_or_a_fault() {
    // Opaque and of one colour: backdrop or art, nobody can tell.
    for drawn in bounded("one pixel", &plain(1, 1, [9, 9, 9, 255])) {
        assert!(matches!(&drawn, Ok(1)) || drawn == Err("art.blank".to_owned()), "{drawn:?}");
    }
    for drawn in bounded("one clear pixel", &plain(1, 1, [9, 9, 9, 200])) {
        assert_eq!(drawn, Ok(1));
    }
    let mut alone = RgbaImage::new(64, 48);
    alone.put_pixel(20, 30, Rgba([200, 0, 0, 255]));
    for drawn in bounded("one pixel of many", &Artwork::new(Arc::new(alone), Format::Png)) {
        assert_eq!(drawn, Ok(1));
    }
    for (name, colour) in [("white", [255; 4]), ("black", [0, 0, 0, 255]), ("grey", [120, 130, 140, 255])] {
        for drawn in bounded(name, &plain(600, 400, colour)) {
            assert!(matches!(&drawn, Ok(1)) || drawn == Err("art.blank".to_owned()), "{name}: {drawn:?}");
        }
    }
    for drawn in bounded("nothing", &plain(300, 300, [255, 255, 255, 0])) {
        assert_eq!(drawn, Err("art.blank".to_owned()));
    }
    let white_art = picture(vec![snowflake(400.0, 2)]);
    let white = RgbaImage::from_fn(white_art.pixels.width(), white_art.pixels.height(), |x, y| {
        Rgba([255, 255, 255, white_art.pixels.get_pixel(x, y).0[3]])
    });
    for drawn in bounded("white on nothing", &Artwork::new(Arc::new(white), Format::Png)) {
        assert_eq!(drawn, Ok(1));
    }
}

/// Raises the flag after some computing and returns how much more was done before the end, ms; `None` when the work was
/// done before.
fn computed_after_the_flag(wait: Duration, work: impl FnOnce(&Cancel) -> Option<Fault> + Send) -> Option<f64> {
    let cancel = Cancel::new();
    let is_done = AtomicBool::new(false);
    let task = std::sync::Mutex::new(None::<String>);
    thread::scope(|scope| {
        let computed = || {
            *task.lock().expect("nobody panics with it") = Some(processor::this_thread());
            let fault = work(&cancel);
            is_done.store(true, Ordering::Release);
            (fault, processor::of_this_thread())
        };
        // On one thread: what others computed would not be counted.
        let worker = scope.spawn(|| on_threads(1, computed));
        let name = loop {
            if let Some(name) = task.lock().expect("nobody panics with it").clone() {
                break name;
            }
            thread::yield_now();
        };
        while processor::of_thread(&name) < wait.as_secs_f64() && !is_done.load(Ordering::Acquire) {
            thread::sleep(Duration::from_millis(1));
        }
        let raised_at = processor::of_thread(&name);
        cancel.raise();
        let (fault, ended_at) = worker.join().expect("the work does not panic");
        matches!(fault, Some(Fault::Cancelled)).then_some((ended_at - raised_at) * 1e3)
    })
}

fn stops(name: &str, most_ms: f64, work: impl Fn(&Cancel) -> Option<Fault> + Sync + Send) {
    let mut stopped = 0;
    for wait_ms in [0, 3, 10, 20, 40, 70, 110, 160, 240, 350, 500, 700, 1000, 1400] {
        let Some(took_ms) = computed_after_the_flag(Duration::from_millis(wait_ms), &work) else { break };
        println!("{name}: told after {wait_ms} ms, stopped in {took_ms:.1} ms");
        assert!(took_ms <= most_ms, "{name}: told after {wait_ms} ms, stopped in {took_ms} ms");
        stopped += 1;
    }
    assert!(stopped > 0, "{name} was done before it could be told");
}

#[test]
fn whoever_is_told_to_stop_stops() {
    let backdrop = Backdrop { remove: BackdropRemove::Auto, tolerance_delta_e: 3.5 };
    // Large, opaque, with windows: an art of rings on a coloured ground.
    let opaque = RgbaImage::from_fn(4000, 4000, |x, y| {
        let (across, down) = (f64::from(x % 1000) - 500.0, f64::from(y % 1000) - 500.0);
        let is_art = (300.0..380.0).contains(&across.hypot(down));
        Rgba(if is_art { [20, 30, 40, 255] } else { [120, 200, 90, 255] })
    });
    let opaque = Artwork::new(Arc::new(opaque), Format::Png);
    stops("backdrop", STOPPED_MS, |cancel| cut_out(&opaque, backdrop, cancel).err());
    let clear = plain(6000, 6000, [9, 9, 9, 255]);
    let never = Backdrop { remove: BackdropRemove::Never, ..backdrop };
    stops("silhouette", STOPPED_MS, |cancel| cut_out(&clear, never, cancel).err());
    let flake = picture(vec![snowflake(1500.0, 7)]);
    for border_mm in [0.0, 3.0] {
        for (artwork, most_ms) in [(&flake, STOPPED_MS), (&specks(), STOPPED_WITH_SPECKS_MS)] {
            let cut = cut_out(artwork, backdrop, &Cancel::new()).expect("there is art");
            let order = design(150.0, border_mm);
            stops("contour", most_ms, |cancel| fit(&cut, &order, None, &stock(), &Thresholds::default(), cancel).err());
        }
    }
}

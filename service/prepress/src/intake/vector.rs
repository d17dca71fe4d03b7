//! SVG from strangers: checked, parsed and rendered in memory.
//!
//! Known attacks and what stands against each: a document type with entities that grow without end (refused before
//! parsing; a bare one, which declares nothing, is dropped); deep nesting that overflows the stack (counted before parsing, and a stack of our own); references to files
//! and hosts (never resolved); embedded pictures that decode to gigabytes (their header is read first); SVG in SVG
//! (refused); filters and layers of absurd size (added up before rendering); sizes that are no numbers (the parser).

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use image::RgbaImage;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Error, FontResolver, ImageHrefResolver, ImageKind, Options, Tree, fontdb, roxmltree};

use super::drawing::{Drawing, Rendering, Scale};
use super::kind::recognise;
use super::limits::Limits;
use super::samples::{straight, unreadable};
use super::{budget, live_text, markup, raster};
use crate::fault::Fault;
use crate::lettering;
use crate::units::MM_PER_INCH;

/// Stack for parsing and rendering: several times what the deepest markup let through, each level reached through
/// references, took.
const STACK_BYTES: usize = 256 << 20;

/// Longest side of a canvas in the drawing's own pixels of 1/96 inch, 265 m: beyond that the renderer's arithmetic in 32
/// bits loses whole pixels. Common practice, no source.
const MAX_CANVAS: f64 = 1e6;

/// The namespace of a drawing's elements (SVG 2, 5.1).
const SVG_NAMESPACE: &str = "http://www.w3.org/2000/svg";

/// Elements of a drawing once its references are followed: what the parser takes.
const MAX_ELEMENTS: f64 = 1e6;

/// How far a drawing that is too much work is made smaller, at most: a quarter of a side is a sixteenth of the work.
const LEAST_SHARE: f64 = 0.25;

/// How much smaller a drawing is tried when it is too much work.
const SMALLER: f64 = 0.7;

/// Parses and renders a drawing, in this process. Meant for a process of its own: see [`super::Drawings`].
///
/// # Errors
/// `art.unreadable`, `art.unsupported`, `art.over_limit`.
pub fn render(drawing: &Drawing<'_>) -> Result<Rendering, Fault> {
    let text = markup::unpacked(drawing.bytes, drawing.limits.max_drawing_bytes)?;
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(&text);
    let text = markup::without_bare_document_type(text);
    let text = text.as_ref();
    markup::check(text)?;
    // A thread of our own for its stack; its join also catches what the renderer's assertions throw.
    std::thread::scope(|scope| {
        let work = std::thread::Builder::new().stack_size(STACK_BYTES);
        let running = work
            .spawn_scoped(scope, || render_text(text, &drawing.scale, drawing.limits))
            .map_err(|_| unreadable("no room to render the drawing"))?;
        running.join().unwrap_or_else(|_| Err(unreadable("a drawing that breaks the renderer")))
    })
}

fn render_text(text: &str, scale: &Scale, limits: &Limits) -> Result<Rendering, Fault> {
    let document = roxmltree::Document::parse(text).map_err(|error| unreadable(&error.to_string()))?;
    let embedded = Shared::default();
    let tree = Tree::from_xmltree(&document, &options(*limits, &embedded));
    let tree = tree.map_err(|error| unusable(&error))?;
    let parts_elsewhere = document.descendants().filter(uses_another_file).count();
    drop(document);
    let embedded = std::mem::take(&mut *seen(&embedded));
    if let Some(fault) = embedded.stopped {
        return Err(fault);
    }
    let sheet = Sheet::affordable(&tree, scale, limits)?;
    let mut pixmap = Pixmap::new(sheet.width_px, sheet.height_px).ok_or_else(no_size)?;
    resvg::render(&tree, sheet.transform, &mut pixmap.as_mut());
    Ok(Rendering {
        pixels: straight_alpha(pixmap)?,
        canvas_px: sheet.canvas_px,
        canvas_mm: (canvas_mm(tree.size().width()), canvas_mm(tree.size().height())),
        live_text: live_text::words(&tree),
        missing_parts: embedded.missing + parts_elsewhere,
        spent: Duration::ZERO,
    })
}

/// From the drawing's own pixels.
fn canvas_mm(side: f32) -> f64 {
    f64::from(side) / 96.0 * MM_PER_INCH
}

/// Whether an element stands for one of another file (SVG 2, 5.6.2), which is never read.
fn uses_another_file(node: &roxmltree::Node<'_, '_>) -> bool {
    let href = || node.attributes().find(|attribute| attribute.name() == "href");
    node.has_tag_name((SVG_NAMESPACE, "use")) && href().is_some_and(|href| !href.value().trim().starts_with('#'))
}

/// What the parser gave up on. References that multiply until there are too many elements come back as a limit of its
/// reader, which has none of its own here.
fn unusable(error: &Error) -> Fault {
    let too_many =
        matches!(error, Error::ElementsLimitReached | Error::ParsingFailed(roxmltree::Error::NodesLimitReached));
    if too_many { Fault::art_just_over(MAX_ELEMENTS, "elements") } else { unreadable(&error.to_string()) }
}

fn no_size() -> Fault {
    unreadable("a canvas without size")
}

/// What is rendered: a window on the canvas, in whole pixels.
struct Sheet {
    width_px: u32,
    height_px: u32,
    canvas_px: (u32, u32),
    transform: Transform,
}

impl Sheet {
    /// As large as asked, or as much of it as the limits and the renderer's budget allow.
    fn affordable(tree: &Tree, scale: &Scale, limits: &Limits) -> Result<Sheet, Fault> {
        let size = (f64::from(tree.size().width()), f64::from(tree.size().height()));
        if !(size.0.is_finite() && size.1.is_finite() && size.0 > 0.0 && size.1 > 0.0) {
            return Err(no_size());
        }
        let longest = size.0.max(size.1);
        if longest > MAX_CANVAS {
            return Err(Fault::ArtOverLimit { measured: longest, limit: MAX_CANVAS, unit: "px" });
        }
        let least_px = f64::from(scale.least_px.min(scale.longest_px).max(1));
        let mut longest_px = within_limits(size, scale, limits, least_px)?;
        let least_px = least_px.max(longest_px * LEAST_SHARE).floor();
        loop {
            let sheet = Sheet::new(size, scale, longest_px);
            let can_shrink = longest_px > least_px;
            let most_ns = if can_shrink { budget::COMFORTABLE_NS } else { budget::MOST_NS };
            match budget::check(tree, sheet.transform, (sheet.width_px, sheet.height_px), most_ns) {
                Err(_) if can_shrink => longest_px = (longest_px * SMALLER).floor().max(least_px),
                Err(fault) => return Err(fault),
                Ok(()) => return Ok(sheet),
            }
        }
    }

    fn new((width, height): (f64, f64), scale: &Scale, longest_px: f64) -> Sheet {
        let to_px = longest_px / width.max(height);
        let canvas = (side_px(width * to_px), side_px(height * to_px));
        // The window grows to whole pixels, and stays on the canvas.
        let span = |from: f64, length: f64, side: u32| {
            let side = f64::from(side);
            let low = (from * side).floor().clamp(0.0, side - 1.0);
            let high = ((from + length) * side).ceil().clamp(low + 1.0, side);
            (low, high - low)
        };
        let (left, width_px) = span(scale.window.x, scale.window.width, canvas.0);
        let (top, height_px) = span(scale.window.y, scale.window.height, canvas.1);
        let (scale_x, scale_y) = (f64::from(canvas.0) / width, f64::from(canvas.1) / height);
        Sheet {
            width_px: width_px as u32,
            height_px: height_px as u32,
            canvas_px: canvas,
            transform: Transform::from_row(scale_x as f32, 0.0, 0.0, scale_y as f32, -left as f32, -top as f32),
        }
    }
}

/// Pixels of a canvas's side; at least one.
fn side_px(length: f64) -> u32 {
    length.round().clamp(1.0, f64::from(u32::MAX)) as u32
}

/// The longest side of the canvas that keeps its window within the limits.
fn within_limits(size: (f64, f64), scale: &Scale, limits: &Limits, least_px: f64) -> Result<f64, Fault> {
    let longest = size.0.max(size.1);
    // Sides of the window when the canvas's longest side is one pixel.
    let (width, height) = (size.0 / longest * scale.window.width, size.1 / longest * scale.window.height);
    let by_area = (limits.max_pixels as f64 / (width * height)).sqrt().floor();
    let by_side = (f64::from(limits.max_side_px) / width.max(height)).floor();
    let longest_px = f64::from(scale.longest_px).min(by_area).min(by_side).max(1.0);
    if longest_px < least_px {
        let measured = (width * height * least_px.powi(2)).ceil();
        return Err(Fault::ArtOverLimit { measured, limit: limits.max_pixels as f64, unit: "pixels" });
    }
    Ok(longest_px)
}

/// Pixmap pixels are premultiplied; ours are straight.
fn straight_alpha(pixmap: Pixmap) -> Result<RgbaImage, Fault> {
    let (width_px, height_px) = (pixmap.width(), pixmap.height());
    let mut samples = pixmap.take();
    for pixel in samples.chunks_exact_mut(4) {
        let alpha = pixel[3];
        if alpha != 0 && alpha != 255 {
            pixel[..3].iter_mut().for_each(|sample| *sample = straight(*sample, alpha));
        }
    }
    RgbaImage::from_raw(width_px, height_px, samples).ok_or_else(no_size)
}

/// Parser options that reach nothing outside the file.
fn options(limits: Limits, shared: &Shared) -> Options<'static> {
    let (opened, linked) = (Arc::clone(shared), Arc::clone(shared));
    Options {
        resources_dir: None,
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(move |_, data, _| embedded(&data, &limits, &opened)),
            resolve_string: Box::new(move |_, _| missing(&linked)),
        },
        font_resolver: FontResolver {
            // Whatever family is asked for, the bundled one is what we have: words in another face with a finding are
            // better than words that vanish.
            select_font: Box::new(|wanted, faces| {
                let off = |face: &&fontdb::FaceInfo| face.weight.0.abs_diff(wanted.weight());
                faces.faces().min_by_key(off).map(|face| face.id)
            }),
            select_fallback: Box::new(|_, _, _| None),
        },
        fontdb: Arc::new(fonts()),
        ..Options::default()
    }
}

/// The bundled faces and no others: what a machine has installed would change the picture.
fn fonts() -> fontdb::Database {
    let mut faces = fontdb::Database::new();
    faces.load_font_data(lettering::REGULAR.to_vec());
    faces.load_font_data(lettering::BOLD.to_vec());
    faces
}

/// What became of the pictures in a drawing.
#[derive(Default)]
struct Embedded {
    /// The first one over a limit stops the drawing.
    stopped: Option<Fault>,
    /// Places that stay empty.
    missing: usize,
}

type Shared = Arc<Mutex<Embedded>>;

fn seen(shared: &Shared) -> MutexGuard<'_, Embedded> {
    // A poisoned lock only means that another picture panicked; what was seen is still good.
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// An embedded picture: opened by the same door as one that comes by itself, and handed on as plain pixels. One that cannot
/// be opened is left out, as browsers do; one over the limits is the whole drawing's fault.
fn embedded(data: &[u8], limits: &Limits, shared: &Shared) -> Option<ImageKind> {
    let Some(format) = recognise(data).of_pixels() else { return missing(shared) };
    match raster::open(data, format, limits) {
        Ok(artwork) => as_png(&artwork.pixels),
        Err(fault @ Fault::ArtOverLimit { .. }) => {
            seen(shared).stopped.get_or_insert(fault);
            None
        }
        Err(_) => missing(shared),
    }
}

/// A picture that is left out.
fn missing(shared: &Shared) -> Option<ImageKind> {
    seen(shared).missing += 1;
    None
}

/// Pixels in the only wrapping that the renderer takes without loss.
fn as_png(pixels: &RgbaImage) -> Option<ImageKind> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, pixels.width(), pixels.height());
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_compression(png::Compression::Fastest);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(pixels.as_raw()).ok()?;
    writer.finish().ok()?;
    Some(ImageKind::PNG(Arc::new(bytes)))
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::super::drawing::Window;
    use super::*;

    const NS: &str = "xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\"";

    fn draw(text: &str, longest_px: u32, limits: &Limits) -> Result<Rendering, Fault> {
        render(&Drawing { bytes: text.as_bytes(), scale: Scale::whole(longest_px), limits, spent: Duration::ZERO })
    }

    fn open_svg(inside: &str) -> Result<Rendering, Fault> {
        draw(&format!("<svg {NS} width=\"40\" height=\"20\">{inside}</svg>"), 80, &Limits::default())
    }

    fn code(inside: &str) -> &'static str {
        open_svg(inside).err().map_or("", |fault| fault.code())
    }

    #[test]
    fn a_drawing_fills_the_canvas_at_the_size_asked_with_straight_alpha() {
        let half_red = "<rect width=\"40\" height=\"20\" fill=\"red\" opacity=\"0.5\"/>";
        let art = open_svg(half_red).unwrap();
        assert_eq!(art.pixels.dimensions(), (80, 40));
        let [red, green, blue, alpha] = art.pixels.get_pixel(40, 20).0;
        assert_eq!((red, green, blue), (255, 0, 0), "straight alpha keeps full red");
        assert!((127..=128).contains(&alpha));
        assert!(art.live_text.is_empty());
    }

    #[test]
    fn references_to_files_and_hosts_draw_nothing() {
        let here = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
        for href in [here, "file:///etc/hostname", "http://127.0.0.1/a.png", "a.png"] {
            let art = open_svg(&format!("<image href=\"{href}\" width=\"40\" height=\"20\"/>")).unwrap();
            assert!(art.pixels.pixels().all(|pixel| pixel.0[3] == 0), "{href}");
            assert_eq!(art.missing_parts, 1, "{href}");
        }
    }

    #[test]
    fn parts_of_other_files_are_missing_and_those_of_its_own_are_not() {
        let inside = "<g id=\"a\"/><use href=\"#a\"/><use xlink:href=\"b.svg#a\"/>";
        assert_eq!(open_svg(inside).unwrap().missing_parts, 1);
    }

    #[test]
    fn an_embedded_drawing_is_not_opened() {
        let inner =
            "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg'%3E%3Crect width='9' height='9'/%3E%3C/svg%3E";
        let art = open_svg(&format!("<image href=\"{inner}\" width=\"40\" height=\"20\"/>")).unwrap();
        assert!(art.pixels.pixels().all(|pixel| pixel.0[3] == 0));
        assert_eq!(art.missing_parts, 1);
    }

    #[test]
    fn an_embedded_picture_over_the_limits_is_not_decoded() {
        let mut png = Vec::new();
        let encoder = image::codecs::png::PngEncoder::new(std::io::Cursor::new(&mut png));
        let red = RgbaImage::from_pixel(50, 50, image::Rgba([255, 0, 0, 255]));
        red.write_with_encoder(encoder).unwrap();
        let shared = Shared::default();
        assert!(matches!(embedded(&png, &Limits::default(), &shared), Some(ImageKind::PNG(_))));
        assert!(embedded(&png, &Limits { max_pixels: 2499, ..Limits::default() }, &shared).is_none());
        let fault = seen(&shared).stopped.take();
        assert!(matches!(fault, Some(Fault::ArtOverLimit { unit: "pixels", .. })));
    }

    #[test]
    fn document_types_that_declare_something_are_refused_and_bare_ones_are_not() {
        let doctype = |declaration: &str| {
            let text = format!("<?xml version=\"1.0\"?>{declaration}<svg {NS} width=\"9\" height=\"9\"/>");
            draw(&text, 80, &Limits::default()).err().map(|fault| fault.code())
        };
        assert_eq!(doctype("<!DOCTYPE svg [<!ENTITY a \"b\">]>"), Some("art.unsupported"));
        assert_eq!(
            doctype("<!DOCTYPE svg SYSTEM \"x]>\" [<!ENTITY a SYSTEM \"file:///etc/passwd\">]>"),
            Some("art.unsupported")
        );
        assert_eq!(doctype("<!DOCTYPE svg PUBLIC \"-//W3C//DTD SVG 1.1//EN\" \"http://www.w3.org/svg11.dtd\">"), None);
    }

    #[test]
    fn deep_nesting_is_refused_before_it_is_parsed() {
        let deep = |levels: usize| "<g>".repeat(levels) + &"</g>".repeat(levels);
        assert_eq!(code(&deep(20_000)), "art.over_limit");
        assert_eq!(code(&deep(150)), "");
        let comments = "<!-- <g> -->".repeat(1000);
        assert_eq!(code(&comments), "", "what stands in comments is no nesting");
    }

    #[test]
    fn doubling_references_end_in_a_fault() {
        let mut inside = "<g id=\"a0\"><rect width=\"9\" height=\"9\"/></g>".to_owned();
        for level in 1..30 {
            let before = level - 1;
            inside += &format!("<g id=\"a{level}\"><use href=\"#a{before}\"/><use href=\"#a{before}\"/></g>");
        }
        assert_eq!(code(&inside), "art.over_limit");
    }

    #[test]
    fn filters_of_absurd_size_are_refused() {
        let noise = "<filter id=\"f\"><feTurbulence baseFrequency=\"0.1\" numOctaves=\"99999999\"/></filter>\
             <rect width=\"40\" height=\"20\" filter=\"url(#f)\"/>";
        assert_eq!(code(noise), "art.over_limit");
    }

    #[test]
    fn sizes_that_are_no_numbers_are_faults_or_drawn() {
        for size in ["width=\"NaN\" height=\"-5\"", "width=\"1e9mm\" height=\"1e9mm\"", "viewBox=\"0 0 NaN 0\""] {
            let text = format!("<svg {NS} {size}><rect width=\"10\" height=\"10\"/></svg>");
            if let Ok(art) = draw(&text, 80, &Limits::default()) {
                assert!(art.pixels.width().max(art.pixels.height()) <= 80, "{size}");
            }
        }
    }

    #[test]
    fn live_text_is_drawn_in_the_bundled_face_and_its_words_are_told() {
        let art = open_svg("<text x=\"2\" y=\"15\" font-family=\"Nowhere\">Hi  you</text>").unwrap();
        assert_eq!(art.live_text, ["Hi you"]);
        assert!(art.pixels.pixels().any(|pixel| pixel.0[3] > 200), "words do not vanish");
        assert!(open_svg("<text> </text><rect width=\"9\" height=\"9\"/>").unwrap().live_text.is_empty());
    }

    #[test]
    fn text_in_a_bundled_face_is_as_good_as_outlines_where_the_face_has_its_letters() {
        let words = |text: &str| {
            let inside = format!("<text x=\"2\" y=\"15\" font-family=\"Noto Sans, serif\">{text}</text>");
            open_svg(&inside).unwrap().live_text
        };
        assert!(words("Ab\u{e9}").is_empty());
        assert_eq!(words("\u{4e2d}"), ["\u{4e2d}"]);
    }

    #[test]
    fn a_window_is_that_part_of_the_whole_rendering() {
        let text =
            format!("<svg {NS} width=\"40\" height=\"20\"><rect x=\"5\" y=\"3\" width=\"9\" height=\"7\"/></svg>");
        let limits = Limits::default();
        let whole = draw(&text, 400, &limits).unwrap();
        let window = Window { x: 0.1, y: 0.1, width: 0.3, height: 0.5 };
        let scale = Scale { window, ..Scale::whole(400) };
        let part = render(&Drawing { bytes: text.as_bytes(), scale, limits: &limits, spent: Duration::ZERO }).unwrap();
        assert_eq!((part.canvas_px, part.pixels.dimensions()), ((400, 200), (120, 100)));
        let cut = image::imageops::crop_imm(&whole.pixels, 40, 20, 120, 100).to_image();
        assert_eq!(part.pixels, cut);
    }

    #[test]
    fn a_drawing_that_cannot_be_large_enough_within_the_limits_is_refused() {
        let text = format!("<svg {NS} width=\"100\" height=\"100\"/>");
        let limits = Limits { max_pixels: 10_000, ..Limits::default() };
        let drawn = |least_px| {
            let scale = Scale { least_px, ..Scale::whole(5000) };
            render(&Drawing { bytes: text.as_bytes(), scale, limits: &limits, spent: Duration::ZERO })
        };
        assert_eq!(drawn(100).unwrap().canvas_px, (100, 100));
        assert!(matches!(drawn(101), Err(Fault::ArtOverLimit { unit: "pixels", .. })));
    }

    #[test]
    fn a_compressed_drawing_is_the_same_drawing_and_inflates_no_further_than_its_limit() {
        let text = format!("<svg {NS} width=\"40\" height=\"20\"><rect width=\"9\" height=\"7\"/></svg>");
        let packed = |plain: &[u8]| {
            let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
            encoder.write_all(plain).unwrap();
            encoder.finish().unwrap()
        };
        let limits = Limits { max_drawing_bytes: 1000, ..Limits::default() };
        let drawn =
            |bytes: &[u8]| render(&Drawing { bytes, scale: Scale::whole(80), limits: &limits, spent: Duration::ZERO });
        assert_eq!(drawn(&packed(text.as_bytes())).unwrap(), drawn(text.as_bytes()).unwrap());
        let bomb = text.clone() + &" ".repeat(1000);
        assert!(matches!(drawn(&packed(bomb.as_bytes())), Err(Fault::ArtOverLimit { unit: "bytes", .. })));
        assert!(matches!(drawn(&packed(b"a letter")), Err(Fault::ArtUnsupported { .. })));
        let whole = packed(text.as_bytes());
        assert!(matches!(drawn(&whole[..whole.len() - 9]), Err(Fault::ArtUnreadable { .. })));
    }

    #[test]
    fn a_canvas_has_the_shape_that_its_sizes_say() {
        // SVG 2, 8.2: width and height win; without them the view box gives the aspect.
        for (sizes, wanted, wanted_mm) in [
            ("width=\"40mm\" height=\"20mm\" viewBox=\"0 0 10 10\"", (80, 40), (40.0, 20.0)),
            // 30 and 60 of 96 pixels to the inch.
            ("viewBox=\"0 0 30 60\"", (40, 80), (7.9375, 15.875)),
            ("width=\"1in\" height=\"48pt\"", (80, 53), (25.4, 16.9333)),
        ] {
            let drawn = draw(&format!("<svg {NS} {sizes}/>"), 80, &Limits::default()).unwrap();
            assert_eq!(drawn.canvas_px, wanted);
            let (width_mm, height_mm) = drawn.canvas_mm;
            assert!((width_mm - wanted_mm.0).abs() < 1e-3 && (height_mm - wanted_mm.1).abs() < 1e-3, "{drawn:?}");
        }
    }

    #[test]
    fn the_canvas_stays_within_the_limits() {
        let text = format!("<svg {NS} width=\"100\" height=\"100\"/>");
        let small = Limits { max_pixels: 10_000, ..Limits::default() };
        let art = draw(&text, 5000, &small).unwrap();
        assert_eq!(art.pixels.dimensions(), (100, 100));
    }
}

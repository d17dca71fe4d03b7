//! SVG from strangers: checked, parsed and rendered in memory.
//!
//! Known attacks and what stands against each: a document type with entities that grow without end (refused before
//! parsing; a bare one, which declares nothing, is dropped); deep nesting that overflows the stack (counted before parsing, and a stack of our own); references to files
//! and hosts (never resolved); embedded pictures that decode to gigabytes (their header is read first); SVG in SVG
//! (refused); filters and layers of absurd size (added up before rendering); sizes that are no numbers (the parser).

use std::borrow::Cow;
use std::sync::Arc;

use image::RgbaImage;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{FontResolver, ImageHrefResolver, ImageKind, Options, Tree, fontdb, roxmltree};

use super::budget;
use super::kind::{Kind, recognise};
use super::{Artwork, Format, Limits};
use crate::fault::Fault;
use crate::lettering;

/// Bytes of an SVG. The largest drawings seen in the trade have a few MiB. Common practice, no source.
const MAX_SVG_BYTES: u64 = 16 << 20;

/// Elements within elements. Real drawings stay under 40; each level costs stack. Common practice, no source.
const MAX_NESTING: usize = 200;

/// Stack for parsing and rendering: several times what [`MAX_NESTING`] levels, each reached through references, took.
const STACK_BYTES: usize = 256 << 20;

/// Parses and renders a drawing with its canvas's longest side at `longest_px`.
pub(super) fn open(bytes: &[u8], longest_px: u32, limits: &Limits) -> Result<Artwork, Fault> {
    let byte_limit = MAX_SVG_BYTES.min(limits.max_bytes);
    if bytes.len() as u64 > byte_limit {
        return Err(Fault::ArtOverLimit { measured: bytes.len() as f64, limit: byte_limit as f64, unit: "bytes" });
    }
    let text = std::str::from_utf8(bytes).map_err(|_| unreadable("an SVG in an encoding other than UTF-8"))?;
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let text = without_bare_document_type(text);
    let text = text.as_ref();
    check_markup(text)?;
    // A thread of our own for its stack; its join also catches what the renderer's assertions throw.
    std::thread::scope(|scope| {
        let work = std::thread::Builder::new().stack_size(STACK_BYTES);
        let running = work
            .spawn_scoped(scope, || render(text, longest_px, limits))
            .map_err(|_| unreadable("no room to render the drawing"))?;
        running.join().unwrap_or_else(|_| Err(unreadable("a drawing that breaks the renderer")))
    })
}

fn render(text: &str, longest_px: u32, limits: &Limits) -> Result<Artwork, Fault> {
    let document = roxmltree::Document::parse(text).map_err(|error| unreadable(&error.to_string()))?;
    let live_text = document.descendants().any(|node| has_live_text(&node));
    let tree = Tree::from_xmltree(&document, &options(*limits)).map_err(|error| unreadable(&error.to_string()))?;
    drop(document);
    let (width_px, height_px) = canvas_px(&tree, longest_px, limits)?;
    let transform =
        Transform::from_scale(width_px as f32 / tree.size().width(), height_px as f32 / tree.size().height());
    budget::check(&tree, transform, (width_px, height_px))?;
    let mut pixmap = Pixmap::new(width_px, height_px).ok_or_else(|| unreadable("a canvas without size"))?;
    resvg::render(&tree, transform, &mut pixmap.as_mut());
    let pixels = straight(pixmap)?;
    Ok(Artwork { pixels: Arc::new(pixels), format: Format::Svg, animated: false, colour_profile: None, live_text })
}

fn unreadable(reason: &str) -> Fault {
    Fault::ArtUnreadable { reason: reason.to_owned() }
}

fn has_live_text(node: &roxmltree::Node) -> bool {
    node.is_element()
        && node.tag_name().name() == "text"
        && node.descendants().any(|inner| inner.is_text() && inner.text().is_some_and(|words| !words.trim().is_empty()))
}

/// The canvas in whole pixels: longest side as asked, or as much of it as the limits allow.
fn canvas_px(tree: &Tree, longest_px: u32, limits: &Limits) -> Result<(u32, u32), Fault> {
    let (width, height) = (f64::from(tree.size().width()), f64::from(tree.size().height()));
    if !(width.is_finite() && height.is_finite() && width > 0.0 && height > 0.0) {
        return Err(unreadable("a canvas without size"));
    }
    let ratio = width.min(height) / width.max(height);
    let by_area = (limits.max_pixels as f64 / ratio).sqrt().floor();
    let longest = f64::from(longest_px.min(limits.max_side_px)).min(by_area).max(1.0);
    let shortest = (longest * ratio).round().max(1.0);
    let (longest, shortest) = (longest as u32, shortest as u32);
    Ok(if width >= height { (longest, shortest) } else { (shortest, longest) })
}

/// Pixmap pixels are premultiplied; ours are straight.
fn straight(pixmap: Pixmap) -> Result<RgbaImage, Fault> {
    let (width_px, height_px) = (pixmap.width(), pixmap.height());
    let mut samples = pixmap.take();
    for pixel in samples.chunks_exact_mut(4) {
        let alpha = u32::from(pixel[3]);
        if alpha == 0 || alpha == 255 {
            continue;
        }
        for sample in &mut pixel[..3] {
            *sample = ((u32::from(*sample) * 255 + alpha / 2) / alpha).min(255) as u8;
        }
    }
    RgbaImage::from_raw(width_px, height_px, samples).ok_or_else(|| unreadable("a canvas without size"))
}

/// Parser options that reach nothing outside the file.
fn options(limits: Limits) -> Options<'static> {
    Options {
        resources_dir: None,
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(move |_, data, _| embedded(data, &limits)),
            resolve_string: Box::new(|_, _| None),
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

/// How the renderer is handed the bytes of a picture of one kind.
type Wrap = fn(Arc<Vec<u8>>) -> ImageKind;

/// An embedded picture: one of the raster kinds, within the limits by its own header.
fn embedded(data: Arc<Vec<u8>>, limits: &Limits) -> Option<ImageKind> {
    let (format, wrap): (_, Wrap) = match recognise(&data) {
        Kind::Png => (image::ImageFormat::Png, ImageKind::PNG),
        Kind::Jpeg => (image::ImageFormat::Jpeg, ImageKind::JPEG),
        Kind::Webp => (image::ImageFormat::WebP, ImageKind::WEBP),
        Kind::Svg | Kind::Other(_) | Kind::Unknown => return None,
    };
    let reader = image::ImageReader::with_format(std::io::Cursor::new(data.as_slice()), format);
    let (width_px, height_px) = reader.into_dimensions().ok()?;
    limits.check_size(width_px, height_px).ok()?;
    Some(wrap(data))
}

/// A text whose document type declares nothing, as many drawing programs write, with that declaration blanked. One that
/// declares entities or elements (an internal subset in brackets) stays, to be refused.
fn without_bare_document_type(text: &str) -> Cow<'_, str> {
    let Some(start) = text.find("<!DOCTYPE") else { return Cow::Borrowed(text) };
    let Some(length) = tag_end(&text[start..]) else { return Cow::Borrowed(text) };
    let declaration = &text[start..start + length];
    if declaration.contains('[') {
        return Cow::Borrowed(text);
    }
    Cow::Owned([&text[..start], &text[start + length..]].concat())
}

/// Refuses document types and deep nesting with one cheap look at the tags. Not a parser: what it lets through, the
/// parser judges.
fn check_markup(text: &str) -> Result<(), Fault> {
    let mut depth = 0_usize;
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        let tag = &rest[at + 1..];
        let end = if let Some(comment) = tag.strip_prefix("!--") {
            comment.find("-->").map(|at| at + 6)
        } else if tag.starts_with("![CDATA[") {
            tag.find("]]>").map(|at| at + 3)
        } else if tag.starts_with('!') {
            return Err(Fault::ArtUnsupported { kind: "SVG with a document type declaration".to_owned() });
        } else if tag.starts_with('?') {
            tag.find("?>").map(|at| at + 2)
        } else {
            let end = tag_end(tag);
            let closed = end.is_some_and(|end| tag[..end].ends_with("/>"));
            if tag.starts_with('/') {
                depth = depth.saturating_sub(1);
            } else if !closed {
                depth += 1;
            }
            end
        };
        if depth > MAX_NESTING {
            return Err(Fault::ArtOverLimit { measured: depth as f64, limit: MAX_NESTING as f64, unit: "levels" });
        }
        let Some(end) = end else { return Ok(()) };
        rest = &tag[end..];
    }
    Ok(())
}

/// The place behind the `>` that ends a tag; one inside a quoted value does not.
fn tag_end(tag: &str) -> Option<usize> {
    let mut quote = None;
    for (at, byte) in tag.bytes().enumerate() {
        match (quote, byte) {
            (None, b'>') => return Some(at + 1),
            (None, b'"' | b'\'') => quote = Some(byte),
            (Some(open), _) if open == byte => quote = None,
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const NS: &str = "xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\"";

    fn open_svg(inside: &str) -> Result<Artwork, Fault> {
        let text = format!("<svg {NS} width=\"40\" height=\"20\">{inside}</svg>");
        open(text.as_bytes(), 80, &Limits::default())
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
        assert!(!art.live_text);
    }

    #[test]
    fn references_to_files_and_hosts_draw_nothing() {
        let here = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
        for href in [here, "file:///etc/hostname", "http://127.0.0.1/a.png", "a.png"] {
            let art = open_svg(&format!("<image href=\"{href}\" width=\"40\" height=\"20\"/>")).unwrap();
            assert!(art.pixels.pixels().all(|pixel| pixel.0[3] == 0), "{href}");
        }
    }

    #[test]
    fn an_embedded_drawing_is_not_opened() {
        let inner =
            "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg'%3E%3Crect width='9' height='9'/%3E%3C/svg%3E";
        let art = open_svg(&format!("<image href=\"{inner}\" width=\"40\" height=\"20\"/>")).unwrap();
        assert!(art.pixels.pixels().all(|pixel| pixel.0[3] == 0));
    }

    #[test]
    fn an_embedded_picture_over_the_limits_is_not_decoded() {
        let mut png = Vec::new();
        let encoder = image::codecs::png::PngEncoder::new(std::io::Cursor::new(&mut png));
        let red = RgbaImage::from_pixel(50, 50, image::Rgba([255, 0, 0, 255]));
        red.write_with_encoder(encoder).unwrap();
        let data = Arc::new(png);
        assert!(matches!(embedded(Arc::clone(&data), &Limits::default()), Some(ImageKind::PNG(_))));
        assert!(embedded(data, &Limits { max_pixels: 2499, ..Limits::default() }).is_none());
    }

    #[test]
    fn document_types_that_declare_something_are_refused_and_bare_ones_are_not() {
        let doctype = |declaration: &str| {
            let text = format!("<?xml version=\"1.0\"?>{declaration}<svg {NS} width=\"9\" height=\"9\"/>");
            open(text.as_bytes(), 80, &Limits::default()).err().map(|fault| fault.code())
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
        assert!(code(&inside).starts_with("art."));
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
            if let Ok(art) = open(text.as_bytes(), 80, &Limits::default()) {
                assert!(art.pixels.width().max(art.pixels.height()) <= 80, "{size}");
            }
        }
    }

    #[test]
    fn live_text_is_drawn_in_the_bundled_face_and_reported() {
        let art = open_svg("<text x=\"2\" y=\"15\" font-family=\"Nowhere\">Hi</text>").unwrap();
        assert!(art.live_text);
        assert!(art.pixels.pixels().any(|pixel| pixel.0[3] > 200), "words do not vanish");
        assert!(!open_svg("<text> </text><rect width=\"9\" height=\"9\"/>").unwrap().live_text);
    }

    #[test]
    fn the_canvas_stays_within_the_limits() {
        let text = format!("<svg {NS} width=\"100\" height=\"100\"/>");
        let small = Limits { max_pixels: 10_000, ..Limits::default() };
        let art = open(text.as_bytes(), 5000, &small).unwrap();
        assert_eq!(art.pixels.dimensions(), (100, 100));
    }
}

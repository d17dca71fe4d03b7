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
            // Whatever family is asked for, the one bundled face is what we have: words in another face with a finding
            // are better than words that vanish.
            select_font: Box::new(|_, faces| faces.faces().next().map(|face| face.id)),
            select_fallback: Box::new(|_, _, _| None),
        },
        fontdb: Arc::new(fonts()),
        ..Options::default()
    }
}

fn fonts() -> fontdb::Database {
    fontdb::Database::new()
}

/// An embedded picture: one of the raster kinds, within the limits by its own header.
fn embedded(data: Arc<Vec<u8>>, limits: &Limits) -> Option<ImageKind> {
    let format = match recognise(&data) {
        Kind::Png => image::ImageFormat::Png,
        Kind::Jpeg => image::ImageFormat::Jpeg,
        Kind::Webp => image::ImageFormat::WebP,
        Kind::Svg | Kind::Other(_) | Kind::Unknown => return None,
    };
    let reader = image::ImageReader::with_format(std::io::Cursor::new(data.as_slice()), format);
    let (width_px, height_px) = reader.into_dimensions().ok()?;
    limits.check_size(width_px, height_px).ok()?;
    Some(match format {
        image::ImageFormat::Png => ImageKind::PNG(data),
        image::ImageFormat::Jpeg => ImageKind::JPEG(data),
        _ => ImageKind::WEBP(data),
    })
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

//! A proof as SVG: the print as an embedded picture, everything else as paths, in millimetres.
//!
//! Draws what [`super::png`] draws, but for the resolution. No scripts, nothing from elsewhere.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::Arc;

use super::inks::as_printed;
use super::shadow::{DROP_SHARE, SOFT_SHARE, STRENGTH};
use super::{CHEQUERS, CUT_LINE, all_lines, area, base64, ground};
use crate::fault::Fault;
use crate::geom::{Affine, BezPath, Rect};
use crate::order::{Colour, Face, Stock, View};
use crate::output::preview::picture::bring_down;
use crate::output::skia;
use crate::output::svg::{number, path_data};
use crate::sticker::{Cut, Print, Sticker};

/// Draws a sticker as SVG 1.1; `longest_px` of the view has no meaning here.
///
/// # Errors
/// `output.broken`.
pub fn svg(sticker: &Sticker, stock: &Stock, view: &View) -> Result<Vec<u8>, Fault> {
    let sticker = &*as_printed(sticker, stock);
    let mut drawing = Drawing { text: String::new(), area: area(sticker) };
    drawing.open(sticker, stock);
    if let Some(colour) = ground(view.ground) {
        drawing.rect(&format!("fill=\"{}\"", Colour(colour)));
    }
    drawing.shadow();
    drawing.sticker(sticker, stock)?;
    if view.cut_line {
        drawing.lines(&sticker.kiss, stock.layers.kiss.colour);
        drawing.lines(&sticker.through, stock.layers.through.colour);
    }
    drawing.text.push_str("</svg>\n");
    Ok(drawing.text.into_bytes())
}

struct Drawing {
    text: String,
    area: Rect,
}

impl Drawing {
    fn add(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// The head, and everything that is referred to.
    fn open(&mut self, sticker: &Sticker, stock: &Stock) {
        let (width, height) = (number(self.area.width()), number(self.area.height()));
        let view_box = format!("{} {} {width} {height}", number(self.area.x0), number(self.area.y0));
        self.add(r#"<?xml version="1.0" encoding="UTF-8"?>"#);
        self.add(&format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="{width}mm" height="{height}mm" viewBox="{view_box}">"#
        ));
        let through = path_data(&all_lines(&sticker.through));
        let outer = path_data(&outer_lines(sticker));
        let frame = path_data(&kurbo::Shape::to_path(&self.area, 0.1));
        let longest = self.area.width().max(self.area.height());
        let (soft, side) = (number(longest * SOFT_SHARE), number(longest / CHEQUERS));
        self.add("<defs>");
        self.add(&format!(r#"<path id="outer" d="{outer}"/>"#));
        self.add(&format!(r#"<clipPath id="sticker"><path d="{through}" clip-rule="evenodd"/></clipPath>"#));
        self.add(&format!(r#"<clipPath id="outside"><path d="{frame}{outer}" clip-rule="evenodd"/></clipPath>"#));
        self.add(&format!(
            r#"<filter id="soft" x="-20%" y="-20%" width="140%" height="140%"><feGaussianBlur stdDeviation="{soft}"/></filter>"#
        ));
        if stock.face == Face::Clear {
            let twice = number(2.0 * longest / CHEQUERS);
            self.add(&format!(
                r#"<pattern id="chequer" width="{twice}" height="{twice}" patternUnits="userSpaceOnUse"><path fill="{}" d="M{side} 0h{side}v{side}h-{side}zM0 {side}h{side}v{side}h-{side}z"/></pattern>"#,
                Colour(skia::CLEAR_CHEQUER)
            ));
        }
        self.add("</defs>");
    }

    /// A rectangle over all of the area.
    fn rect(&mut self, attributes: &str) {
        let area = self.area;
        let line = format!(
            r#"<rect x="{}" y="{}" width="{}" height="{}" {attributes}/>"#,
            number(area.x0),
            number(area.y0),
            number(area.width()),
            number(area.height())
        );
        self.add(&line);
    }

    fn shadow(&mut self) {
        let drop = number(self.area.width().max(self.area.height()) * DROP_SHARE);
        self.add(&format!(
            r##"<g clip-path="url(#outside)"><use xlink:href="#outer" y="{drop}" fill="#000000" fill-opacity="{STRENGTH}" filter="url(#soft)"/></g>"##
        ));
    }

    /// Bare stock and print, cut out.
    fn sticker(&mut self, sticker: &Sticker, stock: &Stock) -> Result<(), Fault> {
        self.add(r#"<g clip-path="url(#sticker)">"#);
        self.rect(&format!("fill=\"{}\"", Colour(skia::face(stock.face))));
        if stock.face == Face::Clear {
            self.rect(r#"fill="url(#chequer)""#);
        }
        let mut known: BTreeMap<usize, usize> = BTreeMap::new();
        for placed in &sticker.prints {
            let count = known.len() + 1;
            let key = Arc::as_ptr(&placed.print) as usize;
            let transform = matrix(placed.to_mm);
            if let Some(first) = known.get(&key) {
                self.add(&format!(r##"<use xlink:href="#print-{first}" transform="{transform}"/>"##));
                continue;
            }
            known.insert(key, count);
            let (width, height) = (placed.print.width_px, placed.print.height_px);
            let data = base64(&picture(&placed.print)?);
            self.add(&format!(
                r#"<g transform="{transform}"><image id="print-{count}" width="{width}" height="{height}" preserveAspectRatio="none" xlink:href="data:image/png;base64,{data}"/></g>"#
            ));
        }
        self.add("</g>");
        Ok(())
    }

    fn lines(&mut self, cuts: &[Cut], colour: Colour) {
        for cut in cuts {
            let data = path_data(cut.line.path());
            let width = number(CUT_LINE.mm());
            self.add(&format!(r#"<path d="{data}" fill="none" stroke="{colour}" stroke-width="{width}"/>"#));
        }
    }
}

/// The outermost lines as drawn: they come first among the through cuts, kept holes after them.
fn outer_lines(sticker: &Sticker) -> BezPath {
    let lines = sticker.through.iter().take(sticker.outermost.len());
    lines.flat_map(|cut| cut.line.path().elements().iter().copied()).collect()
}

/// A print with its white ink, as PNG.
fn picture(print: &Print) -> Result<Vec<u8>, Fault> {
    let broken = |source: Box<dyn std::error::Error + Send + Sync>| Fault::OutputBroken { file: "proof.svg", source };
    let pixels = bring_down(print, print.width_px, print.height_px)
        .ok_or_else(|| broken("the print cannot be unpacked".into()))?;
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, print.width_px, print.height_px);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().map_err(|source| broken(Box::new(source)))?;
    writer
        .write_image_data(&skia::straight(&pixels, png::ColorType::Rgba))
        .map_err(|source| broken(Box::new(source)))?;
    writer.finish().map_err(|source| broken(Box::new(source)))?;
    Ok(bytes)
}

fn matrix(transform: Affine) -> String {
    let mut text = String::from("matrix(");
    for (index, value) in transform.as_coeffs().iter().enumerate() {
        let between = if index == 0 { "" } else { " " };
        let _ = write!(text, "{between}{}", (value * 1e9).round() / 1e9 + 0.0);
    }
    text + ")"
}

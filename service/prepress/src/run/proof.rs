//! Makes the one sticker that a proof shows, a rejected one too where it can be made at all.

use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use super::inquire::{Look, Sketch, look};
use super::page;
use super::prepare::{Bench, Made, Opened};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::Finding;
use crate::intake::Limits;
use crate::order::{Backing, Inquiry, Page, Piece, Product, ProofDrawing, View};
use crate::output::proof as drawing;
use crate::output::report::Report;
use crate::sticker::Sticker;

/// A proof.
#[derive(Clone, Debug)]
pub struct Proof {
    /// What preflight says of the item.
    pub report: Report,
    /// The sticker's digest, 64 hexadecimal digits: what an item's `approved` is held against.
    pub digest: String,
    /// The kind of the picture.
    pub drawing: ProofDrawing,
    /// The picture's bytes.
    pub picture: Vec<u8>,
}

/// A proof as one JSON document: the report on the sticker, and the picture.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(rename = "ProofAnswer")]
pub struct ProofDocument<'a> {
    /// What preflight says of the item.
    pub report: &'a Report,
    /// Digest of what will be made: SHA-256 over print pixels, cut lines and the stock's face (of stock with `colour: cmyk` also
    /// the profile that it is printed through), in hexadecimal.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub digest: &'a str,
    /// The picture.
    pub picture: ProofPicture,
}

/// A picture in JSON.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ProofPicture {
    /// Its media type.
    #[schemars(extend("enum" = ["image/png", "image/svg+xml"]))]
    pub media_type: &'static str,
    /// Its bytes, base64 (RFC 4648, section 4).
    #[schemars(extend("contentEncoding" = "base64"))]
    pub base64: String,
}

impl Proof {
    /// As one JSON document.
    pub fn document(&self) -> ProofDocument<'_> {
        let picture = ProofPicture { media_type: self.drawing.media_type(), base64: drawing::base64(&self.picture) };
        ProofDocument { report: &self.report, digest: &self.digest, picture }
    }
}

/// Draws the finished sticker.
///
/// # Errors
/// `proof.no_sticker` when none can be made; `run.cancelled`, `run.art_lost`, `stock.broken`, `output.broken`.
pub fn proof(
    inquiry: &Inquiry,
    view: &View,
    drawing: ProofDrawing,
    limits: &Limits,
    cancel: &Cancel,
) -> Result<Proof, Fault> {
    let bench = Bench { limits, cancel, thresholds: &inquiry.thresholds };
    let look = look(inquiry, bench)?;
    let report = look.report(inquiry);
    let sticker = make(inquiry, look, bench)?.map_err(|findings| Fault::NoSticker { findings })?;
    let digest = sticker.digest(inquiry.stock.face, inquiry.stock.colour);
    cancel.check()?;
    let picture = match drawing {
        ProofDrawing::Png => drawing::png(&sticker, &inquiry.stock, view)?,
        ProofDrawing::Svg => drawing::svg(&sticker, &inquiry.stock, view)?,
    };
    Ok(Proof { report, digest, drawing, picture })
}

/// A sticker, or everything found of an item of which there can be none.
type Finished = Result<Arc<Sticker>, Vec<Finding>>;

/// Makes the sticker of an item that was looked at.
pub(super) fn make(inquiry: &Inquiry, look: Look, bench: Bench<'_>) -> Result<Finished, Fault> {
    match &inquiry.product {
        Product::DieCut(_) => make_design(inquiry, look, None, bench),
        Product::KissCut(_, backing) => make_design(inquiry, look, Some(backing), bench),
        Product::StickerSheet(page) => make_page(inquiry, page, look, bench),
    }
}

fn make_design(inquiry: &Inquiry, look: Look, backing: Option<&Backing>, bench: Bench<'_>) -> Result<Finished, Fault> {
    match look.sketches.as_slice() {
        [Sketch { opened: Ok(source), outlined: Some(outlined), design, .. }] => {
            source.sticker(outlined, design, backing, &inquiry.stock, bench).map(|sticker| Ok(Arc::new(sticker)))
        }
        _ => Ok(Err(look.findings)),
    }
}

fn make_page(inquiry: &Inquiry, page: &Page, look: Look, bench: Bench<'_>) -> Result<Finished, Fault> {
    let Look { sketches, findings, .. } = look;
    let settled = |(piece, sketch): (&Piece, &Sketch)| Piece { design: sketch.design.clone(), ..piece.clone() };
    let page = Page { pieces: page.pieces.iter().zip(&sketches).map(settled).collect(), ..page.clone() };
    let opened: Vec<Opened> = sketches.into_iter().map(|sketch| sketch.opened).collect();
    let Made { sticker, .. } = page::make_opened(&page, &opened, &inquiry.stock, bench)?;
    Ok(sticker.ok_or(findings))
}

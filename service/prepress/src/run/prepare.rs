//! Makes every distinct product of a job into a sticker, each picture opened once.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::{Meter, page};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::{Code, Finding, Severity};
use crate::geom::Ring;
use crate::intake::{self, Artwork, Format, Limits};
use crate::order::{ArtInput, Backing, Design, Item, Job, Product, Size, Stock};
use crate::outline::{self, Outlined};
use crate::preflight::{self, ArtFacts, Thresholds};
use crate::silhouette::{self, CutOut};
use crate::sticker::{self, Sticker};
use crate::units::{Mm, Ppi};

/// Vector art is looked at in this size first, to learn how much of its canvas the art fills.
const VECTOR_LOOK_PX: u32 = 1024;

/// Vector art is rendered at twice the usual print resolution, so that resampling to print costs no sharpness.
const VECTOR_PPI: Ppi = Ppi::of(600.0);

/// Largest side of a rendering: a 250 mm sticker at [`VECTOR_PPI`] with room for an off-centre drawing.
const VECTOR_MAX_PX: u32 = 8000;

/// How far the polyline of a rejected outline may be from its line.
const FLATTENING: Mm = Mm::of(0.005);

/// What became of one product.
#[derive(Clone, Debug)]
pub(super) struct Made {
    /// The sticker; `None` when it is set aside.
    pub(super) sticker: Option<Arc<Sticker>>,
    /// Everything preflight said; when there is no sticker, at least one reject.
    pub(super) findings: Vec<Finding>,
    /// What it would have been, when its lines could be drawn but something else rejects it.
    pub(super) rejected: Option<Rejected>,
}

/// The outline of a sticker that is not made.
#[derive(Clone, Debug)]
pub(super) struct Rejected {
    /// Outermost lines.
    pub(super) outermost: Vec<Ring>,
    /// Print past them.
    pub(super) reach: Mm,
    /// Longest side of the finished sticker.
    pub(super) longest: Mm,
}

impl Rejected {
    pub(super) fn of(outlined: &Outlined) -> Rejected {
        Rejected {
            outermost: outlined.through.iter().map(|line| line.flattened(FLATTENING)).collect(),
            reach: outlined.reach,
            longest: outlined.finished_width.max(outlined.finished_height),
        }
    }
}

impl Made {
    /// Set aside because of a fault that the item caused; any other fault ends the run.
    pub(super) fn refused(fault: Fault, mut findings: Vec<Finding>) -> Result<Made, Fault> {
        let Some(finding) = fault.finding() else { return Err(fault) };
        findings.push(finding);
        Ok(Made { sticker: None, findings, rejected: None })
    }
}

/// Products made, and which one each item is: first the items of all orders in reading order, then the fillers.
pub(super) struct Products {
    pub(super) made: Vec<Made>,
    pub(super) of_item: Vec<usize>,
    /// For each item, `proof.changed` when its sticker is another than the approved one.
    pub(super) changed: Vec<Option<Finding>>,
}

impl Products {
    /// The sticker of an item by its number; `None` when the item is set aside.
    pub(super) fn sticker_of(&self, number: usize) -> Option<&Arc<Sticker>> {
        let sticker = self.made[self.of_item[number]].sticker.as_ref();
        sticker.filter(|_| self.changed[number].is_none())
    }
}

/// What stages need from around them.
#[derive(Clone, Copy)]
pub(super) struct Bench<'a> {
    pub(super) limits: &'a Limits,
    pub(super) cancel: &'a Cancel,
    pub(super) thresholds: &'a Thresholds,
}

/// Every item of a job: those of all orders, then the fillers.
pub(super) fn items(job: &Job) -> impl Iterator<Item = &Item> {
    let fillers = job.policy.fill_offcuts_with.iter().map(|filler| &filler.item);
    job.orders.iter().flat_map(|order| &order.items).chain(fillers)
}

/// Makes all products of a job.
pub(super) fn products(job: &Job, limits: &Limits, meter: &Meter<'_>, cancel: &Cancel) -> Result<Products, Fault> {
    let (distinct, of_item) = distinct_products(job, cancel)?;
    let groups = by_picture(&distinct, cancel)?;
    let done = meter.count(distinct.len(), |progress, share| progress.pictures = share);
    let bench = Bench { limits, cancel, thresholds: &job.thresholds };
    let made_groups: Vec<Vec<(usize, Made)>> = groups
        .par_iter()
        .map(|group| {
            let made = make_group(group, &distinct, job, bench);
            group.iter().for_each(|_| done.one_more());
            made
        })
        .collect::<Result<_, Fault>>()?;
    let by_index: BTreeMap<usize, Made> = made_groups.into_iter().flatten().collect();
    let made: Vec<Made> = by_index.into_values().collect();
    cancel.check()?;
    let changed = changed(job, &made, &of_item);
    Ok(Products { made, of_item, changed })
}

/// Holds every approved digest against that of the sticker made.
fn changed(job: &Job, made: &[Made], of_item: &[usize]) -> Vec<Option<Finding>> {
    let items: Vec<&Item> = items(job).collect();
    let is_another = |(item, product): (&&Item, &usize)| {
        let (approved, sticker) = (item.approved.as_ref()?, made[*product].sticker.as_ref()?);
        let digest = sticker.digest(job.stocks[item.stock].face);
        (digest != *approved).then(|| Finding::new(Code::ProofChanged))
    };
    items.par_iter().zip(of_item.par_iter()).map(is_another).collect()
}

type Distinct<'a> = (&'a Product, usize);

/// Distinct (product, stock) pairs, and for each item which one it is.
fn distinct_products<'a>(job: &'a Job, cancel: &Cancel) -> Result<(Vec<Distinct<'a>>, Vec<usize>), Fault> {
    let mut distinct: Vec<Distinct<'_>> = Vec::new();
    let mut of_item = Vec::new();
    for item in items(job) {
        cancel.check()?;
        let same = |(product, stock): &Distinct<'_>| *stock == item.stock && **product == item.product;
        let index = distinct.iter().position(same).unwrap_or_else(|| {
            distinct.push((&item.product, item.stock));
            distinct.len() - 1
        });
        of_item.push(index);
    }
    Ok((distinct, of_item))
}

/// Groups products that start from one picture with one treatment of its backdrop; a sticker sheet is a group of its own.
fn by_picture(distinct: &[Distinct<'_>], cancel: &Cancel) -> Result<Vec<Vec<usize>>, Fault> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (index, (product, _)) in distinct.iter().enumerate() {
        cancel.check()?;
        let same = |group: &Vec<usize>| {
            let first = group.first().and_then(|first| design_of(distinct[*first].0));
            first.zip(design_of(product)).is_some_and(|((one, _), (other, _))| one.shares_picture_with(other))
        };
        match groups.iter_mut().find(|group| same(group)) {
            Some(group) => group.push(index),
            None => groups.push(vec![index]),
        }
    }
    Ok(groups)
}

/// The one design of a product, with its backing; `None` for a sticker sheet.
fn design_of(product: &Product) -> Option<(&Design, Option<&Backing>)> {
    match product {
        Product::DieCut(design) => Some((design, None)),
        Product::KissCut(design, backing) => Some((design, Some(backing))),
        Product::StickerSheet(_) => None,
    }
}

fn make_group(
    group: &[usize],
    distinct: &[Distinct<'_>],
    job: &Job,
    bench: Bench<'_>,
) -> Result<Vec<(usize, Made)>, Fault> {
    let stock_of = |index: usize| &job.stocks[distinct[index].1];
    if let [only] = group
        && let Product::StickerSheet(page) = distinct[*only].0
    {
        return Ok(vec![(*only, page::make(page, stock_of(*only), bench)?)]);
    }
    let designs: Vec<(usize, &Design, Option<&Backing>)> = group
        .iter()
        .filter_map(|index| design_of(distinct[*index].0).map(|(design, backing)| (*index, design, backing)))
        .collect();
    let Some((_, first, _)) = designs.first() else { return Ok(Vec::new()) };
    let shared = Source::open(first, bench)?;
    let is_vector = shared.as_ref().is_ok_and(|source| source.is_vector());
    let make = |(position, (index, design, backing)): (usize, (usize, &Design, Option<&Backing>))| {
        bench.cancel.check()?;
        // A drawing is rendered for each of its stickers by itself: what a sticker looks like never depends on its company.
        let own = if is_vector && position > 0 { Some(Source::open(design, bench)?) } else { None };
        Ok((index, make_design(own.as_ref().unwrap_or(&shared), design, backing, stock_of(index), bench)?))
    };
    designs.into_iter().enumerate().map(make).collect()
}

/// A picture without its ground, and what was seen of it.
pub(super) struct Source {
    cut_out: CutOut,
    facts: ArtFacts,
}

/// A picture, or why it cannot be used.
pub(super) type Opened = Result<Arc<Source>, Finding>;

impl Source {
    /// Opens a design's picture. A picture that cannot be used is no fault of the run.
    pub(super) fn open(design: &Design, bench: Bench<'_>) -> Result<Opened, Fault> {
        match Source::decode(design, bench) {
            Ok(source) => Ok(Ok(Arc::new(source))),
            Err(fault) => fault.finding().map(Err).ok_or(fault),
        }
    }

    fn decode(design: &Design, bench: Bench<'_>) -> Result<Source, Fault> {
        let bytes = load(&design.art, bench.limits)?;
        let backdrop = design.backdrop_used();
        let mut artwork = intake::open(&bytes, VECTOR_LOOK_PX, bench.limits)?;
        let mut cut_out;
        if artwork.format == Format::Svg {
            cut_out = silhouette::cut_out(&artwork, backdrop, bench.cancel)?;
            let longest_px = vector_px(&artwork, &cut_out, design);
            artwork = intake::open(&bytes, longest_px, bench.limits)?;
        }
        drop(bytes);
        cut_out = silhouette::cut_out(&artwork, backdrop, bench.cancel)?;
        let facts = preflight::inspect_art(&artwork, &cut_out, bench.thresholds);
        Ok(Source { cut_out, facts })
    }

    /// Whether it was rendered from a drawing.
    pub(super) fn is_vector(&self) -> bool {
        self.facts.measures.format == Some("svg")
    }

    /// The sticker of a design drawn from this picture.
    pub(super) fn sticker(
        &self,
        outlined: &Outlined,
        design: &Design,
        backing: Option<&Backing>,
        stock: &Stock,
        bench: Bench<'_>,
    ) -> Result<Sticker, Fault> {
        sticker::make(&self.cut_out, outlined, design, backing, stock, bench.cancel)
    }
}

/// A picture's bytes. One that lies elsewhere is held against the limit before it is read.
fn load(art: &ArtInput, limits: &Limits) -> Result<Arc<[u8]>, Fault> {
    let over = |bytes: u64, limit_bytes: u64| {
        Err(Fault::ArtOverLimit { measured: bytes as f64, limit: limit_bytes as f64, unit: "bytes" })
    };
    match art {
        ArtInput::Bytes(bytes) => Ok(Arc::clone(bytes)),
        ArtInput::OverLimit { bytes, limit_bytes } => over(*bytes, *limit_bytes),
        ArtInput::Stored { bytes, .. } if *bytes > limits.max_bytes => over(*bytes, limits.max_bytes),
        ArtInput::Stored { file, .. } => file.load().map_err(|source| Fault::ArtLost { source }),
    }
}

/// The longest side at which a drawing's canvas is rendered for its sticker.
fn vector_px(look: &Artwork, cut_out: &CutOut, design: &Design) -> u32 {
    let (width, height) = (f64::from(cut_out.visible.width_px), f64::from(cut_out.visible.height_px));
    let (canvas_width, canvas_height) = look.pixels.dimensions();
    let canvas_over_art = f64::from(canvas_width.max(canvas_height)) / width.max(height).max(1.0);
    let longest_mm: f64 = match design.size {
        Size::Width(side) => side.mm() * (height / width).max(1.0),
        Size::Height(side) => side.mm() * (width / height).max(1.0),
        Size::Longest(side) => side.mm(),
        Size::Both { width, height } => width.max(height).mm(),
    };
    let wanted = VECTOR_PPI.pixels(Mm::of(longest_mm.min(1e5) * canvas_over_art.min(1e3)));
    wanted.clamp(VECTOR_LOOK_PX, VECTOR_MAX_PX)
}

/// One design from a picture that was opened, or could not be.
pub(super) fn make_design(
    opened: &Opened,
    design: &Design,
    backing: Option<&Backing>,
    stock: &Stock,
    bench: Bench<'_>,
) -> Result<Made, Fault> {
    let source = match opened {
        Ok(source) => source,
        Err(finding) => return Ok(Made { sticker: None, findings: vec![finding.clone()], rejected: None }),
    };
    let Draft { facts, outlined } = draft(source, design, backing, stock, bench)?;
    let findings = facts.findings;
    let Some(outlined) = outlined else { return Ok(Made { sticker: None, findings, rejected: None }) };
    if preflight::worst(&findings) == Some(Severity::Reject) {
        return Ok(Made { sticker: None, findings, rejected: Some(Rejected::of(&outlined)) });
    }
    let sticker = source.sticker(&outlined, design, backing, stock, bench)?;
    Ok(Made { sticker: Some(Arc::new(sticker)), findings, rejected: None })
}

/// A design's lines before anything is painted.
pub(super) struct Draft {
    /// Measures and findings.
    pub(super) facts: ArtFacts,
    /// `None` when a finding says that no line could be drawn.
    pub(super) outlined: Option<Outlined>,
}

/// Draws a design's lines and judges them.
pub(super) fn draft(
    source: &Source,
    design: &Design,
    backing: Option<&Backing>,
    stock: &Stock,
    bench: Bench<'_>,
) -> Result<Draft, Fault> {
    match outline::fit(&source.cut_out, design, backing, stock, bench.cancel) {
        Ok(outlined) => {
            let facts = preflight::inspect_outline(&source.facts, &outlined, design, stock, bench.thresholds);
            Ok(Draft { facts, outlined: Some(outlined) })
        }
        Err(fault) => {
            let Some(finding) = fault.finding() else { return Err(fault) };
            let mut facts = source.facts.clone();
            facts.findings.push(finding);
            Ok(Draft { facts, outlined: None })
        }
    }
}

//! Makes every distinct product of a job into a sticker, each picture opened once.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use rayon::prelude::*;

use super::shelf::{self, Shelf};
use super::{Meter, page};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::{Code, Finding, Severity};
use crate::geom::Ring;
use crate::intake::{self, Artwork, Format, Limits, Scale, Window};
use crate::order::{ArtInput, Backing, Design, Item, Job, Product, Size, Stock};
use crate::outline::{self, Outlined};
use crate::preflight::{self, ArtFacts, Measures, Thresholds};
use crate::silhouette::{self, CutOut};
use crate::sticker::{self, Sticker};
use crate::units::{Mm, Ppi};

/// Vector art is looked at in this size first, to learn how much of its canvas the art fills.
const VECTOR_LOOK_PX: u32 = 1024;

/// Vector art is rendered at twice the usual print resolution, so that resampling to print costs no sharpness.
const VECTOR_PPI: Ppi = Ppi::of(600.0);

/// Share of its canvas under which the art is rendered alone: a small drawing on a large page would cost the page.
const ALONE_SHARE: f64 = 0.5;

/// Room around art that is rendered alone, as a share of the canvas: the look's own grain, and what fades out.
const ALONE_ROOM: f64 = 0.01;

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
    let pictures: Vec<Vec<&ArtInput>> = groups.iter().map(|group| pictures_of(group, &distinct)).collect();
    let done = meter.count(distinct.len(), |progress, share| progress.pictures = share);
    let bench = Bench { limits, cancel, thresholds: &job.thresholds };
    let make_batch = |batch: &Vec<usize>| {
        let shelf = Shelf::of(batch.iter().flat_map(|group| pictures[*group].iter().copied()));
        let make = |group: &usize| {
            let made = make_group(&groups[*group], &distinct, job, &shelf, bench);
            groups[*group].iter().for_each(|_| done.one_more());
            made
        };
        batch.iter().map(make).collect::<Result<Vec<_>, Fault>>()
    };
    let batches = shelf::sharing(&pictures, cancel)?;
    let made: Vec<Vec<Vec<(usize, Made)>>> = batches.par_iter().map(make_batch).collect::<Result<_, Fault>>()?;
    let by_index: BTreeMap<usize, Made> = made.into_iter().flatten().flatten().collect();
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
        let stock = &job.stocks[item.stock];
        let digest = sticker.digest(stock.face, stock.colour);
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

/// The picture of every source that a group opens.
fn pictures_of<'a>(group: &[usize], distinct: &[Distinct<'a>]) -> Vec<&'a ArtInput> {
    let Some(product) = group.first().map(|first| distinct[*first].0) else { return Vec::new() };
    match product {
        Product::StickerSheet(page) => page::pictures(page),
        Product::DieCut(design) | Product::KissCut(design, _) => vec![&design.art],
    }
}

fn make_group(
    group: &[usize],
    distinct: &[Distinct<'_>],
    job: &Job,
    shelf: &Shelf,
    bench: Bench<'_>,
) -> Result<Vec<(usize, Made)>, Fault> {
    let stock_of = |index: usize| &job.stocks[distinct[index].1];
    if let [only] = group
        && let Product::StickerSheet(page) = distinct[*only].0
    {
        return Ok(vec![(*only, page::make(page, stock_of(*only), shelf, bench)?)]);
    }
    let designs: Vec<(usize, &Design, Option<&Backing>)> = group
        .iter()
        .filter_map(|index| design_of(distinct[*index].0).map(|(design, backing)| (*index, design, backing)))
        .collect();
    let Some((first_index, first, _)) = designs.first() else { return Ok(Vec::new()) };
    let print_ppi = |index: usize| stock_of(index).print_ppi;
    let shared = Source::open(first, print_ppi(*first_index), shelf, bench)?;
    let is_vector = shared.as_ref().is_ok_and(|source| source.is_vector());
    let make = |(position, (index, design, backing)): (usize, (usize, &Design, Option<&Backing>))| {
        bench.cancel.check()?;
        // A drawing is rendered for each of its stickers by itself: what a sticker looks like never depends on its company.
        let own =
            if is_vector && position > 0 { Some(Source::open(design, print_ppi(index), shelf, bench)?) } else { None };
        Ok((index, make_design(own.as_ref().unwrap_or(&shared), design, backing, stock_of(index), bench)?))
    };
    designs.into_iter().enumerate().map(make).collect()
}

/// A picture without its ground, and what was seen of it.
pub(super) struct Source {
    cut_out: CutOut,
    /// What else is known of the picture; of its pixels only those without their ground.
    artwork: Artwork,
    /// The picture as decoded where its ground was taken away: only needed until it was looked at.
    decoded: Mutex<Option<Artwork>>,
    facts: OnceLock<ArtFacts>,
}

/// A picture, or why it cannot be used and what is known of it all the same.
pub(super) type Opened = Result<Arc<Source>, Box<ArtFacts>>;

/// A fault that a picture caused; any other ends the run.
fn refused(fault: Fault, known: Measures) -> Result<Opened, Fault> {
    let finding = fault.finding().ok_or(fault)?;
    Ok(Err(Box::new(ArtFacts::unusable(finding, known))))
}

impl Source {
    /// Opens a design's picture; a drawing is rendered to be printed at so many pixels per inch. A picture that cannot be used is no fault of the run.
    pub(super) fn open(design: &Design, print_ppi: Ppi, shelf: &Shelf, bench: Bench<'_>) -> Result<Opened, Fault> {
        let decoded = shelf.take(&design.art).map_or_else(|| Source::decode(design, print_ppi, shelf, bench), Ok);
        let mut artwork = match decoded {
            Ok(artwork) => artwork,
            Err(fault) => return refused(fault, Measures::default()),
        };
        let cut_out = match silhouette::cut_out(&artwork, design.backdrop_used(), bench.cancel) {
            Ok(cut_out) => cut_out,
            Err(fault) => return refused(fault, preflight::measures_of(&artwork)),
        };
        let decoded = (!Arc::ptr_eq(&artwork.pixels, &cut_out.pixels)).then(|| artwork.clone());
        artwork.pixels = Arc::clone(&cut_out.pixels);
        Ok(Ok(Arc::new(Source { cut_out, artwork, decoded: Mutex::new(decoded), facts: OnceLock::new() })))
    }

    fn decode(design: &Design, print_ppi: Ppi, shelf: &Shelf, bench: Bench<'_>) -> Result<Artwork, Fault> {
        let bytes = load(&design.art, bench.limits)?;
        let artwork = intake::open(&bytes, VECTOR_LOOK_PX, bench.limits)?;
        if artwork.format != Format::Svg {
            let (longest_px, least_px) = (artwork.longest_px(), bench.thresholds.least_picture_px);
            if f64::from(longest_px) < least_px {
                return Err(Fault::ArtTiny { longest_px, least_px });
            }
            shelf.put(&design.art, &artwork);
            return Ok(artwork);
        }
        // A drawing is rendered for its own sticker: nobody else has any use for it.
        let look = silhouette::cut_out(&artwork, design.backdrop_used(), bench.cancel)?;
        let scale = scale_for_print(&artwork, &look, design, print_ppi);
        intake::open_again(&bytes, &artwork, &scale, bench.limits)
    }

    /// What was seen of the picture. Looked at when first asked for, so that it can be done beside other work; nothing in it
    /// may wait for other threads, which may wait for it. Lets go of the ground.
    pub(super) fn facts(&self, bench: Bench<'_>) -> &ArtFacts {
        self.facts.get_or_init(|| {
            let decoded = self.decoded.lock().unwrap_or_else(PoisonError::into_inner).take();
            preflight::inspect_art(decoded.as_ref().unwrap_or(&self.artwork), &self.cut_out, bench.thresholds)
        })
    }

    /// Whether it was rendered from a drawing.
    pub(super) fn is_vector(&self) -> bool {
        self.artwork.format == Format::Svg
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

/// Most pixels that a design's picture is rendered at if it is a drawing: the art fills half of a side of what is rendered,
/// or more (see `ALONE_SHARE` and `ALONE_ROOM`); a drawing on a page that is fifty times as wide may take more.
pub fn drawing_px(design: &Design, limits: &Limits) -> u64 {
    let longest = match design.size {
        Size::Width(side) | Size::Height(side) | Size::Longest(side) => side,
        Size::Both { width, height } => width.max(height),
    };
    let side_px = u64::from(VECTOR_PPI.pixels(longest)).saturating_mul(2).max(u64::from(VECTOR_LOOK_PX));
    side_px.saturating_mul(side_px).min(limits.max_pixels)
}

/// How a drawing is rendered for its sticker, after a first look: at [`VECTOR_PPI`], less where the limits ask, never under
/// the stock's own resolution.
fn scale_for_print(look: &Artwork, cut_out: &CutOut, design: &Design, print_ppi: Ppi) -> Scale {
    let (width, height) = (f64::from(cut_out.visible.width_px), f64::from(cut_out.visible.height_px));
    let (canvas_width, canvas_height) = look.pixels.dimensions();
    let canvas_over_art = f64::from(canvas_width.max(canvas_height)) / width.max(height).max(1.0);
    let longest_mm: f64 = match design.size {
        Size::Width(side) => side.mm() * (height / width).max(1.0),
        Size::Height(side) => side.mm() * (width / height).max(1.0),
        Size::Longest(side) => side.mm(),
        Size::Both { width, height } => width.max(height).mm(),
    };
    let canvas_at = |ppi: Ppi| ppi.pixels(Mm::of(longest_mm.min(1e5) * canvas_over_art.min(1e3)));
    let best = if print_ppi > VECTOR_PPI { print_ppi } else { VECTOR_PPI };
    Scale {
        longest_px: canvas_at(best).max(VECTOR_LOOK_PX),
        least_px: canvas_at(print_ppi).max(1),
        window: window_of(look),
    }
}

/// The part of a drawing's canvas that anything was drawn on, or all of it.
fn window_of(look: &Artwork) -> Window {
    let (width, height) = look.pixels.dimensions();
    let (mut left, mut top, mut right, mut bottom) = (width, height, 0, 0);
    for (x, y, pixel) in look.pixels.enumerate_pixels() {
        if pixel.0[3] > 0 {
            (left, top, right, bottom) = (left.min(x), top.min(y), right.max(x + 1), bottom.max(y + 1));
        }
    }
    let share = |from: u32, to: u32, side: u32| {
        let low = (f64::from(from) / f64::from(side) - ALONE_ROOM).max(0.0);
        let high = (f64::from(to) / f64::from(side) + ALONE_ROOM).min(1.0);
        (low, high - low)
    };
    if right <= left {
        return Window::WHOLE;
    }
    let ((x, share_x), (y, share_y)) = (share(left, right, width), share(top, bottom, height));
    if share_x * share_y > ALONE_SHARE {
        return Window::WHOLE;
    }
    Window { x, y, width: share_x, height: share_y }
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
        Err(facts) => return Ok(Made { sticker: None, findings: facts.findings.clone(), rejected: None }),
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
    let fit = || outline::fit(&source.cut_out, design, backing, stock, bench.thresholds, bench.cancel);
    // Where nobody else is free the quick look comes first: it lets go of the ground.
    let (seen, fitted) = rayon::join(|| source.facts(bench), fit);
    let mut draft = match fitted {
        Ok(outlined) => {
            let facts = preflight::inspect_outline(seen, &outlined, design, stock, bench.thresholds);
            Draft { facts, outlined: Some(outlined) }
        }
        Err(fault) => {
            let Some(mut finding) = fault.finding() else { return Err(fault) };
            if finding.code == Code::ShapeParts {
                finding = finding.at(preflight::part_places(&source.cut_out));
            }
            let mut facts = seen.clone();
            facts.findings.push(finding);
            Draft { facts, outlined: None }
        }
    };
    let colours = preflight::inspect_colours(&source.artwork, &source.cut_out, stock, bench.thresholds);
    draft.facts.findings.extend(colours);
    Ok(draft)
}

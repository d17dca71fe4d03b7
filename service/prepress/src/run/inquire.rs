//! Looks at one item before it is ordered: everything there is to say of it, nothing painted.

use rayon::prelude::*;

use super::prepare::{self, Bench, Draft, Opened, Rejected, Source};
use super::shelf::Shelf;
use super::{layout, page};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::{Code, Finding, Severity};
use crate::frame;
use crate::gang::{self, PagePiece};
use crate::geom::{Point, Ring};
use crate::intake::Limits;
use crate::order::{Accept, Backing, Design, Inquiry, Page, Piece, Product, Size, Stock};
use crate::outline::Outlined;
use crate::output::report::{Finished, PieceReport, Report, UsedSettings, Verdict};
use crate::preflight::{ArtFacts, Measures};
use crate::units::Mm;
use crate::{cutline, outline};

/// Longest sides tried, in turn, where no size was said: a usual sticker, then larger ones for art so long and thin that a
/// usual one would be too narrow to make.
const UNSAID_SIDES: [Mm; 3] = [Mm::of(60.0), Mm::of(240.0), Mm::of(960.0)];

/// Reports everything that can be said of an item without printing it.
///
/// # Errors
/// Never for a picture: what is wrong with it is a finding. `run.cancelled`, `run.art_lost`, `stock.broken`.
pub fn preflight(inquiry: &Inquiry, limits: &Limits, cancel: &Cancel) -> Result<Report, Fault> {
    let look = look(inquiry, Bench { limits, cancel, thresholds: &inquiry.thresholds })?;
    Ok(look.report(inquiry))
}

/// One design drawn as far as it can be.
pub(super) struct Sketch {
    /// The picture, or why it cannot be used.
    pub(super) opened: Opened,
    /// The design as it is drawn: with everything accepted that would set it aside, and with the size it was given.
    pub(super) design: Design,
    /// Measures and findings, as if nothing but what was said were accepted.
    pub(super) facts: ArtFacts,
    /// `None` when no line could be drawn.
    pub(super) outlined: Option<Outlined>,
}

impl Sketch {
    fn finished(&self, sized: bool) -> Option<Finished> {
        let outlined = self.outlined.as_ref().filter(|_| sized)?;
        Some(Finished::of(outlined.finished_width, outlined.finished_height))
    }
}

/// What was seen of an item.
pub(super) struct Look {
    /// One sketch, or one for each piece of a sticker sheet.
    pub(super) sketches: Vec<Sketch>,
    /// Everything found.
    pub(super) findings: Vec<Finding>,
    /// The finished size.
    pub(super) finished: Option<Finished>,
    measures: Measures,
    pieces: Vec<PieceReport>,
}

impl Look {
    /// As a report.
    pub(super) fn report(&self, inquiry: &Inquiry) -> Report {
        Report {
            verdict: Verdict::on(&self.findings),
            findings: self.findings.clone(),
            measures: self.measures.clone(),
            finished: self.finished,
            pieces: self.pieces.clone(),
            settings: UsedSettings::of(inquiry),
        }
    }
}

/// Looks at an item.
pub(super) fn look(inquiry: &Inquiry, bench: Bench<'_>) -> Result<Look, Fault> {
    match &inquiry.product {
        Product::DieCut(design) => look_at_design(inquiry, design, None, bench),
        Product::KissCut(design, backing) => look_at_design(inquiry, design, Some(backing), bench),
        Product::StickerSheet(page) => look_at_page(inquiry, page, bench),
    }
}

fn look_at_design(
    inquiry: &Inquiry,
    design: &Design,
    backing: Option<&Backing>,
    bench: Bench<'_>,
) -> Result<Look, Fault> {
    let opened = Source::open(design, inquiry.stock.print_ppi, &Shelf::of([&design.art]), bench)?;
    let sketch = sketch(opened, design, backing, inquiry, bench)?;
    let mut findings = sketch.facts.findings.clone();
    if let Some(outlined) = sketch.outlined.as_ref().filter(|_| inquiry.sized) {
        let Rejected { outermost, reach, longest } = Rejected::of(outlined);
        findings.extend(too_large(inquiry, &outermost, reach, longest)?);
    }
    Ok(Look {
        findings,
        finished: sketch.finished(inquiry.sized),
        measures: sketch.facts.measures.clone(),
        pieces: Vec::new(),
        sketches: vec![sketch],
    })
}

/// Whether a sticker of these lines is too large for the stock's window.
fn too_large(inquiry: &Inquiry, outermost: &[Ring], reach: Mm, longest: Mm) -> Result<Option<Finding>, Fault> {
    let frame = frame::lay_out(&inquiry.stock)?;
    let fault = gang::too_large(&frame, &inquiry.stock, inquiry.rotate, outermost, reach);
    let body = layout::Body { outermost, reach, longest };
    Ok(fault.and_then(|fault| layout::too_large(fault, &body, &inquiry.product)))
}

/// Draws a design. What only keeps it from being cut as it is, and could be accepted, keeps nothing from being drawn.
fn sketch(
    opened: Opened,
    design: &Design,
    backing: Option<&Backing>,
    inquiry: &Inquiry,
    bench: Bench<'_>,
) -> Result<Sketch, Fault> {
    let source = match &opened {
        Ok(source) => source,
        Err(facts) => {
            let facts = facts.as_ref().clone();
            return Ok(Sketch { design: design.clone(), facts, outlined: None, opened });
        }
    };
    let (mut design, mut drawn) = (design.clone(), None);
    for longest in UNSAID_SIDES {
        if !inquiry.sized {
            design.size = Size::Longest(longest);
        }
        let draft = drawn.insert(draft_all_the_same(source, &mut design, backing, &inquiry.stock, bench)?);
        let is_too_small = draft.facts.findings.iter().any(|finding| finding.code == Code::SizeTooSmall);
        if inquiry.sized || draft.outlined.is_some() || !is_too_small {
            break;
        }
    }
    let Draft { facts, outlined } = drawn.expect("there is a side to try");
    let facts = if inquiry.sized { facts } else { facts.without_size() };
    Ok(Sketch { opened, design, facts, outlined })
}

/// Drafts a design, and once more with its floating parts apart when nothing else keeps it from being drawn. The findings
/// are those of the design as it was; `design` then accepts what they reject, so that what is made of it is what a run
/// makes once that is accepted.
fn draft_all_the_same(
    source: &Source,
    design: &mut Design,
    backing: Option<&Backing>,
    stock: &Stock,
    bench: Bench<'_>,
) -> Result<Draft, Fault> {
    let mut draft = prepare::draft(source, design, backing, stock, bench)?;
    let is_parts = |finding: &Finding| finding.code == Code::ShapeParts;
    let rejects_parts = |finding: &&Finding| is_parts(finding) && finding.severity == Severity::Reject;
    let rejected = draft.facts.findings.iter().find(rejects_parts).cloned();
    if let (None, Some(rejected)) = (&draft.outlined, rejected) {
        accept(&mut design.accept, Code::ShapeParts);
        draft = prepare::draft(source, design, backing, stock, bench)?;
        draft.facts.findings.retain(|finding| !is_parts(finding));
        draft.facts.findings.push(rejected);
    }
    let rejects = draft.facts.findings.iter().filter(|finding| finding.severity == Severity::Reject);
    rejects.for_each(|finding| accept(&mut design.accept, finding.code));
    Ok(draft)
}

fn accept(accepted: &mut Accept, code: Code) {
    if !accepted.has(code.as_str()) {
        accepted.0.push(code.as_str().to_owned());
    }
}

fn look_at_page(inquiry: &Inquiry, page: &Page, bench: Bench<'_>) -> Result<Look, Fault> {
    let sized = Inquiry { sized: true, ..inquiry.clone() };
    let sketches: Vec<Sketch> = page
        .pieces
        .par_iter()
        .zip(page::open_pieces(page, &inquiry.stock, &Shelf::of(page::pictures(page)), bench)?)
        .map(|(piece, opened)| sketch(opened, &piece.design, None, &sized, bench))
        .collect::<Result<_, Fault>>()?;
    let mut findings: Vec<Finding> = page
        .pieces
        .iter()
        .zip(&sketches)
        .flat_map(|(piece, sketch)| page::labelled(&sketch.facts.findings, piece))
        .collect();
    findings.extend(page_full(inquiry, page, &sketches, bench)?);
    let edge = cutline::rounded_rectangle(Point::ORIGIN, page.width, page.height, page.corner_radius);
    let outermost = [edge.flattened(outline::FLATNESS)];
    findings.extend(too_large(inquiry, &outermost, Mm::ZERO, page.width.max(page.height))?);
    let report = |(piece, sketch): (&Piece, &Sketch)| PieceReport {
        piece: piece.piece.clone(),
        measures: sketch.facts.measures.clone(),
        finished: sketch.finished(true),
    };
    Ok(Look {
        pieces: page.pieces.iter().zip(&sketches).map(report).collect(),
        findings,
        finished: Some(Finished::of(page.width, page.height)),
        measures: Measures::default(),
        sketches,
    })
}

/// Whether the page holds its pieces; judged only when all of them could be drawn.
fn page_full(inquiry: &Inquiry, page: &Page, sketches: &[Sketch], bench: Bench<'_>) -> Result<Option<Finding>, Fault> {
    let pieces: Option<Vec<PagePiece>> = page
        .pieces
        .iter()
        .zip(sketches)
        .map(|(piece, sketch)| {
            let outermost = Rejected::of(sketch.outlined.as_ref()?).outermost;
            Some(PagePiece { outermost, copies: piece.copies, fills: false })
        })
        .collect();
    let Some(pieces) = pieces else { return Ok(None) };
    match gang::check_page(&page::plan(page, &inquiry.stock, pieces), bench.cancel) {
        Ok(()) => Ok(None),
        Err(fault) => fault.finding().map(Some).ok_or(fault),
    }
}

//! Requests about one item: preflight, proof, estimate.

use quoin_prepress::order::{Ground, Inquiry, Product, Size, Stock, View};

use super::ArtSource;
use super::configured::Configured;
use super::item::{self, Line, Reader, StockNames};
use super::mistake::{MistakeCode, Mistakes, Pointer};
use super::node::Node;
use super::range;
use super::stock;

/// Fields of a request for preflight.
pub(super) const PREFLIGHT_FIELDS: [&str; 2] = ["item", "stock"];

/// Fields of a request for a proof.
pub(super) const PROOF_FIELDS: [&str; 3] = ["item", "stock", "view"];

/// Fields of a request for an estimate.
pub(super) const ESTIMATE_FIELDS: [&str; 3] = ["item", "stock", "quantities"];

/// Fields of `view`.
pub(super) const VIEW_FIELDS: [&str; 3] = ["ground", "cut_line", "longest_px"];

/// Words of `view.ground`.
pub(super) const GROUNDS: [(&str, Ground); 3] =
    [("neutral", Ground::Neutral), ("dark", Ground::Dark), ("transparent", Ground::Transparent)];

/// Whether an item may leave its size out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum SizeIs {
    /// It may not.
    Required,
    /// It may: nothing that follows from a size is judged then.
    Optional,
}

/// Reads `item` and `stock` of a request that has these fields.
pub(super) fn read_inquiry(
    request: &Node<'_>,
    fields: &[&str],
    size: SizeIs,
    configured: &Configured,
    art: &mut dyn ArtSource,
    mistakes: &mut Mistakes,
) -> Option<Inquiry> {
    if !request.expect_object(mistakes) {
        return None;
    }
    request.only_fields(mistakes, fields);
    let stock = read_stock(request, configured, mistakes);
    let Some(own) = request.get("item") else {
        request.missing(mistakes, "item");
        return None;
    };
    let names = StockNames { bleeds: vec![stock.as_ref().map(|stock| stock.bleed)], ..StockNames::default() };
    let unsaid_size = (size == SizeIs::Optional).then_some(Size::UNSAID);
    let reader = &mut Reader { mistakes, art, stocks: &names, unsaid_size };
    let item = item::read_item(&own, &Node::default(), &Node::default(), Line::Inquired, reader)?;
    let sized = matches!(item.product, Product::StickerSheet(_)) || own.choice("size").is_some();
    let thresholds = configured.thresholds();
    Some(Inquiry {
        product: item.product,
        quantity: item.quantity,
        rotate: item.rotate,
        stock: stock?,
        sized,
        thresholds,
    })
}

/// The request's stock, else the only one configured.
fn read_stock(request: &Node<'_>, configured: &Configured, mistakes: &mut Mistakes) -> Option<Stock> {
    if let Some(entry) = request.get("stock") {
        return stock::read_checked(&entry, configured, mistakes);
    }
    match configured.stocks() {
        [only] => Some(only.clone()),
        [] => {
            request.missing(mistakes, "stock");
            None
        }
        _ => {
            let message = format!("`stock` is required: one of {}, or a stock of its own", configured.names());
            mistakes.add(MistakeCode::NoStockChosen, &request.pointer(), message);
            None
        }
    }
}

/// How a proof is looked at.
pub(super) fn read_view(request: &Node<'_>, mistakes: &mut Mistakes) -> View {
    let section = request.section(mistakes, "view");
    section.only_fields(mistakes, &VIEW_FIELDS);
    let unsaid = View::default();
    let longest_px = section.whole(mistakes, "longest_px", &range::PROOF_PX);
    View {
        ground: section.word(mistakes, "ground", &GROUNDS).unwrap_or(unsaid.ground),
        cut_line: section.flag(mistakes, "cut_line").unwrap_or(unsaid.cut_line),
        longest_px: longest_px.and_then(|longest| u32::try_from(longest).ok()).unwrap_or(unsaid.longest_px),
    }
}

/// The quantities to estimate; `None` where nothing is said.
pub(super) fn read_quantities(request: &Node<'_>, mistakes: &mut Mistakes) -> Option<Vec<u32>> {
    let list = request.list(mistakes, "quantities")?;
    if list.is_empty() || list.len() > range::QUANTITIES {
        let pointer = request.get("quantities").map_or_else(Pointer::root, |node| node.pointer());
        let message = format!("has {} quantities; 1 to {} are taken", list.len(), range::QUANTITIES);
        mistakes.add(MistakeCode::OutOfRange, &pointer, message);
    }
    let quantity = |node: &Node<'_>| u32::try_from(node.as_whole(mistakes, &range::QUANTITY)?).ok();
    Some(list.iter().filter_map(quantity).collect())
}

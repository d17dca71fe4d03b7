//! One line of an order, over the job's defaults.

use std::collections::BTreeMap;

use quoin_prepress::order::{Item, Product, Rotate, Size};
use quoin_prepress::units::Mm;

use super::art::{self, ArtSource};
use super::ids;
use super::mistake::{MistakeCode, Mistakes};
use super::node::Node;
use super::outline;
use super::page;
use super::range;

/// Fields of an item.
pub(super) const ITEM_FIELDS: [&str; 17] = [
    "item", "art", "size", "quantity", "product", "outline", "backing", "backdrop", "white", "rotate", "accept",
    "approved", "stock", "tags", "page", "pieces", "fill",
];

/// Fields of a filler: an item's, with `at_most` for `quantity`.
pub(super) const FILLER_FIELDS: [&str; 17] = [
    "item", "art", "size", "at_most", "product", "outline", "backing", "backdrop", "white", "rotate", "accept",
    "approved", "stock", "tags", "page", "pieces", "fill",
];

/// What the job's stocks are called, so that items can name them.
#[derive(Debug, Default)]
pub(super) struct StockNames {
    /// Index by name.
    pub(super) by_name: BTreeMap<String, usize>,
    /// Print past the cut, by index; `None` where the stock could not be read.
    pub(super) bleeds: Vec<Option<Mm>>,
    /// Whether the list could be read at all. Else no item is blamed for its stock.
    pub(super) known: bool,
}

/// What reading an item needs besides the item.
pub(super) struct Reader<'r> {
    /// Where mistakes go.
    pub(super) mistakes: &'r mut Mistakes,
    /// Where pictures come from.
    pub(super) art: &'r mut dyn ArtSource,
    /// The job's stocks.
    pub(super) stocks: &'r StockNames,
    /// What an item's size is that leaves it out; `None`: it may not.
    pub(super) unsaid_size: Option<Size>,
}

/// What is made, by word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ProductWord {
    DieCut,
    KissCut,
    StickerSheet,
}

/// Words of `rotate`.
pub(super) const ROTATIONS: [(&str, Rotate); 3] =
    [("free", Rotate::Free), ("quarter_turns", Rotate::QuarterTurns), ("none", Rotate::None)];

/// Words of `product`.
pub(super) const PRODUCTS: [(&str, ProductWord); 3] = [
    ("die_cut", ProductWord::DieCut),
    ("kiss_cut", ProductWord::KissCut),
    ("sticker_sheet", ProductWord::StickerSheet),
];

/// Fields of an item that is only asked about: the request has the stock.
pub(super) const INQUIRED_FIELDS: [&str; 16] = [
    "item", "art", "size", "quantity", "product", "outline", "backing", "backdrop", "white", "rotate", "accept",
    "approved", "tags", "page", "pieces", "fill",
];

/// Whether an item is ordered, a shop's own for offcuts, or asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Line {
    /// Has a `quantity`.
    Ordered,
    /// Has `at_most`.
    Filler,
    /// May leave out id and quantity; has no stock of its own.
    Inquired,
}

/// Reads an item. `order` is the order it belongs to, an empty node for fillers.
pub(super) fn read_item(
    own: &Node<'_>,
    order: &Node<'_>,
    defaults: &Node<'_>,
    line: Line,
    reader: &mut Reader<'_>,
) -> Option<Item> {
    if !own.expect_object(reader.mistakes) {
        return None;
    }
    let fields: &[&str] = match line {
        Line::Ordered => &ITEM_FIELDS,
        Line::Filler => &FILLER_FIELDS,
        Line::Inquired => &INQUIRED_FIELDS,
    };
    own.only_fields(reader.mistakes, fields);
    let item = own.over(defaults);
    if item.get("item").is_none() && line != Line::Inquired {
        item.missing(reader.mistakes, "item");
    }
    let id = match (item.get("item"), line) {
        (None, Line::Inquired) => Some(""),
        _ => item.ruled_text(reader.mistakes, "item", ids::id),
    };
    let quantity = read_quantity(&item, line, reader.mistakes);
    let stock = if line == Line::Inquired { Some(0) } else { read_stock(own, order, defaults, reader) };
    let bleed = stock.and_then(|index| reader.stocks.bleeds.get(index).copied().flatten());
    let product = read_product(&item, bleed, reader);
    let rotate = read_rotate(&item, reader.mistakes);
    let tags = read_tags(&item, reader.mistakes);
    let approved = read_approved(&item, reader.mistakes);
    Some(Item { item: id?.to_owned(), quantity: quantity?, product: product?, rotate, stock: stock?, tags, approved })
}

/// The digest of an approved proof.
fn read_approved(item: &Node<'_>, mistakes: &mut Mistakes) -> Option<String> {
    item.ruled_text(mistakes, "approved", ids::digest).map(str::to_ascii_lowercase)
}

fn read_quantity(item: &Node<'_>, line: Line, mistakes: &mut Mistakes) -> Option<u32> {
    let field = if line == Line::Filler { "at_most" } else { "quantity" };
    if item.get(field).is_none() {
        if line == Line::Inquired {
            return Some(1);
        }
        item.missing(mistakes, field);
    }
    let quantity = item.whole(mistakes, field, &range::QUANTITY)?;
    u32::try_from(quantity).ok()
}

/// The item's stock, else its order's, else that of the defaults, else the job's only one.
fn read_stock(own: &Node<'_>, order: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Option<usize> {
    let chosen = own.get("stock").or_else(|| order.get("stock")).or_else(|| defaults.get("stock"));
    let stocks = reader.stocks;
    let Some(node) = chosen else {
        if stocks.known && stocks.bleeds.len() != 1 {
            let message = "the job has several stocks, and neither the item, its order nor `defaults` names one";
            reader.mistakes.add(MistakeCode::NoStockChosen, &own.pointer(), message);
        }
        return (stocks.bleeds.len() == 1).then_some(0);
    };
    let name = node.as_text(reader.mistakes)?;
    let index = stocks.by_name.get(name).copied();
    if index.is_none() && stocks.known {
        let message = format!("the job has no stock \"{name}\"");
        reader.mistakes.add(MistakeCode::UnknownStock, &node.pointer(), message);
    }
    index
}

fn read_product(item: &Node<'_>, bleed: Option<Mm>, reader: &mut Reader<'_>) -> Option<Product> {
    let word = match item.get("product") {
        Some(node) => {
            let Some(word) = node.as_word(reader.mistakes, &PRODUCTS) else {
                check_without_product(item, reader);
                return None;
            };
            word
        }
        None => ProductWord::DieCut,
    };
    match word {
        ProductWord::DieCut => {
            item.refuse_own(reader.mistakes, &["backing", "page", "pieces", "fill"], "a die-cut sticker");
            outline::read_design(item, item, reader.unsaid_size, reader).map(Product::DieCut)
        }
        ProductWord::KissCut => {
            item.refuse_own(reader.mistakes, &["page", "pieces", "fill"], "a kiss-cut sticker");
            let backing = outline::read_backing(item, bleed, reader.mistakes);
            outline::read_design(item, item, reader.unsaid_size, reader).map(|design| Product::KissCut(design, backing))
        }
        ProductWord::StickerSheet => {
            item.refuse_own(reader.mistakes, &["art", "size", "backing"], "a sticker sheet");
            // What every piece says for itself is still to be valid here.
            // A sheet has no outline of its own, so shape by shape they count as defaults of its pieces.
            check_settings(&item.as_defaults(), reader.mistakes);
            page::read_page(item, bleed, reader).map(Product::StickerSheet)
        }
    }
}

/// A word that is none leaves open which fields there should be: what is there is judged, nothing is missed.
fn check_without_product(item: &Node<'_>, reader: &mut Reader<'_>) {
    check_settings(&item.as_defaults(), reader.mistakes);
    if let Some(size) = item.choice("size") {
        outline::check_size(&size, reader.mistakes);
    }
    if let Some(art) = item.choice("art") {
        art::read(&art, reader.art, reader.mistakes);
    }
}

/// Checks the settings that an item's pieces may leave out.
fn check_settings(item: &Node<'_>, mistakes: &mut Mistakes) {
    outline::read_outline(item, mistakes);
    outline::read_backdrop(item, mistakes);
    outline::read_white(item, mistakes);
    outline::read_accept(item, mistakes);
}

fn read_rotate(item: &Node<'_>, mistakes: &mut Mistakes) -> Rotate {
    item.word(mistakes, "rotate", &ROTATIONS).unwrap_or(Rotate::Free)
}

fn read_tags(item: &Node<'_>, mistakes: &mut Mistakes) -> Vec<String> {
    let Some(list) = item.list(mistakes, "tags") else { return Vec::new() };
    if list.len() > range::TAGS {
        let pointer = item.get("tags").map(|node| node.pointer()).unwrap_or_default();
        let message = format!("has {} tags; at most {} are taken", list.len(), range::TAGS);
        mistakes.add(MistakeCode::OutOfRange, &pointer, message);
    }
    list.iter().filter_map(|tag| tag.as_ruled_text(mistakes, ids::id)).map(str::to_owned).collect()
}

/// Checks what `defaults` say, also what every item overrides. Nothing is required, and what only some shape or product
/// has may stand there.
pub(super) fn check_defaults(defaults: &Node<'_>, reader: &mut Reader<'_>) {
    let node = defaults.as_defaults();
    node.only_fields(reader.mistakes, &ITEM_FIELDS);
    node.ruled_text(reader.mistakes, "item", ids::id);
    node.whole(reader.mistakes, "quantity", &range::QUANTITY);
    node.word(reader.mistakes, "product", &PRODUCTS);
    check_settings(&node, reader.mistakes);
    outline::read_backing(&node, None, reader.mistakes);
    page::read_page_size(&node, None, false, reader.mistakes);
    page::read_fill(&node, reader.mistakes);
    read_rotate(&node, reader.mistakes);
    read_tags(&node, reader.mistakes);
    read_approved(&node, reader.mistakes);
    if let Some(size) = node.choice("size") {
        outline::check_size(&size, reader.mistakes);
    }
    if let Some(art) = node.choice("art") {
        art::read(&art, reader.art, reader.mistakes);
    }
    page::read_pieces(&node, reader);
    if node.get("stock").is_some() {
        read_stock(&node, &Node::default(), &Node::default(), reader);
    }
}

//! How a picture becomes a sticker: size, outline, backing, backdrop, white ink, settled findings.

use quoin_prepress::order::{
    Accept, ArtFit, Backdrop, BackdropRemove, Backing, Colour, Design, HolesKept, Outline, Parts, Shape, Size, White,
};
use quoin_prepress::units::Mm;

use super::art;
use super::item::Reader;
use super::mistake::{MistakeCode, Mistakes};
use super::node::Node;
use super::range;

/// A shape before its measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ShapeWord {
    Contour,
    Rectangle,
    RoundedRectangle,
    Circle,
    Ellipse,
}

/// Words of `shape`.
pub(super) const SHAPES: [(&str, ShapeWord); 5] = [
    ("contour", ShapeWord::Contour),
    ("rectangle", ShapeWord::Rectangle),
    ("rounded_rectangle", ShapeWord::RoundedRectangle),
    ("circle", ShapeWord::Circle),
    ("ellipse", ShapeWord::Ellipse),
];

/// Words of `outline.parts`.
pub(super) const PARTS: [(&str, Parts); 3] =
    [("join", Parts::Join), ("separate", Parts::Separate), ("set_aside", Parts::SetAside)];

/// Words of `outline.art_fit`.
pub(super) const ART_FITS: [(&str, ArtFit); 2] = [("contain", ArtFit::Contain), ("cover", ArtFit::Cover)];

/// Words of `backdrop.remove`.
pub(super) const REMOVALS: [(&str, BackdropRemove); 3] =
    [("auto", BackdropRemove::Auto), ("always", BackdropRemove::Always), ("never", BackdropRemove::Never)];

/// Words of `white`.
pub(super) const WHITES: [(&str, White); 3] = [("all", White::All), ("art", White::Art), ("none", White::None)];

/// Fields of `size`.
pub(super) const SIZE_FIELDS: [&str; 3] = ["width_mm", "height_mm", "longest_mm"];

/// Fields of `outline`.
pub(super) const OUTLINE_FIELDS: [&str; 7] =
    ["shape", "border_mm", "border_colour", "corner_radius_mm", "art_fit", "keep_holes_wider_than_mm", "parts"];

/// Fields of `backing`.
pub(super) const BACKING_FIELDS: [&str; 4] = ["shape", "margin_mm", "corner_radius_mm", "colour"];

/// Fields of `backdrop`.
pub(super) const BACKDROP_FIELDS: [&str; 2] = ["remove", "tolerance_delta_e"];

/// Codes of findings that a customer can settle: those of the families `resolution`, `transparency`, `shape`, `colour` and
/// `detail` (the contract, section 1).
pub(crate) const ACCEPTABLE: [&str; 17] = [
    "resolution.low",
    "resolution.upscaled",
    "transparency.none",
    "transparency.haze",
    "transparency.fringe",
    "transparency.fake_checker",
    "shape.parts",
    "shape.specks",
    "shape.thin",
    "shape.clipped",
    "shape.undrawable",
    "colour.profile",
    "colour.cmyk",
    "colour.gamut",
    "colour.ink",
    "colour.white_on_white",
    "detail.fine_lines",
];

/// Radius of a rounded rectangle's corners where nothing is said.
const DEFAULT_CORNER_RADIUS: Mm = Mm::of(3.0);

/// A picture and how it becomes a sticker. `own` has art and size; `settings` has all the rest (a piece takes its settings
/// from its item, but never art or size). `unsaid_size` is what a size is that is left out; `None`: it may not be.
pub(super) fn read_design(
    own: &Node<'_>,
    settings: &Node<'_>,
    unsaid_size: Option<Size>,
    reader: &mut Reader<'_>,
) -> Option<Design> {
    let outline = read_outline(settings, reader.mistakes);
    let backdrop = read_backdrop(settings, reader.mistakes);
    let white = read_white(settings, reader.mistakes);
    let accept = read_accept(settings, reader.mistakes);
    let size = match (own.choice("size"), unsaid_size) {
        (None, Some(unsaid)) => Some(unsaid),
        _ => required(own, "size", reader.mistakes).and_then(|node| read_size(&node, outline.shape, reader.mistakes)),
    };
    let art = required(own, "art", reader.mistakes).and_then(|node| art::read(&node, reader.art, reader.mistakes));
    Some(Design { art: art?, size: size?, outline, backdrop, white, accept })
}

/// A choice that must be made.
fn required<'a>(node: &Node<'a>, key: &str, mistakes: &mut Mistakes) -> Option<Node<'a>> {
    let found = node.choice(key);
    if found.is_none() {
        node.missing(mistakes, key);
    }
    found
}

/// A size, whatever shape it is for.
pub(super) fn check_size(node: &Node<'_>, mistakes: &mut Mistakes) {
    // A rectangle takes every size that any shape takes.
    read_size(node, Shape::Rectangle, mistakes);
}

fn read_size(node: &Node<'_>, shape: Shape, mistakes: &mut Mistakes) -> Option<Size> {
    if !node.expect_object(mistakes) {
        return None;
    }
    node.only_fields(mistakes, &SIZE_FIELDS);
    let before = mistakes.count();
    let width = node.length(mistakes, "width_mm", &range::ORDERED);
    let height = node.length(mistakes, "height_mm", &range::ORDERED);
    let longest = node.length(mistakes, "longest_mm", &range::ORDERED);
    if mistakes.count() > before {
        return None;
    }
    let takes_both = matches!(shape, Shape::Rectangle | Shape::RoundedRectangle { .. } | Shape::Ellipse);
    match (width, height, longest) {
        (Some(width), None, None) => Some(Size::Width(width)),
        (None, Some(height), None) => Some(Size::Height(height)),
        (None, None, Some(longest)) => Some(Size::Longest(longest)),
        (Some(width), Some(height), None) if takes_both => Some(Size::Both { width, height }),
        (None, None, None) => {
            let message = "a size is one of `width_mm`, `height_mm`, `longest_mm`";
            mistakes.add(MistakeCode::MissingField, &node.pointer(), message);
            None
        }
        _ => {
            let message = "a size is exactly one of `width_mm`, `height_mm`, `longest_mm`; only a rectangle, rounded \
                           rectangle or ellipse takes width and height";
            mistakes.add(MistakeCode::Contradiction, &node.pointer(), message);
            None
        }
    }
}

/// The shape that a section names, with its measures.
fn read_shape(section: &Node<'_>, default: ShapeWord, mistakes: &mut Mistakes) -> Shape {
    let word = section.word(mistakes, "shape", &SHAPES).unwrap_or(default);
    let is_own = section.get("corner_radius_mm").is_some_and(|node| node.is_own());
    let radius = if word == ShapeWord::RoundedRectangle || !is_own {
        section.length(mistakes, "corner_radius_mm", &range::CORNER_RADIUS)
    } else {
        None
    };
    let shape = match word {
        ShapeWord::Contour => Shape::Contour,
        ShapeWord::Rectangle => Shape::Rectangle,
        ShapeWord::Circle => Shape::Circle,
        ShapeWord::Ellipse => Shape::Ellipse,
        ShapeWord::RoundedRectangle => {
            return Shape::RoundedRectangle { corner_radius: radius.unwrap_or(DEFAULT_CORNER_RADIUS) };
        }
    };
    let name = SHAPES.iter().find(|(_, choice)| *choice == word).map_or("this shape", |(name, _)| name);
    section.refuse_own(mistakes, &["corner_radius_mm"], &format!("the shape {name}"));
    shape
}

/// The outline of an item or piece.
pub(super) fn read_outline(node: &Node<'_>, mistakes: &mut Mistakes) -> Outline {
    let section = node.section(mistakes, "outline");
    section.only_fields(mistakes, &OUTLINE_FIELDS);
    let shape = read_shape(&section, ShapeWord::Contour, mistakes);
    Outline {
        shape,
        border: section.length(mistakes, "border_mm", &range::BORDER).unwrap_or(Mm::of(3.0)),
        border_colour: section.colour(mistakes, "border_colour").unwrap_or(Colour::WHITE),
        art_fit: read_art_fit(&section, shape, mistakes),
        keep_holes_wider_than: read_holes(&section, shape, mistakes),
        parts: section.word(mistakes, "parts", &PARTS).unwrap_or(Parts::Join),
    }
}

/// Only a contour has holes; what `defaults` say of them does not touch other shapes.
fn read_holes(section: &Node<'_>, shape: Shape, mistakes: &mut Mistakes) -> HolesKept {
    let kept = section.length(mistakes, "keep_holes_wider_than_mm", &range::HOLE)?;
    if shape == Shape::Contour {
        return Some(kept);
    }
    if let Some(node) = section.get("keep_holes_wider_than_mm").filter(Node::is_own) {
        let message = "only a contour has holes that can be kept";
        mistakes.add(MistakeCode::Contradiction, &node.pointer(), message);
    }
    None
}

fn read_art_fit(section: &Node<'_>, shape: Shape, mistakes: &mut Mistakes) -> ArtFit {
    let fit = section.word(mistakes, "art_fit", &ART_FITS).unwrap_or(ArtFit::Contain);
    if fit == ArtFit::Contain || shape != Shape::Contour {
        return fit;
    }
    if let Some(node) = section.get("art_fit").filter(Node::is_own) {
        let message = "a contour follows the art, so the art cannot cover it";
        mistakes.add(MistakeCode::Contradiction, &node.pointer(), message);
    }
    ArtFit::Contain
}

/// The through cut around a kiss cut, for a stock with this bleed; `None`: the stock is not known.
pub(super) fn read_backing(node: &Node<'_>, bleed: Option<Mm>, mistakes: &mut Mistakes) -> Backing {
    let section = node.section(mistakes, "backing");
    section.only_fields(mistakes, &BACKING_FIELDS);
    let twice = bleed.unwrap_or(Mm::ZERO) * 2.0;
    let least = range::SPACING.at_least(range::BACKING_MARGIN_LEAST_MM.max(twice.mm()));
    Backing {
        shape: read_shape(&section, ShapeWord::RoundedRectangle, mistakes),
        margin: section.length(mistakes, "margin_mm", &least).unwrap_or(Mm::of(4.0).max(twice)),
        colour: section.colour(mistakes, "colour"),
    }
}

/// Backdrop options.
pub(super) fn read_backdrop(node: &Node<'_>, mistakes: &mut Mistakes) -> Backdrop {
    let section = node.section(mistakes, "backdrop");
    section.only_fields(mistakes, &BACKDROP_FIELDS);
    Backdrop {
        remove: section.word(mistakes, "remove", &REMOVALS).unwrap_or(BackdropRemove::Auto),
        tolerance_delta_e: section.number(mistakes, "tolerance_delta_e", &range::TOLERANCE).unwrap_or(3.5),
    }
}

/// What white ink is printed under.
pub(super) fn read_white(node: &Node<'_>, mistakes: &mut Mistakes) -> White {
    node.word(mistakes, "white", &WHITES).unwrap_or(White::All)
}

/// Codes of findings that are settled with the customer.
pub(super) fn read_accept(node: &Node<'_>, mistakes: &mut Mistakes) -> Accept {
    let mut codes = Vec::new();
    for element in node.list(mistakes, "accept").unwrap_or_default() {
        let Some(code) = element.as_text(mistakes) else { continue };
        if ACCEPTABLE.contains(&code) {
            codes.push(code.to_owned());
        } else {
            let message = format!("\"{code}\" is no finding that can be accepted; those are {}", ACCEPTABLE.join(", "));
            mistakes.add(MistakeCode::UnknownWord, &element.pointer(), message);
        }
    }
    Accept(codes)
}

#[cfg(test)]
mod tests {
    use quoin_prepress::finding::Code;

    use super::*;

    #[test]
    fn every_code_of_the_families_that_can_be_settled_is_known() {
        let families = ["resolution.", "transparency.", "shape.", "colour.", "detail."];
        for code in Code::ALL.iter().map(|code| code.as_str()) {
            let of_family = families.iter().any(|family| code.starts_with(family));
            assert_eq!(of_family, ACCEPTABLE.contains(&code), "{code}");
        }
        assert!(ACCEPTABLE.iter().all(|code| families.iter().any(|family| code.starts_with(family))));
    }
}

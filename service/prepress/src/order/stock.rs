//! Printable self-adhesive material, and how printer and cutter take it.

use super::Colour;
use crate::geom::Point;
use crate::units::{Mm, Ppi};

/// Sheet or roll.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// Cut sheets.
    Sheet {
        /// As it enters the printer.
        width: Mm,
        /// As it enters the printer.
        height: Mm,
        /// The standard media name, when it was given by one.
        media: Option<String>,
    },
    /// A roll.
    Roll {
        /// Across the feed.
        width: Mm,
        /// Longest length cut off, leader and trailer included.
        max_length: Mm,
        /// From one row of corner marks to the next; `None`: one section.
        section_length: Option<Mm>,
    },
}

/// A length for each side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margins {
    /// Top side.
    pub top: Mm,
    /// Right side.
    pub right: Mm,
    /// Bottom side.
    pub bottom: Mm,
    /// Left side.
    pub left: Mm,
}

impl Margins {
    /// The same on all sides.
    pub const fn even(margin: Mm) -> Margins {
        Margins { top: margin, right: margin, bottom: margin, left: margin }
    }
}

/// The edge that enters printer and cutter first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FeedEdge {
    /// Top.
    Top,
    /// Right.
    Right,
    /// Bottom.
    Bottom,
    /// Left.
    Left,
}

/// What the printed side is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// Paper or film that shows white where nothing is printed.
    White,
    /// See-through.
    Clear,
    /// Shines.
    Metallic,
}

impl Face {
    /// Whether white ink is printed under colours.
    pub fn takes_white_ink(self) -> bool {
        matches!(self, Face::Clear | Face::Metallic)
    }
}

/// Printed discs that the cutter reads.
#[derive(Clone, Debug, PartialEq)]
pub struct RegisterMarks {
    /// Diameter of each disc.
    pub diameter: Mm,
    /// Clear zone around each disc's edge.
    pub clear: Mm,
    /// Centres, as the cutter's handbook asks; `None`: our own five.
    pub at: Option<Vec<Point>>,
}

/// Where the label and the scale bars go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LabelPlace {
    /// In the margin that has room, else in a strip of the window.
    Margin,
    /// Nowhere.
    None,
}

/// Whether cut lines stand in the print.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CutLinesInPrint {
    /// No.
    None,
    /// Each on its separation.
    Separations,
}

/// A layer: its separation's and SVG group's name, and its colour on screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layer {
    /// As the shop's cutter expects it.
    pub name: String,
    /// On screen.
    pub colour: Colour,
}

/// The three layers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layers {
    /// Kiss cuts.
    pub kiss: Layer,
    /// Through cuts.
    pub through: Layer,
    /// White ink.
    pub white: Layer,
}

/// What the blade and the peeling hand ask for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cutting {
    /// No place of a sticker is narrower.
    pub minimum_width: Mm,
    /// Longest bridge; `None`: 2 x border + 4 mm.
    pub bridge_reach: Option<Mm>,
    /// Radius of inside corners.
    pub inside_radius: Mm,
    /// Radius of outside corners.
    pub outside_radius: Mm,
    /// Specks smaller across move no line.
    pub speck: Mm,
}

impl Cutting {
    /// How far a bridge reaches for art with this border.
    pub fn bridge_reach_for(&self, border: Mm) -> Mm {
        self.bridge_reach.unwrap_or(border * 2.0 + Mm::of(4.0))
    }
}

/// What a stock's art is printed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PrintColour {
    /// sRGB, for a desktop driver.
    Rgb,
    /// Inks of the coated output profile.
    Cmyk,
}

impl PrintColour {
    /// The contract's word.
    pub const fn word(self) -> &'static str {
        match self {
            PrintColour::Rgb => "rgb",
            PrintColour::Cmyk => "cmyk",
        }
    }
}

/// How white ink lies under colours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Underbase {
    /// Drawn back where its edge meets bare stock inside the cut.
    pub choke: Mm,
    /// Alpha from which white is printed, 0 to 1.
    pub threshold: f64,
}

/// How much of a stock there is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AtHand {
    /// Whole sheets.
    Sheets(u32),
    /// Length of roll, all that is cut off counted.
    Length(Mm),
}

impl AtHand {
    /// The contract's number for it, and that number's unit.
    pub fn measure(self) -> (f64, &'static str) {
        match self {
            AtHand::Sheets(sheets) => (f64::from(sheets), "sheets"),
            AtHand::Length(length) => (length.mm(), "mm"),
        }
    }
}

/// A stock with all its settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// Its name.
    pub stock: String,
    /// Sheet or roll.
    pub form: Form,
    /// Around the window; on a roll top and bottom are leader and trailer.
    pub margins: Margins,
    /// The printer's own edge.
    pub unprintable: Margins,
    /// The edge that goes first.
    pub feed_edge: FeedEdge,
    /// Between outermost cut lines.
    pub gutter: Mm,
    /// Print past the cut.
    pub bleed: Mm,
    /// The printed side.
    pub face: Face,
    /// Free text for the people at the machine.
    pub finish: String,
    /// Discs for the cutter.
    pub register_marks: Option<RegisterMarks>,
    /// Label and scale bars.
    pub label: LabelPlace,
    /// Cut lines in the print.
    pub cut_lines_in_print: CutLinesInPrint,
    /// Names and colours of layers.
    pub layers: Layers,
    /// What it is printed in.
    pub colour: PrintColour,
    /// Resolution of printed pictures.
    pub print_ppi: Ppi,
    /// Limits of cutting and peeling.
    pub cutting: Cutting,
    /// White ink.
    pub underbase: Underbase,
    /// What a run may take of it; `None`: as much as it needs.
    pub available: Option<AtHand>,
}

impl Stock {
    /// A stock of which nothing but name and form is said: every other value is the contract's built-in one.
    pub fn with_defaults(stock: &str, form: Form) -> Stock {
        let layer = |name: &str, colour| Layer { name: name.to_owned(), colour: Colour(colour) };
        Stock {
            stock: stock.to_owned(),
            form,
            margins: Margins::even(Mm::of(16.0)),
            unprintable: Margins::even(Mm::of(4.0)),
            feed_edge: FeedEdge::Top,
            gutter: Mm::of(2.0),
            bleed: Mm::of(1.0),
            face: Face::White,
            finish: String::new(),
            register_marks: None,
            label: LabelPlace::Margin,
            cut_lines_in_print: CutLinesInPrint::None,
            layers: Layers {
                kiss: layer("PartialCutting", [0x0f, 0x76, 0x6e]),
                through: layer("Cutting", [0xb4, 0x53, 0x09]),
                white: layer("White", [0xc7, 0xd2, 0xfe]),
            },
            colour: PrintColour::Rgb,
            print_ppi: Ppi::of(300.0),
            cutting: Cutting {
                minimum_width: Mm::of(3.0),
                bridge_reach: None,
                inside_radius: Mm::of(0.5),
                outside_radius: Mm::of(1.0),
                speck: Mm::of(0.3),
            },
            underbase: Underbase { choke: Mm::of(0.15), threshold: 0.02 },
            available: None,
        }
    }
}

//! One line of an order.

use std::fmt;
use std::hash::{Hash, Hasher};
use std::io;
use std::sync::Arc;

use crate::units::Mm;

/// A picture's bytes that lie elsewhere until they are needed.
pub trait ArtFile: Send + Sync + fmt::Debug {
    /// Reads them.
    ///
    /// # Errors
    /// Whatever keeps them from being read; nobody's fault but ours.
    fn load(&self) -> io::Result<Arc<[u8]>>;
}

/// The bytes of a picture, shared by every item that names the same one.
#[derive(Clone, Debug)]
pub enum ArtInput {
    /// As sent.
    Bytes(Arc<[u8]>),
    /// Not even read, because the file has more bytes than the intake takes.
    OverLimit {
        /// Bytes in the file.
        bytes: u64,
        /// Bytes that are taken.
        limit_bytes: u64,
    },
    /// Read only when the picture is decoded, and forgotten right after. Known by its checksum: two with the same one are
    /// equal.
    Stored {
        /// SHA-256 of the bytes.
        sha256: [u8; 32],
        /// How many bytes.
        bytes: u64,
        /// Where they lie.
        file: Arc<dyn ArtFile>,
    },
}

impl ArtInput {
    /// What two equal pictures have in common.
    fn identity(&self) -> Identity<'_> {
        match self {
            ArtInput::Bytes(bytes) => Identity::Bytes(bytes),
            ArtInput::OverLimit { bytes, limit_bytes } => Identity::OverLimit(*bytes, *limit_bytes),
            ArtInput::Stored { sha256, bytes, .. } => Identity::Stored(sha256, *bytes),
        }
    }
}

#[derive(PartialEq, Eq, Hash)]
enum Identity<'a> {
    Bytes(&'a [u8]),
    OverLimit(u64, u64),
    Stored(&'a [u8; 32], u64),
}

impl PartialEq for ArtInput {
    fn eq(&self, other: &ArtInput) -> bool {
        self.identity() == other.identity()
    }
}

impl Eq for ArtInput {}

impl Hash for ArtInput {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.identity().hash(state);
    }
}

/// The size ordered: of the finished sticker's bounding box, before rotation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// Width given, height follows.
    Width(Mm),
    /// Height given, width follows.
    Height(Mm),
    /// The longer side given.
    Longest(Mm),
    /// Both given: rectangle, rounded rectangle and ellipse only.
    Both {
        /// Width.
        width: Mm,
        /// Height.
        height: Mm,
    },
}

impl Size {
    /// What a design has whose size was not said: a usual sticker (the contract, section 1, "Size").
    pub const UNSAID: Size = Size::Longest(Mm::of(60.0));
}

/// The shape of a cut line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Follows the art.
    Contour,
    /// Sharp corners.
    Rectangle,
    /// Corners of a radius.
    RoundedRectangle {
        /// Radius of the corners.
        corner_radius: Mm,
    },
    /// The smallest that encloses the art with its border.
    Circle,
    /// In the art's aspect.
    Ellipse,
}

/// How art sits in a shape other than a contour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ArtFit {
    /// All of the art inside, border kept.
    Contain,
    /// The art fills the shape less the border and is cropped by it.
    Cover,
}

/// What is done with floating parts out of reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parts {
    /// Bridged where within reach, else set aside.
    Join,
    /// Each gets a line of its own.
    Separate,
    /// Set aside without bridging.
    SetAside,
}

/// Width above which a hole is cut out; `None`: holes are filled.
pub type HolesKept = Option<Mm>;

/// An opaque sRGB colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colour(pub [u8; 3]);

impl Colour {
    /// Paper white.
    pub const WHITE: Colour = Colour([255, 255, 255]);
}

/// `#rrggbb`, as jobs, SVG and tickets write it.
impl fmt::Display for Colour {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Colour([red, green, blue]) = self;
        write!(formatter, "#{red:02x}{green:02x}{blue:02x}")
    }
}

/// The outline ordered.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    /// Its shape.
    pub shape: Shape,
    /// Border around the art; zero cuts in the art itself.
    pub border: Mm,
    /// The border's colour.
    pub border_colour: Colour,
    /// How the art sits in the shape.
    pub art_fit: ArtFit,
    /// Which holes are cut out.
    pub keep_holes_wider_than: HolesKept,
    /// What is done with floating parts.
    pub parts: Parts,
}

/// The through cut around a kiss cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Backing {
    /// Its shape.
    pub shape: Shape,
    /// Distance from the kiss cut.
    pub margin: Mm,
    /// Printed colour; `None`: unprinted stock.
    pub colour: Option<Colour>,
}

/// When an opaque backdrop is removed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BackdropRemove {
    /// When there is one and it can be told apart for sure.
    Auto,
    /// Whenever there is one, as well as can be.
    Always,
    /// Never.
    Never,
}

/// Backdrop options.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Backdrop {
    /// When to remove.
    pub remove: BackdropRemove,
    /// 100 x Euclidean distance in OKLab.
    pub tolerance_delta_e: f64,
}

/// What white ink is printed under, on clear and metallic stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum White {
    /// Art, border and bleed.
    All,
    /// The art alone.
    Art,
    /// Nothing.
    None,
}

/// How a sticker may be turned on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rotate {
    /// Any angle.
    Free,
    /// 0, 90, 180, 270 degrees.
    QuarterTurns,
    /// 0 and 180 degrees. No job asks for it; published packing instances do.
    HalfTurns,
    /// Upright only.
    None,
}

/// Codes of findings that are settled with the customer: their reject becomes a caution.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Accept(pub Vec<String>);

impl Accept {
    /// Whether a code is settled.
    pub fn has(&self, code: &str) -> bool {
        self.0.iter().any(|accepted| accepted == code)
    }
}

/// A picture and how it becomes a sticker, or a piece of a sticker sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// The picture.
    pub art: ArtInput,
    /// Finished size.
    pub size: Size,
    /// Outline.
    pub outline: Outline,
    /// Backdrop options.
    pub backdrop: Backdrop,
    /// White ink.
    pub white: White,
    /// Settled findings.
    pub accept: Accept,
}

impl Design {
    /// A design of which nothing but picture and size is said: every other value is the contract's built-in one.
    pub fn with_defaults(art: ArtInput, size: Size) -> Design {
        Design {
            art,
            size,
            outline: Outline {
                shape: Shape::Contour,
                border: Mm::of(3.0),
                border_colour: Colour::WHITE,
                art_fit: ArtFit::Contain,
                keep_holes_wider_than: None,
                parts: Parts::Join,
            },
            backdrop: Backdrop { remove: BackdropRemove::Auto, tolerance_delta_e: 3.5 },
            white: White::All,
            accept: Accept::default(),
        }
    }

    /// Whether another design starts from the same picture with the same treatment of its backdrop.
    pub fn shares_picture_with(&self, other: &Design) -> bool {
        self.art == other.art && self.backdrop_used() == other.backdrop_used()
    }

    /// The backdrop options that count: a picture that fills its shape keeps its backdrop unless removal is asked for.
    pub fn backdrop_used(&self) -> Backdrop {
        match (self.outline.art_fit, self.backdrop.remove) {
            (ArtFit::Cover, BackdropRemove::Auto) => Backdrop { remove: BackdropRemove::Never, ..self.backdrop },
            _ => self.backdrop,
        }
    }
}

/// One kind of sticker on a sticker sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its id, unique on the page.
    pub piece: String,
    /// What it is.
    pub design: Design,
    /// How many of it at full size.
    pub copies: u32,
}

/// What fills a sticker sheet's gaps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fill {
    /// Nothing.
    None,
    /// Smaller copies of the pieces.
    SmallerCopies {
        /// Longest side of the smallest.
        smallest: Mm,
    },
}

/// A sticker sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// Width of the page.
    pub width: Mm,
    /// Height of the page.
    pub height: Mm,
    /// Radius of its corners.
    pub corner_radius: Mm,
    /// Between kiss-cut lines.
    pub gap: Mm,
    /// What stands on it.
    pub pieces: Vec<Piece>,
    /// What fills its gaps.
    pub fill: Fill,
}

/// What is made.
#[derive(Clone, Debug, PartialEq)]
pub enum Product {
    /// Through cut on its contour.
    DieCut(Design),
    /// Kiss cut on its contour, through cut on a backing.
    KissCut(Design, Backing),
    /// Many kiss-cut stickers on one through-cut page.
    StickerSheet(Page),
}

impl Product {
    /// The contract's word.
    pub fn word(&self) -> &'static str {
        match self {
            Product::DieCut(_) => "die_cut",
            Product::KissCut(..) => "kiss_cut",
            Product::StickerSheet(_) => "sticker_sheet",
        }
    }
}

/// One line of an order.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// The shop's line id.
    pub item: String,
    /// Copies ordered.
    pub quantity: u32,
    /// What is made.
    pub product: Product,
    /// How it may be turned.
    pub rotate: Rotate,
    /// Index of its stock in the job.
    pub stock: usize,
    /// Words to find it by.
    pub tags: Vec<String>,
    /// The digest of the proof that the customer agreed to, in lower case: another sticker is set aside.
    pub approved: Option<String>,
}

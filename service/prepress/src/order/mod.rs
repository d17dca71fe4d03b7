//! What a customer ordered and what a stock is: checked values, no JSON.
//!
//! Names, meanings and defaults are the contract's. Everything here was validated at the wire; a value that exists is
//! within its limits.

mod inquiry;
mod item;
mod job;
mod media;
mod stock;
mod thresholds;
mod view;

pub use inquiry::Inquiry;
pub use item::{
    Accept, ArtFile, ArtFit, ArtInput, Backdrop, BackdropRemove, Backing, Colour, Design, Fill, HolesKept, Item,
    Outline, Page, Parts, Piece, Product, Rotate, Shape, Size, White,
};
pub use job::{Effort, Filler, Job, Order, OutputKind, Policy};
pub use media::{media_size, media_word};
pub use stock::{
    AtHand, CutLinesInPrint, Cutting, Face, FeedEdge, Form, LabelPlace, Layer, Layers, Margins, PrintColour,
    RegisterMarks, Stock, Underbase,
};
pub use thresholds::{Threshold, Thresholds};
pub use view::{Ground, ProofDrawing, View};

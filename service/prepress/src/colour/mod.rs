//! Colour as a press sees it: CIE L\*a\*b\*, differences, and the coated output profile.
//!
//! [`coated`] turns sRGB into the inks of the profile and back into what they show; [`gamut`] knows of every sRGB colour how
//! near those inks come to it. Relative colorimetric without black point compensation everywhere, as the intake has it:
//! white is the stock's own white, colours that both have stay as they are.

pub mod coated;
mod difference;
pub mod gamut;
mod lab;
mod table;

pub use difference::delta_e_2000;
pub use lab::{Lab, Srgb};

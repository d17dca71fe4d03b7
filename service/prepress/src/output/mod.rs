//! Bytes of files and answers, from sheets and stickers.

pub mod cut_svg;
mod pdf;
pub mod pick_list;
pub mod preview;
pub mod print_pdf;
pub mod proof;
pub mod report;
pub mod settings;
mod skia;
pub mod ticket;

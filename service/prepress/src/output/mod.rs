//! Bytes of files, from sheets.

pub mod cut_svg;
mod pdf;
pub mod pick_list;
pub mod preview;
pub mod print_pdf;
pub mod settings;
pub mod ticket;

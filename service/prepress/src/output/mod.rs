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
mod svg;
pub mod ticket;

use serde::Serialize;

use crate::fault::Fault;

/// A document as JSON: indented, with a line's end.
///
/// # Errors
/// `output.broken`, naming `file`, for a value that has no JSON, which none of ours is.
pub fn json(file: &'static str, value: &impl Serialize) -> Result<Vec<u8>, Fault> {
    let broken = |source| Fault::OutputBroken { file, source: Box::new(source) };
    let mut bytes = serde_json::to_vec_pretty(value).map_err(broken)?;
    bytes.push(b'\n');
    Ok(bytes)
}

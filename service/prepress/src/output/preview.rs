//! Pictures of a sheet.

use crate::fault::Fault;
use crate::sheet::Sheet;

/// `preview.png` at 150 ppi: what the sheet will look like, with cut lines.
///
/// # Errors
/// `output.broken`.
pub fn write(_sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    unimplemented!()
}

/// `sheet.png` at the stock's `print_ppi`: the window's art alone, bleed included, on a transparent ground.
///
/// # Errors
/// `output.broken`.
pub fn write_window(_sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    unimplemented!()
}

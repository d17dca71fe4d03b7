//! The cut lines of a sheet as SVG.

use crate::sheet::Sheet;

/// `cut.svg`: millimetres, same origin and size as the sheet.
pub fn write(_sheet: &Sheet) -> String {
    unimplemented!()
}

/// `cut-window.svg` beside `sheet.png`: the same lines with the window as origin and size.
pub fn write_window(_sheet: &Sheet) -> String {
    unimplemented!()
}

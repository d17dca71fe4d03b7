//! The print PDF of a sheet.

use crate::fault::Fault;
use crate::sheet::Sheet;

/// `print.pdf`.
///
/// # Errors
/// `output.broken`.
pub fn write(_sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    unimplemented!()
}

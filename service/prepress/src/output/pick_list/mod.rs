//! The pick list for the packer.

use crate::fault::Fault;
use crate::sheet::Sheet;
use crate::units::Mm;

/// What the pick list says of an item that was set aside.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAsideLine {
    /// The order.
    pub order: String,
    /// The item.
    pub item: String,
    /// How many copies.
    pub copies: u32,
    /// Why, in plain words.
    pub why: String,
}

/// `pick-list.pdf`: each sheet in small, marked by order, with a table, and a summary page.
///
/// # Errors
/// `output.broken`.
pub fn write(_sheets: &[Sheet], _set_aside: &[SetAsideLine], _page: (Mm, Mm)) -> Result<Vec<u8>, Fault> {
    unimplemented!()
}

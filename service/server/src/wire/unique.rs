//! Ids that may stand only once in their list.

use std::collections::BTreeMap;

use super::mistake::{MistakeCode, Mistakes, Pointer};
use super::node::Node;

/// Tells an id that came before; `seen` holds those of the list so far.
pub(super) fn check_unique(
    entry: &Node<'_>,
    field: &str,
    what: &str,
    seen: &mut BTreeMap<String, Pointer>,
    mistakes: &mut Mistakes,
) {
    let Some(node) = entry.get(field) else { return };
    let Some(id) = node.value().and_then(|value| value.as_str()) else { return };
    if let Some(first) = seen.get(id) {
        let message = format!("another {what} has the id \"{id}\", at {first}");
        mistakes.add(MistakeCode::DuplicateId, &node.pointer(), message);
    } else {
        seen.insert(id.to_owned(), node.pointer());
    }
}

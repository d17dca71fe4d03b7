//! What stands on a sheet, gathered by order and item.

use std::collections::BTreeMap;

use super::keys::{Keys, order_of};
use crate::sheet::Sheet;

/// One item of one order on one sheet.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    /// `None`: the shop's own.
    pub(super) order: Option<String>,
    /// The item; empty for an order's tag.
    pub(super) item: String,
    /// Copy numbers, ascending.
    pub(super) copies: Vec<u32>,
    /// Placement numbers, ascending.
    pub(super) places: Vec<u32>,
    /// In words.
    pub(super) product: String,
    /// Finished size in words.
    pub(super) size: String,
    /// The item's tags.
    pub(super) tags: Vec<String>,
}

/// The rows of a sheet: orders as they first stand in the run, the shop's own last.
pub(super) fn of(sheet: &Sheet, keys: &Keys) -> Vec<Row> {
    let mut rows: BTreeMap<(usize, String, bool), Row> = BTreeMap::new();
    for placement in &sheet.placements {
        let order = order_of(placement);
        let item = placement.item.clone().unwrap_or_default();
        let row = rows.entry((keys.rank(order), item.clone(), placement.item.is_none())).or_insert_with(|| Row {
            order: order.map(str::to_owned),
            item,
            copies: Vec::new(),
            places: Vec::new(),
            product: product(placement.product, placement.item.is_none()),
            size: size(placement.sticker.finished_width.mm(), placement.sticker.finished_height.mm()),
            tags: placement.tags.clone(),
        });
        row.copies.push(placement.copy);
        row.places.push(placement.placement);
    }
    let mut rows: Vec<Row> = rows.into_values().collect();
    for row in &mut rows {
        row.copies.sort_unstable();
        row.places.sort_unstable();
    }
    rows
}

fn product(word: &str, is_tag: bool) -> String {
    if is_tag { "order tag".to_owned() } else { word.replace('_', " ") }
}

fn size(width: f64, height: f64) -> String {
    let tidy = |length: f64| (length * 10.0).round() / 10.0;
    format!("{} × {} mm", tidy(width), tidy(height))
}

/// Ascending numbers in words: `1–12, 15`.
pub(super) fn ranges(numbers: &[u32]) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(*number) || *last == *number => *last = *number,
            _ => runs.push((*number, *number)),
        }
    }
    let word = |(first, last): &(u32, u32)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first}–{last}"),
    };
    runs.iter().map(word).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_become_ranges() {
        assert_eq!(ranges(&[1, 2, 3, 4, 7, 9, 10, 12, 13, 14]), "1–4, 7, 9, 10, 12–14");
        assert_eq!(ranges(&[]), "");
        assert_eq!(ranges(&[u32::MAX]), u32::MAX.to_string());
    }
}

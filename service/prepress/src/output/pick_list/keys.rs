//! The letter and colour by which an order is known through the run.

use std::collections::BTreeMap;

use crate::order::Colour;
use crate::sheet::{Placement, Sheet};

/// Light enough for black letters, far enough apart for neighbours: twelve steps around the colour circle, every second
/// one paler. Chosen by eye.
const PALETTE: [[u8; 3]; 12] = [
    [0xff, 0xd5, 0x9e],
    [0xa8, 0xd5, 0xf2],
    [0xc5, 0xe8, 0xa9],
    [0xf7, 0xb7, 0xc5],
    [0xd3, 0xc3, 0xf3],
    [0xfb, 0xee, 0x9a],
    [0x9f, 0xe3, 0xd6],
    [0xe6, 0xcf, 0xb8],
    [0xf3, 0xb9, 0xee],
    [0xb9, 0xc6, 0xd6],
    [0xe0, 0xf0, 0xd8],
    [0xff, 0xc4, 0xa8],
];

/// A shop's own stickers belong to nobody's order.
const SHOPS_OWN: Colour = Colour([0xe5, 0xe7, 0xeb]);

/// Orders in the order in which they first stand on a sheet.
pub(super) struct Keys {
    numbers: BTreeMap<String, usize>,
}

/// The mark of one order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Key {
    /// `A` to `Z`, then `AA`; a dot for the shop's own.
    pub(super) letter: String,
    /// Its colour.
    pub(super) colour: Colour,
}

impl Keys {
    /// Gives every order of a run its mark.
    pub(super) fn of(sheets: &[Sheet]) -> Keys {
        let mut numbers = BTreeMap::new();
        let orders = sheets.iter().flat_map(|sheet| &sheet.placements).filter_map(order_of);
        for order in orders {
            let next = numbers.len();
            numbers.entry(order.to_owned()).or_insert(next);
        }
        Keys { numbers }
    }

    /// An order's place in the run; the shop's own come last.
    pub(super) fn rank(&self, order: Option<&str>) -> usize {
        order.and_then(|order| self.numbers.get(order)).copied().unwrap_or(usize::MAX)
    }

    /// An order's mark.
    pub(super) fn key(&self, order: Option<&str>) -> Key {
        match self.rank(order) {
            usize::MAX => Key { letter: "•".to_owned(), colour: SHOPS_OWN },
            rank => Key { letter: letters(rank), colour: Colour(PALETTE[rank % PALETTE.len()]) },
        }
    }
}

/// The order that a placement is for; none for a shop's own sticker.
pub(super) fn order_of(placement: &Placement) -> Option<&str> {
    placement.order.as_deref().filter(|_| !placement.filler)
}

/// A, B, … Z, AA, AB, …
fn letters(rank: usize) -> String {
    let letter = char::from(b'A' + (rank % 26) as u8);
    match rank / 26 {
        0 => letter.to_string(),
        more => letters(more - 1) + letter.encode_utf8(&mut [0; 4]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([0, 25, 26, 27, 701, 702].map(letters), ["A", "Z", "AA", "AB", "ZZ", "AAA"]);
    }
}

//! A sticker as its inks show it, where its stock is printed in CMYK.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::colour::coated::Converter;
use crate::order::{PrintColour, Stock};
use crate::sticker::{Plane, Print, Sticker};

/// Bytes of RGB that are converted at a time.
const PIECE_BYTES: usize = 3 << 14;

/// The sticker with every printed colour replaced by what the coated profile's inks show of it; white stays the stock's own.
/// On stock that is printed in RGB the sticker itself.
pub(super) fn as_printed<'a>(sticker: &'a Sticker, stock: &Stock) -> Cow<'a, Sticker> {
    match stock.colour {
        PrintColour::Rgb => Cow::Borrowed(sticker),
        PrintColour::Cmyk => {
            let mut shown = sticker.clone();
            let mut known: BTreeMap<usize, Arc<Print>> = BTreeMap::new();
            for placed in &mut shown.prints {
                let key = Arc::as_ptr(&placed.print) as usize;
                placed.print = Arc::clone(known.entry(key).or_insert_with(|| Arc::new(in_inks(&placed.print))));
            }
            Cow::Owned(shown)
        }
    }
}

fn in_inks(print: &Print) -> Print {
    let mut colour = print.colour.unpack();
    let converter = Converter::coated();
    colour.par_chunks_mut(PIECE_BYTES).for_each(|piece| {
        let shown = converter.shows(&converter.inks(piece));
        piece.copy_from_slice(&shown);
    });
    Print { colour: Plane::pack(&colour, print.width_px, 3), ..print.clone() }
}

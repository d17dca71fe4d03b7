//! The art's pixels along its edge with the ground, in layers.

use super::bits::Bits;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Pixels deep into the art that may be mixed with the backdrop. Sharper edges are rare, wider blur is rarer; the
/// innermost layer is taken as unmixed.
pub(super) const LAYERS: usize = 3;

/// The art's pixels by their distance from the ground: beside it, one further in, and so on.
pub(super) fn layers(ground: &Bits, cancel: &Cancel) -> Result<[Bits; LAYERS], Fault> {
    let mut reached = ground.clone();
    let mut next = || {
        cancel.check()?;
        let layer = beside(&reached);
        reached.add(&layer);
        Ok(layer)
    };
    Ok([next()?, next()?, next()?])
}

/// Pixels not in a set with one of it among their eight neighbours.
pub(super) fn beside(set: &Bits) -> Bits {
    set.widened().without(set)
}

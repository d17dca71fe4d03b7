//! The art's pixels along its edge with the ground, in layers.

use super::ground::{GROUND, GroundMap};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Pixels deep into the art that may be mixed with the backdrop. Sharper edges are rare, wider blur is rarer; the
/// innermost layer is taken as unmixed.
pub(super) const LAYERS: usize = 3;

/// The art's pixels by their distance from the ground: beside it, one further in, and so on; each layer sorted by place.
pub(super) fn layers(map: &GroundMap, cancel: &Cancel) -> Result<[Vec<usize>; LAYERS], Fault> {
    let mut layers: [Vec<usize>; LAYERS] = std::array::from_fn(|_| Vec::new());
    layers[0] = beside_ground(map, cancel)?;
    for depth in 1..LAYERS {
        cancel.check()?;
        let (known, rest) = layers.split_at_mut(depth);
        let next = known[depth - 1].iter().flat_map(|index| map.around(*index));
        let is_new = |index: &usize| known.iter().rev().take(2).all(|layer| layer.binary_search(index).is_err());
        let mut layer = Vec::new();
        for (place, index) in next.enumerate() {
            cancel.check_every(1 << 16, place)?;
            if map.classes[index] != GROUND && is_new(&index) {
                layer.push(index);
            }
        }
        cancel.check()?;
        layer.sort_unstable();
        layer.dedup();
        rest[0] = layer;
    }
    Ok(layers)
}

/// Art pixels with ground among their eight neighbours, in order.
pub(super) fn beside_ground(map: &GroundMap, cancel: &Cancel) -> Result<Vec<usize>, Fault> {
    let mut found = Vec::new();
    // Whether a column has ground in the row or its neighbours, reused from row to row.
    let mut columns = vec![false; map.width];
    for y in 0..map.height {
        cancel.check_every(64, y)?;
        columns.fill(false);
        for row in y.saturating_sub(1)..=(y + 1).min(map.height - 1) {
            let classes = &map.classes[row * map.width..(row + 1) * map.width];
            columns.iter_mut().zip(classes).for_each(|(column, class)| *column |= *class == GROUND);
        }
        let start = y * map.width;
        for x in 0..map.width {
            let near = columns[x] || (x > 0 && columns[x - 1]) || (x + 1 < map.width && columns[x + 1]);
            if near && map.classes[start + x] != GROUND {
                found.push(start + x);
            }
        }
    }
    Ok(found)
}

//! A profile's table of colours: from inks to what they show, or from a colour to the inks for it.
//!
//! Reads `lut16Type` (ICC.1:2022, 10.10): a curve for each input, a grid, a curve for each output. Between nodes: by
//! tetrahedra over the last three inputs (James Kasson et al., "Performing color space conversions with three-dimensional
//! linear interpolation", 1995), linear over one before them, as common colour engines do it.

use moxcms::{LutDataType, LutStore};

/// Most inputs and outputs: four inks.
pub(super) type Values = [f32; 4];

/// A table; all values are 0 to 1.
pub(super) struct Table {
    outputs: usize,
    inputs: usize,
    grid: usize,
    curves_in: Vec<Vec<f32>>,
    nodes: Vec<f32>,
    curves_out: Vec<Vec<f32>>,
}

fn shares(store: &LutStore) -> Vec<f32> {
    match store {
        LutStore::Store8(codes) => codes.iter().map(|code| f32::from(*code) / 255.0).collect(),
        LutStore::Store16(codes) => codes.iter().map(|code| f32::from(*code) / 65_535.0).collect(),
    }
}

/// A share between the values of a curve.
fn along(curve: &[f32], share: f32) -> f32 {
    let at = share.clamp(0.0, 1.0) * (curve.len() - 1) as f32;
    let low = (at as usize).min(curve.len() - 2);
    curve[low] + (curve[low + 1] - curve[low]) * (at - low as f32)
}

impl Table {
    /// `None` where the table is of another shape than three to four inputs and outputs, or has not all its values.
    pub(super) fn of(lut: &LutDataType) -> Option<Table> {
        let (inputs, outputs) = (usize::from(lut.num_input_channels), usize::from(lut.num_output_channels));
        let grid = usize::from(lut.num_clut_grid_points);
        let curves = |store: &LutStore, entries: u16, count: usize| -> Option<Vec<Vec<f32>>> {
            let (values, entries) = (shares(store), usize::from(entries));
            (entries >= 2 && values.len() == entries * count)
                .then(|| values.chunks(entries).map(<[f32]>::to_vec).collect())
        };
        let nodes = shares(&lut.clut_table);
        let is_whole = (3..=4).contains(&inputs)
            && (3..=4).contains(&outputs)
            && grid >= 2
            && nodes.len() == grid.pow(lut.num_input_channels.into()) * outputs;
        let curves_in = curves(&lut.input_table, lut.num_input_table_entries, inputs)?;
        let curves_out = curves(&lut.output_table, lut.num_output_table_entries, outputs)?;
        is_whole.then_some(Table { outputs, inputs, grid, curves_in, nodes, curves_out })
    }

    /// What the table has for some values.
    pub(super) fn at(&self, values: Values) -> Values {
        let mut cells = [0; 4];
        let mut parts = [0.0; 4];
        for (index, curve) in self.curves_in.iter().enumerate() {
            let at = along(curve, values[index]) * (self.grid - 1) as f32;
            let cell = (at as usize).min(self.grid - 2);
            (cells[index], parts[index]) = (cell, at - cell as f32);
        }
        let before = self.inputs - 3;
        let node = cells[..self.inputs].iter().fold(0, |node, cell| node * self.grid + cell) * self.outputs;
        let three = [parts[before], parts[before + 1], parts[before + 2]];
        let mut found = self.within(node, three);
        if before == 1 {
            let next = self.within(node + self.grid.pow(3) * self.outputs, three);
            found.iter_mut().zip(next).for_each(|(value, next)| *value += (next - *value) * parts[0]);
        }
        let mut out = [0.0; 4];
        for ((out, curve), value) in out.iter_mut().zip(&self.curves_out).zip(found) {
            *out = along(curve, value);
        }
        out
    }

    /// Inside a cell of the last three inputs, whose first corner is a node.
    fn within(&self, node: usize, parts: [f32; 3]) -> Values {
        let strides = [self.grid * self.grid * self.outputs, self.grid * self.outputs, self.outputs];
        let mut found = [0.0; 4];
        for (corner, weight) in corners(node, strides, parts) {
            let values = &self.nodes[corner..corner + self.outputs];
            found.iter_mut().zip(values).for_each(|(sum, value)| *sum += value * weight);
        }
        found
    }
}

/// Corners of the tetrahedron around a place in a cell, with their weights: from the first corner along the axes, the one
/// with the largest part first.
pub(super) fn corners(first: usize, strides: [usize; 3], parts: [f32; 3]) -> [(usize, f32); 4] {
    let mut axes = [0, 1, 2];
    axes.sort_by(|one, other| parts[*other].total_cmp(&parts[*one]));
    let mut corners = [(first, 1.0); 4];
    for (step, axis) in axes.into_iter().enumerate() {
        corners[step].1 -= parts[axis];
        corners[step + 1] = (corners[step].0 + strides[axis], parts[axis]);
    }
    corners
}

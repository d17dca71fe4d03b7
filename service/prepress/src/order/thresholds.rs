//! From which measure on preflight says something: a shop's own settings.

/// A threshold: its name in the settings, what is built in, its unit, its range, and where its value comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Threshold {
    /// As written in the settings, with its unit.
    pub name: &'static str,
    /// What is built in.
    pub built_in: f64,
    /// Least value that makes sense.
    pub least: f64,
    /// Largest value that makes sense.
    pub most: f64,
    /// What it decides.
    pub meaning: &'static str,
    /// Where the built-in value comes from.
    pub source: &'static str,
}

macro_rules! thresholds {
    ($($name:ident = $built_in:literal in $least:literal .. $most:literal, $meaning:literal, $source:literal;)*) => {
        /// Every threshold of preflight that a shop can set.
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct Thresholds { $(#[doc = $meaning] pub $name: f64,)* }

        impl Thresholds {
            /// All of them, in the order of the documentation.
            pub const ALL: &[Threshold] = &[$(Threshold {
                name: stringify!($name), built_in: $built_in, least: $least, most: $most, meaning: $meaning, source: $source,
            },)*];

            /// Each with its value.
            pub fn values(&self) -> Vec<(&'static str, f64)> {
                vec![$((stringify!($name), self.$name),)*]
            }

            /// Sets one by its name; `false` when there is none of that name.
            pub fn set(&mut self, name: &str, value: f64) -> bool {
                match name {
                    $(stringify!($name) => self.$name = value,)*
                    _ => return false,
                }
                true
            }
        }

        impl Default for Thresholds {
            fn default() -> Thresholds {
                Thresholds { $($name: $built_in,)* }
            }
        }
    };
}

thresholds! {
    resolution_caution_ppi = 300.0 in 1.0..2400.0,
        "Pixels of the art per inch of print under which `resolution.low` is a caution.", "common practice, no source";
    resolution_reject_ppi = 150.0 in 0.0..2400.0,
        "Pixels of the art per inch of print under which `resolution.low` is a reject.", "common practice, no source";
    least_side_mm = 10.0 in 1.0..100.0,
        "Finished size's shorter side under which it is `size.too_small`.", "the contract";
    least_picture_px = 32.0 in 1.0..1000.0,
        "Pixels of a picture's longer side under which it is `art.tiny`.", "the contract";
    upscaled_edge_px = 1.5 in 1.0..100.0,
        "Width of the picture's sharpest edges, in its own pixels, over which it was enlarged (`resolution.upscaled`).",
        "measured: `load/findings`";
    haze_share = 0.02 in 0.0..1.0,
        "Share of the visible art that is an area of 2 to 60 % alpha, edges apart, over which it is `transparency.haze`.",
        "measured: `load/findings`";
    fringe_share = 0.4 in 0.0..1.0,
        "Share of the art's edge with a thin light or dark rim over which it is `transparency.fringe`.",
        "measured: `load/findings`";
    white_delta_e = 8.0 in 0.0..100.0,
        "Difference, 100 x distance in OKLab, under which art has the border's colour.",
        "common practice, no source";
    white_rim_share = 0.2 in 0.0..1.0,
        "Share of the art's edge in the border's colour over which `colour.white_on_white` is a caution.",
        "measured: `load/findings`";
    white_area_share = 0.4 in 0.0..1.0,
        "Share of the art's area in the border's colour over which `colour.white_on_white` is a note.",
        "measured: `load/findings`";
    gamut_delta_e = 3.0 in 0.0..100.0,
        "Difference in print, delta E 2000, from which a colour outside the inks' gamut counts (`colour.gamut`, only of stock with `colour: cmyk`).",
        "common practice, no source";
    gamut_share = 0.05 in 0.0..1.0,
        "Share of the visible art in such colours over which it is `colour.gamut`.", "common practice, no source";
    ink_limit_percent = 300.0 in 0.0..400.0,
        "All inks of a place together, in percent, over which it is too much (`colour.ink`, only of stock with `colour: cmyk`).",
        "the contract";
    ink_share = 0.01 in 0.0..1.0,
        "Share of the visible art with too much ink over which it is `colour.ink`.", "common practice, no source";
    fine_line_mm = 0.25 in 0.0..10.0,
        "Width in print under which a line on clear ground, or a light one on dark, is fine (`detail.fine_lines`).", "common practice, no source";
    fine_line_length_mm = 10.0 in 0.0..100000.0,
        "Length of fine lines, all together, from which it is `detail.fine_lines`.", "common practice, no source";
    huge_margin_share = 0.1 in 0.0..1.0,
        "Share of the canvas under which the art's box is lost in it (`art.huge_margin`).", "common practice, no source";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_threshold_is_built_in_within_its_range_and_set_by_its_name() {
        let mut thresholds = Thresholds::default();
        for threshold in Thresholds::ALL {
            assert!((threshold.least..=threshold.most).contains(&threshold.built_in), "{}", threshold.name);
            assert!(thresholds.set(threshold.name, threshold.most));
        }
        for ((name, value), threshold) in thresholds.values().into_iter().zip(Thresholds::ALL) {
            assert_eq!((name, value.to_bits()), (threshold.name, threshold.most.to_bits()));
        }
        assert!(!thresholds.set("no_such_threshold", 1.0));
    }
}

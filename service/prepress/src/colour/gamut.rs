//! How near the coated profile's inks come to every sRGB colour.
//!
//! Two differences are kept apart. `printed` is between a colour and what the profile prints for it. It says by how much a
//! colour changes, but not why: the profile's way from colours to inks is a small table, and misses colours that its inks
//! could show. `beyond` is what is left when the inks are corrected a few times by what they miss, less what the table
//! leaves of colours that its inks make: of a colour inside the gamut it is under 0. Colours darker than the press's own
//! black are held against that black, or every black would count as outside.

use std::sync::OnceLock;

use super::coated::Press;
use super::table::corners;
use super::{Lab, Srgb, delta_e_2000};

/// Nodes along each channel: the more, the nearer colours between them come to their own values (a test says how near), and
/// the longer the table takes.
const NODES: usize = 25;

/// How often inks are corrected by what they miss, unless that is little enough or a round gains no more. Six rounds instead
/// find 1 in 1,000 colours more to be inside (measured).
const ROUNDS: usize = 4;
const ENOUGH: f64 = 0.5;
const LEAST_GAIN: f64 = 0.05;

/// What the corrected inks still miss of colours that the inks make: less than this of 199 in 200 of them; rising, for colours
/// from this lightness down to the press's black, to so much, because the profile's way to inks takes less of them there than
/// the press may (measured on all mixes of inks up to 300 %).
const GRAIN: f64 = 1.5;
const DARK_L: f32 = 20.0;
const DARK_GRAIN: f64 = 5.0;

/// What is known of a colour.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Printed {
    /// Delta E 2000 between the colour and what is printed for it.
    pub printed: f32,
    /// Delta E 2000 between the colour and the nearest that the inks can show, less the table's grain: over 0 outside the
    /// gamut.
    pub beyond: f32,
    /// All inks together, in percent.
    pub ink_percent: f32,
}

/// The table.
pub struct Gamut {
    nodes: Vec<Printed>,
}

impl Gamut {
    /// Of the coated profile; made once. Not in parallel: a thread that waits here could be one that the others wait for.
    pub fn coated() -> &'static Gamut {
        static GAMUT: OnceLock<Gamut> = OnceLock::new();
        GAMUT.get_or_init(|| Gamut::of(Press::coated()))
    }

    fn of(press: &Press) -> Gamut {
        let (srgb, black) = (Srgb::default(), press.shows(press.inks(Lab { l: 0.0, a: 0.0, b: 0.0 })));
        let level = |step: usize| ((step * 255 + (NODES - 1) / 2) / (NODES - 1)) as u8;
        let node = |index: usize| {
            let colour = [index / (NODES * NODES), index / NODES % NODES, index % NODES].map(level);
            judged(press, srgb.lab(colour), black.l)
        };
        Gamut { nodes: (0..NODES.pow(3)).map(node).collect() }
    }

    /// Between the nodes around a colour.
    pub fn at(&self, colour: [u8; 3]) -> Printed {
        let mut node = 0;
        let mut parts = [0.0; 3];
        for (part, code) in parts.iter_mut().zip(colour) {
            let at = f32::from(code) * ((NODES - 1) as f32 / 255.0);
            let cell = (at as usize).min(NODES - 2);
            node = node * NODES + cell;
            *part = at - cell as f32;
        }
        let mut found = Printed::default();
        for (corner, weight) in corners(node, [NODES * NODES, NODES, 1], parts) {
            let value = &self.nodes[corner];
            found.printed += value.printed * weight;
            found.beyond += value.beyond * weight;
            found.ink_percent += value.ink_percent * weight;
        }
        found
    }
}

fn judged(press: &Press, colour: Lab, black_l: f32) -> Printed {
    let inks = press.inks(colour);
    let wanted = Lab { l: colour.l.max(black_l), ..colour };
    let mut shown = press.shows(inks);
    let printed = delta_e_2000(wanted, shown);
    let (mut nearest, mut aim) = (printed, wanted);
    for _ in 0..ROUNDS {
        if nearest < ENOUGH {
            break;
        }
        aim = aim.moved(shown, wanted);
        shown = press.shows(press.inks(aim));
        let found = delta_e_2000(wanted, shown);
        let gain = nearest - found;
        nearest = nearest.min(found);
        if gain < LEAST_GAIN {
            break;
        }
    }
    let ink_percent = inks.iter().sum::<f32>() * 100.0;
    let dark = f64::from(((DARK_L - wanted.l) / (DARK_L - black_l)).clamp(0.0, 1.0));
    let beyond = nearest - GRAIN - (DARK_GRAIN - GRAIN) * dark;
    Printed { printed: printed as f32, beyond: beyond as f32, ink_percent }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn screen_primaries_are_outside_and_paper_black_and_greys_are_inside() {
        let gamut = Gamut::coated();
        for colour in [[0, 255, 0], [0, 0, 255], [255, 0, 255], [0, 255, 255], [255, 0, 0], [255, 100, 0]] {
            let found = gamut.at(colour);
            assert!(found.beyond > 0.5 && found.printed > found.beyond, "{colour:?}: {found:?}");
        }
        for grey in 0..=255 {
            let found = gamut.at([grey; 3]);
            assert!(found.beyond < 0.0, "{grey}: {found:?}");
        }
    }

    #[test]
    fn colours_that_inks_make_are_inside() {
        // Inks on a grid of six steps, up to 300 %; colours that sRGB does not have are left out. Four fifths of these mixes lie
        // on the gamut's surface, with an ink at 0 or in full, where the table's grain shows most.
        let (gamut, press, srgb) = (Gamut::coated(), Press::coated(), Srgb::default());
        let converter = super::super::coated::Converter::coated();
        let steps = [0_u8, 51, 102, 153, 204, 255];
        let (mut judged, mut outside) = (0, 0);
        for index in 0..6_usize.pow(4) {
            let inks = [index / 216, index / 36 % 6, index / 6 % 6, index % 6].map(|step| steps[step]);
            if inks.iter().map(|ink| u32::from(*ink)).sum::<u32>() > 3 * 255 {
                continue;
            }
            let colour = converter.shows(&inks);
            let colour = [colour[0], colour[1], colour[2]];
            let made = press.shows(inks.map(|ink| f32::from(ink) / 255.0));
            if delta_e_2000(made, srgb.lab(colour)) < 1.0 {
                judged += 1;
                outside += usize::from(gamut.at(colour).beyond > 0.0);
            }
        }
        assert!(judged > 400, "{judged}");
        assert!(outside * 30 <= judged, "{outside} of {judged}");
    }

    #[test]
    fn between_nodes_the_table_is_near_the_colours_own_values() {
        let (gamut, press, srgb) = (Gamut::coated(), Press::coated(), Srgb::default());
        let black = press.shows(press.inks(Lab { l: 0.0, a: 0.0, b: 0.0 }));
        let (mut worst, mut sum, mut count) = (0.0_f32, 0.0, 0);
        for index in 0..4096_u32 {
            // Knuth's multiplicative hash spreads the colours (The Art of Computer Programming, volume 3, 6.4).
            let [r, g, b, _] = index.wrapping_mul(2_654_435_761).to_le_bytes();
            let (found, own) = (gamut.at([r, g, b]), judged(press, srgb.lab([r, g, b]), black.l));
            let off = (found.printed - own.printed).abs().max((found.beyond - own.beyond).abs());
            (worst, sum, count) = (worst.max(off), sum + off, count + 1);
        }
        assert!(sum / (count as f32) < 0.15 && worst < 2.0, "mean {}, worst {worst}", sum / count as f32);
    }
}

//! What the coated profile makes of colours, for checks against an unrelated colour engine: reads sRGB (three bytes a colour)
//! from stdin and writes for each colour to stdout four bytes of CMYK, three of the sRGB that they show, and three
//! little-endian floats: what is printed off, what is beyond the gamut (both delta E 2000), all inks in percent.

use std::io::{self, Read, Write};

use quoin_prepress::colour::coated::Converter;
use quoin_prepress::colour::gamut::Gamut;

fn main() -> io::Result<()> {
    let mut colours = Vec::new();
    io::stdin().lock().read_to_end(&mut colours)?;
    let converter = Converter::coated();
    let inks = converter.inks(&colours);
    let shown = converter.shows(&inks);
    let gamut = Gamut::coated();
    let mut out = io::BufWriter::new(io::stdout().lock());
    let each = colours.chunks_exact(3).zip(inks.chunks_exact(4)).zip(shown.chunks_exact(3));
    for ((colour, inks), shown) in each {
        let known = gamut.at([colour[0], colour[1], colour[2]]);
        out.write_all(inks)?;
        out.write_all(shown)?;
        for value in [known.printed, known.beyond, known.ink_percent] {
            out.write_all(&value.to_le_bytes())?;
        }
    }
    out.flush()
}

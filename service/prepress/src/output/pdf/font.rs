//! Text that can be selected and searched, in the bundled fonts.
//!
//! The fonts are small subsets already, so they are embedded whole, as composite fonts whose codes are glyph numbers
//! (ISO 32000-1, 9.7); the way back to characters is written for the glyphs that are used. Characters without a glyph show
//! as boxes; what they were stands beside them as replacement text (14.9.4).

use std::collections::BTreeMap;

use lopdf::{Dictionary, Object, ObjectId, dictionary};
use ttf_parser::{Face, GlyphId};

use super::{Canvas, Document, Ink};
use crate::geom::Point;
use crate::lettering::{self, Weight};
use crate::units::Mm;

/// Both faces and what was set in them.
pub(crate) struct Fonts {
    regular: Font,
    bold: Font,
}

struct Font {
    face: Face<'static>,
    data: &'static [u8],
    name: &'static str,
    key: &'static str,
    used: BTreeMap<u16, char>,
}

/// How a line lies against the point it is set at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Align {
    /// Starts there.
    Left,
    /// Has its middle there.
    Centre,
    /// Ends there.
    Right,
}

/// How text looks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Style<'a> {
    /// The em.
    pub(crate) size: Mm,
    /// The face.
    pub(crate) weight: Weight,
    /// Its colour.
    pub(crate) ink: Ink<'a>,
}

impl Fonts {
    /// The bundled faces, nothing set yet.
    ///
    /// # Panics
    /// Never: the bundled fonts are parsed by a test of `lettering`.
    pub(crate) fn new() -> Fonts {
        let font = |data: &'static [u8], name, key| Font {
            face: Face::parse(data, 0).expect("the bundled fonts are well formed"),
            data,
            name,
            key,
            used: BTreeMap::new(),
        };
        Fonts {
            regular: font(lettering::REGULAR, "QUOINR+NotoSans-Regular", "Regular"),
            bold: font(lettering::BOLD, "QUOINB+NotoSans-Bold", "Bold"),
        }
    }

    fn font(&self, weight: Weight) -> &Font {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// How wide a line is.
    pub(crate) fn width(&self, text: &str, size: Mm, weight: Weight) -> Mm {
        let font = self.font(weight);
        let advance = |glyph: GlyphId| u32::from(font.face.glyph_hor_advance(glyph).unwrap_or(0));
        let units: u32 = text.chars().filter_map(|c| lettering::glyph_of(&font.face, c)).map(advance).sum();
        size * (f64::from(units) / f64::from(font.face.units_per_em()))
    }

    /// The text cut to a width, with an ellipsis where something was left out.
    pub(crate) fn elided(&self, text: &str, style: Style<'_>, width: Mm) -> String {
        if self.width(text, style.size, style.weight) <= width {
            return text.to_owned();
        }
        let dots = self.width("…", style.size, style.weight);
        let mut room = width - dots;
        let mut kept = String::new();
        for character in text.chars() {
            room -= self.width(character.encode_utf8(&mut [0; 4]), style.size, style.weight);
            if room < Mm::ZERO {
                break;
            }
            kept.push(character);
        }
        kept.trim_end().to_owned() + "…"
    }

    /// Sets one line with its baseline at a point.
    pub(crate) fn set(&mut self, canvas: &mut Canvas, text: &str, at: Point, align: Align, style: Style<'_>) {
        let width = self.width(text, style.size, style.weight).mm();
        let start = match align {
            Align::Left => at.x,
            Align::Centre => at.x - width / 2.0,
            Align::Right => at.x - width,
        };
        let font = match style.weight {
            Weight::Regular => &mut self.regular,
            Weight::Bold => &mut self.bold,
        };
        let glyphs = text.chars().filter_map(|c| lettering::glyph_of(&font.face, c).map(|glyph| (glyph.0, c)));
        let (mut codes, mut said, mut all_known) = (Vec::new(), String::new(), true);
        for (code, character) in glyphs {
            // Glyphs that two characters share read back as one of them: such text says what it is, too.
            let reads =
                *font.used.entry(code).or_insert(if code == 0 { char::REPLACEMENT_CHARACTER } else { character });
            all_known &= reads == character;
            codes.push(code);
            // Marks that steer direction have no glyph and are not said either.
            said.push(character);
        }
        if codes.is_empty() {
            return;
        }
        let said = (!all_known).then_some(said.as_str());
        canvas.glyphs(font.key, style.size, Point::new(start, at.y), &codes, style.ink, said);
    }

    /// Embeds the faces that were used.
    pub(crate) fn embed(&self, document: &mut Document) -> Dictionary {
        let mut fonts = Dictionary::new();
        for font in [&self.regular, &self.bold].into_iter().filter(|font| !font.used.is_empty()) {
            fonts.set(font.key, font.embed(document));
        }
        fonts
    }
}

impl Font {
    fn embed(&self, document: &mut Document) -> ObjectId {
        let length = self.data.len() as i64;
        let file = document.add_plain(dictionary! { "Length1" => length }, self.data.to_vec());
        let per_mille = |units: i16| i64::from(units) * 1000 / i64::from(self.face.units_per_em());
        let bounds = self.face.global_bounding_box();
        let bounds = [bounds.x_min, bounds.y_min, bounds.x_max, bounds.y_max].map(|edge| per_mille(edge).into());
        let descriptor = document.add(dictionary! {
            "Type" => "FontDescriptor", "FontName" => self.name, "Flags" => 4, "FontBBox" => bounds.to_vec(),
            "ItalicAngle" => 0, "Ascent" => per_mille(self.face.ascender()), "Descent" => per_mille(self.face.descender()),
            "CapHeight" => per_mille(self.face.capital_height().unwrap_or(700)), "StemV" => 80, "FontFile2" => file,
        });
        let system = dictionary! {
            "Registry" => super::literal("Adobe"), "Ordering" => super::literal("Identity"), "Supplement" => 0,
        };
        let descendant = document.add(dictionary! {
            "Type" => "Font", "Subtype" => "CIDFontType2", "BaseFont" => self.name, "CIDSystemInfo" => system,
            "FontDescriptor" => descriptor, "CIDToGIDMap" => "Identity", "W" => self.widths(),
        });
        let back = document.add_plain(Dictionary::new(), self.to_unicode().into_bytes());
        document.add(dictionary! {
            "Type" => "Font", "Subtype" => "Type0", "BaseFont" => self.name, "Encoding" => "Identity-H",
            "DescendantFonts" => vec![descendant.into()], "ToUnicode" => back,
        })
    }

    fn widths(&self) -> Vec<Object> {
        let em = f64::from(self.face.units_per_em());
        let width = |code: &u16| f64::from(self.face.glyph_hor_advance(GlyphId(*code)).unwrap_or(0)) * 1000.0 / em;
        self.used.keys().flat_map(|code| [i64::from(*code).into(), vec![width(code).into()].into()]).collect()
    }

    /// ISO 32000-1, 9.10.3; at most 100 entries in a block.
    fn to_unicode(&self) -> String {
        let mut map = String::from(
            "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n/CIDSystemInfo << /Registry (Adobe) \
             /Ordering (UCS) /Supplement 0 >> def\n/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n\
             1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n",
        );
        let entries: Vec<(&u16, &char)> = self.used.iter().collect();
        for block in entries.chunks(100) {
            map += &format!("{} beginbfchar\n", block.len());
            for (code, character) in block {
                let units: String =
                    character.encode_utf16(&mut [0; 2]).iter().map(|unit| format!("{unit:04X}")).collect();
                map += &format!("<{code:04X}> <{units}>\n");
            }
            map += "endbfchar\n";
        }
        map + "endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
    }
}

//! A document that `printpdf` wrote and that is finished here.

use std::collections::BTreeSet;

use lopdf::{Dictionary, Object, ObjectId, Stream, dictionary};
use printpdf::{Layer, LayerInternalId, Op, PdfDocument, PdfPage, PdfSaveOptions, Pt, Rect};
use sha2::{Digest, Sha256};

use super::{Canvas, literal, text_string};
use crate::fault::Fault;
use crate::units::Mm;

/// The version whose optional content, transparency and print scaling are used (ISO 32000-1 names the keys' versions).
const VERSION: &str = "1.6";

/// Written where the caller knows no date, so that bytes repeat.
const FIXED_DATE: &str = "D:20000101000000Z";

/// Holds the ID's place until the bytes are known.
const ID_PLACE: [u8; 32] = *b"0000000000000000quoin-0000000000";

/// One page to write.
pub(crate) struct Leaf {
    /// Its width.
    pub(crate) width: Mm,
    /// Its height.
    pub(crate) height: Mm,
    /// What is painted on it.
    pub(crate) canvas: Canvas,
}

/// An optional content group.
#[derive(Clone, Debug)]
pub(crate) struct Group<'a> {
    /// The name that pages use for it. Groups are listed in the order of these.
    pub(crate) key: &'static str,
    /// The name that people see.
    pub(crate) name: &'a str,
    /// Group and type of the processing step (ISO 19593-1).
    pub(crate) step: (&'static str, Option<&'static str>),
}

/// What the document says of itself.
#[derive(Clone, Debug, Default)]
pub(crate) struct Meta {
    /// Title.
    pub(crate) title: String,
    /// Subject.
    pub(crate) subject: String,
    /// Words to find it by.
    pub(crate) keywords: BTreeSet<String>,
    /// RFC 3339.
    pub(crate) date: Option<String>,
}

/// What pages refer to by name.
#[derive(Clone, Debug, Default)]
pub(crate) struct Resources {
    /// Colour spaces.
    pub(crate) colour_spaces: Dictionary,
    /// Pictures.
    pub(crate) pictures: Dictionary,
    /// Graphics states.
    pub(crate) states: Dictionary,
    /// Fonts.
    pub(crate) fonts: Dictionary,
    /// The page's own group: the space that transparency is blended in.
    pub(crate) blend_in: Option<Object>,
}

/// A document in the making.
pub(crate) struct Document {
    inner: lopdf::Document,
    file: &'static str,
    sizes: Vec<(Mm, Mm)>,
}

impl Document {
    /// Writes the pages. `file` is the name in faults.
    pub(crate) fn of(leaves: Vec<Leaf>, groups: &[Group<'_>], file: &'static str) -> Document {
        let mut draft = PdfDocument::new("");
        for group in groups {
            draft.resources.layers.map.insert(LayerInternalId(group.key.to_owned()), Layer::new(group.name));
        }
        let sizes = leaves.iter().map(|leaf| (leaf.width, leaf.height)).collect();
        draft.with_pages(leaves.into_iter().map(page).collect());
        let options = PdfSaveOptions { optimize: false, subset_fonts: false, secure: false, image_optimization: None };
        let inner = draft.to_lopdf_document(&options, &mut Vec::new());
        Document { inner, file, sizes }
    }

    /// Adds a stream as it is.
    pub(crate) fn add_packed(&mut self, dictionary: Dictionary, content: Vec<u8>) -> ObjectId {
        self.inner.add_object(Stream::new(dictionary, content).with_compression(false))
    }

    /// Adds a stream that is still to be compressed.
    pub(crate) fn add_plain(&mut self, dictionary: Dictionary, content: Vec<u8>) -> ObjectId {
        self.inner.add_object(Stream::new(dictionary, content))
    }

    /// Adds an object.
    pub(crate) fn add(&mut self, object: impl Into<Object>) -> ObjectId {
        self.inner.add_object(object)
    }

    /// Mends what `printpdf` wrote, and writes the file.
    ///
    /// # Errors
    /// `output.broken`.
    pub(crate) fn finish(mut self, resources: &Resources, groups: &[Group<'_>], meta: &Meta) -> Result<Vec<u8>, Fault> {
        let file = self.file;
        self.mend(resources, groups, meta)
            .and_then(|()| self.save())
            .map_err(|source| Fault::OutputBroken { file, source: Box::new(source) })
    }

    fn mend(&mut self, resources: &Resources, groups: &[Group<'_>], meta: &Meta) -> lopdf::Result<()> {
        VERSION.clone_into(&mut self.inner.version);
        let groups = self.mend_groups(groups)?;
        self.mend_pages(resources)?;
        let catalog = self.inner.catalog_mut()?;
        catalog.set("PageLayout", "SinglePage");
        // No scaling by the print dialog: the sheet is as large as it is (ISO 32000-1, table 150).
        catalog.set("ViewerPreferences", dictionary! { "PrintScaling" => "None", "DisplayDocTitle" => true });
        for stray in ["OutputIntents", "Metadata", "OCProperties"] {
            catalog.remove(stray.as_bytes());
        }
        if !groups.is_empty() {
            let all: Vec<Object> = groups.into_iter().map(Object::Reference).collect();
            let shown = dictionary! {
                "Name" => literal("Layers"), "BaseState" => "ON", "Order" => all.clone(), "ON" => all.clone(),
            };
            catalog.set("OCProperties", dictionary! { "OCGs" => all, "D" => shown });
        }
        let info = self.inner.add_object(info(meta));
        self.inner.trailer.set("Info", info);
        let id = Object::String(ID_PLACE.to_vec(), lopdf::StringFormat::Literal);
        self.inner.trailer.set("ID", vec![id.clone(), id]);
        self.inner.prune_objects();
        self.inner.renumber_objects();
        Ok(())
    }

    /// Gives each group that a page uses the processing step that it stands for, and nothing else.
    fn mend_groups(&mut self, groups: &[Group<'_>]) -> lopdf::Result<Vec<ObjectId>> {
        let pages: Vec<ObjectId> = self.inner.page_iter().collect();
        let mut written = Vec::new();
        for group in groups {
            let used = pages.iter().find_map(|page| {
                let resources = self.inner.get_dictionary(*page).ok()?.get_deref(b"Resources", &self.inner).ok()?;
                let properties = resources.as_dict().ok()?.get_deref(b"Properties", &self.inner).ok()?;
                properties.as_dict().ok()?.get(group.key.as_bytes()).ok()?.as_reference().ok()
            });
            let Some(id) = used else { continue };
            let mut step = dictionary! { "GTS_ProcStepsGroup" => group.step.0 };
            if let Some(kind) = group.step.1 {
                step.set("GTS_ProcStepsType", kind);
            }
            let mended = dictionary! {
                "Type" => "OCG", "Name" => text_string(group.name), "Intent" => vec!["View".into(), "Design".into()],
                "GTS_Metadata" => step,
            };
            self.inner.set_object(id, mended);
            written.push(id);
        }
        Ok(written)
    }

    fn mend_pages(&mut self, resources: &Resources) -> lopdf::Result<()> {
        let pages: Vec<ObjectId> = self.inner.page_iter().collect();
        for (id, (width, height)) in pages.into_iter().zip(self.sizes.clone()) {
            let old = self.inner.get_dictionary(id)?.get_deref(b"Resources", &self.inner)?.as_dict()?;
            let mut named = Dictionary::new();
            if let Ok(properties) = old.get(b"Properties") {
                named.set("Properties", properties.clone());
            }
            let parts = [
                ("ColorSpace", &resources.colour_spaces),
                ("XObject", &resources.pictures),
                ("ExtGState", &resources.states),
                ("Font", &resources.fonts),
            ];
            for (key, part) in parts.into_iter().filter(|(_, part)| !part.is_empty()) {
                named.set(key, part.clone());
            }
            let page = self.inner.get_dictionary_mut(id)?;
            page.remove(b"Annots");
            page.set("Resources", named);
            let sheet: Vec<Object> = vec![0.into(), 0.into(), width.to_pt().into(), height.to_pt().into()];
            for key in ["MediaBox", "CropBox", "BleedBox", "TrimBox"] {
                page.set(key, sheet.clone());
            }
            if let Some(space) = &resources.blend_in {
                let group = dictionary! {
                    "Type" => "Group", "S" => "Transparency", "CS" => space.clone(), "I" => true,
                };
                page.set("Group", group);
            }
        }
        Ok(())
    }

    /// Writes the file and signs it with an ID that follows from its bytes (ISO 32000-1, 14.4, asks for no more than that
    /// it be different for different files).
    fn save(mut self) -> lopdf::Result<Vec<u8>> {
        self.inner.compress();
        let streams = self.inner.objects.values().filter_map(|object| object.as_stream().ok());
        let most: usize = streams.map(|stream| stream.content.len()).sum();
        let mut bytes = Vec::with_capacity(most + most / 64 + 65_536);
        self.inner.save_to(&mut bytes)?;
        bytes.push(b'\n');
        let digest = Sha256::digest(&bytes);
        let signature: Vec<u8> = digest.iter().take(16).flat_map(|byte| hex(*byte)).collect();
        // Both places stand in the trailer, behind everything else.
        let mut end = bytes.len();
        for _ in 0..2 {
            let place = bytes[..end].windows(ID_PLACE.len()).rposition(|window| window == ID_PLACE);
            let Some(start) = place else { break };
            bytes[start..start + ID_PLACE.len()].copy_from_slice(&signature);
            end = start;
        }
        Ok(bytes)
    }
}

fn hex(byte: u8) -> [u8; 2] {
    let digit = |value: u8| b"0123456789abcdef"[usize::from(value & 15)];
    [digit(byte >> 4), digit(byte)]
}

fn page(leaf: Leaf) -> PdfPage {
    let sheet = Rect::from_wh(Pt(leaf.width.to_pt() as f32), Pt(leaf.height.to_pt() as f32));
    let ops: Vec<Op> = leaf.canvas.into_ops();
    PdfPage { media_box: sheet.clone(), trim_box: sheet.clone(), crop_box: sheet, ops }
}

fn info(meta: &Meta) -> Dictionary {
    let date = meta.date.as_deref().and_then(pdf_date).unwrap_or_else(|| FIXED_DATE.to_owned());
    let mut info = dictionary! {
        "Title" => text_string(&meta.title), "Producer" => literal("Quoin"), "Creator" => literal("Quoin"),
        "CreationDate" => literal(&date), "ModDate" => literal(&date), "Trapped" => "False",
    };
    if !meta.subject.is_empty() {
        info.set("Subject", text_string(&meta.subject));
    }
    if !meta.keywords.is_empty() {
        let words: Vec<&str> = meta.keywords.iter().map(String::as_str).collect();
        info.set("Keywords", text_string(&words.join(", ")));
    }
    info
}

/// A date of RFC 3339 as PDF writes it (ISO 32000-1, 7.9.4); `None` for anything that is not one.
fn pdf_date(date: &str) -> Option<String> {
    let digits =
        |range: std::ops::Range<usize>| date.get(range).filter(|part| part.bytes().all(|byte| byte.is_ascii_digit()));
    let day = format!("D:{}{}{}", digits(0..4)?, digits(5..7)?, digits(8..10)?);
    if date.len() == 10 {
        return Some(day);
    }
    let time = format!("{}{}{}", digits(11..13)?, digits(14..16)?, digits(17..19)?);
    let zone = date.get(19..)?.trim_start_matches(|c: char| c == '.' || c.is_ascii_digit());
    let zone = match zone.as_bytes() {
        [b'Z' | b'z'] => "Z".to_owned(),
        [sign @ (b'+' | b'-'), h1, h2, b':', m1, m2] if [h1, h2, m1, m2].iter().all(|d| d.is_ascii_digit()) => {
            let [sign, h1, h2, m1, m2] = [*sign, *h1, *h2, *m1, *m2].map(char::from);
            format!("{sign}{h1}{h2}'{m1}{m2}'")
        }
        _ => return None,
    };
    Some(format!("{day}{time}{zone}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_rfc_3339_become_dates_of_pdf() {
        assert_eq!(pdf_date("2026-11-25T20:05:09+01:00").as_deref(), Some("D:20261125200509+01'00'"));
        assert_eq!(pdf_date("2026-11-25T20:05:09.125Z").as_deref(), Some("D:20261125200509Z"));
        assert_eq!(pdf_date("2026-11-25").as_deref(), Some("D:20261125"));
        for wrong in ["", "yesterday", "2026-11-25T20:05", "2026-11-2éT20:05:09Z"] {
            assert_eq!(pdf_date(wrong), None, "{wrong}");
        }
    }
}

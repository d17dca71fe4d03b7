//! Pictures: each embedded once, in the order in which it is first used.

use std::collections::BTreeMap;
use std::sync::Arc;

use lopdf::{Dictionary, Object, ObjectId, dictionary};
use sha2::{Digest, Sha256};

use super::separations::WHITE;
use crate::output::pdf::Document;
use crate::sheet::Sheet;
use crate::sticker::{Plane, Print};

/// The profile of our working space; public domain (CC0).
const SRGB: &[u8] = include_bytes!("../../../assets/srgb.icc");

/// The distinct pictures of a sheet.
pub(super) struct Pictures<'a> {
    distinct: Vec<&'a Print>,
    /// Where each shared picture stands in `distinct`, by its address: for look-up only, no order follows from it.
    index: BTreeMap<*const Print, usize>,
}

impl<'a> Pictures<'a> {
    /// Gathers a sheet's pictures. Two that were made apart but are equal byte for byte count as one.
    pub(super) fn of(sheet: &'a Sheet) -> Pictures<'a> {
        let mut pictures = Pictures { distinct: Vec::new(), index: BTreeMap::new() };
        let mut by_content: BTreeMap<[u8; 32], usize> = BTreeMap::new();
        let prints = sheet.placements.iter().flat_map(|placement| &placement.sticker.prints);
        for print in prints.map(|placed| &placed.print) {
            let address = Arc::as_ptr(print);
            if pictures.index.contains_key(&address) {
                continue;
            }
            let number = *by_content.entry(digest(print)).or_insert_with(|| {
                pictures.distinct.push(print);
                pictures.distinct.len() - 1
            });
            pictures.index.insert(address, number);
        }
        pictures
    }

    /// Whether any picture has white ink under it.
    pub(super) fn have_white(&self) -> bool {
        self.distinct.iter().any(|print| print.white.is_some())
    }

    /// What the page calls a picture.
    pub(super) fn colour_name(&self, print: &Arc<Print>) -> String {
        format!("P{}", self.number(print))
    }

    /// What the page calls the white ink under a picture.
    pub(super) fn white_name(&self, print: &Arc<Print>) -> String {
        format!("W{}", self.number(print))
    }

    fn number(&self, print: &Arc<Print>) -> usize {
        self.index.get(&Arc::as_ptr(print)).map_or(0, |number| number + 1)
    }

    /// Adds every picture to the document and names it.
    pub(super) fn embed(&self, document: &mut Document, srgb: &Object, spaces: &Dictionary) -> Dictionary {
        let mut names = Dictionary::new();
        for (number, print) in (1..).zip(&self.distinct) {
            let mask = embed_plane(document, print, &print.alpha, "DeviceGray".into(), None);
            let colour = embed_plane(document, print, &print.colour, srgb.clone(), Some(mask));
            names.set(format!("P{number}"), colour);
            if let (Some(white), Ok(space)) = (&print.white, spaces.get(WHITE.as_bytes())) {
                let mask = embed_plane(document, print, white, "DeviceGray".into(), None);
                names.set(format!("W{number}"), embed_white(document, space.clone(), mask));
            }
        }
        names
    }
}

/// Adds the profile of pictures and gives the colour space that uses it.
pub(super) fn embed_srgb(document: &mut Document) -> Object {
    let profile = document.add_plain(dictionary! { "N" => 3, "Alternate" => "DeviceRGB" }, SRGB.to_vec());
    Object::Reference(document.add(vec!["ICCBased".into(), profile.into()]))
}

fn embed_plane(
    document: &mut Document,
    print: &Print,
    plane: &Plane,
    space: Object,
    mask: Option<ObjectId>,
) -> ObjectId {
    let unpacking = dictionary! {
        "Predictor" => 12, "Colors" => i64::from(plane.channels()), "BitsPerComponent" => 8,
        "Columns" => i64::from(print.width_px),
    };
    let mut picture = dictionary! {
        "Type" => "XObject", "Subtype" => "Image",
        "Width" => i64::from(print.width_px), "Height" => i64::from(print.height_px),
        "ColorSpace" => space, "BitsPerComponent" => 8, "Interpolate" => true,
        "Filter" => "FlateDecode", "DecodeParms" => unpacking,
    };
    if let Some(mask) = mask {
        picture.set("SMask", mask);
    }
    document.add_packed(picture, plane.data().to_vec())
}

/// One pixel of full tint, stretched over the picture's place and let through by the mask. A picture in the separation
/// itself would lay its empty corners over a neighbour's white and wipe it out.
fn embed_white(document: &mut Document, space: Object, mask: ObjectId) -> ObjectId {
    let picture = dictionary! {
        "Type" => "XObject", "Subtype" => "Image", "Width" => 1, "Height" => 1, "ColorSpace" => space,
        "BitsPerComponent" => 8, "SMask" => mask,
    };
    document.add_packed(picture, vec![u8::MAX])
}

fn digest(print: &Print) -> [u8; 32] {
    let mut hasher = Sha256::new();
    hasher.update(print.width_px.to_le_bytes());
    hasher.update(print.height_px.to_le_bytes());
    for plane in [Some(&print.colour), Some(&print.alpha), print.white.as_ref()] {
        let data = plane.map_or(&[][..], Plane::data);
        hasher.update((data.len() as u64).to_le_bytes());
        hasher.update(data);
    }
    hasher.finalize().into()
}

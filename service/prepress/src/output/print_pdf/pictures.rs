//! Pictures: each embedded once, in the order in which it is first used.

use std::collections::BTreeMap;
use std::sync::Arc;

use lopdf::{Dictionary, Object, ObjectId, dictionary};
use sha2::{Digest, Sha256};

use super::separations::{OVERPRINT, WHITE};
use crate::output::pdf::{Document, Resources};
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

    /// What the page calls a picture, and the graphics state that masks it where it lies over white ink.
    pub(super) fn colour_name(&self, print: &Arc<Print>, over_white: bool) -> (String, Option<String>) {
        let number = self.number(print);
        (format!("P{number}"), over_white.then(|| format!("M{number}")))
    }

    /// What the page calls the white ink under a picture.
    pub(super) fn white_name(&self, print: &Arc<Print>) -> String {
        format!("W{}", self.number(print))
    }

    fn number(&self, print: &Arc<Print>) -> usize {
        self.index.get(&Arc::as_ptr(print)).map_or(0, |number| number + 1)
    }

    /// Adds every picture to the document and names it in the page's resources, which know the separations already.
    pub(super) fn embed(&self, document: &mut Document, srgb: &Object, resources: &mut Resources) {
        let white_space = resources.colour_spaces.get(WHITE.as_bytes()).ok().cloned();
        for (number, print) in (1..).zip(&self.distinct) {
            let alpha = embed_plane(document, print, &print.alpha, "DeviceGray".into(), None);
            let Some(space) = &white_space else {
                let colour = embed_plane(document, print, &print.colour, srgb.clone(), Some(alpha));
                resources.pictures.set(format!("P{number}"), colour);
                continue;
            };
            let colour = embed_plane(document, print, &print.colour, srgb.clone(), None);
            resources.pictures.set(format!("P{number}"), embed_overprinting(document, colour));
            resources.states.set(format!("M{number}"), soft_mask(document, alpha));
            if let Some(white) = &print.white {
                let mask = embed_plane(document, print, white, "DeviceGray".into(), None);
                resources.pictures.set(format!("W{number}"), embed_white(document, space.clone(), mask));
            }
        }
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

/// Art over white: a group that starts from what lies below, so that overprint inside it keeps the white plate. An RGB
/// picture with a mask of its own is blended in a group of its own colours, where overprint is lost and white knocked out
/// (seen in Ghostscript 10); the mask therefore lies on the group, in the graphics state that shows it.
fn embed_overprinting(document: &mut Document, colour: ObjectId) -> ObjectId {
    let resources = dictionary! {
        "XObject" => dictionary! { "A" => colour }, "ExtGState" => super::separations::states(),
    };
    let group = dictionary! { "Type" => "Group", "S" => "Transparency", "I" => false, "K" => false };
    let form = unit_square(resources, group);
    document.add_plain(form, format!("/{OVERPRINT} gs /A Do").into_bytes())
}

/// A graphics state that lets through what the picture's alpha lets through, over the unit square.
fn soft_mask(document: &mut Document, alpha: ObjectId) -> Dictionary {
    let resources = dictionary! { "XObject" => dictionary! { "A" => alpha } };
    let group = dictionary! { "Type" => "Group", "S" => "Transparency", "CS" => "DeviceGray", "I" => true };
    let form = document.add_plain(unit_square(resources, group), b"/A Do".to_vec());
    dictionary! {
        "Type" => "ExtGState", "SMask" => dictionary! { "Type" => "Mask", "S" => "Luminosity", "G" => form },
    }
}

fn unit_square(resources: Dictionary, group: Dictionary) -> Dictionary {
    dictionary! {
        "Type" => "XObject", "Subtype" => "Form", "BBox" => vec![0.into(), 0.into(), 1.into(), 1.into()],
        "Resources" => resources, "Group" => group,
    }
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

//! Separations and the optional content groups that they stand in.

use lopdf::{Dictionary, Object, dictionary};

use super::Contents;
use super::pictures::Pictures;
use crate::order::{Colour, Layer};
use crate::output::pdf::Group;
use crate::sheet::Sheet;

/// What the page calls the white separation and its group.
pub(super) const WHITE: &str = "White";

/// What the page calls the separation of kiss cuts and its group.
pub(super) const KISS: &str = "Kiss";

/// What the page calls the separation of through cuts and its group.
pub(super) const THROUGH: &str = "Through";

/// What the page calls the graphics state that knocks nothing out.
pub(super) const OVERPRINT: &str = "Over";

/// One separation with its group.
pub(super) struct Separation<'a> {
    /// The page's name for both.
    pub(super) key: &'static str,
    layer: &'a Layer,
    step: (&'static str, Option<&'static str>),
}

/// The separations that a sheet has ink on.
pub(super) fn of<'a>(sheet: &'a Sheet, contents: &Contents, pictures: &Pictures<'_>) -> Vec<Separation<'a>> {
    let layers = &sheet.stock.layers;
    let white = sheet.stock.face.takes_white_ink() || pictures.have_white();
    // ISO 19593-1: the white group takes no type.
    let all = [
        (white, WHITE, &layers.white, ("White", None)),
        (!contents.kiss.is_empty(), KISS, &layers.kiss, ("Structural", Some("PartialCutting"))),
        (!contents.through.is_empty(), THROUGH, &layers.through, ("Structural", Some("Cutting"))),
    ];
    all.into_iter().filter(|entry| entry.0).map(|(_, key, layer, step)| Separation { key, layer, step }).collect()
}

impl Separation<'_> {
    /// Its optional content group.
    pub(super) fn group(&self) -> Group<'_> {
        Group { key: self.key, name: &self.layer.name, step: self.step }
    }

    /// Its colour space: the layer's name, and the layer's colour for viewers that have no such plate. The way there is
    /// a straight line from bare stock (ISO 32000-1, 7.10.3), shown as white.
    pub(super) fn colour_space(&self) -> Object {
        let Colour(channels) = self.layer.colour;
        let full: Vec<Object> = channels.iter().map(|channel| (f64::from(*channel) / 255.0).into()).collect();
        let none: Vec<Object> = vec![1.into(), 1.into(), 1.into()];
        let tint = dictionary! {
            "FunctionType" => 2, "Domain" => vec![0.into(), 1.into()], "C0" => none, "C1" => full, "N" => 1,
        };
        let name = Object::Name(self.layer.name.clone().into_bytes());
        vec!["Separation".into(), name, "DeviceRGB".into(), tint.into()].into()
    }
}

/// Graphics states.
pub(super) fn states() -> Dictionary {
    let over = dictionary! { "Type" => "ExtGState", "OP" => true, "op" => true, "OPM" => 0 };
    dictionary! { OVERPRINT => over }
}

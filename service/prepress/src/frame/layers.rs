//! Names of layers: what they are called in an SVG, and which names cannot be told apart.

use std::collections::BTreeSet;

use crate::fault::Fault;
use crate::order::Layers;

/// Names that mean something else in a PDF: the colorants of ISO 32000-2, 8.6.6.4 and the process colours.
const RESERVED: [&str; 10] = ["All", "None", "Cyan", "Magenta", "Yellow", "Black", "Red", "Green", "Blue", "Gray"];

/// The id of a layer in an SVG: its name with each character that an NCName may not have as `_`, one before an illegal
/// first (Namespaces in XML 1.0, 3: NCName is an XML 1.0 Name, production 5, without colons).
pub fn layer_id(name: &str) -> String {
    let mut id: String = name.chars().map(|c| if may_follow(c) { c } else { '_' }).collect();
    if !name.chars().next().is_some_and(may_start) && !id.starts_with('_') {
        id.insert(0, '_');
    }
    id
}

/// NameStartChar of XML 1.0 (fifth edition), production 4, without the colon.
fn may_start(c: char) -> bool {
    matches!(c,
        'A'..='Z' | '_' | 'a'..='z' | '\u{C0}'..='\u{D6}' | '\u{D8}'..='\u{F6}' | '\u{F8}'..='\u{2FF}'
        | '\u{370}'..='\u{37D}' | '\u{37F}'..='\u{1FFF}' | '\u{200C}'..='\u{200D}' | '\u{2070}'..='\u{218F}'
        | '\u{2C00}'..='\u{2FEF}' | '\u{3001}'..='\u{D7FF}' | '\u{F900}'..='\u{FDCF}' | '\u{FDF0}'..='\u{FFFD}'
        | '\u{10000}'..='\u{EFFFF}')
}

/// NameChar of XML 1.0 (fifth edition), production 4a, without the colon.
fn may_follow(c: char) -> bool {
    may_start(c) || matches!(c, '-' | '.' | '0'..='9' | '\u{B7}' | '\u{300}'..='\u{36F}' | '\u{203F}'..='\u{2040}')
}

/// `stock.broken` where layer names are equal, collide once written as ids (among each other, with `Marks`, with a cut
/// line's `p1-…`) or are reserved.
pub fn layers_fault(stock: &str, layers: &Layers) -> Option<Fault> {
    let named = [("kiss", &layers.kiss), ("through", &layers.through), ("white", &layers.white)];
    let mut seen = BTreeSet::new();
    for (field, layer) in named {
        let id = layer_id(&layer.name);
        let reason = if layer.name.is_empty() {
            Some("a layer needs a name".to_owned())
        } else if RESERVED.contains(&layer.name.as_str()) {
            Some(format!("the name {} is reserved; choose another", layer.name))
        } else if id == "Marks" || is_cut_id(&id) {
            Some(format!("the name {} collides with an id of the cut file; choose another", layer.name))
        } else if !seen.insert(id) {
            Some(format!("the name {} is that of another layer, or reads the same as an id", layer.name))
        } else {
            None
        };
        if let Some(reason) = reason {
            return Some(Fault::StockBroken {
                stock: stock.to_owned(),
                field: format!("/layers/{field}/name"),
                reason,
            });
        }
    }
    None
}

/// Whether an id has the form of a cut line's: `p`, digits, a hyphen.
fn is_cut_id(id: &str) -> bool {
    let Some(rest) = id.strip_prefix('p') else { return false };
    let after = rest.trim_start_matches(|c: char| c.is_ascii_digit());
    after.len() < rest.len() && after.starts_with('-')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::tests::letter;

    #[test]
    fn names_become_ids_by_the_rule_of_the_contract() {
        assert_eq!(layer_id("PartialCutting"), "PartialCutting");
        assert_eq!(layer_id("Kiss cut: 1"), "Kiss_cut__1");
        assert_eq!(layer_id("1st"), "_1st");
        assert_eq!(layer_id("Größe"), "Größe");
        assert_eq!(layer_id("a\u{200F}b🦊"), "a_b🦊", "the right-to-left mark is not allowed, plane 1 is");
        assert_eq!(layer_id(" x"), "_x", "an illegal first becomes the one underscore");
    }

    #[test]
    fn names_that_cannot_be_told_apart_are_a_broken_stock() {
        let layers = letter().layers;
        assert!(layers_fault("s", &layers).is_none());
        for (name, broken) in [
            ("Marks", true),
            ("p1-kiss", true),
            ("p12-", true),
            ("All", true),
            ("None", true),
            ("Black", true),
            ("Cutting", true),
            ("", true),
            ("px-1", false),
            ("Kiss", false),
        ] {
            let mut changed = layers.clone();
            changed.kiss.name = name.to_owned();
            assert_eq!(layers_fault("s", &changed).is_some(), broken, "{name}");
        }
        let mut changed = layers;
        (changed.kiss.name, changed.through.name) = ("a b".to_owned(), "a:b".to_owned());
        let fault = layers_fault("s", &changed).expect("both are a_b");
        assert!(fault.to_string().contains("a:b"));
    }
}

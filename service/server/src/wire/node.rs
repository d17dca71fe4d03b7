//! A place in the request as it reads after merging: what is written here, over what `defaults` say.
//!
//! Layers are merged as by JSON Merge Patch (RFC 7396) without building the merged tree, so that every value still knows
//! where it was written: the first layer that has a field decides; two objects merge field by field; `null` ends the
//! search, which leaves the built-in value. Readers record a mistake and give `None`; callers then go on with a default,
//! because a request with a mistake is refused anyway and all of its mistakes are wanted.

use quoin_prepress::order::Colour;
use quoin_prepress::units::Mm;
use serde_json::Value;

use super::ids;
use super::mistake::{MistakeCode, Mistakes, Pointer};
use super::range::Range;

/// What one source says here.
#[derive(Clone, Debug)]
struct Layer<'a> {
    pointer: Pointer,
    value: &'a Value,
    /// Written in the thing itself, not taken from its defaults.
    own: bool,
}

/// A merged value. Without layers: nothing is said, every field is absent.
#[derive(Clone, Debug, Default)]
pub(super) struct Node<'a> {
    layers: Vec<Layer<'a>>,
}

impl<'a> Node<'a> {
    /// A value written at a place of its own.
    pub(super) fn new(pointer: Pointer, value: &'a Value) -> Node<'a> {
        Node { layers: vec![Layer { pointer, value, own: true }] }
    }

    /// This over another, which becomes its defaults. Layers that are no objects have nothing to merge and are left out.
    #[must_use]
    pub(super) fn over(&self, defaults: &Node<'a>) -> Node<'a> {
        let below = defaults.layers.iter().filter(|layer| layer.value.is_object());
        let below = below.map(|layer| Layer { own: false, ..layer.clone() });
        Node { layers: self.layers.iter().cloned().chain(below).collect() }
    }

    /// The same, but nothing of it counts as written in the thing itself.
    #[must_use]
    pub(super) fn as_defaults(&self) -> Node<'a> {
        Node::default().over(self)
    }

    /// Where the deciding value is written.
    pub(super) fn pointer(&self) -> Pointer {
        self.layers.first().map_or_else(Pointer::root, |layer| layer.pointer.clone())
    }

    /// The deciding value.
    pub(super) fn value(&self) -> Option<&'a Value> {
        self.layers.first().map(|layer| layer.value)
    }

    /// Whether the deciding value is written in the thing itself.
    pub(super) fn is_own(&self) -> bool {
        self.layers.first().is_some_and(|layer| layer.own)
    }

    /// A field, merged; `None` where nobody says anything or `null` restores the built-in value.
    pub(super) fn get(&self, key: &str) -> Option<Node<'a>> {
        let mut found: Vec<Layer<'a>> = Vec::new();
        for layer in &self.layers {
            let Some(value) = layer.value.get(key) else { continue };
            if !found.is_empty() && !value.is_object() {
                break;
            }
            if value.is_null() {
                return None;
            }
            found.push(Layer { pointer: layer.pointer.key(key), value, own: layer.own });
            if !value.is_object() {
                break;
            }
        }
        (!found.is_empty()).then_some(Node { layers: found })
    }

    /// A field that is a choice: the first layer that has it decides it whole.
    pub(super) fn choice(&self, key: &str) -> Option<Node<'a>> {
        let node = self.get(key)?;
        Some(Node { layers: node.layers.into_iter().take(1).collect() })
    }

    /// What is written in the thing itself, without its defaults.
    pub(super) fn own_part(&self) -> Node<'a> {
        Node { layers: self.layers.iter().filter(|layer| layer.own).cloned().collect() }
    }

    /// Refuses whatever is no JSON object; `false` then.
    pub(super) fn expect_object(&self, mistakes: &mut Mistakes) -> bool {
        match self.layers.first() {
            Some(layer) if !layer.value.is_object() => {
                wrong_type(mistakes, &layer.pointer, "an object", layer.value);
                false
            }
            _ => true,
        }
    }

    /// Refuses every field but these, in every layer.
    pub(super) fn only_fields(&self, mistakes: &mut Mistakes, known: &[&str]) {
        for layer in &self.layers {
            let fields = layer.value.as_object().into_iter().flat_map(|object| object.keys());
            for field in fields.filter(|field| !known.contains(&field.as_str())) {
                let message = match nearest(field, known) {
                    Some(meant) => format!("there is no field `{field}` here; is `{meant}` meant?"),
                    None => format!("there is no field `{field}` here"),
                };
                mistakes.add(MistakeCode::UnknownField, &layer.pointer.key(field), message);
            }
        }
    }

    /// Refuses fields that this shape or product does not have where they are written in the thing itself.
    pub(super) fn refuse_own(&self, mistakes: &mut Mistakes, fields: &[&str], owner: &str) {
        let own = self.own_part();
        for field in fields {
            if let Some(node) = own.get(field) {
                mistakes.add(MistakeCode::UnknownField, &node.pointer(), format!("{owner} has no `{field}`"));
            }
        }
    }

    /// Refuses any value but the default of a field that is not made yet.
    pub(super) fn not_yet(&self, mistakes: &mut Mistakes, field: &str, is_default: impl Fn(&Value) -> bool) {
        if let Some(node) = self.get(field)
            && !node.value().is_none_or(is_default)
        {
            let message = format!("`{field}` is not supported yet; leave it out or at its default");
            mistakes.add(MistakeCode::NotSupportedYet, &node.pointer(), message);
        }
    }

    /// Records that a field is missing.
    pub(super) fn missing(&self, mistakes: &mut Mistakes, field: &str) {
        mistakes.add(MistakeCode::MissingField, &self.pointer(), format!("`{field}` is required"));
    }

    /// An object; an empty node where there is none.
    pub(super) fn section(&self, mistakes: &mut Mistakes, key: &str) -> Node<'a> {
        self.get(key).filter(|node| node.expect_object(mistakes)).unwrap_or_default()
    }

    /// The elements of an array; `None` where there is none.
    pub(super) fn list(&self, mistakes: &mut Mistakes, key: &str) -> Option<Vec<Node<'a>>> {
        let node = self.get(key)?;
        let layer = node.layers.first()?;
        if !layer.value.is_array() {
            wrong_type(mistakes, &layer.pointer, "an array", layer.value);
            return None;
        }
        Some(node.elements())
    }

    /// The elements of the array that this node is; none where it is no array.
    pub(super) fn elements(&self) -> Vec<Node<'a>> {
        let Some(layer) = self.layers.first() else { return Vec::new() };
        let element = |(index, value)| Node {
            layers: vec![Layer { pointer: layer.pointer.index(index), value, own: layer.own }],
        };
        layer.value.as_array().into_iter().flatten().enumerate().map(element).collect()
    }

    /// The text that this node is.
    pub(super) fn as_text(&self, mistakes: &mut Mistakes) -> Option<&'a str> {
        let layer = self.layers.first()?;
        if layer.value.as_str().is_none() {
            wrong_type(mistakes, &layer.pointer, "a string", layer.value);
        }
        layer.value.as_str()
    }

    /// The number that this node is, within a range.
    pub(super) fn as_number(&self, mistakes: &mut Mistakes, range: &Range) -> Option<f64> {
        let layer = self.layers.first()?;
        let Some(number) = layer.value.as_f64() else {
            wrong_type(mistakes, &layer.pointer, "a number", layer.value);
            return None;
        };
        if range.holds(number) {
            return Some(number);
        }
        mistakes.add(MistakeCode::OutOfRange, &layer.pointer, format!("must be {range}, not {}", layer.value));
        None
    }

    /// A number.
    pub(super) fn number(&self, mistakes: &mut Mistakes, key: &str, range: &Range) -> Option<f64> {
        self.get(key)?.as_number(mistakes, range)
    }

    /// A length.
    pub(super) fn length(&self, mistakes: &mut Mistakes, key: &str, range: &Range) -> Option<Mm> {
        self.number(mistakes, key, range).map(Mm::of)
    }

    /// A whole number. `5.0` is one (JSON Schema 2020-12 core, section 6.3).
    pub(super) fn whole(&self, mistakes: &mut Mistakes, key: &str, range: &Range) -> Option<u64> {
        self.get(key)?.as_whole(mistakes, range)
    }

    /// The whole number that this node is.
    pub(super) fn as_whole(&self, mistakes: &mut Mistakes, range: &Range) -> Option<u64> {
        let number = self.as_number(mistakes, range)?;
        if number.fract().abs() > 0.0 || number < 0.0 {
            let message = format!("must be a whole number, {range}, not {number}");
            mistakes.add(MistakeCode::WrongType, &self.pointer(), message);
            return None;
        }
        // Ranges of whole numbers end at 2^53 at most, up to where doubles are exact.
        Some(number as u64)
    }

    /// `true` or `false`.
    pub(super) fn flag(&self, mistakes: &mut Mistakes, key: &str) -> Option<bool> {
        let node = self.get(key)?;
        let layer = node.layers.first()?;
        if layer.value.as_bool().is_none() {
            wrong_type(mistakes, &layer.pointer, "true or false", layer.value);
        }
        layer.value.as_bool()
    }

    /// The choice that this node's word names.
    pub(super) fn as_word<T: Copy>(&self, mistakes: &mut Mistakes, words: &[(&str, T)]) -> Option<T> {
        let text = self.as_text(mistakes)?;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, choice)| *choice);
        if found.is_none() {
            let choices: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            let message = format!("must be one of {}, not \"{text}\"", choices.join(", "));
            mistakes.add(MistakeCode::UnknownWord, &self.pointer(), message);
        }
        found
    }

    /// One of a field's words.
    pub(super) fn word<T: Copy>(&self, mistakes: &mut Mistakes, key: &str, words: &[(&str, T)]) -> Option<T> {
        self.get(key)?.as_word(mistakes, words)
    }

    /// A `#rrggbb` colour.
    pub(super) fn colour(&self, mistakes: &mut Mistakes, key: &str) -> Option<Colour> {
        let node = self.get(key)?;
        let text = node.as_text(mistakes)?;
        let colour = ids::colour(text);
        if colour.is_none() {
            mistakes.add(MistakeCode::BadColour, &node.pointer(), format!("must be like #rrggbb, not \"{text}\""));
        }
        colour
    }

    /// A text that a rule takes; the rule says what is wrong.
    pub(super) fn ruled_text(
        &self,
        mistakes: &mut Mistakes,
        key: &str,
        rule: impl Fn(&str) -> Result<(), String>,
    ) -> Option<&'a str> {
        self.get(key)?.as_ruled_text(mistakes, rule)
    }

    /// The text that this node is, if a rule takes it.
    pub(super) fn as_ruled_text(
        &self,
        mistakes: &mut Mistakes,
        rule: impl Fn(&str) -> Result<(), String>,
    ) -> Option<&'a str> {
        let text = self.as_text(mistakes)?;
        match rule(text) {
            Ok(()) => Some(text),
            Err(why) => {
                mistakes.add(MistakeCode::BadId, &self.pointer(), why);
                None
            }
        }
    }
}

/// Records a value of the wrong JSON type.
pub(super) fn wrong_type(mistakes: &mut Mistakes, pointer: &Pointer, wanted: &str, value: &Value) {
    let found = match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a string",
        Value::Array(_) => "an array",
        Value::Object(_) => "an object",
    };
    mistakes.add(MistakeCode::WrongType, pointer, format!("must be {wanted}, not {found}"));
}

/// The known field that a mistyped one most likely means: equal but for case and separators, or one beginning the other.
fn nearest<'k>(field: &str, known: &[&'k str]) -> Option<&'k str> {
    let plain =
        |text: &str| -> String { text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect() };
    let field = plain(field);
    let stem = |known: &str| known.trim_end_matches("_mm").trim_end_matches("_px").to_owned();
    if field.len() < 3 {
        return None;
    }
    known.iter().copied().find(|known| {
        let known = plain(known);
        known == field || plain(&stem(&known)) == field || known.starts_with(&field) || field.starts_with(&known)
    })
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::wire::range;

    fn layered<'a>(item: &'a Value, defaults: &'a Value) -> Node<'a> {
        Node::new(Pointer::root().key("item"), item).over(&Node::new(Pointer::root().key("defaults"), defaults))
    }

    #[test]
    fn objects_merge_field_by_field_and_values_know_where_they_stand() {
        let item = json!({"outline": {"border_mm": 1}});
        let defaults = json!({"outline": {"border_mm": 2, "shape": "circle"}, "rotate": "none"});
        let outline = layered(&item, &defaults).get("outline").expect("there");
        let border = outline.get("border_mm").expect("there");
        assert_eq!((border.value(), border.pointer().as_str()), (Some(&json!(1)), "/item/outline/border_mm"));
        assert!(border.is_own());
        let shape = outline.get("shape").expect("there");
        assert_eq!((shape.value(), shape.pointer().as_str()), (Some(&json!("circle")), "/defaults/outline/shape"));
        assert!(!shape.is_own());
    }

    #[test]
    fn null_restores_the_built_in_value() {
        let defaults = json!({"outline": {"border_mm": 2}, "rotate": "none"});
        let item = json!({"outline": null, "rotate": null});
        assert!(layered(&item, &defaults).get("outline").is_none());
        assert!(layered(&item, &defaults).get("rotate").is_none());
        let item = json!({"outline": {"border_mm": null}});
        assert!(layered(&item, &defaults).get("outline").expect("there").get("border_mm").is_none());
    }

    #[test]
    fn choices_are_replaced_whole() {
        let item = json!({"size": {"width_mm": 60}});
        let defaults = json!({"size": {"height_mm": 50}});
        let size = layered(&item, &defaults).choice("size").expect("there");
        assert!(size.get("height_mm").is_none() && size.get("width_mm").is_some());
    }

    /// The merged tree as RFC 7396 builds it, for comparison.
    fn merged(node: &Node<'_>, keys: &[&str]) -> Value {
        let object = node.layers.first().is_some_and(|layer| layer.value.is_object());
        if !object {
            return node.value().cloned().unwrap_or(Value::Null);
        }
        let field = |key: &&str| node.get(key).map(|field| ((*key).to_owned(), merged(&field, keys)));
        Value::Object(keys.iter().filter_map(field).collect())
    }

    #[test]
    fn merging_agrees_with_the_cases_of_rfc_7396() {
        // RFC 7396, appendix A: original, patch, result (those whose patch is an object, nulls of the original apart,
        // which say "built-in" here as well).
        let cases = [
            (json!({"a": "b"}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "b"}), json!({"b": "c"}), json!({"a": "b", "b": "c"})),
            (json!({"a": "b"}), json!({"a": null}), json!({})),
            (json!({"a": "b", "b": "c"}), json!({"a": null}), json!({"b": "c"})),
            (json!({"a": ["b"]}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "c"}), json!({"a": ["b"]}), json!({"a": ["b"]})),
            (json!({"a": {"b": "c"}}), json!({"a": {"b": "d", "c": null}}), json!({"a": {"b": "d"}})),
            (json!({"a": [{"b": "c"}]}), json!({"a": [1]}), json!({"a": [1]})),
            (json!([1, 2]), json!({"a": "b", "c": null}), json!({"a": "b"})),
            (json!({}), json!({"a": {"b": {"c": null}}}), json!({"a": {"b": {}}})),
        ];
        for (original, patch, result) in cases {
            assert_eq!(merged(&layered(&patch, &original), &["a", "b", "c"]), result, "{original} + {patch}");
        }
    }

    #[test]
    fn whole_numbers_may_be_written_with_a_point_zero() {
        let value = json!({"a": 5.0, "b": 5.5, "c": -1, "d": "5"});
        let node = Node::new(Pointer::root(), &value);
        let mut mistakes = Mistakes::default();
        assert_eq!(node.whole(&mut mistakes, "a", &range::QUANTITY), Some(5));
        assert_eq!(mistakes.count(), 0);
        for key in ["b", "c", "d"] {
            assert_eq!(node.whole(&mut mistakes, key, &range::QUANTITY), None);
        }
        let codes: Vec<_> = mistakes.into_list().iter().map(|mistake| mistake.code).collect();
        assert_eq!(codes, [MistakeCode::WrongType, MistakeCode::OutOfRange, MistakeCode::WrongType]);
    }

    #[test]
    fn a_mistyped_field_is_named() {
        assert_eq!(nearest("cornerRadiusMm", &["shape", "corner_radius_mm"]), Some("corner_radius_mm"));
        assert_eq!(nearest("border", &["shape", "border_mm"]), Some("border_mm"));
        assert_eq!(nearest("xyz", &["shape", "border_mm"]), None);
    }
}

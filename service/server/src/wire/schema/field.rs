//! One property of a request, built from what its reader takes.

use serde_json::{Map, Value, json};

use super::super::range::Range;

/// Where the document keeps its schemas.
pub(super) const SCHEMAS: &str = "#/components/schemas/";

/// A property: a schema with a description.
#[derive(Clone, Debug)]
pub(super) struct Field(Map<String, Value>);

impl Field {
    fn of(schema: Value, description: &str) -> Field {
        let Value::Object(mut map) = schema else { return Field(Map::new()) };
        map.insert("description".to_owned(), description.into());
        Field(map)
    }

    /// A number within a range.
    pub(super) fn number(range: &Range, description: &str) -> Field {
        Field::of(json!({"type": "number"}), description).within(range)
    }

    /// A whole number within a range.
    pub(super) fn whole(range: &Range, description: &str) -> Field {
        Field::of(json!({"type": "integer"}), description).within(range)
    }

    /// `true` or `false`.
    pub(super) fn flag(description: &str) -> Field {
        Field::of(json!({"type": "boolean"}), description)
    }

    /// One of a reader's words.
    pub(super) fn word<T>(words: &[(&str, T)], description: &str) -> Field {
        let words: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        Field::of(json!({"type": "string", "enum": words}), description)
    }

    /// Text of so many characters that a pattern matches.
    pub(super) fn text(least: usize, most: usize, pattern: &str, description: &str) -> Field {
        Field::of(json!({"type": "string", "minLength": least, "maxLength": most, "pattern": pattern}), description)
    }

    /// Text with nothing but a pattern.
    pub(super) fn pattern(pattern: &str, description: &str) -> Field {
        Field::of(json!({"type": "string", "pattern": pattern}), description)
    }

    /// Any schema.
    pub(super) fn schema(schema: Value, description: &str) -> Field {
        Field::of(schema, description)
    }

    /// Another schema of the document.
    pub(super) fn refer(name: &str, description: &str) -> Field {
        Field::of(refer(name), description)
    }

    /// A list.
    pub(super) fn list(items: &Value, least: usize, description: &str) -> Field {
        let field = Field::of(json!({"type": "array", "items": items}), description);
        if least > 0 { field.with("minItems", least) } else { field }
    }

    fn within(mut self, range: &Range) -> Field {
        let least = if range.above { "exclusiveMinimum" } else { "minimum" };
        self.0.insert(least.to_owned(), number(range.least));
        self.0.insert("maximum".to_owned(), number(range.most));
        let unit = range.unit.trim();
        if unit.is_empty() { self } else { self.with("x-unit", unit) }
    }

    /// With another keyword.
    #[must_use]
    pub(super) fn with(mut self, keyword: &str, value: impl Into<Value>) -> Field {
        self.0.insert(keyword.to_owned(), value.into());
        self
    }

    /// May be left out or `null`, which both mean this built-in value.
    #[must_use]
    pub(super) fn or(self, built_in: impl Into<Value>) -> Field {
        let built_in = built_in.into();
        // A default that is an object stops generators of clients, which have no literal for it.
        let keyword = if built_in.is_object() { "x-default" } else { "default" };
        self.optional().with(keyword, built_in)
    }

    /// May be left out or `null`; what that means stands in the description.
    #[must_use]
    pub(super) fn optional(mut self) -> Field {
        if let Some(kind) = self.0.get_mut("type") {
            let first = kind.take();
            *kind = json!([first, "null"]);
            if let Some(Value::Array(words)) = self.0.get_mut("enum") {
                words.push(Value::Null);
            }
            return self;
        }
        if let Some(target) = self.0.remove("$ref") {
            self.0.insert("anyOf".to_owned(), json!([{"$ref": target}, {"type": "null"}]));
        } else if let Some(Value::Array(ways)) = self.0.get_mut("anyOf") {
            ways.push(json!({"type": "null"}));
        }
        self
    }

    /// With no built-in value of its own, for the reason given.
    #[must_use]
    pub(super) fn without_default(mut self, why: &str) -> Field {
        self.0.remove("default");
        self.say(why);
        self
    }

    /// Adds a sentence to the description.
    fn say(&mut self, sentence: &str) {
        if let Some(Value::String(description)) = self.0.get_mut("description") {
            description.push(' ');
            description.push_str(sentence);
        }
    }

    /// Values that the contract has, but that are refused so far (`true`: every one but the default).
    #[must_use]
    pub(super) fn not_yet(mut self, values: impl Into<Value>) -> Field {
        let values = values.into();
        let which = match values.as_array() {
            Some(words) => listed(words.iter().filter_map(Value::as_str)),
            None => "any other value than the default".to_owned(),
        };
        self.say(&format!("Not supported yet: {which} is refused (`job.not_supported_yet`)."));
        self.with("x-not-supported-yet", values)
    }

    /// Values that runs refuse so far; preflight, proofs and estimates take them.
    #[must_use]
    pub(super) fn not_yet_in_runs(mut self, values: &[&str]) -> Field {
        let words = listed(values.iter().copied());
        self.say(&format!("Not supported yet in runs: a gang job with {words} is refused (`job.not_supported_yet`)."));
        self.with("x-not-supported-yet-in-runs", json!(values))
    }

    fn into_value(self) -> Value {
        Value::Object(self.0)
    }
}

/// Words as a description names them.
fn listed<'a>(words: impl Iterator<Item = &'a str>) -> String {
    words.map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}

/// A number as short as JSON has it.
fn number(value: f64) -> Value {
    // Whole bounds end at 2^53, up to where doubles are exact.
    if value.fract().abs() > 0.0 { json!(value) } else { json!(value as i64) }
}

/// A reference to a schema of the document.
pub(super) fn refer(name: &str) -> Value {
    json!({"$ref": format!("{SCHEMAS}{name}")})
}

/// An object with these properties and no others.
pub(super) fn object(description: &str, required: &[&str], properties: Vec<(&str, Field)>) -> Value {
    let properties: Map<String, Value> =
        properties.into_iter().map(|(name, field)| (name.to_owned(), field.into_value())).collect();
    let mut schema = json!({
        "type": "object",
        "description": description,
        "properties": properties,
        "additionalProperties": false,
    });
    if !required.is_empty() {
        schema["required"] = json!(required);
    }
    schema
}

/// An object with a rule that its properties alone do not say.
pub(super) fn with_rules(mut schema: Value, rules: Vec<Value>) -> Value {
    if !rules.is_empty() {
        schema["allOf"] = Value::Array(rules);
    }
    schema
}

/// A rule: where a property is written and is one of these words, others must be left out (or null).
pub(super) fn without(property: &str, words: &[&str], others: &[&str]) -> Value {
    let empty: Map<String, Value> = others.iter().map(|other| ((*other).to_owned(), json!({"type": "null"}))).collect();
    json!({
        "if": {"properties": {property: {"enum": words}}, "required": [property]},
        "then": {"properties": empty},
    })
}

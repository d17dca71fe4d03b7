//! The settings file.

use std::path::{Path, PathBuf};

use quoin_prepress::order::Thresholds;
use serde::Deserialize;
use serde_json::Value;
use toml::de::{DeTable, DeValue};

use super::SettingsFault;
use crate::wire::Configured;

/// What a settings file may say.
const FIELDS: [&str; 19] = [
    "listen",
    "open_without_keys",
    "keys",
    "workers",
    "threads_per_job",
    "queue_length",
    "pixels_in_work_mib",
    "max_body_mib",
    "max_job_mib",
    "max_parts",
    "body_deadline_s",
    "max_picture_mib",
    "max_picture_megapixels",
    "max_picture_side_px",
    "drain_notice_s",
    "drain_deadline_s",
    "temporary_folder",
    "stocks",
    "preflight",
];

/// A key as the file writes it.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct KeyEntry {
    pub(super) name: String,
    pub(super) sha256: String,
    pub(super) scopes: Option<Vec<String>>,
}

/// A settings file, or none.
#[derive(Debug, Default)]
pub(super) struct File {
    name: String,
    text: String,
    table: toml::Table,
}

impl File {
    /// Reads a file; without one, nothing is said.
    pub(super) fn read(path: Option<&Path>, faults: &mut Vec<SettingsFault>) -> File {
        let Some(path) = path else { return File::default() };
        let name = path.display().to_string();
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) => {
                faults
                    .push(SettingsFault { place: name, message: format!("the settings file cannot be read: {error}") });
                return File::default();
            }
        };
        File::parse(name, text, faults)
    }

    /// Parses the text of a file.
    pub(super) fn parse(name: String, text: String, faults: &mut Vec<SettingsFault>) -> File {
        let table = match toml::from_str::<toml::Table>(&text) {
            Ok(table) => table,
            Err(error) => {
                let line = error.span().map_or(1, |span| line_at(&text, span.start));
                faults.push(SettingsFault { place: format!("{name}:{line}"), message: error.message().to_owned() });
                return File::default();
            }
        };
        let file = File { name, text, table };
        file.check_types(faults);
        file
    }

    /// Where the value of a pointer stands: file and line.
    pub(super) fn place_of(&self, pointer: &str) -> String {
        let line = line_of(&self.text, pointer);
        line.map_or_else(|| self.name.clone(), |line| format!("{}:{line}", self.name))
    }

    fn fault(&self, pointer: &str, message: String, faults: &mut Vec<SettingsFault>) {
        faults.push(SettingsFault { place: self.place_of(pointer), message });
    }

    fn check_types(&self, faults: &mut Vec<SettingsFault>) {
        for (field, value) in &self.table {
            let pointer = format!("/{field}");
            let wanted = match field.as_str() {
                unknown if !FIELDS.contains(&unknown) => {
                    let message = format!("there is no setting `{unknown}`; settings are {}", FIELDS.join(", "));
                    self.fault(&pointer, message, faults);
                    continue;
                }
                "listen" | "temporary_folder" => value.is_str().then_some(()).ok_or("text in quotes"),
                "open_without_keys" => value.is_bool().then_some(()).ok_or("true or false"),
                "preflight" => value.is_table().then_some(()).ok_or("a table, [preflight]"),
                "keys" | "stocks" => value.is_array().then_some(()).ok_or("a list of tables, like [[stocks]]"),
                _ => value.is_integer().then_some(()).ok_or("a whole number"),
            };
            if let Err(wanted) = wanted {
                self.fault(&pointer, format!("{field} must be {wanted}"), faults);
            }
        }
        for (index, entry) in self.list("keys").iter().enumerate() {
            if let Err(error) = KeyEntry::deserialize(entry.clone()) {
                let message = format!("a key has `name`, `sha256` and, if not all, `scopes`: {}", error.message());
                self.fault(&format!("/keys/{index}"), message, faults);
            }
        }
    }

    fn list(&self, field: &str) -> &[toml::Value] {
        self.table.get(field).and_then(toml::Value::as_array).map_or(&[], Vec::as_slice)
    }

    /// A text.
    pub(super) fn text(&self, field: &str) -> Option<String> {
        self.table.get(field).and_then(toml::Value::as_str).map(str::to_owned)
    }

    /// A path; relative ones count from the file's own folder.
    pub(super) fn path(&self, field: &str) -> Option<PathBuf> {
        let path = PathBuf::from(self.text(field)?);
        Some(Path::new(&self.name).parent().map_or_else(|| path.clone(), |folder| folder.join(&path)))
    }

    /// Whether a switch is on.
    pub(super) fn flag(&self, field: &str) -> bool {
        self.table.get(field).and_then(toml::Value::as_bool).unwrap_or(false)
    }

    /// A whole number, not under zero.
    pub(super) fn number(&self, field: &str, faults: &mut Vec<SettingsFault>) -> Option<u64> {
        let number = self.table.get(field)?.as_integer()?;
        if number < 0 {
            self.fault(&format!("/{field}"), format!("{field} must not be negative, but is {number}"), faults);
        }
        u64::try_from(number).ok()
    }

    /// The keys that can be read; the others were told when the file was read.
    pub(super) fn keys(&self) -> Vec<KeyEntry> {
        self.list("keys").iter().filter_map(|entry| KeyEntry::deserialize(entry.clone()).ok()).collect()
    }

    /// The thresholds of preflight: those built in, and over them what the table says.
    fn thresholds(&self, faults: &mut Vec<SettingsFault>) -> Thresholds {
        let mut thresholds = Thresholds::default();
        for (name, value) in self.table.get("preflight").and_then(toml::Value::as_table).into_iter().flatten() {
            let pointer = format!("/preflight/{name}");
            let Some(known) = Thresholds::ALL.iter().find(|threshold| threshold.name == name) else {
                let names: Vec<&str> = Thresholds::ALL.iter().map(|threshold| threshold.name).collect();
                self.fault(&pointer, format!("there is no threshold `{name}`; there are {}", names.join(", ")), faults);
                continue;
            };
            let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64));
            match number.filter(|number| (known.least..=known.most).contains(number)) {
                Some(number) => {
                    thresholds.set(name, number);
                }
                None => {
                    let message = format!("{name} must be a number from {} to {}", known.least, known.most);
                    self.fault(&pointer, message, faults);
                }
            }
        }
        if thresholds.resolution_reject_ppi > thresholds.resolution_caution_ppi {
            let message = "resolution_reject_ppi must not be over resolution_caution_ppi".to_owned();
            self.fault("/preflight/resolution_reject_ppi", message, faults);
        }
        thresholds
    }

    /// The stocks, with the thresholds of preflight.
    pub(super) fn stocks(&self, faults: &mut Vec<SettingsFault>) -> Configured {
        let stocks: Vec<Value> = self.list("stocks").iter().map(to_json).collect();
        let thresholds = self.thresholds(faults);
        match Configured::read(&stocks) {
            Ok(stocks) => stocks.with_thresholds(thresholds),
            Err(mistakes) => {
                for mistake in mistakes {
                    let pointer = mistake.pointer.as_str();
                    self.fault(pointer, format!("{pointer}: {}", mistake.message), faults);
                }
                Configured::default()
            }
        }
    }
}

/// TOML to JSON; dates, which no stock has, become text.
fn to_json(value: &toml::Value) -> Value {
    match value {
        toml::Value::String(text) => Value::from(text.as_str()),
        toml::Value::Integer(number) => Value::from(*number),
        toml::Value::Float(number) => Value::from(*number),
        toml::Value::Boolean(flag) => Value::from(*flag),
        toml::Value::Datetime(date) => Value::from(date.to_string()),
        toml::Value::Array(list) => list.iter().map(to_json).collect(),
        toml::Value::Table(table) => table.iter().map(|(key, value)| (key.clone(), to_json(value))).collect(),
    }
}

fn line_at(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|byte| *byte == b'\n').count() + 1
}

/// The line of the deepest value on the way of an RFC 6901 pointer that is there.
fn line_of(text: &str, pointer: &str) -> Option<usize> {
    let document = DeTable::parse(text).ok()?;
    let mut offset = None;
    let mut table = Some(document.get_ref());
    let mut array: Option<&toml::de::DeArray<'_>> = None;
    for step in pointer.split('/').skip(1) {
        let step = step.replace("~1", "/").replace("~0", "~");
        let found = match (table, array) {
            (Some(table), _) => table.iter().find(|(key, _)| key.get_ref().as_ref() == step).map(|(key, value)| {
                offset = Some(key.span().start);
                value.get_ref()
            }),
            (None, Some(array)) => step.parse().ok().and_then(|index: usize| array.get(index)).map(|value| {
                offset = Some(value.span().start);
                value.get_ref()
            }),
            (None, None) => None,
        };
        match found {
            Some(DeValue::Table(below)) => (table, array) = (Some(below), None),
            Some(DeValue::Array(below)) => (table, array) = (None, Some(below)),
            Some(_) => (table, array) = (None, None),
            None => break,
        }
    }
    offset.map(|offset| line_at(text, offset))
}

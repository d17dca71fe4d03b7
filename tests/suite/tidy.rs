//! House rules that the compiler does not hold.

use std::fs;
use std::path::{Path, PathBuf};

/// Stages in the order that data flows: one may use itself and those before it.
const STAGES: [&str; 12] = [
    "intake",
    "silhouette",
    "border",
    "cutline",
    "outline",
    "preflight",
    "sticker",
    "frame",
    "gang",
    "sheet",
    "output",
    "run",
];
/// What every stage may use, and what uses no stage.
const GROUND: [&str; 8] = ["cancel", "colour", "fault", "finding", "geom", "lettering", "order", "units"];
/// A file that needs more is two files.
const MOST_LINES: usize = 600;

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tests stand in a folder of the repository").to_owned()
}

/// Every file below a folder with one of these endings, sorted.
fn files(folder: &Path, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let entries = fs::read_dir(folder).expect("a folder of the repository can be read");
    for entry in entries {
        let path = entry.expect("an entry").path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default().to_owned();
        if path.is_dir() {
            if !name.starts_with('.') && name != "target" && name != "__pycache__" {
                found.extend(files(&path, endings));
            }
        } else if endings.iter().any(|ending| name.ends_with(ending)) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn our_files(endings: &[&str]) -> Vec<PathBuf> {
    let root = repository();
    ["service", "tests"].iter().flat_map(|room| files(&root.join(room), endings)).collect()
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).expect("a file of ours is UTF-8 text")
}

/// Lines of code before the tests, comments left out.
fn product_code(source: &str) -> impl Iterator<Item = &str> {
    let lines = source.lines().take_while(|line| line.trim() != "mod tests {");
    lines.filter(|line| !line.trim_start().starts_with("//"))
}

/// Modules of the crate that a line names: `crate::a::b` and `crate::{a::b, c}`.
fn modules_named(line: &str) -> Vec<String> {
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let mut named = Vec::new();
    for (at, _) in line.match_indices("crate::") {
        let rest = line.get(at + "crate::".len()..).unwrap_or_default();
        match rest.strip_prefix('{') {
            Some(list) => named.extend(list.split(',').map(|entry| word(entry.trim()))),
            None => named.push(word(rest)),
        }
    }
    named
}

#[test]
fn a_stage_uses_no_later_stage() {
    let source = repository().join("service/prepress/src");
    let place = |name: &str| STAGES.iter().position(|stage| *stage == name);
    let mut seen = 0;
    let mut broken = Vec::new();
    for path in files(&source, &[".rs"]) {
        let inside = path.strip_prefix(&source).expect("below the folder that was walked");
        let own = inside.components().next().expect("a file has a name").as_os_str().to_string_lossy().into_owned();
        let own = own.trim_end_matches(".rs").to_owned();
        if own == "lib" {
            continue;
        }
        assert!(place(&own).is_some() || GROUND.contains(&own.as_str()), "{own} has no place in the order of stages");
        for named in text(&path).lines().flat_map(modules_named) {
            seen += 1;
            let later = match (place(&own), place(&named)) {
                (Some(own), Some(other)) => other > own,
                (None, Some(_)) => true,
                (_, None) => false,
            };
            if later {
                broken.push(format!("{} uses {named}", inside.display()));
            }
        }
    }
    assert!(seen > 50, "the reading of `use` lines finds nothing: {seen}");
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
fn lib_lists_every_stage_in_the_order_of_the_flow() {
    let lib = text(&repository().join("service/prepress/src/lib.rs"));
    let listed: Vec<&str> = lib.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    let stages: Vec<&str> = listed.iter().copied().filter(|name| STAGES.contains(name)).collect();
    assert_eq!(stages, STAGES);
}

#[test]
fn the_craft_knows_no_http_disk_environment_or_clock() {
    let prepress = repository().join("service/prepress");
    let manifest = text(&prepress.join("Cargo.toml"));
    for name in ["actix", "axum", "hyper", "http", "reqwest", "tokio", "ureq", "warp"] {
        let named = manifest.lines().any(|line| line.trim_start().starts_with(name));
        assert!(!named, "prepress depends on {name}");
    }
    let outside = ["std::fs", "std::net", "std::env", "std::process", "std::{fs", "std::{env", "SystemTime", "Instant"];
    // Tests in files of their own may look at the clock.
    let product = |path: &PathBuf| path.file_name().is_some_and(|name| name != "tests.rs");
    for path in files(&prepress.join("src"), &[".rs"]).into_iter().filter(product) {
        for line in product_code(&text(&path)) {
            let found = outside.iter().find(|word| line.contains(**word));
            assert!(found.is_none(), "{}: {line}", path.display());
        }
    }
}

#[test]
fn files_are_short_enough_to_be_read_at_once() {
    for path in our_files(&[".rs", ".py", ".sh"]) {
        let lines = text(&path).lines().count();
        assert!(lines <= MOST_LINES, "{} has {lines} lines", path.display());
    }
}

#[test]
fn nothing_is_named_for_being_anything() {
    let vague = ["util", "utils", "common", "helper", "helpers", "types", "misc", "stuff"];
    for path in our_files(&[".rs", ".py"]) {
        let folder = path.parent().and_then(Path::file_name);
        for name in [path.file_stem(), folder].into_iter().flatten().filter_map(|name| name.to_str()) {
            assert!(!vague.contains(&name), "{}", path.display());
        }
    }
}

#[test]
fn nothing_is_left_unmade() {
    let marks = [concat!("unimplemented", "!("), concat!("todo", "!("), concat!("FIX", "ME"), concat!("XX", "X")];
    for path in our_files(&[".rs", ".py"]) {
        for line in text(&path).lines() {
            assert!(!marks.iter().any(|mark| line.contains(mark)), "{}: {line}", path.display());
        }
    }
}

#[test]
fn nothing_points_to_one_machine() {
    let places = [concat!("/wo", "rk/"), concat!("/ro", "ot/"), concat!("/ho", "me/"), concat!("/tm", "p/w")];
    for path in our_files(&[".rs", ".py", ".toml", ".json", ".md", "run"]) {
        for line in text(&path).lines() {
            assert!(!places.iter().any(|place| line.contains(place)), "{}: {line}", path.display());
        }
    }
}

//! A shop's folder with a job file and pictures, and what the binary makes of it.

use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use image::{ImageFormat, Rgba, RgbaImage};
use serde_json::{Value, json};
use tempfile::TempDir;

/// Where cargo puts the binary that is built beside this test: two folders up from the test's own file.
fn binary() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows its own path");
    let folder = test.parent().and_then(Path::parent).expect("tests stand in target/PROFILE/deps");
    let binary = folder.join(format!("quoin{}", std::env::consts::EXE_SUFFIX));
    assert!(binary.is_file(), "{} is missing: build the workspace first, in this profile", binary.display());
    binary
}

/// What a run of the binary left behind.
#[derive(Debug)]
pub(super) struct Ended {
    pub(super) code: i32,
    pub(super) stderr: String,
}

impl Ended {
    /// Refused with exit 1; stderr has a line with this code and this pointer.
    pub(super) fn assert_refused(&self, code: &str, pointer: &str) {
        assert_eq!(self.code, 1, "a broken job ends with exit 1\n{}", self.stderr);
        let told = self.stderr.lines().any(|line| line.contains(code) && line.contains(pointer));
        assert!(told, "no line with {code} and {pointer:?} in:\n{}", self.stderr);
    }

    /// Done with exit 0.
    pub(super) fn assert_done(&self) {
        assert_eq!(self.code, 0, "{}", self.stderr);
    }
}

/// What a question about one item was answered.
#[derive(Debug)]
pub(super) struct Asked {
    pub(super) ended: Ended,
    pub(super) stdout: Vec<u8>,
}

impl Asked {
    /// The JSON on stdout of a command that is done.
    pub(super) fn json(&self) -> Value {
        self.ended.assert_done();
        serde_json::from_slice(&self.stdout).expect("stdout is JSON")
    }
}

/// A folder of its own for each test, gone with it.
pub(super) struct Shop {
    folder: TempDir,
}

impl Shop {
    /// With `good.png` (a red disc of 600 px) and `leaf.png` (a green L-shape of 500 px) in it.
    pub(super) fn open() -> Shop {
        let shop = Shop { folder: tempfile::tempdir().expect("a temporary folder") };
        shop.keep("good.png", &png(&disc(600)));
        shop.keep("leaf.png", &png(&leaf(500)));
        shop
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(super) fn keep(&self, name: &str, bytes: &[u8]) {
        fs::write(self.path(name), bytes).expect("the temporary folder takes files");
    }

    /// The output folder of every run here.
    pub(super) fn out(&self) -> PathBuf {
        self.path("out")
    }

    /// Runs `quoin gang` on the text of a job.
    pub(super) fn gang_text(&self, job: &str) -> Ended {
        self.gang_with(job, &[], None)
    }

    /// Runs `quoin gang` on a job.
    pub(super) fn gang(&self, job: &Value) -> Ended {
        self.gang_text(&job.to_string())
    }

    /// Runs it with more arguments, or with a number of threads.
    pub(super) fn gang_with(&self, job: &str, arguments: &[&str], threads: Option<u32>) -> Ended {
        self.keep("job.json", job.as_bytes());
        let mut command = Command::new(binary());
        command.arg("gang").arg(self.path("job.json")).arg("--out").arg(self.out()).args(arguments);
        if let Some(threads) = threads {
            command.env("RAYON_NUM_THREADS", threads.to_string());
        }
        let Output { status, stderr, .. } = command.output().expect("the binary starts");
        Ended { code: status.code().unwrap_or(-1), stderr: String::from_utf8_lossy(&stderr).into_owned() }
    }

    /// Runs `quoin preflight`, `proof` or `estimate` on a request.
    pub(super) fn ask(&self, command: &str, request: &Value, arguments: &[&str]) -> Asked {
        self.keep("job.json", request.to_string().as_bytes());
        let mut started = Command::new(binary());
        started.current_dir(self.folder.path()).arg(command).arg("job.json").args(arguments);
        let Output { status, stdout, stderr } = started.output().expect("the binary starts");
        let stderr = String::from_utf8_lossy(&stderr).into_owned();
        Asked { ended: Ended { code: status.code().unwrap_or(-1), stderr }, stdout }
    }

    /// Nothing stands in the folder but what the test put there.
    pub(super) fn assert_nothing_written(&self, own: &[&str]) {
        let mut names: Vec<String> = fs::read_dir(self.folder.path())
            .expect("the folder is there")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .filter(|name| {
                !["good.png", "leaf.png", "job.json"].contains(&name.as_str()) && !own.contains(&name.as_str())
            })
            .collect();
        names.sort();
        assert!(names.is_empty(), "left behind: {names:?}");
    }

    /// Every file of the output by its path in the folder.
    pub(super) fn tree(&self) -> BTreeMap<String, Vec<u8>> {
        let mut tree = BTreeMap::new();
        collect(&self.out(), "", &mut tree);
        tree
    }

    /// The ticket.
    pub(super) fn ticket(&self) -> Value {
        let text = fs::read_to_string(self.out().join("ticket.json")).expect("a run writes its ticket");
        serde_json::from_str(&text).expect("the ticket is JSON")
    }
}

fn collect(folder: &Path, inside: &str, tree: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).expect("the run wrote a folder") {
        let entry = entry.expect("an entry");
        let name = format!("{inside}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            collect(&entry.path(), &format!("{name}/"), tree);
        } else {
            tree.insert(name, fs::read(entry.path()).expect("a file that was written can be read"));
        }
    }
}

/// A job of one order on a white A5 sheet.
pub(super) fn job(items: &Value) -> Value {
    json!({
        "run": "suite",
        "stocks": [{"stock": "white", "form": {"sheet": {"size": "iso_a5_148x210mm"}}}],
        "orders": [{"order": "1", "items": items}],
        "policy": {"effort": "draft"},
    })
}

/// One line of an order: a 40 mm sticker of a picture.
pub(super) fn item(name: &str, picture: &str, quantity: u32) -> Value {
    json!({"item": name, "art": {"file": picture}, "size": {"width_mm": 40}, "quantity": quantity})
}

/// A job that is right: one good sticker.
pub(super) fn good_job() -> Value {
    job(&json!([item("1", "good.png", 2)]))
}

/// The job with a value put at an RFC 6901 pointer; the last step may be new.
pub(super) fn with(mut job: Value, pointer: &str, value: Value) -> Value {
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer starts with a slash");
    let parent = job.pointer_mut(parent).expect("the job has the parent of what is put");
    if let Value::Object(fields) = parent {
        fields.insert(key.to_owned(), value);
    } else {
        *parent.get_mut(key.parse::<usize>().expect("an index")).expect("an element") = value;
    }
    job
}

pub(super) fn png(picture: &RgbaImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).expect("a picture in memory is written");
    bytes.into_inner()
}

/// A red disc on a transparent ground.
pub(super) fn disc(side: u32) -> RgbaImage {
    let radius = f64::from(side) / 2.0 - 2.0;
    RgbaImage::from_fn(side, side, |x, y| {
        let middle = f64::from(side) / 2.0;
        let far = (f64::from(x) + 0.5 - middle).hypot(f64::from(y) + 0.5 - middle);
        let alpha = ((radius - far + 0.5).clamp(0.0, 1.0) * 255.0).round();
        Rgba([200, 30, 30, alpha as u8])
    })
}

/// A green L on a transparent ground.
fn leaf(side: u32) -> RgbaImage {
    RgbaImage::from_fn(side, side, |x, y| {
        let inside = x > 4 && y < side - 4 && y > 4 && x < side - 4 && (x < side / 3 || y > side * 2 / 3);
        Rgba([30, 120, 60, if inside { 255 } else { 0 }])
    })
}

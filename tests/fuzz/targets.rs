//! What is thrown at, and what is promised.

use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::time::Duration;
use std::{fs, io, panic};

use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use image::{ImageFormat, RgbaImage};
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::{self, Drawing, Limits, Scale};
use serde_json::{Value, json};
use tiff::encoder::{TiffEncoder, colortype};

use super::service::Service;

/// Says whether one input broke a promise, and which.
pub(crate) type Check = Box<dyn FnMut(&[u8]) -> Result<(), String>>;

/// A parser of hostile input.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Sound input.
    pub(crate) seeds: fn() -> io::Result<Vec<Vec<u8>>>,
    /// Gets ready.
    pub(crate) start: fn() -> io::Result<Check>,
    /// Words of the format.
    pub(crate) words: &'static [&'static [u8]],
}

pub(crate) const TARGETS: &[Target] = &[
    Target {
        name: "picture",
        seeds: picture_seeds,
        start: || Ok(Box::new(check_picture)),
        words: &[
            b"IHDR",
            b"IDAT",
            b"PLTE",
            b"tRNS",
            b"iCCP",
            b"eXIf",
            b"acTL",
            b"fcTL",
            b"zTXtRaw profile type exif\0\0",
            b"\xFF\xC0",
            b"\xFF\xC2",
            b"\xFF\xDA",
            b"\xFF\xEE\0\x0EAdobe",
            b"\xFF\xE1\0\x20Exif\0\0",
            b"VP8X",
            b"ANMF",
            b"ALPH",
            b"II*\0",
            b"MM\0*",
            b"GIF89a",
            b"\x21\xF9\x04",
            b"BM",
        ],
    },
    Target {
        name: "drawing",
        seeds: drawing_seeds,
        start: || Ok(Box::new(check_drawing)),
        words: &[
            b"<g>",
            b"</g>",
            b"<use href=\"#a\"/>",
            b"<svg>",
            b"<!DOCTYPE svg [",
            b"<!ENTITY a \"b\">",
            b"&a;",
            b"<filter id=\"a\"><feTurbulence numOctaves=\"99\"/></filter>",
            b" filter=\"url(#a)\"",
            b" mask=\"url(#a)\"",
            b" width=\"1e9\"",
            b" viewBox=\"0 0 NaN 0\"",
            b" transform=\"scale(1e30)\"",
            b"<![CDATA[",
            b"<!--",
            b"-->",
            b"<image href=\"data:image/png;base64,\"/>",
            b"<text>",
            b" id=\"a\"",
            b"<pattern id=\"a\">",
        ],
    },
    Target {
        name: "job",
        seeds: job_seeds,
        start: || Service::start().map(Service::into_job_check),
        words: JSON_WORDS,
    },
    Target {
        name: "multipart",
        seeds: || job_seeds().map(|jobs| jobs.iter().map(|job| Service::multipart(job)).collect()),
        start: || Service::start().map(Service::into_body_check),
        words: &[
            b"\r\n--b\r\n",
            b"--b--",
            b"\r\n\r\n",
            b"Content-Disposition: form-data; name=\"job\"\r\n",
            b"; filename=\"a\"",
            b"Content-Type: application/json\r\n",
            b"Content-Transfer-Encoding: base64\r\n",
            b"; name*=utf-8''job",
            b"\0",
            b"name=\"\"",
        ],
    },
];

const JSON_WORDS: &[&[u8]] = &[
    b"null",
    b"true",
    b"[",
    b"]",
    b"{",
    b"}",
    b"\"item\":",
    b"\"size\":",
    b"\"base64\":",
    b"\"part\":",
    b"1e999",
    b"-0",
    b"NaN",
    b"\\ud800",
    b"1e-320",
    b"[[[[[[[[",
    b"\"outline\":{\"shape\":\"circle\"}",
    b"\"width_mm\":",
    b"\"\"",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every small file of a folder and those below it, in the order of their names.
fn files(folder: &Path, endings: &[&str]) -> io::Result<Vec<Vec<u8>>> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path())).collect::<Result<_, _>>()?;
    paths.sort();
    let mut found = Vec::new();
    for path in paths {
        if path.is_dir() {
            found.extend(files(&path, endings)?);
            continue;
        }
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
        if endings.contains(&ending) && path.metadata()?.len() < 80 << 10 {
            found.push(fs::read(&path)?);
        }
    }
    Ok(found)
}

/// The small ones of the project's pictures, and one of each kind of which it has none that is small.
fn picture_seeds() -> io::Result<Vec<Vec<u8>>> {
    let mut seeds = files(&root().join("tests/fixtures/art"), &["png", "jpg", "webp", "gif", "tif"])?;
    let shade = |x: u32, y: u32| (x * 5 + y * 3) as u8;
    let mut bmp = Cursor::new(Vec::new());
    let picture = RgbaImage::from_fn(40, 36, |x, y| image::Rgba([shade(x, y), shade(y, x), 90, shade(x, x)]));
    picture.write_to(&mut bmp, ImageFormat::Bmp).map_err(io::Error::other)?;
    let bytes: Vec<u8> = picture.pixels().flat_map(|pixel| pixel.0).collect();
    let words: Vec<u16> = picture.pixels().flat_map(|pixel| [0, 1, 2].map(|at| u16::from(pixel.0[at]) * 257)).collect();
    let (mut inks, mut deep) = (Cursor::new(Vec::new()), Cursor::new(Vec::new()));
    let encoder = |file| TiffEncoder::new(file).map_err(io::Error::other);
    encoder(&mut inks)?.write_image::<colortype::CMYK8>(40, 36, &bytes).map_err(io::Error::other)?;
    encoder(&mut deep)?.write_image::<colortype::RGB16>(40, 36, &words).map_err(io::Error::other)?;
    seeds.extend([bmp, inks, deep].map(Cursor::into_inner));
    Ok(seeds)
}

fn drawing_seeds() -> io::Result<Vec<Vec<u8>>> {
    files(&root().join("tests/fixtures/art"), &["svg", "svgz"])
}

/// Small enough that a thousand pictures a second can be tried.
fn limits() -> Limits {
    Limits { max_pixels: 1_000_000, max_decoded_bytes: 8_000_000, max_drawing_bytes: 1 << 20, ..Limits::default() }
}

fn check_picture(input: &[u8]) -> Result<(), String> {
    if intake::is_drawing(input) {
        return Ok(());
    }
    let opened = panic::catch_unwind(|| intake::open(input, 256, &limits())).map_err(|_| "it panicked".to_owned())?;
    match opened {
        Ok(art) if u64::from(art.pixels.width()) * u64::from(art.pixels.height()) > limits().max_pixels => {
            Err("it is larger than the limit".to_owned())
        }
        Ok(_) => Ok(()),
        Err(fault) => is_of_art(&fault),
    }
}

fn check_drawing(input: &[u8]) -> Result<(), String> {
    let drawing = Drawing { bytes: input, scale: Scale::whole(256), limits: &limits(), spent: Duration::ZERO };
    match panic::catch_unwind(|| intake::render(&drawing)).map_err(|_| "it panicked".to_owned())? {
        Ok(_) => Ok(()),
        Err(fault) => is_of_art(&fault),
    }
}

fn is_of_art(fault: &Fault) -> Result<(), String> {
    let finding = fault.finding().filter(|_| fault.code().starts_with("art."));
    let Some(finding) = finding else { return Err(format!("it is no fault of a picture: {fault}")) };
    let is_number = |value: Option<f64>| value.is_none_or(f64::is_finite);
    if is_number(finding.measured) && is_number(finding.limit) {
        Ok(())
    } else {
        Err("a measure is no number".to_owned())
    }
}

/// The demo's jobs with one small picture for every art: over HTTP nothing else gets past the door.
fn job_seeds() -> io::Result<Vec<Vec<u8>>> {
    let demo = root().join("service/demo");
    let picture = fs::read(root().join("tests/fixtures/art/formats/pngsuite/basn6a08.png"))?;
    let art = json!({ "base64": BASE64.encode(picture) });
    let seed = |name: &&str| {
        let mut job: Value = serde_json::from_slice(&fs::read(demo.join(name))?)?;
        replace_art(&mut job, &art);
        Ok(serde_json::to_vec(&job)?)
    };
    ["preflight.json", "estimate.json", "proof.json", "evening.json"].iter().map(seed).collect()
}

fn replace_art(value: &mut Value, art: &Value) {
    match value {
        Value::Object(fields) if fields.contains_key("file") => *value = art.clone(),
        Value::Object(fields) => fields.values_mut().for_each(|inner| replace_art(inner, art)),
        Value::Array(values) => values.iter_mut().for_each(|inner| replace_art(inner, art)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

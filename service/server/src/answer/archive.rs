//! The files of a run as one answer: an archive, or JSON with the files in base64.
//!
//! Written to a temporary file first and hashed, so that memory does not grow with the night and the digest stands in the
//! header. The same run gives the same bytes: entries stand in a fixed order and carry a fixed time.

use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::task::{Context, Poll};
use std::time::Duration;

use actix_web::HttpResponse;
use actix_web::body::SizedStream;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, HeaderName};
use actix_web::web::Bytes;
use base64::engine::general_purpose::STANDARD;
use base64::write::EncoderWriter;
use futures_util::Stream;
use quoin_prepress::fault::Fault;
use quoin_prepress::output::ticket::Ticket;
use quoin_prepress::run::Store;
use sha2::{Digest, Sha256};
use tempfile::TempDir;
use tokio_util::io::ReaderStream;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::digest::content_digest;
use crate::gate::Place;

/// Time to begin reading an answer.
const SENDING_BEGINS: Duration = Duration::from_secs(60);

/// Who reads slower than this on the whole does not read.
const SLOWEST_BYTES_PER_S: u64 = 64 << 10;

/// Bytes sent at a time.
const CHUNK_BYTES: usize = 64 << 10;

/// How a run's files are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ArchiveKind {
    /// `application/zip`
    Zip,
    /// `application/json`
    Json,
}

impl ArchiveKind {
    /// Media types, in the order of the kinds.
    pub(crate) const MEDIA_TYPES: &'static [&'static str] = &["application/zip", super::JSON];

    /// The kind of a media type; an archive for any other.
    pub(crate) fn of(media_type: &str) -> ArchiveKind {
        if media_type == super::JSON { ArchiveKind::Json } else { ArchiveKind::Zip }
    }

    fn media_type(self) -> &'static str {
        match self {
            ArchiveKind::Zip => "application/zip",
            ArchiveKind::Json => super::JSON,
        }
    }
}

/// A folder that a run's files go to before they are packed.
#[derive(Debug)]
pub(crate) struct Staging {
    folder: TempDir,
}

impl Staging {
    /// An empty folder.
    ///
    /// # Errors
    /// `run.store_failed`
    pub(crate) fn new(parent: &Path) -> Result<Staging, Fault> {
        let folder = tempfile::tempdir_in(parent);
        folder.map(|folder| Staging { folder }).map_err(|source| failed("a folder for the run", source))
    }
}

impl Store for Staging {
    fn put(&self, path: &str, bytes: &[u8]) -> io::Result<()> {
        let path = self.folder.path().join(path);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(path, bytes)
    }
}

/// A finished answer in a temporary file.
#[derive(Debug)]
pub(crate) struct Archive {
    file: File,
    bytes: u64,
    sha256: [u8; 32],
    kind: ArchiveKind,
    run: String,
}

impl Archive {
    /// Packs a run.
    ///
    /// # Errors
    /// `run.store_failed`, `output.broken`.
    pub(crate) fn pack(ticket: &Ticket, staging: &Staging, kind: ArchiveKind, parent: &Path) -> Result<Archive, Fault> {
        let made = (|| {
            let mut file = tempfile::tempfile_in(parent)?;
            match kind {
                ArchiveKind::Zip => write_zip(&mut file, ticket, staging)?,
                ArchiveKind::Json => write_json(&mut file, ticket, staging)?,
            }
            let (bytes, sha256) = hash(&mut file)?;
            Ok(Archive { file, bytes, sha256, kind, run: ticket.run.clone() })
        })();
        made.map_err(|source| failed("the archive", source))
    }

    /// Sends it. Its place in the queue is given back when it is sent, its client has left, or it took too long: whoever does
    /// not read what was asked for keeps others out, but not for ever.
    pub(crate) fn respond(self, place: Place) -> HttpResponse {
        let deadline = SENDING_BEGINS + Duration::from_secs(self.bytes / SLOWEST_BYTES_PER_S);
        let file = ReaderStream::with_capacity(tokio::fs::File::from_std(self.file), CHUNK_BYTES);
        let outgoing = Arc::new(Mutex::new(Some(Outgoing { file, _place: place })));
        give_up_after(deadline, Arc::downgrade(&outgoing));
        let mut response = HttpResponse::Ok();
        response
            .content_type(self.kind.media_type())
            .insert_header((HeaderName::from_static("content-digest"), content_digest(&self.sha256)))
            .insert_header((CACHE_CONTROL, "no-store"));
        if self.kind == ArchiveKind::Zip {
            // The run's name is of characters that need no quoting.
            response.insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{}.zip\"", self.run)));
        }
        response.body(SizedStream::new(self.bytes, Sending(outgoing)))
    }
}

/// A file on its way out.
struct Outgoing {
    file: ReaderStream<tokio::fs::File>,
    _place: Place,
}

/// The bytes of a file on its way out, as long as it is.
struct Sending(Arc<Mutex<Option<Outgoing>>>);

impl Stream for Sending {
    type Item = io::Result<Bytes>;

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<io::Result<Bytes>>> {
        let mut outgoing = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match outgoing.as_mut() {
            Some(outgoing) => Pin::new(&mut outgoing.file).poll_next(context),
            None => Poll::Ready(Some(Err(io::Error::new(io::ErrorKind::TimedOut, "read too slowly")))),
        }
    }
}

/// Lets go of a file that is not sent by then. A client that reads nothing never asks for more, so a clock must do it.
fn give_up_after(deadline: Duration, outgoing: Weak<Mutex<Option<Outgoing>>>) {
    actix_web::rt::spawn(async move {
        actix_web::rt::time::sleep(deadline).await;
        if let Some(outgoing) = outgoing.upgrade() {
            outgoing.lock().unwrap_or_else(PoisonError::into_inner).take();
        }
    });
}

fn failed(path: &str, source: io::Error) -> Fault {
    Fault::StoreFailed { path: path.to_owned(), source }
}

/// Every file of a run: the ticket, then the run's own, then sheet by sheet.
fn paths(ticket: &Ticket) -> impl Iterator<Item = &str> {
    let of_sheets = ticket.sheets.iter().flat_map(|sheet| &sheet.files);
    let files = ticket.files.iter().chain(of_sheets).map(|file| file.path.as_str());
    std::iter::once("ticket.json").chain(files)
}

fn in_staging(staging: &Staging, path: &str) -> PathBuf {
    staging.folder.path().join(path)
}

fn write_zip(file: &mut File, ticket: &Ticket, staging: &Staging) -> io::Result<()> {
    let mut zip = ZipWriter::new(BufWriter::new(file));
    // The earliest time that the format can say: nothing of the clock gets into the bytes.
    let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default()).unix_permissions(0o644);
    for path in paths(ticket) {
        // Pictures and documents of pictures are compressed already.
        let packed = path.ends_with(".png") || path.ends_with(".pdf");
        let method = if packed { CompressionMethod::Stored } else { CompressionMethod::Deflated };
        zip.start_file(path, options.compression_method(method))?;
        io::copy(&mut File::open(in_staging(staging, path))?, &mut zip)?;
    }
    zip.finish()?.flush()
}

/// `{"ticket", "files": [{"path", "base64"}]}`
fn write_json(file: &mut File, ticket: &Ticket, staging: &Staging) -> io::Result<()> {
    let mut writer = BufWriter::new(file);
    writer.write_all(b"{\"ticket\":")?;
    serde_json::to_writer(&mut writer, ticket)?;
    writer.write_all(b",\"files\":[")?;
    for (index, path) in paths(ticket).enumerate() {
        writer.write_all(if index == 0 { b"\n{\"path\":" } else { b",\n{\"path\":" })?;
        serde_json::to_writer(&mut writer, path)?;
        writer.write_all(b",\"base64\":\"")?;
        let mut encoder = EncoderWriter::new(&mut writer, &STANDARD);
        io::copy(&mut File::open(in_staging(staging, path))?, &mut encoder)?;
        encoder.finish()?;
        drop(encoder);
        writer.write_all(b"\"}")?;
    }
    writer.write_all(b"\n]}\n")?;
    writer.flush()
}

/// Length and SHA-256 of a file, which is then at its start again.
fn hash(file: &mut File) -> io::Result<(u64, [u8; 32])> {
    file.seek(SeekFrom::Start(0))?;
    let (mut hash, mut bytes) = (Sha256::new(), 0_u64);
    let mut buffer = vec![0; CHUNK_BYTES];
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            break;
        }
        hash.update(&buffer[..read]);
        bytes += read as u64;
    }
    file.seek(SeekFrom::Start(0))?;
    Ok((bytes, hash.finalize().into()))
}

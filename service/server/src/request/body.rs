//! Takes a request's body in, all of it into one temporary file: what waits for a worker must not fill the memory.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;

use actix_multipart::{Field, Multipart, MultipartError};
use actix_web::HttpRequest;
use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::http::header::{self, HeaderMap};
use actix_web::web::Bytes;
use futures_util::{Stream, StreamExt, TryStreamExt};
use quoin_prepress::order::ArtInput;
use sha2::{Digest, Sha256};
use tokio::fs::File;
use tokio::io::AsyncWriteExt;

use super::art::{Parts, Spool, Stretch};
use crate::problem::Problem;
use crate::settings::{BodyLimits, Settings};

/// The name of the part that holds the job.
const JOB_PART: &str = "job";

/// A body that is here.
pub(super) struct Body {
    /// The job, not parsed yet.
    pub(super) job: Stretch,
    /// Everything else.
    pub(super) parts: Parts,
}

/// Takes the body in, within its limits.
pub(super) async fn receive(request: &HttpRequest, payload: Payload, settings: &Settings) -> Result<Body, Problem> {
    let limits = settings.body;
    let too_slow = Problem::BodyTooSlow { deadline_s: limits.deadline.as_secs() };
    let receiving = receive_in_time(request.headers(), payload, settings);
    tokio::time::timeout(limits.deadline, receiving).await.map_err(|_| too_slow)?
}

async fn receive_in_time(headers: &HeaderMap, payload: Payload, settings: &Settings) -> Result<Body, Problem> {
    let limits = settings.body;
    let coding = headers.get(header::CONTENT_ENCODING);
    if coding.is_some_and(|coding| !coding.as_bytes().eq_ignore_ascii_case(b"identity")) {
        return Err(Problem::UnsupportedCoding);
    }
    let media_type = media_type_of(headers)?;
    let length = headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|length| length > limits.max_bytes) {
        return Err(too_large(&limits));
    }
    let taken = Taken { bytes: Rc::default(), most: limits.max_bytes };
    let bytes = taken.counting(payload);
    let pages = Pages::new(&settings.temporary_folder)?;
    let receiver = Receiver { limits, picture_bytes: settings.picture.max_bytes, taken, pages };
    match media_type {
        MediaType::Json => receiver.receive_json(bytes).await,
        MediaType::Multipart => receiver.receive(Multipart::new(headers, bytes)).await,
    }
}

/// The temporary file while it is written.
struct Pages {
    file: File,
    end: u64,
}

impl Pages {
    fn new(folder: &Path) -> Result<Pages, Problem> {
        let file = tempfile::tempfile_in(folder).map_err(Problem::System)?;
        Ok(Pages { file: File::from_std(file), end: 0 })
    }

    async fn write(&mut self, bytes: &[u8]) -> Result<(), Problem> {
        self.end += bytes.len() as u64;
        self.file.write_all(bytes).await.map_err(Problem::System)
    }

    /// Everything written, to be read.
    async fn spool(mut self) -> Result<Arc<Spool>, Problem> {
        self.file.flush().await.map_err(Problem::System)?;
        Ok(Spool::new(self.file.into_std().await))
    }
}

/// Bytes of the body so far.
#[derive(Clone)]
struct Taken {
    bytes: Rc<Cell<u64>>,
    most: u64,
}

impl Taken {
    /// The payload, which fails once it has more than the limit.
    fn counting(&self, payload: Payload) -> impl Stream<Item = Result<Bytes, PayloadError>> + Unpin + 'static {
        let taken = self.clone();
        payload.map(move |chunk| {
            let chunk = chunk?;
            taken.bytes.set(taken.bytes.get() + chunk.len() as u64);
            if taken.is_over() { Err(PayloadError::Overflow) } else { Ok(chunk) }
        })
    }

    fn is_over(&self) -> bool {
        self.bytes.get() > self.most
    }
}

fn too_large(limits: &BodyLimits) -> Problem {
    Problem::BodyTooLarge { limit_bytes: limits.max_bytes, what: "A body" }
}

enum MediaType {
    Json,
    Multipart,
}

fn media_type_of(headers: &HeaderMap) -> Result<MediaType, Problem> {
    let Some(field) = headers.get(header::CONTENT_TYPE) else {
        return Err(Problem::UnsupportedMediaType { detail: "The request does not say what its body is.".to_owned() });
    };
    let text = field.to_str().unwrap_or_default();
    let essence = text.split(';').next().unwrap_or_default().trim();
    if essence.eq_ignore_ascii_case("application/json") {
        return Ok(MediaType::Json);
    }
    if essence.eq_ignore_ascii_case("multipart/form-data") {
        return Ok(MediaType::Multipart);
    }
    let detail = format!("A body is multipart/form-data or application/json, not {essence:?}.");
    Err(Problem::UnsupportedMediaType { detail })
}

/// Takes a body in.
struct Receiver {
    limits: BodyLimits,
    picture_bytes: u64,
    taken: Taken,
    pages: Pages,
}

/// Where a part stands in the temporary file.
struct Kept {
    name: String,
    from: u64,
    bytes: u64,
    /// `None` for one that is too large, which was read to its end but not kept.
    sha256: Option<[u8; 32]>,
}

impl Receiver {
    async fn receive_json(
        mut self,
        mut bytes: impl Stream<Item = Result<Bytes, PayloadError>> + Unpin,
    ) -> Result<Body, Problem> {
        while let Some(chunk) = bytes.next().await {
            let chunk = chunk.map_err(|error| self.of_payload(&error))?;
            self.write_job(0, &chunk).await?;
        }
        let bytes = self.pages.end;
        Ok(Body { job: Stretch::new(&self.pages.spool().await?, 0, bytes), parts: Parts::default() })
    }

    async fn receive(mut self, mut multipart: Multipart) -> Result<Body, Problem> {
        let (mut job, mut kept, mut names) = (None, Vec::new(), BTreeSet::new());
        let mut doubled = BTreeSet::new();
        let mut count = 0_usize;
        while let Some(field) = multipart.try_next().await.map_err(|error| self.of_multipart(error))? {
            count += 1;
            if count > self.limits.max_parts {
                return Err(Problem::TooManyParts { limit: self.limits.max_parts });
            }
            let name = field.name().unwrap_or_default().to_owned();
            if !names.insert(name.clone()) {
                doubled.insert(name);
                self.skip(field).await?;
            } else if name == JOB_PART {
                job = Some(self.keep_job(field).await?);
            } else {
                kept.push(self.keep(name, field).await?);
            }
        }
        let (from, bytes) = job.ok_or(Problem::NoJobPart)?;
        let limit_bytes = self.picture_bytes;
        let spool = self.pages.spool().await?;
        let mut parts = Parts { doubled, ..Parts::default() };
        for part in kept {
            let art = match part.sha256 {
                None => ArtInput::OverLimit { bytes: part.bytes, limit_bytes },
                Some(sha256) => {
                    let file = Arc::new(Stretch::new(&spool, part.from, part.bytes));
                    parts.files.insert(sha256, Arc::clone(&file));
                    ArtInput::Stored { sha256, bytes: part.bytes, file }
                }
            };
            parts.by_name.insert(part.name, art);
        }
        Ok(Body { job: Stretch::new(&spool, from, bytes), parts })
    }

    async fn keep_job(&mut self, mut field: Field) -> Result<(u64, u64), Problem> {
        let is_json = field.content_type().is_some_and(|kind| kind.essence_str() == "application/json");
        if !is_json {
            let said = field.content_type().map_or("nothing".to_owned(), ToString::to_string);
            let detail = format!("The part `job` must say Content-Type: application/json; it says {said}.");
            return Err(Problem::UnsupportedMediaType { detail });
        }
        let from = self.pages.end;
        while let Some(chunk) = self.next_chunk(&mut field).await? {
            self.write_job(from, &chunk).await?;
        }
        Ok((from, self.pages.end - from))
    }

    async fn write_job(&mut self, from: u64, chunk: &[u8]) -> Result<(), Problem> {
        if self.pages.end - from + chunk.len() as u64 > self.limits.max_job_bytes {
            return Err(Problem::BodyTooLarge { limit_bytes: self.limits.max_job_bytes, what: "The JSON of a job" });
        }
        self.pages.write(chunk).await
    }

    async fn skip(&self, mut field: Field) -> Result<(), Problem> {
        while self.next_chunk(&mut field).await?.is_some() {}
        Ok(())
    }

    async fn next_chunk(&self, field: &mut Field) -> Result<Option<Bytes>, Problem> {
        field.try_next().await.map_err(|error| self.of_multipart(error))
    }

    /// Writes a picture down. One that is too large is read to its end, but no further kept: what is wrong with it is said in
    /// the report.
    async fn keep(&mut self, name: String, mut field: Field) -> Result<Kept, Problem> {
        let (from, mut hash, mut bytes) = (self.pages.end, Sha256::new(), 0_u64);
        while let Some(chunk) = self.next_chunk(&mut field).await? {
            bytes += chunk.len() as u64;
            if bytes <= self.picture_bytes {
                hash.update(&chunk);
                self.pages.write(&chunk).await?;
            }
        }
        let sha256 = (bytes <= self.picture_bytes).then(|| hash.finalize().into());
        Ok(Kept { name, from, bytes, sha256 })
    }

    fn of_payload(&self, error: &PayloadError) -> Problem {
        // The multipart reader calls a part's head that is too long by the same name.
        if matches!(error, PayloadError::Overflow) && self.taken.is_over() {
            return too_large(&self.limits);
        }
        Problem::BrokenBody { reason: format!("The body ends too early or is broken: {error}.") }
    }

    fn of_multipart(&self, error: MultipartError) -> Problem {
        if let MultipartError::Payload(error) = error {
            return self.of_payload(&error);
        }
        Problem::BrokenBody { reason: format!("The multipart body cannot be taken apart: {error}.") }
    }
}

//! Takes a request's body in: the job's JSON into memory, pictures into temporary files.

use std::cell::Cell;
use std::collections::btree_map::Entry;
use std::io;
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
use tokio::io::AsyncWriteExt;

use super::art::{PartFile, Parts};
use crate::problem::Problem;
use crate::settings::{BodyLimits, Settings};

/// The name of the part that holds the job.
const JOB_PART: &str = "job";

/// A body that is here.
pub(super) struct Body {
    /// The job, not parsed yet.
    pub(super) job: Vec<u8>,
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
    let coded = headers.get(header::CONTENT_ENCODING).is_some_and(|coding| coding.as_bytes() != b"identity");
    if coded {
        return Err(Problem::UnsupportedCoding);
    }
    let media_type = media_type_of(headers)?;
    let length = headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|length| length > limits.max_bytes) {
        return Err(too_large(&limits));
    }
    let bytes = counted(payload, limits.max_bytes);
    match media_type {
        MediaType::Json => {
            let job = read_json(bytes, &limits).await?;
            Ok(Body { job, parts: Parts::default() })
        }
        MediaType::Multipart => {
            let folder = settings.temporary_folder.as_deref();
            let receiver = Receiver { limits, picture_bytes: settings.picture.max_bytes, folder };
            receiver.receive(Multipart::new(headers, bytes)).await
        }
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

/// The payload, which fails once it has more than so many bytes.
fn counted(payload: Payload, max_bytes: u64) -> impl Stream<Item = Result<Bytes, PayloadError>> + Unpin + 'static {
    let taken = Rc::new(Cell::new(0_u64));
    payload.map(move |chunk| {
        let chunk = chunk?;
        taken.set(taken.get() + chunk.len() as u64);
        if taken.get() > max_bytes { Err(PayloadError::Overflow) } else { Ok(chunk) }
    })
}

fn of_payload(error: &PayloadError, limits: &BodyLimits) -> Problem {
    if matches!(error, PayloadError::Overflow) {
        return too_large(limits);
    }
    Problem::BrokenBody { reason: format!("The body ends too early or is broken: {error}.") }
}

async fn read_json(
    mut bytes: impl Stream<Item = Result<Bytes, PayloadError>> + Unpin,
    limits: &BodyLimits,
) -> Result<Vec<u8>, Problem> {
    let mut job = Vec::new();
    while let Some(chunk) = bytes.next().await {
        append_job(&mut job, &chunk.map_err(|error| of_payload(&error, limits))?, limits)?;
    }
    Ok(job)
}

fn append_job(job: &mut Vec<u8>, chunk: &[u8], limits: &BodyLimits) -> Result<(), Problem> {
    job.extend_from_slice(chunk);
    if job.len() as u64 > limits.max_job_bytes {
        return Err(Problem::BodyTooLarge { limit_bytes: limits.max_job_bytes, what: "The JSON of a job" });
    }
    Ok(())
}

/// Takes a multipart body apart.
struct Receiver<'a> {
    limits: BodyLimits,
    picture_bytes: u64,
    folder: Option<&'a Path>,
}

impl Receiver<'_> {
    async fn receive(&self, mut multipart: Multipart) -> Result<Body, Problem> {
        let (mut job, mut parts, mut count) = (None, Parts::default(), 0_usize);
        while let Some(field) = multipart.try_next().await.map_err(|error| self.of_multipart(error))? {
            count += 1;
            if count > self.limits.max_parts {
                return Err(Problem::TooManyParts { limit: self.limits.max_parts });
            }
            let name = field.name().unwrap_or_default().to_owned();
            if name != JOB_PART {
                self.keep(name, field, &mut parts).await?;
            } else if job.is_none() {
                job = Some(self.read_job(field).await?);
            } else {
                parts.doubled.insert(name);
                self.skip(field).await?;
            }
        }
        let job = job.ok_or(Problem::NoJobPart)?;
        Ok(Body { job, parts })
    }

    async fn read_job(&self, mut field: Field) -> Result<Vec<u8>, Problem> {
        let is_json = field.content_type().is_some_and(|kind| kind.essence_str() == "application/json");
        if !is_json {
            let said = field.content_type().map_or("nothing".to_owned(), ToString::to_string);
            let detail = format!("The part `job` must say Content-Type: application/json; it says {said}.");
            return Err(Problem::UnsupportedMediaType { detail });
        }
        let mut job = Vec::new();
        while let Some(chunk) = self.next_chunk(&mut field).await? {
            append_job(&mut job, &chunk, &self.limits)?;
        }
        Ok(job)
    }

    async fn skip(&self, mut field: Field) -> Result<(), Problem> {
        while self.next_chunk(&mut field).await?.is_some() {}
        Ok(())
    }

    async fn next_chunk(&self, field: &mut Field) -> Result<Option<Bytes>, Problem> {
        field.try_next().await.map_err(|error| self.of_multipart(error))
    }

    /// Writes a picture to a temporary file. One that is too large is read to its end, but not kept: what is wrong with it
    /// is said in the report.
    async fn keep(&self, name: String, mut field: Field, parts: &mut Parts) -> Result<(), Problem> {
        let Entry::Vacant(entry) = parts.by_name.entry(name.clone()) else {
            parts.doubled.insert(name);
            return self.skip(field).await;
        };
        let mut file = tokio::fs::File::from_std(temporary_file(self.folder).map_err(Problem::System)?);
        let (mut hash, mut bytes) = (Sha256::new(), 0_u64);
        while let Some(chunk) = self.next_chunk(&mut field).await? {
            bytes += chunk.len() as u64;
            if bytes <= self.picture_bytes {
                hash.update(&chunk);
                file.write_all(&chunk).await.map_err(Problem::System)?;
            }
        }
        if bytes > self.picture_bytes {
            entry.insert(ArtInput::OverLimit { bytes, limit_bytes: self.picture_bytes });
            return Ok(());
        }
        file.flush().await.map_err(Problem::System)?;
        let sha256: [u8; 32] = hash.finalize().into();
        let file = Arc::new(PartFile::new(file.into_std().await, bytes));
        entry.insert(ArtInput::Stored { sha256, bytes, file: Arc::clone(&file) as _ });
        parts.files.insert(sha256, file);
        Ok(())
    }

    fn of_multipart(&self, error: MultipartError) -> Problem {
        if let MultipartError::Payload(error) = error {
            return of_payload(&error, &self.limits);
        }
        Problem::BrokenBody { reason: format!("The multipart body cannot be taken apart: {error}.") }
    }
}

/// A file without a name.
fn temporary_file(folder: Option<&Path>) -> io::Result<std::fs::File> {
    match folder {
        Some(folder) => tempfile::tempfile_in(folder),
        None => tempfile::tempfile(),
    }
}

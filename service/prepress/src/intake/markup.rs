//! A drawing's markup, looked at before any parser: unpacked within a limit, without document type, not too deep.

use std::borrow::Cow;

use flate2::read::MultiGzDecoder;

use super::kind::{Kind, recognise};
use super::limits::{inflated, within};
use super::samples::unreadable;
use crate::fault::Fault;

/// Elements within elements. Real drawings stay under 40; each level costs stack. Common practice, no source.
const MAX_NESTING: usize = 200;

/// The text of an SVG or svgz, inflated no further than the limit.
pub(super) fn unpacked(bytes: &[u8], limit_bytes: u64) -> Result<Cow<'_, str>, Fault> {
    let bytes = if recognise(bytes) == Kind::Gzip {
        let plain = inflated(MultiGzDecoder::new(bytes), limit_bytes)?;
        let plain = plain.ok_or_else(|| unreadable("the compressed drawing is damaged"))?;
        if recognise(&plain) != Kind::Svg {
            return Err(Fault::ArtUnsupported { kind: "gzip file that holds no SVG".to_owned() });
        }
        Cow::Owned(plain)
    } else {
        within(bytes.len() as u64, limit_bytes, "bytes")?;
        Cow::Borrowed(bytes)
    };
    let not_utf8 = || unreadable("an SVG in an encoding other than UTF-8");
    Ok(match bytes {
        Cow::Borrowed(bytes) => Cow::Borrowed(std::str::from_utf8(bytes).map_err(|_| not_utf8())?),
        Cow::Owned(bytes) => Cow::Owned(String::from_utf8(bytes).map_err(|_| not_utf8())?),
    })
}

/// A text whose document type declares nothing, as many drawing programs write, with that declaration blanked. One that
/// declares entities or elements (an internal subset in brackets) stays, to be refused.
pub(super) fn without_bare_document_type(text: &str) -> Cow<'_, str> {
    let Some(start) = text.find("<!DOCTYPE") else { return Cow::Borrowed(text) };
    let Some(length) = tag_end(&text[start..]) else { return Cow::Borrowed(text) };
    let declaration = &text[start..start + length];
    if declaration.contains('[') {
        return Cow::Borrowed(text);
    }
    Cow::Owned([&text[..start], &text[start + length..]].concat())
}

/// Refuses document types and deep nesting with one cheap look at the tags. Not a parser: what it lets through, the
/// parser judges.
pub(super) fn check(text: &str) -> Result<(), Fault> {
    let mut depth = 0_usize;
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        let tag = &rest[at + 1..];
        let end = if let Some(comment) = tag.strip_prefix("!--") {
            comment.find("-->").map(|at| at + 6)
        } else if tag.starts_with("![CDATA[") {
            tag.find("]]>").map(|at| at + 3)
        } else if tag.starts_with('!') {
            return Err(Fault::ArtUnsupported { kind: "SVG with a document type declaration".to_owned() });
        } else if tag.starts_with('?') {
            tag.find("?>").map(|at| at + 2)
        } else {
            let end = tag_end(tag);
            let closed = end.is_some_and(|end| tag[..end].ends_with("/>"));
            if tag.starts_with('/') {
                depth = depth.saturating_sub(1);
            } else if !closed {
                depth += 1;
            }
            end
        };
        if depth > MAX_NESTING {
            return Err(Fault::ArtOverLimit { measured: depth as f64, limit: MAX_NESTING as f64, unit: "levels" });
        }
        let Some(end) = end else { return Ok(()) };
        rest = &tag[end..];
    }
    Ok(())
}

/// The place behind the `>` that ends a tag; one inside a quoted value does not.
fn tag_end(tag: &str) -> Option<usize> {
    let mut quote = None;
    for (at, byte) in tag.bytes().enumerate() {
        match (quote, byte) {
            (None, b'>') => return Some(at + 1),
            (None, b'"' | b'\'') => quote = Some(byte),
            (Some(open), _) if open == byte => quote = None,
            _ => {}
        }
    }
    None
}

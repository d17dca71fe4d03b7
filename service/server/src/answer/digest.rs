//! `Content-Digest` (RFC 9530, section 2) on every answer.

use actix_web::body::{self, BodySize, BoxBody, MessageBody};
use actix_web::http::Method;
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::{Error, HttpResponse};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// The header field.
const CONTENT_DIGEST: HeaderName = HeaderName::from_static("content-digest");

/// The field's value for content with this SHA-256.
pub(super) fn content_digest(sha256: &[u8; 32]) -> HeaderValue {
    let text = format!("sha-256=:{}:", STANDARD.encode(sha256));
    HeaderValue::from_str(&text).expect("base64 is plain ASCII")
}

/// Adds the digest to an answer that has none yet. The answer to HEAD has no content, and that is what is digested (RFC
/// 9530, appendix B.2).
pub(crate) async fn add_digest(
    method: &Method,
    response: HttpResponse<BoxBody>,
) -> Result<HttpResponse<BoxBody>, Error> {
    if response.headers().contains_key(&CONTENT_DIGEST) || matches!(response.body().size(), BodySize::Stream) {
        return Ok(response);
    }
    let (mut response, content) = response.into_parts();
    let content = body::to_bytes(content).await?;
    let digested: &[u8] = if method == Method::HEAD { b"" } else { &content };
    let sha256: [u8; 32] = Sha256::digest(digested).into();
    response.headers_mut().insert(CONTENT_DIGEST, content_digest(&sha256));
    Ok(response.set_body(BoxBody::new(content)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digests_are_those_of_rfc_9530() {
        // RFC 9530, appendix B.1, and B.2 for no content.
        let of = |content: &[u8]| content_digest(&Sha256::digest(content).into());
        assert_eq!(of(b"{\"hello\": \"world\"}\n"), "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
        assert_eq!(of(b""), "sha-256=:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=:");
    }
}

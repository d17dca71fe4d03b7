//! Which media type an answer has: proactive negotiation of RFC 9110, section 12.5.1.

use actix_web::HttpRequest;
use actix_web::http::header::{self, Header, Quality};

use crate::problem::Problem;

/// The offered type that the client likes best; of several equally liked ones, and for a client without a wish, the first.
///
/// # Errors
/// `http.not_acceptable` when it likes none.
pub(crate) fn choose(request: &HttpRequest, offered: &'static [&'static str]) -> Result<&'static str, Problem> {
    let not_acceptable = || Problem::NotAcceptable { offered };
    // A field that is not there, or cannot be read, says nothing that could be obeyed.
    let wish = header::Accept::parse(request).ok().filter(|accept| !accept.is_empty());
    let Some(accept) = wish else { return offered.first().copied().ok_or_else(not_acceptable) };
    let mut best: Option<(&'static str, Quality)> = None;
    for media_type in offered {
        let quality = quality_of(media_type, &accept);
        if quality > Quality::ZERO && best.is_none_or(|(_, best)| quality > best) {
            best = Some((media_type, quality));
        }
    }
    best.map(|(media_type, _)| media_type).ok_or_else(not_acceptable)
}

/// What the most specific range that covers a type says of it.
fn quality_of(media_type: &str, accept: &header::Accept) -> Quality {
    let (kind, _) = media_type.split_once('/').unwrap_or((media_type, ""));
    let rank = |range: &str| match range {
        "*/*" => Some(0),
        range if range.strip_suffix("/*").is_some_and(|of| of.eq_ignore_ascii_case(kind)) => Some(1),
        range if range.eq_ignore_ascii_case(media_type) => Some(2),
        _ => None,
    };
    let ranked = accept.0.iter().filter_map(|item| rank(item.item.essence_str()).map(|rank| (rank, item.quality)));
    ranked.max_by_key(|(rank, quality)| (*rank, *quality)).map_or(Quality::ZERO, |(_, quality)| quality)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    const OFFERED: &[&str] = &["image/png", "image/svg+xml", "application/json"];

    fn chosen(accept: Option<&str>) -> Option<&'static str> {
        let request = TestRequest::default();
        let request = match accept {
            Some(accept) => request.insert_header((header::ACCEPT, accept)),
            None => request,
        };
        choose(&request.to_http_request(), OFFERED).ok()
    }

    #[test]
    fn the_best_liked_type_is_chosen() {
        // RFC 9110, section 12.5.1.
        let cases = [
            (None, Some("image/png")),
            (Some(""), Some("image/png")),
            (Some("*/*"), Some("image/png")),
            (Some("application/json"), Some("application/json")),
            (Some("image/*;q=0.5, application/json"), Some("application/json")),
            (Some("image/svg+xml, image/*;q=0.2"), Some("image/svg+xml")),
            (Some("image/png;q=0, image/*"), Some("image/svg+xml")),
            (Some("*/*;q=0.1, application/json;q=0.2"), Some("application/json")),
            (Some("text/html"), None),
            (Some("image/png;q=0"), None),
            (Some("IMAGE/SVG+XML"), Some("image/svg+xml")),
        ];
        for (accept, expected) in cases {
            assert_eq!(chosen(accept), expected, "{accept:?}");
        }
    }
}

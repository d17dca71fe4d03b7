//! What there is to say of a code: a page each, and the list of all.

use super::html::{escape, inline, page};
use crate::openapi::codes;

/// The page of a problem's, mistake's or finding's code. `status`: that of an answer with this code as its own; none for a
/// finding.
pub(crate) fn problem_page(code: &str, title: &str, status: Option<u16>, cause: &str, remedy: &str) -> String {
    let status = match status {
        Some(status) => {
            let text = status.to_string();
            format!("<p>Status <b class=\"status s{}\">{text}</b></p>\n", &text[..1])
        }
        None => "<p>A finding about a sticker: it stands in reports and tickets.</p>\n".to_owned(),
    };
    let body = format!(
        "<header>\n<p class=\"brand\">Quoin</p>\n<p class=\"more\"><a href=\"/docs\">How to use it</a></p>\n</header>\n\
         <main class=\"single\">\n<article class=\"code\">\n<p><code>{}</code></p>\n<h1>{}</h1>\n{status}\
         <h2>How it comes about</h2>\n<p>{}</p>\n<h2>What to do</h2>\n<p>{}</p>\n\
         <p class=\"more\"><a href=\"/docs#codes\">All codes</a></p>\n</article>\n</main>\n",
        escape(code),
        escape(title),
        inline(cause),
        inline(remedy),
    );
    page(&format!("{code}: {title}"), &body)
}

/// All codes, with links to their pages.
pub(super) fn section() -> String {
    let mut html = String::from(
        "<section id=\"codes\">\n<h2>Codes</h2>\n<p>A code never changes its meaning. Each has a page that says how it comes \
         about and what to do.</p>\n",
    );
    let kinds = [
        ("Problems", codes::problems()),
        ("Mistakes inside a problem", codes::mistakes()),
        ("Findings about a sticker", codes::findings()),
    ];
    for (title, entries) in kinds {
        html.push_str(&format!("<h3>{}</h3>\n<dl class=\"codes\">\n", escape(title)));
        for entry in entries {
            let status = entry.status.filter(|_| title == "Problems").map_or(String::new(), |status| {
                let text = status.to_string();
                format!(" <b class=\"status s{}\">{text}</b>", &text[..1])
            });
            // Problems have a title each; what sets mistakes and findings apart is their cause.
            let text = if title == "Problems" { entry.title } else { &*entry.cause };
            html.push_str(&format!(
                "<div><dt><a href=\"/problems/{0}\"><code>{0}</code></a>{status}</dt><dd>{1}</dd></div>\n",
                escape(entry.code),
                inline(text)
            ));
        }
        html.push_str("</dl>\n");
    }
    html.push_str("</section>\n");
    html
}

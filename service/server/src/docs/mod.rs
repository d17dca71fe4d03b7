//! The pages of the service for reading: `/docs`, written from the OpenAPI document, and one for each code.
//!
//! No script, no network: one stylesheet inside each page, so that they work in any browser, in a terminal and under a
//! strict content security policy. The same build writes the same bytes.

mod code;
mod field;
mod html;
mod operation;
mod started;

use serde_json::Value;

use crate::openapi;
use html::{escape, inline, page as whole_page, paragraphs};

pub(crate) use code::problem_page;

/// The parts of the document that people read, in the order of the page; the last are found by following links.
const SCHEMAS: [(&str, &str, &str); 3] = [
    ("of-requests", "Requests", "What the operations take. A field that may be left out may also be `null`."),
    (
        "of-answers",
        "Answers",
        "What the operations give. Every field is always there; accept those that you do not know.",
    ),
    ("of-tickets", "Ticket", "`ticket.json`, and what it is made of."),
];

/// The page `/docs`.
pub(crate) fn page() -> String {
    let document = openapi::document();
    let schemas = Schemas::sorted(&document);
    let version = document["info"]["version"].as_str().unwrap_or_default();
    let mut body = String::new();
    body.push_str(&head(version));
    body.push_str("<div class=\"columns\">\n");
    body.push_str(&contents(&document, &schemas));
    body.push_str("<main>\n");
    body.push_str(&started::section());
    let about = document["info"]["description"].as_str().unwrap_or_default();
    body.push_str(&format!("<section id=\"ways\">\n<h2>How it works</h2>\n{}</section>\n", paragraphs(about)));
    body.push_str(&operation::section(&document));
    body.push_str(&schemas.section(&document));
    body.push_str(&code::section());
    body.push_str(&started::cautions());
    body.push_str("</main>\n</div>\n");
    whole_page("Quoin: how to use it", &body)
}

fn head(version: &str) -> String {
    format!(
        "<header>\n<p class=\"brand\">Quoin <span>{}</span></p>\n\
         <p class=\"tagline\">Sticker prepress over HTTP: preflight, proofs, estimates and gang runs.</p>\n\
         <p class=\"more\"><a href=\"/openapi.json\">OpenAPI document</a></p>\n</header>\n",
        escape(version)
    )
}

/// The table of contents.
fn contents(document: &Value, schemas: &Schemas) -> String {
    let mut list = String::from(
        "<nav aria-label=\"Contents\">\n<details open>\n<summary>Contents</summary>\n<ul>\n\
         <li><a href=\"#started\">Getting started</a></li>\n<li><a href=\"#ways\">How it works</a></li>\n\
         <li><a href=\"#operations\">Operations</a>\n<ul>\n",
    );
    for operation in operation::all(document) {
        list.push_str(&format!(
            "<li><a href=\"#{}\"><code>{}</code></a></li>\n",
            escape(operation.id),
            escape(operation.path)
        ));
    }
    list.push_str("</ul></li>\n");
    for ((anchor, title, _), names) in SCHEMAS.iter().zip(&schemas.groups) {
        list.push_str(&format!(
            "<li><a href=\"#{}\">{}</a>\n<details>\n<summary>its {} schemas</summary>\n<ul>\n",
            escape(anchor),
            escape(title),
            names.len()
        ));
        for name in names {
            list.push_str(&format!("<li><a href=\"#{0}\">{0}</a></li>\n", escape(name)));
        }
        list.push_str("</ul>\n</details></li>\n");
    }
    list.push_str(
        "<li><a href=\"#codes\">Codes</a></li>\n<li><a href=\"#cautions\">Cautions</a></li>\n</ul>\n</details>\n</nav>\n",
    );
    list
}

/// Names of schemas in the order in which a reader meets them.
struct Schemas {
    groups: [Vec<String>; 3],
}

impl Schemas {
    /// What the requests need, then what answers need, the ticket and its parts last.
    fn sorted(document: &Value) -> Schemas {
        let mut seen = Vec::new();
        let mut met = |starts: &[&str]| {
            let before = seen.len();
            for start in starts {
                follow(document, start, &mut seen);
            }
            seen.split_at(before).1.to_vec()
        };
        let requests = met(&["PreflightRequest", "ProofRequest", "EstimateRequest", "GangJob"]);
        let answers = met(&["Report", "Finding", "Estimate", "Problem", "Stocks", "ProblemPage"]);
        let ticket = met(&["ProofAnswer", "GangAnswer", "Ticket"]);
        let wrap = ["ProofAnswer", "GangAnswer"];
        let (around, ticket): (Vec<String>, Vec<String>) =
            ticket.into_iter().partition(|name| wrap.contains(&name.as_str()));
        Schemas { groups: [requests, [answers, around].concat(), ticket] }
    }

    fn section(&self, document: &Value) -> String {
        let mut html = String::new();
        for ((anchor, title, about), names) in SCHEMAS.iter().zip(&self.groups) {
            html.push_str(&format!(
                "<section id=\"{}\">\n<h2>{}</h2>\n<p>{}</p>\n",
                escape(anchor),
                escape(title),
                inline(about)
            ));
            for name in names {
                let schema = &document["components"]["schemas"][name];
                html.push_str(&format!("<article class=\"schema\" id=\"{0}\">\n<h3>{0}</h3>\n", escape(name)));
                html.push_str(&field::schema(name, schema));
                html.push_str("</article>\n");
            }
            html.push_str("</section>\n");
        }
        html
    }
}

/// Adds a schema and all that it refers to, each once, in the order met.
fn follow(document: &Value, name: &str, seen: &mut Vec<String>) {
    let schema = &document["components"]["schemas"][name];
    if schema.is_null() || seen.iter().any(|known| known == name) {
        return;
    }
    seen.push(name.to_owned());
    for property in field::order(name, schema).iter().map(|field| &schema["properties"][field]) {
        for target in references(property) {
            follow(document, &target, seen);
        }
    }
    if schema.get("properties").is_none() {
        for target in references(schema) {
            follow(document, &target, seen);
        }
    }
}

/// Names of the schemas that a tree refers to.
fn references(tree: &Value) -> Vec<String> {
    match tree {
        Value::Object(map) => map
            .iter()
            .flat_map(|(key, value)| match (key.as_str(), value.as_str()) {
                ("$ref", Some(target)) => vec![field::target_name(target).to_owned()],
                _ => references(value),
            })
            .collect(),
        Value::Array(list) => list.iter().flat_map(references).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// What stands between two texts, wherever they do.
    fn between<'t>(text: &'t str, before: &str, after: &str) -> Vec<&'t str> {
        text.split(before).skip(1).filter_map(|rest| rest.split(after).next()).collect()
    }

    #[test]
    fn the_page_repeats_and_loads_nothing() {
        let page = page();
        assert_eq!(page, super::page());
        for forbidden in ["<script", "<link", "<img", "src=", "@import", "url(", " style=\"", "onclick"] {
            assert!(!page.contains(forbidden), "{forbidden}");
        }
    }

    #[test]
    fn every_link_inside_the_page_leads_somewhere() {
        let page = page();
        let anchors = between(&page, "id=\"", "\"");
        let known: BTreeSet<&str> = anchors.iter().copied().collect();
        assert_eq!(known.len(), anchors.len(), "an id comes twice");
        let links = between(&page, "href=\"#", "\"");
        assert!(links.len() > 50);
        for link in links {
            assert!(known.contains(link), "#{link} leads nowhere");
        }
    }

    #[test]
    fn every_schema_and_operation_has_its_place() {
        let page = page();
        let document = openapi::document();
        for name in document["components"]["schemas"].as_object().expect("schemas").keys() {
            assert!(page.contains(&format!("id=\"{name}\"")), "{name} is not on the page");
        }
        for operation in operation::all(&document) {
            assert!(page.contains(&format!("id=\"{}\"", operation.id)), "{}", operation.id);
        }
    }

    #[test]
    fn tags_are_closed_in_order() {
        for page in [page(), problem_page("a.b", "A <title>", Some(422), "cause", "remedy")] {
            let mut open: Vec<&str> = Vec::new();
            let text = page.replace("<!DOCTYPE html>", "");
            for tag in between(&text, "<", ">") {
                let name = tag.trim_start_matches('/').split_whitespace().next().unwrap_or_default();
                if ["meta", "br", "hr"].contains(&name) {
                    continue;
                }
                if tag.starts_with('/') {
                    assert_eq!(open.pop(), Some(name), "</{name}>");
                } else {
                    open.push(name);
                }
            }
            assert_eq!(open, Vec::<&str>::new());
        }
    }
}

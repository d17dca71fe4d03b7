//! The operations: what each does, takes, answers, and how it can fail.

use serde_json::Value;

use super::field;
use super::html::{escape, inline};

/// An operation of the document.
pub(super) struct Operation<'d> {
    /// Its id, and its anchor.
    pub(super) id: &'d str,
    /// Its path.
    pub(super) path: &'d str,
    method: &'d str,
    value: &'d Value,
}

/// Order of the page; those that are not named follow.
const ORDER: [&str; 5] = ["/v1/preflight", "/v1/proofs", "/v1/estimates", "/v1/gangs", "/v1/stocks"];

/// Every operation but the `HEAD` beside each `GET`.
pub(super) fn all(document: &Value) -> Vec<Operation<'_>> {
    let Some(paths) = document["paths"].as_object() else { return Vec::new() };
    let mut operations: Vec<Operation<'_>> = paths
        .iter()
        .flat_map(|(path, item)| {
            let methods =
                item.as_object().into_iter().flatten().filter(|(method, _)| ["get", "post"].contains(&method.as_str()));
            methods.map(move |(method, value)| Operation {
                id: value["operationId"].as_str().unwrap_or_default(),
                path,
                method,
                value,
            })
        })
        .collect();
    operations.sort_by_key(|operation| ORDER.iter().position(|path| *path == operation.path).unwrap_or(ORDER.len()));
    operations
}

/// All of them.
pub(super) fn section(document: &Value) -> String {
    let mut html = String::from("<section id=\"operations\">\n<h2>Operations</h2>\n");
    for operation in all(document) {
        html.push_str(&article(&operation, document));
    }
    html.push_str("</section>\n");
    html
}

fn article(operation: &Operation<'_>, document: &Value) -> String {
    let text = |key: &str| operation.value[key].as_str().unwrap_or_default();
    let method = operation.method.to_uppercase();
    let mut html = format!(
        "<article class=\"operation\" id=\"{}\">\n<h3><span class=\"method {}\">{method}</span> <code>{}</code></h3>\n\
         <p class=\"summary\">{}</p>\n<p>{}</p>\n",
        escape(operation.id),
        escape(operation.method),
        escape(operation.path),
        inline(text("summary")),
        inline(text("description")),
    );
    html.push_str(&request(operation.value, document));
    html.push_str(&answers(operation.value, document));
    html.push_str("</article>\n");
    html
}

/// What the operation takes.
fn request(operation: &Value, document: &Value) -> String {
    let Some(body) = operation.get("requestBody") else { return String::new() };
    let media = &body["content"]["application/json"];
    let name = field::target_name(media["schema"]["$ref"].as_str().unwrap_or_default());
    let schema = &document["components"]["schemas"][name];
    let mut html = format!(
        "<h4>Takes <a href=\"#{0}\">{0}</a></h4>\n<p>{1}</p>\n",
        escape(name),
        inline(body["description"].as_str().unwrap_or_default())
    );
    html.push_str(&field::fields(name, schema));
    for example in media["examples"].as_object().into_iter().flat_map(|examples| examples.values()) {
        html.push_str(&folded(
            &format!("Example: {}", example["summary"].as_str().unwrap_or_default()),
            &example["value"],
        ));
    }
    html
}

/// JSON to unfold.
fn folded(title: &str, value: &Value) -> String {
    format!(
        "<details>\n<summary>{}</summary>\n<pre><code>{}</code></pre>\n</details>\n",
        inline(title),
        escape(&format!("{value:#}"))
    )
}

/// What the operation answers: what goes well with its media types, then the faults, folded.
fn answers(operation: &Value, document: &Value) -> String {
    let (mut good, mut faults) = (String::new(), String::new());
    let mut statuses = Vec::new();
    for (status, answer) in operation["responses"].as_object().into_iter().flatten() {
        let answer = match answer["$ref"].as_str() {
            Some(target) => &document["components"]["responses"][field::target_name(target)],
            None => answer,
        };
        if status.starts_with('2') {
            good.push_str(&row(status, answer, true));
        } else {
            faults.push_str(&row(status, answer, false));
            statuses.push(escape(status));
        }
    }
    let examples = &operation["responses"]["200"]["content"]["application/json"]["examples"];
    let examples = examples.as_object().into_iter().flat_map(|examples| examples.values());
    let examples: String =
        examples.map(|example| folded(example["summary"].as_str().unwrap_or("Example"), &example["value"])).collect();
    format!(
        "<h4>Answers</h4>\n<dl class=\"answers\">\n{good}</dl>\n{examples}\
         <details>\n<summary>Faults: {}</summary>\n<p>Each is a <a href=\"#Problem\">Problem</a> of the media type \
         <code>application/problem+json</code>.</p>\n<dl class=\"answers\">\n{faults}</dl>\n</details>\n",
        statuses.join(", ")
    )
}

fn row(status: &str, answer: &Value, with_media_types: bool) -> String {
    let kinds: Vec<String> = answer["content"].as_object().into_iter().flatten().map(of_media_type).collect();
    let kinds = if with_media_types { format!("<br>{}", kinds.join(" ")) } else { String::new() };
    format!(
        "<div><dt><b class=\"status s{}\">{}</b></dt><dd>{}{kinds}{}</dd></div>\n",
        escape(&status[..1]),
        escape(status),
        inline(answer["description"].as_str().unwrap_or_default()),
        own_headers(answer),
    )
}

fn of_media_type((kind, media): (&String, &Value)) -> String {
    match media["schema"]["$ref"].as_str() {
        Some(target) => {
            let name = escape(field::target_name(target));
            format!("<span class=\"media\"><code>{}</code> <a href=\"#{name}\">{name}</a></span>", escape(kind))
        }
        None => format!("<span class=\"media\"><code>{}</code></span>", escape(kind)),
    }
}

/// Header fields that not every answer has.
fn own_headers(answer: &Value) -> String {
    let names = answer["headers"].as_object().into_iter().flat_map(|headers| headers.keys());
    let own: Vec<String> = names
        .filter(|name| !["X-Request-Id", "Content-Digest"].contains(&name.as_str()))
        .map(|name| format!("<code>{}</code>", escape(name)))
        .collect();
    if own.is_empty() { String::new() } else { format!(" <span class=\"facts\">Header {}</span>", own.join(", ")) }
}

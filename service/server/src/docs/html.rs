//! HTML from text: everything is escaped; descriptions may have `code`, **bold** and paragraphs.

/// Text as HTML has it, also inside of attributes.
pub(super) fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            _ => escaped.push(c),
        }
    }
    escaped
}

/// A line of text with `code` and **bold**.
pub(super) fn inline(text: &str) -> String {
    let mut html = String::with_capacity(text.len());
    for (index, part) in text.split('`').enumerate() {
        if index % 2 == 1 {
            html.push_str(&format!("<code>{}</code>", escape(part)));
            continue;
        }
        for (index, part) in part.split("**").enumerate() {
            let escaped = escape(part);
            html.push_str(&if index % 2 == 1 { format!("<strong>{escaped}</strong>") } else { escaped });
        }
    }
    html
}

/// Paragraphs, parted by empty lines.
pub(super) fn paragraphs(text: &str) -> String {
    text.split("\n\n").map(|paragraph| format!("<p>{}</p>\n", inline(paragraph.trim()))).collect()
}

/// A page around a body. Nothing is loaded from anywhere: one stylesheet inside, no scripts.
pub(super) fn page(title: &str, body: &str) -> String {
    let style = include_str!("style.css");
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <title>{}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}</body>\n</html>\n",
        escape(title)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_is_written_becomes_markup() {
        assert_eq!(escape("<a href=\"x\">&'"), "&lt;a href=&quot;x&quot;&gt;&amp;&#39;");
        assert_eq!(inline("a `<b>` **<i>** c"), "a <code>&lt;b&gt;</code> <strong>&lt;i&gt;</strong> c");
        assert_eq!(paragraphs("a\n\nb"), "<p>a</p>\n<p>b</p>\n");
    }
}

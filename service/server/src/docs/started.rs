//! What a newcomer reads first, and what everybody should have read.

use super::html::{escape, paragraphs};

/// The three requests of a beginner; pictures are those of the demo.
const STEPS: [(&str, &str, &str); 3] = [
    (
        "Is the picture good enough?",
        "The answer is a report: a verdict, findings with a remedy each, and measures.",
        r#"curl -sS http://127.0.0.1:8080/v1/preflight \
  -F 'job={"item": {"art": {"part": "heart"}, "size": {"width_mm": 60}},
           "stock": {"stock": "gloss-white",
                     "form": {"sheet": {"size": "na_letter_8.5x11in"}}}};type=application/json' \
  -F heart=@service/demo/art/heart.png"#,
    ),
    (
        "What will it look like?",
        "The answer is a PNG; its header field Proof-Digest names what the customer agreed to.",
        r#"curl -sS http://127.0.0.1:8080/v1/proofs -o proof.png \
  -F 'job={"item": {"art": {"part": "heart"}, "size": {"width_mm": 60}},
           "stock": {"stock": "gloss-white",
                     "form": {"sheet": {"size": "na_letter_8.5x11in"}}}};type=application/json' \
  -F heart=@service/demo/art/heart.png"#,
    ),
    (
        "Lay out the orders of a night",
        "The answer is a ZIP archive: print.pdf, cut.svg and preview.png of each sheet, pick-list.pdf and ticket.json.",
        r#"curl -sS http://127.0.0.1:8080/v1/gangs -o night.zip \
  -F 'job={"run": "first-night",
           "stocks": [{"stock": "gloss-white", "form": {"sheet": {"size": "na_letter_8.5x11in"}}}],
           "orders": [{"order": "1042", "items": [
             {"item": "1", "art": {"part": "heart"}, "size": {"width_mm": 32}, "quantity": 12},
             {"item": "2", "art": {"part": "crow"}, "size": {"height_mm": 50}, "quantity": 6}
           ]}]};type=application/json' \
  -F heart=@service/demo/art/heart.png -F crow=@service/demo/art/crow.png"#,
    ),
];

/// Getting started.
pub(super) fn section() -> String {
    let mut html = String::from("<section id=\"started\">\n<h2>Getting started</h2>\n");
    html.push_str(&paragraphs(
        "Three requests, run from a clone of the project, where the demo's pictures are. `quoin serve` listens on \
         `127.0.0.1:8080` unless told otherwise. Where the service asks for keys, add `-H 'Authorization: Bearer KEY'`.",
    ));
    html.push_str("<ol class=\"steps\">\n");
    for (title, about, command) in STEPS {
        html.push_str(&format!(
            "<li><h3>{}</h3>\n<pre><code>{}</code></pre>\n<p>{}</p></li>\n",
            escape(title),
            escape(command),
            escape(about)
        ));
    }
    html.push_str("</ol>\n</section>\n");
    html
}

/// Usual good practice, no more.
const CAUTIONS: [(&str, &str); 5] = [
    (
        "Blades",
        "Switch the cutter off before changing one, keep fingers away from the moving carriage, put used blades in a sharps \
         box. Make a test cut first.",
    ),
    (
        "Heat, solvents, UV",
        "Hot laminators burn and pull in sleeves and hair. Solvent and UV inks need ventilation and gloves; wet UV ink irritates \
         skin.",
    ),
    ("Food", "Stickers made this way are not for contact with food."),
    ("Small children", "They are not tested as toys or for children under three: small parts can be swallowed."),
    (
        "Outdoors",
        "The service makes no claim about outdoor life: that is the material's, the ink's and the laminate's. Do not stick \
         anything across a driver's line of sight.",
    ),
];

/// Cautions.
pub(super) fn cautions() -> String {
    let mut html = String::from("<section id=\"cautions\">\n<h2>Cautions</h2>\n");
    html.push_str(&paragraphs(
        "Usual good practice, no more: local codes and the data sheets of the makers of machine, ink, film and adhesive come \
         first.",
    ));
    html.push_str("<dl class=\"words\">\n");
    for (what, caution) in CAUTIONS {
        html.push_str(&format!("<dt>{}</dt><dd>{}</dd>\n", escape(what), escape(caution)));
    }
    html.push_str("</dl>\n</section>\n");
    html
}

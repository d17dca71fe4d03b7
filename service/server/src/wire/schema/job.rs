//! A gang job.

use serde_json::{Value, json};

use super::super::job::DEFAULT_REPORT_MEDIA;
use super::super::policy::{EFFORTS, OUTPUTS};
use super::super::{ids, range};
use super::field::{Field, object, refer};
use super::page::id;
use super::stock::MEDIA_PATTERN;

/// The body of a gang run.
pub(super) fn gang_job() -> Value {
    let report = "Page of the pick list: a self-describing media name of PWG 5101.1, each side 100 to 1500 mm.";
    let stocks = "At least one; no two with one name. Items name them.";
    let orders = "At least one; each order's id once. At most 1,000,000 copies together.";
    object(
        "A gang job: the orders of a night, the stocks they are for, and how they are laid out.",
        &["run", "stocks", "orders"],
        vec![
            ("run", Field::text(1, ids::RUN_MAX_CHARS, ids::FILE_NAME_PATTERN, "The run's name.")),
            ("date", date()),
            (
                "defaults",
                Field::refer("ItemDefaults", "Settings for every item that does not say otherwise.").optional(),
            ),
            ("stocks", Field::list(&refer("StockChoice"), 1, stocks)),
            ("orders", Field::list(&refer("Order"), 1, orders)),
            ("reprint", reprint()),
            ("policy", Field::refer("Policy", "How the run is laid out.").optional()),
            ("report_size", Field::pattern(MEDIA_PATTERN, report).or(DEFAULT_REPORT_MEDIA)),
            ("outputs", outputs()),
        ],
    )
}

fn date() -> Field {
    let description = "A date or a date and time of RFC 3339, printed on the label. Null: the files carry a fixed date, so that \
                       bytes repeat.";
    let text = json!({"type": "string", "anyOf": [{"format": "date-time"}, {"format": "date"}]});
    Field::schema(text, description).or(Value::Null)
}

fn reprint() -> Field {
    let entry = object(
        "Copies of one item.",
        &["order", "item", "copies"],
        vec![
            ("order", id("The order.")),
            ("item", id("The item.")),
            ("copies", Field::list(&json!({"type": "integer", "minimum": 1}), 1, "Copy numbers.")),
        ],
    );
    Field::list(&entry, 1, "Only these copies are made and counted. Null: everything.").or(Value::Null).not_yet(true)
}

fn outputs() -> Field {
    let words: Vec<&str> = OUTPUTS.iter().map(|(word, _)| *word).collect();
    let missing: Vec<&str> = OUTPUTS.iter().filter(|(_, kind)| kind.is_none()).map(|(word, _)| *word).collect();
    let usual: [&str; 4] = ["print_pdf", "cut_svg", "preview_png", "pick_list_pdf"];
    let description = "What is written. `sheet_png`: the window's art on a transparent ground, with `cut-window.svg`.";
    Field::list(&json!({"type": "string", "enum": words}), 0, description).or(json!(usual)).not_yet(json!(missing))
}

/// An element of `orders`.
pub(super) fn order() -> Value {
    let due = json!({"type": "string", "format": "date"});
    let stock = "Name of the stock of its items that name none.";
    object(
        "One customer's order.",
        &["order", "items"],
        vec![
            ("order", id("The shop's order number, unique in the job.")),
            ("due", Field::schema(due, "Orders due earlier go on earlier sheets.").optional()),
            ("stock", Field::text(1, ids::ID_MAX_CHARS, ids::FILE_NAME_PATTERN, stock).optional()),
            ("items", Field::list(&refer("Item"), 0, "Its lines; each item's id once.")),
        ],
    )
}

/// `policy`.
pub(super) fn policy() -> Value {
    let effort = "Amount of work that goes into the layout; counted, not timed, so that results repeat.";
    let budget = "Hard stop of the improvement; a complete layout is always made first. The ticket then says \
                  `stopped_early`. Null: none.";
    let overs = "Spare copies in per cent, rounded up, only where they cost no sheet and no length of roll.";
    let tags = "A small die-cut tag with the order's number beside its copies on each sheet.";
    let fillers = "The shop's own stickers for offcuts, placed after all ordered copies.";
    let percent = json!({"type": "number", "minimum": 0});
    object(
        "How a run is laid out.",
        &[],
        vec![
            ("effort", Field::word(&EFFORTS, effort).or("standard")),
            ("time_budget_ms", Field::whole(&range::TIME_BUDGET, budget).or(Value::Null).with("x-unit", "ms")),
            ("seed", Field::whole(&range::SEED, "Seed of every random choice: same job, same seed, same bytes.").or(1)),
            ("keep_orders_together", Field::flag("Copies of an order on as few sheets as can be.").or(true)),
            ("overs_percent", Field::schema(percent, overs).or(0).not_yet(true)),
            ("order_tags", Field::flag(tags).or(false).not_yet(true)),
            ("fill_offcuts_with", Field::list(&refer("Filler"), 0, fillers).or(json!([]))),
        ],
    )
}

//! How a run is laid out, and what it writes.

use std::collections::BTreeMap;

use quoin_prepress::order::{Effort, Filler, OutputKind, Policy};

use super::item::{self, Line, Reader};
use super::mistake::{MistakeCode, Mistakes};
use super::node::Node;
use super::range;
use super::unique::check_unique;

/// Fields of `policy`.
pub(super) const POLICY_FIELDS: [&str; 7] =
    ["effort", "time_budget_ms", "seed", "keep_orders_together", "overs_percent", "order_tags", "fill_offcuts_with"];

/// Words of `policy.effort`.
pub(super) const EFFORTS: [(&str, Effort); 3] =
    [("draft", Effort::Draft), ("standard", Effort::Standard), ("thorough", Effort::Thorough)];

/// Words of `outputs`; `None`: not made yet.
pub(super) const OUTPUTS: [(&str, Option<OutputKind>); 6] = [
    ("print_pdf", Some(OutputKind::PrintPdf)),
    ("cut_svg", Some(OutputKind::CutSvg)),
    ("preview_png", Some(OutputKind::PreviewPng)),
    ("pick_list_pdf", Some(OutputKind::PickListPdf)),
    ("sheet_png", Some(OutputKind::SheetPng)),
    ("test_sheet", None),
];

/// Reads `policy`. `defaults` are those of the job's items, which apply to fillers too.
pub(super) fn read_policy(job: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Policy {
    let section = job.section(reader.mistakes, "policy");
    section.only_fields(reader.mistakes, &POLICY_FIELDS);
    section.not_yet(reader.mistakes, "overs_percent", |value| value.as_f64().is_some_and(|number| number.abs() <= 0.0));
    section.not_yet(reader.mistakes, "order_tags", |value| value == false);
    Policy {
        effort: section.word(reader.mistakes, "effort", &EFFORTS).unwrap_or(Effort::Standard),
        time_budget_ms: section.whole(reader.mistakes, "time_budget_ms", &range::TIME_BUDGET),
        seed: section.whole(reader.mistakes, "seed", &range::SEED).unwrap_or(1),
        keep_orders_together: section.flag(reader.mistakes, "keep_orders_together").unwrap_or(true),
        fill_offcuts_with: read_fillers(&section, defaults, reader),
    }
}

fn read_fillers(section: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Vec<Filler> {
    let list = section.list(reader.mistakes, "fill_offcuts_with").unwrap_or_default();
    let mut seen = BTreeMap::new();
    let mut fillers = Vec::with_capacity(list.len());
    for own in &list {
        let item = item::read_item(own, &Node::default(), defaults, Line::Filler, reader);
        check_unique(&own.over(defaults), "item", "filler", &mut seen, reader.mistakes);
        fillers.extend(item.map(|item| Filler { item }));
    }
    fillers
}

/// Reads `outputs`: each kind once, in the contract's order.
pub(super) fn read_outputs(job: &Node<'_>, mistakes: &mut Mistakes) -> Vec<OutputKind> {
    let Some(list) = job.list(mistakes, "outputs") else {
        return vec![OutputKind::PrintPdf, OutputKind::CutSvg, OutputKind::PreviewPng, OutputKind::PickListPdf];
    };
    let mut outputs = Vec::new();
    for element in list {
        match element.as_word(mistakes, &OUTPUTS) {
            Some(Some(kind)) => outputs.push(kind),
            Some(None) => {
                mistakes.add(MistakeCode::NotSupportedYet, &element.pointer(), "test sheets cannot be made yet");
            }
            None => {}
        }
    }
    outputs.sort_unstable();
    outputs.dedup();
    outputs
}

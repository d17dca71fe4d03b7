//! What a person reads when a run is over.

use std::path::Path;

use quoin_prepress::finding::{Finding, SetAside, Severity};
use quoin_prepress::output::ticket::{Ticket, TicketItem, TicketOrder, TicketSheet, Totals};

use super::copies;
use super::table::{self, Side};
use super::terminal::harmless;

/// The closing lines of a run whose files stand in `out`.
pub(super) fn closing(ticket: &Ticket, out: &Path) -> Vec<String> {
    let mut lines = sheets(&ticket.sheets);
    lines.push(String::new());
    lines.push(totals(&ticket.totals));
    if ticket.stopped_early {
        lines.push("Stopped early by the time budget: the layout is complete, but not the best.".to_owned());
    }
    if !ticket.set_aside.is_empty() {
        lines.push(String::new());
        lines.push("Set aside:".to_owned());
        lines.extend(set_aside(&ticket.set_aside));
    }
    let cautions = cautions(&ticket.orders);
    if !cautions.is_empty() {
        lines.push(String::new());
        lines.push("Placed, to be looked at before printing:".to_owned());
        let heading = [("Order", Side::Left), ("Item", Side::Left), ("Why", Side::Left)];
        lines.extend(table::lines(heading, &cautions));
    }
    lines.push(String::new());
    lines.push(format!("Open first: {}", harmless(&out.join(first_file(ticket)).to_string_lossy())));
    lines
}

fn sheets(sheets: &[TicketSheet]) -> Vec<String> {
    let row = |sheet: &TicketSheet| {
        [
            sheet.sheet.to_string(),
            harmless(&sheet.stock),
            sheet.placements.len().to_string(),
            percent(sheet.density),
            format!("{:.1} mm", sheet.used_length_mm),
        ]
    };
    let heading = [
        ("Sheet", Side::Right),
        ("Stock", Side::Left),
        ("Copies", Side::Right),
        ("Density", Side::Right),
        ("Used length", Side::Right),
    ];
    table::lines(heading, &sheets.iter().map(row).collect::<Vec<_>>())
}

fn totals(totals: &Totals) -> String {
    let sheets = if totals.sheets == 1 { "1 sheet".to_owned() } else { format!("{} sheets", totals.sheets) };
    let (placed, ordered, density) = (totals.placed, totals.ordered, percent(totals.density));
    let mut text = format!("{placed} of {ordered} copies placed on {sheets}, density {density}");
    for (count, what) in [(totals.set_aside, "set aside"), (totals.fillers, "fillers"), (totals.overs, "overs")] {
        if count > 0 {
            text.push_str(&format!(", {count} {what}"));
        }
    }
    text + "."
}

/// Order, item and cautions of everything that was placed with one.
fn cautions(orders: &[TicketOrder]) -> Vec<[String; 3]> {
    let of_item = |order: &TicketOrder, item: &TicketItem| {
        let cautions = item.findings.iter().filter(|finding| finding.severity == Severity::Caution);
        let words = told(cautions);
        (item.placed > 0 && !words.is_empty()).then(|| [harmless(&order.order), harmless(&item.item), words])
    };
    orders.iter().flat_map(|order| order.items.iter().filter_map(move |item| of_item(order, item))).collect()
}

/// A table of what was set aside, and why.
pub(super) fn set_aside(entries: &[SetAside]) -> Vec<String> {
    let row = |entry: &SetAside| {
        [
            entry.order.as_deref().map_or_else(|| "(filler)".to_owned(), harmless),
            harmless(&entry.item),
            copies::ranges(&entry.copies),
            why(&entry.findings),
        ]
    };
    let heading = [("Order", Side::Left), ("Item", Side::Left), ("Copies", Side::Left), ("Why", Side::Left)];
    table::lines(heading, &entries.iter().map(row).collect::<Vec<_>>())
}

/// The findings that rejected an item, in words; where none did, all of them.
fn why(findings: &[Finding]) -> String {
    let rejects = |finding: &Finding| finding.severity == Severity::Reject;
    let any = findings.iter().any(rejects);
    told(findings.iter().filter(|finding| !any || rejects(finding)))
}

/// Findings in words, each with its code.
fn told<'a>(findings: impl Iterator<Item = &'a Finding>) -> String {
    let words = findings.map(|finding| match &finding.piece {
        Some(piece) => format!("{}: {} [{}]", harmless(piece), harmless(&finding.message), finding.code.as_str()),
        None => format!("{} [{}]", harmless(&finding.message), finding.code.as_str()),
    });
    words.collect::<Vec<_>>().join(" ")
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// The file that shows best what the run made, of those that it wrote.
fn first_file(ticket: &Ticket) -> &str {
    let files = || ticket.sheets.iter().take(1).flat_map(|sheet| &sheet.files).map(|file| file.path.as_str());
    let named = |name: &str| files().find(|path| path.ends_with(name));
    named("/preview.png").or_else(|| named("/print.pdf")).or_else(|| files().next()).unwrap_or("ticket.json")
}

#[cfg(test)]
mod tests {
    use quoin_prepress::finding::Code;

    use super::*;

    #[test]
    fn what_was_set_aside_is_told_with_its_reason_and_harmless_ids() {
        let entry = SetAside {
            order: Some("10\x1b[2J43".to_owned()),
            item: "1".to_owned(),
            copies: vec![1, 2, 3],
            findings: vec![Finding::new(Code::ArtAnimated), Finding::new(Code::ArtBlank)],
        };
        let lines = set_aside(&[entry]);
        assert_eq!(lines.len(), 2);
        assert!(lines[1].starts_with("10\\u{1b}[2J43  1     1-3     Nothing is visible"), "{}", lines[1]);
        assert!(lines[1].ends_with("[art.blank]") && !lines[1].contains("art.animated"));
    }
}

//! A gang job: its stocks, its orders, and how it is laid out.

use std::collections::BTreeMap;

use quoin_prepress::order::{Item, Job, Order, Stock, media_size};
use quoin_prepress::units::Mm;
use serde_json::Value;

use super::ArtSource;
use super::configured::Configured;
use super::ids;
use super::item::{self, Line, Reader, StockNames};
use super::mistake::{MistakeCode, Mistakes, Pointer};
use super::node::Node;
use super::policy;
use super::range;
use super::stock;
use super::unique::check_unique;

/// Fields of a job.
pub(super) const JOB_FIELDS: [&str; 9] =
    ["run", "date", "defaults", "stocks", "orders", "reprint", "policy", "report_size", "outputs"];

/// Fields of an order.
pub(super) const ORDER_FIELDS: [&str; 4] = ["order", "due", "stock", "items"];

/// Page of the pick list where nothing is said.
pub(super) const DEFAULT_REPORT_MEDIA: &str = "iso_a4_210x297mm";

/// Reads a job; `None` when it has mistakes.
pub(super) fn read_job(
    job: &Node<'_>,
    configured: &Configured,
    art: &mut dyn ArtSource,
    mistakes: &mut Mistakes,
) -> Option<Job> {
    if !job.expect_object(mistakes) {
        return None;
    }
    job.only_fields(mistakes, &JOB_FIELDS);
    for field in ["run", "stocks", "orders"] {
        if job.get(field).is_none() {
            job.missing(mistakes, field);
        }
    }
    let run = job.ruled_text(mistakes, "run", ids::run_name);
    let date = read_date(job, "date", ids::is_date, "a date and time of RFC 3339, like 2026-12-01T18:00:00Z", mistakes);
    job.not_yet(mistakes, "reprint", |_| false);
    let (stocks, names) = read_stocks(job, configured, mistakes);
    let defaults = job.section(mistakes, "defaults");
    let report_size = read_report_size(job, mistakes);
    let outputs = policy::read_outputs(job, mistakes);
    let reader = &mut Reader { mistakes, art, stocks: &names, unsaid_size: None };
    item::check_defaults(&defaults, reader);
    let orders = read_orders(job, &defaults, reader);
    let policy = policy::read_policy(job, &defaults, reader);
    let thresholds = configured.thresholds();
    Some(Job { run: run?.to_owned(), date, stocks, orders, policy, report_size: report_size?, outputs, thresholds })
}

/// A date that a rule takes, as written.
fn read_date(
    node: &Node<'_>,
    field: &str,
    rule: impl Fn(&str) -> bool,
    wanted: &str,
    mistakes: &mut Mistakes,
) -> Option<String> {
    let date = node.get(field)?;
    let text = date.as_text(mistakes)?;
    if !rule(text) {
        mistakes.add(MistakeCode::BadDate, &date.pointer(), format!("must be {wanted}, not \"{text}\""));
    }
    Some(text.to_owned())
}

fn read_report_size(job: &Node<'_>, mistakes: &mut Mistakes) -> Option<(Mm, Mm)> {
    match job.get("report_size") {
        Some(node) => stock::read_media(&node, &range::REPORT_SIDE, mistakes),
        None => media_size(DEFAULT_REPORT_MEDIA),
    }
}

/// The stocks that could be read, and the names of all of them.
fn read_stocks(job: &Node<'_>, configured: &Configured, mistakes: &mut Mistakes) -> (Vec<Stock>, StockNames) {
    let mut names = StockNames::default();
    let Some(list) = job.list(mistakes, "stocks") else { return (Vec::new(), names) };
    names.known = true;
    if list.is_empty() {
        let message = "a job has at least one stock";
        mistakes.add(MistakeCode::OutOfRange, &Pointer::root().key("stocks"), message);
        names.known = false;
    }
    let mut stocks = Vec::with_capacity(list.len());
    for (index, entry) in list.iter().enumerate() {
        let stock = stock::read_checked(entry, configured, mistakes);
        stock::refuse_in_runs(entry, stock.as_ref(), mistakes);
        names.bleeds.push(stock.as_ref().map(|stock| stock.bleed));
        match stock::name_of(entry) {
            // Nobody knows which items mean a stock whose name cannot be read.
            None => names.known = false,
            Some(name) if names.by_name.contains_key(name) => {
                let pointer = entry.get("stock").unwrap_or_else(|| entry.clone()).pointer();
                let message = format!("there is another stock \"{name}\" in this job");
                mistakes.add(MistakeCode::DuplicateId, &pointer, message);
            }
            Some(name) => {
                names.by_name.insert(name.to_owned(), index);
            }
        }
        stocks.extend(stock);
    }
    (stocks, names)
}

fn read_orders(job: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Vec<Order> {
    let list = job.list(reader.mistakes, "orders").unwrap_or_default();
    if list.is_empty() && job.get("orders").is_some_and(|orders| orders.value().is_some_and(Value::is_array)) {
        let message = "a job has at least one order";
        reader.mistakes.add(MistakeCode::OutOfRange, &Pointer::root().key("orders"), message);
    }
    let mut seen = BTreeMap::new();
    let mut orders = Vec::with_capacity(list.len());
    for entry in &list {
        let order = read_order(entry, defaults, reader);
        check_unique(entry, "order", "order", &mut seen, reader.mistakes);
        orders.extend(order);
    }
    let items = orders.iter().flat_map(|order| &order.items);
    let copies: u64 = items.map(|item| u64::from(item.quantity)).sum();
    if copies > range::COPIES_PER_JOB {
        let message = format!("{copies} copies are ordered; one job takes {}", range::COPIES_PER_JOB);
        reader.mistakes.add(MistakeCode::TooManyCopies, &Pointer::root().key("orders"), message);
    }
    orders
}

fn read_order(entry: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Option<Order> {
    if !entry.expect_object(reader.mistakes) {
        return None;
    }
    entry.only_fields(reader.mistakes, &ORDER_FIELDS);
    for field in ["order", "items"] {
        if entry.get(field).is_none() {
            entry.missing(reader.mistakes, field);
        }
    }
    let id = entry.ruled_text(reader.mistakes, "order", ids::id);
    let due = read_date(entry, "due", ids::is_day, "a day like 2026-12-01", reader.mistakes);
    let items = read_items(entry, defaults, reader);
    Some(Order { order: id?.to_owned(), due, items })
}

fn read_items(order: &Node<'_>, defaults: &Node<'_>, reader: &mut Reader<'_>) -> Vec<Item> {
    let list = order.list(reader.mistakes, "items").unwrap_or_default();
    let mut seen = BTreeMap::new();
    let mut items = Vec::with_capacity(list.len());
    for own in &list {
        let item = item::read_item(own, order, defaults, Line::Ordered, reader);
        check_unique(&own.over(defaults), "item", "item of this order", &mut seen, reader.mistakes);
        items.extend(item);
    }
    items
}

//! Writes down what a run made.

use super::account::{Account, ItemAccount};
use super::layout::LaidOut;
use crate::geom::Rect;
use crate::order::{FeedEdge, Form, Job, Order, Stock, media_word};
use crate::output::settings;
use crate::output::ticket::{
    CutLengthMm, FileEntry, PrintSettings, SCHEMA, Settings, Ticket, TicketItem, TicketMark, TicketOrder,
    TicketPlacement, TicketSheet, Totals, WindowMm, tidy,
};
use crate::sheet::{Placement, Sheet};
use crate::sticker::Cut;
use crate::units::Mm;

pub(super) fn ticket(
    job: &Job,
    laid_out: &LaidOut,
    account: Account,
    files: Vec<Vec<FileEntry>>,
    run_files: Vec<FileEntry>,
) -> Ticket {
    let sheets: Vec<TicketSheet> =
        laid_out.sheets.iter().zip(files).map(|(sheet, files)| record(sheet, files)).collect();
    let set_aside = account.items.iter().map(|item| item.set_aside).sum();
    let totals = Totals {
        sheets: sheets.len() as u32,
        ordered: account.placed + set_aside,
        placed: account.placed,
        set_aside,
        fillers: account.fillers,
        overs: 0,
        density: density(&laid_out.sheets),
    };
    let mut items = account.items.into_iter();
    let orders = job.orders.iter().map(|order| record_order(order, &mut items)).collect();
    Ticket {
        schema: SCHEMA,
        run: job.run.clone(),
        date: job.date.clone(),
        effort: job.policy.effort.word(),
        stopped_early: laid_out.stopped_early,
        seed: job.policy.seed,
        sheets,
        files: run_files,
        orders,
        set_aside: account.set_aside,
        settings: Settings {
            stocks: job.stocks.iter().map(|stock| (stock.stock.clone(), settings::stock(stock))).collect(),
            policy: settings::policy(&job.policy),
            preflight: settings::thresholds(&job.thresholds),
        },
        totals,
    }
}

fn record(sheet: &Sheet, files: Vec<FileEntry>) -> TicketSheet {
    let (placed, window) = (sheet.placed_area_mm2(), sheet.frame.window.area());
    TicketSheet {
        sheet: sheet.number,
        stock: sheet.stock.stock.clone(),
        folder: sheet.folder(),
        width_mm: tidy(sheet.frame.width.mm()),
        height_mm: tidy(sheet.frame.height.mm()),
        window_mm: window_mm(sheet.frame.window),
        marks: marks(sheet),
        placements: sheet.placements.iter().map(record_placement).collect(),
        placed_area_mm2: tidy(placed),
        window_area_mm2: tidy(window),
        density: share(placed, window),
        used_length_mm: tidy(sheet.used_length().mm()),
        cut_length_mm: cut_length(sheet),
        files,
        print_settings: print_settings(&sheet.stock, sheet),
    }
}

fn window_mm(window: Rect) -> WindowMm {
    WindowMm { x: tidy(window.x0), y: tidy(window.y0), width: tidy(window.width()), height: tidy(window.height()) }
}

fn marks(sheet: &Sheet) -> Vec<TicketMark> {
    let mark = |mark: &crate::frame::Mark| TicketMark {
        shape: "disc",
        x_mm: tidy(mark.centre.x),
        y_mm: tidy(mark.centre.y),
        diameter_mm: tidy(mark.diameter.mm()),
        clear_mm: tidy(mark.clear.mm()),
    };
    sheet.frame.marks.iter().map(mark).collect()
}

fn record_placement(placement: &Placement) -> TicketPlacement {
    let sticker = &placement.sticker;
    TicketPlacement {
        placement: placement.placement,
        order: placement.order.clone(),
        item: placement.item.clone(),
        copy: placement.copy,
        product: placement.product,
        filler: placement.filler,
        over: false,
        x_mm: placement.pose.x_mm,
        y_mm: placement.pose.y_mm,
        rotation_deg: placement.pose.rotation_deg,
        width_mm: tidy(sticker.overall.width()),
        height_mm: tidy(sticker.overall.height()),
        finished_width_mm: tidy(sticker.finished_width.mm()),
        finished_height_mm: tidy(sticker.finished_height.mm()),
    }
}

fn cut_length(sheet: &Sheet) -> CutLengthMm {
    let sum = |cuts: &[Cut]| cuts.iter().map(|cut| cut.line.length()).sum::<Mm>().mm();
    let each = |placement: &Placement| (sum(&placement.sticker.kiss), sum(&placement.sticker.through));
    let (kiss, through) = sheet.placements.iter().map(each).fold((0.0, 0.0), |(a, b), (c, d)| (a + c, b + d));
    CutLengthMm { kiss: tidy(kiss), through: tidy(through) }
}

/// Attribute names and values of PWG 5100.13 and RFC 8011; media names of PWG 5101.1.
fn print_settings(stock: &Stock, sheet: &Sheet) -> PrintSettings {
    let (width, height) = (sheet.frame.width, sheet.frame.height);
    let media = match &stock.form {
        Form::Sheet { media: Some(name), .. } => name.clone(),
        Form::Sheet { media: None, .. } | Form::Roll { .. } => match stock.feed_edge {
            FeedEdge::Top | FeedEdge::Bottom => media_word(&stock.stock, width, height),
            FeedEdge::Left | FeedEdge::Right => media_word(&stock.stock, height, width),
        },
    };
    PrintSettings { media, print_scaling: "none", print_quality: "high", sides: "one-sided" }
}

fn record_order(order: &Order, accounts: &mut impl Iterator<Item = ItemAccount>) -> TicketOrder {
    let items: Vec<TicketItem> = order
        .items
        .iter()
        .zip(accounts)
        .map(|(item, account)| TicketItem {
            item: item.item.clone(),
            quantity: item.quantity,
            placed: account.places.len() as u32,
            set_aside: account.set_aside,
            tags: item.tags.clone(),
            sheets: sorted(account.places.iter().map(|place| place.sheet)),
            where_: account.places,
            findings: account.findings,
        })
        .collect();
    TicketOrder {
        order: order.order.clone(),
        complete: items.iter().all(|item| item.set_aside == 0),
        sheets: sorted(items.iter().flat_map(|item| item.sheets.iter().copied())),
        items,
    }
}

fn sorted(sheets: impl Iterator<Item = u32>) -> Vec<u32> {
    let mut sheets: Vec<u32> = sheets.collect();
    sheets.sort_unstable();
    sheets.dedup();
    sheets
}

/// Placed area over window area, where the last sheet of each stock counts to its used length.
fn density(sheets: &[Sheet]) -> f64 {
    let counted = |(index, sheet): (usize, &Sheet)| {
        let last = sheets.get(index + 1).is_none_or(|next| next.stock.stock != sheet.stock.stock);
        let window = sheet.frame.window;
        let across = match sheet.stock.feed_edge {
            FeedEdge::Top | FeedEdge::Bottom => window.width(),
            FeedEdge::Left | FeedEdge::Right => window.height(),
        };
        if last { across * sheet.used_length().mm() } else { window.area() }
    };
    let area = sheets.iter().enumerate().map(counted).sum();
    share(sheets.iter().map(Sheet::placed_area_mm2).sum(), area)
}

fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { tidy(part / whole) } else { 0.0 }
}

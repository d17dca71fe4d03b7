//! Drives the stages for a night's orders: from a job to its files.
//!
//! In: a checked [`Job`], intake limits, a [`Store`] for finished files. Out: the files, and the [`Ticket`] that is also
//! stored as `ticket.json`. Guarantees that ordered = placed + set aside for every item, and that the same job gives the
//! same bytes on any number of threads (a run stopped early apart).
//!
//! An item that cannot be printed is set aside with findings and the run goes on; a fault ends the run.

mod account;
mod at_hand;
mod estimate;
mod inquire;
mod layout;
mod page;
mod prepare;
mod proof;
mod record;
mod shelf;

use std::io;
use std::sync::Mutex;

pub use estimate::estimate;
pub use inquire::preflight;
pub use prepare::drawing_px;
pub use proof::{Proof, ProofDocument, proof};

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::intake::Limits;
use crate::order::{Job, OutputKind};
use crate::output;
use crate::output::pick_list::{self, SetAsideLine};
use crate::output::ticket::{FileEntry, Ticket};
use crate::output::{cut_svg, preview, print_pdf};
use crate::sheet::Sheet;
use crate::sticker;

/// Where finished files go.
pub trait Store: Send + Sync {
    /// Keeps a file whole. The path is relative, with `/`, of plain ASCII.
    ///
    /// # Errors
    /// Whatever keeps the file from being stored; the run ends with it.
    fn put(&self, path: &str, bytes: &[u8]) -> io::Result<()>;
}

/// How far a run is, each share from 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Progress {
    /// Pictures made into stickers.
    pub pictures: f64,
    /// Work of laying out.
    pub sheets: f64,
    /// Sheets written.
    pub files: f64,
}

/// What a run listens and reports to.
#[derive(Clone, Copy)]
pub struct Hooks<'a> {
    /// Called from any thread, with shares that never fall.
    pub progress: &'a (dyn Fn(Progress) + Sync),
    /// True once improvement of the layout must stop: the caller's clock, because this library has none.
    pub out_of_time: &'a (dyn Fn() -> bool + Sync),
    /// Raised by a caller that gives up.
    pub cancel: &'a Cancel,
}

/// Makes every file of a job.
///
/// # Errors
/// `run.nothing_placed` before anything is stored; `run.cancelled`; `run.store_failed`; `stock.broken`; and our own
/// faults: `gang.layout_broken`, `run.copies_lost`, `output.broken`.
pub fn gang(job: &Job, limits: &Limits, store: &dyn Store, hooks: Hooks<'_>) -> Result<Ticket, Fault> {
    let meter = Meter::new(hooks.progress);
    let products = prepare::products(job, limits, &meter, hooks.cancel)?;
    let laid_out = layout::lay_out(job, &products, &meter, hooks)?;
    let account = account::settle(job, &products, &laid_out)?;
    if account.placed == 0 {
        return Err(Fault::NothingPlaced { set_aside: account.set_aside });
    }
    let files = write_sheets(job, &laid_out.sheets, store, &meter, hooks.cancel)?;
    let mut run_files = Vec::new();
    if job.outputs.contains(&OutputKind::PickListPdf) {
        let bytes = pick_list::write(&laid_out.sheets, &set_aside_lines(&account), job.report_size)?;
        run_files.push(keep(store, "pick-list.pdf".to_owned(), &bytes)?);
    }
    let ticket = record::ticket(job, &laid_out, account, files, run_files);
    keep(store, "ticket.json".to_owned(), &output::json("ticket.json", &ticket)?)?;
    Ok(ticket)
}

/// Writes every sheet's files and forgets them; the entries come back in the order of the sheets.
fn write_sheets(
    job: &Job,
    sheets: &[Sheet],
    store: &dyn Store,
    meter: &Meter<'_>,
    cancel: &Cancel,
) -> Result<Vec<Vec<FileEntry>>, Fault> {
    let done = meter.count(sheets.len(), |progress, share| progress.files = share);
    sheets
        .par_iter()
        .map(|sheet| {
            cancel.check()?;
            let entries = write_sheet(sheet, &job.outputs, store)?;
            done.one_more();
            Ok(entries)
        })
        .collect()
}

fn write_sheet(sheet: &Sheet, outputs: &[OutputKind], store: &dyn Store) -> Result<Vec<FileEntry>, Fault> {
    let wanted = |kind: OutputKind| outputs.contains(&kind);
    let path = |name: &str| format!("{}/{name}", sheet.folder());
    let mut entries = Vec::new();
    if wanted(OutputKind::PrintPdf) {
        entries.push(keep(store, path("print.pdf"), &print_pdf::write(sheet)?)?);
    }
    if wanted(OutputKind::CutSvg) {
        entries.push(keep(store, path("cut.svg"), cut_svg::write(sheet).as_bytes())?);
    }
    if wanted(OutputKind::PreviewPng) {
        entries.push(keep(store, path("preview.png"), &preview::write(sheet)?)?);
    }
    if wanted(OutputKind::SheetPng) {
        entries.push(keep(store, path("sheet.png"), &preview::write_window(sheet)?)?);
        entries.push(keep(store, path("cut-window.svg"), cut_svg::write_window(sheet).as_bytes())?);
    }
    Ok(entries)
}

fn keep(store: &dyn Store, path: String, bytes: &[u8]) -> Result<FileEntry, Fault> {
    store.put(&path, bytes).map_err(|source| Fault::StoreFailed { path: path.clone(), source })?;
    let sha256 = sticker::hex(&Sha256::digest(bytes));
    Ok(FileEntry { path, bytes: bytes.len() as u64, sha256 })
}

fn set_aside_lines(account: &account::Account) -> Vec<SetAsideLine> {
    let line = |entry: &crate::finding::SetAside| SetAsideLine {
        order: entry.order.clone().unwrap_or_default(),
        item: entry.item.clone(),
        copies: entry.copies.len() as u32,
        why: entry.findings.iter().map(|finding| finding.message.as_str()).collect::<Vec<_>>().join(" "),
    };
    account.set_aside.iter().map(line).collect()
}

/// Gathers progress from many threads into one report that never falls.
struct Meter<'a> {
    report: &'a (dyn Fn(Progress) + Sync),
    now: Mutex<Progress>,
}

impl<'a> Meter<'a> {
    fn new(report: &'a (dyn Fn(Progress) + Sync)) -> Meter<'a> {
        Meter { report, now: Mutex::new(Progress::default()) }
    }

    fn set(&self, change: impl FnOnce(&mut Progress)) {
        // A poisoned lock only means that another thread panicked while reporting; the numbers are still good.
        let mut now = self.now.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let before = *now;
        change(&mut now);
        now.pictures = now.pictures.max(before.pictures);
        now.sheets = now.sheets.max(before.sheets);
        now.files = now.files.max(before.files);
        (self.report)(*now);
    }

    fn count<F: Fn(&mut Progress, f64) + Sync>(&self, total: usize, apply: F) -> Counter<'_, 'a, F> {
        Counter { meter: self, total, done: Mutex::new(0), apply }
    }
}

/// Counts finished pieces of work of one kind.
struct Counter<'m, 'a, F> {
    meter: &'m Meter<'a>,
    total: usize,
    done: Mutex<usize>,
    apply: F,
}

impl<F: Fn(&mut Progress, f64) + Sync> Counter<'_, '_, F> {
    fn one_more(&self) {
        let mut done = self.done.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        *done += 1;
        let share = *done as f64 / self.total.max(1) as f64;
        self.meter.set(|progress| (self.apply)(progress, share));
    }
}

#[cfg(test)]
mod tests;

//! The command line as a shop runs it: the built binary, a job file, a folder.

mod at_hand;
mod broken_jobs;
mod conservation;
mod damaged_pictures;
mod not_yet;
mod output_folder;
mod repeatability;
mod shop;
mod single_item;
mod strange_ids;

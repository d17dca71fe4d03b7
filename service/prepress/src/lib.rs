//! The craft behind Quoin: bytes and an order in, stickers and sheets out.
//!
//! No HTTP, no disk, no environment, no clock. Data flows one way, in the order of the modules below; a stage uses the
//! outputs of earlier stages only. `run` drives them for a night's orders.
//!
//! Lengths are [`units::Mm`]; points are millimetres with y down; angles are degrees clockwise. Pictures are 8-bit sRGB
//! with straight (unassociated) alpha.

pub mod cancel;
pub mod colour;
pub mod fault;
pub mod finding;
pub mod geom;
pub mod lettering;
pub mod order;
pub mod units;

pub mod intake;
pub mod silhouette;

pub mod border;

pub mod cutline;

pub mod outline;

pub mod preflight;

pub mod sticker;

pub mod frame;

pub mod gang;

pub mod sheet;

pub mod output;

pub mod run;

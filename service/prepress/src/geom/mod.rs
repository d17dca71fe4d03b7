//! Points, rings, regions, closed paths and poses, all in millimetres, y down, angles clockwise.
//!
//! `Point`, `Vec2`, `Rect`, `Affine` and `BezPath` are kurbo's: points are places, vectors are differences. A positive
//! rotation of an [`Affine`] turns clockwise as seen with y down.

mod cut_line;
mod edge;
mod parabola;
mod pose;
mod region;
mod ring;

pub use cut_line::CutLine;
pub(crate) use edge::{crosses, squared_distance};
pub use kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape, Vec2};
pub(crate) use parabola::Parabola;
pub use pose::Pose;
pub use region::Region;
pub use ring::Ring;

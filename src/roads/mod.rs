//! How far it is from place to place.
//!
//! - [`straight`]: an estimate from the great circle, for when no road file is at hand; always labelled "estimated".

pub mod address;
mod build;
mod connected;
mod contract;
mod cost;
pub mod drives;
mod encode;
mod ends;
mod extract;
pub mod file;
mod graph;
mod import;
pub mod invent;
mod leg;
pub mod matrix;
mod order;
mod plain;
mod point;
mod ready;
pub mod report;
pub mod sketch;
mod snap;
pub mod speeds;
pub mod straight;
mod trace;
mod wire;

pub use contract::Hierarchy;
pub use cost::Cost;
pub use drives::{Calibration, Drives, Quality, Table};
pub use encode::{RoadFileError, decode, encode};
pub use extract::ExtractError;
pub use graph::{Edge, House, Misfit, Network, Origin, Parts, Size, Town, Water};
pub use import::{ImportError, import};
pub use leg::{Leg, leg, plain_leg};
pub use plain::Plain;
pub use point::{Extent, Point};
pub use ready::Roads;
pub use snap::{Grid, REACH_M, Snap};
pub use straight::{Estimate, EstimateError, Position, PositionError, great_circle_m};
pub use trace::Tracer;

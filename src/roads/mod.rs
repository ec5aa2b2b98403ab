//! How far it is from place to place, by which roads, and how that looks on paper.
//!
//! From a file to an answer, in this order:
//! - [`import()`] reads an extract of the OpenStreetMap (`extract`, on `wire`) by the rules of [`speeds`], cuts roads at junctions (`build`), keeps the largest
//!   part that hangs together (`connected`, `order`) and gives a [`Network`] and a [`report`].
//! - [`encode()`] and [`decode`] are the road file; [`mod@file`] keeps it on disk and follows its changes. That one file touches the outside, nothing else here does.
//! - [`Roads`] is a network made ready: [`Grid`] finds the road at a pin, [`Hierarchy`] prepares the search, [`matrix`] finds all drives between stops
//!   at once, [`leg()`] the shape of one, [`address`] a place by house number. [`Plain`] is the slow search that judges the quick one.
//! - [`Drives`] is what planner and pages ask: seconds and metres, by road, told by an engine of the owner's ([`heard`]) or estimated ([`straight`]), and how good each stop is.
//! - [`closed`](mod@closed) cuts closed roads out of a network.
//! - [`sketch`] draws a route, a week, a place.
//! - [`invent`] makes up a county, for the demo and for tests.
//!
//! Not here: turn restrictions, ferries, traffic, times of day, gates. Conditional tags are not read. A private road is driven slowly.

pub mod address;
mod build;
pub mod closed;
mod connected;
mod contract;
mod cost;
pub mod drives;
mod encode;
mod ends;
mod extract;
pub mod file;
mod graph;
pub mod heard;
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
pub use heard::{Heard, Told};
pub use import::{ImportError, import};
pub use leg::{Leg, leg, plain_leg};
pub use plain::Plain;
pub use point::{Extent, Point};
pub use ready::Roads;
pub use snap::{Grid, REACH_M, Snap};
pub use straight::{Estimate, EstimateError, FAR, Position, PositionError, great_circle_m, is_far};
pub use trace::Tracer;

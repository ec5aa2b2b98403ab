//! How far it is from place to place.
//!
//! - [`straight`]: an estimate from the great circle, for when no road file is at hand; always labelled "estimated".

pub mod straight;

pub use straight::{Estimate, EstimateError, Position, PositionError, great_circle_m};

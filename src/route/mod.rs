//! Which technician goes where, on which day, in which order.
//!
//! A pure room: no SQL, no HTTP, no clock, no files, no randomness but the seed.
//! It depends on `std` only.
//!
//! - [`problem`]: what is asked: shifts, visits, driving times; everything is validated there.
//! - [`matrix`]: driving seconds (and metres) between places.
//! - [`mod@solve`]: finds a plan: [`solve()`], [`improve`], [`solve_paced`].
//! - [`mod@check`]: judges a plan with code of its own and turns orders into times to print.
//! - [`times`]: a plan with times.
//! - [`violation`]: what can be wrong with a plan, in plain words.
//! - [`mod@explain`]: why a visit was left unplaced.
//! - [`whatif`]: what a placed visit costs, and the cheapest slots for one.
//! - [`replan`]: an issued plan mended after something happened.
//! - [`mod@season`]: all weeks of a season, level.
//!
//! What counts as a good plan is one whole number, in seconds, smaller is better:
//! driving time plus the [price](problem::Visit::price) of every visit left out, plus the prices of
//! [lateness](problem::Late), [changes to what was told](problem::Disturbance), [overtime](problem::Overtime)
//! and [uneven weeks](problem::Level).

pub mod check;
pub mod explain;
pub mod matrix;
mod part;
pub mod problem;
mod refused;
pub mod replan;
pub mod season;
pub mod solve;
pub mod times;
mod timetable;
pub mod violation;
pub mod whatif;
mod words;

pub use check::check;
pub use explain::{Reason, explain};
pub use matrix::{Matrix, MatrixError};
pub use problem::{Disturbance, GROUPS, Groups, Late, Level, Lock, Lunch, Overtime, Problem, Shift, Skills, Told, Visit, Window};
pub use refused::ProblemError;
pub use replan::{Change, Difference, Kind, Mended, Mending};
pub use season::{Season, areas, season};
pub use solve::{Effort, Plan, Progress, improve, solve, solve_paced};
pub use times::{LunchPlace, TimedLunch, TimedPlan, TimedRoute, TimedStop};
pub use violation::Violation;
pub use whatif::{Share, Slot, shares, what_if};

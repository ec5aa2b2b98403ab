//! The water of a unit: what the dose function needs to know, the tests, the doses, the history.

mod context;
mod facts;
mod history;

pub use context::{LastTest, UnitWater, ready_product, unit_waters};
pub use facts::{Maker, NewDose, NewReading, NewTest, What, add_dose, add_test, supersede_report};
pub use history::{DoseLine, TestLine, doses, latest_lines, tests};

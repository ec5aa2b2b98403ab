//! The water of a unit: what the dose function needs to know, the tests, the doses, the history.

mod context;
mod expected;
mod facts;
mod foresee;
mod history;
mod record;
mod taken_out;

pub use context::{LastTest, UnitWater, ready_product, unit_waters};
pub use expected::expected_doses;
pub use facts::{
    Event, Maker, NewDose, NewEvent, NewReading, NewTest, What, add_dose, add_event, add_test, end_reported_fills, supersede_report,
};
pub use foresee::{Fleet, HeldUnit, Loser, Loss, Seen, UsualLosses, foresee, held, keep_foreseen, losing, low_and_held, usual_losses};
pub use history::{DoseLine, Figures, Line, TestLine, doses, figures, latest_lines, tests};
pub use record::{UnitRecord, records};
pub use taken_out::{Fact, FactLine, OutLine, TakeOut, fact_lines, take_out, taken_out};

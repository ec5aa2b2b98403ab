//! What is due: worked out by the season room from facts, kept as rows so that pages stay quick.

mod facts;
mod list;

pub use facts::{proposals, refresh, refresh_if_old, worked_out_on};
pub use list::{DueLine, Filter, ask, counts, lines, of_unit, of_units};

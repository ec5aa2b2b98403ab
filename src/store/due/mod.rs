//! What is due: worked out by the season room from facts, kept as rows so that pages stay quick.

mod elsewhere;
mod facts;
mod list;

pub use elsewhere::{DoneLine, DoneRow, RequestLine, add_done, done_of_unit, requests_of_unit, take_back_done, withdraw};
pub use facts::{proposals, refresh, refresh_if_old, worked_out_on};
pub use list::{Counts, DueLine, Filter, ask, counts, lines, of_unit, of_units};

//! The season room: job kinds, due windows, what is due and why, and how much it matters.
//!
//! Pure: no database, no network, no clock; today comes in. Every due date is a civil date worked out from an
//! anchor, never from the date before it, so nothing drifts.

pub mod due;
pub mod job;
pub mod join;
pub mod onset;
pub mod priority;
pub mod rule;
pub mod suits;
pub mod window;

pub use due::{Cause, DoseFact, DueItem, DueRules, FillState, Request, Status, TestBy, UnitFacts, due};
pub use job::{Cadence, JobKind, JobKindError, Seasons};
pub use join::{ProposedVisit, join};
pub use onset::{MonthlyNormals, OnsetRules};
pub use priority::{Penalties, Priority, late_price, narrowed, penalty, planned_penalty, priority};
pub use rule::{MonthDays, Nth, Pattern, Rule, RuleError};
pub use suits::{Suit, SuitsError, not_before, parse_suits, suits_text};
pub use window::{DueWindow, MonthDay, SeasonCalendar, SeasonName, WindowError, WindowState};

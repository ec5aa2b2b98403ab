//! Who comes and when, as a unit's page and its customer's tell it.

use super::super::words::{self, State};
use crate::{
    store::week::{self, Coming},
    units::{day_short, time_of_day},
};
use uuid::Uuid;

/// A visit that stands on a day.
pub(super) struct ComingView {
    pub(super) visit_id: Uuid,
    pub(super) unit_id: Uuid,
    pub(super) state: State,
    /// "Mon Nov 30, 7:59 am to 8:59 am, Juno Haddlesey"
    pub(super) when: String,
    pub(super) week: String,
    /// The technician does not see it yet.
    pub(super) draft: bool,
}

impl From<Coming> for ComingView {
    fn from(c: Coming) -> Self {
        let otherwise = c.told_otherwise().map(|t| format!("; they count on {}: call them", words::told(t))).unwrap_or_default();
        Self {
            visit_id: c.visit_id,
            unit_id: c.unit_id,
            state: words::visit(if otherwise.is_empty() { &c.status } else { "planned" }),
            when: format!("{}, {} to {}, {}{otherwise}", day_short(c.day), time_of_day(c.starts), time_of_day(c.ends), c.technician),
            week: week::week_name(c.monday),
            draft: !c.issued,
        }
    }
}

//! The week plan: who stands in which yard when. Draft until it is issued; then the technicians see their stops.

mod change;
mod lay;
mod mend;
mod must;
mod read;
mod save;
mod slots;
mod tell;
mod timing;
mod told;
mod trouble;
mod under_way;

pub use change::{Move, cancel, in_order, issue, move_visit, retime, set_suits, suits, take_off};
pub use lay::{Candidate, Held, Laid, LayError, Span, lay, minute_of};
pub use mend::{At, Happened, MendedWeek, Moved, Roads, Torn, keep_mended, torn};
pub use must::{musts, set_must};
pub use read::{
    Coming, Plan, Proposal, RouteRow, Stop, UnplacedCounts, candidates, coming, header, load, routes, stops, unplaced, unplaced_counts,
};
pub use save::{NewPlan, NewRoute, NewVisit, Placed, save};
pub use slots::{Offer, OpenVisit, Wanted, add_jobs, add_visit, offers, open_visit, pins};
pub use tell::{Telling, telling};
pub use timing::{Timing, new_route, placed};
pub use told::{TOLD, Told, agree, confirm, tell};

use time::{Date, Duration};

/// The Monday of the week that holds `day`.
pub fn monday_of(day: Date) -> Date {
    day.saturating_sub(Duration::days(i64::from(day.weekday().number_days_from_monday())))
}

/// "2026-W40", the ISO name of a week.
pub fn week_name(monday: Date) -> String {
    let (year, week, _) = monday.to_iso_week_date();
    format!("{year}-W{week:02}")
}

/// The Monday of a week written as "2026-W40".
pub fn parse_week(text: &str) -> Option<Date> {
    let (year, week) = text.trim().split_once("-W")?;
    Date::from_iso_week_date(year.parse().ok()?, week.parse().ok()?, time::Weekday::Monday).ok()
}

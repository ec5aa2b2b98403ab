//! How much it matters when a visit is left out of a week.
//!
//! The start values below are our own judgement, no source; they are data, to be tuned with the dealer.

use serde::Serialize;
use time::{Date, Duration};

use super::window::DueWindow;
use crate::water::Verdict;

/// Rank 1 to 4, as shown on a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Priority {
    First,
    Next,
    Soon,
    Later,
}

impl Priority {
    /// 1 is the most pressing.
    pub const fn rank(self) -> u8 {
        match self {
            Self::First => 1,
            Self::Next => 2,
            Self::Soon => 3,
            Self::Later => 4,
        }
    }

    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::First => "First",
            Self::Next => "Next",
            Self::Soon => "Soon",
            Self::Later => "Later",
        }
    }

    const fn raised(self) -> Self {
        match self {
            Self::First | Self::Next => Self::First,
            Self::Soon => Self::Next,
            Self::Later => Self::Soon,
        }
    }
}

/// Seconds of driving that leaving a visit out of a week is held to be worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Penalties {
    /// The window closed before the week began.
    pub overdue: u32,
    /// It closes within the week.
    pub this_week: u32,
    /// It closes within the two weeks after.
    pub next_two_weeks: u32,
    /// It closes later.
    pub later: u32,
    /// All of these in per cent of themselves when the last verdict was "Very low".
    pub very_low_percent: u32,
    /// The same when somebody asked for the visit and waits for it.
    pub asked_percent: u32,
}

impl Default for Penalties {
    fn default() -> Self {
        Self { overdue: 28_800, this_week: 14_400, next_two_weeks: 3_600, later: 1_200, very_low_percent: 200, asked_percent: 200 }
    }
}

/// Where a window's end lies, seen from a week of seven days.
const fn place(window: DueWindow, week: Date) -> Priority {
    let days_left = window.closes().to_julian_day() - week.to_julian_day();
    match days_left {
        ..0 => Priority::First,
        0..7 => Priority::Next,
        7..21 => Priority::Soon,
        _ => Priority::Later,
    }
}

/// Penalty in seconds for leaving the visit out of the seven days from `week` on; 0 when its window opens after
/// them, as it cannot be done then. A visit that somebody `asked` for counts as if it closed sooner, and for more than routine
/// of that rank: a heater that stands still is not left to wait for good behind a season's start-ups.
pub fn penalty(window: DueWindow, week: Date, last_verdict: Option<Verdict>, asked: bool, penalties: &Penalties) -> u32 {
    if window.opens() > week.saturating_add(Duration::days(6)) {
        return 0;
    }
    let place = place(window, week);
    let base = match if asked { place.raised() } else { place } {
        Priority::First => penalties.overdue,
        Priority::Next => penalties.this_week,
        Priority::Soon => penalties.next_two_weeks,
        Priority::Later => penalties.later,
    };
    let very_low = if last_verdict == Some(Verdict::VeryLow) { penalties.very_low_percent } else { 100 };
    let waited_for = if asked { penalties.asked_percent } else { 100 };
    let raised = u64::from(base) * u64::from(very_low.max(waited_for)) / 100;
    u32::try_from(raised).unwrap_or(u32::MAX)
}

/// The penalty with the season's plan in mind: a visit that the plan puts into this week, or put into an earlier one, is worth
/// no less than one whose window closes now; one that is planned for later is only filled in where it costs little.
pub fn planned_penalty(penalty: u32, planned: Option<Date>, week: Date, penalties: &Penalties) -> u32 {
    match planned {
        Some(monday) if monday <= week && penalty > 0 => penalty.max(penalties.this_week),
        Some(_) if penalty < penalties.this_week => penalty.min(penalties.later),
        _ => penalty,
    }
}

/// Seconds of driving that each day after the window is worth, from minutes a day: twice as much where the water was very low
/// or is foreseen to be low before the window closes.
pub fn late_price(minutes_a_day: i32, last_verdict: Option<Verdict>, low_before_it_closes: bool) -> i64 {
    let presses = low_before_it_closes || last_verdict == Some(Verdict::VeryLow);
    i64::from(minutes_a_day) * 60 * if presses { 2 } else { 1 }
}

/// The window as the forecast narrows it: the water is to be tested by `test_by`, if that lies inside.
pub fn narrowed(window: DueWindow, test_by: Option<Date>) -> DueWindow {
    let closes = test_by.filter(|by| (window.opens()..=window.closes()).contains(by)).unwrap_or(window.closes());
    DueWindow::new(window.opens(), closes).unwrap_or(window)
}

/// The rank today: past due first, then what closes within 7 days, within 21, later; one higher once the window
/// is open and the last verdict was "Very low", or somebody `asked` for it: a heater that stands still does not wait behind a
/// season's routine.
pub fn priority(window: DueWindow, today: Date, last_verdict: Option<Verdict>, asked: bool) -> Priority {
    let base = place(window, today);
    let presses = asked || last_verdict == Some(Verdict::VeryLow);
    if presses && window.opens() <= today { base.raised() } else { base }
}

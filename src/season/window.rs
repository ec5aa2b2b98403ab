//! Due windows and the season calendar, in civil dates.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;
use time::{Date, Duration, Month};

use crate::units::{day_with_year, month_day};

/// Why a window or a season is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum WindowError {
    #[error("A window must open on or before the day it closes.")]
    Reversed,
    #[error("That day does not come in every year. Choose another.")]
    NotEveryYear,
    #[error("A season must open and close within the year it belongs to.")]
    OtherYear,
}

/// First to last good day for a job, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DueWindow {
    opens: Date,
    closes: Date,
}

impl DueWindow {
    pub fn new(opens: Date, closes: Date) -> Result<Self, WindowError> {
        if opens <= closes { Ok(Self { opens, closes }) } else { Err(WindowError::Reversed) }
    }

    /// From `first` to `last` days after `day`; a `last` before `first` counts as `first`.
    pub fn days_after(day: Date, first: u16, last: u16) -> Self {
        let after = |days: u16| day.saturating_add(Duration::days(i64::from(days)));
        Self { opens: after(first), closes: after(last.max(first)) }
    }

    pub const fn opens(self) -> Date {
        self.opens
    }

    pub const fn closes(self) -> Date {
        self.closes
    }

    /// The same window, opening no earlier than `day`; None when it closes before.
    pub fn not_before(self, day: Date) -> Option<Self> {
        Self::new(self.opens.max(day), self.closes).ok()
    }

    /// The days both windows hold.
    pub fn intersection(self, other: Self) -> Option<Self> {
        Self::new(self.opens.max(other.opens), self.closes.min(other.closes)).ok()
    }

    /// The state on a day. `closing_days` before the end the window counts as closing.
    pub fn state(self, today: Date, closing_days: u16) -> WindowState {
        let days = |from: Date, to: Date| u32::try_from((to - from).whole_days()).unwrap_or(0);
        if today < self.opens {
            WindowState::NotYet { opens: self.opens }
        } else if today > self.closes {
            WindowState::Past { days: days(self.closes, today) }
        } else if days(today, self.closes) <= u32::from(closing_days) {
            WindowState::Closing { days: days(today, self.closes) }
        } else {
            WindowState::Open
        }
    }
}

/// Where a job stands on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WindowState {
    NotYet { opens: Date },
    Open,
    Closing { days: u32 },
    Past { days: u32 },
    Done { on: Date },
}

impl WindowState {
    /// In plain words: "Opens Nov 2", "Window open", "Closes in 3 days", "Past due 6 days", "Done Oct 5".
    /// Another year than today's is named.
    pub fn words(self, today: Date) -> String {
        let day = |date: Date| if date.year() == today.year() { month_day(date) } else { day_with_year(date) };
        match self {
            Self::NotYet { opens } => format!("Opens {}", day(opens)),
            Self::Open => "Window open".to_owned(),
            Self::Closing { days: 0 } => "Closes today".to_owned(),
            Self::Closing { days: 1 } => "Closes in 1 day".to_owned(),
            Self::Closing { days } => format!("Closes in {days} days"),
            Self::Past { days: 1 } => "Past due 1 day".to_owned(),
            Self::Past { days } => format!("Past due {days} days"),
            Self::Done { on } => format!("Done {}", day(on)),
        }
    }

    /// True once the window has opened and nothing is done.
    pub const fn has_opened(self) -> bool {
        matches!(self, Self::Open | Self::Closing { .. } | Self::Past { .. })
    }
}

/// A service season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SeasonName {
    Spring,
    Fall,
}

impl fmt::Display for SeasonName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Spring => "spring",
            Self::Fall => "fall",
        })
    }
}

/// A day that comes in every year (never Feb 29).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MonthDay {
    month: u8,
    day: u8,
}

impl MonthDay {
    pub fn new(month: Month, day: u8) -> Result<Self, WindowError> {
        // 2025 is a common year: what it holds, every year holds.
        Date::from_calendar_date(2025, month, day).map_err(|_| WindowError::NotEveryYear)?;
        Ok(Self { month: month.into(), day })
    }

    pub const fn month(self) -> u8 {
        self.month
    }

    pub const fn day(self) -> u8 {
        self.day
    }

    /// This day in a year; None outside the calendar.
    fn in_year(self, year: i32) -> Option<Date> {
        let month = Month::try_from(self.month).ok()?;
        Date::from_calendar_date(year, month, self.day).ok()
    }
}

/// The dealer's seasons: spring and fall windows by month and day, either of which may differ in one year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeasonCalendar {
    spring: (MonthDay, MonthDay),
    fall: (MonthDay, MonthDay),
    one_year: BTreeMap<(i32, SeasonName), DueWindow>,
}

impl SeasonCalendar {
    /// Each season as (opens, closes) within one calendar year.
    pub fn new(spring: (MonthDay, MonthDay), fall: (MonthDay, MonthDay)) -> Result<Self, WindowError> {
        if spring.0 > spring.1 || fall.0 > fall.1 {
            return Err(WindowError::Reversed);
        }
        Ok(Self { spring, fall, one_year: BTreeMap::new() })
    }

    /// The same calendar with another window for one season of one year; it must lie within that year.
    pub fn with_year(mut self, year: i32, season: SeasonName, window: DueWindow) -> Result<Self, WindowError> {
        if window.opens.year() != year || window.closes.year() != year {
            return Err(WindowError::OtherYear);
        }
        self.one_year.insert((year, season), window);
        Ok(self)
    }

    /// The window of a season in a year; None only outside the calendar's years.
    pub fn window(&self, year: i32, season: SeasonName) -> Option<DueWindow> {
        if let Some(window) = self.one_year.get(&(year, season)) {
            return Some(*window);
        }
        let (opens, closes) = match season {
            SeasonName::Spring => self.spring,
            SeasonName::Fall => self.fall,
        };
        DueWindow::new(opens.in_year(year)?, closes.in_year(year)?).ok()
    }

    /// The season that `today` lies in, else the next one to open.
    pub fn current_or_next(&self, today: Date) -> Option<(SeasonName, DueWindow)> {
        let years = [today.year(), today.year() + 1];
        let all = years.into_iter().flat_map(|y| [SeasonName::Spring, SeasonName::Fall].map(|name| (name, self.window(y, name))));
        let ahead = all.filter_map(|(name, window)| Some((name, window?))).filter(|(_, window)| window.closes >= today);
        ahead.min_by_key(|(_, window)| window.closes)
    }
}

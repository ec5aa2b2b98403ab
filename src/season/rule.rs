//! Recurring civil dates from an anchor.
//!
//! Semantics of RFC 5545 (section 3.3.10): the k-th period is counted from the anchor, never from the date
//! before; a yearly rule anchored on Feb 29 recurs only in leap years; a monthly rule on the 31st skips shorter
//! months. The anchor itself counts when it fits the pattern.

use std::num::NonZeroU16;
use std::ops::RangeInclusive;

use thiserror::Error;
use time::{Date, Month, Weekday};

/// Which weekday of a month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Nth {
    First,
    Second,
    Third,
    Fourth,
    /// Only in months that have five.
    Fifth,
    Last,
}

/// A set of days of the month, not empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct MonthDays(u32);

/// Why a rule is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum RuleError {
    #[error("Days of the month run from 1 to 31, and there must be at least one.")]
    MonthDays,
    #[error("The interval must be at least 1.")]
    Interval,
}

impl MonthDays {
    /// The days of a range, as `2..=8`.
    pub fn range(days: RangeInclusive<u8>) -> Result<Self, RuleError> {
        Self::of(&days.collect::<Vec<_>>())
    }

    /// The listed days.
    pub fn of(days: &[u8]) -> Result<Self, RuleError> {
        if days.is_empty() || days.iter().any(|day| !(1..=31).contains(day)) {
            return Err(RuleError::MonthDays);
        }
        Ok(Self(days.iter().fold(0, |set, day| set | 1 << day)))
    }

    /// True when the day of the month is in the set.
    pub const fn holds(self, day: u8) -> bool {
        day <= 31 && self.0 >> day & 1 == 1
    }
}

/// What recurs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pattern {
    /// The anchor's day and month.
    Yearly,
    /// The anchor's day of the month.
    Monthly,
    /// The n-th weekday of one month of the year.
    YearlyWeekday { month: Month, nth: Nth, weekday: Weekday },
    /// Each such weekday of one month that falls on one of these days.
    YearlyWeekdayAmong { month: Month, weekday: Weekday, days: MonthDays },
}

/// A pattern, every so many years (or months, for [`Pattern::Monthly`]), counted from an anchor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Rule {
    anchor: Date,
    interval: NonZeroU16,
    pattern: Pattern,
}

impl Rule {
    /// `interval` of 1 is every year (or month).
    pub fn new(anchor: Date, interval: u16, pattern: Pattern) -> Result<Self, RuleError> {
        let interval = NonZeroU16::new(interval).ok_or(RuleError::Interval)?;
        Ok(Self { anchor, interval, pattern })
    }

    /// All dates from the anchor on, in order, to the end of the calendar.
    pub fn dates(self) -> impl Iterator<Item = Date> {
        self.dates_from_period(0)
    }

    /// The first date on or after `day`, if the calendar holds one.
    pub fn on_or_after(self, day: Date) -> Option<Date> {
        let months = months_of(day) - months_of(self.anchor);
        let per_period = i32::from(self.interval.get()) * if self.pattern == Pattern::Monthly { 1 } else { 12 };
        let period = (months / per_period - 1).max(0);
        self.dates_from_period(period).find(|date| *date >= day)
    }

    fn dates_from_period(self, first: i32) -> impl Iterator<Item = Date> {
        let periods = (first..).map_while(move |period| self.period(period));
        periods.flat_map(move |(year, month)| self.within(year, month)).filter(move |date| *date >= self.anchor)
    }

    /// Year and month of the k-th period; none after the last year of the calendar.
    fn period(self, k: i32) -> Option<(i32, Month)> {
        let step = i32::from(self.interval.get()).checked_mul(k)?;
        let (year, month) = match self.pattern {
            Pattern::Monthly => {
                let months = months_of(self.anchor).checked_add(step)?;
                (months.div_euclid(12), month_at(months.rem_euclid(12)))
            }
            Pattern::Yearly => (self.anchor.year().checked_add(step)?, self.anchor.month()),
            Pattern::YearlyWeekday { month, .. } | Pattern::YearlyWeekdayAmong { month, .. } => {
                (self.anchor.year().checked_add(step)?, month)
            }
        };
        (year <= Date::MAX.year()).then_some((year, month))
    }

    /// The dates of one period, in order.
    fn within(self, year: i32, month: Month) -> Vec<Date> {
        let on = |day: u8| Date::from_calendar_date(year, month, day).ok();
        let weekdays = |wanted: Weekday| (1..=31).filter_map(on).filter(move |date| date.weekday() == wanted);
        match self.pattern {
            Pattern::Yearly | Pattern::Monthly => on(self.anchor.day()).into_iter().collect(),
            Pattern::YearlyWeekday { nth, weekday, .. } => nth.pick(weekdays(weekday)).into_iter().collect(),
            Pattern::YearlyWeekdayAmong { weekday, days, .. } => weekdays(weekday).filter(|date| days.holds(date.day())).collect(),
        }
    }
}

impl Nth {
    fn pick(self, mut dates: impl Iterator<Item = Date>) -> Option<Date> {
        match self {
            Self::First => dates.next(),
            Self::Second => dates.nth(1),
            Self::Third => dates.nth(2),
            Self::Fourth => dates.nth(3),
            Self::Fifth => dates.nth(4),
            Self::Last => dates.last(),
        }
    }
}

fn months_of(day: Date) -> i32 {
    day.year() * 12 + i32::from(u8::from(day.month())) - 1
}

fn month_at(index: i32) -> Month {
    let number = u8::try_from(index + 1).unwrap_or(1);
    Month::try_from(number).unwrap_or(Month::January)
}

//! When the heating season begins and ends at a place, from degree-days and monthly normals, and the service windows around it.
//!
//! Day numbers run from 1 on Jan 1 of a common year. Months are worked at their middle day.

use thiserror::Error;
use time::{Date, Duration};

use super::window::{DueWindow, MonthDay, WindowError};
use crate::water::forecast::chance::{normal_density, normal_share};

/// Days of the months of a common year.
const DAYS: [u16; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
const YEAR: f64 = 365.0;

/// Why there is no onset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum OnsetError {
    #[error("The twelve monthly means must be numbers from -60 to 60 °C (-76 to 140 °F).")]
    Normals,
    #[error("The spread of daily means must be a number above 0.")]
    Spread,
    #[error("These normals never fall below the threshold: there is no heating season.")]
    NeverCold,
    #[error("These normals never rise above the threshold: it heats all year.")]
    AlwaysCold,
    #[error(transparent)]
    Window(#[from] WindowError),
}

/// Heating degree-days of one day: how far its mean lies below the base, in the same scale (18.33 °C or 65 °F in the US).
pub fn daily_degree_days(mean: f64, base: f64) -> f64 {
    (base - mean).max(0.0)
}

/// Heating degree-days of a month from its mean and the standard deviation of its daily means, all in one scale:
/// `s N (Z Φ(Z) + φ(Z))`, `Z = (base - mean)/s` (daily means taken as normal; handbook form).
pub fn monthly_degree_days(mean: f64, spread: f64, days: u8, base: f64) -> Result<f64, OnsetError> {
    if !(spread.is_finite() && spread > 0.0) {
        return Err(OnsetError::Spread);
    }
    if !(mean.is_finite() && base.is_finite()) {
        return Err(OnsetError::Normals);
    }
    let z = (base - mean) / spread;
    Ok(spread * f64::from(days) * (z * normal_share(z) + normal_density(z)).max(0.0))
}

/// The mean temperature of each month of a place, °C, January first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthlyNormals([f64; 12]);

/// The day, within a common year, on which the season begins or ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season {
    /// In fall, the mean falls below the threshold.
    pub onset: f64,
    /// In spring, it rises above it.
    pub end: f64,
}

/// The dealer's figures for the windows around a season (data; common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnsetRules {
    /// Heating begins when the mean of the days falls below this, °C.
    pub threshold: f64,
    /// The fall window opens so many days before the onset.
    pub fall_opens_before: u16,
    /// It closes so many days before it.
    pub fall_closes_before: u16,
    /// The spring window is open for so many days from the end of the season.
    pub spring_days: u16,
}

impl Default for OnsetRules {
    fn default() -> Self {
        Self { threshold: 15.0, fall_opens_before: 42, fall_closes_before: 14, spring_days: 42 }
    }
}

impl MonthlyNormals {
    pub fn new(celsius: [f64; 12]) -> Result<Self, OnsetError> {
        let fine = celsius.iter().all(|mean| (-60.0..=60.0).contains(mean));
        if fine { Ok(Self(celsius)) } else { Err(OnsetError::Normals) }
    }

    /// Onset and end of the season, between the middles of months on a straight line.
    pub fn season(&self, threshold: f64) -> Result<Season, OnsetError> {
        if !threshold.is_finite() {
            return Err(OnsetError::Normals);
        }
        if self.0.iter().all(|mean| *mean >= threshold) {
            return Err(OnsetError::NeverCold);
        }
        if self.0.iter().all(|mean| *mean < threshold) {
            return Err(OnsetError::AlwaysCold);
        }
        // From the warmest month on to the coldest and back: first fall below, first rise above.
        let warmest = self.extreme(|a, b| a > b);
        let coldest = self.extreme(|a, b| a < b);
        let onset = self.crossing(warmest, |before, after| before >= threshold && after < threshold, threshold);
        let end = self.crossing(coldest, |before, after| before < threshold && after >= threshold, threshold);
        match (onset, end) {
            (Some(onset), Some(end)) => Ok(Season { onset, end }),
            _ => Err(OnsetError::NeverCold),
        }
    }

    fn extreme(&self, better: impl Fn(f64, f64) -> bool) -> usize {
        (0..12).fold(0, |best, month| if better(self.0[month], self.0[best]) { month } else { best })
    }

    /// The first crossing from the middle of `month` on.
    fn crossing(&self, month: usize, crosses: impl Fn(f64, f64) -> bool, threshold: f64) -> Option<f64> {
        (month..month + 12).find_map(|at| {
            let (a, b) = (at % 12, (at + 1) % 12);
            let (before, after) = (self.0[a], self.0[b]);
            crosses(before, after).then(|| {
                let (from, to) = (middle(a), middle(b));
                let length = (to - from).rem_euclid(YEAR);
                let day = from + length * (threshold - before) / (after - before);
                if day >= YEAR + 1.0 { day - YEAR } else { day }
            })
        })
    }

    /// Heating degree-days of the year from these means and the spread of daily means in each month, °C.
    pub fn degree_days(&self, spreads: [f64; 12], base: f64) -> Result<f64, OnsetError> {
        let months = (0..12).map(|m| monthly_degree_days(self.0[m], spreads[m], u8::try_from(DAYS[m]).unwrap_or(30), base));
        months.sum()
    }
}

/// The middle day of a month: 15 days after the day before its first (Sep 15 is day 258).
fn middle(month: usize) -> f64 {
    f64::from(DAYS[..month].iter().sum::<u16>()) + 15.0
}

/// Spring and fall service windows, as (opens, closes) by month and day, for a [`super::SeasonCalendar`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ServiceWindows {
    pub spring: (MonthDay, MonthDay),
    pub fall: (MonthDay, MonthDay),
}

/// The default windows around a season: fall before the onset, spring from the end on. A window that would run past the
/// year's end is held within it.
pub fn service_windows(season: Season, rules: &OnsetRules) -> Result<ServiceWindows, OnsetError> {
    let before = |days: u16| season.onset - f64::from(days);
    let fall = window(before(rules.fall_opens_before), before(rules.fall_closes_before))?;
    let spring = window(season.end, season.end + f64::from(rules.spring_days))?;
    let ends = |w: DueWindow| Ok::<_, OnsetError>((month_day(w.opens())?, month_day(w.closes())?));
    Ok(ServiceWindows { spring: ends(spring)?, fall: ends(fall)? })
}

fn window(opens: f64, closes: f64) -> Result<DueWindow, WindowError> {
    DueWindow::new(date_of(opens), date_of(closes))
}

/// The date of a day number in 2025, a common year; held within it.
fn date_of(day: f64) -> Date {
    #[expect(clippy::cast_possible_truncation, reason = "held within a year")]
    let day = day.clamp(1.0, YEAR).round() as i64;
    time::macros::date!(2025 - 01 - 01).saturating_add(Duration::days(day - 1))
}

/// The day of a day number, as it comes in every year.
pub fn day_of_year(day: f64) -> Result<MonthDay, OnsetError> {
    Ok(month_day(date_of(day))?)
}

fn month_day(date: Date) -> Result<MonthDay, WindowError> {
    MonthDay::new(date.month(), date.day())
}

//! When a backup is made and tried out, and which stay: the newest of each of the last days, weeks and months.

use std::collections::BTreeSet;
use time::{Duration, OffsetDateTime};

/// A backup is tried out after so many days. Common practice, no source.
pub const TRY_EVERY: Duration = Duration::days(30);

/// Whether the next is to be made, by the age of the newest and the hour in the dealer's own time: by night, once a night; by day only
/// where a night was missed, since the machine was off.
pub fn is_time(age: Option<Duration>, hour: u8) -> bool {
    let Some(age) = age else { return true };
    age > Duration::hours(36) || (age > Duration::hours(18) && (1..5).contains(&hour))
}

/// So many days, weeks and months that have a backup keep their newest one. Common practice, no source.
const DAYS: usize = 14;
const WEEKS: usize = 8;
const MONTHS: usize = 24;

/// The indices of those that stay, ascending.
pub fn that_stay(made: &[OffsetDateTime]) -> Vec<usize> {
    let mut newest_first: Vec<usize> = (0..made.len()).collect();
    newest_first.sort_by_key(|i| std::cmp::Reverse(made[*i]));
    let day = |at: OffsetDateTime| i64::from(at.date().to_julian_day());
    let monday = |at: OffsetDateTime| day(at - Duration::days(at.weekday().number_days_from_monday().into()));
    let month = |at: OffsetDateTime| i64::from(at.year()) * 12 + i64::from(u8::from(at.month()));
    let periods: [(usize, &dyn Fn(OffsetDateTime) -> i64); 3] = [(DAYS, &day), (WEEKS, &monday), (MONTHS, &month)];
    let mut stay = BTreeSet::new();
    for (most, period) in periods {
        let mut seen = BTreeSet::new();
        for i in &newest_first {
            if seen.len() < most && seen.insert(period(made[*i])) {
                stay.insert(*i);
            }
        }
    }
    stay.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn once_a_night_and_by_day_what_a_night_missed() {
        let hours = |h| Some(Duration::hours(h));
        assert!(is_time(None, 12) && is_time(hours(24), 2) && is_time(hours(37), 12));
        assert!(!is_time(hours(1), 2) && !is_time(hours(24), 12) && !is_time(hours(30), 5));
    }

    #[test]
    fn a_year_of_nights_leaves_days_weeks_and_months() {
        let made: Vec<OffsetDateTime> = (0..365).map(|d| datetime!(2026-01-01 03:00 UTC) + Duration::days(d)).collect();
        let stay = that_stay(&made);
        assert!(stay.contains(&364) && stay.contains(&351), "the last fourteen nights: {stay:?}");
        assert!(!stay.contains(&350) || made[350].weekday() == time::Weekday::Sunday);
        let months: BTreeSet<u8> = stay.iter().map(|i| u8::from(made[*i].month())).collect();
        assert_eq!(months.len(), 12, "each month has one");
        assert!(stay.len() <= DAYS + WEEKS + MONTHS, "{}", stay.len());
    }

    #[test]
    fn the_newest_always_stays_and_a_second_look_takes_nothing_more() {
        let mut made: Vec<OffsetDateTime> = Vec::new();
        for hour in 0..400_i64 {
            made.push(datetime!(2026-01-01 00:00 UTC) + Duration::hours(hour * 7));
            let stay = that_stay(&made);
            assert_eq!(stay.last(), Some(&(made.len() - 1)));
            made = stay.into_iter().map(|i| made[i]).collect();
            assert_eq!(that_stay(&made).len(), made.len());
        }
    }
}

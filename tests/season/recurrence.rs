//! Recurring dates: checks I3 to I6 and a reference library.

use embertide::season::{MonthDays, Nth, Pattern, Rule, RuleError};
use proptest::prelude::*;
use time::{Date, Duration, Month, Weekday, macros::date};

fn first(rule: Rule, count: usize) -> Vec<Date> {
    rule.dates().take(count).collect()
}

/// RFC 5545 section 3.8.5.3, "U.S. Presidential Election day" (every 4 years, the first Tuesday after a Monday in
/// November). Exact.
#[test]
fn i3_election_days() {
    let days = MonthDays::range(2..=8).unwrap();
    let pattern = Pattern::YearlyWeekdayAmong { month: Month::November, weekday: Weekday::Tuesday, days };
    let rule = Rule::new(date!(1996 - 11 - 05), 4, pattern).unwrap();
    assert_eq!(first(rule, 3), [date!(1996 - 11 - 05), date!(2000 - 11 - 07), date!(2004 - 11 - 02)]);
}

/// First Monday of September from 2025-09-01: python-dateutil. Exact.
#[test]
fn i4_first_monday_of_september() {
    let pattern = Pattern::YearlyWeekday { month: Month::September, nth: Nth::First, weekday: Weekday::Monday };
    let rule = Rule::new(date!(2025 - 09 - 01), 1, pattern).unwrap();
    assert_eq!(first(rule, 4), [date!(2025 - 09 - 01), date!(2026 - 09 - 07), date!(2027 - 09 - 06), date!(2028 - 09 - 04)]);
}

/// Third Tuesday of April: python-dateutil. Exact.
#[test]
fn i5_third_tuesday_of_april() {
    let pattern = Pattern::YearlyWeekday { month: Month::April, nth: Nth::Third, weekday: Weekday::Tuesday };
    let rule = Rule::new(date!(2026 - 01 - 01), 1, pattern).unwrap();
    assert_eq!(first(rule, 3), [date!(2026 - 04 - 21), date!(2027 - 04 - 20), date!(2028 - 04 - 18)]);
}

/// Feb 29 recurs in leap years only; the 31st skips shorter months (RFC 5545 section 3.3.10). Exact.
#[test]
fn i6_short_months_and_leap_years() {
    let leap = Rule::new(date!(2024 - 02 - 29), 1, Pattern::Yearly).unwrap();
    assert_eq!(first(leap, 3), [date!(2024 - 02 - 29), date!(2028 - 02 - 29), date!(2032 - 02 - 29)]);
    let last_days = Rule::new(date!(2025 - 08 - 31), 1, Pattern::Monthly).unwrap();
    assert_eq!(first(last_days, 4), [date!(2025 - 08 - 31), date!(2025 - 10 - 31), date!(2025 - 12 - 31), date!(2026 - 01 - 31)]);
}

/// 94 rules expanded by python-dateutil 2.9.0. Exact.
#[test]
fn a_reference_library_agrees() {
    let mut lines = 0;
    for line in include_str!("recurrence.txt").lines().filter(|line| !line.starts_with('#')) {
        let parts: Vec<&str> = line.split(" | ").collect();
        let rule = Rule::new(iso(parts[0]), parts[1].parse().unwrap(), pattern(parts[2])).unwrap();
        let expected: Vec<Date> = parts[3].split(' ').map(iso).collect();
        assert_eq!(first(rule, expected.len()), expected, "{line}");
        lines += 1;
    }
    assert_eq!(lines, 94);
}

fn iso(text: &str) -> Date {
    embertide::units::parse_date(text).unwrap_or_else(|_| {
        let parts: Vec<u16> = text.split('-').map(|part| part.parse().unwrap()).collect();
        let month = Month::try_from(u8::try_from(parts[1]).unwrap()).unwrap();
        Date::from_calendar_date(parts[0].into(), month, u8::try_from(parts[2]).unwrap()).unwrap()
    })
}

fn pattern(text: &str) -> Pattern {
    let words: Vec<&str> = text.split(' ').collect();
    let nth = match words[0] {
        "Yearly" => return Pattern::Yearly,
        "Monthly" => return Pattern::Monthly,
        "First" => Nth::First,
        "Second" => Nth::Second,
        "Third" => Nth::Third,
        "Fourth" => Nth::Fourth,
        "Fifth" => Nth::Fifth,
        _ => Nth::Last,
    };
    let (weekday, month) = (words[1].parse().unwrap(), words[2].parse().unwrap());
    if words[0] == "Among" {
        let days = MonthDays::range(words[3].parse().unwrap()..=words[4].parse().unwrap()).unwrap();
        return Pattern::YearlyWeekdayAmong { month, weekday, days };
    }
    Pattern::YearlyWeekday { month, nth, weekday }
}

#[test]
fn impossible_rules_are_refused_or_empty() {
    assert_eq!(MonthDays::of(&[]), Err(RuleError::MonthDays));
    assert_eq!(MonthDays::of(&[32]), Err(RuleError::MonthDays));
    assert_eq!(Rule::new(date!(2026 - 01 - 01), 0, Pattern::Yearly), Err(RuleError::Interval));
    let never = MonthDays::of(&[30]).unwrap();
    let pattern = Pattern::YearlyWeekdayAmong { month: Month::February, weekday: Weekday::Monday, days: never };
    assert_eq!(Rule::new(date!(2026 - 01 - 01), 1, pattern).unwrap().dates().next(), None);
    let end = Rule::new(Date::MAX, 1, Pattern::Monthly).unwrap();
    assert_eq!(first(end, 3), [Date::MAX]);
    assert_eq!(Rule::new(Date::MIN, u16::MAX, Pattern::Monthly).unwrap().on_or_after(Date::MAX), None);
}

fn any_pattern() -> impl Strategy<Value = Pattern> {
    let month = (1_u8..=12).prop_map(|n| Month::try_from(n).unwrap());
    let weekday = (0_u8..7).prop_map(|n| Weekday::Monday.nth_next(n));
    let nth = prop_oneof![Just(Nth::First), Just(Nth::Third), Just(Nth::Fifth), Just(Nth::Last)];
    prop_oneof![
        Just(Pattern::Yearly),
        Just(Pattern::Monthly),
        (month.clone(), nth, weekday.clone()).prop_map(|(month, nth, weekday)| Pattern::YearlyWeekday { month, nth, weekday }),
        (month, weekday, 1_u8..=28).prop_map(|(month, weekday, day)| {
            Pattern::YearlyWeekdayAmong { month, weekday, days: MonthDays::range(day..=day + 3).unwrap() }
        }),
    ]
}

proptest! {
    #![proptest_config(crate::cases(500))]

    /// Jumping to a day finds the same date as walking from the anchor: anchors never drift.
    #[test]
    fn jumping_is_walking(pattern in any_pattern(), anchor in 0_i64..40_000, interval in 1_u16..6, ahead in -500_i64..20_000) {
        let anchor = date!(1960 - 01 - 01) + Duration::days(anchor);
        let day = anchor + Duration::days(ahead);
        let rule = Rule::new(anchor, interval, pattern).unwrap();
        let walked = rule.dates().find(|date| *date >= day);
        prop_assert_eq!(rule.on_or_after(day), walked);
        let dates: Vec<Date> = rule.dates().take(20).collect();
        prop_assert!(dates.is_sorted() && dates.first().is_none_or(|date| *date >= anchor));
    }
}

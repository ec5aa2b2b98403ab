//! Due windows, the season calendar and the week's penalties.

use embertide::season::{
    DueWindow, MonthDay, Penalties, Priority, SeasonCalendar, SeasonName, WindowError, WindowState, penalty, priority,
};
use embertide::water::Verdict;
use proptest::prelude::*;
use time::{Date, Duration, Month, macros::date};

use crate::example::{calendar, day};

fn window(opens: Date, closes: Date) -> DueWindow {
    DueWindow::new(opens, closes).unwrap()
}

#[test]
fn states_and_their_words() {
    let fall = window(date!(2026 - 09 - 07), date!(2026 - 10 - 30));
    let words = |today| fall.state(today, 7).words(today);
    assert_eq!(words(date!(2026 - 09 - 06)), "Opens Sep 7");
    assert_eq!(words(date!(2025 - 12 - 31)), "Opens Sep 7, 2026");
    assert_eq!(words(date!(2026 - 09 - 07)), "Window open");
    assert_eq!(words(date!(2026 - 10 - 22)), "Window open");
    assert_eq!(words(date!(2026 - 10 - 23)), "Closes in 7 days");
    assert_eq!(words(date!(2026 - 10 - 27)), "Closes in 3 days");
    assert_eq!(words(date!(2026 - 10 - 29)), "Closes in 1 day");
    assert_eq!(words(date!(2026 - 10 - 30)), "Closes today");
    assert_eq!(words(date!(2026 - 10 - 31)), "Past due 1 day");
    assert_eq!(words(date!(2026 - 11 - 05)), "Past due 6 days");
    assert_eq!(WindowState::Done { on: date!(2026 - 10 - 05) }.words(date!(2026 - 10 - 30)), "Done Oct 5");
    assert_eq!(DueWindow::new(date!(2026 - 10 - 30), date!(2026 - 10 - 29)), Err(WindowError::Reversed));
}

#[test]
fn a_season_may_differ_in_one_year() {
    let late = window(date!(2027 - 09 - 20), date!(2027 - 11 - 12));
    let calendar = calendar().with_year(2027, SeasonName::Fall, late).unwrap();
    assert_eq!(calendar.window(2027, SeasonName::Fall), Some(late));
    assert_eq!(calendar.window(2026, SeasonName::Fall), Some(window(date!(2026 - 09 - 07), date!(2026 - 10 - 30))));
    assert_eq!(calendar.window(2028, SeasonName::Spring), Some(window(date!(2028 - 04 - 13), date!(2028 - 05 - 22))));
    assert_eq!(calendar.window(10_000, SeasonName::Spring), None);
    let over_new_year = window(date!(2027 - 11 - 20), date!(2028 - 01 - 12));
    assert_eq!(calendar.with_year(2027, SeasonName::Fall, over_new_year), Err(WindowError::OtherYear));
}

#[test]
fn a_reversed_season_or_leap_day_is_refused() {
    let (early, late) = (day(Month::April, 1), day(Month::May, 1));
    assert_eq!(SeasonCalendar::new((late, early), (early, late)), Err(WindowError::Reversed));
    assert_eq!(SeasonCalendar::new((early, late), (late, early)), Err(WindowError::Reversed));
    assert_eq!(MonthDay::new(Month::February, 29), Err(WindowError::NotEveryYear));
    assert_eq!(MonthDay::new(Month::June, 31), Err(WindowError::NotEveryYear));
}

/// Start values of our own, no source.
#[test]
fn a_visit_left_out_costs_more_the_later_it_is() {
    let week = date!(2026 - 10 - 12);
    let closing = |closes| penalty(window(date!(2026 - 09 - 07), closes), week, None, false, &Penalties::default());
    assert_eq!(closing(date!(2026 - 10 - 11)), 28_800);
    assert_eq!((closing(date!(2026 - 10 - 12)), closing(date!(2026 - 10 - 18))), (14_400, 14_400));
    assert_eq!((closing(date!(2026 - 10 - 19)), closing(date!(2026 - 11 - 01))), (3_600, 3_600));
    assert_eq!(closing(date!(2026 - 11 - 02)), 1_200);
    let opens_late = window(date!(2026 - 10 - 19), date!(2026 - 10 - 30));
    assert_eq!(penalty(opens_late, week, None, true, &Penalties::default()), 0, "cannot be done that week");
    let very_low = penalty(window(week, date!(2026 - 10 - 30)), week, Some(Verdict::VeryLow), false, &Penalties::default());
    assert_eq!(very_low, 7_200);
    let asked = |closes| penalty(window(date!(2026 - 09 - 07), closes), week, None, true, &Penalties::default());
    assert_eq!(asked(date!(2026 - 11 - 01)), 28_800, "as much as routine past its window");
    assert_eq!((asked(date!(2026 - 10 - 18)), asked(date!(2026 - 10 - 11))), (57_600, 57_600), "before any routine in the last week");
    assert_eq!(asked(date!(2026 - 11 - 02)), 7_200);
    let both = penalty(window(week, date!(2026 - 10 - 30)), week, Some(Verdict::VeryLow), true, &Penalties::default());
    assert_eq!(both, 28_800, "twice, not four times");
}

#[test]
fn ranks_have_a_number_and_a_word() {
    let today = date!(2026 - 10 - 12);
    let rank = |closes, verdict| priority(window(date!(2026 - 09 - 07), closes), today, verdict, false);
    assert_eq!(rank(date!(2026 - 10 - 11), None), Priority::First);
    assert_eq!(rank(date!(2026 - 10 - 18), None), Priority::Next);
    assert_eq!(rank(date!(2026 - 10 - 30), None), Priority::Soon);
    assert_eq!(rank(date!(2026 - 12 - 30), None), Priority::Later);
    assert_eq!(rank(date!(2026 - 12 - 30), Some(Verdict::Low)), Priority::Later);
    assert_eq!(rank(date!(2026 - 12 - 30), Some(Verdict::VeryLow)), Priority::Soon);
    let asked = |closes, verdict| priority(window(date!(2026 - 10 - 09), closes), today, verdict, true);
    assert_eq!((asked(date!(2026 - 10 - 23), None), asked(date!(2026 - 10 - 13), None)), (Priority::Next, Priority::First));
    assert_eq!(asked(date!(2026 - 10 - 23), Some(Verdict::VeryLow)), Priority::Next, "one higher, not two");
    assert_eq!((Priority::First.rank(), Priority::Later.rank(), Priority::Next.word()), (1, 4, "Next"));
}

proptest! {
    #![proptest_config(crate::cases(1_000))]

    #[test]
    fn penalties_never_fall_as_weeks_pass(opens in 0_i64..400, length in 0_i64..100, week in 0_i64..500, very_low: bool, asked: bool) {
        let start = date!(2024 - 01 - 01);
        let opens = start + Duration::days(opens);
        let window = window(opens, opens + Duration::days(length));
        let verdict = very_low.then_some(Verdict::VeryLow);
        let at = |days| penalty(window, start + Duration::days(days), verdict, asked, &Penalties::default());
        prop_assert!(at(week) <= at(week + 1));
        let rank = |days| priority(window, start + Duration::days(days), verdict, asked);
        prop_assert!(rank(week) >= rank(week + 1));
    }

    #[test]
    fn an_intersection_lies_in_both(a in 0_i64..60, b in 0_i64..60, la in 0_i64..30, lb in 0_i64..30) {
        let at = |days| date!(2024 - 02 - 01) + Duration::days(days);
        let (x, y) = (window(at(a), at(a + la)), window(at(b), at(b + lb)));
        let shared = (0..=100).map(at).filter(|day| (x.opens()..=x.closes()).contains(day) && (y.opens()..=y.closes()).contains(day));
        let shared: Vec<Date> = shared.collect();
        let expected = shared.first().zip(shared.last()).map(|(first, last)| window(*first, *last));
        prop_assert_eq!(x.intersection(y), expected);
    }
}

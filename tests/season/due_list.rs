//! Who is due, when and why, on worked cases.

use embertide::season::{
    Cadence, Cause, DoseFact, DueRules, DueWindow, FillState, JobKind, JobKindError, Priority, SeasonName, Status, TestBy, UnitFacts,
    WindowState, due,
};
use embertide::water::Verdict;
use time::{Date, macros::date};

use crate::example::{calendar, kinds, of, on, request, unit};

fn tested(day: Date) -> UnitFacts {
    UnitFacts { last_test_on: Some(day), ..unit() }
}

#[test]
fn a_season_is_due_until_done_or_until_the_next_one_opens() {
    let facts = tested(date!(2025 - 10 - 09));
    let before = of(&on(&facts, date!(2026 - 04 - 12)), "water-test").unwrap();
    assert_eq!(before.state, WindowState::NotYet { opens: date!(2026 - 04 - 13) });
    assert_eq!(before.reason, "Water test for spring 2026; last one Oct 9, 2025");
    let open = of(&on(&facts, date!(2026 - 04 - 13)), "water-test").unwrap();
    assert_eq!(open.reason, "No water test since Oct 9, 2025");
    assert_eq!(open.cause, Cause::Season { season: SeasonName::Spring, year: 2026 });
    let missed = of(&on(&facts, date!(2026 - 09 - 06)), "water-test").unwrap();
    assert_eq!(missed.state, WindowState::Past { days: 107 });
    assert_eq!(missed.priority, Priority::First);
    let fall = of(&on(&facts, date!(2026 - 09 - 07)), "water-test").unwrap();
    assert_eq!(fall.cause, Cause::Season { season: SeasonName::Fall, year: 2026 });
    assert_eq!(fall.state, WindowState::Open);
}

#[test]
fn a_missed_fall_is_still_missed_after_new_year() {
    let facts = tested(date!(2025 - 05 - 01));
    for today in [date!(2025 - 12 - 31), date!(2026 - 01 - 01), date!(2026 - 04 - 12)] {
        let item = of(&on(&facts, today), "water-test").unwrap();
        assert_eq!(item.cause, Cause::Season { season: SeasonName::Fall, year: 2025 }, "{today}");
        assert!(matches!(item.state, WindowState::Past { .. }));
    }
    let late = tested(date!(2026 - 01 - 05));
    assert_eq!(of(&on(&late, date!(2026 - 01 - 06)), "water-test"), None, "done late counts for the fall");
    assert!(of(&on(&late, date!(2026 - 04 - 13)), "water-test").is_some(), "and not for the spring");
}

#[test]
fn work_done_early_counts_from_the_lead_time_on() {
    // Thirty days before September 7 is August 8.
    assert_eq!(of(&on(&tested(date!(2026 - 08 - 08)), date!(2026 - 09 - 10)), "water-test"), None);
    assert!(of(&on(&tested(date!(2026 - 08 - 07)), date!(2026 - 09 - 10)), "water-test").is_some());
    let mut cleaned = unit();
    cleaned.last_done.insert("clean".into(), date!(2025 - 11 - 20));
    assert_eq!(of(&on(&cleaned, date!(2026 - 04 - 20)), "clean"), None, "a late clean of last year");
    cleaned.last_done.insert("clean".into(), date!(2025 - 10 - 20));
    assert!(of(&on(&cleaned, date!(2026 - 04 - 20)), "clean").is_some());
}

#[test]
fn nothing_is_due_before_the_unit_was_there() {
    let facts = UnitFacts { fill: FillState::FilledOn(date!(2026 - 10 - 20)), ..unit() };
    let item = of(&on(&facts, date!(2026 - 10 - 25)), "fall-start").unwrap();
    assert_eq!(item.window, DueWindow::new(date!(2026 - 10 - 20), date!(2026 - 10 - 30)).unwrap());
    let after_the_season = UnitFacts { fill: FillState::FilledOn(date!(2026 - 11 - 02)), ..unit() };
    assert!(on(&after_the_season, date!(2026 - 11 - 10)).is_empty());
    let not_installed = UnitFacts { fill: FillState::NotYetFilled, ..unit() };
    assert!(on(&not_installed, date!(2026 - 10 - 10)).is_empty());
}

#[test]
fn a_new_unit_waits_only_for_its_first_fill() {
    let facts = UnitFacts { fill: FillState::NotYetFilled, installed_on: Some(date!(2026 - 10 - 03)), ..unit() };
    let items = on(&facts, date!(2026 - 10 - 05));
    assert_eq!(items.len(), 1);
    assert_eq!(items[0].kind, "first-fill");
    assert_eq!(items[0].reason, "Installed Oct 3, 2026, not filled yet");
    assert_eq!(items[0].window.closes(), date!(2026 - 10 - 17));
}

#[test]
fn a_dose_is_rechecked_in_its_own_window() {
    let dosed =
        |rechecked_on| UnitFacts { last_dose: Some(DoseFact { on: date!(2026 - 10 - 12), rechecked_on }), ..tested(date!(2026 - 10 - 12)) };
    let item = of(&on(&dosed(None), date!(2026 - 10 - 14)), "recheck").unwrap();
    assert_eq!(item.reason, "Re-check the dose of Oct 12");
    assert_eq!(item.state, WindowState::NotYet { opens: date!(2026 - 10 - 19) });
    assert_eq!(of(&on(&dosed(None), date!(2027 - 01 - 02)), "recheck").unwrap().reason, "Re-check the dose of Oct 12, 2026");
    assert_eq!(of(&on(&dosed(Some(date!(2026 - 10 - 20))), date!(2026 - 10 - 21)), "recheck"), None);
    let tested_since = UnitFacts { last_test_on: Some(date!(2026 - 10 - 19)), ..dosed(None) };
    assert_eq!(of(&on(&tested_since, date!(2026 - 10 - 21)), "recheck"), None);
    let too_soon = UnitFacts { last_test_on: Some(date!(2026 - 10 - 13)), ..dosed(None) };
    assert!(of(&on(&too_soon, date!(2026 - 10 - 21)), "recheck").is_some());
}

#[test]
fn requests_of_a_kind_are_one_item() {
    let requests = vec![request("repair", date!(2026 - 10 - 05), "door seal"), request("repair", date!(2026 - 10 - 03), "fan is loud")];
    let items = on(&UnitFacts { requests, ..tested(date!(2026 - 10 - 01)) }, date!(2026 - 10 - 06));
    let item = of(&items, "repair").unwrap();
    assert_eq!(item.reason, "Asked for on Oct 3: fan is loud; door seal");
    assert_eq!(item.window, DueWindow::new(date!(2026 - 10 - 03), date!(2026 - 10 - 17)).unwrap());
    let asked = UnitFacts { requests: vec![request("water-test", date!(2026 - 10 - 25), "")], ..unit() };
    let both = of(&on(&asked, date!(2026 - 10 - 26)), "water-test").unwrap();
    assert_eq!(both.reason, "No water test on record. Asked for on Oct 25");
    assert_eq!(both.window.closes(), date!(2026 - 10 - 30), "the tighter window");
    assert!(both.cause.is_asked(), "the season wants it too");
}

#[test]
fn what_a_customer_asked_for_ranks_above_routine_that_closes_on_the_same_day() {
    let requests = vec![request("repair", date!(2026 - 10 - 05), "fan does not turn")];
    let items = on(&UnitFacts { requests, ..unit() }, date!(2026 - 10 - 10));
    let repair = of(&items, "repair").unwrap();
    let routine = of(&items, "water-test").unwrap();
    assert!(repair.window.closes() < routine.window.closes() && repair.priority < routine.priority, "{items:?}");
    assert_eq!((repair.window.closes(), repair.priority), (date!(2026 - 10 - 19), Priority::Next));
}

#[test]
fn retired_units_rest_and_idle_ones_nearly() {
    let facts = UnitFacts { requests: vec![request("repair", date!(2026 - 10 - 03), "")], ..unit() };
    let today = date!(2026 - 10 - 10);
    assert!(on(&UnitFacts { status: Status::Retired, ..facts.clone() }, today).is_empty());
    let idle = on(&UnitFacts { status: Status::Idle, ..facts }, today);
    let codes: Vec<&str> = idle.iter().map(|item| item.kind.as_str()).collect();
    assert_eq!(codes, ["repair", "water-test"]);
}

#[test]
fn a_very_low_verdict_raises_the_rank() {
    let low = UnitFacts { last_verdict: Some(Verdict::VeryLow), ..unit() };
    let today = date!(2026 - 09 - 20);
    assert_eq!(of(&on(&unit(), today), "water-test").unwrap().priority, Priority::Later);
    assert_eq!(of(&on(&low, today), "water-test").unwrap().priority, Priority::Soon);
}

#[test]
fn a_new_record_book_reproaches_nobody() {
    let rules = DueRules { records_since: Some(date!(2026 - 08 - 01)), ..DueRules::default() };
    let items = |facts: &UnitFacts, today| due(facts, &kinds(), &calendar(), &rules, today);
    assert!(items(&unit(), date!(2026 - 08 - 10)).iter().all(|item| !item.state.has_opened()));
    assert_eq!(of(&items(&unit(), date!(2026 - 09 - 10)), "water-test").unwrap().state, WindowState::Open);
    let missed = of(&items(&tested(date!(2025 - 05 - 01)), date!(2026 - 08 - 10)), "water-test").unwrap();
    assert!(matches!(missed.state, WindowState::Past { .. }), "what was brought in from the old books still counts");
}

#[test]
fn one_year_may_have_its_own_season() {
    let window = DueWindow::new(date!(2026 - 09 - 21), date!(2026 - 11 - 13)).unwrap();
    let calendar = calendar().with_year(2026, SeasonName::Fall, window).unwrap();
    let items = due(&unit(), &kinds(), &calendar, &DueRules::default(), date!(2026 - 11 - 05));
    assert_eq!(of(&items, "fall-start").unwrap().window, window);
}

#[test]
fn job_kinds_are_checked_when_made() {
    let make = |minutes, cadence| JobKind::new("x", "X", minutes, cadence);
    assert_eq!(JobKind::new(" ", "X", (10, 0), Cadence::OnRequest), Err(JobKindError::NoName));
    assert_eq!(make((0, 0), Cadence::OnRequest), Err(JobKindError::Minutes));
    assert_eq!(make((10, 11), Cadence::OnRequest), Err(JobKindError::Minutes));
    assert_eq!(make((10, 0), Cadence::AfterDose { first_day: 9, last_day: 8 }), Err(JobKindError::AfterDose));
    assert_eq!(make((10, 0), Cadence::OnRequest).unwrap().with_lead_days(121), Err(JobKindError::Lead));
}

fn foreseen(day: Date) -> UnitFacts {
    let since = date!(2025 - 10 - 09);
    UnitFacts { foreseen: Some(TestBy::after(since, day, "Expected at the minimum about Feb 1, 2026".to_owned())), ..tested(since) }
}

/// A unit that will not last to the spring is tested in between, from 30 days before (the test's lead) to the day itself.
#[test]
fn water_that_will_not_last_to_the_next_season_is_tested_before() {
    let facts = foreseen(date!(2026 - 01 - 20));
    let item = of(&on(&facts, date!(2025 - 12 - 01)), "water-test").unwrap();
    assert_eq!(item.cause, Cause::Foreseen { by: date!(2026 - 01 - 20) });
    assert_eq!((item.window.opens(), item.window.closes()), (date!(2025 - 12 - 21), date!(2026 - 01 - 20)));
    assert_eq!(item.reason, "Expected at the minimum about Feb 1, 2026");
    let missed = of(&on(&facts, date!(2026 - 02 - 01)), "water-test").unwrap();
    assert_eq!(missed.state, WindowState::Past { days: 12 });
    let open = of(&on(&facts, date!(2026 - 04 - 25)), "water-test").unwrap();
    assert_eq!(open.cause, Cause::Season { season: SeasonName::Spring, year: 2026 }, "the season's own test takes its place");
    assert_eq!(open.state, WindowState::Past { days: 6 }, "a week after the season opened, not six");
    assert!(on(&facts, date!(2025 - 10 - 15)).iter().all(|item| item.kind != "water-test"), "not listed half a year ahead");
    assert!(on(&UnitFacts { status: Status::Retired, ..facts }, date!(2026 - 01 - 01)).is_empty());
}

/// Tested on Oct 9 and asked for by Oct 30: a test on Oct 10 would say the same again, the half of the way is Oct 19. One at the minimum
/// waits for nothing.
#[test]
fn a_test_is_not_repeated_before_it_could_tell_more() {
    let item = of(&on(&foreseen(date!(2025 - 10 - 30)), date!(2025 - 10 - 10)), "water-test").unwrap();
    assert_eq!((item.window.opens(), item.window.closes()), (date!(2025 - 10 - 19), date!(2025 - 10 - 30)));
    let tomorrow = of(&on(&foreseen(date!(2025 - 10 - 10)), date!(2025 - 10 - 10)), "water-test").unwrap();
    assert_eq!(tomorrow.window.opens(), date!(2025 - 10 - 10));
    let low = TestBy { day: date!(2025 - 10 - 23), from: date!(2025 - 10 - 10), reason: "At the minimum".to_owned() };
    let facts = UnitFacts { foreseen: Some(low), ..foreseen(date!(2026 - 01 - 20)) };
    assert_eq!(of(&on(&facts, date!(2025 - 10 - 10)), "water-test").unwrap().window.opens(), date!(2025 - 10 - 10));
}

/// Three weeks before the season opens nobody drives for a test alone: the season's own test is drawn forward.
#[test]
fn a_season_about_to_open_is_drawn_forward() {
    let item = of(&on(&foreseen(date!(2026 - 04 - 25)), date!(2026 - 04 - 01)), "water-test").unwrap();
    assert_eq!(item.cause, Cause::Season { season: SeasonName::Spring, year: 2026 });
    assert_eq!((item.window.opens(), item.window.closes()), (date!(2026 - 04 - 13), date!(2026 - 04 - 25)));
    assert_eq!(item.reason, "Water test for spring 2026; last one Oct 9, 2025. Expected at the minimum about Feb 1, 2026");
    let before = of(&on(&foreseen(date!(2026 - 03 - 20)), date!(2026 - 04 - 01)), "water-test").unwrap();
    assert_eq!(before.window.closes(), date!(2026 - 04 - 19), "a week at least");
    let late = of(&on(&foreseen(date!(2026 - 06 - 20)), date!(2026 - 04 - 01)), "water-test").unwrap();
    assert_eq!(late.window.closes(), date!(2026 - 05 - 22), "a forecast never puts a season off");
}

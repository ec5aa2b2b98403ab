//! Jobs that go together.

use embertide::season::{Priority, UnitFacts, join};
use time::macros::date;

use crate::example::{kinds, on, request, unit};

#[test]
fn jobs_of_one_season_share_a_visit_and_its_set_up() {
    let visits = join(&on(&unit(), date!(2026 - 10 - 10)), &kinds());
    // Fall start-up and water test in the fall window, with the clean missed in spring.
    assert_eq!(visits.len(), 1);
    let visit = &visits[0];
    assert_eq!(visit.jobs.iter().map(|job| job.kind.as_str()).collect::<Vec<_>>(), ["clean", "fall-start", "water-test"]);
    assert_eq!(visit.minutes, (40 - 15) + (45 - 10) + (25 - 10) + 15);
    assert_eq!((visit.window.opens(), visit.window.closes()), (date!(2026 - 09 - 07), date!(2026 - 10 - 30)));
    assert_eq!(visit.priority, Priority::First);
    assert_eq!(visit.reasons().next(), Some("No yearly clean of the air passages on record"));
}

#[test]
fn a_kind_that_does_not_join_stands_alone() {
    let facts = UnitFacts { requests: vec![request("repair", date!(2026 - 10 - 03), "fan")], ..unit() };
    let visits = join(&on(&facts, date!(2026 - 10 - 10)), &kinds());
    assert_eq!(visits.len(), 2);
    let repair = visits.iter().find(|visit| visit.jobs[0].kind == "repair").unwrap();
    assert_eq!((repair.jobs.len(), repair.minutes), (1, 90));
    assert!(repair.skills.contains("welding"));
}

#[test]
fn what_is_past_due_waits_for_nothing() {
    // The spring test is past due; the fall start-up opens in three weeks.
    let mut facts = unit();
    facts.last_done.insert("fall-start".into(), date!(2025 - 09 - 20));
    let visits = join(&on(&facts, date!(2026 - 08 - 17)), &kinds());
    assert_eq!(visits.len(), 2);
    assert_eq!(visits[0].jobs.len(), 2, "clean and water test, both missed in spring");
    assert_eq!(visits[1].jobs[0].kind, "fall-start");
}

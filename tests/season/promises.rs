//! What the due list promises for every unit and day.

use std::collections::{BTreeMap, BTreeSet};

use embertide::season::{Cause, DoseFact, DueWindow, FillState, SeasonName, Status, TestBy, UnitFacts, WindowState, join};
use embertide::water::Verdict;
use proptest::prelude::*;
use time::{Date, Duration, macros::date};

use crate::example::{calendar, kinds, of, on, request};

fn a_day() -> impl Strategy<Value = Date> {
    (0_i64..1_800).prop_map(|days| date!(2023 - 01 - 01) + Duration::days(days))
}

fn facts() -> impl Strategy<Value = UnitFacts> {
    let fill = prop_oneof![Just(FillState::NotYetFilled), Just(FillState::FilledSomeTime), a_day().prop_map(FillState::FilledOn)];
    let code = prop_oneof![Just("water-test"), Just("fall-start"), Just("clean"), Just("recheck"), Just("repair"), Just("unknown")];
    let done = prop::collection::btree_map(code.clone().prop_map(str::to_owned), a_day(), 0..5);
    let dosed = prop::option::of((a_day(), prop::option::of(a_day())));
    let requests = prop::collection::vec((code, a_day()), 0..3);
    let status = prop_oneof![4 => Just(Status::InService), 1 => Just(Status::Idle), 1 => Just(Status::Retired)];
    let foreseen = (a_day(), a_day()).prop_map(|(day, from)| TestBy { day, from, reason: "Foreseen".to_owned() });
    let tests = (prop::option::of(a_day()), prop::option::of(Just(Verdict::VeryLow)), prop::option::of(foreseen));
    let all = (status, (prop::option::of(a_day()), prop::option::of(a_day())), fill, done, tests, dosed, requests);
    all.prop_map(|(status, (installed_on, lit_on), fill, last_done, (last_test_on, last_verdict, foreseen), dose, requests)| UnitFacts {
        status,
        installed_on,
        fill,
        last_done,
        last_test_on,
        last_dose: dose.map(|(on, rechecked_on)| DoseFact { on, rechecked_on }),
        requests: requests.into_iter().map(|(kind, asked_on)| request(kind, asked_on, "")).collect(),
        last_verdict,
        lit_on,
        foreseen,
    })
}

fn a_season_opens_on(day: Date) -> bool {
    let opens = |season| calendar().window(day.year(), season).map(DueWindow::opens);
    [SeasonName::Spring, SeasonName::Fall].into_iter().any(|season| opens(season) == Some(day))
}

proptest! {
    #![proptest_config(crate::cases(2_000))]

    #[test]
    fn one_item_a_kind_and_nothing_reversed(facts in facts(), today in a_day()) {
        let items = on(&facts, today);
        let codes: BTreeSet<&str> = items.iter().map(|item| item.kind.as_str()).collect();
        prop_assert_eq!(codes.len(), items.len());
        prop_assert!(items.iter().all(|item| item.window.opens() <= item.window.closes() && !item.reason.is_empty()));
        prop_assert!(items.is_sorted_by_key(|item| item.priority));
        prop_assert!(facts.status != Status::Retired || items.is_empty());
        prop_assert_eq!(&items, &on(&facts, today));
        if let FillState::FilledOn(day) = facts.fill {
            let seasonal = items.iter().filter(|item| matches!(item.cause, Cause::Season { .. }));
            prop_assert!(seasonal.into_iter().all(|item| item.window.opens() >= day));
        }
    }

    /// From one day to the next a job, once open, stays on the list; its window never moves back; while its cause
    /// stays the same it never becomes less pressing, unless it begins to wait for a cold firebox. Only a re-check that was missed goes, on the day a season opens.
    #[test]
    fn the_list_only_moves_forward(facts in facts(), today in a_day()) {
        let facts = UnitFacts { requests: Vec::new(), ..facts };
        let tomorrow = today + Duration::days(1);
        let (now, then) = (on(&facts, today), on(&facts, tomorrow));
        for item in &now {
            let Some(later) = of(&then, &item.kind) else {
                let missed_recheck = matches!(item.cause, Cause::AfterDose { .. }) && item.window.closes() < tomorrow;
                let lapses = missed_recheck && a_season_opens_on(tomorrow);
                prop_assert!(lapses || !item.state.has_opened(), "{:?} vanished", item);
                continue;
            };
            prop_assert!(later.window.opens() >= item.window.opens());
            if later.cause == item.cause {
                prop_assert!(later.priority <= item.priority || later.waits && !item.waits);
                prop_assert_eq!(later.window, item.window);
            }
        }
    }

    /// Doing a job today takes it off today's list.
    #[test]
    fn what_is_done_today_is_not_due_today(facts in facts(), today in a_day()) {
        let facts = UnitFacts { requests: Vec::new(), ..facts };
        for item in on(&facts, today).iter().filter(|item| item.state.has_opened()) {
            // A test of today makes the forecast anew; it cannot ask for one in the past.
            let mut done = UnitFacts { foreseen: None, ..facts.clone() };
            done.last_done.insert(item.kind.clone(), today.max(done.last_done.get(&item.kind).copied().unwrap_or(today)));
            let again = of(&on(&done, today), &item.kind);
            prop_assert!(!again.is_some_and(|next| next.state.has_opened()), "still due");
        }
    }

    /// All but what waits for a cold firebox is in one visit each.
    #[test]
    fn joining_loses_and_doubles_nothing(facts in facts(), today in a_day()) {
        let (items, kinds) = (on(&facts, today), kinds());
        let visits = join(&items, &kinds);
        let count = |codes: Vec<&str>| codes.into_iter().fold(BTreeMap::new(), |mut map, code| { *map.entry(code.to_owned()).or_insert(0) += 1; map });
        let joined = visits.iter().flat_map(|visit| visit.jobs.iter().map(|job| job.kind.as_str())).collect();
        prop_assert_eq!(count(joined), count(items.iter().filter(|item| !item.waits).map(|item| item.kind.as_str()).collect()));
        for visit in &visits {
            let each: Vec<u32> = visit.jobs.iter().map(|job| kinds.iter().find(|kind| kind.code() == job.kind).unwrap().minutes().into()).collect();
            prop_assert!(!visit.jobs.is_empty());
            prop_assert!(visit.minutes <= each.iter().sum() && visit.minutes >= *each.iter().max().unwrap());
            let bounded = visit.jobs.iter().filter(|job| visit.jobs.len() == 1 || !matches!(job.state, WindowState::Past { .. }));
            for job in bounded {
                prop_assert!(visit.window.opens() >= job.window.opens() && visit.window.closes() <= job.window.closes());
            }
            let any_past = visit.jobs.iter().any(|job| matches!(job.state, WindowState::Past { .. }));
            prop_assert!(!any_past || visit.window.opens() <= today, "past due, and made to wait");
        }
    }
}

//! Products carried in groups, and visits that are a must. Expected values follow from the numbers in each test.

use std::sync::atomic::AtomicBool;

use embertide::route::{Change, Effort, Groups, Lock, Mending, Problem, Reason, Violation, Visit, Window, check, explain, what_if};
use proptest::prelude::*;

use crate::brute::best_of;
use crate::world::{Dice, HOUR, Size, all_day, line, plan, random_week, shift, visit};

fn inhibitor(ml: i64) -> Groups {
    [ml, 0, 0, 0]
}

fn softener(ml: i64) -> Groups {
    [0, ml, 0, 0]
}

/// Two visits in one village: one van, which has enough for only one of one product, though for both by the sum.
#[test]
fn a_van_runs_out_of_one_product_before_the_other() {
    let problem = Problem::new(1, vec![shift(0, 0)], vec![visit(1), visit(1)], line(&[0, 10])).unwrap();
    let carries = vec![[5000, 5000, 0, 0]];
    let both = problem.clone().with_groups(carries.clone(), vec![inhibitor(4000), softener(4000)]).unwrap();
    assert_eq!(plan(&both, 1, 200).routes[0].len(), 2);
    let same = problem.with_groups(carries, vec![inhibitor(4000), inhibitor(4000)]).unwrap();
    let found = plan(&same, 1, 200);
    assert_eq!(found.routes[0].len(), 1);
    let left = explain(&same, &found.routes);
    assert_eq!(left[0].1, Reason::VanLoad { load_ml: 4000 });
    let broken = check(&same, &[vec![0, 1]]).unwrap_err();
    assert_eq!(broken, [Violation::Load { shift: 0, load_ml: 8000, capacity_ml: 5000 }]);
    assert_eq!(what_if(&same, &found.routes, left[0].0), []);
}

#[test]
fn more_of_a_group_than_any_van_carries_is_told() {
    let problem = Problem::new(1, vec![shift(0, 0)], vec![visit(1)], line(&[0, 10])).unwrap();
    let problem = problem.with_groups(vec![[9000, 500, 0, 0]], vec![softener(600)]).unwrap();
    let found = plan(&problem, 1, 50);
    assert_eq!(explain(&problem, &found.routes), [(0, Reason::TooMuchForVan { load_ml: 600, capacity_ml: 500 })]);
}

#[test]
fn groups_that_cannot_be_are_refused() {
    let problem = || Problem::new(1, vec![shift(0, 0)], vec![visit(0)], line(&[0])).unwrap();
    let none = Groups::default();
    for (carries, takes, what) in [
        (vec![], vec![none], "shift 0"),
        (vec![none; 2], vec![none], "shift 1"),
        (vec![inhibitor(-1)], vec![none], "shift 0"),
        (vec![none], vec![], "visit 0"),
        (vec![none], vec![softener(i64::MAX)], "visit 0"),
    ] {
        let refused = problem().with_groups(carries, takes).unwrap_err().to_string();
        assert_eq!(refused, format!("{what}: its amounts of each group of products are missing or out of range"));
    }
    assert_eq!(problem().with_musts(&[1]).unwrap_err().to_string(), "visit 1: it is a must but not in the plan");
}

/// A day that holds one of two visits: the must goes in, though the other is worth more and is nearer.
#[test]
fn a_must_is_not_left_out_for_anything_else() {
    let long = |place, penalty| Visit { service_s: 4 * HOUR, penalty, ..visit(place) };
    let problem = Problem::new(1, vec![shift(0, 0)], vec![long(1, 0), long(0, 10_000_000)], line(&[0, 60])).unwrap();
    assert_eq!(plan(&problem, 1, 300).routes, [[1]]);
    let problem = problem.with_musts(&[0]).unwrap();
    let found = plan(&problem, 1, 300);
    assert_eq!(found.routes, [[0]]);
    assert_eq!(explain(&problem, &found.routes), [(1, Reason::NoHoursLeft)]);
}

/// No plan serves it: what is told is why.
#[test]
fn a_must_that_nobody_can_serve_is_told_with_its_reason() {
    let sunday = Visit { windows: vec![Window { day: 1, from: 0, to: 86_399 }], ..visit(1) };
    let endless = Visit { service_s: 12 * HOUR, ..visit(1) };
    let problem = Problem::new(2, vec![shift(0, 0)], vec![sunday, endless], line(&[0, 10])).unwrap().with_musts(&[0, 1]).unwrap();
    let found = plan(&problem, 1, 100);
    let reasons = explain(&problem, &found.routes);
    assert_eq!(reasons, [(0, Reason::NoWorkingDay), (1, Reason::TooLongForADay)]);
}

/// After a lost day the must is still one, and the vans still have their groups.
#[test]
fn mending_keeps_musts_and_groups() {
    let long = |penalty| Visit { service_s: 5 * HOUR, penalty, windows: vec![all_day(0), all_day(1)], ..visit(1) };
    let visits = vec![long(0), long(1_000_000)];
    let problem = Problem::new(2, vec![shift(0, 0), shift(0, 1)], visits, line(&[0, 10])).unwrap();
    let problem = problem.with_musts(&[0]).unwrap().with_groups(vec![inhibitor(900); 2], vec![inhibitor(900); 2]).unwrap();
    let more = Visit { lock: Lock::Free, ..long(0) };
    let changes = [Change::ShiftLost(0), Change::Added(Box::new(more))];
    let mended = Mending::new(&problem, &[vec![0], vec![1]], &changes, 0).unwrap().mend(&Effort::new(1, 400), &AtomicBool::new(false));
    assert_eq!(mended.plan.routes, [[0]]);
    assert_eq!((mended.problem.carries(0), mended.problem.takes(1), mended.problem.takes(2)), (inhibitor(900), inhibitor(900), [0; 4]));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// With groups and musts at random the plans of small weeks are the best of all plans, by every order of every choice.
    #[test]
    fn plans_with_groups_and_musts_are_the_best_there_are(seed in 0_u64..100_000) {
        let week = random_week(seed, Size { days: 2, technicians: 2, visits: 5, rough: false });
        let mut dice = Dice::new(seed);
        let mut amounts = |high: i32| -> Groups { [0; 4].map(|_: i64| i64::from(dice.roll(0, high)) * 500) };
        let carries = week.shifts().iter().map(|_| amounts(9)).collect();
        let takes = week.visits().iter().map(|_| amounts(5)).collect();
        let musts: Vec<usize> = (0..week.visits().len()).filter(|v| (seed >> v) & 1 == 1).collect();
        let problem = week.with_groups(carries, takes).unwrap().with_musts(&musts).unwrap();
        let found = plan(&problem, seed, 800);
        prop_assert_eq!(check(&problem, &found.routes).unwrap().objective, found.objective);
        prop_assert_eq!(found.objective, best_of(&problem));
    }
}

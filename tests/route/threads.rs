//! Several threads: the same rules, the same plan for the same question.

use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

use embertide::route::{Effort, Lock, Matrix, Plan, Problem, Shift, Visit, check, solve};

use crate::world::{Dice, Size, all_day, plan, random_week, shift, visit};

fn on(problem: &Problem, threads: usize, iterations: u64) -> Plan {
    solve(problem, &Effort::new(5, iterations).on(NonZeroUsize::new(threads).unwrap()), &AtomicBool::new(false), &mut |_| {})
}

/// Sixty-four shifts over eight weeks: enough to be divided among threads.
fn season() -> Problem {
    let mut dice = Dice::new(9);
    let points: Vec<(i32, i32)> = (0..150).map(|_| (dice.roll(0, 2400), dice.roll(0, 2400))).collect();
    let leg = |a: &(i32, i32), b: &(i32, i32)| (a.0 - b.0).abs() + (a.1 - b.1).abs();
    let cells = points.iter().flat_map(|a| points.iter().map(move |b| leg(a, b))).collect();
    let days = (0..8).flat_map(|week| (0..4).map(move |day| week * 7 + day));
    let shifts: Vec<Shift> = days.flat_map(|day| [shift(0, day), shift(1, day)]).collect();
    let windows: Vec<_> = (0..56).map(all_day).collect();
    let lock = |v: usize| if v.is_multiple_of(10) { Lock::Shift(v % 64) } else { Lock::Free };
    let visits = (0..150).map(|v| Visit { windows: windows.clone(), lock: lock(v), ..visit(v) }).collect();
    Problem::new(56, shifts, visits, Matrix::new(150, cells).unwrap()).unwrap()
}

#[test]
fn equal_effort_and_threads_give_the_identical_plan() {
    let week = random_week(77, Size { days: 5, technicians: 2, visits: 40, rough: false });
    for (problem, iterations) in [(&week, 300), (&season(), 600)] {
        for threads in [2, 3] {
            let first = on(problem, threads, iterations);
            assert_eq!(first, on(problem, threads, iterations));
            assert_eq!(check(problem, &first.routes).unwrap().objective, first.objective);
        }
    }
}

#[test]
fn one_thread_is_what_it_was() {
    let week = random_week(78, Size { days: 5, technicians: 2, visits: 40, rough: false });
    assert_eq!(on(&week, 1, 300), plan(&week, 5, 300));
}

/// Promises of a shift hold whichever thread has it.
#[test]
fn a_divided_season_keeps_its_promises_and_gets_better() {
    let problem = season();
    let found = on(&problem, 2, 1000);
    let judged = check(&problem, &found.routes).unwrap();
    assert!(judged.unplaced.is_empty());
    assert!(found.objective < on(&problem, 2, 0).objective);
}

#[test]
fn a_cancelled_search_on_two_threads_gives_a_plan() {
    let problem = season();
    let cancelled = AtomicBool::new(true);
    let effort = Effort::new(1, u64::MAX).on(NonZeroUsize::new(2).unwrap());
    let found = solve(&problem, &effort, &cancelled, &mut |_| {});
    assert!(!found.finished);
    assert!(check(&problem, &found.routes).is_ok());
}

//! Input that makes no sense is refused with words or planned as far as it goes; nothing panics.

use embertide::route::{self, Effort, Lock, Lunch, Matrix, Problem, ProblemError, Shift, Visit, Window, check, explain, improve, solve};
use proptest::prelude::*;
use std::{num::NonZeroUsize, sync::atomic::AtomicBool};

use crate::world::{HOUR, line, plan, shift, visit};

fn refused(shifts: Vec<Shift>, visits: Vec<Visit>) -> String {
    Problem::new(2, shifts, visits, line(&[0, 10])).unwrap_err().to_string()
}

#[test]
fn nothing_asked_is_nothing_planned() {
    let empty = Problem::new(0, vec![], vec![], Matrix::new(0, vec![]).unwrap()).unwrap();
    let got = plan(&empty, 1, u64::MAX);
    assert_eq!((got.routes.len(), got.objective, got.finished), (0, 0, true));
    let nobody = Problem::new(1, vec![], vec![visit(1)], line(&[0, 10])).unwrap();
    assert_eq!(plan(&nobody, 1, u64::MAX).objective, 28_800);
    let idle = Problem::new(1, vec![shift(0, 0)], vec![], line(&[0])).unwrap();
    assert_eq!(plan(&idle, 1, u64::MAX).routes, [[0_usize; 0]]);
}

/// A season of which everything is done: its days are many, and are divided over threads, but there is nobody to visit.
#[test]
fn a_season_without_visits_is_an_empty_plan() {
    let shifts: Vec<Shift> = (0..120).map(|k| shift(k % 2, k / 2)).collect();
    let season = Problem::new(60, shifts, vec![], line(&[0])).unwrap();
    let effort = Effort::new(1, 400).on(NonZeroUsize::new(2).unwrap());
    let empty = vec![Vec::<usize>::new(); 120];
    let plan = solve(&season, &effort, &AtomicBool::new(false), &mut |_| {});
    assert_eq!((plan.routes, plan.objective, plan.finished), (empty.clone(), 0, true));
    let level = route::season(&season, &[], 0, 60, &effort, &AtomicBool::new(false), &mut |_| {}).unwrap();
    assert_eq!(level.routes, empty);
}

#[test]
fn zero_minutes_are_planned() {
    let moment = Shift { starts: 8 * HOUR, ends: 8 * HOUR, ..shift(0, 0) };
    let quick = Visit { service_s: 0, ..visit(0) };
    let problem = Problem::new(1, vec![moment], vec![quick, visit(1)], line(&[0, 10])).unwrap();
    let plan = plan(&problem, 1, 100);
    assert_eq!(plan.routes, [[0]]);
    assert!(check(&problem, &plan.routes).is_ok());
}

#[test]
fn shifts_that_cannot_be_are_refused() {
    let good = shift(0, 0);
    let lunch = |from, to, seconds| Some(Lunch { from, to, seconds });
    for (bad, what) in [
        (Shift { day: 2, ..good.clone() }, "its day is not in the plan"),
        (Shift { depot: 2, ..good.clone() }, "its depot is not among the places"),
        (Shift { starts: 18 * HOUR, ..good.clone() }, "its hours are reversed or out of range"),
        (Shift { ends: i32::MAX, ..good.clone() }, "its hours are reversed or out of range"),
        (Shift { starts: -1, ..good.clone() }, "its hours are reversed or out of range"),
        (Shift { lunch: lunch(2, 1, 60), ..good.clone() }, "its lunch is reversed or out of range"),
        (Shift { lunch: lunch(1, 2, -60), ..good.clone() }, "its lunch is reversed or out of range"),
        (Shift { capacity_ml: -1, ..good.clone() }, "its van load is out of range"),
        (Shift { capacity_ml: i64::MAX, ..good.clone() }, "its van load is out of range"),
    ] {
        assert_eq!(refused(vec![good.clone(), Shift { technician: 1, ..bad }], vec![]), format!("shift 1: {what}"));
    }
    let twice = refused(vec![good.clone(), good], vec![]);
    assert_eq!(twice, "shift 1 is a second one for technician 0 on day 0");
}

#[test]
fn visits_that_cannot_be_are_refused() {
    let good = visit(1);
    let window = |day, from, to| vec![Window { day, from, to }];
    let lock = "it is locked to a day, shift or time that is not in the plan";
    for (bad, what) in [
        (Visit { place: 2, ..good.clone() }, "its place is not among the places"),
        (Visit { service_s: -1, ..good.clone() }, "its service time is out of range"),
        (Visit { service_s: i32::MAX, ..good.clone() }, "its service time is out of range"),
        (Visit { set_up_s: i32::MIN, ..good.clone() }, "its set-up time is out of range"),
        (Visit { windows: window(2, 0, 1), ..good.clone() }, "a window is on a day that is not in the plan"),
        (Visit { windows: window(0, 2, 1), ..good.clone() }, "a window is reversed or out of range"),
        (Visit { windows: window(0, 0, i32::MAX), ..good.clone() }, "a window is reversed or out of range"),
        (Visit { penalty: -1, ..good.clone() }, "its penalty is out of range"),
        (Visit { penalty: i64::MAX, ..good.clone() }, "its penalty is out of range"),
        (Visit { load_ml: -1, ..good.clone() }, "its load is out of range"),
        (Visit { lock: Lock::Day(2), ..good.clone() }, lock),
        (Visit { lock: Lock::Shift(1), ..good.clone() }, lock),
        (Visit { lock: Lock::At { shift: 0, from: 2, to: 1 }, ..good.clone() }, lock),
    ] {
        assert_eq!(refused(vec![shift(0, 0)], vec![good.clone(), bad]), format!("visit 1: {what}"));
    }
}

#[test]
fn sizes_without_bounds_are_refused() {
    let drive = line(&[0, 10]);
    let too_many = |days, shifts, visits| {
        let got = Problem::new(days, shifts, visits, drive.clone());
        assert!(matches!(got, Err(ProblemError::TooMany { .. })));
    };
    too_many(usize::MAX, vec![], vec![]);
    too_many(2, vec![], vec![visit(1); 20_001]);
    too_many(2, vec![shift(0, 0); 10_001], vec![]);
    too_many(2, vec![shift(0, 0); 5_000], vec![visit(1); 5_000]);
    assert!(Matrix::new(usize::MAX, vec![]).is_err());
    assert!(Matrix::new(2, vec![0; 3]).is_err());
    assert!(Matrix::new(2, vec![0, -1, 1, 0]).is_err());
    assert!(Matrix::new(2, vec![0, i32::MAX - 1, 1, 0]).is_err());
    assert!(Matrix::new(2, vec![1, 1, 1, 0]).is_err());
    assert!(line(&[0, 10]).with_metres(vec![0; 3]).is_err());
    assert!(line(&[0, 10]).with_metres(vec![0, -1, 0, 0]).is_err());
}

#[test]
fn the_longest_of_everything_is_planned() {
    let longest = Shift { starts: 0, ends: 172_800, capacity_ml: 1_000_000_000, ..shift(0, 0) };
    let heavy = Visit {
        service_s: 172_800,
        set_up_s: 172_800,
        penalty: 10_000_000,
        load_ml: 1_000_000_000,
        windows: vec![Window { day: 0, from: 172_800, to: 172_800 }],
        ..visit(1)
    };
    let cells = vec![0, 10_000_000, 10_000_000, 0];
    let drive = Matrix::new(2, cells).unwrap();
    let problem = Problem::new(1, vec![longest], vec![heavy; 200], drive).unwrap();
    let all: Vec<usize> = (0..200).collect();
    assert!(check(&problem, std::slice::from_ref(&all)).is_err());
    assert_eq!(explain(&problem, &[vec![]]).len(), 200);
    let effort = Effort::new(u64::MAX, 20);
    let plan = improve(&problem, &[all], &effort, &AtomicBool::new(false), &mut |_| {});
    assert_eq!(plan.objective, 2_000_000_000);
}

/// Five thousand visits in one yard and one day that holds eight of them; the same without anyone at work, and out of reach.
#[test]
fn five_thousand_visits_are_planned() {
    let many = |place| vec![visit(place); 5000];
    let day = Problem::new(1, vec![shift(0, 0)], many(0), line(&[0])).unwrap();
    let found = plan(&day, 1, 10);
    assert_eq!((found.routes[0].len(), found.objective), (8, 4992 * 28_800));
    let nobody = Problem::new(1, vec![], many(0), line(&[0])).unwrap();
    assert_eq!(plan(&nobody, 1, u64::MAX).objective, 5000 * 28_800);
    let none = Matrix::NO_ROAD;
    let island = Problem::new(1, vec![shift(0, 0)], many(1), Matrix::new(2, vec![0, none, none, 0]).unwrap()).unwrap();
    assert_eq!(plan(&island, 1, 10).objective, 5000 * 28_800);
}

#[test]
fn islands_without_roads_do_not_break_a_warm_start() {
    let none = Matrix::NO_ROAD;
    let cells = (0..900).map(|c| if c / 30 == c % 30 { 0 } else { none }).collect();
    let visits: Vec<Visit> = (0..30).map(visit).collect();
    let problem = Problem::new(1, vec![shift(0, 0)], visits, Matrix::new(30, cells).unwrap()).unwrap();
    let all = vec![(0..30).collect::<Vec<usize>>()];
    let effort = Effort::new(1, 50);
    let plan = improve(&problem, &all, &effort, &AtomicBool::new(false), &mut |_| {});
    assert_eq!(plan.routes, [[0]]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the numbers, the answer is a plan that keeps the rules or a refusal.
    #[test]
    fn any_numbers_are_refused_or_planned(
        days in 0_usize..4,
        numbers in prop::collection::vec(prop_oneof![any::<i32>(), 0..90_000, -2..5], 40),
    ) {
        let mut next = numbers.into_iter().cycle();
        let mut number = || next.next().unwrap();
        let index = |n: i32| usize::try_from(n.rem_euclid(4)).unwrap();
        let shifts = (0..3).map(|t| Shift {
            technician: t,
            day: index(number()),
            starts: number(),
            ends: number(),
            depot: index(number()),
            lunch: Some(Lunch { from: number(), to: number(), seconds: number() }),
            capacity_ml: i64::from(number()),
            ..shift(0, 0)
        });
        let shifts: Vec<Shift> = shifts.collect();
        let visits = (0..3).map(|_| Visit {
            service_s: number(),
            set_up_s: number(),
            windows: vec![Window { day: index(number()), from: number(), to: number() }],
            penalty: i64::from(number()),
            lock: Lock::Shift(index(number())),
            ..visit(index(number()))
        });
        let visits = visits.collect();
        let cells = (0..16).map(|_| number()).collect();
        if let Ok(drive) = Matrix::new(4, cells)
            && let Ok(problem) = Problem::new(days, shifts, visits, drive)
        {
            let plan = plan(&problem, 1, 20);
            prop_assert!(check(&problem, &plan.routes).is_ok());
        }
    }
}

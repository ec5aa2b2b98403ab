//! Why a visit is left out: each reason is brought about once, and said in plain words.

use embertide::route::{Lock, Matrix, Problem, Reason, Shift, Skills, Visit, Window, check, explain};

use crate::world::{HOUR, all_day, line, plan, shift, visit};

/// Depot, then places 10 and 50 min out; one technician, day 0 of 2.
fn problem(visits: Vec<Visit>) -> Problem {
    let one = Shift { capacity_ml: 5_000, skills: Skills(1), ..shift(0, 0) };
    Problem::new(2, vec![one], visits, line(&[0, 10, 50])).unwrap()
}

/// The reason for visit 0 in the plan found.
fn reason(problem: &Problem) -> Reason {
    let plan = plan(problem, 1, 200);
    assert!(check(problem, &plan.routes).unwrap().unplaced.contains(&0));
    let (visit, reason) = explain(problem, &plan.routes)[0];
    assert_eq!(visit, 0);
    reason
}

fn at(day: usize, from: i32, to: i32) -> Vec<Window> {
    vec![Window { day, from, to }]
}

#[test]
fn what_no_plan_can_change_is_said_first() {
    let base = visit(1);
    for (visit, said) in [
        (Visit { lock: Lock::Day(1), ..base.clone() }, "nobody works on the day it is held to"),
        (Visit { lock: Lock::Technician(7), ..base.clone() }, "nobody works on the day it is held to"),
        (Visit { skills: Skills(2), ..base.clone() }, "no technician who could go has the skill"),
        (Visit { windows: vec![all_day(1)], ..base.clone() }, "nobody works on the days planned that lie inside its window"),
        (Visit { windows: vec![], ..base.clone() }, "nobody works on the days planned that lie inside its window"),
        (Visit { windows: at(0, 18 * HOUR, 20 * HOUR), ..base.clone() }, "its window is outside working hours on all its days"),
        (Visit { load_ml: 5_100, ..base.clone() }, "needs 5.1 L of treatment, the largest van carries 5.0 L"),
        (Visit { service_s: 9 * HOUR, ..base.clone() }, "does not fit in a working day, even alone"),
        (Visit { windows: at(0, 0, 8 * HOUR), ..base.clone() }, "does not fit in a working day, even alone"),
    ] {
        assert_eq!(reason(&problem(vec![visit])).to_string(), said);
    }
}

#[test]
fn nobody_at_work_is_a_reason() {
    let problem = Problem::new(1, vec![], vec![visit(1)], line(&[0, 10])).unwrap();
    assert_eq!(explain(&problem, &[]), [(0, Reason::NobodyWorks)]);
}

#[test]
fn a_place_without_a_road_is_named() {
    let none = Matrix::NO_ROAD;
    let drive = Matrix::new(2, vec![0, 60, none, 0]).unwrap();
    let problem = Problem::new(1, vec![shift(0, 0)], vec![visit(1)], drive).unwrap();
    assert_eq!(reason(&problem), Reason::NoRoad);
}

#[test]
fn driving_beyond_its_worth_is_told_in_hours() {
    let cheap = Visit { penalty: 1800, ..visit(2) };
    let reason = reason(&problem(vec![cheap]));
    assert_eq!(reason, Reason::CostsMore { drive_s: 6000, worth_s: 1800 });
    assert_eq!(reason.to_string(), "would cost 1 h 40 min of driving, it is worth 30 min");
}

#[test]
fn an_empty_van_is_not_a_full_day() {
    let uses = Visit { load_ml: 3_000, ..visit(1) };
    let less = Visit { penalty: 14_400, ..uses.clone() };
    let reason = reason(&problem(vec![less, uses]));
    assert_eq!(reason, Reason::VanLoad { load_ml: 3_000 });
    assert_eq!(reason.to_string(), "needs 3.0 L of treatment, more than is left on the vans that could go");
}

#[test]
fn a_full_day_is_not_an_empty_van() {
    let long = Visit { service_s: 5 * HOUR, ..visit(1) };
    let less = Visit { penalty: 14_400, ..long.clone() };
    let reason = reason(&problem(vec![less, long]));
    assert_eq!(reason, Reason::NoHoursLeft);
    assert_eq!(reason.to_string(), "no hours left: it fits only in place of others");
}

#[test]
fn what_a_stopped_search_left_out_is_told_apart() {
    let problem = problem(vec![visit(1)]);
    let found = explain(&problem, &[vec![]]);
    assert_eq!(found, [(0, Reason::StillFits { shift: 0, drive_s: 1200 })]);
    assert_eq!(found[0].1.to_string(), "fits with 20 min more driving: planning was stopped early");
}

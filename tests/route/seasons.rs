//! A season: everything is served, weeks come out level, issued weeks stay.

use std::sync::atomic::AtomicBool;

use embertide::route::{Effort, Problem, Visit, Window, areas, check, season};

use crate::world::{Dice, HOUR, all_day, line, shift, visit};

/// Two technicians, three weeks of five days, 45 visits of an hour; most may be made in any week, and driving alone
/// would not care when.
fn three_weeks() -> Problem {
    let days: Vec<usize> = (0..21).filter(|d| d % 7 < 5).collect();
    let shifts = days.iter().flat_map(|&d| [shift(0, d), shift(1, d)]).collect();
    let mut dice = Dice::new(9);
    let any: Vec<Window> = days.iter().map(|&d| all_day(d)).collect();
    let visits = (0..45).map(|_| Visit { windows: any.clone(), ..visit(1 + dice.index(4)) }).collect();
    Problem::new(21, shifts, visits, line(&[0, 10, -17, 31, 45])).unwrap()
}

fn plan(problem: &Problem, issued: &[Vec<usize>], price: i64) -> embertide::route::Season {
    season(problem, issued, if issued.is_empty() { 0 } else { 7 }, price, &Effort::new(3, 6000), &AtomicBool::new(false), &mut |_| {})
        .unwrap()
}

fn spread(weeks: &[i64]) -> i64 {
    weeks.iter().max().unwrap() - weeks.iter().min().unwrap()
}

#[test]
fn every_visit_is_served_and_the_weeks_are_level() {
    let problem = three_weeks();
    let found = plan(&problem, &[], 600);
    let timed = check(&problem, &found.routes).unwrap();
    assert_eq!(timed.unplaced, [0_usize; 0]);
    assert!(found.finished);
    assert!(spread(&found.even_s) < spread(&found.uneven_s), "{:?} {:?}", found.uneven_s, found.even_s);
    assert!(spread(&found.even_s) < i64::from(4 * HOUR), "{:?}", found.even_s);
    assert_eq!(plan(&problem, &[], 600), found, "equal effort gives an equal season");
}

#[test]
fn an_issued_week_stays() {
    let problem = three_weeks();
    let mut issued = plan(&problem, &[], 600).routes;
    issued.truncate(10);
    let again = plan(&problem, &issued, 600);
    assert_eq!(again.routes[..10], issued[..]);
    assert!(check(&problem, &again.routes).is_ok());
    let strange = season(&problem, &[vec![99]], 7, 0, &Effort::new(1, 1), &AtomicBool::new(false), &mut |_| {});
    assert_eq!(strange.unwrap_err().to_string(), "visit 99: it is issued but not in the plan");
}

#[test]
fn areas_hold_what_lies_together() {
    let visits = [1, 1, 2, 3, 3].map(visit).to_vec();
    let problem = Problem::new(1, vec![shift(0, 0)], visits, line(&[0, 40, 45, -60])).unwrap();
    assert_eq!(areas(&problem, 2), [1, 1, 1, 0, 0]);
    assert_eq!(areas(&problem, 0), [0; 5]);
}

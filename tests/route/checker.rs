//! The checker: every kind of fault is planted once and must be found; the times it prints are worked by hand.

use embertide::route::{Lock, Lunch, LunchPlace, Matrix, Problem, Shift, Skills, TimedRoute, Violation, Visit, Window, check};

use crate::world::{HOUR, all_day, line, shift, visit};

/// Depot, then places 10, 20 and 30 min along one road; one technician, one day.
fn problem(shift: Shift, visits: Vec<Visit>) -> Problem {
    Problem::new(1, vec![shift], visits, line(&[0, 10, 20, 30])).unwrap()
}

fn timed(problem: &Problem, order: &[usize]) -> TimedRoute {
    check(problem, &[order.to_vec()]).unwrap().routes.remove(0)
}

/// The one thing wrong.
fn fault(problem: &Problem, routes: &[Vec<usize>]) -> Violation {
    let found = check(problem, routes).unwrap_err();
    assert_eq!(found.len(), 1, "{found:?}");
    found[0]
}

fn no_lunch() -> Shift {
    Shift { lunch: None, ..shift(0, 0) }
}

fn window(from: i32, to: i32) -> Vec<Window> {
    vec![Window { day: 0, from, to }]
}

#[test]
fn a_plan_needs_one_route_for_each_shift() {
    let p = problem(shift(0, 0), vec![visit(1)]);
    assert_eq!(fault(&p, &[]), Violation::Shape { routes: 0, shifts: 1 });
    assert_eq!(fault(&p, &[vec![], vec![]]), Violation::Shape { routes: 2, shifts: 1 });
}

#[test]
fn unknown_and_doubled_visits_are_found() {
    let p = problem(shift(0, 0), vec![visit(1)]);
    assert_eq!(fault(&p, &[vec![0, 9]]), Violation::UnknownVisit { shift: 0, visit: 9 });
    assert_eq!(fault(&p, &[vec![0, 0]]), Violation::Twice { visit: 0 });
    let two = Problem::new(1, vec![shift(0, 0), shift(1, 0)], vec![visit(1)], line(&[0, 10])).unwrap();
    assert_eq!(fault(&two, &[vec![0], vec![0]]), Violation::Twice { visit: 0 });
}

#[test]
fn a_missing_skill_is_found() {
    let asked = Visit { skills: Skills(0b110), ..visit(1) };
    let p = problem(Shift { skills: Skills(0b101), ..shift(0, 0) }, vec![asked.clone()]);
    assert_eq!(fault(&p, &[vec![0]]), Violation::Skill { shift: 0, visit: 0 });
    let able = problem(Shift { skills: Skills(0b111), ..shift(0, 0) }, vec![asked]);
    assert!(check(&able, &[vec![0]]).is_ok());
}

#[test]
fn every_broken_promise_is_found() {
    let shifts = vec![shift(0, 0), shift(1, 0), shift(0, 1)];
    let at = Lock::At { shift: 1, from: 9 * HOUR, to: 10 * HOUR };
    for (lock, good) in
        [(Lock::Day(1), vec![2]), (Lock::Technician(0), vec![0, 2]), (Lock::Shift(1), vec![1]), (at, vec![1]), (Lock::Free, vec![0, 1, 2])]
    {
        let one = Visit { lock, windows: vec![all_day(0), all_day(1)], ..visit(1) };
        let p = Problem::new(2, shifts.clone(), vec![one], line(&[0, 10])).unwrap();
        for shift in 0..3 {
            let mut routes = vec![Vec::new(); 3];
            routes[shift].push(0);
            if good.contains(&shift) {
                assert!(check(&p, &routes).is_ok(), "{lock:?} in {shift}");
            } else {
                assert_eq!(fault(&p, &routes), Violation::Lock { shift, visit: 0 }, "{lock:?}");
            }
        }
    }
}

#[test]
fn a_promised_time_replaces_the_windows() {
    let lock = Lock::At { shift: 0, from: 9 * HOUR, to: 9 * HOUR + 900 };
    let p = problem(shift(0, 0), vec![Visit { lock, windows: vec![], ..visit(1) }]);
    assert_eq!(timed(&p, &[0]).stops[0].start, 9 * HOUR);
    let late = problem(Shift { starts: 9 * HOUR + 1200, ..shift(0, 0) }, vec![Visit { lock, ..visit(1) }]);
    let arrive = 9 * HOUR + 1200 + 600;
    assert_eq!(fault(&late, &[vec![0]]), Violation::Window { shift: 0, visit: 0, arrive });
}

#[test]
fn a_van_that_carries_too_little_is_found() {
    let uses = Visit { load_ml: 6_000, ..visit(1) };
    let p = problem(Shift { capacity_ml: 11_999, ..shift(0, 0) }, vec![uses.clone(), uses.clone()]);
    let found = Violation::Load { shift: 0, load_ml: 12_000, capacity_ml: 11_999 };
    assert_eq!(fault(&p, &[vec![0, 1]]), found);
    let p = problem(Shift { capacity_ml: 12_000, ..shift(0, 0) }, vec![uses.clone(), uses]);
    assert_eq!(timed(&p, &[0, 1]).load_ml, 12_000);
}

#[test]
fn a_missing_road_is_found_there_and_home() {
    let none = Matrix::NO_ROAD;
    for (cells, from, to) in [(vec![0, none, 60, 0], 0, 1), (vec![0, 60, none, 0], 1, 0)] {
        let p = Problem::new(1, vec![shift(0, 0)], vec![visit(1)], Matrix::new(2, cells).unwrap()).unwrap();
        assert_eq!(fault(&p, &[vec![0]]), Violation::Road { shift: 0, from, to });
    }
}

#[test]
fn a_missed_window_is_found_to_the_second() {
    let reach = 8 * HOUR + 600;
    let p = problem(shift(0, 0), vec![Visit { windows: window(0, reach - 1), ..visit(1) }]);
    assert_eq!(fault(&p, &[vec![0]]), Violation::Window { shift: 0, visit: 0, arrive: reach });
    let p = problem(shift(0, 0), vec![Visit { windows: window(0, reach), ..visit(1) }]);
    assert_eq!(timed(&p, &[0]).stops[0].start, reach);
    let p = problem(shift(0, 0), vec![Visit { windows: vec![], ..visit(1) }]);
    assert!(matches!(fault(&p, &[vec![0]]), Violation::Window { .. }));
}

#[test]
fn a_late_return_is_found_to_the_second() {
    let back = 8 * HOUR + 600 + HOUR + 600;
    let p = problem(Shift { ends: back - 1, ..no_lunch() }, vec![visit(1)]);
    assert_eq!(fault(&p, &[vec![0]]), Violation::Late { shift: 0, returns: back, ends: back - 1 });
    let p = problem(Shift { ends: back, ..no_lunch() }, vec![visit(1)]);
    assert_eq!(timed(&p, &[0]).returns, back);
}

#[test]
fn a_day_without_room_for_lunch_is_found() {
    let lunch = Some(Lunch { from: 9 * HOUR, to: 9 * HOUR + 300, seconds: 600 });
    let long = Visit { service_s: 2 * HOUR, ..visit(1) };
    let p = problem(Shift { ends: 10 * HOUR + 1200, lunch, ..shift(0, 0) }, vec![long]);
    assert_eq!(fault(&p, &[vec![0]]), Violation::Lunch { shift: 0 });
}

#[test]
fn lunch_falls_where_it_costs_no_time() {
    let lunch = |from: i32, to: i32| Some(Lunch { from, to, seconds: 1800 });
    let place = |s: Shift, v: Visit| {
        let route = timed(&problem(s, vec![v]), &[0]);
        let lunch = route.lunch.unwrap();
        (lunch.place, lunch.leg, lunch.starts, route.leaves, route.stops[0].start, route.returns)
    };
    let day = shift(0, 0);
    let eight = 8 * HOUR;
    // waits for the window: eats on arrival
    let waits = Visit { windows: window(12 * HOUR, 13 * HOUR), ..visit(1) };
    let got = place(Shift { lunch: lunch(11 * HOUR, 12 * HOUR), ..day.clone() }, waits);
    assert_eq!(got, (LunchPlace::OnArrival, 0, 11 * HOUR, eight, 12 * HOUR, 13 * HOUR + 600));
    // must eat before service can start: before driving off at 8
    let got = place(Shift { lunch: lunch(eight, eight), ..day.clone() }, visit(1));
    let start = eight + 1800 + 600;
    assert_eq!(got, (LunchPlace::BeforeDriving, 0, eight, eight + 1800, start, start + HOUR + 600));
    // on the road, five minutes out
    let got = place(Shift { lunch: lunch(eight + 300, eight + 300), ..day.clone() }, visit(1));
    assert_eq!(got, (LunchPlace::OnTheRoad, 0, eight + 300, eight, start, start + HOUR + 600));
    // back in time: after the return, even when the shift is over
    let short = Shift { lunch: lunch(11 * HOUR, 13 * HOUR), ends: 10 * HOUR, ..day.clone() };
    let got = place(short, visit(1));
    let back = eight + 1200 + HOUR;
    assert_eq!(got, (LunchPlace::AfterReturn, 1, 11 * HOUR, eight, eight + 600, back));
    // work starts after the latest lunch: none to be had
    let late = Shift { starts: 14 * HOUR, lunch: lunch(11 * HOUR, 13 * HOUR), ..day };
    assert_eq!(timed(&problem(late, vec![visit(1)]), &[0]).lunch, None);
}

#[test]
fn a_set_up_is_paid_once_at_a_place() {
    let unit = |place| Visit { set_up_s: 900, ..visit(place) };
    let p = problem(no_lunch(), vec![unit(1), unit(1), unit(2), unit(1)]);
    let route = timed(&p, &[0, 1, 2, 3]);
    let shares: Vec<bool> = route.stops.iter().map(|s| s.shares_set_up).collect();
    assert_eq!(shares, [false, true, false, false]);
    let stay: Vec<i32> = route.stops.iter().map(|s| s.leave - s.start).collect();
    assert_eq!(stay, [4500, 3600, 4500, 4500]);
    // by hand: 10 min out, 75 + 60 min, 10 min, 75 min, 10 min, 75 min, 10 min home
    assert_eq!(route.returns, 8 * HOUR + 60 * (10 + 75 + 60 + 10 + 75 + 10 + 75 + 10));
    assert_eq!(route.drive_s, 40 * 60);
    // the first stop pays, even at the depot
    let p = problem(no_lunch(), vec![unit(0)]);
    assert_eq!(timed(&p, &[0]).returns, 8 * HOUR + 75 * 60);
}

#[test]
fn times_and_sums_are_those_worked_by_hand() {
    let metres = vec![0, 7, 9, 7, 0, 4, 9, 4, 0];
    let drive = line(&[0, 10, 30]).with_metres(metres).unwrap();
    let late = Visit { windows: window(10 * HOUR, 11 * HOUR), ..visit(1) };
    let out = Visit { penalty: 1234, ..visit(2) };
    let p = Problem::new(1, vec![no_lunch()], vec![late, visit(2), out], drive).unwrap();
    let plan = check(&p, &[vec![0, 1]]).unwrap();
    assert_eq!((plan.unplaced, plan.unplaced_price), (vec![2], 1234));
    assert_eq!((plan.drive_s, plan.objective), (3600, 4834));
    let route = &plan.routes[0];
    assert_eq!(route.leaves, 9 * HOUR + 50 * 60, "just in time for the window");
    let stops: Vec<_> = route.stops.iter().map(|s| (s.leg_s, s.leg_m, s.arrive, s.start, s.leave)).collect();
    let ten = 10 * HOUR;
    let eleven = ten + HOUR;
    let there = eleven + 1200;
    assert_eq!(stops[0], (600, Some(7), ten, ten, eleven));
    assert_eq!(stops[1], (1200, Some(4), there, there, there + HOUR));
    assert_eq!((route.home_s, route.home_m, route.returns), (1800, Some(9), there + HOUR + 1800));
}

#[test]
fn every_fault_reads_as_a_sentence() {
    let all = [
        Violation::Shape { routes: 1, shifts: 2 },
        Violation::UnknownVisit { shift: 0, visit: 1 },
        Violation::Twice { visit: 1 },
        Violation::Skill { shift: 0, visit: 1 },
        Violation::Lock { shift: 0, visit: 1 },
        Violation::Load { shift: 0, load_ml: 2500, capacity_ml: 2000 },
        Violation::Road { shift: 0, from: 1, to: 2 },
        Violation::Window { shift: 0, visit: 1, arrive: 47_100 },
        Violation::Late { shift: 0, returns: 61_260, ends: 61_200 },
        Violation::Lunch { shift: 0 },
    ];
    let said: Vec<String> = all.iter().map(ToString::to_string).collect();
    assert_eq!(said[5], "route 0 uses 2.5 L, the van carries 2.0 L");
    assert_eq!(said[7], "route 0: visit 1 is reached at 13:05, outside its windows");
    assert_eq!(said[8], "route 0 is back at 17:01, the shift ends at 17:00");
    assert!(said.iter().all(|s| s.len() > 20));
}

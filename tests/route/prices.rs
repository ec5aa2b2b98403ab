//! What has a price beside driving: lateness, changes to what was told, overtime, uneven weeks; and the longest route.

use embertide::route::{Disturbance, Groups, Late, Level, Overtime, Problem, Shift, Told, Violation, Visit, check};

use crate::world::{Dice, HOUR, Size, all_day, line, plan, random_week, shift, visit};

/// A random week with every price and limit in it.
fn priced_week(seed: u64, size: Size) -> Problem {
    let week = random_week(seed, Size { rough: seed.is_multiple_of(4), ..size });
    let mut dice = Dice::new(seed + 5000);
    let days = week.days();
    let some = |dice: &mut Dice| dice.one_in(2);
    let shifts = week.shifts().iter().map(|s| Shift {
        most_s: some(&mut dice).then(|| dice.roll(2, 20) * 1800),
        overtime: some(&mut dice).then(|| Overtime { after_s: dice.roll(0, 8) * HOUR, milli: i64::from(dice.roll(0, 1500)) }),
        ..s.clone()
    });
    let shifts = shifts.collect();
    let visits = week.visits().iter().map(|v| Visit {
        late: some(&mut dice).then(|| Late { after: dice.index(days), per_day: i64::from(dice.roll(0, 2000)) }),
        told: some(&mut dice).then(|| Told { technician: dice.index(2), day: dice.index(days), start: dice.roll(8, 16) * HOUR }),
        ..v.clone()
    });
    let visits = visits.collect();
    let even_s = (0..days.div_ceil(7)).map(|_| i64::from(dice.roll(0, 30) * HOUR)).collect();
    let problem = Problem::new(days, shifts, visits, week.drive().clone()).unwrap();
    problem.with_level(Level { even_s, price: 300 }).unwrap()
}

/// The search keeps its sums step by step; the checker adds them up from the finished plan.
#[test]
fn search_and_checker_agree_on_every_price() {
    let (mut priced, mut placed) = (0, 0);
    for seed in 0..600 {
        let problem = priced_week(seed, Size { days: 9, technicians: 2, visits: 20, rough: false });
        let plan = plan(&problem, seed, 150);
        let timed = check(&problem, &plan.routes).unwrap_or_else(|v| panic!("seed {seed}: {v:?}"));
        assert_eq!(timed.objective, plan.objective, "seed {seed}");
        priced += i32::from(timed.other_price > 0);
        placed += problem.visits().len() - timed.unplaced.len();
    }
    assert!(priced > 200 && placed > 2000, "{priced} {placed}");
}

/// The same where most visits find no place and displace each other, with groups of products in the vans.
#[test]
fn search_and_checker_agree_where_visits_displace_each_other() {
    let (mut placed, mut all) = (0, 0);
    for seed in 0..300 {
        let week = priced_week(seed, Size { days: 2, technicians: 2, visits: 70, rough: false });
        let mut dice = Dice::new(seed);
        let mut amounts = |high: i32| -> Groups { [0; 4].map(|_: i64| i64::from(dice.roll(0, high)) * 500) };
        let carries = week.shifts().iter().map(|_| amounts(40)).collect();
        let takes = week.visits().iter().map(|_| amounts(5)).collect();
        let problem = week.with_groups(carries, takes).unwrap();
        let plan = plan(&problem, seed, 300);
        let timed = check(&problem, &plan.routes).unwrap_or_else(|v| panic!("seed {seed}: {v:?}"));
        assert_eq!(timed.objective, plan.objective, "seed {seed}");
        placed += problem.visits().len() - timed.unplaced.len();
        all += problem.visits().len();
    }
    assert!(placed > 1000 && all > 4 * placed, "{placed} of {all}");
}

/// The same where there are routes enough for the search to put former ones together anew near its end.
#[test]
fn search_and_checker_agree_where_former_routes_come_back() {
    let many = |routes: &[Vec<usize>]| routes.iter().filter(|r| !r.is_empty()).count() > 8;
    let mut weeks = 0;
    for seed in 0..400 {
        let problem = priced_week(seed, Size { days: 9, technicians: 4, visits: 90, rough: false });
        if !many(&plan(&problem, seed, 0).routes) {
            continue;
        }
        let plan = plan(&problem, seed, 2000);
        let timed = check(&problem, &plan.routes).unwrap_or_else(|v| panic!("seed {seed}: {v:?}"));
        assert_eq!(timed.objective, plan.objective, "seed {seed}");
        weeks += 1;
    }
    assert!(weeks > 40, "{weeks}");
}

/// By hand: an hour's work ten minutes out makes 80 min; overtime after an hour at half price: 20 min / 2.
#[test]
fn overtime_lateness_and_changes_cost_what_they_say() {
    let long = Shift { overtime: Some(Overtime { after_s: HOUR, milli: 500 }), ..shift(0, 1) };
    let late = Some(Late { after: 0, per_day: 77 });
    let told = Some(Told { technician: 3, day: 1, start: 9 * HOUR });
    let one = Visit { late, told, windows: vec![all_day(1)], ..visit(1) };
    let problem = Problem::new(2, vec![long], vec![one], line(&[0, 10])).unwrap();
    let timed = check(&problem, &[vec![0]]).unwrap();
    // the start, 8:10, is within an hour of 9:00: only the technician is another
    assert_eq!(timed.other_price, 600 + 77 + 3600);
    let strict = Disturbance { within_s: 600, ..Disturbance::default() };
    let problem = problem.with_disturbance(strict).unwrap();
    assert_eq!(check(&problem, &[vec![0]]).unwrap().other_price, 600 + 77 + 3600 + 900);
    assert_eq!(check(&problem, &[vec![]]).unwrap().unplaced_price, 28_800 + 10_800);
    // two hours above the even share cost four times the first
    let level = Level { even_s: vec![0], price: 90 };
    assert_eq!((level.cost(0, HOUR.into()), level.cost(0, (2 * HOUR).into()), level.cost(0, 0)), (90, 360, 0));
    assert!(problem.with_level(Level { even_s: vec![], price: 1 }).is_err());
}

/// Two stops with a window each, by hand: work from 10:00 to 11:00 ten minutes out, then from 15:00 to 16:00: from 9:50 to
/// 16:10 are 6 h 20 min, lunch in between.
#[test]
fn a_route_may_be_too_long_whenever_it_starts() {
    let at = |hour: i32| vec![embertide::route::Window { day: 0, from: hour * HOUR, to: hour * HOUR }];
    let visits = vec![Visit { windows: at(10), ..visit(1) }, Visit { windows: at(15), ..visit(1) }];
    let day = |most| Problem::new(1, vec![Shift { most_s: Some(most), ..shift(0, 0) }], visits.clone(), line(&[0, 10])).unwrap();
    let takes_s = 6 * HOUR + 1200;
    let timed = check(&day(takes_s), &[vec![0, 1]]).unwrap();
    assert_eq!(timed.routes[0].returns - timed.routes[0].leaves, takes_s);
    let most_s = takes_s - 1;
    assert_eq!(check(&day(most_s), &[vec![0, 1]]).unwrap_err(), [Violation::Long { shift: 0, takes_s, most_s }]);
    assert_eq!(plan(&day(takes_s), 1, 100).routes, [[0, 1]]);
    assert_eq!(plan(&day(most_s), 1, 100).routes[0].len(), 1);
}

/// A late first window: whoever drives off at eight waits; driving off later makes the day short enough.
#[test]
fn a_free_start_saves_the_wait() {
    let noon = vec![embertide::route::Window { day: 0, from: 14 * HOUR, to: 15 * HOUR }];
    let one = Visit { windows: noon, ..visit(1) };
    let short = Shift { most_s: Some(HOUR + 1200), ..shift(0, 0) };
    let problem = Problem::new(1, vec![short], vec![one], line(&[0, 10])).unwrap();
    assert_eq!(plan(&problem, 1, 50).routes, [[0]]);
}

//! Every order of every choice of visits, for weeks small enough: what the best plan is.
//! The rules are written out here once more, from their wording alone.

use embertide::route::problem::LOCK_PRICE;
use embertide::route::{Lock, Problem, Shift, Visit, check};

use crate::world::{Dice, Size, line, plan, random_week, shift, visit};

/// Whether `visit` may start at `t` in shift `ix`, or when next it may.
fn next_start(visit: &Visit, ix: usize, shift: &Shift, t: i32) -> Option<i32> {
    if let Lock::At { shift: promised, from, to } = visit.lock {
        return (promised == ix && t <= to).then(|| t.max(from));
    }
    let kept = match visit.lock {
        Lock::Day(day) => day == shift.day,
        Lock::Technician(technician) => technician == shift.technician,
        Lock::Shift(promised) => promised == ix,
        _ => true,
    };
    if !kept {
        return None;
    }
    let mut starts = Vec::new();
    for window in &visit.windows {
        if window.day == shift.day && t <= window.to {
            starts.push(t.max(window.from));
        }
    }
    starts.into_iter().min()
}

/// Driving seconds of `order` with lunch taken on leg `lunch_leg` (one past the last: not taken), if it can be done.
fn drive(problem: &Problem, ix: usize, order: &[usize], lunch_leg: usize) -> Option<i32> {
    let shift = &problem.shifts()[ix];
    let lunch = shift.lunch.filter(|l| l.seconds > 0 && shift.starts <= l.to);
    let (mut t, mut place, mut total) = (shift.starts, shift.depot, 0);
    for leg in 0..=order.len() {
        let to = order.get(leg).map_or(shift.depot, |&v| problem.visits()[v].place);
        let seconds = problem.drive().seconds(place, to)?;
        total += seconds;
        if leg == lunch_leg {
            let lunch = lunch?;
            if t > lunch.to {
                return None;
            }
            t = (t + seconds).max(lunch.from) + lunch.seconds;
        } else {
            t += seconds;
        }
        if let Some(&v) = order.get(leg) {
            let visit = &problem.visits()[v];
            t = next_start(visit, ix, shift, t)? + visit.service_s;
            t += if leg > 0 && to == place { 0 } else { visit.set_up_s };
        }
        place = to;
    }
    let eats_later = lunch_leg > order.len() && lunch.is_some_and(|l| t > l.to);
    (t <= shift.ends && !eats_later).then_some(total)
}

/// The least driving for each set of visits (a bit each) in shift `ix`.
fn least_drives(problem: &Problem, ix: usize) -> Vec<Option<i32>> {
    let n = problem.visits().len();
    let mut least = vec![None; 1 << n];
    least[0] = Some(0);
    let mut orders: Vec<Vec<usize>> = vec![Vec::new()];
    while let Some(order) = orders.pop() {
        for v in (0..n).filter(|v| !order.contains(v)) {
            let mut longer = order.clone();
            longer.push(v);
            orders.push(longer);
        }
        let shift = &problem.shifts()[ix];
        let load: i64 = order.iter().map(|&v| problem.visits()[v].load_ml).sum();
        let able = |&v: &usize| problem.visits()[v].skills.0 & !shift.skills.0 == 0;
        let group = |g: usize| order.iter().map(|&v| problem.takes(v)[g]).sum::<i64>() <= problem.carries(ix)[g];
        if order.is_empty() || load > shift.capacity_ml || !(0..4).all(group) || !order.iter().all(able) {
            continue;
        }
        let set = order.iter().fold(0, |set, v| set | 1 << v);
        for lunch_leg in 0..=order.len() + 1 {
            if let Some(seconds) = drive(problem, ix, &order, lunch_leg) {
                least[set] = Some(least[set].map_or(seconds, |old: i32| old.min(seconds)));
            }
        }
    }
    least
}

/// The objective of the best plan.
pub(crate) fn best_of(problem: &Problem) -> i64 {
    let n = problem.visits().len();
    let price_of = |v: usize| problem.visits()[v].penalty + if problem.is_must(v) { LOCK_PRICE } else { 0 };
    let price = |set: usize| -> i64 { (0..n).filter(|v| set >> v & 1 == 1).map(price_of).sum() };
    let all = (1 << n) - 1;
    let mut left: Vec<i64> = (0..=all).map(price).collect();
    for ix in 0..problem.shifts().len() {
        let least = least_drives(problem, ix);
        let before = left.clone();
        for (set, cost) in left.iter_mut().enumerate() {
            for (part, seconds) in least.iter().enumerate().filter(|p| p.0 & !set == 0) {
                if let Some(seconds) = seconds {
                    *cost = (*cost).min(before[set & !part] + i64::from(*seconds));
                }
            }
        }
    }
    left[all]
}

/// Source of the expected value: the enumeration above.
#[test]
fn plans_of_small_weeks_are_the_best_there_are() {
    let size = Size { days: 2, technicians: 2, visits: 7, rough: false };
    for seed in 0..SEEDS {
        let problem = random_week(seed, size);
        let found = plan(&problem, seed, 3000);
        assert_eq!(check(&problem, &found.routes).unwrap().objective, found.objective, "seed {seed}");
        assert_eq!(found.objective, best_of(&problem), "seed {seed}");
    }
}

/// The same for weeks that are all of seven visits.
#[test]
fn plans_of_weeks_of_seven_visits_are_the_best_there_are() {
    let size = Size { days: 2, technicians: 1, visits: 7, rough: false };
    let full = (0..).map(|seed| (seed, random_week(seed, size))).filter(|w| w.1.visits().len() == 7);
    for (seed, problem) in full.take(12) {
        assert_eq!(plan(&problem, seed, 2000).objective, best_of(&problem), "seed {seed}");
    }
}

/// On roads with gaps and shortcuts the search may miss an insertion, but it never breaks a rule
/// and never claims more than can be had.
#[test]
fn rough_roads_give_honest_plans() {
    let size = Size { days: 2, technicians: 2, visits: 5, rough: true };
    let mut equal = 0;
    for seed in 0..300 {
        let problem = random_week(seed, size);
        let plan = plan(&problem, seed, 500);
        let timed = check(&problem, &plan.routes).unwrap();
        assert_eq!(timed.objective, plan.objective, "seed {seed}");
        let best = best_of(&problem);
        assert!(plan.objective >= best, "seed {seed}: {} beats every order ({best})", plan.objective);
        equal += u32::from(plan.objective == best);
    }
    assert!(equal >= 290, "only {equal} of 300 are the best");
}

const SEEDS: u64 = 1000;

/// The least price left out of one day without driving: a knapsack, by the table over all its minutes (Bellman 1957, Dynamic
/// Programming, from memory).
fn knapsack(minutes: usize, visits: &[Visit]) -> i64 {
    let mut worth = vec![0; minutes + 1];
    for visit in visits {
        let (takes, price) = (usize::try_from(visit.service_s / 60).unwrap(), visit.penalty);
        for left in (takes..=minutes).rev() {
            worth[left] = worth[left].max(worth[left - takes] + price);
        }
    }
    visits.iter().map(|v| v.penalty).sum::<i64>() - worth[minutes]
}

#[test]
fn a_day_without_driving_is_packed_as_full_as_a_knapsack() {
    for seed in 0..12 {
        let mut dice = Dice::new(seed);
        let one = |dice: &mut Dice| {
            let minutes = dice.roll(20, 120);
            let price = i64::from(minutes * dice.roll(40, 240));
            Visit { service_s: minutes * 60, penalty: price, ..visit(0) }
        };
        let visits: Vec<Visit> = (0..40).map(|_| one(&mut dice)).collect();
        let best = knapsack(540, &visits);
        let day = Problem::new(1, vec![Shift { lunch: None, ..shift(0, 0) }], visits, line(&[0])).unwrap();
        let found = plan(&day, seed, 10_000);
        assert_eq!(found.objective, best, "seed {seed}");
    }
}

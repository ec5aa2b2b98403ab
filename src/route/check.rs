//! Judges a plan and gives it times.
//!
//! Shares no code with the search; the times come from the room's own timetable.

use super::problem::{Lock, Problem, Shift, Visit};
use super::times::{TimedPlan, TimedRoute};
use super::timetable::{time_early, time_route};
use super::violation::Violation;

/// Judges `routes`, one sequence of visit indices for each shift of `problem`.
///
/// # Errors
/// Every broken rule; of the timing rules the first in each route.
pub fn check(problem: &Problem, routes: &[Vec<usize>]) -> Result<TimedPlan, Vec<Violation>> {
    let shifts = problem.shifts().len();
    if routes.len() != shifts {
        return Err(vec![Violation::Shape { routes: routes.len(), shifts }]);
    }
    let mut broken = Vec::new();
    let mut times = vec![0_u32; problem.visits().len()];
    let mut done = Vec::new();
    for (shift, sequence) in routes.iter().enumerate() {
        if let Some(&visit) = sequence.iter().find(|&&v| v >= times.len()) {
            broken.push(Violation::UnknownVisit { shift, visit });
            continue;
        }
        for &v in sequence {
            times[v] += 1;
        }
        rules(problem, shift, sequence, &mut broken);
        match time_route(problem, shift, sequence) {
            Ok(route) if sequence.is_empty() => drop(route),
            Ok(route) => done.push(route),
            Err(violation) => broken.push(violation),
        }
    }
    broken.extend((0..times.len()).filter(|&v| times[v] > 1).map(|visit| Violation::Twice { visit }));
    if !broken.is_empty() {
        return Err(broken);
    }
    let unplaced: Vec<usize> = (0..times.len()).filter(|&v| times[v] == 0).collect();
    let drive_s = done.iter().map(|r| i64::from(r.drive_s)).sum();
    let unplaced_price = unplaced.iter().map(|&v| problem.price_of(v)).sum();
    let other_price = other_price(problem, &done);
    let objective = drive_s + unplaced_price + other_price;
    Ok(TimedPlan { routes: done, unplaced, drive_s, unplaced_price, other_price, objective })
}

/// What lateness, changes, overtime and uneven weeks cost.
fn other_price(problem: &Problem, routes: &[TimedRoute]) -> i64 {
    let mut price = 0;
    let mut weeks = vec![0_i64; problem.days().div_ceil(7)];
    for route in routes {
        let shift = &problem.shifts()[route.shift];
        weeks[shift.day / 7] += i64::from(route.work_s);
        if let Some(o) = shift.overtime {
            price += i64::from(route.work_s.saturating_sub(o.after_s).max(0)) * o.milli / 1000;
        }
        let order: Vec<usize> = route.stops.iter().map(|s| s.visit).collect();
        let early = time_early(problem, route.shift, &order);
        for stop in early.iter().flat_map(|r| &r.stops) {
            let visit = &problem.visits()[stop.visit];
            price += visit.costs_in(shift, problem.disturbance());
            price += visit.start_costs(shift.day, stop.start, problem.disturbance());
        }
    }
    let uneven = |level: &super::problem::Level| -> i64 { weeks.iter().enumerate().map(|(w, &work)| level.cost(w, work)).sum() };
    price + problem.level().map_or(0, uneven)
}

/// Skill, lock and van load.
fn rules(problem: &Problem, shift: usize, sequence: &[usize], broken: &mut Vec<Violation>) {
    let s = &problem.shifts()[shift];
    for &visit in sequence {
        let v = &problem.visits()[visit];
        if v.skills.0 & s.skills.0 != v.skills.0 {
            broken.push(Violation::Skill { shift, visit });
        }
        if !promise_kept(v, shift, s) {
            broken.push(Violation::Lock { shift, visit });
        }
    }
    if let Some((load_ml, capacity_ml)) = problem.too_much(shift, sequence.iter().copied()) {
        broken.push(Violation::Load { shift, load_ml, capacity_ml });
    }
}

fn promise_kept(v: &Visit, shift: usize, s: &Shift) -> bool {
    match v.lock {
        Lock::Free => true,
        Lock::Day(day) => s.day == day,
        Lock::Technician(technician) => s.technician == technician,
        Lock::Shift(ix) | Lock::At { shift: ix, .. } => ix == shift,
    }
}

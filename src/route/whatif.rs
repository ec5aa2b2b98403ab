//! What a visit costs where it is, and what it would cost elsewhere. Worked out with the checker's timing.

use super::problem::Problem;
use super::timetable::time_route;

/// How many slots are told.
const SLOTS: usize = 5;

/// One place in the plan where a visit fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    /// index of the shift
    pub shift: usize,
    /// position in its route, the visit itself left out
    pub position: usize,
    /// when work would start
    pub start: i32,
    /// driving it adds, in seconds
    pub drive_s: i64,
    /// driving and time on site it adds, in seconds
    pub work_s: i64,
    /// what it adds to the objective beside its own penalty, overtime and week prices left out
    pub costs: i64,
}

/// Driving and work a placed visit costs where it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// index of the visit
    pub visit: usize,
    /// index of its shift
    pub shift: usize,
    /// driving that would fall away without it, in seconds
    pub drive_s: i64,
    /// driving and time on site that would fall away, in seconds
    pub work_s: i64,
}

/// The five cheapest slots for `visit` in a plan, cheapest first, one at most in each shift. It may stand in the plan
/// already: its own place is among the slots then. Rules are kept: skills, promises, windows, hours, lunch, van load.
/// An unknown visit has no slot.
pub fn what_if(problem: &Problem, routes: &[Vec<usize>], visit: usize) -> Vec<Slot> {
    let Some(v) = problem.visits().get(visit) else {
        return Vec::new();
    };
    let mut slots: Vec<Slot> = Vec::new();
    for (k, shift) in problem.shifts().iter().enumerate() {
        if !shift.skills.cover(v.skills) || v.starts_in(k, shift).next().is_none() {
            continue;
        }
        let route: Vec<usize> = known(problem, routes.get(k)).filter(|&j| j != visit).collect();
        if problem.too_much(k, route.iter().copied().chain([visit])).is_none() {
            slots.extend(best_in(problem, k, &route, visit));
        }
    }
    slots.sort_by_key(|s| (s.costs, s.shift));
    slots.truncate(SLOTS);
    slots
}

/// What each placed visit costs where it is, by ascending index, in a plan that passes the checker.
pub fn shares(problem: &Problem, routes: &[Vec<usize>]) -> Vec<Share> {
    let mut all = Vec::new();
    for shift in 0..problem.shifts().len() {
        let route: Vec<usize> = known(problem, routes.get(shift)).collect();
        let Some(with) = sums(problem, shift, &route) else {
            continue;
        };
        for (i, &visit) in route.iter().enumerate() {
            let mut rest = route.clone();
            rest.remove(i);
            if let Some(without) = sums(problem, shift, &rest) {
                all.push(Share { visit, shift, drive_s: with.0 - without.0, work_s: with.1 - without.1 });
            }
        }
    }
    all.sort_by_key(|s| s.visit);
    all
}

fn known<'a>(problem: &'a Problem, route: Option<&'a Vec<usize>>) -> impl Iterator<Item = usize> + 'a {
    route.into_iter().flatten().copied().filter(|&j| j < problem.visits().len())
}

/// Driving and working seconds of a route, `None` when it breaks a rule of time.
fn sums(problem: &Problem, shift: usize, route: &[usize]) -> Option<(i64, i64)> {
    if route.is_empty() {
        return Some((0, 0));
    }
    let timed = time_route(problem, shift, route).ok()?;
    Some((i64::from(timed.drive_s), i64::from(timed.work_s)))
}

/// The cheapest position in one route.
fn best_in(problem: &Problem, shift: usize, route: &[usize], visit: usize) -> Option<Slot> {
    let before = sums(problem, shift, route)?;
    let (s, v) = (&problem.shifts()[shift], &problem.visits()[visit]);
    let slot = |position: usize| {
        let mut with = route.to_vec();
        with.insert(position, visit);
        let timed = time_route(problem, shift, &with).ok()?;
        let start = timed.stops[position].start;
        let drive_s = i64::from(timed.drive_s) - before.0;
        let moved = v.costs_in(s, problem.disturbance()) + v.start_costs(s.day, start, problem.disturbance());
        Some(Slot { shift, position, start, drive_s, work_s: i64::from(timed.work_s) - before.1, costs: drive_s + moved })
    };
    (0..=route.len()).filter_map(slot).min_by_key(|s| (s.costs, s.position))
}

//! The plan of a whole season: every visit of it over its weeks, level, then polished week by week.

use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

use super::check::check;
use super::part::Part;
use super::problem::{Level, Problem};
use super::refused::ProblemError;
use super::solve::{Effort, Plan, Progress, improve, solve};

/// What an hour above the even share of a week costs, in seconds of driving. Common practice, no source.
pub const LEVEL_PRICE: i64 = 60;

/// A season's plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Season {
    /// one sequence of visits for each shift
    pub routes: Vec<Vec<usize>>,
    /// working seconds (driving and on site) of each week as they were without levelling
    pub uneven_s: Vec<i64>,
    /// working seconds of each week in this plan
    pub even_s: Vec<i64>,
    /// driving seconds and the price of what is left out, before levelling
    pub cost_before: i64,
    /// the same in this plan
    pub cost: i64,
    /// false when it was cancelled
    pub finished: bool,
}

/// Plans a season. `issued` holds, for each shift, what has been issued already; on days before `first_day` those routes
/// stay as they are, and nothing more goes there. From that day on all is free. `price` is what the first hour above a week's even share
/// costs (see [`Level`]), 0 to leave the weeks as they fall. Half of the effort goes into the plan as it falls, a third into
/// levelling, the rest into polishing week by week.
///
/// # Errors
/// [`ProblemError`] when `price` is out of range or an issued route names a visit or a shift that is not there.
pub fn season(
    problem: &Problem,
    issued: &[Vec<usize>],
    first_day: usize,
    price: i64,
    effort: &Effort,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Result<Season, ProblemError> {
    let open = free_part(problem, issued, first_day)?;
    let steps = |share: u64| Effort { iterations: effort.iterations / 6 * share, ..*effort };
    let first = solve(&open.problem, &steps(3), cancel, progress);
    let (uneven_s, cost_before) = weigh(problem, &whole(problem, issued, &open, &first.routes));
    let level = even(problem, &uneven_s, price);
    let levelled = Part { problem: open.problem.clone().with_level(level)?, ..open };
    let second = improve(&levelled.problem, &first.routes, &steps(2), cancel, progress);
    let mut routes = second.routes;
    let polished = polish(&levelled.problem, &mut routes, effort, cancel)?;
    let finished = first.finished && second.finished && polished;
    let routes = whole(problem, issued, &levelled, &routes);
    let (even_s, cost) = weigh(problem, &routes);
    Ok(Season { routes, uneven_s, even_s, cost_before, cost, finished })
}

/// What has not been issued: its shifts and its visits.
fn free_part(problem: &Problem, issued: &[Vec<usize>], first_day: usize) -> Result<Part, ProblemError> {
    let mut taken = vec![false; problem.visits().len()];
    for (shift, route) in issued.iter().enumerate() {
        if shift >= problem.shifts().len() && !route.is_empty() {
            return Err(ProblemError::Shift { shift, what: "it is issued but not in the plan" });
        }
        if problem.shifts().get(shift).is_none_or(|s| s.day >= first_day) {
            continue;
        }
        for &visit in route {
            let Some(t) = taken.get_mut(visit) else {
                return Err(ProblemError::Visit { visit, what: "it is issued but not in the plan" });
            };
            *t = true;
        }
    }
    let free = |&k: &usize| problem.shifts()[k].day >= first_day;
    let shifts = (0..problem.shifts().len()).filter(free).collect();
    Part::of(problem, shifts, (0..taken.len()).filter(|&v| !taken[v]).collect())
}

fn whole(problem: &Problem, issued: &[Vec<usize>], part: &Part, routes: &[Vec<usize>]) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = issued.iter().take(problem.shifts().len()).cloned().collect();
    all.resize(problem.shifts().len(), Vec::new());
    part.paste(routes, &mut all);
    all
}

/// Working seconds of each week, and driving plus the price of what is left out.
fn weigh(problem: &Problem, routes: &[Vec<usize>]) -> (Vec<i64>, i64) {
    let mut weeks = vec![0; problem.days().div_ceil(7)];
    // an issued route may break a rule by now; it is then weighed as nothing
    let Ok(plan) = check(problem, routes) else {
        return (weeks, i64::MAX);
    };
    for route in &plan.routes {
        weeks[problem.shifts()[route.shift].day / 7] += i64::from(route.work_s);
    }
    (weeks, plan.drive_s + plan.unplaced_price)
}

/// The even share of each week: all work, in proportion to the hours that are worked.
fn even(problem: &Problem, work: &[i64], price: i64) -> Level {
    let mut hours = vec![0_i64; work.len()];
    for shift in problem.shifts() {
        hours[shift.day / 7] += i64::from(shift.ends - shift.starts);
    }
    let (all_work, all_hours) = (work.iter().sum::<i64>(), hours.iter().sum::<i64>().max(1));
    Level { even_s: hours.iter().map(|h| h * (all_work / 60) / all_hours * 60).collect(), price }
}

/// Searches on in each week alone, with a sixth of the effort; keeps what is better. The threads take weeks in turn.
fn polish(problem: &Problem, routes: &mut [Vec<usize>], effort: &Effort, cancel: &AtomicBool) -> Result<bool, ProblemError> {
    let weeks = (0..problem.days().div_ceil(7)).map(|week| week_of(problem, routes, week)).collect::<Result<Vec<Part>, _>>()?;
    let threads = effort.threads.get().min(weeks.len()).max(1);
    let share = u64::try_from(weeks.len().div_ceil(threads).max(1)).unwrap_or(1);
    let each = Effort { iterations: effort.iterations / 6 / share, threads: NonZeroUsize::MIN, ..*effort };
    let now: &[Vec<usize>] = routes;
    let one = |week: &Part| improve(&week.problem, &week.cut(now), &each, cancel, &mut |_| {});
    let of_thread = |n: usize| weeks.iter().enumerate().skip(n).step_by(threads).map(|(w, week)| (w, one(week))).collect::<Vec<_>>();
    let better: Vec<(usize, Plan)> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|n| scope.spawn(move || of_thread(n))).collect();
        let first = of_thread(0);
        // a thread that was lost takes its plans with it; those weeks stay as they are
        first.into_iter().chain(others.into_iter().filter_map(|other| other.join().ok()).flatten()).collect()
    });
    let finished = better.iter().all(|(_, plan)| plan.finished);
    for (w, plan) in &better {
        weeks[*w].paste(&plan.routes, routes);
    }
    Ok(finished)
}

/// One week: its shifts, and the visits that stand in it.
fn week_of(problem: &Problem, routes: &[Vec<usize>], week: usize) -> Result<Part, ProblemError> {
    let shifts: Vec<usize> = (0..routes.len()).filter(|&k| problem.shifts()[k].day / 7 == week).collect();
    let visits: Vec<usize> = shifts.iter().flat_map(|&k| routes[k].iter().copied()).collect();
    Part::of(problem, shifts, visits)
}

/// Divides the visits into at most `count` areas by nearness: centres are chosen farthest first from the first depot, and
/// each visit belongs to the nearest. Returns the area of each visit, numbered from 0; used to say "week n, area a".
pub fn areas(problem: &Problem, count: usize) -> Vec<usize> {
    let far = |a: usize, b: usize| problem.drive().seconds(a, b).unwrap_or(i32::MAX);
    let Some(depot) = problem.shifts().first().map(|s| s.depot) else {
        return vec![0; problem.visits().len()];
    };
    let mut nearest: Vec<(i32, usize)> = problem.visits().iter().map(|v| (far(depot, v.place), 0)).collect();
    for area in 0..count {
        let Some(centre) = (0..nearest.len()).max_by_key(|&v| (nearest[v].0, std::cmp::Reverse(v))) else {
            break;
        };
        let place = problem.visits()[centre].place;
        for (v, near) in nearest.iter_mut().enumerate() {
            let s = far(place, problem.visits()[v].place);
            if area == 0 || s < near.0 {
                *near = (s, area);
            }
        }
    }
    nearest.into_iter().map(|n| n.1).collect()
}

//! One search on several threads.
//!
//! A week is searched by each thread on its own, from its own seed, and the best plan wins. A season is too large to settle in
//! that time: it is divided among the threads by place, again and again with other borders, and each cools its own part.

use std::sync::atomic::AtomicBool;

use super::random::Random;
use super::{Effort, Plan, Progress, SEASON_SHIFTS, Scale, Stretch, search, steps};
use crate::route::check::check;
use crate::route::part::Part;
use crate::route::problem::{Lock, Problem};

/// How often a season is divided anew.
const DIVIDED: u32 = 10;

/// Searches, from a plan or from nothing, on the threads of `effort`.
pub(super) fn search_on(
    problem: &Problem,
    from: Option<&[Vec<usize>]>,
    effort: &Effort,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    let small = problem.shifts().len() < SEASON_SHIFTS;
    if effort.threads.get() == 1 {
        search(problem, effort, from, Stretch::WHOLE, &mut steps(effort.iterations), cancel, progress)
    } else if small {
        apart(problem, from, effort, cancel, progress)
    } else {
        divided(problem, from, effort, cancel, progress)
    }
}

fn seeded(effort: &Effort, n: usize) -> Effort {
    Effort { seed: effort.seed.wrapping_add((n as u64).wrapping_mul(0x5851_F42D_4C95_7F2D)), ..*effort }
}

fn apart(
    problem: &Problem,
    from: Option<&[Vec<usize>]>,
    effort: &Effort,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    let one = |n: usize, progress: &mut dyn FnMut(&Progress<'_>)| {
        search(problem, &seeded(effort, n), from, Stretch::WHOLE, &mut steps(effort.iterations), cancel, progress)
    };
    std::thread::scope(|scope| {
        let one = &one;
        let others: Vec<_> = (1..effort.threads.get()).map(|n| scope.spawn(move || one(n, &mut |_| {}))).collect();
        let first = one(0, progress);
        // a thread that was lost takes its plan with it; the first one's stays
        let plans = others.into_iter().filter_map(|other| other.join().ok());
        plans.fold(first, |best, plan| if plan.objective < best.objective { Plan { finished: best.finished, ..plan } } else { best })
    })
}

fn divided(
    problem: &Problem,
    from: Option<&[Vec<usize>]>,
    effort: &Effort,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    let mut chance = Random::new(effort.seed);
    let none = Effort { iterations: 0, ..*effort };
    let mut best = search(problem, &none, from, Stretch::WHOLE, &mut steps(0), cancel, progress);
    let mut now = best.routes.clone();
    let scale = Some(Scale::of(problem));
    let each = Effort { iterations: effort.iterations / u64::from(DIVIDED), ..*effort };
    for round in 0..DIVIDED {
        let (begins, ends) = (f64::from(round) / f64::from(DIVIDED), f64::from(round + 1) / f64::from(DIVIDED));
        let stretch = Stretch { begins, ends, warm: from.is_some(), scale };
        let step = Effort { seed: chance.next(), ..each };
        let Some(finished) = one_round(problem, &mut now, &step, stretch, &mut chance, cancel) else {
            break;
        };
        best.finished &= finished;
        best.iterations += each.iterations;
        let objective = check(problem, &now).map_or(i64::MAX, |plan| plan.objective);
        if objective < best.objective {
            best = Plan { routes: now.clone(), objective, ..best };
        }
        let narrow: Vec<Vec<u32>> = best.routes.iter().map(|r| r.iter().map(|&j| super::ground::small(j)).collect()).collect();
        progress(&Progress { iterations: best.iterations, share: ends, objective: best.objective, best: &narrow });
    }
    best
}

/// Divides, searches in every part, and puts the parts together in `now`; none when a part cannot be made.
fn one_round(
    problem: &Problem,
    now: &mut [Vec<usize>],
    effort: &Effort,
    stretch: Stretch,
    chance: &mut Random,
    cancel: &AtomicBool,
) -> Option<bool> {
    let parts = parts(problem, now, effort.threads.get(), chance)?;
    let one = |n: usize, start: &[Vec<usize>]| {
        search(&parts[n].problem, &seeded(effort, n), Some(start), stretch, &mut steps(effort.iterations), cancel, &mut |_| {})
    };
    let starts: Vec<_> = parts.iter().map(|p| p.cut(now)).collect();
    let plans: Vec<Option<Plan>> = std::thread::scope(|scope| {
        let (one, starts) = (&one, &starts);
        let others: Vec<_> = (1..parts.len()).map(|n| scope.spawn(move || one(n, &starts[n]))).collect();
        let first = one(0, &starts[0]);
        [Some(first)].into_iter().chain(others.into_iter().map(|other| other.join().ok())).collect()
    });
    let mut finished = true;
    for (part, plan) in parts.iter().zip(plans.into_iter().flatten()) {
        finished &= plan.finished;
        part.paste(&plan.routes, now);
    }
    Some(finished)
}

/// Divides shifts and visits by how far they lie from a place drawn by lot: as many stops in each part. Empty routes and
/// visits that are out go round in turn.
fn parts(problem: &Problem, now: &[Vec<usize>], threads: usize, chance: &mut Random) -> Option<Vec<Part>> {
    let visits = problem.visits();
    if visits.is_empty() {
        return None;
    }
    let pivot = visits[chance.below(visits.len())].place;
    let far = |v: usize| i64::from(problem.drive().seconds(pivot, visits[v].place).unwrap_or(i32::MAX));
    let mut order: Vec<(i64, usize)> = Vec::new();
    for (k, route) in now.iter().enumerate().filter(|r| !r.1.is_empty()) {
        order.push((route.iter().map(|&v| far(v)).sum::<i64>() / i64::try_from(route.len()).ok()?, k));
    }
    order.sort_unstable();
    let mut owner = vec![threads; now.len()];
    let (all, mut before) = (now.iter().map(Vec::len).sum::<usize>().max(1), 0);
    for &(_, k) in &order {
        owner[k] = (before * threads / all).min(threads - 1);
        before += now[k].len();
    }
    let mut turn = 0;
    for o in owner.iter_mut().filter(|o| **o == threads) {
        *o = turn % threads;
        turn += 1;
    }
    let mut whose = vec![threads; visits.len()];
    for (k, route) in now.iter().enumerate() {
        for &v in route {
            whose[v] = owner[k];
        }
    }
    for (v, w) in whose.iter_mut().enumerate().filter(|w| *w.1 == threads) {
        *w = match visits[v].lock {
            Lock::Shift(k) | Lock::At { shift: k, .. } => owner[k],
            _ => turn % threads,
        };
        turn += 1;
    }
    let of = |all: &[usize], n: usize| (0..all.len()).filter(|&x| all[x] == n).collect();
    let parts = (0..threads).map(|n| Part::of(problem, of(&owner, n), of(&whose, n)).ok()).collect::<Option<Vec<_>>>()?;
    Some(share_the_weeks(problem, now, parts))
}

/// Of a week's even share each part has what the work of the others leaves, so that its price is that of the whole as long as they
/// stand still.
fn share_the_weeks(problem: &Problem, now: &[Vec<usize>], parts: Vec<Part>) -> Vec<Part> {
    let (Some(level), Ok(plan)) = (problem.level(), check(problem, now)) else {
        return parts;
    };
    let share = |part: Part| {
        let mut left = level.even_s.clone();
        for route in plan.routes.iter().filter(|r| part.shifts.binary_search(&r.shift).is_err()) {
            left[problem.shifts()[route.shift].day / 7] -= i64::from(route.work_s);
        }
        Part { problem: part.problem.with_shares(left), ..part }
    };
    parts.into_iter().map(share).collect()
}

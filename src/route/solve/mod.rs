//! Finds a plan: takes strings of neighbouring stops out of the routes, puts visits back where they cost
//! least, and keeps the result by simulated annealing.
//!
//! - `heat`: how much worse a step may be and still be kept.
//! - `ground`: the problem laid out for speed.
//! - `timing`: times along one route; the cost of an insertion in a fixed number of steps.
//! - `state`: the plan being worked on, with undo.
//! - `layout`: places numbered so that neighbours are near in memory.
//! - `moves`: what one step does.
//! - `insert`: where visits are put back.
//! - `cross`: a round begins with routes of two former plans.
//! - `regret`: putting them back by what waiting would cost them.
//! - `displace`: which stops make room for a visit that is worth more.
//! - `recall`: looking back at routes that were had before; `memory` keeps them, `combine` puts them together, `choose` tries
//!   which of them go together.
//! - `sets`: sets of small numbers, such as shifts.
//! - `shifts`: which shifts are alike.
//! - `random`: the seeded generator.
//!
//! - `threads`: one search on several threads.
//!
//! No clock: equal problem, seed, iterations and threads give the identical plan in the same build.

mod choose;
mod combine;
mod cross;
mod displace;
mod ground;
mod heat;
mod insert;
mod layout;
mod memory;
mod moves;
mod random;
mod recall;
mod regret;
mod sets;
mod shifts;
mod state;
mod threads;
mod timing;

use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicBool, Ordering};

use super::problem::Problem;
use ground::Ground;
use heat::{Heat, Round, Scale};
use state::State;

/// Steps between two looks at the caller's pace and at the cancel flag.
const LOOK_EVERY: u64 = 16;
/// From this many shifts on, a problem counts as a season.
const SEASON_SHIFTS: usize = 60;

/// How long to search. Equal effort on an equal problem gives an equal plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// seed of all chance
    pub seed: u64,
    /// steps that each thread takes; 0 gives the first plan
    pub iterations: u64,
    /// threads that search
    pub threads: NonZeroUsize,
}

impl Effort {
    /// So many steps on one thread.
    pub const fn new(seed: u64, iterations: u64) -> Self {
        Self { seed, iterations, threads: NonZeroUsize::MIN }
    }

    /// The same on so many threads.
    #[must_use]
    pub const fn on(self, threads: NonZeroUsize) -> Self {
        Self { threads, ..self }
    }
}

/// A plan: for each shift, in the problem's order, the visits in driving order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// one sequence of visit indices for each shift
    pub routes: Vec<Vec<usize>>,
    /// driving seconds plus the price of all visits left out
    pub objective: i64,
    /// steps taken, by one thread
    pub iterations: u64,
    /// false when it was cancelled before its effort was used up
    pub finished: bool,
}

/// How the search stands. Reported for the first plan and then each time another hundredth of the effort is used.
#[derive(Debug)]
pub struct Progress<'a> {
    /// steps taken
    pub iterations: u64,
    /// part of the effort used, 0 to 1
    pub share: f64,
    /// objective of the best plan so far
    pub objective: i64,
    /// the best plan so far; valid at any time
    best: &'a [Vec<u32>],
}

impl Progress<'_> {
    /// The routes of the best plan so far.
    pub fn routes(&self) -> Vec<Vec<usize>> {
        widen(self.best)
    }
}

fn widen(routes: &[Vec<u32>]) -> Vec<Vec<usize>> {
    routes.iter().map(|r| r.iter().map(|&j| j as usize).collect()).collect()
}

/// Searches from nothing until `effort` is used up or `cancel` is set; returns the best plan so far. Progress is that of the first
/// thread.
///
/// # Examples
/// ```
/// # use std::sync::atomic::AtomicBool;
/// # use embertide::route::{Effort, Lock, Matrix, Problem, Shift, Skills, Visit, Window, solve};
/// let shift = Shift {
///     technician: 0, day: 0, starts: 8 * 3600, ends: 17 * 3600, depot: 0, lunch: None,
///     capacity_ml: 10_000, skills: Skills::NONE, most_s: None, overtime: None,
/// };
/// let visit = Visit {
///     place: 1, service_s: 1800, set_up_s: 300, windows: vec![Window { day: 0, from: 0, to: 86_399 }],
///     penalty: 14_400, skills: Skills::NONE, load_ml: 500, lock: Lock::Free, late: None, told: None,
/// };
/// let drive = Matrix::new(2, vec![0, 900, 900, 0])?;
/// let problem = Problem::new(1, vec![shift], vec![visit], drive)?;
/// let plan = solve(&problem, &Effort::new(1, 100), &AtomicBool::new(false), &mut |_| {});
/// assert_eq!(plan.routes, [[0]]);
/// assert_eq!(plan.objective, 1800);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn solve(problem: &Problem, effort: &Effort, cancel: &AtomicBool, progress: &mut dyn FnMut(&Progress<'_>)) -> Plan {
    threads::search_on(problem, None, effort, cancel, progress)
}

/// Searches on from `routes`, which may have been made for an older state of the world: visits that are unknown,
/// doubled or no longer fit are left out first. The result is never worse than what remained of `routes`.
pub fn improve(
    problem: &Problem,
    routes: &[Vec<usize>],
    effort: &Effort,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    threads::search_on(problem, Some(routes), effort, cancel, progress)
}

#[expect(clippy::cast_precision_loss, reason = "a share needs no more")]
fn steps(iterations: u64) -> impl FnMut(u64) -> f64 {
    move |done| {
        if done >= iterations { 1.0 } else { done as f64 / iterations as f64 }
    }
}

/// Searches at the caller's pace: `pace` is given the steps taken and tells the part of the effort used, from 0;
/// 1 or more (or not a number) ends the search. With a pace by the clock the plan is good but not repeatable.
/// `from` is a plan to start from. It is asked once in 16 steps, as is `cancel`.
pub fn solve_paced(
    problem: &Problem,
    seed: u64,
    from: Option<&[Vec<usize>]>,
    pace: &mut dyn FnMut(u64) -> f64,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    let endless = Effort::new(seed, u64::MAX);
    search(problem, &endless, from, Stretch::WHOLE, pace, cancel, progress)
}

/// Which stretch of the whole cooling a search does.
#[derive(Clone, Copy)]
struct Stretch {
    begins: f64,
    ends: f64,
    /// the whole goes on from a plan
    warm: bool,
    /// that of the whole, if this is a part
    scale: Option<Scale>,
}

impl Stretch {
    const WHOLE: Self = Self { begins: 0.0, ends: 1.0, warm: false, scale: None };

    fn is_whole(&self) -> bool {
        self.begins <= 0.0 && self.ends >= 1.0
    }
}

/// The search proper; it ends after all steps or when `pace` says so. What comes out of a stretch of a search is where it
/// stands, but at its end the best.
fn search(
    problem: &Problem,
    effort: &Effort,
    from: Option<&[Vec<usize>]>,
    stretch: Stretch,
    pace: &mut dyn FnMut(u64) -> f64,
    cancel: &AtomicBool,
    progress: &mut dyn FnMut(&Progress<'_>),
) -> Plan {
    let ground = Ground::new(problem);
    let limit = effort.iterations;
    let mut state = State::new(&ground, effort.seed);
    if let Some(routes) = from {
        state.take_over(routes);
    }
    state.note_best();
    state.fill();
    state.make_room();
    state.weigh_regret();
    if stretch.is_whole() {
        state.begin_memory();
    }
    let warm = if stretch.is_whole() { from.is_some() } else { stretch.warm };
    let (first, first_cost) = (state.best.clone(), state.best_cost);
    let mut heat = Heat::of(stretch.scale.unwrap_or_else(|| Scale::of(problem)), &state, warm, stretch.is_whole());
    let (mut done, mut told, mut temperature, mut looks_back) = (0, -1.0, heat.start, false);
    let finished = loop {
        if done % LOOK_EVERY == 0 || done == limit {
            if cancel.load(Ordering::Relaxed) {
                break false;
            }
            let share = pace(done);
            let over = done == limit || ground.open.is_empty() || share.is_nan() || share >= 1.0;
            let share = if over { 1.0 } else { share.max(0.0) };
            let hundredth = (share * 100.0).floor();
            if hundredth > told {
                told = hundredth;
                let (best, objective) = state.best_of_all();
                progress(&Progress { iterations: done, share, objective, best });
            }
            if over {
                break true;
            }
            let share = stretch.begins + share * (stretch.ends - stretch.begins);
            match heat.next_round(share) {
                Round::Same => {}
                Round::Afresh => state.start_over(),
                Round::Crossed => state.cross(),
                Round::FromFirst => state.return_to(&first, first_cost),
            }
            temperature = heat.at(share);
            looks_back = state.looks_back(share);
        }
        if looks_back {
            // it counts for more steps than lie between two looks at the pace, and the pace may end the search at any of them
            if done % recall::STEPS == 0 {
                state.look_back();
            }
            done = limit.min(done + LOOK_EVERY);
        } else {
            state.advance(temperature);
            done += 1;
        }
    };
    if stretch.ends >= 1.0 {
        let (best, objective) = state.best_of_all();
        return Plan { routes: widen(best), objective, iterations: done, finished };
    }
    let routes: Vec<Vec<u32>> = state.routes.iter().map(|r| r.seq.clone()).collect();
    Plan { routes: widen(&routes), objective: state.cost, iterations: done, finished }
}

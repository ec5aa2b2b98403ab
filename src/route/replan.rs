//! Something happened after the week was issued: a plan that is mended with as little disturbance as can be.

use std::fmt;
use std::sync::atomic::AtomicBool;

use super::check::check;
use super::matrix::Matrix;
use super::part::Part;
use super::problem::{Lock, Problem, Told, Visit, Window};
use super::refused::ProblemError;
use super::solve::{Effort, Plan, improve, solve_paced};
use super::times::TimedPlan;
use super::words::clock;

/// What happened.
#[derive(Clone, Debug)]
pub enum Change {
    /// nobody works this shift (an index) after all
    ShiftLost(usize),
    /// the customer does not want this visit (an index)
    Refused(usize),
    /// a visit more; it gets the next index
    Added(Box<Visit>),
    /// roads opened or closed: driving times between the same places, as they are now
    Roads(Matrix),
}

/// The question after a change: indices of visits are those of the issued plan, added ones at the end.
#[derive(Clone, Debug)]
pub struct Mending {
    part: Part,
    start: Vec<Vec<usize>>,
    /// where each visit stood
    stood: Vec<Option<Told>>,
}

/// The mended plan.
#[derive(Clone, Debug)]
pub struct Mended {
    /// the changed problem
    pub problem: Problem,
    /// for each of its shifts, the index in the issued plan's problem
    pub shifts: Vec<usize>,
    /// for each of its visits, the index in the issued plan's problem; those added follow after its last
    pub visits: Vec<usize>,
    /// its routes, in the indices of `problem`
    pub plan: Plan,
    /// what is different, in the indices of the issued plan's problem
    pub differences: Vec<Difference>,
}

/// One thing that is different for one visit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Difference {
    /// index of the visit
    pub visit: usize,
    /// what
    pub kind: Kind,
}

/// How a visit differs from where it stood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// another day (and maybe another technician)
    Day {
        /// where it stood
        stood: Told,
        /// what is planned now
        now: Told,
    },
    /// the same day, another technician
    Technician {
        /// where it stood
        stood: Told,
        /// what is planned now
        now: Told,
    },
    /// the start moved by more than may pass
    Time {
        /// where it stood
        stood: Told,
        /// what is planned now
        now: Told,
    },
    /// not planned any more
    Dropped {
        /// where it stood
        stood: Told,
    },
    /// new in the plan
    New {
        /// what is planned now
        now: Told,
    },
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let visit = self.visit;
        match self.kind {
            Kind::Day { stood, now } => {
                write!(
                    f,
                    "visit {visit} moves from day {} to day {} at {}, technician {}",
                    stood.day,
                    now.day,
                    clock(now.start),
                    now.technician
                )
            }
            Kind::Technician { stood, now } => write!(
                f,
                "visit {visit} on day {} goes from technician {} to technician {}, at {}",
                now.day,
                stood.technician,
                now.technician,
                clock(now.start)
            ),
            Kind::Time { stood, now } => {
                write!(f, "visit {visit} moves from {} to {} on day {}", clock(stood.start), clock(now.start), now.day)
            }
            Kind::Dropped { stood } => {
                write!(f, "visit {visit}, on day {} at {}, is not planned any more", stood.day, clock(stood.start))
            }
            Kind::New { now } => {
                write!(f, "visit {visit} is new on day {} at {}, technician {}", now.day, clock(now.start), now.technician)
            }
        }
    }
}

impl Mending {
    /// Takes the issued plan, what happened, and the first day that can still be changed. Days before it are over: their
    /// shifts and visits are left out of the question. Every visit issued for later counts as told: what its [`Visit::told`] says,
    /// where that is a day that can still be had, else where it stands.
    ///
    /// # Errors
    /// [`ProblemError`] when a change names a shift or visit that is not there, an added visit cannot be, or the issued plan
    /// does not pass the checker.
    pub fn new(problem: &Problem, routes: &[Vec<usize>], changes: &[Change], first_day: usize) -> Result<Self, ProblemError> {
        let issued = check(problem, routes).map_err(|_| ProblemError::Price { what: "the issued plan breaks a rule" })?;
        let mut stood = start_times(problem, &issued);
        let mut visits: Vec<Visit> = problem.visits().to_vec();
        let mut asked = vec![true; visits.len()];
        let mut works: Vec<bool> = problem.shifts().iter().map(|s| s.day >= first_day).collect();
        let mut drive = problem.drive().clone();
        for change in changes {
            match change {
                Change::ShiftLost(shift) => *slot(&mut works, *shift).ok_or(no_shift(*shift))? = false,
                Change::Refused(visit) => *slot(&mut asked, *visit).ok_or(no_visit(*visit))? = false,
                Change::Added(visit) => {
                    visits.push((**visit).clone());
                    asked.push(true);
                    stood.push(None);
                }
                Change::Roads(matrix) => drive = matrix.clone(),
            }
        }
        for (v, visit) in visits.iter_mut().enumerate() {
            asked[v] &= stood[v].is_none_or(|t| t.day >= first_day);
            visit.told = visit.told.filter(|t| t.day >= first_day).or(stood[v]);
            hold_early(visit, stood[v], problem.disturbance().within_s);
        }
        let shifts: Vec<usize> = (0..problem.shifts().len()).collect();
        let old: Vec<Option<usize>> = (0..visits.len()).map(|v| (v < problem.visits().len()).then_some(v)).collect();
        let question = Problem::new(problem.days(), problem.shifts().to_vec(), visits, drive)?.with_rest_of(problem, &shifts, &old)?;
        let pick = |yes: &[bool]| (0..yes.len()).filter(|&i| yes[i]).collect::<Vec<usize>>();
        let part = Part::of(&question, pick(&works), pick(&asked))?;
        let start = part.cut(routes);
        Ok(Self { part, start, stood })
    }

    /// Mends with a fixed effort.
    pub fn mend(self, effort: &Effort, cancel: &AtomicBool) -> Mended {
        let plan = improve(&self.part.problem, &self.start, effort, cancel, &mut |_| {});
        self.read(plan)
    }

    /// Mends at the caller's pace, see [`solve_paced`].
    pub fn mend_paced(self, seed: u64, pace: &mut dyn FnMut(u64) -> f64, cancel: &AtomicBool) -> Mended {
        let plan = solve_paced(&self.part.problem, seed, Some(&self.start), pace, cancel, &mut |_| {});
        self.read(plan)
    }

    fn read(self, plan: Plan) -> Mended {
        let Part { problem, shifts, visits } = self.part;
        let mut now = vec![None; self.stood.len()];
        // what the search gives passes the checker; were it not so, all would be told as dropped
        if let Ok(timed) = check(&problem, &plan.routes) {
            for (v, t) in start_times(&problem, &timed).into_iter().enumerate() {
                now[visits[v]] = t;
            }
        }
        let within = problem.disturbance().within_s;
        let one = |&visit: &usize| difference(self.stood[visit], now[visit], within).map(|kind| Difference { visit, kind });
        let differences = visits.iter().filter_map(one).collect();
        Mended { problem, shifts, visits, plan, differences }
    }
}

fn slot(all: &mut [bool], i: usize) -> Option<&mut bool> {
    all.get_mut(i)
}

fn no_shift(shift: usize) -> ProblemError {
    ProblemError::Shift { shift, what: "it is not in the issued plan" }
}

fn no_visit(visit: usize) -> ProblemError {
    ProblemError::Visit { visit, what: "it is not in the issued plan" }
}

fn start_times(problem: &Problem, plan: &TimedPlan) -> Vec<Option<Told>> {
    let mut starts = vec![None; problem.visits().len()];
    for route in &plan.routes {
        let shift = &problem.shifts()[route.shift];
        for stop in &route.stops {
            starts[stop.visit] = Some(Told { technician: shift.technician, day: shift.day, start: stop.start });
        }
    }
    starts
}

/// On the told day nobody comes much earlier than told, or than planned where that is earlier: it is better to wait in the yard.
fn hold_early(visit: &mut Visit, stood: Option<Told>, within_s: i32) {
    let Some(told) = visit.told.filter(|_| !matches!(visit.lock, Lock::At { .. })) else {
        return;
    };
    let earliest = stood.filter(|s| s.day == told.day).map_or(told.start, |s| s.start.min(told.start));
    for w in visit.windows.iter_mut().filter(|w| w.day == told.day) {
        let from = w.from.max((earliest - within_s).max(0));
        if from <= w.to {
            *w = Window { from, ..*w };
        }
    }
}

fn difference(stood: Option<Told>, now: Option<Told>, within_s: i32) -> Option<Kind> {
    match (stood, now) {
        (None, None) => None,
        (None, Some(now)) => Some(Kind::New { now }),
        (Some(stood), None) => Some(Kind::Dropped { stood }),
        (Some(stood), Some(now)) if stood.day != now.day => Some(Kind::Day { stood, now }),
        (Some(stood), Some(now)) if stood.technician != now.technician => Some(Kind::Technician { stood, now }),
        (Some(stood), Some(now)) => ((stood.start - now.start).abs() > within_s).then_some(Kind::Time { stood, now }),
    }
}

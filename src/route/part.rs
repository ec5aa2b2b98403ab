//! A part of a problem: some of its shifts, some of its visits.

use super::problem::{Lock, Problem, Shift, Visit};
use super::refused::ProblemError;

/// A smaller problem and how its indices read in the larger one.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) problem: Problem,
    /// index in the larger problem of each shift
    pub(super) shifts: Vec<usize>,
    /// index in the larger problem of each visit
    pub(super) visits: Vec<usize>,
}

impl Part {
    /// `shifts` and `visits` as they stand in `whole`. A promise of a shift that is not among `shifts` becomes a promise
    /// of its day.
    pub(super) fn of(whole: &Problem, shifts: Vec<usize>, visits: Vec<usize>) -> Result<Self, ProblemError> {
        let mut new_shift = vec![None; whole.shifts().len()];
        for (new, &old) in shifts.iter().enumerate() {
            new_shift[old] = Some(new);
        }
        let kept: Vec<Shift> = shifts.iter().map(|&k| whole.shifts()[k].clone()).collect();
        let lock = |lock| match lock {
            Lock::Shift(k) => new_shift[k].map_or(Lock::Day(whole.shifts()[k].day), Lock::Shift),
            Lock::At { shift: k, from, to } => new_shift[k].map_or(Lock::Day(whole.shifts()[k].day), |shift| Lock::At { shift, from, to }),
            other => other,
        };
        let of = |&v: &usize| {
            let visit = &whole.visits()[v];
            Visit { lock: lock(visit.lock), ..visit.clone() }
        };
        let jobs = visits.iter().map(of).collect();
        let old: Vec<Option<usize>> = visits.iter().copied().map(Some).collect();
        let problem = Problem::new(whole.days(), kept, jobs, whole.drive().clone())?.with_rest_of(whole, &shifts, &old)?;
        Ok(Self { problem, shifts, visits })
    }

    /// The routes of the whole as far as they lie in this part.
    pub(super) fn cut(&self, routes: &[Vec<usize>]) -> Vec<Vec<usize>> {
        let new = |old: &usize| self.visits.iter().position(|v| v == old);
        let route = |&k: &usize| routes.get(k).map_or_else(Vec::new, |r| r.iter().filter_map(new).collect());
        self.shifts.iter().map(route).collect()
    }

    /// Puts routes of this part into those of the whole.
    pub(super) fn paste(&self, part: &[Vec<usize>], routes: &mut [Vec<usize>]) {
        for (&k, route) in self.shifts.iter().zip(part) {
            routes[k] = route.iter().map(|&v| self.visits[v]).collect();
        }
    }
}

//! The checks behind [`Problem::new`](super::problem::Problem::new).

use std::collections::HashSet;
use std::fmt;

use super::matrix::Matrix;
use super::problem::{Disturbance, Groups, Level, Lock, MAX_CLOCK_S, MAX_PENALTY, Shift, Visit};

/// The most days in one problem.
pub(super) const MAX_DAYS: usize = 800;
/// The most shifts in one problem.
pub(super) const MAX_SHIFTS: usize = 10_000;
/// The most visits in one problem.
pub(super) const MAX_VISITS: usize = 20_000;
/// The most pairs of visit and shift, and of visit and day: it bounds the memory taken.
pub(super) const MAX_PAIRS: usize = 10_000_000;
/// The largest amount of product, in millilitres (a thousand cubic metres).
pub(super) const MAX_LOAD_ML: i64 = 1_000_000_000;

/// Why a problem was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProblemError {
    /// more days, shifts, visits or pairs of them than can be handled
    TooMany {
        /// of what
        what: &'static str,
        /// how many there are
        count: usize,
        /// how many there may be
        limit: usize,
    },
    /// the shift's day, depot, hours or van load cannot be
    Shift {
        /// index of the shift
        shift: usize,
        /// what is wrong
        what: &'static str,
    },
    /// a second shift for one technician on one day
    SecondShift {
        /// index of the shift
        shift: usize,
        /// whose
        technician: usize,
        /// when
        day: usize,
    },
    /// the visit's place, times, penalty, load or lock cannot be
    Visit {
        /// index of the visit
        visit: usize,
        /// what is wrong
        what: &'static str,
    },
    /// a price of the whole plan cannot be
    Price {
        /// what is wrong
        what: &'static str,
    },
}

impl fmt::Display for ProblemError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooMany { what, count, limit } => write!(f, "{count} {what} are more than the {limit} that can be planned"),
            Self::Shift { shift, what } => write!(f, "shift {shift}: {what}"),
            Self::SecondShift { shift, technician, day } => {
                write!(f, "shift {shift} is a second one for technician {technician} on day {day}")
            }
            Self::Price { what } => write!(f, "the prices of the plan: {what}"),
            Self::Visit { visit, what } => write!(f, "visit {visit}: {what}"),
        }
    }
}

impl std::error::Error for ProblemError {}

fn at_most(what: &'static str, count: usize, limit: usize) -> Result<(), ProblemError> {
    if count > limit { Err(ProblemError::TooMany { what, count, limit }) } else { Ok(()) }
}

/// Refuses sizes that would not fit in memory.
pub(super) fn sizes(days: usize, shifts: &[Shift], visits: &[Visit]) -> Result<(), ProblemError> {
    at_most("days", days, MAX_DAYS)?;
    at_most("shifts", shifts.len(), MAX_SHIFTS)?;
    at_most("visits", visits.len(), MAX_VISITS)?;
    at_most("pairs of visit and shift", shifts.len() * visits.len(), MAX_PAIRS)?;
    at_most("pairs of visit and day", days * visits.len(), MAX_PAIRS)
}

fn clock(t: i32) -> bool {
    (0..=MAX_CLOCK_S).contains(&t)
}

fn span(from: i32, to: i32) -> bool {
    clock(from) && clock(to) && from <= to
}

fn price(p: i64) -> bool {
    (0..=MAX_PENALTY).contains(&p)
}

/// Refuses prices of changes that cannot be.
pub(super) fn disturbance(d: &Disturbance) -> Result<(), ProblemError> {
    let good = [d.day, d.technician, d.time, d.dropped].into_iter().all(price) && clock(d.within_s);
    if good { Ok(()) } else { Err(ProblemError::Price { what: "a price for a change is out of range" }) }
}

/// Refuses even shares that cannot be.
pub(super) fn level(level: &Level, days: usize) -> Result<(), ProblemError> {
    if level.even_s.len() != days.div_ceil(7) {
        return Err(ProblemError::Price { what: "there must be one even share of work for each week of seven days" });
    }
    let good = level.even_s.iter().all(|&s| (0..=1_000_000_000).contains(&s)) && (0..=100_000).contains(&level.price);
    if good { Ok(()) } else { Err(ProblemError::Price { what: "an even share of work or its price is out of range" }) }
}

/// What is wrong with groups of products.
pub(super) const GROUPS_WRONG: &str = "its amounts of each group of products are missing or out of range";

/// Refuses amounts of groups of products that cannot be: the first index that is wrong.
pub(super) fn groups(all: &[Groups], count: usize) -> Result<(), usize> {
    if all.len() != count {
        return Err(all.len().min(count));
    }
    let good = |groups: &Groups| groups.iter().all(|ml| (0..=MAX_LOAD_ML).contains(ml));
    all.iter().position(|g| !good(g)).map_or(Ok(()), Err)
}

/// Refuses shifts that cannot be.
pub(super) fn shifts(days: usize, shifts: &[Shift], drive: &Matrix) -> Result<(), ProblemError> {
    let mut seen = HashSet::new();
    for (shift, s) in shifts.iter().enumerate() {
        let lunch = s.lunch.is_none_or(|l| span(l.from, l.to) && clock(l.seconds));
        let rules = [
            (s.day < days, "its day is not in the plan"),
            (s.depot < drive.places(), "its depot is not among the places"),
            (span(s.starts, s.ends), "its hours are reversed or out of range"),
            (lunch, "its lunch is reversed or out of range"),
            ((0..=MAX_LOAD_ML).contains(&s.capacity_ml), "its van load is out of range"),
            (s.most_s.is_none_or(clock), "its longest route is out of range"),
            (s.overtime.is_none_or(|o| clock(o.after_s) && price(o.milli)), "its overtime is out of range"),
        ];
        if let Some((_, what)) = rules.into_iter().find(|r| !r.0) {
            return Err(ProblemError::Shift { shift, what });
        }
        if !seen.insert((s.technician, s.day)) {
            return Err(ProblemError::SecondShift { shift, technician: s.technician, day: s.day });
        }
    }
    Ok(())
}

/// Refuses visits that cannot be.
pub(super) fn visits(days: usize, shifts: &[Shift], visits: &[Visit], drive: &Matrix) -> Result<(), ProblemError> {
    for (visit, v) in visits.iter().enumerate() {
        let lock = match v.lock {
            Lock::Free | Lock::Technician(_) => true,
            Lock::Day(day) => day < days,
            Lock::Shift(shift) => shift < shifts.len(),
            Lock::At { shift, from, to } => shift < shifts.len() && span(from, to),
        };
        let rules = [
            (v.place < drive.places(), "its place is not among the places"),
            (clock(v.service_s), "its service time is out of range"),
            (clock(v.set_up_s), "its set-up time is out of range"),
            (v.windows.iter().all(|w| w.day < days), "a window is on a day that is not in the plan"),
            (v.windows.iter().all(|w| span(w.from, w.to)), "a window is reversed or out of range"),
            ((0..=MAX_PENALTY).contains(&v.penalty), "its penalty is out of range"),
            ((0..=MAX_LOAD_ML).contains(&v.load_ml), "its load is out of range"),
            (v.late.is_none_or(|l| l.after < days && price(l.per_day)), "its price for lateness is out of range"),
            (v.told.is_none_or(|t| clock(t.start)), "the told time is out of range"),
            (lock, "it is locked to a day, shift or time that is not in the plan"),
        ];
        if let Some((_, what)) = rules.into_iter().find(|r| !r.0) {
            return Err(ProblemError::Visit { visit, what });
        }
    }
    Ok(())
}

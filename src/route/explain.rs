//! Why a visit was left out.
//!
//! Every reason is worked out with the checker's timing, not the search's, and is true of the plan at hand.

use std::fmt;

use super::problem::{Problem, Visit};
use super::timetable::time_route;
use super::words::{duration, litres};

/// The reason, from what no plan could change to what this plan decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// nobody works in these days at all
    NobodyWorks,
    /// nobody works where or when it is promised
    NobodyThere,
    /// no technician (that its promise allows) has the skill
    NoSkill,
    /// no skilled technician works on a day inside its windows
    NoWorkingDay,
    /// its windows are closed during the working hours of all its days
    ClosedInHours,
    /// no road is known from any depot and back
    NoRoad,
    /// it needs more product than any van carries
    TooMuchForVan {
        /// millilitres needed
        load_ml: i64,
        /// the largest van that could go
        capacity_ml: i64,
    },
    /// even alone on an empty day it does not fit
    TooLongForADay,
    /// it would fit in time, but the vans that could go have no product left for it
    VanLoad {
        /// millilitres needed
        load_ml: i64,
    },
    /// it would fit, but the driving costs more than the visit is worth
    CostsMore {
        /// driving it would add, in seconds
        drive_s: i64,
        /// its penalty, in seconds
        worth_s: i64,
    },
    /// it fits only by leaving out others
    NoHoursLeft,
    /// it fits into this plan: the search was stopped early
    StillFits {
        /// the shift in which it fits best
        shift: usize,
        /// driving it would add, in seconds (below 0 when the way round is shorter)
        drive_s: i64,
    },
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NobodyWorks => write!(f, "nobody works in this week"),
            Self::NobodyThere => write!(f, "nobody works on the day it is held to"),
            Self::NoSkill => write!(f, "no technician who could go has the skill"),
            Self::NoWorkingDay => write!(f, "nobody works on the days planned that lie inside its window"),
            Self::ClosedInHours => write!(f, "its window is outside working hours on all its days"),
            Self::NoRoad => write!(f, "no road is known that leads there and back"),
            Self::TooMuchForVan { load_ml, capacity_ml } => {
                write!(f, "needs {} of treatment, the largest van carries {}", litres(load_ml), litres(capacity_ml))
            }
            Self::TooLongForADay => write!(f, "does not fit in a working day, even alone"),
            Self::VanLoad { load_ml } => {
                write!(f, "needs {} of treatment, more than is left on the vans that could go", litres(load_ml))
            }
            Self::CostsMore { drive_s, worth_s } => {
                write!(f, "would cost {} of driving, it is worth {}", duration(drive_s), duration(worth_s))
            }
            Self::NoHoursLeft => write!(f, "no hours left: it fits only in place of others"),
            Self::StillFits { drive_s, .. } => {
                write!(f, "fits with {} more driving: planning was stopped early", duration(drive_s))
            }
        }
    }
}

/// The reason for every visit that is in no route, by ascending index. `routes` is a plan that passes
/// [`check`](super::check::check()) for `problem`; of any other plan the reasons may be wrong.
pub fn explain(problem: &Problem, routes: &[Vec<usize>]) -> Vec<(usize, Reason)> {
    let mut placed = vec![false; problem.visits().len()];
    for &v in routes.iter().flatten() {
        if let Some(p) = placed.get_mut(v) {
            *p = true;
        }
    }
    (0..placed.len()).filter(|&v| !placed[v]).map(|v| (v, reason(problem, routes, v))).collect()
}

fn reason(problem: &Problem, routes: &[Vec<usize>], visit: usize) -> Reason {
    let v = &problem.visits()[visit];
    match never(problem, visit, v) {
        Err(reason) => reason,
        Ok(shifts) => not_here(problem, routes, visit, &shifts),
    }
}

/// The shifts that could serve the visit if they were empty, or why there are none.
fn never(problem: &Problem, visit: usize, v: &Visit) -> Result<Vec<usize>, Reason> {
    let all = problem.shifts();
    let promised = |&k: &usize| v.may_go_in(k, &all[k]);
    let open = |&k: &usize| v.starts_in(k, &all[k]).next().is_some();
    let in_hours = |&k: &usize| v.starts_in(k, &all[k]).any(|(from, to)| from <= all[k].ends && to >= all[k].starts);
    let road = |&k: &usize| {
        let (drive, depot) = (problem.drive(), all[k].depot);
        drive.seconds(depot, v.place).is_some() && drive.seconds(v.place, depot).is_some()
    };
    let left = |shifts: Vec<usize>, keep: &dyn Fn(&usize) -> bool, reason: Reason| -> Result<Vec<usize>, Reason> {
        let kept: Vec<usize> = shifts.into_iter().filter(|k| keep(k)).collect();
        if kept.is_empty() { Err(reason) } else { Ok(kept) }
    };
    if all.is_empty() {
        return Err(Reason::NobodyWorks);
    }
    let shifts = left((0..all.len()).collect(), &promised, Reason::NobodyThere)?;
    let shifts = left(shifts, &|&k| all[k].skills.cover(v.skills), Reason::NoSkill)?;
    let shifts = left(shifts, &open, Reason::NoWorkingDay)?;
    let shifts = left(shifts, &in_hours, Reason::ClosedInHours)?;
    let shifts = left(shifts, &road, Reason::NoRoad)?;
    let lacks = |k: usize| problem.too_much(k, [visit].into_iter());
    let largest = shifts.iter().filter_map(|&k| lacks(k)).max_by_key(|l| l.1).unwrap_or_default();
    let too_much = Reason::TooMuchForVan { load_ml: largest.0, capacity_ml: largest.1 };
    let shifts = left(shifts, &|&k| lacks(k).is_none(), too_much)?;
    left(shifts, &|&k| time_route(problem, k, &[visit]).is_ok(), Reason::TooLongForADay)
}

/// Why this plan leaves out a visit that would fit in some empty day.
fn not_here(problem: &Problem, routes: &[Vec<usize>], visit: usize, shifts: &[usize]) -> Reason {
    let v = &problem.visits()[visit];
    let mut best: Option<(i64, usize)> = None;
    let mut in_time = false;
    for &k in shifts {
        let route: &[usize] = routes.get(k).map_or(&[], Vec::as_slice);
        let Some(drive_s) = detour(problem, k, route, visit) else {
            continue;
        };
        in_time = true;
        let carried = problem.too_much(k, route.iter().copied().chain([visit])).is_none();
        if carried && best.is_none_or(|b| drive_s < b.0) {
            best = Some((drive_s, k));
        }
    }
    match best {
        Some((drive_s, _)) if drive_s >= problem.price_of(visit) => Reason::CostsMore { drive_s, worth_s: problem.price_of(visit) },
        Some((drive_s, shift)) => Reason::StillFits { shift, drive_s },
        None if in_time => Reason::VanLoad { load_ml: v.load_ml.max(problem.takes(visit).into_iter().max().unwrap_or(0)) },
        None => Reason::NoHoursLeft,
    }
}

/// Least driving added by the visit in a route, over all positions that keep the times.
fn detour(problem: &Problem, shift: usize, route: &[usize], visit: usize) -> Option<i64> {
    let drive = |sequence: &[usize]| time_route(problem, shift, sequence).ok().map(|t| i64::from(t.drive_s));
    let now = if route.is_empty() { 0 } else { drive(route)? };
    let with = (0..=route.len()).filter_map(|at| {
        let mut sequence = route.to_vec();
        sequence.insert(at, visit);
        drive(&sequence)
    });
    with.min().map(|d| d - now)
}

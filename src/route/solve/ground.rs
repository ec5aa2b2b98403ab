//! The problem laid out for speed: everything that does not change during a search.

use std::cell::OnceCell;

use super::layout::Layout;
use super::sets::Sets;
use super::shifts::Alike;
use crate::route::problem::{Disturbance, Groups, Level, Lock, Overtime, Problem, Visit};

/// Later than any time, yet far from overflow when legs and services are added.
pub(super) const NEVER: i32 = 1 << 29;
/// How many neighbours of a visit are kept.
const NEAR: usize = 300;

/// Index of a place, visit or position as it is kept in the tables.
#[expect(clippy::cast_possible_truncation, reason = "Problem::new bounds all sizes far below 32 bits")]
pub(super) fn small(i: usize) -> u32 {
    i as u32
}

/// Starts allowed for one visit on one day: from `from` to `to`, with gaps if `gaps` is not empty.
#[derive(Clone, Copy)]
pub(super) struct Opening {
    pub(super) from: i32,
    pub(super) to: i32,
    gaps: (u32, u32),
}

const CLOSED: Opening = Opening { from: NEVER, to: -NEVER, gaps: (0, 0) };

/// A shift as the search needs it.
#[derive(PartialEq)]
pub(super) struct Hours {
    pub(super) day: usize,
    pub(super) starts: i32,
    pub(super) ends: i32,
    /// most seconds of driving and work that leave room for lunch and are not longer than allowed
    pub(super) work: i32,
    pub(super) depot: u32,
    pub(super) capacity: i64,
    pub(super) carries: Groups,
    pub(super) lunch: bool,
    pub(super) lunch_from: i32,
    /// before any time when there is no lunch
    pub(super) lunch_to: i32,
    pub(super) lunch_s: i32,
    pub(super) most: Option<i32>,
    pub(super) week: usize,
    overtime: Option<Overtime>,
}

/// A visit as the search needs it.
pub(super) struct Task {
    pub(super) place: u32,
    pub(super) service: i32,
    pub(super) set_up: i32,
    /// least time on site it can add to a route, if it shares its set-up
    pub(super) least: i32,
    pub(super) price: i64,
    /// the same as far as an insertion can reach it
    pub(super) worth: i32,
    /// price in thousandths for each second it takes
    pub(super) density: i64,
    pub(super) load: i64,
    pub(super) takes: Groups,
    pub(super) locked: bool,
    /// seconds of open time over all its shifts
    pub(super) open: i64,
    /// seconds from the first depot
    pub(super) far: i32,
}

impl Task {
    /// Most time on site.
    pub(super) fn longest(&self) -> i32 {
        self.service + self.set_up
    }
}

/// All tables.
pub(super) struct Ground<'a> {
    pub(super) layout: Layout,
    pub(super) hours: Vec<Hours>,
    pub(super) tasks: Vec<Task>,
    /// visits that some shift may serve
    pub(super) open: Vec<u32>,
    /// groups of products are told apart
    pub(super) grouped: bool,
    /// nothing costs but driving and leaving out
    pub(super) plain: bool,
    /// number of weeks
    pub(super) weeks: usize,
    /// of each visit the others, nearest first; made for the first step, since the first plan does without
    near: OnceCell<Vec<Vec<u32>>>,
    visits: &'a [Visit],
    disturbance: &'a Disturbance,
    level: Option<&'a Level>,
    /// what a visit costs in a shift beside the driving, visit by visit; empty when nothing does
    biases: Vec<i64>,
    days: usize,
    /// of each visit the shifts that may serve it
    pub(super) may: Sets,
    /// least time on site that any visit can add to a route
    pub(super) least: i32,
    /// which shifts could stand in for each other
    pub(super) alike: Alike,
    openings: Vec<Opening>,
    pieces: Vec<(i32, i32)>,
}

impl<'a> Ground<'a> {
    pub(super) fn new(problem: &'a Problem) -> Self {
        let layout = Layout::new(problem);
        let mut ground = Self {
            hours: hours(problem, &layout),
            layout,
            tasks: Vec::new(),
            open: Vec::new(),
            grouped: problem.has_groups(),
            plain: is_plain(problem),
            weeks: problem.days().div_ceil(7),
            near: OnceCell::new(),
            visits: problem.visits(),
            disturbance: problem.disturbance(),
            level: problem.level(),
            biases: biases(problem),
            days: problem.days(),
            may: Sets::new(problem.visits().len(), problem.shifts().len()),
            least: 0,
            alike: Alike::default(),
            openings: vec![CLOSED; problem.visits().len() * problem.days()],
            pieces: Vec::new(),
        };
        for visit in 0..problem.visits().len() {
            ground.add_task(problem, visit);
        }
        ground.least_times();
        ground.alike = Alike::new(ground.hours.len(), |one, other| ground.are_alike(one, other));
        ground
    }

    pub(super) fn leg(&self, from: u32, to: u32) -> i32 {
        self.layout.leg(from, to)
    }

    /// What visit `j` costs in shift `k` beside the driving.
    pub(super) fn bias(&self, j: u32, k: usize) -> i64 {
        self.biases.get(j as usize * self.hours.len() + k).copied().unwrap_or(0)
    }

    /// The overtime price of so much work in shift `k`.
    pub(super) fn overtime(&self, k: usize, work: i32) -> i64 {
        self.hours[k].overtime.map_or(0, |o| i64::from(work.saturating_sub(o.after_s).max(0)) * o.milli / 1000)
    }

    /// The price of so much work in the week of shift `k`.
    pub(super) fn week_price(&self, k: usize, work: i64) -> i64 {
        self.level.map_or(0, |l| l.cost(self.hours[k].week, work))
    }

    /// Whether the start of visit `j` has a price, and what `start` costs.
    pub(super) fn start_costs(&self, j: u32, k: usize, start: i32) -> i64 {
        self.visits[j as usize].start_costs(self.hours[k].day, start, self.disturbance)
    }

    pub(super) fn allows(&self, visit: u32, shift: usize) -> bool {
        self.may.has(visit as usize, shift)
    }

    pub(super) fn opening(&self, visit: u32, shift: usize) -> Opening {
        self.openings[visit as usize * self.days + self.hours[shift].day]
    }

    /// Earliest start at or after `t`, [`NEVER`] when closed from then on.
    #[inline]
    pub(super) fn earliest(&self, o: Opening, t: i32) -> i32 {
        if t > o.to {
            return NEVER;
        }
        let t = t.max(o.from);
        if o.gaps.0 == o.gaps.1 {
            return t;
        }
        let pieces = &self.pieces[o.gaps.0 as usize..o.gaps.1 as usize];
        pieces.iter().find(|p| t <= p.1).map_or(NEVER, |p| t.max(p.0))
    }

    /// Latest start at or before `t`, minus [`NEVER`] when not open before.
    pub(super) fn latest(&self, o: Opening, t: i32) -> i32 {
        if t < o.from {
            return -NEVER;
        }
        let t = t.min(o.to);
        if o.gaps.0 == o.gaps.1 {
            return t;
        }
        let pieces = &self.pieces[o.gaps.0 as usize..o.gaps.1 as usize];
        pieces.iter().rev().find(|p| p.0 <= t).map_or(-NEVER, |p| t.min(p.1))
    }

    /// Latest arrivals at a visit that must be left by `leave`: when it pays its set-up, when it shares one.
    pub(super) fn latest_arrival(&self, o: Opening, visit: u32, leave: i32) -> (i32, i32) {
        let task = &self.tasks[visit as usize];
        let shares = leave - task.service;
        (self.latest(o, shares - task.set_up), self.latest(o, shares))
    }

    fn add_task(&mut self, problem: &Problem, ix: usize) {
        let visit = &problem.visits()[ix];
        let (mut served, mut open) = (false, 0);
        let starts = starts_by_day(visit, problem);
        let mut today = (usize::MAX, &starts[..0]);
        for (k, shift) in problem.shifts().iter().enumerate() {
            if today.0 != shift.day {
                today = (shift.day, pieces_of(&starts, shift.day));
            }
            let pieces = today.1;
            if pieces.is_empty() || !shift.skills.cover(visit.skills) || !visit.may_go_in(k, shift) {
                continue;
            }
            if problem.too_much(k, [ix].into_iter()).is_some() {
                continue;
            }
            let inside = |p: &Piece| (p.to.min(shift.ends) - p.from.max(shift.starts)).max(-1);
            if pieces.iter().all(|p| inside(p) < 0) {
                continue;
            }
            open += pieces.iter().map(|p| i64::from(inside(p).max(0))).sum::<i64>();
            served = true;
            self.may.put(ix, k, true);
            self.openings[ix * self.days + shift.day] = self.opening_of(pieces);
        }
        if served {
            self.open.push(small(ix));
        }
        let place = self.layout.place(visit.place);
        let far = self.hours.first().map_or(0, |h| self.leg(h.depot, place));
        self.tasks.push(Task {
            place,
            service: visit.service_s,
            set_up: visit.set_up_s,
            least: visit.service_s,
            price: problem.price_of(ix),
            worth: i32::try_from(problem.price_of(ix)).map_or(NEVER - 1, |p| p.min(NEVER - 1)),
            density: problem.price_of(ix) * 1000 / (i64::from(visit.service_s) + 600),
            load: visit.load_ml,
            takes: problem.takes(ix),
            locked: problem.is_must(ix),
            open,
            far,
        });
    }

    fn opening_of(&mut self, pieces: &[Piece]) -> Opening {
        let from = pieces.iter().map(|p| p.from).min().unwrap_or(NEVER);
        let to = pieces.iter().map(|p| p.to).max().unwrap_or(-NEVER);
        let first = self.pieces.len();
        if pieces.len() > 1 {
            self.pieces.extend(pieces.iter().map(|p| (p.from, p.to)));
        }
        Opening { from, to, gaps: (small(first), small(self.pieces.len())) }
    }

    /// A visit put before another at its place spares that one its set-up.
    fn least_times(&mut self) {
        let mut most = vec![0; self.layout.places];
        for task in &self.tasks {
            let m = &mut most[task.place as usize];
            *m = task.set_up.max(*m);
        }
        for task in &mut self.tasks {
            task.least = task.service + (task.set_up - most[task.place as usize]);
        }
        self.least = self.tasks.iter().map(|t| t.least).min().unwrap_or(0);
    }

    /// Whether two shifts differ in nothing but their number.
    fn are_alike(&self, one: usize, other: usize) -> bool {
        let same = |&j: &u32| self.allows(j, one) == self.allows(j, other) && self.bias(j, one) == self.bias(j, other);
        self.hours[one] == self.hours[other] && self.open.iter().all(same)
    }

    /// Visit `j` and those near it, nearest first.
    pub(super) fn near(&self, j: u32) -> &[u32] {
        &self.near.get_or_init(|| self.neighbours())[j as usize]
    }

    /// Sorts by the leg, then by index with the visit itself first: one number each, the visit in its lower half.
    fn neighbours(&self) -> Vec<Vec<u32>> {
        let places: Vec<(u32, u32)> = self.open.iter().map(|&j| (j, self.tasks[j as usize].place)).collect();
        let mut all = vec![Vec::new(); self.tasks.len()];
        let mut near: Vec<u64> = Vec::new();
        for &(i, place) in &places {
            let row = self.layout.row(place);
            let key = |&(j, place): &(u32, u32)| {
                let leg = row.to(place);
                u64::from(leg.cast_unsigned()) << 32 | u64::from(j != i) << 31 | u64::from(j)
            };
            near.clear();
            near.extend(places.iter().map(key));
            if near.len() > NEAR {
                near.select_nth_unstable(NEAR - 1);
                near.truncate(NEAR);
            }
            near.sort_unstable();
            all[i as usize] = near.iter().copied().map(visit_in).collect();
        }
        all
    }
}

/// Whether nothing costs but driving and leaving out.
fn is_plain(problem: &Problem) -> bool {
    let visits = problem.visits().iter().all(|v| v.late.is_none() && v.told.is_none());
    visits && problem.level().is_none() && problem.shifts().iter().all(|s| s.overtime.is_none())
}

fn biases(problem: &Problem) -> Vec<i64> {
    if problem.visits().iter().all(|v| v.late.is_none() && v.told.is_none()) {
        return Vec::new();
    }
    let of = |v| problem.shifts().iter().map(move |s| Visit::costs_in(v, s, problem.disturbance()));
    problem.visits().iter().flat_map(of).collect()
}

/// The visit in the lower half of a neighbour's number.
fn visit_in(number: u64) -> u32 {
    (number & 0x7FFF_FFFF) as u32
}

/// Starts allowed on one day, from the first to the last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Piece {
    day: usize,
    from: i32,
    to: i32,
}

/// The starts allowed, as far as windows and a promised time go: in order, those that touch or overlap joined.
fn starts_by_day(visit: &Visit, problem: &Problem) -> Vec<Piece> {
    let mut all: Vec<Piece> = if let Lock::At { shift, from, to } = visit.lock {
        vec![Piece { day: problem.shifts()[shift].day, from, to }]
    } else {
        visit.windows.iter().map(|w| Piece { day: w.day, from: w.from, to: w.to }).collect()
    };
    all.sort_unstable();
    all.dedup_by(|next, last| {
        let joins = next.day == last.day && next.from <= last.to + 1;
        if joins {
            last.to = last.to.max(next.to);
        }
        joins
    });
    all
}

/// Those of one day.
fn pieces_of(starts: &[Piece], day: usize) -> &[Piece] {
    let first = starts.partition_point(|p| p.day < day);
    &starts[first..starts.partition_point(|p| p.day <= day)]
}

fn hours(problem: &Problem, layout: &Layout) -> Vec<Hours> {
    let one = |(k, s): (usize, &crate::route::problem::Shift)| {
        let lunch = s.lunch_inside();
        Hours {
            day: s.day,
            starts: s.starts,
            ends: s.ends,
            work: (lunch.map_or(s.ends, |l| s.ends.min(l.to.max(s.ends - l.seconds))) - s.starts).min(s.most_s.unwrap_or(i32::MAX)),
            depot: layout.place(s.depot),
            capacity: s.capacity_ml,
            carries: problem.carries(k),
            lunch: lunch.is_some(),
            lunch_from: lunch.map_or(0, |l| l.from),
            lunch_to: lunch.map_or(-NEVER, |l| l.to),
            lunch_s: lunch.map_or(0, |l| l.seconds),
            most: s.most_s,
            week: s.day / 7,
            overtime: s.overtime,
        }
    };
    problem.shifts().iter().enumerate().map(one).collect()
}

//! What is asked of the planner: who works when, what is to be done, how long the roads are.
//!
//! All clock times are seconds after local midnight of the day they belong to.

use std::ops::BitOr;

use super::matrix::Matrix;
use super::refused::{self, ProblemError};

/// The latest clock time, two days after midnight, in seconds.
pub const MAX_CLOCK_S: i32 = 172_800;
/// The highest penalty a visit may carry, in seconds of driving.
pub const MAX_PENALTY: i64 = 10_000_000;
/// Added to the penalty of a locked visit: far above what anything else is worth.
pub const LOCK_PRICE: i64 = 1_000_000_000;
/// The most working seconds above the even share that are priced in a week.
const MAX_WEEK_S: i64 = 20_000_000;

/// How many groups of treatment products are told apart in a van.
pub const GROUPS: usize = 4;
/// Millilitres of each group of treatment products; a group that is not used is 0.
pub type Groups = [i64; GROUPS];

/// Skills as bits: a visit may be done by a technician who has all of its bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Skills(pub u32);

impl Skills {
    /// No skill asked, no skill had.
    pub const NONE: Self = Self(0);

    /// Whether all of `asked` is here.
    pub fn cover(self, asked: Self) -> bool {
        asked.0 & !self.0 == 0
    }
}

impl BitOr for Skills {
    type Output = Self;
    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// A midday pause that starts between `from` and `to` and lasts `seconds`.
/// It may cut a drive but never a service, and may fall before leaving or after the return.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lunch {
    /// earliest start
    pub from: i32,
    /// latest start
    pub to: i32,
    /// how long, in seconds; 0 means no lunch
    pub seconds: i32,
}

/// The price of long days: each second of work (driving and time on site) beyond `after_s` in one shift costs more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Overtime {
    /// working seconds of a shift that cost nothing
    pub after_s: i32,
    /// thousandths of a second of driving for each further second
    pub milli: i64,
}

/// The price of an uneven season, for each week of seven days: working hours above `even_s` cost their square,
/// `price` for the first hour, four times that for two.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Level {
    /// working seconds that cost nothing, one number a week
    pub even_s: Vec<i64>,
    /// seconds of driving that the first hour too many costs
    pub price: i64,
}

impl Level {
    /// What `work_s` working seconds cost in week `week`, in seconds of driving, rounded down.
    pub fn cost(&self, week: usize, work_s: i64) -> i64 {
        let over = self.even_s.get(week).map_or(0, |&even| (work_s - even).clamp(0, MAX_WEEK_S));
        over * over / 3600 * self.price / 3600
    }
}

/// When a visit is to be made at the latest without a price, and the price of each day after.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Late {
    /// last day without a price
    pub after: usize,
    /// seconds of driving that each later day costs
    pub per_day: i64,
}

/// What a customer has been told: who comes, on which day, when work starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// the caller's number for the technician
    pub technician: usize,
    /// day, from 0
    pub day: usize,
    /// start, a clock time
    pub start: i32,
}

/// What it costs to change what was told, in seconds of driving.
/// The default values are common practice, no source, but for the day: at two hours less than 3 in 100 of the visits that could
/// stay change day when a shift is lost and four urgent visits come (bench `mend`); at one hour the best plans move up to 5.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Disturbance {
    /// another day
    pub day: i64,
    /// the same day, another technician
    pub technician: i64,
    /// the same day, but the start moves by more than `within_s`; counted as if the route were begun with the shift
    pub time: i64,
    /// seconds by which a start may move for nothing
    pub within_s: i32,
    /// not visited at all, beside its penalty
    pub dropped: i64,
}

impl Default for Disturbance {
    fn default() -> Self {
        Self { day: 7200, technician: 3600, time: 900, within_s: 3600, dropped: 10_800 }
    }
}

/// One technician's working hours on one day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shift {
    /// the caller's number for the technician
    pub technician: usize,
    /// day, from 0
    pub day: usize,
    /// may leave from here on
    pub starts: i32,
    /// must be back by then
    pub ends: i32,
    /// place left from and returned to
    pub depot: usize,
    /// the pause, if one is to be kept free
    pub lunch: Option<Lunch>,
    /// treatment product the van can carry, in millilitres
    pub capacity_ml: i64,
    /// what the technician is able to do
    pub skills: Skills,
    /// most seconds from driving off to being back, with lunch if it falls between; the start is free
    pub most_s: Option<i32>,
    /// the price of a long day
    pub overtime: Option<Overtime>,
}

impl Shift {
    /// The lunch that has to find room in this shift: none when it has no length or when work only
    /// starts after the latest start of lunch. A technician who is back by the latest start of lunch
    /// eats after the return, outside the shift if need be.
    pub fn lunch_inside(&self) -> Option<Lunch> {
        self.lunch.filter(|l| l.seconds > 0 && self.starts <= l.to)
    }
}

/// When service may start: from `from` to `to`, both included, on one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// day, from 0
    pub day: usize,
    /// first good start
    pub from: i32,
    /// last good start
    pub to: i32,
}

/// What has been promised about a visit. Every lock but [`Lock::Free`] makes the visit a must.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Lock {
    /// nothing promised
    #[default]
    Free,
    /// on this day, inside the visit's windows
    Day(usize),
    /// by this technician, inside the visit's windows
    Technician(usize),
    /// in this shift (an index), inside the visit's windows
    Shift(usize),
    /// in this shift, starting from `from` to `to`; the promise replaces the visit's windows
    At {
        /// index of the shift
        shift: usize,
        /// first good start
        from: i32,
        /// last good start
        to: i32,
    },
}

/// One visit that could be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// where
    pub place: usize,
    /// work at the unit, in seconds
    pub service_s: i32,
    /// getting in and set up, in seconds, part of the time after the start;
    /// not paid by a stop that directly follows one at the same place
    pub set_up_s: i32,
    /// when service may start; none means never (unless locked to a time)
    pub windows: Vec<Window>,
    /// what leaving it out costs, in seconds of driving
    pub penalty: i64,
    /// what the technician must be able to do
    pub skills: Skills,
    /// treatment product it takes from the van, in millilitres
    pub load_ml: i64,
    /// what has been promised
    pub lock: Lock,
    /// the price of coming late
    pub late: Option<Late>,
    /// what the customer was told; changing it has a price, see [`Disturbance`]
    pub told: Option<Told>,
}

impl Visit {
    /// What the objective pays for leaving this visit out: its penalty, and far more when it is locked.
    pub fn price(&self) -> i64 {
        if self.lock == Lock::Free { self.penalty } else { self.penalty + LOCK_PRICE }
    }

    /// What making this visit in `shift` costs beside the driving: lateness, and another day or technician than told.
    pub(super) fn costs_in(&self, shift: &Shift, disturbance: &Disturbance) -> i64 {
        let late = self.late.map_or(0, |l| l.per_day * i64::try_from(shift.day.saturating_sub(l.after)).unwrap_or(i64::MAX));
        let moved = self.told.map_or(0, |t| match (t.day == shift.day, t.technician == shift.technician) {
            (false, _) => disturbance.day,
            (true, false) => disturbance.technician,
            (true, true) => 0,
        });
        late + moved
    }

    /// What starting at `start` on `day` costs against the told time.
    pub(super) fn start_costs(&self, day: usize, start: i32, disturbance: &Disturbance) -> i64 {
        let moved = |t: &Told| t.day == day && (start - t.start).abs() > disturbance.within_s;
        if self.told.as_ref().is_some_and(moved) { disturbance.time } else { 0 }
    }

    /// The starts allowed in `shift` (at index `ix`), as clock times, unsorted.
    /// Empty when the lock or the windows rule the shift out.
    pub(super) fn starts_in<'a>(&'a self, ix: usize, shift: &'a Shift) -> impl Iterator<Item = (i32, i32)> + 'a {
        let ours = self.may_go_in(ix, shift);
        let promised = match self.lock {
            Lock::At { from, to, .. } => Some((from, to)),
            _ => None,
        };
        let windows = self.windows.iter().filter(move |w| ours && promised.is_none() && w.day == shift.day);
        promised.filter(|_| ours).into_iter().chain(windows.map(|w| (w.from, w.to)))
    }

    /// Whether the lock allows `shift` (at index `ix`).
    pub(super) fn may_go_in(&self, ix: usize, shift: &Shift) -> bool {
        match self.lock {
            Lock::Free => true,
            Lock::Day(day) => day == shift.day,
            Lock::Technician(technician) => technician == shift.technician,
            Lock::Shift(want) | Lock::At { shift: want, .. } => want == ix,
        }
    }
}

/// A validated question: nothing in it can make the planner or the checker panic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    days: usize,
    shifts: Vec<Shift>,
    visits: Vec<Visit>,
    drive: Matrix,
    disturbance: Disturbance,
    level: Option<Level>,
    /// visits that are a must; empty when none is
    musts: Vec<bool>,
    /// what each van carries of each group, and what each visit takes; empty when groups are not told apart
    carries: Vec<Groups>,
    takes: Vec<Groups>,
}

impl Problem {
    /// Takes `days` days (numbered from 0), shifts, visits and the driving times between all places they name.
    /// No shifts, no visits, or both, is a fine question with an empty answer.
    ///
    /// # Errors
    /// [`ProblemError`] names the first thing that cannot be: an index that leads nowhere, times reversed
    /// or out of range, two shifts of one technician on one day, negative or absurd amounts.
    pub fn new(days: usize, shifts: Vec<Shift>, visits: Vec<Visit>, drive: Matrix) -> Result<Self, ProblemError> {
        refused::sizes(days, &shifts, &visits)?;
        refused::shifts(days, &shifts, &drive)?;
        refused::visits(days, &shifts, &visits, &drive)?;
        let (musts, carries, takes) = (Vec::new(), Vec::new(), Vec::new());
        Ok(Self { days, shifts, visits, drive, disturbance: Disturbance::default(), level: None, musts, carries, takes })
    }

    /// What was told of visits (indices); of the others it stays as it is.
    ///
    /// # Errors
    /// [`ProblemError::Visit`] when one is not in the plan, or its time is out of range.
    pub fn with_told(mut self, told: &[(usize, Told)]) -> Result<Self, ProblemError> {
        for &(visit, told) in told {
            let of = self.visits.get_mut(visit).ok_or(ProblemError::Visit { visit, what: "it was told but is not in the plan" })?;
            of.told = Some(told);
        }
        refused::visits(self.days, &self.shifts, &self.visits, &self.drive)?;
        Ok(self)
    }

    /// Visits (indices) that are a must: nothing but another must is worth leaving one out.
    ///
    /// # Errors
    /// [`ProblemError::Visit`] when one is not in the plan.
    pub fn with_musts(self, visits: &[usize]) -> Result<Self, ProblemError> {
        let mut musts = vec![false; self.visits.len()];
        for &visit in visits {
            *musts.get_mut(visit).ok_or(ProblemError::Visit { visit, what: "it is a must but not in the plan" })? = true;
        }
        Ok(Self { musts, ..self })
    }

    /// Groups of treatment products told apart, beside the load as a whole: what the van of each shift `carries` of each
    /// group, and what each visit `takes`, in millilitres.
    ///
    /// # Errors
    /// [`ProblemError::Shift`] or [`ProblemError::Visit`] when there is not one entry for each, or an amount is out of range.
    pub fn with_groups(self, carries: Vec<Groups>, takes: Vec<Groups>) -> Result<Self, ProblemError> {
        refused::groups(&carries, self.shifts.len()).map_err(|shift| ProblemError::Shift { shift, what: refused::GROUPS_WRONG })?;
        refused::groups(&takes, self.visits.len()).map_err(|visit| ProblemError::Visit { visit, what: refused::GROUPS_WRONG })?;
        Ok(Self { carries, takes, ..self })
    }

    /// Whether a visit (an index) is a must, by itself or by its lock.
    pub fn is_must(&self, visit: usize) -> bool {
        self.musts.get(visit).copied().unwrap_or(false) || self.visits.get(visit).is_some_and(|v| v.lock != Lock::Free)
    }

    /// Whether groups of products are told apart.
    pub(super) fn has_groups(&self) -> bool {
        !self.carries.is_empty()
    }

    /// What the van of a shift carries of each group.
    pub fn carries(&self, shift: usize) -> Groups {
        self.carries.get(shift).copied().unwrap_or([i64::MAX; GROUPS])
    }

    /// What a visit takes of each group.
    pub fn takes(&self, visit: usize) -> Groups {
        self.takes.get(visit).copied().unwrap_or_default()
    }

    /// The first amount, of the whole load and then of each group, that is more than the van of `shift` carries when it is
    /// to serve `visits`: what is needed and what it carries.
    pub(super) fn too_much(&self, shift: usize, visits: impl Iterator<Item = usize>) -> Option<(i64, i64)> {
        let (mut load, mut groups) = (0, Groups::default());
        for v in visits {
            load += self.visits[v].load_ml;
            for (sum, takes) in groups.iter_mut().zip(self.takes(v)) {
                *sum += takes;
            }
        }
        let each = [(load, self.shifts[shift].capacity_ml)].into_iter().chain(groups.into_iter().zip(self.carries(shift)));
        each.into_iter().find(|(needs, carries)| needs > carries)
    }

    /// What was asked beside shifts, visits and drives, for a problem made of some of them: `shifts` and `visits`
    /// hold their indices in `whole`, or none for one that is new.
    pub(super) fn with_rest_of(self, whole: &Self, shifts: &[usize], visits: &[Option<usize>]) -> Result<Self, ProblemError> {
        let musts: Vec<usize> = (0..visits.len()).filter(|&v| visits[v].is_some_and(|old| whole.musts.get(old) == Some(&true))).collect();
        let mut problem = self.with_disturbance(whole.disturbance)?.with_musts(&musts)?;
        if let Some(level) = &whole.level {
            problem = problem.with_level(level.clone())?;
        }
        if whole.has_groups() {
            let carries = shifts.iter().map(|&k| whole.carries(k)).collect();
            let takes = visits.iter().map(|v| v.map_or_else(Groups::default, |old| whole.takes(old))).collect();
            problem = problem.with_groups(carries, takes)?;
        }
        Ok(problem)
    }

    /// Other prices for changing what was told.
    ///
    /// # Errors
    /// [`ProblemError::Price`] when one is negative or absurd.
    pub fn with_disturbance(self, disturbance: Disturbance) -> Result<Self, ProblemError> {
        refused::disturbance(&disturbance)?;
        Ok(Self { disturbance, ..self })
    }

    /// A price on uneven weeks.
    ///
    /// # Errors
    /// [`ProblemError::Price`] when it has not one even share for each week of seven days, or a number is negative or absurd.
    pub fn with_level(self, level: Level) -> Result<Self, ProblemError> {
        refused::level(&level, self.days)?;
        Ok(Self { level: Some(level), ..self })
    }

    /// Other even shares of the weeks, below nothing where others do more than a week's share already.
    pub(super) fn with_shares(self, even_s: Vec<i64>) -> Self {
        let level = self.level.map(|level| Level { even_s, ..level });
        Self { level, ..self }
    }

    /// Prices for changing what was told.
    pub fn disturbance(&self) -> &Disturbance {
        &self.disturbance
    }

    /// The price on uneven weeks, if there is one.
    pub fn level(&self) -> Option<&Level> {
        self.level.as_ref()
    }

    /// What leaving a visit (an index) out costs: its [price](Visit::price), far more when it is a must, and more when its
    /// customer was told of it.
    pub(super) fn price_of(&self, ix: usize) -> i64 {
        let visit = &self.visits[ix];
        let must = if self.is_must(ix) { LOCK_PRICE } else { 0 };
        visit.penalty + must + visit.told.map_or(0, |_| self.disturbance.dropped)
    }

    /// Number of days.
    pub fn days(&self) -> usize {
        self.days
    }

    /// The shifts; a plan has one route for each, in this order.
    pub fn shifts(&self) -> &[Shift] {
        &self.shifts
    }

    /// The visits; routes name them by index.
    pub fn visits(&self) -> &[Visit] {
        &self.visits
    }

    /// Driving times.
    pub fn drive(&self) -> &Matrix {
        &self.drive
    }
}

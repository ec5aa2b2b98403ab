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
}

impl Visit {
    /// What the objective pays for leaving this visit out: its penalty, and far more when it is locked.
    pub fn price(&self) -> i64 {
        if self.lock == Lock::Free { self.penalty } else { self.penalty + LOCK_PRICE }
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
        Ok(Self { days, shifts, visits, drive })
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

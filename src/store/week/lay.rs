//! From rows to the route room's problem: technicians' days, yards, windows, prices.

use super::{
    super::staff::{Crew, Technician, WorkingDay},
    told::TOLD,
};
use crate::{
    roads::{Drives, Position},
    route::{GROUPS, Groups, Late, Lock, Lunch, Matrix, Overtime, Problem, Shift, Skills, Visit, Window},
    season::Suit,
};
use std::collections::HashMap;
use time::{Date, Duration, Time};
use uuid::Uuid;

/// A visit that may be planned.
#[derive(Clone, Debug)]
pub struct Candidate {
    pub visit_id: Uuid,
    pub place_id: Uuid,
    pub pin: (f64, f64),
    /// Minutes at the unit, set-up left out.
    pub minutes: i32,
    /// Minutes of set-up, paid once a place.
    pub set_up: i32,
    pub opens: Date,
    pub closes: Date,
    /// Seconds of driving that leaving it out is worth.
    pub penalty: i64,
    pub skills: Vec<String>,
    pub load_ml: i64,
    /// What it is a load of.
    pub product: Option<Uuid>,
    pub held: Held,
    /// Seconds of driving that each day after `closes` is held to be worth; `None`: no day after it will do.
    pub late_per_day: Option<i64>,
    /// Nothing but another must is worth leaving it out.
    pub must: bool,
    /// When somebody can be met there; empty: any time.
    pub suits: Vec<Suit>,
}

/// The days that are laid out: whole weeks from `monday` on. Days before `first_day` are over and stay as they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    pub monday: Date,
    pub weeks: u8,
    pub first_day: Date,
}

impl Span {
    /// One week.
    pub const fn week(monday: Date, first_day: Date) -> Self {
        Self { monday, weeks: 1, first_day }
    }

    fn days(self) -> usize {
        usize::from(self.weeks) * 7
    }
}

impl Candidate {
    /// A visit that the office put outside of its window or of the times that suit stays possible where it stands.
    pub(super) fn allow(&mut self, day: Date, starts: i32) {
        (self.opens, self.closes) = (self.opens.min(day), self.closes.max(day));
        let weekday = day.weekday().number_from_monday();
        if !self.suits.iter().any(|s| s.weekday == weekday && (s.from..s.to).contains(&starts)) {
            self.suits.clear();
        }
    }
}

/// Minutes after midnight.
pub fn minute_of(time: Time) -> i32 {
    i32::from(time.hour()) * 60 + i32::from(time.minute())
}

/// What is settled about a visit already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    Free,
    /// With this technician, on this day, starting at this minute: somebody was told.
    At {
        staff_id: Uuid,
        day: Date,
        starts: i32,
    },
    /// Made already: nothing moves it any more.
    Was {
        staff_id: Uuid,
        day: Date,
        starts: i32,
    },
}

/// Why a week cannot be laid out.
#[derive(Debug, thiserror::Error)]
pub enum LayError {
    #[error(transparent)]
    Position(#[from] crate::roads::straight::PositionError),
    #[error(transparent)]
    Matrix(#[from] crate::route::MatrixError),
    #[error(transparent)]
    Problem(#[from] crate::route::ProblemError),
}

/// A week as the solver sees it, and how to read its answer: `shifts[k]` is technician and day, `visits[j]` the candidate.
#[derive(Debug)]
pub struct Laid {
    pub problem: Problem,
    pub shifts: Vec<(Uuid, Date)>,
    pub visits: Vec<Uuid>,
    /// the places of its matrix
    pub places: Vec<Position>,
}

impl Laid {
    /// Driving times between its places by other drives.
    pub fn matrix(&self, drives: &Drives) -> Result<Matrix, LayError> {
        matrix(&self.places, drives)
    }
}

fn matrix(places: &[Position], drives: &Drives) -> Result<Matrix, LayError> {
    let table = drives.table(places);
    Ok(Matrix::new(places.len(), table.seconds)?.with_metres(table.metres)?)
}

/// Lays out the days of `span` for those who work in it.
pub fn lay(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives) -> Result<Laid, LayError> {
    let mut places = Places::default();
    let skills = skill_bits(&crew.technicians, candidates);
    let mut shifts = Vec::new();
    let mut shift_of = HashMap::new();
    let mut names = Vec::new();
    let last = span.monday.saturating_add(Duration::weeks(span.weeks.into()));
    for d in crew.days.iter().filter(|d| d.day >= span.first_day && d.day < last) {
        let Some((index, t)) = crew.technicians.iter().enumerate().find(|(_, t)| t.id == d.staff_id) else { continue };
        shift_of.insert((t.id, d.day), shifts.len());
        names.push((t.id, d.day));
        let mut shift = shift(t, d, index, day_index(span.monday, d.day), places.of((t.lat, t.lon)), &skills);
        shift.overtime = t
            .full_day_minutes
            .map(|m| Overtime { after_s: (m - d.behind.minutes).max(0) * 60, milli: i64::from(crew.prices.overtime_percent) * 10 });
        shifts.push(shift);
    }
    let visits = candidates.iter().map(|c| visit(c, span, places.of(c.pin), &shift_of, &skills)).collect();
    let positions = places.pins.iter().map(|p| Position::new(p.0, p.1)).collect::<Result<Vec<_>, _>>()?;
    let musts: Vec<usize> = (0..candidates.len()).filter(|c| candidates[*c].must).collect();
    let mut problem = Problem::new(span.days(), shifts, visits, matrix(&positions, drives)?)?.with_musts(&musts)?;
    if let Some(told) = told_apart(crew, candidates) {
        let carries = names.iter().map(|(staff_id, _)| carried(crew, *staff_id, &told)).collect();
        problem = problem.with_groups(carries, candidates.iter().map(|c| taken(c, &told)).collect())?;
    }
    Ok(Laid { problem, shifts: names, visits: candidates.iter().map(|c| c.visit_id).collect(), places: positions })
}

/// The products that vans carry less of than they hold in all, as far as a visit takes them; none: they are not told apart.
fn told_apart(crew: &Crew, candidates: &[Candidate]) -> Option<Vec<Uuid>> {
    let mut products: Vec<Uuid> = crew.loads.iter().map(|l| l.product_id).collect();
    products.retain(|p| candidates.iter().any(|c| c.load_ml > 0 && c.product == Some(*p)));
    products.sort_unstable();
    products.dedup();
    products.truncate(GROUPS);
    (!products.is_empty()).then_some(products)
}

/// As much as a van may be asked to carry: no bound.
const ENOUGH_ML: i64 = 1_000_000_000;

fn carried(crew: &Crew, staff_id: Uuid, products: &[Uuid]) -> Groups {
    let mut all = [ENOUGH_ML; GROUPS];
    for (most, product) in all.iter_mut().zip(products) {
        if let Some(load) = crew.loads.iter().find(|l| l.staff_id == staff_id && l.product_id == *product) {
            *most = load.ml;
        }
    }
    all
}

fn taken(c: &Candidate, products: &[Uuid]) -> Groups {
    let mut all = Groups::default();
    if let Some(g) = products.iter().position(|p| c.product == Some(*p)) {
        all[g] = c.load_ml;
    }
    all
}

/// Each pin once, in order of appearance.
#[derive(Default)]
struct Places {
    pins: Vec<(f64, f64)>,
    index: HashMap<(u64, u64), usize>,
}

impl Places {
    fn of(&mut self, pin: (f64, f64)) -> usize {
        let next = self.pins.len();
        let at = *self.index.entry((pin.0.to_bits(), pin.1.to_bits())).or_insert(next);
        if at == next {
            self.pins.push(pin);
        }
        at
    }
}

fn day_index(monday: Date, day: Date) -> usize {
    usize::try_from((day - monday).whole_days()).unwrap_or(0)
}

/// A bit for each skill that anybody has or needs; beyond 32 different ones the rest share the last bit.
fn skill_bits(technicians: &[Technician], candidates: &[Candidate]) -> HashMap<String, u32> {
    let all = technicians.iter().flat_map(|t| &t.skills).chain(candidates.iter().flat_map(|c| &c.skills));
    let mut names: Vec<&String> = all.collect();
    names.sort();
    names.dedup();
    names.into_iter().enumerate().map(|(i, n)| (n.clone(), 1 << i.min(31))).collect()
}

fn bits(names: &[String], known: &HashMap<String, u32>) -> Skills {
    Skills(names.iter().filter_map(|n| known.get(n)).fold(0, |all, bit| all | bit))
}

fn shift(t: &Technician, d: &WorkingDay, technician: usize, day: usize, depot: usize, skills: &HashMap<String, u32>) -> Shift {
    let from = t.lunch_from.max(d.behind.lunch_from);
    let lunch = (t.lunch_minutes > 0 && !d.behind.lunch_had && from <= t.lunch_to).then_some(Lunch {
        from: from * 60,
        to: t.lunch_to * 60,
        seconds: t.lunch_minutes * 60,
    });
    Shift {
        technician,
        day,
        starts: d.starts * 60,
        // The last stop of a long day may have begun after the working hours.
        ends: d.ends.max(d.starts) * 60,
        depot,
        lunch,
        capacity_ml: t.van_capacity_ml,
        skills: bits(&t.skills, skills),
        most_s: t.most_minutes.map(|m| (m - d.behind.minutes).max(1) * 60),
        overtime: None,
    }
}

fn visit(c: &Candidate, span: Span, place: usize, shifts: &HashMap<(Uuid, Date), usize>, skills: &HashMap<String, u32>) -> Visit {
    let at = |(staff_id, day, starts): (Uuid, Date, i32), wait: i32| match shifts.get(&(staff_id, day)) {
        Some(&shift) => Lock::At { shift, from: (starts * 60).max(0), to: (starts + wait) * 60 },
        // The technician has that day off now: the visit keeps its day and needs somebody else.
        None => Lock::Day(day_index(span.monday, day)),
    };
    let lock = match c.held {
        Held::Free => Lock::Free,
        Held::At { staff_id, day, starts } => at((staff_id, day, starts), TOLD),
        Held::Was { staff_id, day, starts } => at((staff_id, day, starts), 0),
    };
    // A window that closes after the days laid out leaves no day to be late.
    let after = day_index(span.monday, c.closes).min(span.days() - 1);
    let late = c.late_per_day.map(|per_day| Late { after, per_day });
    Visit {
        place,
        service_s: c.minutes * 60,
        set_up_s: c.set_up * 60,
        windows: windows(c, span),
        penalty: c.penalty,
        skills: bits(&c.skills, skills),
        load_ml: c.load_ml,
        lock,
        late,
        told: None,
    }
}

/// The days inside the due window, at the times that suit. A window that closed before the first week holds nobody back.
fn windows(c: &Candidate, span: Span) -> Vec<Window> {
    let all_day = |day| vec![Window { day, from: 0, to: 86_400 }];
    let on = |index: usize| {
        let day = span.monday.saturating_add(Duration::days(i64::try_from(index).unwrap_or(0)));
        let open = day >= c.opens && (c.late_per_day.is_some() || c.closes < span.monday || day <= c.closes);
        if !open {
            return Vec::new();
        }
        if c.suits.is_empty() {
            return all_day(index);
        }
        let own = c.suits.iter().filter(|s| s.weekday == day.weekday().number_from_monday());
        own.map(|s| Window { day: index, from: s.from * 60, to: s.to * 60 - 60 }).collect()
    };
    (0..span.days()).flat_map(on).collect()
}

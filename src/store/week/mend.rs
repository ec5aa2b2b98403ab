//! Something happened after the week was planned: a technician falls out, a customer says no, a repair cannot wait, a road closes.
//! The rest is mended with as little change as may be, shown before it is kept.

use super::{
    super::{
        Error, Result, corrupt,
        staff::{self, Crew},
    },
    change::{in_order, touch},
    lay::{Candidate, Held, Laid, Span, lay},
    read,
    save::{add_route, place},
    slots::{Standing, on_day, placed_visits},
    timing::{new_route, placed},
    told,
};
use crate::{
    roads::Drives,
    route::{self, Change, Effort, Kind, Mended, Mending, Told},
};
use sqlx::PgConnection;
use std::{collections::HashMap, sync::atomic::AtomicBool};
use time::{Date, Duration};
use uuid::Uuid;

/// Steps of the search: about three tenths of a second for a week of a hundred visits.
const STEPS: u64 = 15_000;
/// What it is worth to keep a visit that stands, in seconds of driving, beside what dropping a told one costs. Together that is
/// four told another day: rather one visit waits than that a whole day is called about it.
const WORTH: i64 = 7_200;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    /// The technician cannot work that day.
    Lost { staff_id: Uuid, day: Date },
    /// The customer does not want this visit in this week.
    Refused(Uuid),
    /// This visit of the week, still without a place, cannot wait.
    Urgent(Uuid),
    /// Roads closed or opened, and nothing else.
    Roads,
}

/// Drives as the week was planned by, and as they are now, where roads closed or opened since.
#[derive(Clone, Copy, Debug)]
pub struct Roads<'a> {
    pub planned: &'a Drives,
    pub now: Option<&'a Drives>,
}

impl Happened {
    /// The visit that it happened to.
    pub fn visit(self) -> Option<Uuid> {
        match self {
            Self::Lost { .. } | Self::Roads => None,
            Self::Refused(visit) | Self::Urgent(visit) => Some(visit),
        }
    }

    fn lost(self) -> Option<(Uuid, Date)> {
        if let Self::Lost { staff_id, day } = self { Some((staff_id, day)) } else { None }
    }
}

/// What an urgent visit is worth, in seconds of driving: more than any that can wait.
const URGENT: i64 = 200_000;

/// A week that stands, with what happened, ready to be searched.
#[derive(Debug)]
pub struct Torn {
    laid: Laid,
    mending: Mending,
    technicians: Vec<(Uuid, String)>,
    monday: Date,
    plan_id: Uuid,
    happened: Happened,
    /// Where the visits of the laid problem stand, in its order.
    stood: Vec<Option<At>>,
    /// Days that are left as they stand, with who drives: they break a rule already.
    left: Vec<(String, Date)>,
    /// Version of the plan that was read.
    pub row_version: i32,
    seed: u64,
}

/// One visit that stands otherwise than before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    pub visit_id: Uuid,
    /// `None`: it had no place before.
    pub before: Option<At>,
    /// `None`: no room any more this week.
    pub now: Option<At>,
}

/// Who, when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct At {
    pub technician: String,
    pub day: Date,
    /// Minutes after midnight.
    pub starts: i32,
}

/// A mended week: what is different, and how to keep it.
#[derive(Debug)]
pub struct MendedWeek {
    torn: Read,
    mended: Mended,
    pub moved: Vec<Moved>,
    /// Days that were left as they stand, with who drives: they break a rule already.
    pub left: Vec<(String, Date)>,
}

/// What of [`Torn`] is left after the search.
#[derive(Debug)]
struct Read {
    shifts: Vec<(Uuid, Date)>,
    visits: Vec<Uuid>,
    monday: Date,
    plan_id: Uuid,
    happened: Happened,
}

/// Reads the week and what happened to it. Days before `first_day` are under way or over and stay as they are; of a lost day among
/// them only its own open visits are planned anew.
pub async fn torn(db: &mut PgConnection, roads: Roads<'_>, monday: Date, first_day: Date, happened: Happened) -> Result<Torn> {
    let plan = read::header(&mut *db, monday).await?.ok_or(Error::NotFound)?;
    let (mut standing, mut candidates) = visits_left(&mut *db, monday, first_day, happened).await?;
    let ids: Vec<Uuid> = standing.iter().map(|v| v.id).collect();
    let told = told::of(&mut *db, &ids).await?;
    release(&mut candidates, &standing, &told);
    let people = staff::all(&mut *db).await?;
    let mut crew = staff::crew(db, monday, 1).await?;
    let odd = |e: &dyn std::fmt::Display| corrupt("week_plans", monday, e);
    let span = Span::week(monday, first_day);
    let mut laid = lay(span, &crew, &candidates, roads.planned).map_err(|e| odd(&e))?;
    let mut left = odd_days(&laid, &standing);
    left.retain(|at| Some(*at) != happened.lost());
    if !left.is_empty() {
        if standing.iter().any(|v| happened == Happened::Refused(v.id) && left.contains(&(v.staff_id, v.day))) {
            return Err(Error::Rule("week_is_odd".to_owned()));
        }
        leave(&left, &mut candidates, &mut standing, &mut crew);
        laid = lay(span, &crew, &candidates, roads.planned).map_err(|e| odd(&e))?;
    }
    let fits = |at: &(Uuid, Date), route: &[usize]| Some(*at) != happened.lost() || stands(&laid, *at, route);
    let route = |at: &(Uuid, Date)| Some(on_day(&laid.visits, &standing, at.0, at.1)).filter(|r| fits(at, r)).unwrap_or_default();
    let routes: Vec<Vec<usize>> = laid.shifts.iter().map(route).collect();
    let change = match happened {
        Happened::Lost { staff_id, day } => laid.shifts.iter().position(|s| *s == (staff_id, day)).map(Change::ShiftLost),
        Happened::Refused(visit) => laid.visits.iter().position(|v| *v == visit).map(Change::Refused),
        Happened::Urgent(_) | Happened::Roads => None,
    };
    let now = roads.now.map(|now| laid.matrix(now)).transpose().map_err(|e| odd(&e))?;
    let changes: Vec<Change> = now.map(Change::Roads).into_iter().chain(change).collect();
    let first = usize::try_from((first_day - monday).whole_days()).unwrap_or(0);
    let told = told_of(&laid, &standing, &told, &crew, monday);
    let problem = laid.problem.clone().with_told(&told).map_err(|e| odd(&e))?;
    let mending = Mending::new(&problem, &routes, &changes, first).map_err(|_| Error::Rule("week_is_odd".to_owned()))?;
    let name = |id: Uuid| people.iter().find(|p| p.id == id).map(|p| p.name.clone()).unwrap_or_default();
    let at = |v: &Standing| At { technician: name(v.staff_id), day: v.day, starts: v.starts };
    let stood = laid.visits.iter().map(|id| standing.iter().find(|v| v.id == *id).map(at)).collect();
    Ok(Torn {
        laid,
        mending,
        technicians: crew.technicians.into_iter().map(|t| (t.id, t.name)).collect(),
        monday,
        plan_id: plan.id,
        happened,
        stood,
        left: left.into_iter().map(|at| (name(at.0), at.1)).collect(),
        row_version: plan.row_version,
        seed: u64::from(monday.to_julian_day().unsigned_abs()),
    })
}

/// Whether a day's stops can be made in this order, by the rules of planning.
fn stands(laid: &Laid, at: (Uuid, Date), route: &[usize]) -> bool {
    let alone: Vec<Vec<usize>> = laid.shifts.iter().map(|s| if *s == at { route.to_vec() } else { Vec::new() }).collect();
    route::check(&laid.problem, &alone).is_ok()
}

/// Days that break a rule as they stand: the office put them so.
fn odd_days(laid: &Laid, standing: &[Standing]) -> Vec<(Uuid, Date)> {
    let breaks = |at: &&(Uuid, Date)| !stands(laid, **at, &on_day(&laid.visits, standing, at.0, at.1));
    laid.shifts.iter().filter(breaks).copied().collect()
}

/// Leaves these days with their stops out of the question: they stay as the office put them.
fn leave(days: &[(Uuid, Date)], candidates: &mut Vec<Candidate>, standing: &mut Vec<Standing>, crew: &mut Crew) {
    standing.retain(|v| {
        let stays = days.contains(&(v.staff_id, v.day));
        if stays {
            candidates.retain(|c| c.visit_id != v.id);
        }
        !stays
    });
    crew.days.retain(|d| !days.contains(&(d.staff_id, d.day)));
}

/// A visit that stands at another time than its customer was told is held by nothing there: it may go back, but not be left out.
fn release(candidates: &mut [Candidate], standing: &[Standing], told: &HashMap<Uuid, told::Told>) {
    for (c, at) in candidates.iter_mut().zip(standing) {
        if told.get(&at.id).is_some_and(|t| !t.holds(Some(at.day), Some(at.starts))) {
            (c.held, c.must) = (Held::Free, true);
        }
    }
}

/// What customers were told, with whoever is to come now: nobody is told by whom.
fn told_of(laid: &Laid, standing: &[Standing], told: &HashMap<Uuid, told::Told>, crew: &Crew, monday: Date) -> Vec<(usize, Told)> {
    let one = |v: &Standing| {
        let told = told.get(&v.id)?;
        let visit = laid.visits.iter().position(|id| *id == v.id)?;
        let technician = crew.technicians.iter().position(|t| t.id == v.staff_id)?;
        let day = usize::try_from((told.day - monday).whole_days()).ok()?;
        Some((visit, Told { technician, day, start: told.starts * 60 }))
    };
    standing.iter().filter_map(one).collect()
}

/// The visits that are planned anew, where they stand, and what keeping them is worth.
async fn visits_left(db: &mut PgConnection, monday: Date, first_day: Date, happened: Happened) -> Result<(Vec<Standing>, Vec<Candidate>)> {
    let lost = happened.lost();
    let from = lost.map_or(first_day, |lost| first_day.min(lost.1));
    let mut standing = placed_visits(&mut *db, monday, from).await?;
    standing.retain(|v| v.day >= first_day || Some((v.staff_id, v.day)) == lost);
    let mut order: Vec<Uuid> = standing.iter().map(|v| v.id).collect();
    if let Happened::Urgent(visit) = happened {
        order.retain(|v| *v != visit);
        standing.retain(|v| v.id != visit);
        order.push(visit);
    }
    let mut candidates = in_order(db, &order).await?;
    for (c, at) in candidates.iter_mut().zip(&standing) {
        c.allow(at.day, at.starts);
        c.penalty = WORTH;
    }
    if let (Happened::Urgent(_), Some(urgent)) = (happened, candidates.last_mut()) {
        // Each day that it waits has its price; no promise is broken for it.
        (urgent.opens, urgent.closes, urgent.penalty, urgent.late_per_day) = (monday, first_day, URGENT, Some(URGENT / 50));
    }
    Ok((standing, candidates))
}

impl Torn {
    /// Searches. A third of a second of one core: not for an async thread. The same week gives the same answer.
    pub fn mend(self) -> MendedWeek {
        let effort = Effort::new(self.seed, STEPS);
        let mended = self.mending.mend(&effort, &AtomicBool::new(false));
        let name = |technician: usize| self.technicians.get(technician).map(|t| t.1.clone()).unwrap_or_default();
        let day = |day: usize| self.monday + Duration::days(i64::try_from(day).unwrap_or(0));
        let at = |told: Told| At { technician: name(told.technician), day: day(told.day), starts: told.start / 60 };
        let moved = mended.differences.iter().filter_map(|d| {
            let now = match d.kind {
                Kind::Day { now, .. } | Kind::Technician { now, .. } | Kind::Time { now, .. } | Kind::New { now } => Some(now),
                Kind::Dropped { .. } => None,
            };
            Some(Moved { visit_id: *self.laid.visits.get(d.visit)?, before: self.stood.get(d.visit)?.clone(), now: now.map(at) })
        });
        let mut moved: Vec<Moved> = moved.collect();
        // A visit of a day under way was not among the told ones: without room it differs from nothing there.
        let placed: Vec<usize> = mended.plan.routes.iter().flatten().map(|v| mended.visits[*v]).collect();
        let waiting = (0..self.stood.len()).filter(|v| !placed.contains(v));
        for (visit_id, before) in waiting.map(|v| (self.laid.visits[v], self.stood[v].clone())) {
            if moved.iter().all(|m| m.visit_id != visit_id) {
                moved.push(Moved { visit_id, before, now: None });
            }
        }
        let torn = Read {
            shifts: self.laid.shifts,
            visits: self.laid.visits,
            monday: self.monday,
            plan_id: self.plan_id,
            happened: self.happened,
        };
        MendedWeek { torn, mended, moved, left: self.left }
    }
}

/// Keeps a mended week: a lost day is the technician's day off, a refused visit is called off, every stop gets its new time, what
/// found no room waits.
pub async fn keep_mended(db: &mut PgConnection, week: &MendedWeek, row_version: i32, why: &str) -> Result<()> {
    let t = &week.torn;
    let current = sqlx::query_scalar!("SELECT row_version FROM week_plans WHERE id = $1 FOR UPDATE", t.plan_id).fetch_one(&mut *db).await?;
    if current != row_version {
        return Err(Error::Clash);
    }
    let timed = route::check(&week.mended.problem, &week.mended.plan.routes)
        .map_err(|against| corrupt("week_plans", t.plan_id, format!("{} rules broken", against.len())))?;
    if let Some((staff_id, day)) = t.happened.lost() {
        staff::add_days_off(&mut *db, staff_id, day, day).await?;
        // What was made that day before it was lost stays on its route.
        sqlx::query!(
            "DELETE FROM routes WHERE staff_id = $1 AND day = $2
               AND NOT EXISTS (SELECT FROM visits v WHERE v.staff_id = $1 AND v.day = $2 AND v.status IN ('done', 'not done'))",
            staff_id,
            day
        )
        .execute(&mut *db)
        .await?;
    }
    let mut kept = Vec::new();
    for r in &timed.routes {
        let (staff_id, day) = t.shifts[week.mended.shifts[r.shift]];
        for (position, stop) in (1_i16..).zip(&r.stops) {
            let visit = t.visits[week.mended.visits[stop.visit]];
            kept.push(visit);
            place(&mut *db, visit, &placed(staff_id, day, position, stop)).await?;
        }
        if r.stops.is_empty() {
            sqlx::query!("DELETE FROM routes WHERE staff_id = $1 AND day = $2", staff_id, day).execute(&mut *db).await?;
        } else {
            add_route(&mut *db, t.plan_id, &new_route(staff_id, day, r, String::new())).await?;
        }
    }
    let gone: Vec<Uuid> = t.visits.iter().filter(|v| !kept.contains(v)).copied().collect();
    let refused = if let Happened::Refused(visit) = t.happened { Some(visit) } else { None };
    sqlx::query!(
        "UPDATE visits SET status = CASE WHEN id = $3 THEN 'cancelled' ELSE 'unplaced' END, why = left($2, 400), staff_id = NULL, day = NULL, position = NULL, starts = NULL, ends = NULL, drive_s = 0,
           drive_m = 0, row_version = row_version + 1 WHERE id = ANY($1)",
        &gone,
        why,
        refused
    )
    .execute(&mut *db)
    .await?;
    if let Some(visit) = refused {
        told::forget(&mut *db, visit).await?;
    }
    // Routes of whoever works here no more, that nobody drives now.
    sqlx::query!(
        "DELETE FROM routes r WHERE r.week_plan_id = $1 AND NOT EXISTS (SELECT FROM visits v WHERE v.staff_id = r.staff_id AND v.day = r.day AND v.status <> 'cancelled')",
        t.plan_id
    )
    .execute(&mut *db)
    .await?;
    touch(db, t.monday).await
}

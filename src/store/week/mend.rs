//! A technician falls out after the week was planned: the rest is mended with as little change as may be, shown before it is kept.

use super::{
    super::{Error, Result, corrupt, staff},
    change::{in_order, new_route, placed, touch},
    lay::{Laid, lay},
    read,
    save::{add_route, place},
    slots::{on_day, placed_visits},
};
use crate::{
    roads::Drives,
    route::{self, Change, Effort, Kind, Mended, Mending, Told},
};
use sqlx::PgConnection;
use std::sync::atomic::AtomicBool;
use time::{Date, Duration};
use uuid::Uuid;

/// Steps of the search: about three tenths of a second for a week of a hundred visits.
const STEPS: u64 = 15_000;
/// What it is worth to keep a visit that stands, in seconds of driving, beside what dropping a told one costs: as one whose
/// window closes this week.
const WORTH: i64 = 14_400;

/// A week that stands, with what happened, ready to be searched.
#[derive(Debug)]
pub struct Torn {
    laid: Laid,
    mending: Mending,
    technicians: Vec<(Uuid, String)>,
    monday: Date,
    plan_id: Uuid,
    lost: (Uuid, Date),
    /// Where the visits of the laid problem stand, in its order.
    stood: Vec<At>,
    /// Version of the plan that was read.
    pub row_version: i32,
    seed: u64,
}

/// One visit that stands otherwise than before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    pub visit_id: Uuid,
    pub before: At,
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
}

/// What of [`Torn`] is left after the search.
#[derive(Debug)]
struct Read {
    shifts: Vec<(Uuid, Date)>,
    visits: Vec<Uuid>,
    monday: Date,
    plan_id: Uuid,
    lost: (Uuid, Date),
}

/// Reads the week without the technician's day that is lost. Days before `first_day` are under way or over and stay as they
/// are; of a lost day among them only its own open visits are planned anew.
pub async fn torn(db: &mut PgConnection, drives: &Drives, monday: Date, first_day: Date, lost: (Uuid, Date)) -> Result<Torn> {
    let plan = read::header(&mut *db, monday).await?.ok_or(Error::NotFound)?;
    let mut standing = placed_visits(&mut *db, monday, first_day.min(lost.1)).await?;
    standing.retain(|v| v.day >= first_day || (v.staff_id, v.day) == lost);
    let order: Vec<Uuid> = standing.iter().map(|v| v.id).collect();
    let mut candidates = in_order(&mut *db, &order).await?;
    for (c, at) in candidates.iter_mut().zip(&standing) {
        // A visit that the office put outside of its window stays possible where it is.
        (c.opens, c.closes, c.penalty) = (c.opens.min(at.day), c.closes.max(at.day), WORTH);
    }
    let technicians = staff::technicians(&mut *db).await?;
    let days = staff::working_days(db, monday).await?;
    let laid = lay(monday, first_day, &technicians, &days, &candidates, drives).map_err(|e| corrupt("week_plans", monday, e))?;
    let routes: Vec<Vec<usize>> = laid.shifts.iter().map(|(staff_id, day)| on_day(&laid.visits, &standing, *staff_id, *day)).collect();
    let changes: Vec<Change> = laid.shifts.iter().position(|s| *s == lost).map(Change::ShiftLost).into_iter().collect();
    let first = usize::try_from((first_day - monday).whole_days()).unwrap_or(0);
    let mending = Mending::new(&laid.problem, &routes, &changes, first).map_err(|_| Error::Rule("week_is_odd".to_owned()))?;
    let name = |id: Uuid| technicians.iter().find(|t| t.id == id).map(|t| t.name.clone()).unwrap_or_default();
    let stood = standing.iter().map(|v| At { technician: name(v.staff_id), day: v.day, starts: v.starts }).collect();
    Ok(Torn {
        laid,
        mending,
        technicians: technicians.into_iter().map(|t| (t.id, t.name)).collect(),
        monday,
        plan_id: plan.id,
        lost,
        stood,
        row_version: plan.row_version,
        seed: u64::from(monday.to_julian_day().unsigned_abs()),
    })
}

impl Torn {
    /// Searches. A third of a second of one core: not for an async thread. The same week gives the same answer.
    pub fn mend(self) -> MendedWeek {
        let effort = Effort { seed: self.seed, iterations: STEPS };
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
        let torn = Read { shifts: self.laid.shifts, visits: self.laid.visits, monday: self.monday, plan_id: self.plan_id, lost: self.lost };
        MendedWeek { torn, mended, moved }
    }
}

/// Keeps a mended week: the day is the technician's day off, every stop gets its new time, what found no room waits.
pub async fn keep_mended(db: &mut PgConnection, week: &MendedWeek, row_version: i32, why: &str) -> Result<()> {
    let t = &week.torn;
    let current = sqlx::query_scalar!("SELECT row_version FROM week_plans WHERE id = $1 FOR UPDATE", t.plan_id).fetch_one(&mut *db).await?;
    if current != row_version {
        return Err(Error::Clash);
    }
    let timed = route::check(&week.mended.problem, &week.mended.plan.routes)
        .map_err(|against| corrupt("week_plans", t.plan_id, format!("{} rules broken", against.len())))?;
    staff::add_day_off(&mut *db, t.lost.0, t.lost.1).await?;
    sqlx::query!("DELETE FROM routes WHERE staff_id = $1 AND day = $2", t.lost.0, t.lost.1).execute(&mut *db).await?;
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
    sqlx::query!(
        "UPDATE visits SET status = 'unplaced', why = left($2, 400), staff_id = NULL, day = NULL, position = NULL, starts = NULL, ends = NULL, drive_s = 0,
           drive_m = 0, row_version = row_version + 1 WHERE id = ANY($1)",
        &gone,
        why
    )
    .execute(&mut *db)
    .await?;
    touch(db, t.monday).await
}

//! Changing a plan by hand: move a visit, take it off, confirm it, issue the week. Each change times the touched days again.

use super::{
    super::{
        Error, Result,
        staff::{self, Crew},
    },
    lay::{Candidate, Held, LayError, Span, lay, minute_of},
    monday_of, read,
    save::{NewRoute, Placed, add_route, place},
};
use crate::{
    roads::Drives,
    route::{self, TimedRoute},
    season::{Suit, not_before},
};
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::{Date, OffsetDateTime, PrimitiveDateTime};
use uuid::Uuid;

/// What a day is timed by.
#[derive(Clone, Copy, Debug)]
pub struct Timing<'a> {
    pub drives: &'a Drives,
    /// In the dealer's own time.
    pub now: PrimitiveDateTime,
}

/// Where a visit is to go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    Earlier,
    Later,
    /// To this technician's day; at the end, or before the stop that has this position now.
    To {
        staff_id: Uuid,
        day: Date,
        position: Option<usize>,
    },
}

pub(super) struct Open {
    pub(super) unit_id: Uuid,
    staff_id: Option<Uuid>,
    day: Option<Date>,
    pub(super) monday: Date,
}

/// The visit, locked for change, if it is still open and still the one that was looked at.
pub(super) async fn take(db: &mut PgConnection, visit_id: Uuid, row_version: i32) -> Result<Open> {
    let row = sqlx::query!(
        "SELECT v.unit_id, v.staff_id, v.day, v.row_version, v.status, w.monday FROM visits v JOIN week_plans w ON w.id = v.week_plan_id WHERE v.id = $1 FOR UPDATE",
        visit_id
    )
    .fetch_one(db)
    .await?;
    if !["unplaced", "planned", "confirmed"].contains(&row.status.as_str()) {
        return Err(Error::Rule("visit_is_over".to_owned()));
    }
    if row.row_version != row_version {
        return Err(Error::Clash);
    }
    Ok(Open { unit_id: row.unit_id, staff_id: row.staff_id, day: row.day, monday: row.monday })
}

/// Moves a visit and times the touched days again. Returns its new place in the day (1, 2, …) and how many stops that day has.
pub async fn move_visit(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, to: Move) -> Result<(usize, usize)> {
    let open = take(&mut *db, visit_id, row_version).await?;
    let from = open.staff_id.zip(open.day);
    let (staff_id, day) = match to {
        Move::To { staff_id, day, .. } => (staff_id, day),
        Move::Earlier | Move::Later => from.ok_or(Error::NotFound)?,
    };
    if monday_of(day) != open.monday {
        return Err(Error::Rule("other_week".to_owned()));
    }
    let before = stops_of(&mut *db, staff_id, day, &OVER).await?.len();
    let mut order = ids(&stops_of(&mut *db, staff_id, day, &OPEN).await?);
    let was = order.iter().position(|v| *v == visit_id);
    order.retain(|v| *v != visit_id);
    let at = match (to, was) {
        (Move::Earlier, Some(i)) => i.saturating_sub(1),
        (Move::Later, Some(i)) => (i + 1).min(order.len()),
        (Move::To { position: Some(p), .. }, _) => p.saturating_sub(1 + before).min(order.len()),
        _ => order.len(),
    };
    order.insert(at, visit_id);
    time_day(&mut *db, by, open.monday, (staff_id, day), &order).await?;
    if let Some((old_staff, old_day)) = from.filter(|f| *f != (staff_id, day)) {
        retime(&mut *db, by, open.monday, old_staff, old_day).await?;
    }
    touch(db, open.monday).await?;
    Ok((before + at + 1, before + order.len()))
}

/// Visits that are still to be made, ...
pub(super) const OPEN: [&str; 2] = ["planned", "confirmed"];
/// ... and those that are over.
pub(super) const OVER: [&str; 2] = ["done", "not done"];

/// The visits of a technician's day that have one of these states, in order, with the minute after midnight at which they begin.
async fn stops_of(db: &mut PgConnection, staff_id: Uuid, day: Date, states: &[&str]) -> Result<Vec<(Uuid, i32)>> {
    let rows = sqlx::query!(
        r#"SELECT id, starts AS "starts!" FROM visits WHERE staff_id = $1 AND day = $2 AND status = ANY($3) ORDER BY position, starts LIMIT 1000 FOR UPDATE"#,
        staff_id,
        day,
        states as &[&str]
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.starts)).collect())
}

fn ids(stops: &[(Uuid, i32)]) -> Vec<Uuid> {
    stops.iter().map(|s| s.0).collect()
}

/// Times a technician's day again in its present order.
pub async fn retime(db: &mut PgConnection, by: Timing<'_>, monday: Date, staff_id: Uuid, day: Date) -> Result<()> {
    let order = ids(&stops_of(&mut *db, staff_id, day, &OPEN).await?);
    time_day(db, by, monday, (staff_id, day), &order).await
}

/// Takes a visit off its day; it stays in the week as one without a place.
pub async fn take_off(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, why: &str) -> Result<()> {
    unplace(db, by, visit_id, row_version, "unplaced", why).await
}

/// Calls a visit off for this week; its jobs stay due.
pub async fn cancel(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, why: &str) -> Result<()> {
    unplace(db, by, visit_id, row_version, "cancelled", why).await
}

async fn unplace(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, status: &str, why: &str) -> Result<()> {
    let open = take(&mut *db, visit_id, row_version).await?;
    sqlx::query!(
        "UPDATE visits SET status = $2, why = left($3, 400), staff_id = NULL, day = NULL, position = NULL, starts = NULL, ends = NULL, drive_s = 0, drive_m = 0,
         row_version = row_version + 1 WHERE id = $1",
        visit_id,
        status,
        why
    )
    .execute(&mut *db)
    .await?;
    if let Some((staff_id, day)) = open.staff_id.zip(open.day) {
        retime(&mut *db, by, open.monday, staff_id, day).await?;
    }
    touch(db, open.monday).await
}

/// The customer was told the time (or no longer holds to it).
pub async fn confirm(db: impl PgExecutor<'_>, visit_id: Uuid, row_version: i32, told: bool) -> Result<()> {
    let (from, to) = if told { ("planned", "confirmed") } else { ("confirmed", "planned") };
    let done = sqlx::query!(
        "UPDATE visits SET status = $3, row_version = row_version + 1 WHERE id = $1 AND row_version = $2 AND status = $4",
        visit_id,
        row_version,
        to,
        from
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Makes the week's stops visible to the technicians.
pub async fn issue(db: impl PgExecutor<'_>, monday: Date, row_version: i32, now: OffsetDateTime) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE week_plans SET status = 'issued', issued_at = $3, row_version = row_version + 1 WHERE monday = $1 AND row_version = $2 AND status = 'draft'",
        monday,
        row_version,
        now
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

pub(super) async fn touch(db: &mut PgConnection, monday: Date) -> Result<()> {
    sqlx::query!("UPDATE week_plans SET row_version = row_version + 1 WHERE monday = $1", monday).execute(db).await?;
    Ok(())
}

/// Works out the times of a day in the given order and keeps them. Visits of the day that are over come first, at the times at
/// which they stood: what is left of a day does not begin anew in the morning at the depot, and nothing is put into what has
/// passed. When the order breaks a rule of the day (too long, too late
/// for a told time, no skill), the office's word stands: the times are worked out without that rule and the trouble is noted.
async fn time_day(db: &mut PgConnection, by: Timing<'_>, monday: Date, (staff_id, day): (Uuid, Date), order: &[Uuid]) -> Result<()> {
    let plan = read::header(&mut *db, monday).await?.ok_or(Error::NotFound)?;
    let over = ids(&stops_of(&mut *db, staff_id, day, &OVER).await?);
    let order = [over.as_slice(), order].concat();
    if order.is_empty() {
        sqlx::query!("DELETE FROM routes WHERE staff_id = $1 AND day = $2", staff_id, day).execute(db).await?;
        return Ok(());
    }
    let mut candidates = in_order(&mut *db, &order).await?;
    for c in &mut candidates[..over.len()] {
        (c.opens, c.closes) = (c.opens.min(day), c.closes.max(day));
        c.skills.clear();
        c.suits.clear();
    }
    if day == by.now.date() {
        let stood: HashMap<Uuid, i32> = stops_of(&mut *db, staff_id, day, &OPEN).await?.into_iter().collect();
        for c in &mut candidates[over.len()..] {
            let now = minute_of(by.now.time());
            c.suits = not_before(&c.suits, day, stood.get(&c.visit_id).map_or(now, |s| now.min(*s))).unwrap_or_default();
        }
    }
    let mut crew = staff::crew(&mut *db, monday, 1).await?;
    crew.technicians.retain(|t| t.id == staff_id);
    crew.days.retain(|d| d.staff_id == staff_id && d.day == day);
    let span = Span::week(monday, day);
    let odd = |e: &dyn std::fmt::Display| super::super::corrupt("visits", staff_id, e);
    let (timed, trouble) = match strict(span, &crew, &candidates, by.drives).map_err(|e| odd(&e))? {
        Ok(timed) => (timed, String::new()),
        Err(trouble) => (
            loose(span, &crew, &candidates, by.drives).map_err(|e| odd(&e))?.ok_or_else(|| Error::Rule("day_too_long".to_owned()))?,
            trouble,
        ),
    };
    keep(db, plan.id, (staff_id, day), &order, over.len(), &timed, trouble).await
}

/// These visits as candidates, in the order given.
pub async fn in_order(db: &mut PgConnection, order: &[Uuid]) -> Result<Vec<Candidate>> {
    let rows = sqlx::query!(
        r#"SELECT v.id, v.place_id, p.lat, p.lon, v.minutes, v.opens_on, v.closes_on, v.status, v.staff_id, v.day, v.starts, coalesce(v.expected_dose_ml, 0) AS "load!",
             (SELECT x.id FROM products x WHERE x.id = u.product_id OR (u.product_id IS NULL AND x.programme_code = u.programme_code AND x.active)
              ORDER BY x.name, x.id LIMIT 1) AS product,
             coalesce((SELECT max(k.set_up_minutes) FROM visit_jobs j JOIN job_kinds k ON k.code = j.job_code WHERE j.visit_id = v.id), 0) AS "set_up!",
             coalesce((SELECT array_agg(DISTINCT k.skill) FROM visit_jobs j JOIN job_kinds k ON k.code = j.job_code WHERE j.visit_id = v.id AND k.skill <> ''), '{}') AS "skills!",
             EXISTS (SELECT FROM week_musts m JOIN week_plans w ON w.monday = m.monday WHERE w.id = v.week_plan_id AND m.unit_id = v.unit_id) AS "must!"
           FROM visits v JOIN places p ON p.id = v.place_id JOIN units u ON u.id = v.unit_id WHERE v.id = ANY($1) ORDER BY array_position($1, v.id)"#,
        order
    )
    .fetch_all(&mut *db)
    .await?;
    let places: Vec<Uuid> = rows.iter().map(|r| r.place_id).collect();
    let suits = suits(db, &places).await?;
    rows.into_iter()
        .map(|r| {
            let held = match (r.status.as_str(), r.staff_id, r.day, r.starts) {
                ("confirmed" | "done" | "not done", Some(staff_id), Some(day), Some(starts)) => Held::At { staff_id, day, starts },
                _ => Held::Free,
            };
            let pin = r.lat.zip(r.lon).ok_or_else(|| Error::Rule("no_pin".to_owned()))?;
            let set_up = r.set_up.min(r.minutes);
            let minutes = r.minutes - set_up;
            Ok(Candidate {
                visit_id: r.id,
                place_id: r.place_id,
                pin,
                minutes,
                set_up,
                opens: r.opens_on,
                closes: r.closes_on,
                penalty: 1,
                skills: r.skills,
                load_ml: r.load,
                product: r.product,
                held,
                late_per_day: Some(0),
                must: r.must,
                suits: suits.get(&r.place_id).cloned().unwrap_or_default(),
            })
        })
        .collect()
}

/// When somebody can be met at these places, as far as times are kept.
pub async fn suits(db: impl PgExecutor<'_>, places: &[Uuid]) -> Result<HashMap<Uuid, Vec<Suit>>> {
    let rows = sqlx::query!(
        "SELECT place_id, weekday, from_minute, to_minute FROM place_times WHERE place_id = ANY($1) ORDER BY place_id, weekday, from_minute LIMIT 60000",
        places
    )
    .fetch_all(db)
    .await?;
    let mut all: HashMap<Uuid, Vec<Suit>> = HashMap::new();
    for r in rows {
        let suit = Suit { weekday: u8::try_from(r.weekday).unwrap_or(0), from: r.from_minute, to: r.to_minute };
        all.entry(r.place_id).or_default().push(suit);
    }
    Ok(all)
}

/// Keeps these times for a place in place of those before.
pub async fn set_suits(db: &mut PgConnection, place_id: Uuid, suits: &[Suit]) -> Result<()> {
    sqlx::query!("DELETE FROM place_times WHERE place_id = $1", place_id).execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO place_times (place_id, weekday, from_minute, to_minute) SELECT $1, * FROM unnest($2::smallint[], $3::int[], $4::int[])",
        place_id,
        &suits.iter().map(|s| i16::from(s.weekday)).collect::<Vec<_>>(),
        &suits.iter().map(|s| s.from).collect::<Vec<_>>(),
        &suits.iter().map(|s| s.to).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

/// By every rule of the day: the timed route, or what the checker says against it.
fn strict(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives) -> Result<Result<TimedRoute, String>, LayError> {
    let laid = lay(span, crew, candidates, drives)?;
    if laid.shifts.is_empty() {
        return Ok(Err("That is no working day of this technician.".to_owned()));
    }
    let order: Vec<usize> = (0..candidates.len()).collect();
    Ok(match route::check(&laid.problem, &[order]) {
        Ok(mut plan) => plan.routes.pop().ok_or_else(String::new),
        Err(against) => Err(words(&against)),
    })
}

fn words(against: &[route::Violation]) -> String {
    let said: Vec<String> = against.iter().map(ToString::to_string).collect();
    said.join(" ").chars().take(1000).collect()
}

/// Without any rule but the clock: from the start of the working day (or 8:00) until midnight.
fn loose(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives) -> Result<Option<TimedRoute>, LayError> {
    let free = |t: &staff::Technician| staff::Technician {
        lunch_minutes: 0,
        van_capacity_ml: 1_000_000,
        most_minutes: None,
        full_day_minutes: None,
        ..t.clone()
    };
    let technicians: Vec<staff::Technician> = crew.technicians.iter().map(free).collect();
    let day = span.first_day;
    let days = technicians.iter().map(|t| staff::WorkingDay { staff_id: t.id, day, starts: 480, ends: 1440 }).collect();
    let crew = Crew { technicians, days, prices: crew.prices, loads: Vec::new() };
    let open: Vec<Candidate> = candidates
        .iter()
        .map(|c| Candidate { held: Held::Free, skills: Vec::new(), opens: span.monday, closes: Date::MAX, suits: Vec::new(), ..c.clone() })
        .collect();
    let laid = lay(span, &crew, &open, drives)?;
    let order: Vec<usize> = (0..open.len()).collect();
    Ok(route::check(&laid.problem, &[order]).ok().and_then(|mut p| p.routes.pop()))
}

async fn keep(
    db: &mut PgConnection,
    plan_id: Uuid,
    (staff_id, day): (Uuid, Date),
    order: &[Uuid],
    over: usize,
    timed: &TimedRoute,
    trouble: String,
) -> Result<()> {
    for (position, stop) in (1_i16..).zip(&timed.stops) {
        if stop.visit < over {
            number(&mut *db, order[stop.visit], position).await?;
        } else {
            place(&mut *db, order[stop.visit], &placed(staff_id, day, position, stop)).await?;
        }
    }
    add_route(db, plan_id, &new_route(staff_id, day, timed, trouble)).await
}

/// A visit that is over keeps its times, not its number.
async fn number(db: &mut PgConnection, visit_id: Uuid, position: i16) -> Result<()> {
    sqlx::query!("UPDATE visits SET position = $2 WHERE id = $1 AND position <> $2", visit_id, position).execute(db).await?;
    Ok(())
}

/// A stop as the visit's row keeps it, in whole minutes. Both ends are rounded down, so that neighbours never overlap.
pub fn placed(staff_id: Uuid, day: Date, position: i16, stop: &route::TimedStop) -> Placed {
    Placed {
        staff_id,
        day,
        position,
        starts: stop.start / 60,
        ends: stop.leave / 60,
        drive_s: stop.leg_s,
        drive_m: stop.leg_m.unwrap_or(0),
    }
}

/// A route as its row keeps it.
pub fn new_route(staff_id: Uuid, day: Date, timed: &TimedRoute, trouble: String) -> NewRoute {
    let metres = timed.stops.iter().filter_map(|s| s.leg_m).sum::<i32>() + timed.home_m.unwrap_or(0);
    NewRoute {
        staff_id,
        day,
        leaves: timed.leaves / 60,
        lunch_at: timed.lunch.as_ref().map(|l| l.starts / 60),
        returns: (timed.returns + 59) / 60,
        drive_s: timed.drive_s,
        drive_m: metres,
        trouble,
    }
}

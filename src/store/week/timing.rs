//! The times of a technician's day in the order that the office wants, kept in the rows of its visits and its route.

use super::{
    super::{
        Error, Result,
        staff::{self, Crew},
    },
    change::in_order,
    lay::{Candidate, Held, LayError, Span, lay, minute_of},
    read,
    save::{NewRoute, Placed, add_route, place},
    told, trouble,
    under_way::{Begun, begun},
};
use crate::{
    roads::Drives,
    route::{self, TimedRoute, Violation},
    season::{Suit, not_before},
};
use sqlx::PgConnection;
use std::collections::HashMap;
use time::{Date, PrimitiveDateTime};
use uuid::Uuid;

/// What a day is timed by.
#[derive(Clone, Copy, Debug)]
pub struct Timing<'a> {
    pub drives: &'a Drives,
    /// In the dealer's own time.
    pub now: PrimitiveDateTime,
}

/// The visits of a technician's day that are still to be made, in order, with the minute after midnight at which they begin.
pub(super) async fn open_stops(db: &mut PgConnection, staff_id: Uuid, day: Date) -> Result<Vec<(Uuid, i32)>> {
    let rows = sqlx::query!(
        r#"SELECT id, starts AS "starts!" FROM visits WHERE staff_id = $1 AND day = $2 AND status IN ('planned', 'confirmed')
           ORDER BY position, starts LIMIT 1000 FOR UPDATE"#,
        staff_id,
        day
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.starts)).collect())
}

/// Works out the times of a day in the given order and keeps them. Of a day that has begun, the rest follows on the stop that
/// ended last, and nothing is put into what has passed. When the order breaks a rule of the day (too long, too late
/// for a told time, no skill), the office's word stands: the times are worked out without that rule and the trouble is noted.
pub(super) async fn time_day(db: &mut PgConnection, by: Timing<'_>, monday: Date, at: (Uuid, Date), order: &[Uuid]) -> Result<()> {
    let plan = read::header(&mut *db, monday).await?.ok_or(Error::NotFound)?;
    let mut begun = begun(&mut *db, monday, at.1, Some(at), by.now).await?.remove(&at).unwrap_or_default();
    let order: Vec<Uuid> = begun.last.map(|l| l.visit).into_iter().chain(order.iter().copied()).collect();
    if order.is_empty() {
        // Where something is over, the route that it was made on stays.
        if begun.over.is_empty() {
            sqlx::query!("DELETE FROM routes WHERE staff_id = $1 AND day = $2", at.0, at.1).execute(db).await?;
        }
        return Ok(());
    }
    let mut candidates = in_order(&mut *db, &order).await?;
    let told = told::of(&mut *db, &order).await?;
    for c in candidates.iter_mut().filter(|c| c.held != Held::Free) {
        // What was told of another day holds nothing here; whom to call about it, the week says.
        let here = told.get(&c.visit_id).filter(|t| t.day == at.1);
        c.held = here.map_or(Held::Free, |t| Held::At { staff_id: at.0, day: at.1, starts: t.starts });
    }
    if at.1 == by.now.date() {
        let stood: HashMap<Uuid, i32> = open_stops(&mut *db, at.0, at.1).await?.into_iter().collect();
        for c in &mut candidates {
            let now = minute_of(by.now.time());
            c.suits = not_before(&c.suits, at.1, stood.get(&c.visit_id).map_or(now, |s| now.min(*s))).unwrap_or_default();
        }
    }
    let mut crew = staff::crew(&mut *db, monday, 1).await?;
    crew.technicians.retain(|t| t.id == at.0);
    crew.days.retain(|d| (d.staff_id, d.day) == at);
    if let Some(c) = candidates.first_mut().filter(|_| begun.last.is_some()) {
        begun.set_day(&mut crew, at, c.pin, by.drives, by.now)?;
        begun.hold(c, at);
    }
    let span = Span::week(monday, at.1);
    let odd = |e: &dyn std::fmt::Display| super::super::corrupt("visits", at.0, e);
    let (timed, trouble) = match strict(span, &crew, &candidates, by.drives).map_err(|e| odd(&e))? {
        Ok(timed) => (timed, String::new()),
        Err(against) => (
            loose(span, &crew, &candidates, by.drives).map_err(|e| odd(&e))?.ok_or_else(|| Error::Rule("day_too_long".to_owned()))?,
            trouble::words(&mut *db, &against, &candidates, &crew.days).await?,
        ),
    };
    keep(db, plan.id, at, &order, &begun, &timed, trouble).await
}

/// By every rule of the day: the timed route, or what the checker says against it; nothing, where it is no working day.
fn strict(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives) -> Result<Result<TimedRoute, Vec<Violation>>, LayError> {
    let laid = lay(span, crew, candidates, drives)?;
    if laid.shifts.is_empty() {
        return Ok(Err(Vec::new()));
    }
    let order: Vec<usize> = (0..candidates.len()).collect();
    Ok(match route::check(&laid.problem, &[order]) {
        Ok(mut plan) => plan.routes.pop().ok_or_else(Vec::new),
        Err(against) => Err(against),
    })
}

/// Without any rule but the clock: from the start of the working day (or 8:00) until midnight, nobody before he was told. With lunch,
/// where there is a time for it.
fn loose(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives) -> Result<Option<TimedRoute>, LayError> {
    let with_lunch = unruled(span, crew, candidates, drives, true)?;
    if with_lunch.is_some() { Ok(with_lunch) } else { unruled(span, crew, candidates, drives, false) }
}

fn unruled(span: Span, crew: &Crew, candidates: &[Candidate], drives: &Drives, lunch: bool) -> Result<Option<TimedRoute>, LayError> {
    let free = |t: &staff::Technician| staff::Technician {
        lunch_minutes: if lunch { t.lunch_minutes } else { 0 },
        van_capacity_ml: 1_000_000,
        most_minutes: None,
        full_day_minutes: None,
        ..t.clone()
    };
    let technicians: Vec<staff::Technician> = crew.technicians.iter().map(free).collect();
    let day = span.first_day;
    let begins =
        |id| crew.days.iter().find(|d| (d.staff_id, d.day) == (id, day)).map_or((480, staff::Behind::default()), |d| (d.starts, d.behind));
    let working = |staff_id| {
        let (starts, behind) = begins(staff_id);
        staff::WorkingDay { staff_id, day, starts, ends: 1440, behind }
    };
    let days = technicians.iter().map(|t| working(t.id)).collect();
    let crew = Crew { technicians, days, prices: crew.prices, loads: Vec::new() };
    let open: Vec<Candidate> = candidates.iter().map(|c| loosened(c, span)).collect();
    let laid = lay(span, &crew, &open, drives)?;
    let order: Vec<usize> = (0..open.len()).collect();
    Ok(route::check(&laid.problem, &[order]).ok().and_then(|mut p| p.routes.pop()))
}

fn loosened(c: &Candidate, span: Span) -> Candidate {
    let weekday = span.first_day.weekday().number_from_monday();
    let (held, suits) = match c.held {
        Held::Was { .. } => (c.held, Vec::new()),
        Held::At { day, starts, .. } if day == span.first_day => (Held::Free, vec![Suit { weekday, from: starts, to: 1440 }]),
        Held::At { .. } | Held::Free => (Held::Free, Vec::new()),
    };
    Candidate { held, skills: Vec::new(), opens: span.monday, closes: Date::MAX, suits, ..c.clone() }
}

async fn keep(
    db: &mut PgConnection,
    plan_id: Uuid,
    (staff_id, day): (Uuid, Date),
    order: &[Uuid],
    begun: &Begun,
    timed: &TimedRoute,
    trouble: String,
) -> Result<()> {
    let mut positions = 1_i16..;
    for (visit, position) in begun.over.iter().zip(&mut positions) {
        number(&mut *db, *visit, position).await?;
    }
    let open = timed.stops.iter().skip(usize::from(begun.last.is_some()));
    for (stop, position) in open.zip(positions) {
        place(&mut *db, order[stop.visit], &placed(staff_id, day, position, stop)).await?;
    }
    let mut route = new_route(staff_id, day, timed, trouble);
    begun.add_to(&mut route, timed);
    add_route(db, plan_id, &route).await
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
        // Whoever is back before has lunch at home.
        lunch_at: timed.lunch.as_ref().filter(|l| l.starts < timed.returns).map(|l| l.starts / 60),
        returns: (timed.returns + 59) / 60,
        drive_s: timed.drive_s,
        drive_m: metres,
        trouble,
    }
}

//! Changing a plan by hand: move a visit, take it off, confirm it, issue the week. Each change times the touched days again.

use super::{
    super::{Error, Result},
    lay::{Candidate, Held},
    monday_of, save,
    timing::{Timing, open_stops, time_day},
    told,
    under_way::begun,
};
use crate::season::Suit;
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

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
    let before =
        begun(&mut *db, open.monday, day, Some((staff_id, day)), by.now).await?.remove(&(staff_id, day)).map_or(0, |b| b.over.len());
    let mut order = ids(&open_stops(&mut *db, staff_id, day).await?);
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

fn ids(stops: &[(Uuid, i32)]) -> Vec<Uuid> {
    stops.iter().map(|s| s.0).collect()
}

/// Times a technician's day again in its present order.
pub async fn retime(db: &mut PgConnection, by: Timing<'_>, monday: Date, staff_id: Uuid, day: Date) -> Result<()> {
    let order = ids(&open_stops(&mut *db, staff_id, day).await?);
    time_day(db, by, monday, (staff_id, day), &order).await
}

/// Takes a visit off its day; it stays in the week as one without a place.
pub async fn take_off(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, why: &str) -> Result<()> {
    unplace(db, by, visit_id, row_version, "unplaced", why).await
}

/// Calls a visit off for this week; its jobs stay due.
pub async fn cancel(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, why: &str) -> Result<()> {
    unplace(&mut *db, by, visit_id, row_version, "cancelled", why).await?;
    told::forget(db, visit_id).await
}

async fn unplace(db: &mut PgConnection, by: Timing<'_>, visit_id: Uuid, row_version: i32, status: &str, why: &str) -> Result<()> {
    let open = take(&mut *db, visit_id, row_version).await?;
    save::unplace(&mut *db, visit_id, status, why).await?;
    if let Some((staff_id, day)) = open.staff_id.zip(open.day) {
        retime(&mut *db, by, open.monday, staff_id, day).await?;
    }
    touch(db, open.monday).await
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

/// The same of a draft: a search that is under way begins anew. Nothing searches an issued week.
pub(super) async fn touch_draft(db: &mut PgConnection, monday: Date) -> Result<()> {
    sqlx::query!("UPDATE week_plans SET row_version = row_version + 1 WHERE monday = $1 AND status = 'draft'", monday).execute(db).await?;
    Ok(())
}

/// Notes that the week has changed.
pub(super) async fn touch(db: &mut PgConnection, monday: Date) -> Result<()> {
    sqlx::query!("UPDATE week_plans SET row_version = row_version + 1 WHERE monday = $1", monday).execute(db).await?;
    Ok(())
}

/// These visits as candidates, in the order given.
pub async fn in_order(db: &mut PgConnection, order: &[Uuid]) -> Result<Vec<Candidate>> {
    let rows = sqlx::query!(
        r#"SELECT v.id, v.place_id, p.lat, p.lon, v.minutes, v.opens_on, v.closes_on, v.status, v.staff_id, v.day, v.starts, coalesce(v.expected_dose_ml, 0) AS "load!",
             product_of(u.product_id, u.programme_code) AS product,
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
                ("confirmed", Some(staff_id), Some(day), Some(starts)) => Held::At { staff_id, day, starts },
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

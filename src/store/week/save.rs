//! Keeping a plan that the solver made.

use super::super::{Error, Result};
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A whole week as planned.
#[derive(Clone, Debug)]
pub struct NewPlan {
    pub monday: Date,
    pub seed: i64,
    pub iterations: i64,
    pub drive_source: String,
    /// The closures that its routes go round.
    pub closed_roads: Vec<Uuid>,
    /// Version of the plan that this one was made from; `None` when there was none.
    pub made_from: Option<i32>,
    /// Days before it stay as they are.
    pub first_day: Date,
    pub routes: Vec<NewRoute>,
    pub visits: Vec<NewVisit>,
}

#[derive(Clone, Debug)]
pub struct NewRoute {
    pub staff_id: Uuid,
    pub day: Date,
    pub leaves: i32,
    pub lunch_at: Option<i32>,
    pub returns: i32,
    pub drive_s: i32,
    pub drive_m: i32,
    pub trouble: String,
}

/// Where and when a visit stands. Minutes after local midnight.
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    pub staff_id: Uuid,
    pub day: Date,
    pub position: i16,
    pub starts: i32,
    pub ends: i32,
    pub drive_s: i32,
    pub drive_m: i32,
}

#[derive(Clone, Debug)]
pub struct NewVisit {
    pub id: Uuid,
    /// It stands in the plan already, confirmed; only its place in the day changes.
    pub confirmed: bool,
    pub unit_id: Uuid,
    pub customer_id: Uuid,
    pub place_id: Uuid,
    pub jobs: Vec<String>,
    pub opens_on: Date,
    pub closes_on: Date,
    pub minutes: i32,
    pub reason: String,
    pub expected_dose_ml: Option<i64>,
    pub placed: Option<Placed>,
    /// Why it did not find room.
    pub why: String,
}

/// Replaces the draft of a week. [`Error::Clash`] when somebody changed the plan meanwhile; an issued week is refused.
pub async fn save(db: &mut PgConnection, plan: &NewPlan, now: OffsetDateTime) -> Result<Uuid> {
    let id = take_header(&mut *db, plan, now).await?;
    if has_changed(&mut *db, plan).await? {
        return Err(Error::Clash);
    }
    sqlx::query!("DELETE FROM visits WHERE week_plan_id = $1 AND status IN ('planned', 'unplaced')", id).execute(&mut *db).await?;
    // What was made, and what was told of days that are over, stays on its route.
    sqlx::query!(
        "DELETE FROM routes r WHERE week_plan_id = $1 AND NOT EXISTS (SELECT FROM visits v WHERE v.staff_id = r.staff_id AND v.day = r.day
           AND (v.status IN ('done', 'not done') OR (v.status = 'confirmed' AND v.day < $2)))",
        id,
        plan.first_day
    )
    .execute(&mut *db)
    .await?;
    for r in &plan.routes {
        add_route(&mut *db, id, r).await?;
    }
    add_visits(&mut *db, id, plan.visits.iter().filter(|v| !v.confirmed)).await?;
    for v in plan.visits.iter().filter(|v| v.confirmed) {
        match &v.placed {
            Some(p) => place(&mut *db, v.id, p).await?,
            // Nobody works that day any more: what was told stays on record, so that somebody calls.
            None => unplace(&mut *db, v.id, "unplaced", &v.why).await?,
        }
    }
    Ok(id)
}

/// Whether a unit was retired, moved or sold while the search ran, or a visit that was told is not any more.
async fn has_changed(db: &mut PgConnection, plan: &NewPlan) -> Result<bool> {
    let visits = &plan.visits;
    let changed = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::bool[]) AS n(id, unit_id, place_id, customer_id, told)
             JOIN units u ON u.id = n.unit_id
             WHERE u.status = 'retired' OR u.place_id <> n.place_id OR (u.customer_id <> n.customer_id AND NOT n.told)
               OR (n.told AND NOT EXISTS (SELECT FROM visits v WHERE v.id = n.id AND v.status = 'confirmed'))) AS "changed!""#,
        &visits.iter().map(|v| v.id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.unit_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.place_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.customer_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.confirmed).collect::<Vec<_>>()
    );
    Ok(changed.fetch_one(db).await?)
}

async fn take_header(db: &mut PgConnection, plan: &NewPlan, now: OffsetDateTime) -> Result<Uuid> {
    let held = sqlx::query!("SELECT id, status, row_version FROM week_plans WHERE monday = $1 FOR UPDATE", plan.monday)
        .fetch_optional(&mut *db)
        .await?;
    let Some(held) = held else {
        let id = Uuid::now_v7();
        sqlx::query!(
            "INSERT INTO week_plans (id, monday, seed, iterations, drive_source, made_at, closed_roads) VALUES ($1, $2, $3, $4, $5, $6, $7)",
            id,
            plan.monday,
            plan.seed,
            plan.iterations,
            plan.drive_source,
            now,
            &plan.closed_roads
        )
        .execute(db)
        .await?;
        return Ok(id);
    };
    if held.status == "issued" {
        return Err(Error::Rule("week_is_issued".to_owned()));
    }
    if plan.made_from != Some(held.row_version) {
        return Err(Error::Clash);
    }
    sqlx::query!(
        "UPDATE week_plans SET seed = $2, iterations = $3, drive_source = $4, made_at = $5, closed_roads = $6, row_version = row_version + 1 WHERE id = $1",
        held.id,
        plan.seed,
        plan.iterations,
        plan.drive_source,
        now,
        &plan.closed_roads
    )
    .execute(db)
    .await?;
    Ok(held.id)
}

/// Puts a route in place of the one that its technician has on that day.
pub(super) async fn add_route(db: &mut PgConnection, plan_id: Uuid, r: &NewRoute) -> Result<()> {
    sqlx::query!(
        "INSERT INTO routes (id, week_plan_id, staff_id, day, leaves, lunch_at, returns, drive_s, drive_m, trouble) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
         ON CONFLICT (staff_id, day) DO UPDATE SET leaves = excluded.leaves, lunch_at = excluded.lunch_at, returns = excluded.returns,
           drive_s = excluded.drive_s, drive_m = excluded.drive_m, trouble = excluded.trouble, row_version = routes.row_version + 1",
        Uuid::now_v7(),
        plan_id,
        r.staff_id,
        r.day,
        r.leaves,
        r.lunch_at,
        r.returns,
        r.drive_s,
        r.drive_m,
        r.trouble
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Moves one open visit to its place in a day.
pub(super) async fn place(db: &mut PgConnection, visit_id: Uuid, p: &Placed) -> Result<()> {
    sqlx::query!(
        "UPDATE visits SET staff_id = $2, day = $3, position = $4, starts = $5, ends = $6, drive_s = $7, drive_m = $8, why = '',
           status = CASE WHEN status = 'unplaced' THEN 'planned' ELSE status END, row_version = row_version + 1 WHERE id = $1",
        visit_id,
        p.staff_id,
        p.day,
        p.position,
        p.starts,
        p.ends,
        p.drive_s,
        p.drive_m
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Takes an open visit off its day.
pub(super) async fn unplace(db: &mut PgConnection, visit_id: Uuid, status: &str, why: &str) -> Result<()> {
    sqlx::query!(
        "UPDATE visits SET status = $2, why = left($3, 400), staff_id = NULL, day = NULL, position = NULL, starts = NULL, ends = NULL, drive_s = 0, drive_m = 0,
         row_version = row_version + 1 WHERE id = $1",
        visit_id,
        status,
        why
    )
    .execute(db)
    .await?;
    Ok(())
}

/// One statement for all visits, one for all their jobs: a week may propose several hundred.
pub(super) async fn add_visits(db: &mut PgConnection, plan_id: Uuid, visits: impl Iterator<Item = &NewVisit>) -> Result<()> {
    let visits: Vec<&NewVisit> = visits.collect();
    let placed = |f: fn(&Placed) -> i32| visits.iter().map(|v| v.placed.as_ref().map(f)).collect::<Vec<Option<i32>>>();
    sqlx::query!(
        "INSERT INTO visits (id, week_plan_id, unit_id, customer_id, place_id, opens_on, closes_on, minutes, reason, expected_dose_ml, why, status,
           staff_id, day, position, starts, ends, drive_s, drive_m)
         SELECT id, $1, unit_id, customer_id, place_id, opens_on, closes_on, minutes, left(reason, 1000), dose, left(why, 400),
           CASE WHEN day IS NULL THEN 'unplaced' ELSE 'planned' END, staff_id, day, position, starts, ends, coalesce(drive_s, 0), coalesce(drive_m, 0)
         FROM unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::uuid[], $6::date[], $7::date[], $8::int[], $9::text[], $10::bigint[], $11::text[],
           $12::uuid[], $13::date[], $14::int[], $15::int[], $16::int[], $17::int[], $18::int[])
           AS v(id, unit_id, customer_id, place_id, opens_on, closes_on, minutes, reason, dose, why, staff_id, day, position, starts, ends, drive_s, drive_m)",
        plan_id,
        &visits.iter().map(|v| v.id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.unit_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.customer_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.place_id).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.opens_on).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.closes_on).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.minutes).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.reason.clone()).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.expected_dose_ml).collect::<Vec<_>>() as &[Option<i64>],
        &visits.iter().map(|v| v.why.clone()).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.placed.map(|p| p.staff_id)).collect::<Vec<_>>() as &[Option<Uuid>],
        &visits.iter().map(|v| v.placed.map(|p| p.day)).collect::<Vec<_>>() as &[Option<Date>],
        &placed(|p| p.position.into()) as &[Option<i32>],
        &placed(|p| p.starts) as &[Option<i32>],
        &placed(|p| p.ends) as &[Option<i32>],
        &placed(|p| p.drive_s) as &[Option<i32>],
        &placed(|p| p.drive_m) as &[Option<i32>]
    )
    .execute(&mut *db)
    .await?;
    let jobs: Vec<(Uuid, &String)> = visits.iter().flat_map(|v| v.jobs.iter().map(|j| (v.id, j))).collect();
    sqlx::query!(
        "INSERT INTO visit_jobs (visit_id, job_code) SELECT * FROM unnest($1::uuid[], $2::text[]) ON CONFLICT DO NOTHING",
        &jobs.iter().map(|j| j.0).collect::<Vec<_>>(),
        &jobs.iter().map(|j| j.1.clone()).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

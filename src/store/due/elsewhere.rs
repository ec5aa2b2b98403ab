//! What was done by somebody else, or before records were kept here; and requests that nobody needs any more.

use super::super::{Error, Result};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A job that was done without a report here.
#[derive(Clone, Debug)]
pub struct DoneRow {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub job_code: String,
    pub done_on: Date,
    /// In words; may be empty.
    pub by_whom: String,
}

/// Keeps them, and settles what was asked for of the same job until that day. What is due is worked out by the caller.
pub async fn add_done(db: &mut PgConnection, rows: &[DoneRow], kept_by: Option<Uuid>, now: OffsetDateTime) -> Result<()> {
    let units: Vec<Uuid> = rows.iter().map(|r| r.unit_id).collect();
    let jobs: Vec<String> = rows.iter().map(|r| r.job_code.clone()).collect();
    let days: Vec<Date> = rows.iter().map(|r| r.done_on).collect();
    sqlx::query!(
        "INSERT INTO done_elsewhere (id, unit_id, job_code, done_on, by_whom, kept_by, made_at)
         SELECT *, $6::uuid, $7::timestamptz FROM unnest($1::uuid[], $2::uuid[], $3::text[], $4::date[], $5::text[])",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &units,
        &jobs,
        &days,
        &rows.iter().map(|r| r.by_whom.clone()).collect::<Vec<_>>(),
        kept_by,
        now
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "UPDATE requests q SET settled_on = d.done_on, settled_by = d.id FROM unnest($1::uuid[], $2::text[], $3::date[], $4::uuid[]) AS d(unit_id, job_code, done_on, id)
         WHERE q.unit_id = d.unit_id AND q.job_code = d.job_code AND q.asked_on <= d.done_on AND q.settled_on IS NULL",
        &units,
        &jobs,
        &days,
        &rows.iter().map(|r| r.id).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

/// It was not done after all: what somebody asked for is open again. [`Error::Clash`] when it is taken back already.
pub async fn take_back_done(db: &mut PgConnection, unit_id: Uuid, id: Uuid, now: OffsetDateTime) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE done_elsewhere SET taken_back_at = $3 WHERE id = $1 AND unit_id = $2 AND taken_back_at IS NULL",
        id,
        unit_id,
        now
    );
    if done.execute(&mut *db).await?.rows_affected() != 1 {
        return Err(Error::Clash);
    }
    sqlx::query!("UPDATE requests SET settled_on = NULL, settled_by = NULL WHERE settled_by = $1", id).execute(db).await?;
    Ok(())
}

/// One line of a unit's page.
#[derive(Clone, Debug)]
pub struct DoneLine {
    pub id: Uuid,
    pub job_name: String,
    pub done_on: Date,
    pub by_whom: String,
}

/// The newest first.
pub async fn done_of_unit(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<DoneLine>> {
    let lines = sqlx::query_as!(
        DoneLine,
        "SELECT d.id, j.name AS job_name, d.done_on, d.by_whom FROM done_elsewhere d JOIN job_kinds j ON j.code = d.job_code
         WHERE d.unit_id = $1 AND d.taken_back_at IS NULL ORDER BY d.done_on DESC, d.id LIMIT $2",
        unit_id,
        limit
    );
    Ok(lines.fetch_all(db).await?)
}

/// What somebody asked for and nobody has done yet.
#[derive(Clone, Debug)]
pub struct RequestLine {
    pub id: Uuid,
    pub job_name: String,
    pub asked_on: Date,
    pub note: String,
}

pub async fn requests_of_unit(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Vec<RequestLine>> {
    let lines = sqlx::query_as!(
        RequestLine,
        "SELECT q.id, j.name AS job_name, q.asked_on, q.note FROM requests q JOIN job_kinds j ON j.code = q.job_code
         WHERE q.unit_id = $1 AND q.settled_on IS NULL ORDER BY q.asked_on, q.id LIMIT 50",
        unit_id
    );
    Ok(lines.fetch_all(db).await?)
}

/// Nobody needs it any more. [`Error::Clash`] when it is settled already.
pub async fn withdraw(db: impl PgExecutor<'_>, unit_id: Uuid, id: Uuid, today: Date) -> Result<()> {
    let done =
        sqlx::query!("UPDATE requests SET settled_on = $3 WHERE id = $1 AND unit_id = $2 AND settled_on IS NULL", id, unit_id, today);
    if done.execute(db).await?.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

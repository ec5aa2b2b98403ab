//! Work for the background, as rows: taken with a lock, tried again with growing waits, never lost.

use super::Result;
use serde_json::Value;
use sqlx::{PgConnection, PgExecutor};
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// Kind of work: plan the week named in the payload.
pub const PLAN_WEEK: &str = "plan week";

/// The payload of [`PLAN_WEEK`].
pub fn plan_week_wish(monday: time::Date) -> Value {
    serde_json::json!({ "monday": monday.to_string() })
}

/// Kind of work: plan the season that is open or comes next.
pub const PLAN_SEASON: &str = "plan season";

/// One piece of waiting work.
#[derive(Clone, Debug)]
pub struct Work {
    pub id: Uuid,
    pub kind: String,
    pub payload: Value,
    pub attempts: i16,
    pub asked_by: Option<Uuid>,
}

/// How often a piece of work is tried before it is left for a person to look at.
pub const TRIES: i16 = 8;

/// Asks for a piece of work. The same, given up on before, is over with that.
pub async fn ask(db: &mut PgConnection, kind: &str, payload: &Value, at: OffsetDateTime, by: Option<Uuid>) -> Result<Uuid> {
    sqlx::query!(
        "UPDATE jobs SET done_at = $3 WHERE done_at IS NULL AND kind = $1 AND payload = $2 AND attempts >= $4",
        kind,
        payload,
        at,
        TRIES
    )
    .execute(&mut *db)
    .await?;
    let id = Uuid::now_v7();
    sqlx::query!("INSERT INTO jobs (id, kind, payload, run_at, asked_by) VALUES ($1, $2, $3, $4, $5)", id, kind, payload, at, by)
        .execute(db)
        .await?;
    Ok(id)
}

/// Takes the next piece of work and puts it out of others' reach for ten minutes; a program that dies gives it back by that.
pub async fn take(db: impl PgExecutor<'_>, now: OffsetDateTime) -> Result<Option<Work>> {
    let row = sqlx::query_as!(
        Work,
        r#"UPDATE jobs SET attempts = attempts + 1, run_at = $1 + interval '10 minutes'
           WHERE id = (SELECT id FROM jobs WHERE done_at IS NULL AND run_at <= $1 AND attempts < $2 ORDER BY run_at LIMIT 1 FOR UPDATE SKIP LOCKED)
           RETURNING id, kind, payload, attempts, asked_by"#,
        now,
        TRIES
    )
    .fetch_optional(db)
    .await?;
    Ok(row)
}

pub async fn done(db: impl PgExecutor<'_>, id: Uuid, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("UPDATE jobs SET done_at = $2, failed = '' WHERE id = $1", id, now).execute(db).await?;
    Ok(())
}

/// Notes the failure; the next try comes after 1, 2, 4 … minutes.
pub async fn failed(db: &mut PgConnection, work: &Work, why: &str, now: OffsetDateTime) -> Result<()> {
    let wait = Duration::minutes(1 << work.attempts.clamp(0, 8));
    sqlx::query!("UPDATE jobs SET failed = left($2, 2000), run_at = $3 WHERE id = $1", work.id, why, now + wait).execute(db).await?;
    Ok(())
}

/// Gives back what could not be finished because the program ends: that was no try.
pub async fn give_back(db: impl PgExecutor<'_>, work: &Work, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("UPDATE jobs SET attempts = attempts - 1, run_at = $2 WHERE id = $1", work.id, now).execute(db).await?;
    Ok(())
}

/// Whether work of this kind with this payload is waiting or running, and what the last try said. What was given up on is neither.
pub async fn waiting(db: impl PgExecutor<'_>, kind: &str, payload: &Value) -> Result<Option<String>> {
    let row = sqlx::query_scalar!(
        "SELECT failed FROM jobs WHERE done_at IS NULL AND kind = $1 AND payload = $2 AND attempts < $3 ORDER BY run_at DESC LIMIT 1",
        kind,
        payload,
        TRIES
    )
    .fetch_optional(db)
    .await?;
    Ok(row)
}

/// Work given up on: shown by `doctor`.
pub async fn given_up(db: impl PgExecutor<'_>) -> Result<i64> {
    let n =
        sqlx::query_scalar!(r#"SELECT count(*) AS "n!" FROM jobs WHERE done_at IS NULL AND attempts >= $1"#, TRIES).fetch_one(db).await?;
    Ok(n)
}

//! What phones kept and sent: the bytes first, once under their own id, whatever is in them.

use super::Result;
use serde_json::Value;
use sqlx::{PgConnection, PgExecutor};
use time::OffsetDateTime;
use uuid::Uuid;

/// Bytes of a phone's outbox on arrival.
#[derive(Clone, Debug)]
pub struct Arrived<'a> {
    /// Made on the phone when the item was kept.
    pub id: Uuid,
    pub kind: &'a str,
    pub staff_id: Uuid,
    /// The phone it came from; one that the office does not know is left out.
    pub phone_id: Option<Uuid>,
    pub body: &'a [u8],
}

impl Arrived<'_> {
    pub fn sha256(&self) -> [u8; 32] {
        crate::secrets::sha256(self.body)
    }
}

/// What was known of an id before these bytes came under it.
#[derive(Clone, Debug, PartialEq)]
pub enum Before {
    Nothing,
    /// The very same bytes, and what was answered then.
    Same(Value),
    /// Other bytes.
    Other,
}

/// Lets one request at a time have this id, until its transaction ends: the second finds what the first did.
pub async fn take_turns(db: &mut PgConnection, id: Uuid) -> Result<()> {
    let (high, low) = id.as_u64_pair();
    sqlx::query!("SELECT pg_advisory_xact_lock($1)", (high ^ low).cast_signed()).execute(db).await?;
    Ok(())
}

pub async fn before(db: &mut PgConnection, a: &Arrived<'_>) -> Result<Before> {
    let hash = a.sha256();
    let row = sqlx::query!(
        r#"SELECT answer, body_sha256 = $2 AS "same!"
           FROM submissions WHERE id = $1"#,
        a.id,
        &hash[..]
    )
    .fetch_optional(db)
    .await?;
    Ok(match row {
        None => Before::Nothing,
        Some(r) if r.same => Before::Same(r.answer),
        Some(_) => Before::Other,
    })
}

/// Keeps the bytes and what is answered to them. The caller has made sure that the id is free.
pub async fn add(db: &mut PgConnection, a: &Arrived<'_>, answer: &Value, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO submissions (id, kind, staff_id, phone_id, body_sha256, body, answer, received_at)
         SELECT $1, $2, $3, (SELECT id FROM phones WHERE id = $4), $5, $6, $7, $8",
        a.id,
        a.kind,
        a.staff_id,
        a.phone_id,
        &a.sha256()[..],
        a.body,
        answer,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Keeps other bytes beside the first ones of the same id, once.
pub async fn add_beside(db: &mut PgConnection, a: &Arrived<'_>, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO other_bodies (submission_id, body_sha256, body, staff_id, phone_id, received_at)
         SELECT $1, $2, $3, $4, (SELECT id FROM phones WHERE id = $5), $6 ON CONFLICT DO NOTHING",
        a.id,
        &a.sha256()[..],
        a.body,
        a.staff_id,
        a.phone_id,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Puts kept bytes before the office: why they were not worked in.
pub async fn to_settle(db: &mut PgConnection, a: &Arrived<'_>, why: &str, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO to_settle (submission_id, body_sha256, why, made_at) VALUES ($1, $2, left($3, 2000), $4) ON CONFLICT DO NOTHING",
        a.id,
        &a.sha256()[..],
        why,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Settles what was kept under an id, because the same person kept it anew and that could be worked in.
pub async fn settle_by_another(db: &mut PgConnection, id: Uuid, staff_id: Uuid, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "UPDATE to_settle t SET settled_at = $3, settled_by = $2, settled_words = 'Put right on the phone and kept anew.'
         FROM submissions s WHERE s.id = t.submission_id AND t.submission_id = $1 AND s.staff_id = $2 AND t.settled_at IS NULL",
        id,
        staff_id,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// One thing that waits for the office, or was settled lately.
#[derive(Clone, Debug)]
pub struct Waiting {
    pub submission_id: Uuid,
    pub body_sha256: Vec<u8>,
    pub kind: String,
    pub technician: Option<String>,
    pub why: String,
    pub made_at: OffsetDateTime,
    pub settled_at: Option<OffsetDateTime>,
    pub settled_words: String,
    pub body: Vec<u8>,
}

/// What waits, oldest first, then what was settled, newest first.
pub async fn waiting(db: impl PgExecutor<'_>, limit: i64) -> Result<Vec<Waiting>> {
    let rows = sqlx::query_as!(
        Waiting,
        r#"SELECT t.submission_id, t.body_sha256, s.kind, p.name AS "technician?", t.why, t.made_at, t.settled_at, t.settled_words,
             coalesce(o.body, s.body) AS "body!"
           FROM to_settle t JOIN submissions s ON s.id = t.submission_id
           LEFT JOIN other_bodies o ON o.submission_id = t.submission_id AND o.body_sha256 = t.body_sha256
           LEFT JOIN staff p ON p.id = coalesce(o.staff_id, s.staff_id)
           ORDER BY t.settled_at DESC NULLS FIRST, t.made_at, t.submission_id LIMIT $1"#,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Marks one as settled, with the office's words. `NotFound` when it is not there or settled already.
pub async fn settle(db: impl PgExecutor<'_>, id: Uuid, sha256: &[u8], by: Uuid, words: &str, now: OffsetDateTime) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE to_settle SET settled_at = $4, settled_by = $3, settled_words = $5 WHERE submission_id = $1 AND body_sha256 = $2 AND settled_at IS NULL",
        id,
        sha256,
        by,
        now,
        words
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::NotFound) }
}

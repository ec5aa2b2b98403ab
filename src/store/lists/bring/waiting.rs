//! Files between checking and keeping: only for whoever brought them, and only for a day.

use super::Brought;
use crate::{
    listing::{Kind, List, Matching, Sheet},
    store::{Error, Result, corrupt},
};
use sqlx::{PgConnection, PgExecutor, types::Json};
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// How long a file waits.
const WAITS: Duration = Duration::days(1);
/// How many files of one person wait.
const EACH: i64 = 8;

/// A file that was checked.
#[derive(Clone, Debug)]
pub struct Waiting {
    pub file_name: String,
    pub list: List,
    /// What came in, once it was kept.
    pub kept: Option<Brought>,
}

impl Waiting {
    /// Puts a file by, and clears away what has waited long enough.
    pub async fn put(db: &mut PgConnection, staff: Uuid, file_name: &str, body: &[u8], list: &List, now: OffsetDateTime) -> Result<Uuid> {
        let id = Uuid::now_v7();
        sqlx::query!(
            "INSERT INTO brought_lists (id, staff_id, kind, file_name, body, matching, made_at) VALUES ($1, $2, $3, left($4, 120), $5, $6, $7)",
            id,
            staff,
            list.kind.as_str(),
            file_name,
            body,
            Json(&list.matching) as _,
            now
        )
        .execute(&mut *db)
        .await?;
        sweep(&mut *db, now).await?;
        sqlx::query!("DELETE FROM brought_lists WHERE id IN (SELECT id FROM brought_lists WHERE staff_id = $1 ORDER BY made_at DESC, id DESC OFFSET $2)", staff, EACH)
            .execute(db)
            .await?;
        Ok(id)
    }

    /// The file again with other columns matched; the first stays as it was, so that a page that still shows it tells the truth.
    pub async fn put_again(db: impl PgExecutor<'_>, staff: Uuid, first: Uuid, matching: &Matching, now: OffsetDateTime) -> Result<Uuid> {
        let id = Uuid::now_v7();
        let done = sqlx::query!(
            "INSERT INTO brought_lists (id, staff_id, kind, file_name, body, matching, made_at)
             SELECT $1, staff_id, kind, file_name, body, $4, $5 FROM brought_lists WHERE id = $2 AND staff_id = $3",
            id,
            first,
            staff,
            Json(matching) as _,
            now
        )
        .execute(db)
        .await?;
        if done.rows_affected() == 1 { Ok(id) } else { Err(Error::NotFound) }
    }

    /// A file that this person brought within a day.
    pub async fn get(db: impl PgExecutor<'_>, staff: Uuid, id: Uuid, now: OffsetDateTime) -> Result<Self> {
        let r = sqlx::query!(
            r#"SELECT kind, file_name, body, matching AS "matching: Json<Matching>", kept AS "kept: Json<Brought>"
               FROM brought_lists WHERE id = $1 AND staff_id = $2 AND made_at > $3"#,
            id,
            staff,
            now - WAITS
        )
        .fetch_one(db)
        .await?;
        let kind = Kind::parse(&r.kind).ok_or_else(|| corrupt("brought_lists", id, "unknown kind"))?;
        let sheet = Sheet::read(&r.body).map_err(|e| corrupt("brought_lists", id, e))?;
        Ok(Self { file_name: r.file_name, list: List { kind, sheet, matching: r.matching.0 }, kept: r.kept.map(|k| k.0) })
    }

    /// Notes what came in.
    pub async fn note_kept(db: impl PgExecutor<'_>, staff: Uuid, id: Uuid, brought: &Brought) -> Result<()> {
        sqlx::query!("UPDATE brought_lists SET kept = $3 WHERE id = $1 AND staff_id = $2", id, staff, Json(brought) as _)
            .execute(db)
            .await?;
        Ok(())
    }
}

/// Clears away what has waited long enough.
pub async fn sweep(db: impl PgExecutor<'_>, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("DELETE FROM brought_lists WHERE made_at <= $1", now - WAITS).execute(db).await?;
    Ok(())
}

//! Second factors: a key that the person's phone has too, spare codes on paper, and sign-ins that wait for a code.

use super::Result;
use crate::secrets;
use sqlx::{PgConnection, PgExecutor};
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// The key of a person, and whether it is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Factor {
    pub key: [u8; 20],
    pub confirmed: bool,
}

pub async fn of(db: impl PgExecutor<'_>, staff_id: Uuid) -> Result<Option<Factor>> {
    let row = sqlx::query!(r#"SELECT key, confirmed_at IS NOT NULL AS "confirmed!" FROM second_factors WHERE staff_id = $1"#, staff_id)
        .fetch_optional(db)
        .await?;
    let read = |key: Vec<u8>| key.try_into().map_err(|_| super::corrupt("second_factors", staff_id, "a key of another length"));
    row.map(|r| Ok(Factor { key: read(r.key)?, confirmed: r.confirmed })).transpose()
}

/// Keeps a key that is being set up; one that is asked for already stays.
pub async fn begin(db: impl PgExecutor<'_>, staff_id: Uuid, key: &[u8; 20], now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO second_factors (staff_id, key, made_at) VALUES ($1, $2, $3)
         ON CONFLICT (staff_id) DO UPDATE SET key = excluded.key, made_at = excluded.made_at WHERE second_factors.confirmed_at IS NULL",
        staff_id,
        &key[..],
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Takes a code's half minute, if none of it or later was taken before.
pub async fn take(db: impl PgExecutor<'_>, staff_id: Uuid, step: u64) -> Result<bool> {
    let step = i64::try_from(step).unwrap_or(i64::MAX);
    let done =
        sqlx::query!("UPDATE second_factors SET last_step = $2 WHERE staff_id = $1 AND last_step < $2", staff_id, step).execute(db).await?;
    Ok(done.rows_affected() == 1)
}

/// From now on the code is asked for; these are the spare ones.
pub async fn confirm(db: &mut PgConnection, staff_id: Uuid, spare: &[String], now: OffsetDateTime) -> Result<()> {
    sqlx::query!("UPDATE second_factors SET confirmed_at = $2 WHERE staff_id = $1", staff_id, now).execute(&mut *db).await?;
    sqlx::query!("DELETE FROM spare_codes WHERE staff_id = $1", staff_id).execute(&mut *db).await?;
    let hashes: Vec<Vec<u8>> = spare.iter().map(|code| secrets::sha256(code.as_bytes()).to_vec()).collect();
    sqlx::query!("INSERT INTO spare_codes (staff_id, code_hash) SELECT $1, unnest($2::bytea[])", staff_id, &hashes).execute(db).await?;
    Ok(())
}

/// Takes a spare code, once.
pub async fn take_spare(db: impl PgExecutor<'_>, staff_id: Uuid, code: &str, now: OffsetDateTime) -> Result<bool> {
    let hash = secrets::sha256(code.as_bytes());
    let done = sqlx::query!(
        "UPDATE spare_codes SET used_at = $3 WHERE staff_id = $1 AND code_hash = $2 AND used_at IS NULL",
        staff_id,
        &hash[..],
        now
    )
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Spare codes that are left.
pub async fn spare_left(db: impl PgExecutor<'_>, staff_id: Uuid) -> Result<i64> {
    let left = sqlx::query_scalar!(r#"SELECT count(*) AS "n!" FROM spare_codes WHERE staff_id = $1 AND used_at IS NULL"#, staff_id);
    Ok(left.fetch_one(db).await?)
}

/// No code is asked for any more.
pub async fn off(db: &mut PgConnection, staff_id: Uuid) -> Result<()> {
    sqlx::query!("DELETE FROM spare_codes WHERE staff_id = $1", staff_id).execute(&mut *db).await?;
    sqlx::query!("DELETE FROM second_factors WHERE staff_id = $1", staff_id).execute(db).await?;
    Ok(())
}

/// Whether the office and the owner have to have one.
pub async fn is_needed(db: impl PgExecutor<'_>) -> Result<bool> {
    Ok(sqlx::query_scalar!("SELECT second_factor_needed FROM dealer WHERE id = 1").fetch_one(db).await?)
}

pub async fn set_needed(db: impl PgExecutor<'_>, needed: bool) -> Result<()> {
    sqlx::query!("UPDATE dealer SET second_factor_needed = $1 WHERE id = 1", needed).execute(db).await?;
    Ok(())
}

/// Who of the staff has one.
pub async fn holders(db: impl PgExecutor<'_>) -> Result<Vec<Uuid>> {
    Ok(sqlx::query_scalar!("SELECT staff_id FROM second_factors WHERE confirmed_at IS NOT NULL ORDER BY staff_id LIMIT 200")
        .fetch_all(db)
        .await?)
}

/// How long a code is waited for after the password.
const PATIENCE: Duration = Duration::minutes(10);

/// The password was right: a token for the page that asks for the code.
pub async fn wait_for_code(db: &mut PgConnection, staff_id: Uuid, now: OffsetDateTime) -> Result<String> {
    let token = secrets::token();
    sqlx::query!("DELETE FROM sign_in_steps WHERE ends_at < $1", now).execute(&mut *db).await?;
    let hash = secrets::sha256(token.as_bytes());
    sqlx::query!("INSERT INTO sign_in_steps (token_hash, staff_id, ends_at) VALUES ($1, $2, $3)", &hash[..], staff_id, now + PATIENCE)
        .execute(db)
        .await?;
    Ok(token)
}

/// Whose sign-in waits under this token.
pub async fn waiting(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<Option<Uuid>> {
    let hash = secrets::sha256(token.as_bytes());
    let row = sqlx::query_scalar!("SELECT staff_id FROM sign_in_steps WHERE token_hash = $1 AND ends_at > $2", &hash[..], now);
    Ok(row.fetch_optional(db).await?)
}

/// The code was right: the token opens nothing any more. `false`: it was used meanwhile.
pub async fn done_waiting(db: impl PgExecutor<'_>, token: &str) -> Result<bool> {
    let hash = secrets::sha256(token.as_bytes());
    let done = sqlx::query!("DELETE FROM sign_in_steps WHERE token_hash = $1", &hash[..]).execute(db).await?;
    Ok(done.rows_affected() == 1)
}

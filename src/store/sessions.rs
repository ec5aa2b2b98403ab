//! Who is signed in. Tokens are kept as hashes; a session ends by time, by signing out, or with its person.

use super::{Result, dealer::Dealer};
use crate::secrets;
use sqlx::PgExecutor;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// What a member of staff may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    Technician,
    Office,
    Owner,
}

impl Role {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Office => "office",
            Self::Owner => "owner",
        }
    }
    pub fn parse(text: &str) -> Option<Self> {
        [Self::Technician, Self::Office, Self::Owner].into_iter().find(|r| r.as_str() == text)
    }
}

/// A signed-in member of staff, and the dealer as of now.
#[derive(Clone, Debug)]
pub struct SignedIn {
    pub staff_id: Uuid,
    pub name: String,
    pub role: Role,
    pub form_token: String,
    pub last_seen_at: OffsetDateTime,
    /// The dealer wants a second factor of this person, and there is none yet.
    pub unguarded: bool,
    pub dealer: Dealer,
}

impl SignedIn {
    /// Whether it is time to note again that the session is in use.
    pub fn rests(&self, now: OffsetDateTime) -> bool {
        now - self.last_seen_at > Duration::minutes(5)
    }
}

/// How long a session lasts, and how long it may lie idle.
///
/// Office: 12 h and 1 h of rest; technicians are out for weeks with a phone that the office can revoke: 30 days.
fn spans(role: Role) -> (Duration, Duration) {
    match role {
        Role::Technician => (Duration::days(30), Duration::days(30)),
        Role::Office | Role::Owner => (Duration::hours(12), Duration::hours(3)),
    }
}

/// Opens a session and returns its token, which is stored nowhere.
pub async fn open(db: impl PgExecutor<'_>, staff_id: Uuid, role: Role, now: OffsetDateTime) -> Result<String> {
    let token = secrets::token();
    let form_token = secrets::token();
    sqlx::query!(
        "INSERT INTO sessions (token_hash, staff_id, form_token, made_at, last_seen_at, ends_at) VALUES ($1, $2, $3, $4, $4, $5)",
        &secrets::sha256(token.as_bytes())[..],
        staff_id,
        form_token,
        now,
        now + spans(role).0
    )
    .execute(db)
    .await?;
    Ok(token)
}

/// Who holds this token now, if anybody.
pub async fn find(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<Option<SignedIn>> {
    let row = sqlx::query!(
        r#"SELECT s.staff_id, s.form_token, s.last_seen_at, p.name, p.role, d.name AS dealer_name, d.phone, d.email, d.zone, d.units_first,
                  d.records_since, d.invented, d.row_version,
                  d.second_factor_needed AND p.role <> 'technician' AND NOT EXISTS (SELECT FROM second_factors f WHERE f.staff_id = p.id AND f.confirmed_at IS NOT NULL) AS "unguarded!",
                  ($2::timestamptz AT TIME ZONE d.zone) AS "local!"
           FROM sessions s JOIN staff p ON p.id = s.staff_id CROSS JOIN dealer d
           WHERE s.token_hash = $1 AND s.ends_at > $2 AND p.active"#,
        &secrets::sha256(token.as_bytes())[..],
        now
    )
    .fetch_optional(db)
    .await?;
    let Some(r) = row else { return Ok(None) };
    let role = Role::parse(&r.role).ok_or_else(|| super::corrupt("staff", r.staff_id, "unknown role"))?;
    if now - r.last_seen_at > spans(role).1 {
        return Ok(None);
    }
    let dealer = Dealer {
        name: r.dealer_name,
        phone: r.phone,
        email: r.email,
        zone: r.zone,
        units: super::dealer::units_first(&r.units_first),
        records_since: r.records_since,
        invented: r.invented,
        row_version: r.row_version,
        today: r.local.date(),
        local: r.local,
    };
    Ok(Some(SignedIn {
        staff_id: r.staff_id,
        name: r.name,
        role,
        form_token: r.form_token,
        last_seen_at: r.last_seen_at,
        unguarded: r.unguarded,
        dealer,
    }))
}

/// Notes that the session is in use; at most once in five minutes, so that reading pages does not write.
pub async fn touch(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "UPDATE sessions SET last_seen_at = $2 WHERE token_hash = $1 AND last_seen_at < $3",
        &secrets::sha256(token.as_bytes())[..],
        now,
        now - Duration::minutes(5)
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn close(db: impl PgExecutor<'_>, token: &str) -> Result<()> {
    sqlx::query!("DELETE FROM sessions WHERE token_hash = $1", &secrets::sha256(token.as_bytes())[..]).execute(db).await?;
    Ok(())
}

/// Ends every session of a person: after a new password, or when they leave.
pub async fn close_all(db: impl PgExecutor<'_>, staff_id: Uuid) -> Result<()> {
    sqlx::query!("DELETE FROM sessions WHERE staff_id = $1", staff_id).execute(db).await?;
    Ok(())
}

/// Clears away sessions and failures that no longer matter.
pub async fn sweep(pool: &sqlx::PgPool, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("DELETE FROM sessions WHERE ends_at < $1", now).execute(pool).await?;
    sqlx::query!("DELETE FROM sign_in_failures WHERE at < $1", now - Duration::days(30)).execute(pool).await?;
    Ok(())
}

/// Failed sign-ins under a key: how many, and when the last one was.
pub async fn failures(db: impl PgExecutor<'_>, key: &str, since: OffsetDateTime) -> Result<(i64, Option<OffsetDateTime>)> {
    let r = sqlx::query!(r#"SELECT count(*) AS "n!", max(at) AS last FROM sign_in_failures WHERE key = $1 AND at > $2"#, key, since)
        .fetch_one(db)
        .await?;
    Ok((r.n, r.last))
}

pub async fn note_failure(db: impl PgExecutor<'_>, key: &str, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("INSERT INTO sign_in_failures (key, at) VALUES ($1, $2)", key, now).execute(db).await?;
    Ok(())
}

pub async fn forget_failures(db: impl PgExecutor<'_>, key: &str) -> Result<()> {
    sqlx::query!("DELETE FROM sign_in_failures WHERE key = $1", key).execute(db).await?;
    Ok(())
}

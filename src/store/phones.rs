//! Phones that work in the yard: what lies on them, when they were heard last, which are shut out.

use super::Result;
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A phone says who it is.
#[derive(Clone, Debug)]
pub struct Greeting<'a> {
    /// Made on the phone, once.
    pub phone_id: Uuid,
    pub staff_id: Uuid,
    /// What kind of phone, as its browser says.
    pub label: &'a str,
    /// Kept on it and not sent.
    pub unsent: i32,
}

/// Notes that a phone was heard, makes its row at the first time, and ties the session to it. `false`: the office shut it out.
pub async fn greet(db: &mut PgConnection, g: &Greeting<'_>, session_token: &str, now: OffsetDateTime) -> Result<bool> {
    let row = sqlx::query!(
        r#"INSERT INTO phones (id, staff_id, label, made_at, last_heard_at, unsent) VALUES ($1, $2, $3, $4, $4, $5)
           ON CONFLICT (id) DO UPDATE SET staff_id = $2, last_heard_at = $4, unsent = $5, label = $3
           RETURNING revoked_at IS NULL AS "welcome!""#,
        g.phone_id,
        g.staff_id,
        g.label,
        now,
        g.unsent
    )
    .fetch_one(&mut *db)
    .await?;
    if row.welcome {
        let hash = crate::secrets::sha256(session_token.as_bytes());
        sqlx::query!("UPDATE sessions SET phone_id = $2 WHERE token_hash = $1 AND phone_id IS DISTINCT FROM $2", &hash[..], g.phone_id)
            .execute(db)
            .await?;
    }
    Ok(row.welcome)
}

/// Notes which stops were handed to a phone: (visit, unit).
pub async fn packed(db: &mut PgConnection, phone_id: Uuid, staff_id: Uuid, stops: &[(Uuid, Uuid)], now: OffsetDateTime) -> Result<()> {
    let (visits, units): (Vec<Uuid>, Vec<Uuid>) = stops.iter().copied().unzip();
    sqlx::query!(
        "INSERT INTO packed_stops (phone_id, visit_id, unit_id, staff_id, packed_at)
         SELECT $1, v, u, $2, $5 FROM unnest($3::uuid[], $4::uuid[]) AS s(v, u)
         ON CONFLICT (phone_id, visit_id) DO UPDATE SET packed_at = $5, staff_id = $2",
        phone_id,
        staff_id,
        &visits,
        &units,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A visit that a technician may report on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reached {
    pub unit_id: Uuid,
    /// `None`: planning anew removed the visit after it was packed.
    pub visit_id: Option<Uuid>,
    pub day: Option<Date>,
    /// It stands on this technician's issued route today still.
    pub on_route: bool,
}

/// The visit, if it is on this technician's issued route or was once handed to a phone of theirs. To anyone else there is nothing here.
pub async fn reached(db: &mut PgConnection, staff_id: Uuid, visit_id: Uuid) -> Result<Option<Reached>> {
    let visit = sqlx::query!(
        r#"SELECT v.unit_id, v.day, coalesce(v.staff_id = $1 AND w.status = 'issued' AND v.day IS NOT NULL AND v.status <> 'cancelled', false) AS "own!",
             EXISTS (SELECT FROM packed_stops p WHERE p.staff_id = $1 AND p.visit_id = $2) AS "packed!"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id WHERE v.id = $2"#,
        staff_id,
        visit_id
    )
    .fetch_optional(&mut *db)
    .await?;
    if let Some(v) = visit {
        let found = Reached { unit_id: v.unit_id, visit_id: Some(visit_id), day: v.day, on_route: v.own };
        return Ok((v.own || v.packed).then_some(found));
    }
    let unit = sqlx::query_scalar!("SELECT unit_id FROM packed_stops WHERE staff_id = $1 AND visit_id = $2 LIMIT 1", staff_id, visit_id)
        .fetch_optional(db)
        .await?;
    Ok(unit.map(|unit_id| Reached { unit_id, visit_id: None, day: None, on_route: false }))
}

/// A phone as the office sees it.
#[derive(Clone, Debug)]
pub struct PhoneLine {
    pub id: Uuid,
    pub technician: String,
    pub label: String,
    pub made_at: OffsetDateTime,
    pub last_heard_at: Option<OffsetDateTime>,
    pub unsent: i32,
    pub revoked_at: Option<OffsetDateTime>,
}

/// Every phone, those in use first, the longest unheard of these on top.
pub async fn list(db: impl PgExecutor<'_>) -> Result<Vec<PhoneLine>> {
    let rows = sqlx::query_as!(
        PhoneLine,
        "SELECT p.id, s.name AS technician, p.label, p.made_at, p.last_heard_at, p.unsent, p.revoked_at FROM phones p JOIN staff s ON s.id = p.staff_id
         ORDER BY p.revoked_at IS NOT NULL, p.last_heard_at NULLS FIRST, p.id LIMIT 500"
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Shuts a phone out: it is signed out, and gets no pack any more. What it still holds can be sent by whoever signs in on it.
pub async fn revoke(db: &mut PgConnection, phone_id: Uuid, now: OffsetDateTime) -> Result<()> {
    let done =
        sqlx::query!("UPDATE phones SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL", phone_id, now).execute(&mut *db).await?;
    if done.rows_affected() == 0 {
        return Err(super::Error::NotFound);
    }
    sqlx::query!("DELETE FROM sessions WHERE phone_id = $1", phone_id).execute(db).await?;
    Ok(())
}

/// Which copy of the records this is. Another one after a restore: phones then offer again what they sent lately.
///
/// Made of a mark in the records, the database's own number and its cluster's: records that are put back into another
/// database show by themselves. Whoever puts older records back inside the same database calls [`new_epoch`].
pub async fn epoch(db: impl PgExecutor<'_>) -> Result<String> {
    let text = sqlx::query_scalar!(
        r#"SELECT (SELECT mark::text FROM epoch WHERE id = 1) || '-' || (SELECT system_identifier::text FROM pg_control_system())
             || '-' || (SELECT oid::text FROM pg_database WHERE datname = current_database()) AS "text!""#
    )
    .fetch_one(db)
    .await?;
    Ok(crate::secrets::hex(&crate::secrets::sha256(text.as_bytes())[..8]))
}

/// To be called after older records were put back inside the same database.
pub async fn new_epoch(db: impl PgExecutor<'_>) -> Result<()> {
    sqlx::query!("UPDATE epoch SET mark = gen_random_uuid() WHERE id = 1").execute(db).await?;
    Ok(())
}

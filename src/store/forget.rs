//! Entries that were a slip are removed; customers who are gone are forgotten, while the water records stay.

use super::{Error, Result};
use sqlx::{Acquire, PgConnection};
use time::OffsetDateTime;
use uuid::Uuid;

/// A place that nothing is kept of is taken out. [`Error::Rule`] `place_is_used` where a unit stands, stood, or was visited;
/// [`Error::Clash`] when somebody changed it meanwhile.
pub async fn remove_place(db: &mut PgConnection, id: Uuid, row_version: i32) -> Result<()> {
    let used = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM units WHERE place_id = $1) OR EXISTS (SELECT FROM visits WHERE place_id = $1) AS "used!""#,
        id
    );
    if used.fetch_one(&mut *db).await? {
        return Err(Error::Rule("place_is_used".to_owned()));
    }
    sqlx::query!("DELETE FROM place_times WHERE place_id = $1", id).execute(&mut *db).await?;
    let gone = sqlx::query!("DELETE FROM places WHERE id = $1 AND row_version = $2", id, row_version).execute(db).await?;
    if gone.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// What became of a customer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gone {
    /// Nothing was kept of them: the entry is gone.
    Removed,
    /// The records of their units stay, without a name.
    Forgotten,
}

/// How a customer may go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MayGo {
    /// A unit of theirs is not retired.
    No,
    /// Nothing hangs on them.
    Removed,
    Forgotten,
}

/// Whether and how this customer may go.
pub async fn may_go(db: &mut PgConnection, id: Uuid) -> Result<MayGo> {
    let row = sqlx::query!(
        r#"SELECT EXISTS (SELECT FROM units WHERE customer_id = $1 AND status <> 'retired') AS "in_use!",
             EXISTS (SELECT FROM units WHERE customer_id = $1) OR EXISTS (SELECT FROM visits WHERE customer_id = $1)
               OR EXISTS (SELECT FROM visit_reports WHERE customer_id = $1) OR EXISTS (SELECT FROM water_tests WHERE customer_id = $1)
               OR EXISTS (SELECT FROM record_links WHERE customer_id = $1) AS "known!""#,
        id
    )
    .fetch_one(db)
    .await?;
    Ok(match (row.in_use, row.known) {
        (true, _) => MayGo::No,
        (false, false) => MayGo::Removed,
        (false, true) => MayGo::Forgotten,
    })
}

/// Takes a customer out who has no unit in use: altogether where nothing hangs on them, else name, telephone, mail, note, reference,
/// places and what they wrote. Tests, doses and reports stay with the units.
///
/// [`Error::Rule`] `units_in_use`; [`Error::Clash`] when somebody changed the entry meanwhile, or it is forgotten already.
pub async fn forget(db: &mut PgConnection, id: Uuid, row_version: i32, now: OffsetDateTime) -> Result<Gone> {
    let stands = sqlx::query_scalar!(
        "SELECT id FROM customers WHERE id = $1 AND row_version = $2 AND forgotten_at IS NULL FOR UPDATE",
        id,
        row_version
    );
    stands.fetch_optional(&mut *db).await?.ok_or(Error::Clash)?;
    if may_go(&mut *db, id).await? == MayGo::No {
        return Err(Error::Rule("units_in_use".to_owned()));
    }
    if removed(&mut *db, id).await? {
        return Ok(Gone::Removed);
    }
    blank(db, id, now).await?;
    Ok(Gone::Forgotten)
}

/// Deletes the entry with its places, unless a row of another table names it.
async fn removed(db: &mut PgConnection, id: Uuid) -> Result<bool> {
    let mut inner = db.begin().await?;
    let deleted = async {
        sqlx::query!("DELETE FROM place_times t USING places p WHERE p.id = t.place_id AND p.customer_id = $1", id)
            .execute(&mut *inner)
            .await?;
        sqlx::query!("DELETE FROM places WHERE customer_id = $1", id).execute(&mut *inner).await?;
        sqlx::query!("DELETE FROM customers WHERE id = $1", id).execute(&mut *inner).await
    }
    .await;
    match deleted {
        Ok(_) => {
            inner.commit().await?;
            Ok(true)
        }
        Err(e) if e.as_database_error().is_some_and(sqlx::error::DatabaseError::is_foreign_key_violation) => {
            inner.rollback().await?;
            Ok(false)
        }
        Err(e) => Err(e.into()),
    }
}

async fn blank(db: &mut PgConnection, id: Uuid, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("DELETE FROM place_times t USING places p WHERE p.id = t.place_id AND p.customer_id = $1", id).execute(&mut *db).await?;
    sqlx::query!(
        "UPDATE places SET name = 'Former place', address = '', town = '', lat = NULL, lon = NULL, pin_origin = 'none', pin_accuracy_m = NULL, access_note = '',
           hazards = '', row_version = row_version + 1 WHERE customer_id = $1",
        id
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "UPDATE units u SET name = k.name, row_version = u.row_version + 1 FROM unit_kinds k WHERE k.code = u.kind_code AND u.customer_id = $1",
        id
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!("UPDATE record_links SET revoked_at = $2 WHERE customer_id = $1 AND revoked_at IS NULL", id, now)
        .execute(&mut *db)
        .await?;
    sqlx::query!("UPDATE customer_words SET says = '' WHERE customer_id = $1", id).execute(&mut *db).await?;
    sqlx::query!(
        "UPDATE customers SET name = 'Former customer', ref = NULL, phone = '', email = '', note = '', forgotten_at = $2, row_version = row_version + 1 WHERE id = $1",
        id,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

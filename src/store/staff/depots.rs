//! Where days begin and end.

use super::super::{Error, Result};
use sqlx::PgExecutor;
use uuid::Uuid;

/// A place where days begin and end.
#[derive(Clone, Debug)]
pub struct Depot {
    pub id: Uuid,
    pub name: String,
    pub lat: f64,
    pub lon: f64,
    pub row_version: i32,
}

/// The depots in use.
pub async fn depots(db: impl PgExecutor<'_>) -> Result<Vec<Depot>> {
    let depots =
        sqlx::query_as!(Depot, "SELECT id, name, lat, lon, row_version FROM depots WHERE NOT retired ORDER BY lower(name), id LIMIT 50");
    Ok(depots.fetch_all(db).await?)
}

pub async fn add_depot(db: impl PgExecutor<'_>, d: &Depot) -> Result<()> {
    sqlx::query!("INSERT INTO depots (id, name, lat, lon) VALUES ($1, $2, $3, $4)", d.id, d.name, d.lat, d.lon).execute(db).await?;
    Ok(())
}

/// Renames or moves a depot. Weeks that are planned keep their times until they are planned again.
pub async fn change_depot(db: impl PgExecutor<'_>, d: &Depot) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE depots SET name = $2, lat = $3, lon = $4, row_version = row_version + 1 WHERE id = $1 AND row_version = $5 AND NOT retired",
        d.id,
        d.name,
        d.lat,
        d.lon,
        d.row_version
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Leaves a depot out; the rule `depot_in_use` while somebody who works here starts there.
pub async fn leave_out_depot(db: impl PgExecutor<'_>, id: Uuid) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE depots SET retired = true, row_version = row_version + 1 WHERE id = $1
         AND NOT EXISTS (SELECT FROM technicians t JOIN staff s ON s.id = t.staff_id WHERE t.depot_id = $1 AND s.active)",
        id
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Rule("depot_in_use".to_owned())) }
}

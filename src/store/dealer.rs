//! The dealer's own settings, and which civil day it is in the dealer's zone.

use super::Result;
use crate::units::UnitsFirst;
use sqlx::PgExecutor;
use time::{Date, OffsetDateTime, PrimitiveDateTime};

/// The dealer as every page needs it.
#[derive(Clone, Debug)]
pub struct Dealer {
    pub name: String,
    pub phone: String,
    pub email: String,
    pub zone: String,
    pub units: UnitsFirst,
    /// What no record here holds of the time before says nothing.
    pub records_since: Option<Date>,
    /// True for the demo's invented dealership; every page says so.
    pub invented: bool,
    pub row_version: i32,
    /// The civil day in the dealer's zone.
    pub today: Date,
    /// The civil time in the dealer's zone.
    pub local: PrimitiveDateTime,
}

/// How the text in the database reads as a type.
pub(super) fn units_first(text: &str) -> UnitsFirst {
    if text == "metric" { UnitsFirst::Metric } else { UnitsFirst::Us }
}

pub async fn get(db: impl PgExecutor<'_>, now: OffsetDateTime) -> Result<Dealer> {
    let r = sqlx::query!(
        r#"SELECT name, phone, email, zone, units_first, records_since, invented, row_version, ($1::timestamptz AT TIME ZONE zone) AS "local!"
           FROM dealer WHERE id = 1"#,
        now
    )
    .fetch_one(db)
    .await?;
    Ok(Dealer {
        units: units_first(&r.units_first),
        name: r.name,
        phone: r.phone,
        email: r.email,
        zone: r.zone,
        records_since: r.records_since,
        invented: r.invented,
        row_version: r.row_version,
        today: r.local.date(),
        local: r.local,
    })
}

/// What the settings page may change.
#[derive(Clone, Debug)]
pub struct Change<'a> {
    pub name: &'a str,
    pub phone: &'a str,
    pub email: &'a str,
    pub zone: &'a str,
    pub units: UnitsFirst,
    pub records_since: Option<Date>,
    pub row_version: i32,
}

/// Keeps changed settings; [`super::Error::Clash`] when somebody was quicker.
pub async fn change(db: impl PgExecutor<'_>, c: &Change<'_>) -> Result<()> {
    let units = if c.units == UnitsFirst::Metric { "metric" } else { "us" };
    let done = sqlx::query!(
        "UPDATE dealer SET name = $1, phone = $2, email = $3, zone = $4, units_first = $5, records_since = $7, row_version = row_version + 1
         WHERE id = 1 AND row_version = $6",
        c.name,
        c.phone,
        c.email,
        c.zone,
        units,
        c.row_version,
        c.records_since
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::Clash) }
}

/// Records begin to be kept here, unless they did before.
pub async fn begin_records(db: impl PgExecutor<'_>, today: Date) -> Result<()> {
    sqlx::query!("UPDATE dealer SET records_since = $1 WHERE id = 1 AND records_since IS NULL AND NOT invented", today).execute(db).await?;
    Ok(())
}

/// Whether Postgres knows a time zone of this name.
pub async fn zone_exists(db: impl PgExecutor<'_>, zone: &str) -> Result<bool> {
    let there =
        sqlx::query_scalar!(r#"SELECT EXISTS (SELECT FROM pg_timezone_names WHERE name = $1) AS "there!""#, zone).fetch_one(db).await?;
    Ok(there)
}

/// Marks the dealership as the demo's invented one, whose labels are as invented.
pub async fn mark_invented(db: impl PgExecutor<'_>, name: &str, phone: &str) -> Result<()> {
    sqlx::query!(
        "UPDATE dealer SET name = $1, phone = $2, invented = true, treatment_compared_on = current_date, records_since = NULL WHERE id = 1",
        name,
        phone
    )
    .execute(db)
    .await?;
    Ok(())
}

//! What a new installation still lacks before its first week can be planned and its first dose measured.

use super::Result;
use crate::roads::FAR;
use sqlx::PgExecutor;
use time::Date;
use uuid::Uuid;

/// Each step, done or not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "a list of steps, each done or not")]
pub struct FirstSteps {
    /// The dealership has a name of its own.
    pub named: bool,
    pub depot: bool,
    /// Somebody works on some day and starts somewhere.
    pub technician: bool,
    /// Products, kits and programmes were compared with the labels.
    pub compared: bool,
    pub customers: bool,
    pub units: bool,
    pub planned: bool,
}

impl FirstSteps {
    pub fn are_done(self) -> bool {
        self.named && self.depot && self.technician && self.compared && self.customers && self.units && self.planned
    }
}

pub async fn first_steps(db: impl PgExecutor<'_>) -> Result<FirstSteps> {
    let steps = sqlx::query_as!(
        FirstSteps,
        r#"SELECT name <> 'Our dealership' AS "named!", treatment_compared_on IS NOT NULL AS "compared!",
             EXISTS (SELECT FROM depots WHERE NOT retired) AS "depot!",
             EXISTS (SELECT FROM working_hours w JOIN staff s ON s.id = w.staff_id WHERE s.active) AS "technician!",
             EXISTS (SELECT FROM customers) AS "customers!", EXISTS (SELECT FROM units) AS "units!",
             EXISTS (SELECT FROM week_plans) AS "planned!"
           FROM dealer WHERE id = 1"#
    );
    Ok(steps.fetch_one(db).await?)
}

/// The owner has compared the shipped figures with the labels.
pub async fn compared(db: impl PgExecutor<'_>, on: Date) -> Result<()> {
    sqlx::query!("UPDATE dealer SET treatment_compared_on = $1 WHERE id = 1", on).execute(db).await?;
    Ok(())
}

/// When that was.
pub async fn compared_on(db: impl PgExecutor<'_>) -> Result<Option<Date>> {
    Ok(sqlx::query_scalar!("SELECT treatment_compared_on FROM dealer WHERE id = 1").fetch_one(db).await?)
}

/// A place whose pin lies far from every depot: mostly a slip of a sign.
#[derive(Clone, Debug)]
pub struct FarPlace {
    pub place: String,
    pub customer_id: Uuid,
    pub customer: String,
}

/// Up to five such places. Reads every place: for the doctor, and while the first steps are taken.
pub async fn far_places(db: impl PgExecutor<'_>) -> Result<Vec<FarPlace>> {
    let far = sqlx::query_as!(
        FarPlace,
        r#"SELECT p.name AS place, c.id AS customer_id, c.name AS customer FROM places p JOIN customers c ON c.id = p.customer_id
           WHERE p.lat IS NOT NULL AND EXISTS (SELECT FROM depots WHERE NOT retired)
             AND NOT EXISTS (SELECT FROM depots d WHERE NOT d.retired AND abs(d.lat - p.lat) <= $1 AND abs(d.lon - p.lon) <= $2)
           ORDER BY p.id LIMIT 5"#,
        FAR.0,
        FAR.1
    );
    Ok(far.fetch_all(db).await?)
}

//! Whom to tell when somebody comes: the visits of a week whose time their customer does not know yet.

use super::{super::Result, lay::minute_of, told::Told};
use sqlx::PgExecutor;
use time::{Date, PrimitiveDateTime};
use uuid::Uuid;

/// A visit that stands at a time, with everything that is said of it. `starts` in minutes after midnight.
#[derive(Clone, Debug)]
pub struct Telling {
    pub visit_id: Uuid,
    pub unit_id: Uuid,
    pub unit_name: String,
    pub place_id: Uuid,
    pub place_name: String,
    pub address: String,
    pub town: String,
    pub customer_id: Uuid,
    pub customer_name: String,
    pub phone: String,
    pub email: String,
    pub day: Date,
    pub starts: i32,
    pub told_day: Option<Date>,
    pub told_starts: Option<i32>,
    pub confirmed: bool,
    pub jobs: Vec<String>,
    /// What the customer has to see to before.
    pub prepare: Vec<String>,
}

impl Telling {
    pub fn told(&self) -> Option<Told> {
        Told::of(self.told_day, self.told_starts)
    }

    /// Its customer counts on the time that stands.
    pub fn is_known(&self) -> bool {
        self.told().map_or(self.confirmed, |t| t.holds(Some(self.day), Some(self.starts)))
    }
}

/// The visits of a week that are still ahead at the civil time `now`, by day and hour.
pub async fn telling(db: impl PgExecutor<'_>, monday: Date, now: PrimitiveDateTime) -> Result<Vec<Telling>> {
    let rows = sqlx::query_as!(
        Telling,
        r#"SELECT v.id AS visit_id, v.unit_id, u.name AS unit_name, v.place_id, p.name AS place_name, p.address, p.town,
             v.customer_id, c.name AS customer_name, c.phone, c.email, v.day AS "day!", v.starts AS "starts!",
             t.day AS "told_day?", t.starts AS "told_starts?", v.status = 'confirmed' AS "confirmed!",
             coalesce(j.names, '{}') AS "jobs!", coalesce(j.prepare, '{}') AS "prepare!"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN units u ON u.id = v.unit_id JOIN places p ON p.id = v.place_id
           JOIN customers c ON c.id = v.customer_id
           LEFT JOIN week_told t ON t.monday = w.monday AND t.unit_id = v.unit_id
           LEFT JOIN LATERAL (SELECT array_agg(k.name ORDER BY k.position) AS names,
                                array_agg(k.prepare ORDER BY k.position) FILTER (WHERE k.prepare <> '') AS prepare
                              FROM visit_jobs x JOIN job_kinds k ON k.code = x.job_code WHERE x.visit_id = v.id) j ON true
           WHERE w.monday = $1 AND (v.day > $2 OR (v.day = $2 AND v.starts >= $3)) AND v.starts IS NOT NULL AND v.status IN ('planned', 'confirmed')
           ORDER BY v.day, v.starts, v.id LIMIT 1000"#,
        monday,
        now.date(),
        minute_of(now.time())
    );
    Ok(rows.fetch_all(db).await?)
}

//! The week plan as the pages and the printed week read it.

use super::{
    super::{Result, catalogue, due, water},
    told::Told,
};
use crate::water::supply;
use sqlx::{PgConnection, PgExecutor};
use std::collections::BTreeMap;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// The plan of one week.
#[derive(Clone, Debug)]
pub struct Plan {
    pub id: Uuid,
    pub monday: Date,
    pub issued_at: Option<OffsetDateTime>,
    pub made_at: OffsetDateTime,
    pub drive_source: String,
    /// The closures that its routes go round.
    pub closed_roads: Vec<Uuid>,
    pub row_version: i32,
}

pub async fn header(db: impl PgExecutor<'_>, monday: Date) -> Result<Option<Plan>> {
    Ok(sqlx::query_as!(
        Plan,
        "SELECT id, monday, issued_at, made_at, drive_source, closed_roads, row_version FROM week_plans WHERE monday = $1",
        monday
    )
    .fetch_optional(db)
    .await?)
}

/// One technician's day. Minutes after local midnight.
#[derive(Clone, Debug)]
pub struct RouteRow {
    pub id: Uuid,
    pub staff_id: Uuid,
    pub technician: String,
    pub depot_name: String,
    pub depot_lat: f64,
    pub depot_lon: f64,
    pub day: Date,
    pub leaves: i32,
    pub lunch_at: Option<i32>,
    pub returns: i32,
    pub drive_s: i32,
    pub drive_m: i32,
    pub trouble: String,
    pub row_version: i32,
}

/// The routes of a week, or of one technician's day when both are given.
pub async fn routes(db: impl PgExecutor<'_>, monday: Date, only: Option<(Uuid, Date)>) -> Result<Vec<RouteRow>> {
    let (staff, day) = only.unzip();
    let rows = sqlx::query_as!(
        RouteRow,
        "SELECT r.id, r.staff_id, s.name AS technician, d.name AS depot_name, d.lat AS depot_lat, d.lon AS depot_lon, r.day, r.leaves, r.lunch_at, r.returns, r.drive_s, r.drive_m, r.trouble, r.row_version
         FROM routes r JOIN week_plans w ON w.id = r.week_plan_id JOIN staff s ON s.id = r.staff_id
         JOIN technicians t ON t.staff_id = r.staff_id JOIN depots d ON d.id = t.depot_id
         WHERE w.monday = $1 AND ($2::uuid IS NULL OR r.staff_id = $2) AND ($3::date IS NULL OR r.day = $3)
         ORDER BY r.day, lower(s.name), r.staff_id LIMIT 400",
        monday,
        staff,
        day
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// A visit that a unit is to get. Minutes after local midnight.
#[derive(Clone, Debug)]
pub struct Coming {
    pub visit_id: Uuid,
    pub unit_id: Uuid,
    pub monday: Date,
    pub issued: bool,
    pub day: Date,
    pub starts: i32,
    pub ends: i32,
    pub technician: String,
    pub status: String,
    pub told_day: Option<Date>,
    pub told_starts: Option<i32>,
}

impl Coming {
    /// What its customer counts on, where that is not what stands.
    pub fn told_otherwise(&self) -> Option<Told> {
        Told::of(self.told_day, self.told_starts).filter(|t| !t.holds(Some(self.day), Some(self.starts)))
    }
}

/// The next visits of these units that stand on a day.
pub async fn coming(db: impl PgExecutor<'_>, units: &[Uuid], today: Date) -> Result<Vec<Coming>> {
    let rows = sqlx::query_as!(
        Coming,
        r#"SELECT v.id AS visit_id, v.unit_id, w.monday, w.issued_at IS NOT NULL AS "issued!", v.day AS "day!", v.starts AS "starts!", v.ends AS "ends!",
             s.name AS technician, v.status, t.day AS "told_day?", t.starts AS "told_starts?"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN staff s ON s.id = v.staff_id
           LEFT JOIN week_told t ON t.monday = w.monday AND t.unit_id = v.unit_id
           WHERE v.unit_id = ANY($1) AND v.day >= $2 AND v.status IN ('planned', 'confirmed') AND v.starts IS NOT NULL AND v.ends IS NOT NULL
           ORDER BY v.day, v.starts, v.id LIMIT 200"#,
        units,
        today
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// A visit of the week with what the office and the technician want to know at a glance.
#[derive(Clone, Debug)]
pub struct Stop {
    pub visit_id: Uuid,
    pub unit_id: Uuid,
    pub unit_name: String,
    pub place_id: Uuid,
    pub place_name: String,
    pub address: String,
    pub town: String,
    pub lat: Option<f64>,
    pub lon: Option<f64>,
    pub customer_name: String,
    pub customer_phone: String,
    pub staff_id: Option<Uuid>,
    pub day: Option<Date>,
    pub position: Option<i16>,
    pub starts: Option<i32>,
    pub ends: Option<i32>,
    pub drive_s: i32,
    pub drive_m: i32,
    pub minutes: i32,
    pub opens_on: Date,
    pub closes_on: Date,
    pub status: String,
    /// The day and the minute that its customer was told.
    pub told_day: Option<Date>,
    pub told_starts: Option<i32>,
    /// It must be made in this week.
    pub must: bool,
    pub why: String,
    pub reason: String,
    pub expected_dose_ml: Option<i64>,
    pub product_id: Option<Uuid>,
    pub product_name: Option<String>,
    pub row_version: i32,
    pub job_codes: Vec<String>,
    pub job_names: Vec<String>,
    /// Those of its jobs that somebody else has done (up to ninety days before its window opens), so that they are not due any more.
    pub done_already: Vec<String>,
}

impl Stop {
    pub fn told(&self) -> Option<Told> {
        Told::of(self.told_day, self.told_starts)
    }

    /// What its customer was told, where that is not what stands and the visit is still to be made: somebody has to call.
    pub fn to_call(&self) -> Option<Told> {
        let open = ["planned", "confirmed", "unplaced"].contains(&self.status.as_str());
        self.told().filter(|t| open && !t.holds(self.day, self.starts))
    }
}

/// Visits with everything round them; the rest of the statement says which.
macro_rules! stop_query {
    ($rest:literal, $($arg:expr),+) => {
        sqlx::query_as!(
            Stop,
            r#"SELECT v.id AS visit_id, v.unit_id, u.name AS unit_name, v.place_id, p.name AS place_name, p.address, p.town, p.lat, p.lon,
                 c.name AS customer_name, c.phone AS customer_phone, v.staff_id, v.day, v.position, v.starts, v.ends, v.drive_s, v.drive_m, v.minutes,
                 v.opens_on, v.closes_on, v.status, t.day AS "told_day?", t.starts AS "told_starts?", m.unit_id IS NOT NULL AS "must!", v.why, v.reason, v.expected_dose_ml, pr.id AS "product_id?", pr.name AS "product_name?", v.row_version,
                 coalesce(j.codes, '{}') AS "job_codes!", coalesce(j.names, '{}') AS "job_names!",
                 coalesce((SELECT array_agg(k.name ORDER BY k.position) FROM visit_jobs x JOIN job_kinds k ON k.code = x.job_code
                           WHERE x.visit_id = v.id AND v.status IN ('planned', 'confirmed', 'unplaced')
                             AND EXISTS (SELECT FROM done_elsewhere e WHERE e.unit_id = v.unit_id AND e.job_code = x.job_code AND e.taken_back_at IS NULL AND e.done_on > v.opens_on - 90)
                             AND NOT EXISTS (SELECT FROM due_items i WHERE i.unit_id = v.unit_id AND i.job_code = x.job_code)), '{}') AS "done_already!"
               FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN units u ON u.id = v.unit_id JOIN places p ON p.id = v.place_id
               JOIN customers c ON c.id = v.customer_id
               LEFT JOIN week_musts m ON m.monday = w.monday AND m.unit_id = v.unit_id
               LEFT JOIN week_told t ON t.monday = w.monday AND t.unit_id = v.unit_id
               LEFT JOIN products pr ON pr.id = product_of(u.product_id, u.programme_code)
               LEFT JOIN LATERAL (SELECT array_agg(x.job_code ORDER BY k.position) AS codes, array_agg(k.name ORDER BY k.position) AS names
                                  FROM visit_jobs x JOIN job_kinds k ON k.code = x.job_code WHERE x.visit_id = v.id) j ON true
               WHERE w.monday = $1 "#
                + $rest,
            $($arg),+
        )
    };
}

/// The visits of one week that stand on a route, in order; `only` limits them to one technician's day.
pub async fn stops(db: impl PgExecutor<'_>, monday: Date, only: Option<(Uuid, Date)>) -> Result<Vec<Stop>> {
    let (staff, day) = only.unzip();
    let rows = stop_query!(
        "AND v.day IS NOT NULL AND v.status <> 'cancelled' AND ($2::uuid IS NULL OR v.staff_id = $2) AND ($3::date IS NULL OR v.day = $3)
         ORDER BY v.day, v.staff_id, v.position LIMIT 1000",
        monday,
        staff,
        day
    );
    Ok(rows.fetch_all(db).await?)
}

/// Visits that did not find room, most pressing first.
pub async fn unplaced(db: impl PgExecutor<'_>, monday: Date, limit: i64) -> Result<Vec<Stop>> {
    Ok(stop_query!("AND v.status = 'unplaced' ORDER BY m.unit_id IS NULL, t.unit_id IS NULL, v.closes_on, v.id LIMIT $2", monday, limit)
        .fetch_all(db)
        .await?)
}

/// What to put in the van for these stops: millilitres by product, the expected doses with a fifth in hand, in whole 100 mL.
pub fn load<'a>(stops: impl IntoIterator<Item = &'a Stop>) -> Vec<(&'a str, i64)> {
    let mut by_product: BTreeMap<&str, i64> = BTreeMap::new();
    for s in stops {
        if let (Some(product), Some(ml)) = (&s.product_name, s.expected_dose_ml.filter(|ml| *ml > 0)) {
            *by_product.entry(product).or_default() += ml;
        }
    }
    by_product.into_iter().map(|(product, ml)| (product, supply::load_ml(ml))).collect()
}

/// Visits of a week that did not find room, counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnplacedCounts {
    pub all: i64,
    /// Those that close before the week is over.
    pub pressing: i64,
    /// Those that must be made in it.
    pub musts: i64,
}

/// How many visits of a week did not find room.
pub async fn unplaced_counts(db: impl PgExecutor<'_>, monday: Date) -> Result<UnplacedCounts> {
    let counts = sqlx::query_as!(
        UnplacedCounts,
        r#"SELECT count(*) AS "all!", count(*) FILTER (WHERE v.closes_on <= $1::date + 6) AS "pressing!", count(m.unit_id) AS "musts!"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id LEFT JOIN week_musts m ON m.monday = w.monday AND m.unit_id = v.unit_id
           WHERE w.monday = $1 AND v.status = 'unplaced'"#,
        monday
    )
    .fetch_one(db)
    .await?;
    Ok(counts)
}

/// A unit that needs a visit in the week, with everything the plan needs to know.
#[derive(Clone, Debug)]
pub struct Proposal {
    pub unit_id: Uuid,
    pub customer_id: Uuid,
    pub place_id: Uuid,
    pub place_name: String,
    pub pin: Option<(f64, f64)>,
    pub visit: crate::season::ProposedVisit,
    pub water: Option<water::UnitWater>,
    /// When somebody can be met there; empty: any time.
    pub suits: Vec<crate::season::Suit>,
    /// The forecast's "test by".
    pub test_by: Option<Date>,
}

/// What opens up to so many days after a Monday can be done in that week.
const WEEK: u16 = 6;

/// Every unit's jobs that can be done in the week of `monday`, joined to visits. Units with an open visit ahead in another
/// week are left out, and so are those that were called off for this one.
pub async fn candidates(db: &mut PgConnection, monday: Date, today: Date) -> Result<Vec<Proposal>> {
    let treatments = catalogue::treatments(&mut *db).await?;
    let rows = sqlx::query!(
        r#"SELECT DISTINCT d.unit_id, u.customer_id, u.place_id, p.name AS place_name, p.lat, p.lon, s.test_by AS "test_by?"
           FROM due_items d LEFT JOIN foreseen s ON s.unit_id = d.unit_id JOIN units u ON u.id = d.unit_id JOIN places p ON p.id = u.place_id
           WHERE d.opens_on <= $1::date + 6
             AND NOT EXISTS (SELECT FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
                             WHERE v.unit_id = d.unit_id AND v.status IN ('planned', 'confirmed') AND w.monday <> $1 AND v.day >= $2)
             AND NOT EXISTS (SELECT FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
                             WHERE v.unit_id = d.unit_id AND v.status = 'cancelled' AND w.monday = $1)
           ORDER BY d.unit_id LIMIT 6000"#,
        monday,
        today
    )
    .fetch_all(&mut *db)
    .await?;
    let ids: Vec<Uuid> = rows.iter().map(|r| r.unit_id).collect();
    let mut proposed = due::proposals(&mut *db, &ids, &treatments, monday.max(today), WEEK).await?;
    let places: Vec<Uuid> = rows.iter().map(|r| r.place_id).collect();
    let suits = super::suits(&mut *db, &places).await?;
    let mut all = Vec::new();
    for r in rows {
        let Some((visits, water)) = proposed.remove(&r.unit_id) else { continue };
        // One visit a unit and week: the most pressing; the others stay due.
        let Some(visit) = visits.into_iter().next() else { continue };
        let pin = r.lat.zip(r.lon);
        all.push(Proposal {
            unit_id: r.unit_id,
            customer_id: r.customer_id,
            place_id: r.place_id,
            place_name: r.place_name,
            pin,
            visit,
            water,
            suits: suits.get(&r.place_id).cloned().unwrap_or_default(),
            test_by: r.test_by,
        });
    }
    Ok(all)
}

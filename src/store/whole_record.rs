//! Everything that is kept of one unit, for its whole record on paper: each list newest first, as it counts today.

use super::Result;
use sqlx::PgExecutor;
use time::{Date, PrimitiveDateTime};
use uuid::Uuid;

/// A water test with every figure.
#[derive(Clone, Debug)]
pub struct WholeTest {
    pub taken_on: Date,
    /// `unit` or `fill`: a test of the source water.
    pub of_water: String,
    pub made_by: String,
    pub by: Option<String>,
    pub note: String,
    pub kit: Option<String>,
    pub drops: Option<i16>,
    pub reagent_expired: bool,
    /// The inhibitor in the programme's basis, mg/L.
    pub level: Option<i32>,
    /// What else was read: its name, thousandths, basis.
    pub what: Vec<String>,
    pub milli: Vec<i64>,
    pub basis: Vec<String>,
}

pub async fn tests(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<WholeTest>> {
    let rows = sqlx::query_as!(
        WholeTest,
        r#"SELECT t.taken_on, t.of_water, t.made_by, s.name AS "by?", t.note, k.name AS "kit?", i.drops AS "drops?", coalesce(i.reagent_expired, false) AS "reagent_expired!",
             level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS "level?", coalesce(x.what, '{}') AS "what!", coalesce(x.milli, '{}') AS "milli!", coalesce(x.basis, '{}') AS "basis!"
           FROM water_tests t JOIN units u ON u.id = t.unit_id LEFT JOIN staff s ON s.id = t.staff_id
           LEFT JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' LEFT JOIN test_kits k ON k.code = i.kit_code
           LEFT JOIN LATERAL (SELECT array_agg(r.what ORDER BY r.what DESC) AS what, array_agg(r.value_milli ORDER BY r.what DESC) AS milli, array_agg(r.basis ORDER BY r.what DESC) AS basis
                              FROM readings r WHERE r.test_id = t.id AND (r.what <> 'inhibitor' OR NOT read_for(u.programme_code, r.basis))) x ON true
           WHERE t.unit_id = $1 AND t.superseded_at IS NULL ORDER BY t.taken_on DESC, t.made_at DESC LIMIT $2"#,
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// What was put in.
#[derive(Clone, Debug)]
pub struct WholeDose {
    pub given_on: Date,
    pub product: String,
    pub lot: Option<String>,
    pub amount_ml: i64,
    pub by: Option<String>,
    pub note: String,
}

pub async fn doses(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<WholeDose>> {
    let rows = sqlx::query_as!(
        WholeDose,
        r#"SELECT d.given_on, p.name AS product, l.lot AS "lot?", d.amount_ml, s.name AS "by?", d.note
           FROM doses d JOIN products p ON p.id = d.product_id LEFT JOIN lots l ON l.id = d.lot_id LEFT JOIN staff s ON s.id = d.staff_id
           WHERE d.unit_id = $1 AND d.superseded_at IS NULL ORDER BY d.given_on DESC, d.made_at DESC LIMIT $2"#,
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// How much water the unit was found to hold.
#[derive(Clone, Debug)]
pub struct WholeVolume {
    pub found_on: Date,
    pub volume_ml: i64,
    pub plus_minus_ml: i64,
    pub method: String,
    pub note: String,
}

pub async fn volumes(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<WholeVolume>> {
    let rows = sqlx::query_as!(
        WholeVolume,
        "SELECT found_on, volume_ml, plus_minus_ml, method, note FROM water_volumes WHERE unit_id = $1 AND superseded_at IS NULL ORDER BY found_on DESC, made_at DESC LIMIT $2",
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// One version of a visit's report.
#[derive(Clone, Debug)]
pub struct WholeVisit {
    pub version: i32,
    /// No later version stands.
    pub newest: bool,
    pub visited_on: Date,
    /// In the dealer's zone.
    pub received: PrimitiveDateTime,
    pub by: Option<String>,
    pub outcome: String,
    pub why_not: String,
    pub who_was_there: String,
    pub note: String,
    /// Why it was corrected.
    pub reason: String,
    pub jobs: Vec<String>,
    /// The checklist as it was answered.
    pub steps: Vec<String>,
    pub done: Vec<bool>,
    /// A figure with its unit; empty where none was asked.
    pub figures: Vec<String>,
}

/// Every version of every report, the visits newest first and their versions in order.
pub async fn visits(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<WholeVisit>> {
    let rows = sqlx::query_as!(
        WholeVisit,
        r#"SELECT r.version, NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1) AS "newest!", r.visited_on,
             r.received_at AT TIME ZONE d.zone AS "received!", s.name AS "by?", r.outcome, r.why_not, r.who_was_there, r.note, r.reason,
             coalesce((SELECT array_agg(k.name ORDER BY k.position) FROM report_jobs j JOIN job_kinds k ON k.code = j.job_code
                       WHERE j.report_id = r.report_id AND j.version = r.version), '{}') AS "jobs!",
             coalesce(a.steps, '{}') AS "steps!", coalesce(a.done, '{}') AS "done!", coalesce(a.figures, '{}') AS "figures!"
           FROM visit_reports r JOIN dealer d ON d.id = 1 LEFT JOIN staff s ON s.id = r.staff_id
           LEFT JOIN LATERAL (SELECT array_agg(i.says ORDER BY k.position, i.position) AS steps, array_agg(x.done ORDER BY k.position, i.position) AS done,
                                array_agg(coalesce(trim_scale(x.figure)::text || ' ' || i.asked_unit, '') ORDER BY k.position, i.position) AS figures
                              FROM checklist_answers x JOIN checklist_items i ON i.code = x.item_code JOIN job_kinds k ON k.code = i.job_code
                              WHERE x.report_id = r.report_id AND x.version = r.version) a ON true
           WHERE r.unit_id = $1 ORDER BY r.visited_on DESC, r.report_id DESC, r.version LIMIT $2"#,
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// What the make-up meter showed, or what was let out.
#[derive(Clone, Debug)]
pub struct WholeEvent {
    pub happened_on: Date,
    /// `meter` or `drained`.
    pub what: String,
    pub amount_ml: i64,
    pub where_to: String,
}

pub async fn events(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<WholeEvent>> {
    let rows = sqlx::query_as!(
        WholeEvent,
        "SELECT happened_on, what, amount_ml, where_to FROM water_events WHERE unit_id = $1 AND superseded_at IS NULL ORDER BY happened_on DESC, made_at DESC LIMIT $2",
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

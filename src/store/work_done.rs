//! What was done in a stretch of days, visit by visit: what a bookkeeper asks for.

use super::Result;
use sqlx::PgExecutor;
use time::Date;
use uuid::Uuid;

/// A visit as its newest report has it.
#[derive(Clone, Debug)]
pub struct WorkLine {
    pub report_id: Uuid,
    pub visited_on: Date,
    pub outcome: String,
    pub why_not: String,
    pub technician: Option<String>,
    pub customer_reference: Option<String>,
    pub customer: String,
    pub place: String,
    pub town: String,
    pub unit_reference: Option<String>,
    pub unit: String,
    pub jobs: Vec<String>,
    /// Minutes from "I am here" to keeping the report, where both are known.
    pub minutes: Option<i64>,
    /// What was put in: a product and millilitres each.
    pub products: Vec<String>,
    pub amounts_ml: Vec<i64>,
    pub note: String,
}

/// The visits from one day to another, in order, those that could not be made among them; at most `limit`.
pub async fn work_done(db: impl PgExecutor<'_>, from: Date, to: Date, limit: i64) -> Result<Vec<WorkLine>> {
    let rows = sqlx::query_as!(
        WorkLine,
        r#"SELECT r.report_id, r.visited_on, r.outcome, r.why_not, s.name AS "technician?", c.ref AS customer_reference, c.name AS customer, p.name AS place, p.town,
             u.ref AS unit_reference, u.name AS unit,
             coalesce((SELECT array_agg(k.name ORDER BY k.position) FROM report_jobs j JOIN job_kinds k ON k.code = j.job_code
                       WHERE j.report_id = r.report_id AND j.version = r.version), '{}') AS "jobs!",
             (extract(epoch FROM r.kept_at - r.arrived_at) / 60)::bigint AS minutes,
             coalesce(d.products, '{}') AS "products!", coalesce(d.amounts, '{}') AS "amounts_ml!", r.note
           FROM visit_reports r JOIN units u ON u.id = r.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = r.customer_id
           LEFT JOIN staff s ON s.id = r.staff_id
           LEFT JOIN LATERAL (SELECT array_agg(x.name ORDER BY x.name) AS products, array_agg(x.ml ORDER BY x.name) AS amounts
                              FROM (SELECT y.name, sum(o.amount_ml)::bigint AS ml FROM doses o JOIN products y ON y.id = o.product_id
                                    WHERE o.report_id = r.report_id AND o.version = r.version AND o.superseded_at IS NULL GROUP BY y.name) x) d ON true
           WHERE r.received_at >= $1::date - interval '1 day' AND r.visited_on BETWEEN $1 AND $2
             AND NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1)
           ORDER BY r.visited_on, r.received_at, r.report_id LIMIT $3"#,
        from,
        to,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

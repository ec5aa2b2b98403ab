//! Promises that the stored rows must keep, each checked by one query.

use super::{Result, due};
use sqlx::PgConnection;
use time::Date;

/// Each broken promise as a sentence. Run after tests and by `doctor`.
pub async fn broken_promises(db: &mut PgConnection, today: Date) -> Result<Vec<String>> {
    let mut broken = Vec::new();
    let r = sqlx::query!(
        r#"SELECT
             (SELECT count(*) FROM submissions s WHERE s.body_sha256 <> sha256(s.body)) AS "bodies!",
             (SELECT count(*) FROM submissions s WHERE s.kind = 'visit report' AND NOT EXISTS (SELECT FROM visit_reports r WHERE r.report_id = (s.answer->>'report')::uuid)) AS "effects!",
             (SELECT count(*) FROM water_tests t JOIN visit_reports n ON n.report_id = t.report_id AND n.version = t.version + 1 WHERE t.superseded_at IS NULL) AS "tests!",
             (SELECT count(*) FROM doses d JOIN visit_reports n ON n.report_id = d.report_id AND n.version = d.version + 1 WHERE d.superseded_at IS NULL) AS "doses!",
             (SELECT count(*) FROM visits a JOIN visits b ON a.staff_id = b.staff_id AND a.id < b.id AND a.during && b.during
              WHERE a.status IN ('planned', 'confirmed') AND b.status IN ('planned', 'confirmed')) AS "overlaps!",
             (SELECT count(*) FROM photos p WHERE p.report_id IS NOT NULL AND NOT EXISTS (SELECT FROM visit_reports r WHERE r.report_id = p.report_id AND r.unit_id = p.unit_id)) AS "photos!""#
    )
    .fetch_one(&mut *db)
    .await?;
    let mut note = |n: i64, what: &str| {
        if n > 0 {
            broken.push(format!("{n} {what}"));
        }
    };
    note(r.bodies, "kept form(s) whose bytes no longer match their fingerprint: the disk may be failing.");
    note(r.effects, "kept form(s) without their report.");
    note(r.tests, "water test(s) of corrected reports still count.");
    note(r.doses, "dose(s) of corrected reports still count.");
    note(r.photos, "photo(s) of a report that is not here, or of another unit than their report.");
    note(r.overlaps, "pair(s) of visits put one technician in two yards at once.");
    let stale = stale_due_items(db, today).await?;
    if stale > 0 {
        broken.push(format!("{stale} due item(s) differ from what the facts say today."));
    }
    Ok(broken)
}

/// How many due items would change if they were worked out again; nothing is kept of the trial.
async fn stale_due_items(db: &mut PgConnection, today: Date) -> Result<i64> {
    if due::worked_out_on(&mut *db).await? != Some(today) {
        return Ok(0);
    }
    let mut tx = sqlx::Connection::begin(&mut *db).await?;
    sqlx::query!(
        "CREATE TEMPORARY TABLE due_before ON COMMIT DROP AS SELECT unit_id, job_code, opens_on, closes_on, cause, reason, waits FROM due_items"
    )
    .execute(&mut *tx)
    .await?;
    // What units of a kind usually lose is worked out once a day; until then every unit goes by the figure of the morning.
    let all = sqlx::query_scalar!("SELECT id FROM units ORDER BY id").fetch_all(&mut *tx).await?;
    due::refresh(&mut tx, Some(&all), today).await?;
    let row = sqlx::query(
        "SELECT count(*) FROM ((TABLE due_before EXCEPT SELECT unit_id, job_code, opens_on, closes_on, cause, reason, waits FROM due_items)
         UNION ALL (SELECT unit_id, job_code, opens_on, closes_on, cause, reason, waits FROM due_items EXCEPT TABLE due_before)) x",
    )
    .fetch_one(&mut *tx)
    .await?;
    tx.rollback().await?;
    Ok(sqlx::Row::get(&row, 0))
}

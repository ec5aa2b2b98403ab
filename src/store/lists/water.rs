//! Many tests, readings, doses and reports at once.

use super::super::{Result, water::NewReading};
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

#[derive(Clone, Debug)]
pub struct TestRow {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub taken_on: Date,
    pub made_by: &'static str,
    pub report_id: Option<Uuid>,
    pub fill_id: Option<Uuid>,
    /// SHA-256 in hex of what identifies the row of a list.
    pub list_row: Option<String>,
    pub readings: Vec<NewReading>,
}

/// Appends tests with their readings; rows of a list that were brought in before are passed over. Returns how many were new.
pub async fn add_tests(db: &mut PgConnection, rows: &[TestRow], now: OffsetDateTime) -> Result<u64> {
    let added = sqlx::query_scalar!(
        r#"INSERT INTO water_tests (id, unit_id, customer_id, taken_on, of_water, made_by, report_id, version, fill_id, list_row, made_at)
         SELECT t.id, u.id, u.customer_id, t.taken_on, CASE WHEN t.fill_id IS NULL THEN 'unit' ELSE 'fill' END, t.made_by, t.report_id,
           CASE WHEN t.report_id IS NULL THEN NULL ELSE 1 END, t.fill_id, t.list_row, $8
         FROM unnest($1::uuid[], $2::uuid[], $3::date[], $4::text[], $5::uuid[], $6::uuid[], $7::text[])
           AS t(id, unit_id, taken_on, made_by, report_id, fill_id, list_row) JOIN units u ON u.id = t.unit_id
         ON CONFLICT (list_row) WHERE list_row IS NOT NULL AND superseded_at IS NULL DO NOTHING RETURNING id"#,
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.unit_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.taken_on).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.made_by.to_owned()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.report_id).collect::<Vec<_>>() as &[Option<Uuid>],
        &rows.iter().map(|r| r.fill_id).collect::<Vec<_>>() as &[Option<Uuid>],
        &rows.iter().map(|r| r.list_row.clone()).collect::<Vec<_>>() as &[Option<String>],
        now
    )
    .fetch_all(&mut *db)
    .await?;
    let new: std::collections::HashSet<Uuid> = added.into_iter().collect();
    let readings: Vec<(Uuid, &NewReading)> =
        rows.iter().filter(|r| new.contains(&r.id)).flat_map(|r| r.readings.iter().map(|x| (r.id, x))).collect();
    sqlx::query!(
        "INSERT INTO readings (test_id, what, kit_code, drops, value_milli, basis, programme_mg_l)
         SELECT * FROM unnest($1::uuid[], $2::text[], $3::text[], $4::smallint[], $5::bigint[], $6::text[], $7::int[])",
        &readings.iter().map(|r| r.0).collect::<Vec<_>>(),
        &readings.iter().map(|r| r.1.what.as_str().to_owned()).collect::<Vec<_>>(),
        &readings.iter().map(|r| r.1.kit_code.clone()).collect::<Vec<_>>() as &[Option<String>],
        &readings.iter().map(|r| r.1.drops_kept()).collect::<Vec<_>>() as &[Option<i16>],
        &readings.iter().map(|r| r.1.value_milli).collect::<Vec<_>>(),
        &readings.iter().map(|r| r.1.basis.clone()).collect::<Vec<_>>(),
        &readings.iter().map(|r| r.1.programme_mg_l).collect::<Vec<_>>() as &[Option<i32>]
    )
    .execute(db)
    .await?;
    Ok(u64::try_from(new.len()).unwrap_or(0))
}

/// A report of earlier years, first version, no checklist.
#[derive(Clone, Debug)]
pub struct ReportRow {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub staff_id: Option<Uuid>,
    pub visited_on: Date,
    pub note: String,
    pub jobs: Vec<String>,
}

pub async fn add_reports(db: &mut PgConnection, rows: &[ReportRow], now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO visit_reports (report_id, version, unit_id, customer_id, staff_id, visited_on, outcome, note, received_at)
         SELECT r.id, 1, u.id, u.customer_id, r.staff_id, r.day, 'done', r.note, $6
         FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::date[], $5::text[]) AS r(id, unit_id, staff_id, day, note) JOIN units u ON u.id = r.unit_id",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.unit_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.staff_id).collect::<Vec<_>>() as &[Option<Uuid>],
        &rows.iter().map(|r| r.visited_on).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.note.clone()).collect::<Vec<_>>(),
        now
    )
    .execute(&mut *db)
    .await?;
    let jobs: Vec<(Uuid, &String)> = rows.iter().flat_map(|r| r.jobs.iter().map(|j| (r.id, j))).collect();
    sqlx::query!(
        "INSERT INTO report_jobs (report_id, version, job_code) SELECT id, 1, job FROM unnest($1::uuid[], $2::text[]) AS j(id, job)",
        &jobs.iter().map(|j| j.0).collect::<Vec<_>>(),
        &jobs.iter().map(|j| j.1.clone()).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

#[derive(Clone, Debug)]
pub struct DoseRow {
    pub unit_id: Uuid,
    pub given_on: Date,
    pub product_id: Uuid,
    pub lot_id: Option<Uuid>,
    pub amount_ml: i64,
    pub report_id: Option<Uuid>,
}

pub async fn add_doses(db: &mut PgConnection, rows: &[DoseRow], now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO doses (id, unit_id, customer_id, given_on, product_id, lot_id, amount_ml, report_id, version, made_at)
         SELECT d.id, u.id, u.customer_id, d.day, d.product_id, d.lot_id, d.ml, d.report_id, CASE WHEN d.report_id IS NULL THEN NULL ELSE 1 END, $8
         FROM unnest($1::uuid[], $2::uuid[], $3::date[], $4::uuid[], $5::uuid[], $6::bigint[], $7::uuid[])
           AS d(id, unit_id, day, product_id, lot_id, ml, report_id) JOIN units u ON u.id = d.unit_id",
        &rows.iter().map(|_| Uuid::now_v7()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.unit_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.given_on).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.product_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.lot_id).collect::<Vec<_>>() as &[Option<Uuid>],
        &rows.iter().map(|r| r.amount_ml).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.report_id).collect::<Vec<_>>() as &[Option<Uuid>],
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

//! Visit reports: appended, once, with everything that follows from them in the same transaction. A correction is a new version.

use super::{
    Error, Result,
    amendments::{self, Amendment},
    drives, due,
    events::Actor,
    photos,
    units::{self, Fill},
    water::{self, Event, NewDose, NewEvent, NewReading, NewTest, What},
};
use crate::{
    units::{LITRES_PER_US_GALLON, Millilitres},
    water::{Method, WaterVolume},
};
use serde_json::Value;
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// What a technician kept of a visit.
#[derive(Clone, Debug)]
pub struct NewReport {
    pub report_id: Uuid,
    pub version: i32,
    pub visit_id: Option<Uuid>,
    pub unit_id: Uuid,
    pub staff_id: Option<Uuid>,
    pub visited_on: Date,
    pub outcome: Outcome,
    pub who_was_there: String,
    pub note: String,
    pub jobs: Vec<String>,
    pub answers: Vec<Answer>,
    pub readings: Vec<NewReading>,
    pub dose: Option<DoseGiven>,
    pub events: Vec<WaterEvent>,
    /// What was found otherwise than the sheet said.
    pub amendments: Vec<Amendment>,
    /// The dose that the page showed for these readings, and the one worked out again on arrival.
    pub dose_shown_ml: Option<i64>,
    pub dose_worked_ml: Option<i64>,
    pub flag: String,
    /// Why this version corrects the one before; empty for the first.
    pub reason: String,
    pub made_at: Option<OffsetDateTime>,
    /// When the technician said "I am here", and when the sheet was kept, both by the phone.
    pub arrived_at: Option<OffsetDateTime>,
    pub kept_at: Option<OffsetDateTime>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    Done,
    /// It could not be done, and why.
    NotDone(String),
}

#[derive(Clone, Debug)]
pub struct Answer {
    pub item_code: String,
    pub done: bool,
    pub figure: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct DoseGiven {
    pub product_id: Uuid,
    pub lot_id: Option<Uuid>,
    pub amount_ml: i64,
}

/// What the make-up meter showed, or what was drained and where to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WaterEvent {
    pub what: Event,
    pub amount_ml: i64,
    pub where_to: String,
}

/// A write with its client-made id.
#[derive(Clone, Debug)]
pub struct Submission<'a> {
    pub id: Uuid,
    pub kind: &'a str,
    pub staff_id: Option<Uuid>,
    pub body: &'a [u8],
}

/// Takes a submission in, once. `Some`: it was stored before, and this is what was answered then.
///
/// [`Error::OtherContent`] when the id was used for another body.
pub async fn take_in(db: &mut PgConnection, s: &Submission<'_>, answer: &Value, now: OffsetDateTime) -> Result<Option<Value>> {
    let hash = crate::secrets::sha256(s.body);
    let done = sqlx::query!(
        "INSERT INTO submissions (id, kind, staff_id, body_sha256, body, answer, received_at) VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (id) DO NOTHING",
        s.id,
        s.kind,
        s.staff_id,
        &hash[..],
        s.body,
        answer,
        now
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 1 {
        return Ok(None);
    }
    let before = sqlx::query!("SELECT body_sha256, answer, staff_id FROM submissions WHERE id = $1", s.id).fetch_one(db).await?;
    if before.body_sha256 == hash && before.staff_id == s.staff_id { Ok(Some(before.answer)) } else { Err(Error::OtherContent) }
}

/// Keeps a report with its test, its dose, its answers and what was put right; closes the visit; works out what is due next.
///
/// Answers with what the office has to settle, in words: facts of the records that changed in the office and at the unit alike.
pub async fn keep(db: &mut PgConnection, r: &NewReport, today: Date, now: OffsetDateTime) -> Result<Vec<String>> {
    add_header(&mut *db, r, now).await?;
    if r.version == 1 && r.arrived_at.is_some() {
        drives::record(&mut *db, r.report_id).await?;
    }
    add_lists(&mut *db, r).await?;
    if r.version == 1 {
        photos::join(&mut *db, r.report_id).await?;
    }
    if r.version > 1 {
        water::supersede_report(&mut *db, r.report_id, r.version, now).await?;
        reopen(&mut *db, r).await?;
    }
    add_water(&mut *db, r, now).await?;
    close(&mut *db, r).await?;
    note_fill(&mut *db, r, now).await?;
    let by = Actor { id: r.staff_id, words: "at the unit".to_owned() };
    let open = amendments::apply(&mut *db, r.unit_id, &r.amendments, &by, r.visited_on, now).await?;
    due::refresh(db, Some(&[r.unit_id]), today).await?;
    Ok(open)
}

/// The test, the dose and what else was seen or done with the water.
async fn add_water(db: &mut PgConnection, r: &NewReport, now: OffsetDateTime) -> Result<()> {
    let report = Some((r.report_id, r.version));
    let readings = as_before(&mut *db, r).await?;
    if !readings.is_empty() {
        let test = NewTest {
            id: Uuid::now_v7(),
            unit_id: r.unit_id,
            taken_on: r.visited_on,
            maker: water::Maker::Technician,
            staff_id: r.staff_id,
            report,
            fill_id: None,
            note: "",
            readings: &readings,
        };
        water::add_test(&mut *db, &test, now).await?;
    }
    if let Some(d) = &r.dose {
        let dose = NewDose {
            id: Uuid::now_v7(),
            unit_id: r.unit_id,
            given_on: r.visited_on,
            product_id: d.product_id,
            lot_id: d.lot_id,
            amount_ml: d.amount_ml,
            staff_id: r.staff_id,
            report,
            note: "",
        };
        water::add_dose(&mut *db, &dose, now).await?;
    }
    for e in &r.events {
        let event = NewEvent {
            unit_id: r.unit_id,
            happened_on: r.visited_on,
            what: e.what,
            amount_ml: e.amount_ml,
            where_to: &e.where_to,
            staff_id: r.staff_id,
            report,
        };
        water::add_event(&mut *db, &event, now).await?;
    }
    Ok(())
}

/// The readings; what was counted with the same kit as in the version before stays as it was read then, whatever the kit is held to
/// count by now.
async fn as_before(db: &mut PgConnection, r: &NewReport) -> Result<Vec<NewReading>> {
    let mut readings = r.readings.clone();
    let before = sqlx::query!(
        "SELECT i.kit_code, i.drops, i.value_milli, i.basis, i.programme_mg_l FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor'
         WHERE t.report_id = $1 AND t.version = $2 - 1 AND i.drops IS NOT NULL LIMIT 1",
        r.report_id,
        r.version
    );
    if let Some(b) = before.fetch_optional(db).await? {
        let same = |n: &&mut NewReading| n.what == What::Inhibitor && n.kit_code == b.kit_code && n.drops_kept() == b.drops;
        if let Some(n) = readings.iter_mut().find(same) {
            (n.value_milli, n.basis, n.programme_mg_l) = (b.value_milli, b.basis, b.programme_mg_l);
        }
    }
    Ok(readings)
}

/// A first fill and its sheet may be kept on different days: no further apart, they are one fill (our own value, no source).
pub(super) const ONE_FILL_DAYS: i32 = 14;

/// A first fill that was done is a fill of the unit, unless a sheet of its own says so; the water meter's figure is its volume.
async fn note_fill(db: &mut PgConnection, r: &NewReport, now: OffsetDateTime) -> Result<()> {
    let filled = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM job_kinds WHERE code = ANY($1) AND cadence = 'once at fill')
             AND NOT EXISTS (SELECT FROM fills WHERE unit_id = $2 AND filled_on BETWEEN $3::date - $4::int AND $3::date + $4::int AND superseded_at IS NULL) AS "filled!""#,
        &r.jobs,
        r.unit_id,
        r.visited_on,
        ONE_FILL_DAYS
    )
    .fetch_one(&mut *db)
    .await?;
    if !filled || r.outcome != Outcome::Done {
        return Ok(());
    }
    let volume = metered(&mut *db, r).await?;
    let fill = Fill {
        id: Uuid::now_v7(),
        unit_id: r.unit_id,
        filled_on: r.visited_on,
        drained_on: None,
        source_water: "unknown".to_owned(),
        softened: None,
        fluid: "water".to_owned(),
        glycol_percent: 0,
        amount_ml: volume.map(|v| v.volume().get()),
        note: String::new(),
        fill_device: "not_known".to_owned(),
        answer: String::new(),
    };
    let report = Some((r.report_id, r.version));
    units::drained_before(&mut *db, r.unit_id, r.visited_on).await?;
    units::add_fill(&mut *db, &fill, report, now).await?;
    let from = units::From { report, fill: Some(fill.id) };
    match volume {
        Some(v) => units::add_volume(db, r.unit_id, &v, (r.visited_on, "read at the first fill"), from, now).await,
        None => Ok(()),
    }
}

/// The water meter's figure of the checklist, if one was written down.
async fn metered(db: &mut PgConnection, r: &NewReport) -> Result<Option<WaterVolume>> {
    let codes: Vec<String> = r.answers.iter().filter(|a| a.figure.is_some()).map(|a| a.item_code.clone()).collect();
    let code = sqlx::query_scalar!("SELECT code FROM checklist_items WHERE code = ANY($1) AND asked_unit = 'US gal' LIMIT 1", &codes)
        .fetch_optional(db)
        .await?;
    let gallons = code.and_then(|c| r.answers.iter().find(|a| a.item_code == c)?.figure);
    let ml = gallons.and_then(|g| Millilitres::from_f64(g * LITRES_PER_US_GALLON * 1000.0).ok());
    Ok(ml.and_then(|ml| WaterVolume::by(ml, Method::WaterMeter).ok()))
}

/// A correction keeps whose visit it was, and when somebody was there.
async fn add_header(db: &mut PgConnection, r: &NewReport, now: OffsetDateTime) -> Result<()> {
    let (outcome, why_not) = match &r.outcome {
        Outcome::Done => ("done", ""),
        Outcome::NotDone(why) => ("not done", why.as_str()),
    };
    sqlx::query!(
        "INSERT INTO visit_reports (report_id, version, visit_id, unit_id, customer_id, staff_id, visited_on, outcome, why_not, who_was_there, note,
           dose_shown_ml, dose_worked_ml, flag, reason, made_at, received_at, arrived_at, kept_at)
         SELECT $1, $2, $3, u.id, coalesce(b.customer_id, u.customer_id), $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, coalesce(b.arrived_at, $17), coalesce(b.kept_at, $18)
         FROM units u LEFT JOIN visit_reports b ON b.report_id = $1 AND b.version = 1 WHERE u.id = $4",
        r.report_id,
        r.version,
        r.visit_id,
        r.unit_id,
        r.staff_id,
        r.visited_on,
        outcome,
        why_not,
        r.who_was_there,
        r.note,
        r.dose_shown_ml,
        r.dose_worked_ml,
        r.flag,
        r.reason,
        r.made_at,
        now,
        r.arrived_at,
        r.kept_at
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn add_lists(db: &mut PgConnection, r: &NewReport) -> Result<()> {
    sqlx::query!(
        "INSERT INTO report_jobs (report_id, version, job_code) SELECT $1, $2, * FROM unnest($3::text[])",
        r.report_id,
        r.version,
        &r.jobs
    )
    .execute(&mut *db)
    .await?;
    let codes: Vec<String> = r.answers.iter().map(|a| a.item_code.clone()).collect();
    let done: Vec<bool> = r.answers.iter().map(|a| a.done).collect();
    let figures: Vec<Option<f64>> = r.answers.iter().map(|a| a.figure).collect();
    sqlx::query!(
        "INSERT INTO checklist_answers (report_id, version, item_code, done, figure)
         SELECT $1, $2, code, done, figure::numeric(10, 2) FROM unnest($3::text[], $4::bool[], $5::float8[]) AS a(code, done, figure)",
        r.report_id,
        r.version,
        &codes,
        &done,
        &figures as &[Option<f64>]
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Requests that an earlier version of the report met, of jobs that this one does not have any more, are open again.
async fn reopen(db: &mut PgConnection, r: &NewReport) -> Result<()> {
    let still: &[String] = if r.outcome == Outcome::Done { &r.jobs } else { &[] };
    sqlx::query!(
        "UPDATE requests SET settled_on = NULL, settled_by = NULL WHERE settled_by = $1 AND job_code <> ALL($2)",
        r.report_id,
        still
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!("UPDATE requests SET settled_on = $2 WHERE settled_by = $1", r.report_id, r.visited_on).execute(db).await?;
    Ok(())
}

/// The visit is over (one that somebody made stays made, also where another could not do it), and what was asked for of its jobs until its
/// day is settled. A correction settles what it says was done besides.
async fn close(db: &mut PgConnection, r: &NewReport) -> Result<()> {
    let status = if r.outcome == Outcome::Done { "done" } else { "not done" };
    let why = if let Outcome::NotDone(why) = &r.outcome { why.as_str() } else { "" };
    if let Some(visit_id) = r.visit_id {
        sqlx::query!(
            "UPDATE visits SET status = $2, why = $3, row_version = row_version + 1
             WHERE id = $1 AND status <> 'cancelled' AND (status <> 'done' OR $2 = 'done' OR $4)",
            visit_id,
            status,
            why,
            r.version > 1
        )
        .execute(&mut *db)
        .await?;
    }
    if r.outcome == Outcome::Done {
        sqlx::query!(
            "UPDATE requests SET settled_on = $3, settled_by = $4 WHERE unit_id = $1 AND job_code = ANY($2) AND settled_on IS NULL AND asked_on <= $3
               AND NOT EXISTS (SELECT FROM report_jobs j JOIN visit_reports b ON b.report_id = j.report_id AND b.version = j.version
                               WHERE j.report_id = $4 AND j.version = $5 - 1 AND j.job_code = requests.job_code AND b.outcome = 'done')",
            r.unit_id,
            &r.jobs,
            r.visited_on,
            r.report_id,
            r.version
        )
        .execute(db)
        .await?;
    }
    Ok(())
}

/// A report as the pages show it: its newest version.
#[derive(Clone, Debug)]
pub struct ReportLine {
    pub report_id: Uuid,
    pub version: i32,
    pub visit_id: Option<Uuid>,
    pub unit_id: Uuid,
    pub staff_id: Option<Uuid>,
    pub staff_name: Option<String>,
    pub visited_on: Date,
    pub outcome: String,
    pub why_not: String,
    pub who_was_there: String,
    pub note: String,
    pub flag: String,
    pub reason: String,
    pub job_names: Vec<String>,
    pub dose_ml: Option<i64>,
    pub dose_product: Option<String>,
    pub dose_product_id: Option<Uuid>,
    pub dose_lot_id: Option<Uuid>,
    pub level: Option<i32>,
    pub kit_code: Option<String>,
    pub drops: Option<i16>,
    /// Thousandths of mg/L in the kit's own basis.
    pub own_milli: Option<i64>,
    pub ph_milli: Option<i64>,
}

/// The newest versions of a unit's reports, newest first; `only` picks one of them.
pub async fn of_unit(db: impl PgExecutor<'_>, unit_id: Uuid, only: Option<Uuid>, limit: i64) -> Result<Vec<ReportLine>> {
    let rows = sqlx::query_as!(
        ReportLine,
        r#"SELECT r.report_id, r.version, r.visit_id, r.unit_id, r.staff_id, s.name AS "staff_name?", r.visited_on, r.outcome, r.why_not, r.who_was_there,
             r.note, r.flag, r.reason,
             coalesce((SELECT array_agg(k.name ORDER BY k.position) FROM report_jobs j JOIN job_kinds k ON k.code = j.job_code
                       WHERE j.report_id = r.report_id AND j.version = r.version), '{}') AS "job_names!",
             d.amount_ml AS "dose_ml?", d.product AS "dose_product?", d.product_id AS "dose_product_id?", d.lot_id AS "dose_lot_id?", t.level AS "level?", t.kit_code AS "kit_code?", t.drops AS "drops?", t.own AS "own_milli?", t.ph AS "ph_milli?"
           FROM visit_reports r LEFT JOIN staff s ON s.id = r.staff_id
           LEFT JOIN LATERAL (SELECT x.amount_ml, x.product_id, x.lot_id, p.name AS product FROM doses x JOIN products p ON p.id = x.product_id
                              WHERE x.report_id = r.report_id AND x.version = r.version LIMIT 1) d ON true
           LEFT JOIN LATERAL (SELECT i.programme_mg_l AS level, i.kit_code, i.drops, i.value_milli AS own, h.value_milli AS ph FROM water_tests w
                              LEFT JOIN readings i ON i.test_id = w.id AND i.what = 'inhibitor' LEFT JOIN readings h ON h.test_id = w.id AND h.what = 'ph'
                              WHERE w.report_id = r.report_id AND w.version = r.version LIMIT 1) t ON true
           WHERE r.unit_id = $1 AND ($2::uuid IS NULL OR r.report_id = $2)
             AND NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1)
           ORDER BY r.visited_on DESC, r.report_id DESC LIMIT $3"#,
        unit_id,
        only,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// One step of a report's checklist as it was answered.
#[derive(Clone, Debug)]
pub struct AnswerLine {
    pub item_code: String,
    pub says: String,
    pub done: bool,
    pub figure: Option<f64>,
    pub asked_unit: String,
}

pub async fn answers(db: impl PgExecutor<'_>, report_id: Uuid, version: i32) -> Result<Vec<AnswerLine>> {
    let rows = sqlx::query_as!(
        AnswerLine,
        r#"SELECT a.item_code, i.says, a.done, a.figure::float8 AS figure, i.asked_unit FROM checklist_answers a JOIN checklist_items i ON i.code = a.item_code
           JOIN job_kinds k ON k.code = i.job_code WHERE a.report_id = $1 AND a.version = $2 ORDER BY k.position, i.position LIMIT 200"#,
        report_id,
        version
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The newest version of a report.
#[derive(Clone, Copy, Debug)]
pub struct Newest {
    pub unit_id: Uuid,
    pub version: i32,
    pub visit_id: Option<Uuid>,
    /// Who made it.
    pub staff_id: Option<Uuid>,
    pub visited_on: Date,
}

pub async fn newest(db: impl PgExecutor<'_>, report_id: Uuid) -> Result<Newest> {
    let r = sqlx::query_as!(
        Newest,
        "SELECT unit_id, version, visit_id, staff_id, visited_on FROM visit_reports WHERE report_id = $1 ORDER BY version DESC LIMIT 1",
        report_id
    );
    Ok(r.fetch_one(db).await?)
}

/// The report that a visit brought, if any.
pub async fn of_visit(db: impl PgExecutor<'_>, visit_id: Uuid) -> Result<Option<Uuid>> {
    Ok(sqlx::query_scalar!("SELECT report_id FROM visit_reports WHERE visit_id = $1 ORDER BY received_at LIMIT 1", visit_id)
        .fetch_optional(db)
        .await?)
}

/// What the reports of these visits say was put in: millilitres by product.
pub async fn put_in(db: impl PgExecutor<'_>, visits: &[Uuid]) -> Result<Vec<(String, i64)>> {
    let rows = sqlx::query!(
        r#"SELECT p.name, sum(d.amount_ml)::bigint AS "ml!" FROM doses d JOIN products p ON p.id = d.product_id
           WHERE d.superseded_at IS NULL AND d.report_id IN (SELECT report_id FROM visit_reports WHERE visit_id = ANY($1))
           GROUP BY p.name ORDER BY p.name LIMIT 100"#,
        visits
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.name, r.ml)).collect())
}

/// The jobs that a version of a report says were done.
pub async fn job_codes(db: impl PgExecutor<'_>, report_id: Uuid, version: i32) -> Result<Vec<String>> {
    let rows = sqlx::query_scalar!(
        "SELECT job_code FROM report_jobs WHERE report_id = $1 AND version = $2 ORDER BY job_code LIMIT 100",
        report_id,
        version
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The make-up meter and what was drained, as a version of a report says.
pub async fn events(db: impl PgExecutor<'_>, report_id: Uuid, version: i32) -> Result<Vec<WaterEvent>> {
    let rows = sqlx::query!(
        "SELECT what, amount_ml, where_to FROM water_events WHERE report_id = $1 AND version = $2 ORDER BY what DESC LIMIT 10",
        report_id,
        version
    )
    .fetch_all(db)
    .await?;
    let event = |what: &str| if what == Event::Meter.as_str() { Event::Meter } else { Event::Drained };
    Ok(rows.into_iter().map(|r| WaterEvent { what: event(&r.what), amount_ml: r.amount_ml, where_to: r.where_to }).collect())
}

//! Photos at the unit: a row for each, its picture a file. A row is only written when the file is on the disk.

pub mod files;
mod tidy;

pub use tidy::{faults, let_go, tidy};

use super::{Result, corrupt, phones, submissions};
use crate::{
    photo::{Kind, Picture},
    secrets::sha256,
};
use files::{Folder, on_disk};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A photo as it was sent.
#[derive(Clone, Debug)]
pub struct NewPhoto<'a> {
    /// Made with the photo, on the phone or with the form.
    pub id: Uuid,
    /// What was kept with it: the number of a report, which need not be here yet.
    pub item_id: Uuid,
    pub visit_id: Option<Uuid>,
    pub staff_id: Uuid,
    /// Whether the sender may add to anybody's report.
    pub is_office: bool,
    /// The phone it came from; one that the office does not know is left out.
    pub phone_id: Option<Uuid>,
    pub sent_sha256: [u8; 32],
    pub caption: &'a str,
    pub taken_at: Option<OffsetDateTime>,
}

/// Lets one at a time have a picture's file, until the transaction ends: whoever takes it away and whoever counts on it.
pub async fn take_turns(db: &mut PgConnection, sha256: &[u8; 32]) -> Result<()> {
    let (high, low) = sha256.split_at(16);
    let half = |bytes: &[u8]| bytes.try_into().map(u128::from_be_bytes).unwrap_or_default();
    submissions::take_turns(db, Uuid::from_u128(half(high) ^ half(low))).await
}

/// The fingerprint of the bytes that came as this photo, if it is here. A photo that was taken out counts as here.
pub async fn sent(db: impl PgExecutor<'_>, id: Uuid) -> Result<Option<[u8; 32]>> {
    let row = sqlx::query_scalar!("SELECT sent_sha256 FROM photos WHERE id = $1", id).fetch_optional(db).await?;
    row.map(|sum| sum.and_then(|sum| sum.try_into().ok()).ok_or_else(|| corrupt("photos", id, "no fingerprint"))).transpose()
}

/// Where a photo belongs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Home {
    report_id: Option<Uuid>,
    unit_id: Option<Uuid>,
}

/// The report that it names, when the sender made or sent that, or the one that was kept anew in its place; else the unit of the visit, when
/// the sender was sent there.
async fn home(db: &mut PgConnection, p: &NewPhoto<'_>) -> Result<Home> {
    let report = sqlx::query!(
        "SELECT report_id, unit_id FROM visit_reports WHERE report_id = $1 AND version = 1
           AND ($3 OR staff_id = $2 OR EXISTS (SELECT FROM submissions s WHERE s.id = $1 AND s.staff_id = $2))
         UNION ALL
         (SELECT report_id, unit_id FROM visit_reports WHERE visit_id = $4 AND version = 1 AND staff_id = $2
            AND EXISTS (SELECT FROM to_settle t WHERE t.submission_id = $1 AND t.settled_at IS NOT NULL) ORDER BY received_at DESC LIMIT 1)
         LIMIT 1",
        p.item_id,
        p.staff_id,
        p.is_office,
        p.visit_id
    )
    .fetch_optional(&mut *db)
    .await?;
    if let Some(r) = report {
        return Ok(Home { report_id: r.report_id, unit_id: r.unit_id });
    }
    let Some(visit) = p.visit_id else { return Ok(Home::default()) };
    let reached = phones::reached(db, p.staff_id, visit).await?;
    Ok(Home { report_id: None, unit_id: reached.map(|r| r.unit_id) })
}

/// Keeps a photo, once: its file first, on the disk, then its row. Answers with whether it has its report; one that has not waits for it.
///
/// The caller has seen to it that a report on its way waits (its number is taken with [`submissions::take_turns`]).
pub async fn keep(db: &mut PgConnection, folder: &Folder, p: &NewPhoto<'_>, picture: Picture, now: OffsetDateTime) -> Result<bool> {
    take_turns(&mut *db, &sha256(&picture.bytes)).await?;
    let Picture { kind, width, height, .. } = picture;
    let (folder, length) = (folder.clone(), picture.bytes.len());
    let sum = on_disk(move || folder.keep(kind, &picture.bytes)).await?;
    let home = home(&mut *db, p).await?;
    sqlx::query!(
        "INSERT INTO photos (id, report_id, unit_id, customer_id, item_id, visit_id, staff_id, phone_id, sent_sha256, sha256, kind, bytes,
           width, height, caption, taken_at, received_at)
         VALUES ($1, $2, $3, (SELECT customer_id FROM units WHERE id = $3), $4, $5, $6, (SELECT id FROM phones WHERE id = $7), $8, $9, $10, $11,
           $12, $13, $14, $15, $16) ON CONFLICT (id) DO NOTHING",
        p.id,
        home.report_id,
        home.unit_id,
        p.item_id,
        p.visit_id,
        p.staff_id,
        p.phone_id,
        &p.sent_sha256[..],
        &sum[..],
        kind.as_str(),
        i32::try_from(length).unwrap_or(i32::MAX),
        i32::from(width),
        i32::from(height),
        p.caption,
        p.taken_at,
        now
    )
    .execute(db)
    .await?;
    Ok(home.report_id.is_some())
}

/// A report has come: the photos that were kept with it find it. Only its maker's own.
pub async fn join(db: &mut PgConnection, report_id: Uuid) -> Result<()> {
    sqlx::query!(
        "UPDATE photos p SET report_id = r.report_id, unit_id = r.unit_id, customer_id = r.customer_id FROM visit_reports r
         WHERE r.report_id = $1 AND r.version = 1 AND p.item_id = $1 AND p.report_id IS NULL AND p.staff_id = r.staff_id",
        report_id
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A report has come in place of an item that could not be worked in: what waits for that item or is of the same visit finds the report.
pub async fn join_instead(db: &mut PgConnection, instead: Uuid, visit_id: Option<Uuid>, report_id: Uuid) -> Result<()> {
    sqlx::query!(
        "UPDATE photos p SET report_id = r.report_id, unit_id = r.unit_id, customer_id = r.customer_id FROM visit_reports r
         WHERE r.report_id = $3 AND r.version = 1 AND p.report_id IS NULL AND p.staff_id = r.staff_id AND (p.item_id = $1 OR p.visit_id = $2)",
        instead,
        visit_id,
        report_id
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The office puts a photo that waits with a report, whoever made that. `NotFound`: no such report, or the photo does not wait.
pub async fn place(db: impl PgExecutor<'_>, id: Uuid, report_id: Uuid) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE photos p SET report_id = r.report_id, unit_id = r.unit_id, customer_id = r.customer_id FROM visit_reports r
         WHERE p.id = $1 AND r.report_id = $2 AND r.version = 1 AND p.report_id IS NULL AND p.withdrawn_at IS NULL",
        id,
        report_id
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::NotFound) }
}

/// The file of a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct File {
    pub sha256: [u8; 32],
    pub kind: Kind,
}

fn file(id: Uuid, sha256: Vec<u8>, kind: &str) -> Result<File> {
    let kind = Kind::parse(kind).ok_or_else(|| corrupt("photos", id, "no kind of picture"))?;
    Ok(File { sha256: sha256.try_into().map_err(|_| corrupt("photos", id, "no fingerprint"))?, kind })
}

/// The file, for the office or for a technician who sent the photo, made its report, or is or was sent to its unit. To anyone else there is nothing here.
pub async fn shown_to(db: impl PgExecutor<'_>, id: Uuid, staff_id: Uuid, is_office: bool) -> Result<File> {
    let row = sqlx::query!(
        "SELECT p.sha256, p.kind FROM photos p WHERE p.id = $1 AND p.withdrawn_at IS NULL AND ($3 OR p.staff_id = $2
           OR EXISTS (SELECT FROM visit_reports r WHERE r.report_id = p.report_id AND r.staff_id = $2)
           OR EXISTS (SELECT FROM packed_stops s WHERE s.unit_id = p.unit_id AND s.staff_id = $2)
           OR EXISTS (SELECT FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
                      WHERE v.unit_id = p.unit_id AND v.staff_id = $2 AND w.status = 'issued' AND v.day IS NOT NULL AND v.status <> 'cancelled'))",
        id,
        staff_id,
        is_office
    )
    .fetch_one(db)
    .await?;
    file(id, row.sha256, &row.kind)
}

/// Takes a photo out: its row says when, by whom and why. The file is the caller's to take away, once nothing else needs it.
/// `NotFound` when it is not there or was taken out before.
pub async fn withdraw(db: &mut PgConnection, id: Uuid, by: Uuid, why: &str, now: OffsetDateTime) -> Result<File> {
    let row = sqlx::query!(
        "UPDATE photos SET withdrawn_at = $4, withdrawn_by = $2, withdrawn_why = $3 WHERE id = $1 AND withdrawn_at IS NULL RETURNING sha256, kind",
        id,
        by,
        why,
        now
    )
    .fetch_one(db)
    .await?;
    file(id, row.sha256, &row.kind)
}

/// What stands behind a file's name: some photo that is shown, or one that was taken out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Needed {
    pub shown: bool,
    pub withdrawn: bool,
}

pub async fn needed(db: impl PgExecutor<'_>, sha256: &[u8; 32]) -> Result<Needed> {
    let row = sqlx::query!(
        r#"SELECT coalesce(bool_or(withdrawn_at IS NULL), false) AS "shown!", coalesce(bool_or(withdrawn_at IS NOT NULL), false) AS "withdrawn!"
           FROM photos WHERE sha256 = $1"#,
        &sha256[..]
    )
    .fetch_one(db)
    .await?;
    Ok(Needed { shown: row.shown, withdrawn: row.withdrawn })
}

/// A photo as the pages show it.
#[derive(Clone, Debug)]
pub struct PhotoLine {
    pub id: Uuid,
    pub report_id: Option<Uuid>,
    pub item_id: Option<Uuid>,
    pub unit_id: Option<Uuid>,
    pub staff_name: Option<String>,
    /// The day of its visit, as its newest version says.
    pub visited_on: Option<Date>,
    pub received_at: OffsetDateTime,
    pub caption: String,
    pub width: Option<i32>,
    pub height: Option<i32>,
    pub withdrawn_at: Option<OffsetDateTime>,
    pub withdrawn_by: Option<String>,
    pub withdrawn_why: String,
}

/// The photos of a report, in the order in which they were taken. Of those taken out, too: what was there and why it is not.
pub async fn of_report(db: impl PgExecutor<'_>, report_id: Uuid) -> Result<Vec<PhotoLine>> {
    let rows = sqlx::query_as!(
        PhotoLine,
        r#"SELECT p.id, p.report_id, p.item_id, p.unit_id, s.name AS "staff_name?", r.visited_on AS "visited_on?", p.received_at, p.caption,
             p.width, p.height, p.withdrawn_at, b.name AS "withdrawn_by?", p.withdrawn_why
           FROM photos p LEFT JOIN staff s ON s.id = p.staff_id LEFT JOIN staff b ON b.id = p.withdrawn_by
           LEFT JOIN LATERAL (SELECT visited_on FROM visit_reports v WHERE v.report_id = p.report_id ORDER BY v.version DESC LIMIT 1) r ON true
           WHERE p.report_id = $1 ORDER BY p.id LIMIT 100"#,
        report_id
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The newest photos of a unit that are shown, with those that wait for their report.
pub async fn of_unit(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<PhotoLine>> {
    let rows = sqlx::query_as!(
        PhotoLine,
        r#"SELECT p.id, p.report_id, p.item_id, p.unit_id, s.name AS "staff_name?", r.visited_on AS "visited_on?", p.received_at, p.caption,
             p.width, p.height, p.withdrawn_at, NULL AS "withdrawn_by?: String", p.withdrawn_why
           FROM photos p LEFT JOIN staff s ON s.id = p.staff_id
           LEFT JOIN LATERAL (SELECT visited_on FROM visit_reports v WHERE v.report_id = p.report_id ORDER BY v.version DESC LIMIT 1) r ON true
           WHERE p.unit_id = $1 AND p.withdrawn_at IS NULL ORDER BY p.received_at DESC, p.id DESC LIMIT $2"#,
        unit_id,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Photos whose report is not here, oldest first.
pub async fn waiting(db: impl PgExecutor<'_>, limit: i64) -> Result<Vec<PhotoLine>> {
    let rows = sqlx::query_as!(
        PhotoLine,
        r#"SELECT p.id, p.report_id, p.item_id, p.unit_id, s.name AS "staff_name?", NULL AS "visited_on?: Date", p.received_at, p.caption,
             p.width, p.height, p.withdrawn_at, NULL AS "withdrawn_by?: String", p.withdrawn_why
           FROM photos p LEFT JOIN staff s ON s.id = p.staff_id
           WHERE p.report_id IS NULL AND p.withdrawn_at IS NULL ORDER BY p.received_at, p.id LIMIT $1"#,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

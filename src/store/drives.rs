//! Drives as they were driven, and what they say of the reckoned ones.

use super::Result;
use crate::roads::{
    Calibration, Drives, Position, Roads,
    drives::{BELIEVED_S, Recorded},
};
use sqlx::{PgConnection, PgExecutor};
use std::sync::Arc;
use uuid::Uuid;

/// The newest drives say how it is driven now.
const NEWEST: i64 = 400;

/// What recorded drives say so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// The owner lets them correct the reckoned times.
    pub correct: bool,
    /// Clock over reckoned, in hundredths.
    pub percent: i32,
    pub recorded: i32,
}

impl Standing {
    pub fn calibration(&self) -> Calibration {
        Calibration { drives: usize::try_from(self.recorded).unwrap_or(0), factor: f64::from(self.percent) / 100.0 }
    }
}

pub async fn standing(db: impl PgExecutor<'_>) -> Result<Standing> {
    Ok(sqlx::query_as!(
        Standing,
        "SELECT correct_drives AS correct, drive_percent AS percent, drives_recorded AS recorded FROM dealer WHERE id = 1"
    )
    .fetch_one(db)
    .await?)
}

/// How long drives take, by these roads, corrected by recorded drives as far as the owner lets them.
pub async fn of(db: impl PgExecutor<'_>, roads: Option<Arc<Roads>>) -> Result<Drives> {
    let standing = standing(db).await?;
    let drives = Drives::of(roads);
    Ok(if standing.correct { drives.calibrated(standing.calibration()) } else { drives })
}

pub async fn set_correct(db: impl PgExecutor<'_>, correct: bool) -> Result<()> {
    sqlx::query!("UPDATE dealer SET correct_drives = $1 WHERE id = 1", correct).execute(db).await?;
    Ok(())
}

/// Keeps the drive to this report's place, from where the technician's last sheet before it was kept, if both times are known.
pub async fn record(db: &mut PgConnection, report_id: Uuid) -> Result<bool> {
    let done = sqlx::query!(
        "INSERT INTO recorded_drives (report_id, staff_id, from_lat, from_lon, to_lat, to_lon, left_at, seconds)
         SELECT r.report_id, r.staff_id, a.lat, a.lon, b.lat, b.lon, l.kept_at, extract(epoch FROM r.arrived_at - l.kept_at)::int
         FROM visit_reports r JOIN units u ON u.id = r.unit_id JOIN places b ON b.id = u.place_id
         CROSS JOIN LATERAL (SELECT o.kept_at, o.unit_id FROM visit_reports o
                             WHERE o.staff_id = r.staff_id AND o.report_id <> r.report_id AND o.version = 1 AND o.kept_at <= r.arrived_at
                             ORDER BY o.kept_at DESC LIMIT 1) l
         JOIN units f ON f.id = l.unit_id JOIN places a ON a.id = f.place_id
         WHERE r.report_id = $1 AND r.version = 1 AND a.id <> b.id AND a.lat IS NOT NULL AND b.lat IS NOT NULL
           AND extract(epoch FROM r.arrived_at - l.kept_at) BETWEEN $2::bigint AND $3::bigint
         ON CONFLICT DO NOTHING",
        report_id,
        BELIEVED_S.0,
        BELIEVED_S.1
    )
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The newest drives, newest first, each with the closures that held when it was driven.
pub async fn recorded(db: impl PgExecutor<'_>) -> Result<Vec<(Recorded, Vec<Uuid>)>> {
    let rows = sqlx::query!(
        r#"SELECT d.from_lat, d.from_lon, d.to_lat, d.to_lon, d.seconds,
             ARRAY(SELECT c.id FROM road_closures c
                   WHERE c.from_day <= d.day AND (c.to_day >= d.day OR c.to_day IS NULL) AND (c.lifted_at >= d.left_at OR c.lifted_at IS NULL) LIMIT 100) AS "closed!"
           FROM (SELECT r.*, (r.left_at AT TIME ZONE (SELECT zone FROM dealer WHERE id = 1))::date AS day FROM recorded_drives r ORDER BY r.left_at DESC LIMIT $1) d
           ORDER BY d.left_at DESC"#,
        NEWEST
    )
    .fetch_all(db)
    .await?;
    let one = |from: (f64, f64), to: (f64, f64), seconds: i32| {
        Some(Recorded {
            from: Position::new(from.0, from.1).ok()?,
            to: Position::new(to.0, to.1).ok()?,
            seconds: u32::try_from(seconds).ok()?,
        })
    };
    Ok(rows.into_iter().filter_map(|r| Some((one((r.from_lat, r.from_lon), (r.to_lat, r.to_lon), r.seconds)?, r.closed))).collect())
}

/// Keeps what the drives say.
pub async fn keep(db: impl PgExecutor<'_>, c: Calibration) -> Result<()> {
    #[expect(clippy::cast_possible_truncation, reason = "between 0.8 and 1.6")]
    let percent = (c.factor * 100.0).round() as i32;
    let recorded = i32::try_from(c.drives).unwrap_or(i32::MAX);
    sqlx::query!("UPDATE dealer SET drive_percent = $1, drives_recorded = $2 WHERE id = 1", percent, recorded).execute(db).await?;
    Ok(())
}

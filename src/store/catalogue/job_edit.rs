//! Changing kinds of job and their checklists.

use super::{
    super::{Error, Result},
    jobs::ChecklistItem,
};
use crate::season::JobKind;
use sqlx::{PgConnection, PgExecutor};

/// A kind of job as its page shows it.
#[derive(Clone, Debug)]
pub struct JobSetting {
    pub code: String,
    pub name: String,
    pub minutes: i32,
    pub set_up_minutes: i32,
    pub cadence: String,
    pub skill: String,
    /// What the customer has to see to before.
    pub prepare: String,
    /// Only with a cold firebox.
    pub cold: bool,
    pub retired: bool,
    pub source: String,
    pub row_version: i32,
}

impl JobSetting {
    /// What the water's upkeep rests on, and repairs, cannot be left out.
    pub fn may_retire(&self) -> bool {
        self.cadence.starts_with("every ") && self.code != "water-test" || self.cadence == "on request" && self.code != "repair"
    }
}

/// All kinds, those that are not used any more last.
pub async fn job_settings(db: impl PgExecutor<'_>) -> Result<Vec<JobSetting>> {
    let rows = sqlx::query_as!(
        JobSetting,
        "SELECT code, name, minutes, set_up_minutes, cadence, skill, prepare, cold, retired, source, row_version FROM job_kinds ORDER BY retired, position, code LIMIT 100"
    );
    Ok(rows.fetch_all(db).await?)
}

/// Keeps other figures for a kind. The type has checked them.
pub async fn change_job(db: impl PgExecutor<'_>, kind: &JobKind, prepare: &str, retired: bool, row_version: i32) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE job_kinds SET name = $3, minutes = $4, set_up_minutes = $5, skill = $6, retired = $7, prepare = $8, cold = $9, source = 'the dealer''s own', row_version = row_version + 1
         WHERE code = $1 AND row_version = $2",
        kind.code(),
        row_version,
        kind.name(),
        i32::from(kind.minutes()),
        i32::from(kind.setup_minutes()),
        kind.skills.first().map_or("", String::as_str),
        retired,
        prepare,
        kind.cold
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Most kinds that are kept.
pub const MOST_KINDS: i64 = 40;

/// Adds a kind that recurs as `cadence` says: in a season, or on request. `prepare`: what the customer has to see to before.
pub async fn add_job(db: &mut PgConnection, kind: &JobKind, prepare: &str, cadence: &str) -> Result<()> {
    let added = sqlx::query!(
        "INSERT INTO job_kinds (code, name, minutes, set_up_minutes, cadence, skill, prepare, cold, tests_water, source, position)
         SELECT $1, $2, $3, $4, $5, $6, $8, $9, false, 'the dealer''s own', least(1000, max(position) + 10) FROM job_kinds HAVING count(*) < $7",
        kind.code(),
        kind.name(),
        i32::from(kind.minutes()),
        i32::from(kind.setup_minutes()),
        cadence,
        kind.skills.first().map_or("", String::as_str),
        MOST_KINDS,
        prepare,
        kind.cold
    )
    .execute(db)
    .await?;
    if added.rows_affected() == 1 { Ok(()) } else { Err(Error::Rule("too_many_jobs".to_owned())) }
}

/// Most steps of one kind that are kept, those that are not used any more left out.
pub const MOST_STEPS: i64 = 40;

/// Adds a step at the end of a checklist, or in the place of another, which is not used any more then.
pub async fn add_step(db: &mut PgConnection, step: &ChecklistItem, instead_of: Option<&str>) -> Result<()> {
    if let Some(old) = instead_of {
        retire_step(&mut *db, old).await?;
    }
    let added = sqlx::query!(
        "INSERT INTO checklist_items (code, job_code, position, says, expect, caution, answer, asked_unit, only_fuel_moisture, basis)
         SELECT $1, $2, coalesce((SELECT position FROM checklist_items WHERE code = $3), (SELECT least(1000, max(position) + 10) FROM checklist_items WHERE job_code = $2 AND NOT retired), 10),
           $4, $5, $6, CASE WHEN $7 THEN 'figure' ELSE 'done' END, $8, $9, $10
         WHERE (SELECT count(*) FROM checklist_items WHERE job_code = $2 AND NOT retired) < $11",
        step.code,
        step.job_code,
        instead_of,
        step.says,
        step.expect,
        step.caution,
        step.figure,
        step.asked_unit,
        step.only_fuel_moisture,
        step.basis,
        MOST_STEPS
    )
    .execute(db)
    .await?;
    if added.rows_affected() == 1 { Ok(()) } else { Err(Error::Rule("too_many_steps".to_owned())) }
}

/// Leaves a step out from now on. [`Error::Clash`] when somebody changed or left it out meanwhile.
pub async fn retire_step(db: impl PgExecutor<'_>, code: &str) -> Result<()> {
    let done = sqlx::query!("UPDATE checklist_items SET retired = true WHERE code = $1 AND NOT retired", code).execute(db).await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

//! What source water is held against: profiles and their limits, as the dealer keeps them.

use super::super::{Error, Result, corrupt};
use crate::water::fill::{
    device::FillDevice,
    profile::{Bounds, Limit, Parameter, Profile, Remedy},
};
use sqlx::{PgConnection, PgExecutor};

/// A profile as it is kept.
#[derive(Clone, Debug)]
pub struct ProfileRow {
    pub code: String,
    pub profile: Profile,
    pub row_version: i32,
}

fn text_of(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

/// The text that stands for a parameter in the database and in a form.
pub fn parameter_text(parameter: Parameter) -> String {
    text_of(&parameter)
}

/// The same for a remedy.
pub fn remedy_text(remedy: Remedy) -> String {
    text_of(&remedy)
}

/// The same for what stands between house line and heater.
pub fn device_text(device: FillDevice) -> String {
    text_of(&device)
}

fn read<T: serde::de::DeserializeOwned>(code: &str, text: String) -> Result<T> {
    serde_json::from_value(serde_json::Value::String(text)).map_err(|e| corrupt("fill_limits", code, e))
}

/// Every profile with its limits, those that decide first.
pub async fn profiles(db: &mut PgConnection) -> Result<Vec<ProfileRow>> {
    let rows = sqlx::query!("SELECT code, name, decides, row_version FROM fill_profiles ORDER BY decides DESC, name, code LIMIT 30")
        .fetch_all(&mut *db)
        .await?;
    let mut found: Vec<ProfileRow> = rows
        .into_iter()
        .map(|r| ProfileRow {
            profile: Profile { name: r.name, decides: r.decides, limits: Vec::new() },
            code: r.code,
            row_version: r.row_version,
        })
        .collect();
    let limits = sqlx::query!(
        "SELECT profile_code, parameter, ok_from, ok_to, caution_from, caution_to, remedy, why, source FROM fill_limits ORDER BY profile_code, position, parameter LIMIT 400"
    )
    .fetch_all(db)
    .await?;
    for r in limits {
        let code = r.profile_code;
        let parameter: Parameter = read(&code, r.parameter)?;
        let remedy: Remedy = read(&code, r.remedy)?;
        let (ok, caution) = (Bounds { from: r.ok_from, to: r.ok_to }, Bounds { from: r.caution_from, to: r.caution_to });
        let limit = Limit::new(parameter, ok, caution, remedy).map_err(|e| corrupt("fill_limits", &code, e))?.because(&r.why, &r.source);
        if let Some(row) = found.iter_mut().find(|row| row.code == code) {
            row.profile.limits.push(limit);
        }
    }
    Ok(found)
}

/// Changes a profile, or adds it when no version is given; its limits are replaced by these.
pub async fn keep_profile(db: &mut PgConnection, code: &str, p: &Profile, row_version: Option<i32>) -> Result<()> {
    let done = sqlx::query!(
        "INSERT INTO fill_profiles (code, name, decides) VALUES ($1, $2, $3)
         ON CONFLICT (code) DO UPDATE SET name = excluded.name, decides = excluded.decides, row_version = fill_profiles.row_version + 1
         WHERE fill_profiles.row_version = $4",
        code,
        p.name,
        p.decides,
        row_version
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() != 1 {
        return Err(Error::Clash);
    }
    sqlx::query!("DELETE FROM fill_limits WHERE profile_code = $1", code).execute(&mut *db).await?;
    for (limit, position) in p.limits.iter().zip(1_i16..) {
        add_limit(&mut *db, code, limit, position).await?;
    }
    Ok(())
}

async fn add_limit(db: impl PgExecutor<'_>, code: &str, limit: &Limit, position: i16) -> Result<()> {
    sqlx::query!(
        "INSERT INTO fill_limits (profile_code, parameter, ok_from, ok_to, caution_from, caution_to, remedy, why, source, position)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        code,
        text_of(&limit.parameter()),
        limit.ok().from,
        limit.ok().to,
        limit.caution().from,
        limit.caution().to,
        text_of(&limit.remedy()),
        limit.why,
        limit.source,
        position
    )
    .execute(db)
    .await?;
    Ok(())
}

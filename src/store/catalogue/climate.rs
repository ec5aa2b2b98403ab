//! The monthly means that the heating season is worked out from, and the rules for the windows round it.

use super::super::{Error, Result};
use crate::season::OnsetRules;
use sqlx::PgExecutor;

/// As it is kept; `normals` is empty until somebody has entered twelve.
#[derive(Clone, Debug)]
pub struct Climate {
    /// °C, January first.
    pub normals: Vec<f64>,
    pub rules: OnsetRules,
    pub source: String,
    pub row_version: i32,
}

pub async fn climate(db: impl PgExecutor<'_>) -> Result<Climate> {
    let r = sqlx::query!(
        "SELECT normals_c, threshold_c, fall_opens_before, fall_closes_before, spring_days, source, row_version FROM climate WHERE id = 1"
    )
    .fetch_one(db)
    .await?;
    let days = |d: i16| u16::try_from(d).unwrap_or(0);
    let rules = OnsetRules {
        threshold: r.threshold_c,
        fall_opens_before: days(r.fall_opens_before),
        fall_closes_before: days(r.fall_closes_before),
        spring_days: days(r.spring_days),
    };
    Ok(Climate { normals: r.normals_c, rules, source: r.source, row_version: r.row_version })
}

pub async fn change_climate(db: impl PgExecutor<'_>, c: &Climate) -> Result<()> {
    let days = |d: u16| i16::try_from(d).unwrap_or(i16::MAX);
    let done = sqlx::query!(
        "UPDATE climate SET normals_c = $1, threshold_c = $2, fall_opens_before = $3, fall_closes_before = $4, spring_days = $5, source = $6,
           row_version = row_version + 1 WHERE id = 1 AND row_version = $7",
        &c.normals,
        c.rules.threshold,
        days(c.rules.fall_opens_before),
        days(c.rules.fall_closes_before),
        days(c.rules.spring_days),
        c.source,
        c.row_version
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

//! The dose to expect at each unit's next visit, for the van's load and the printed week.

use super::{UnitWater, latest_lines};
use crate::{
    store::Result,
    units::{MgPerLitre, Millilitres},
    water::{Occasion, Reading, advise, expect, level_after},
};
use sqlx::PgExecutor;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// Millilitres to expect on `day`, for every unit with a history that allows it.
pub async fn expected_doses(db: impl PgExecutor<'_>, waters: &[&UnitWater], day: Date) -> Result<HashMap<Uuid, i64>> {
    let ids: Vec<Uuid> = waters.iter().map(|w| w.unit_id).collect();
    let mut lines: HashMap<Uuid, Vec<Line>> = HashMap::new();
    for (unit, on, level, ml) in latest_lines(db, &ids).await? {
        lines.entry(unit).or_default().push((on, level, ml));
    }
    let expected = waters.iter().filter_map(|w| {
        let lines = lines.get(&w.unit_id)?;
        Some((w.unit_id, expected(w, lines, day)?))
    });
    Ok(expected.collect())
}

/// A day with the level of a test in mg/L, or with the millilitres of a dose.
type Line = (Date, Option<i32>, Option<i64>);

fn expected(water: &UnitWater, lines: &[Line], day: Date) -> Option<i64> {
    let site = water.site(Occasion::Scheduled, day)?;
    let mut steps: Vec<expect::Step> = Vec::new();
    for (on, level, ml) in lines {
        if let Some(level) = level.and_then(|l| MgPerLitre::new(l.into()).ok()) {
            steps.push(expect::Step { day: *on, tested: level, left_at: level });
        } else if let (Some(step), Some(ml)) = (steps.last_mut(), ml.and_then(|m| Millilitres::new(m).ok())) {
            step.left_at = level_after(&site, step.left_at, ml)?;
        }
    }
    let level = expect::expected_level(&steps, day)?;
    let advice = advise(&site, Reading { level, ph: None, tested_on: day });
    Some(advice.dose().map_or(0, |d| d.amount.ml.get()))
}

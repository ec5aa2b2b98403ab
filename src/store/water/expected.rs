//! The dose to expect at each unit's next visit, for the van's load and the printed week.

use super::{Line, UnitWater, latest_lines};
use crate::{
    store::{Result, catalogue::Treatments},
    units::{MgPerLitre, Millilitres},
    water::{Occasion, Reading, Site, advise, expect, level_after},
};
use sqlx::PgExecutor;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// Millilitres to expect on `day`, for every unit with a history that allows it.
pub async fn expected_doses(db: impl PgExecutor<'_>, known: &Treatments, waters: &[&UnitWater], day: Date) -> Result<HashMap<Uuid, i64>> {
    let ids: Vec<Uuid> = waters.iter().map(|w| w.unit_id).collect();
    let mut lines: HashMap<Uuid, Vec<Line>> = HashMap::new();
    for line in latest_lines(db, &ids).await? {
        lines.entry(line.unit_id).or_default().push(line);
    }
    let expected = waters.iter().filter_map(|w| {
        let lines = lines.get(&w.unit_id)?;
        Some((w.unit_id, expected(w, known, lines, day)?))
    });
    Ok(expected.collect())
}

fn expected(water: &UnitWater, known: &Treatments, lines: &[Line], day: Date) -> Option<i64> {
    let site = water.site(Occasion::Scheduled, day)?;
    let mut steps: Vec<expect::Step> = Vec::new();
    for line in lines {
        if let Some(level) = line.level.and_then(|l| MgPerLitre::new(l.into()).ok()) {
            steps.push(expect::Step { day: line.day, tested: level, left_at: level, anew: line.is_fill });
        } else if let (Some(step), Some(ml)) = (steps.last_mut(), line.ml.and_then(|m| Millilitres::new(m).ok())) {
            // What was put in then may be another product than today's.
            let product = line.product_id.and_then(|id| known.product(id)).map_or(site.product, |p| &p.product);
            // A product of another substance leaves the level as it was.
            if let Some(after) = level_after(&Site { product, ..site }, step.left_at, ml) {
                step.left_at = after;
            }
        }
    }
    // A fill of which nothing else is known says nothing of the water of today.
    if steps.iter().all(|step| step.anew && step.left_at.get() == 0) {
        return None;
    }
    let level = expect::expected_level(&steps, day)?;
    let advice = advise(&site, Reading { level, ph: None, tested_on: day });
    Some(advice.dose().map_or(0, |d| d.amount.ml.get()))
}

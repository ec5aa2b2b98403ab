//! A unit's history as the forecast asks for it: levels, what changed the water, what the make-up meter showed.

use super::{
    super::{Result, catalogue, corrupt},
    UnitWater,
};
use crate::{
    units::{MgPerLitre, Millilitres},
    water::{
        Counts, Occasion, Site,
        forecast::{Change, Changed, Dosed, History, Tested, levels_after},
        kit::Measured,
        rise,
    },
};
use sqlx::PgExecutor;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// Everything of one unit that a forecast is made from.
#[derive(Clone, Debug, Default)]
pub struct UnitRecord {
    /// Tests, and levels worked out after a dose.
    pub tests: Vec<Tested>,
    pub changes: Vec<Changed>,
    /// What the make-up meter showed, oldest first.
    pub meter: Vec<(Date, Millilitres)>,
}

impl UnitRecord {
    pub fn history(&self, water: &UnitWater) -> History<'_> {
        History { tests: &self.tests, changes: &self.changes, volume: water.volume }
    }
}

/// Relative standard deviation in ‰ of a figure that came without a kit: a laboratory as a photometer, else twice that
/// (common practice, no source).
const LABORATORY_SD: i64 = 50;
const NO_KIT_SD: i64 = 100;

struct Row {
    unit_id: Uuid,
    day: Date,
    kind: String,
    level: Option<i32>,
    drops: Option<i16>,
    code: Option<String>,
    product_id: Option<Uuid>,
    ml: Option<i64>,
}

/// The newest forty facts of each sort reach back many years.
async fn rows(db: impl PgExecutor<'_>, ids: &[Uuid]) -> Result<Vec<Row>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT u.id AS "unit_id!", x.day AS "day!", x.kind AS "kind!", x.level, x.drops, x.code, x.product_id, x.ml
           FROM units u CROSS JOIN LATERAL (
             (SELECT t.taken_on AS day, CASE t.made_by WHEN 'laboratory' THEN 'laboratory' ELSE 'test' END AS kind, level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS level, i.drops,
                i.kit_code AS code, NULL::uuid AS product_id, NULL::bigint AS ml, t.made_at
              FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' AND NOT i.reagent_expired AND read_for(u.programme_code, i.basis)
              WHERE t.unit_id = u.id AND t.superseded_at IS NULL AND t.of_water = 'unit' AND t.made_by <> 'customer' ORDER BY t.taken_on DESC, t.made_at DESC LIMIT 40)
             UNION ALL
             (SELECT d.given_on, 'dose', NULL, NULL, NULL, d.product_id, d.amount_ml, d.made_at
              FROM doses d WHERE d.unit_id = u.id AND d.superseded_at IS NULL ORDER BY d.given_on DESC, d.made_at DESC LIMIT 40)
             UNION ALL
             (SELECT e.happened_on, e.what, NULL, NULL, NULL, NULL, e.amount_ml, e.made_at
              FROM water_events e WHERE e.unit_id = u.id AND e.superseded_at IS NULL ORDER BY e.happened_on DESC, e.made_at DESC LIMIT 40)
             UNION ALL
             (SELECT f.filled_on, 'refill', NULL, NULL, NULL, NULL, NULL, f.made_at FROM fills f WHERE f.unit_id = u.id AND f.superseded_at IS NULL ORDER BY f.filled_on DESC LIMIT 20)
             UNION ALL
             (SELECT f.drained_on, 'drained', NULL, NULL, NULL, NULL, NULL, f.made_at
              FROM fills f WHERE f.unit_id = u.id AND f.superseded_at IS NULL AND f.drained_on IS NOT NULL ORDER BY f.filled_on DESC LIMIT 20)
             UNION ALL
             (SELECT r.visited_on, k.begins, NULL, NULL, NULL, NULL, NULL, r.received_at
              FROM visit_reports r JOIN report_jobs j ON j.report_id = r.report_id AND j.version = r.version JOIN job_kinds k ON k.code = j.job_code
              WHERE r.unit_id = u.id AND r.outcome = 'done' AND k.begins <> ''
                AND NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1)
              ORDER BY r.visited_on DESC LIMIT 40)
           ) x WHERE u.id = ANY($1) ORDER BY 1, 2, x.made_at"#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The records of these units; one without any fact is left out.
#[expect(clippy::implicit_hasher, reason = "the map that unit_waters gives")]
pub async fn records(
    db: impl PgExecutor<'_>,
    known: &catalogue::Treatments,
    waters: &HashMap<Uuid, UnitWater>,
) -> Result<HashMap<Uuid, UnitRecord>> {
    let ids: Vec<Uuid> = waters.keys().copied().collect();
    let mut records: HashMap<Uuid, UnitRecord> = HashMap::new();
    let mut doses: HashMap<Uuid, Vec<Dosed>> = HashMap::new();
    for row in rows(db, &ids).await? {
        let Some(water) = waters.get(&row.unit_id) else { continue };
        let record = records.entry(row.unit_id).or_default();
        match row.kind.as_str() {
            "test" | "laboratory" => record.tests.extend(tested(&row, known)?),
            "meter" => record.meter.extend(row.ml.and_then(|ml| Millilitres::new(ml).ok()).map(|ml| (row.day, ml))),
            "dose" => doses.entry(row.unit_id).or_default().extend(dosed(&row, water, known)),
            _ => {}
        }
        record.changes.extend(change(&row.kind).map(|what| Changed { on: row.day, what }));
    }
    for (id, doses) in doses {
        let Some(record) = records.get_mut(&id) else { continue };
        let worked_out = levels_after(&record.tests, &record.changes, &doses);
        record.tests.extend(worked_out);
    }
    Ok(records)
}

fn change(kind: &str) -> Option<Change> {
    match kind {
        "dose" => Some(Change::Dose),
        "drained" => Some(Change::Drain),
        "refill" => Some(Change::Refill),
        "heating" => Some(Change::StartUp),
        "resting" => Some(Change::ShutDown),
        _ => None,
    }
}

/// A test with the error of its kit. The level stays as it was kept; a kit that has changed since lends its error only.
fn tested(row: &Row, known: &catalogue::Treatments) -> Result<Option<Tested>> {
    let Some(level) = row.level else { return Ok(None) };
    let level = MgPerLitre::new(level.into()).map_err(|e| corrupt("readings", row.unit_id, e))?;
    let share = |per_mille: i64| MgPerLitre::new((level.get() * per_mille + 999) / 1000).unwrap_or(level);
    let kit = row.code.as_deref().and_then(|code| known.kit(code));
    let sd = match kit.map(|kit| (kit, kit.counts)) {
        Some((kit, Counts::Drops { .. })) => {
            let drops = row.drops.and_then(|drops| u16::try_from(drops).ok());
            let measured = drops.and_then(|drops| kit.from_drops(drops, kit.basis).ok());
            // In the kit's own basis; as a share of its own level it holds in any.
            measured.filter(|m| m.level.get() > 0).map_or(share(NO_KIT_SD), |m| share(m.sd.get() * 1000 / m.level.get()))
        }
        Some((_, Counts::Direct { relative_sd })) => share(relative_sd.into()),
        None => share(if row.kind == "laboratory" { LABORATORY_SD } else { NO_KIT_SD }),
    };
    Ok(Some(Tested { on: row.day, measured: Measured { level, sd }, worked_out: false }))
}

fn dosed(row: &Row, water: &UnitWater, known: &catalogue::Treatments) -> Option<Dosed> {
    let product = &known.product(row.product_id?)?.product;
    let site = Site {
        volume: water.volume,
        programme: &water.programme,
        product,
        facts: water.facts,
        occasion: Occasion::Scheduled,
        day: row.day,
    };
    Some(Dosed { on: row.day, rise: rise(&site, Millilitres::new(row.ml?).ok()?)? })
}

//! The water record of a unit: every test and dose that counts, newest first.

use super::super::Result;
use sqlx::PgExecutor;
use time::Date;
use uuid::Uuid;

/// One test as a line of the record.
#[derive(Clone, Debug)]
pub struct TestLine {
    pub id: Uuid,
    pub taken_on: Date,
    pub of_water: String,
    pub made_by: String,
    /// In the programme's basis, mg/L.
    pub level: Option<i32>,
    pub drops: Option<i16>,
    pub kit_name: Option<String>,
    /// pH in thousandths.
    pub ph_milli: Option<i64>,
    pub hardness_milli: Option<i64>,
    pub reagent_expired: bool,
    pub note: String,
}

/// The last `limit` tests of a unit.
pub async fn tests(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<TestLine>> {
    let rows = sqlx::query_as!(
        TestLine,
        r#"SELECT t.id, t.taken_on, t.of_water, t.made_by, i.programme_mg_l AS "level?", i.drops AS "drops?", k.name AS "kit_name?",
             h.value_milli AS "ph_milli?", c.value_milli AS "hardness_milli?", coalesce(i.reagent_expired, false) AS "reagent_expired!", t.note
           FROM water_tests t
           LEFT JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' LEFT JOIN test_kits k ON k.code = i.kit_code
           LEFT JOIN readings h ON h.test_id = t.id AND h.what = 'ph' LEFT JOIN readings c ON c.test_id = t.id AND c.what = 'hardness'
           WHERE t.unit_id = $1 AND t.superseded_at IS NULL ORDER BY t.taken_on DESC, t.made_at DESC LIMIT $2"#,
        unit_id,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// One dose as a line of the record.
#[derive(Clone, Debug)]
pub struct DoseLine {
    pub given_on: Date,
    pub product_name: String,
    pub amount_ml: i64,
    pub lot: Option<String>,
}

/// The last `limit` doses of a unit.
pub async fn doses(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<DoseLine>> {
    let rows = sqlx::query_as!(
        DoseLine,
        r#"SELECT d.given_on, p.name AS product_name, d.amount_ml, l.lot AS "lot?"
           FROM doses d JOIN products p ON p.id = d.product_id LEFT JOIN lots l ON l.id = d.lot_id
           WHERE d.unit_id = $1 AND d.superseded_at IS NULL ORDER BY d.given_on DESC, d.made_at DESC LIMIT $2"#,
        unit_id,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Tests and doses of many units at once, oldest first, as the expectation of the next dose needs them:
/// unit, day, level in mg/L for a test, millilitres for a dose.
pub async fn latest_lines(db: impl PgExecutor<'_>, ids: &[Uuid]) -> Result<Vec<(Uuid, Date, Option<i32>, Option<i64>)>> {
    let rows = sqlx::query!(
        r#"SELECT x.unit_id AS "unit_id!", x.day AS "day!", x.level, x.ml FROM unnest($1::uuid[]) AS u(id) CROSS JOIN LATERAL (
             (SELECT t.unit_id, t.taken_on AS day, 0 AS kind, t.made_at, i.programme_mg_l AS level, NULL::bigint AS ml
              FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor'
              WHERE t.unit_id = u.id AND t.superseded_at IS NULL AND t.of_water = 'unit' AND t.made_by <> 'customer' ORDER BY t.taken_on DESC LIMIT 12)
             UNION ALL
             (SELECT d.unit_id, d.given_on, 1, d.made_at, NULL, d.amount_ml FROM doses d WHERE d.unit_id = u.id AND d.superseded_at IS NULL ORDER BY d.given_on DESC LIMIT 12)
           ) x ORDER BY 1, 2, x.kind, x.made_at"#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.unit_id, r.day, r.level, r.ml)).collect())
}

/// Every figure of one test, as it was read.
#[derive(Clone, Debug)]
pub struct Figures {
    pub taken_on: Date,
    pub note: String,
    /// What and its thousandths; the inhibitor in mg/L of the programme's basis.
    read: Vec<(String, i64)>,
}

impl Figures {
    /// In the basis that [`super::What`] names for it.
    pub fn get(&self, what: super::What) -> Option<f64> {
        let milli = self.read.iter().find(|(name, _)| name == what.as_str())?.1;
        #[expect(clippy::cast_precision_loss, reason = "a reading is far below 2^52 thousandths")]
        Some(milli as f64 / 1000.0)
    }
}

/// All figures of the last `limit` tests of a unit's own water (or of its fills' source water), newest first; a customer's own tests are left out.
pub async fn figures(db: impl PgExecutor<'_>, unit_id: Uuid, of_fill: bool, limit: i64) -> Result<Vec<Figures>> {
    let of_water = if of_fill { "fill" } else { "unit" };
    let rows = sqlx::query!(
        r#"SELECT t.id, t.taken_on, t.note, r.what, CASE WHEN r.what = 'inhibitor' THEN r.programme_mg_l::bigint * 1000 ELSE r.value_milli END AS "milli"
           FROM (SELECT id, taken_on, note, made_at FROM water_tests WHERE unit_id = $1 AND superseded_at IS NULL AND of_water = $2 AND made_by <> 'customer'
                 ORDER BY taken_on DESC, made_at DESC LIMIT $3) t
           JOIN readings r ON r.test_id = t.id ORDER BY t.taken_on DESC, t.made_at DESC, t.id"#,
        unit_id,
        of_water,
        limit
    )
    .fetch_all(db)
    .await?;
    let mut tests: Vec<(Uuid, Figures)> = Vec::new();
    for r in rows {
        let figure = r.milli.map(|milli| (r.what, milli));
        match tests.last_mut() {
            Some((id, test)) if *id == r.id => test.read.extend(figure),
            _ => tests.push((r.id, Figures { taken_on: r.taken_on, note: r.note, read: figure.into_iter().collect() })),
        }
    }
    Ok(tests.into_iter().map(|(_, test)| test).collect())
}

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
    /// Where it was read for another programme, of another substance: thousandths of mg/L, and the basis.
    pub other_milli: Option<i64>,
    pub other_basis: Option<String>,
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
        r#"SELECT t.id, t.taken_on, t.of_water, t.made_by, level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS "level?",
             CASE WHEN NOT read_for(u.programme_code, i.basis) THEN i.value_milli END AS "other_milli?", i.basis AS "other_basis?",
             i.drops AS "drops?", k.name AS "kit_name?", h.value_milli AS "ph_milli?", c.value_milli AS "hardness_milli?", coalesce(i.reagent_expired, false) AS "reagent_expired!", t.note
           FROM water_tests t JOIN units u ON u.id = t.unit_id
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

/// What the expectation of the next dose needs of a unit's past.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    pub unit_id: Uuid,
    pub day: Date,
    /// mg/L of a test; 0 of a fill.
    pub level: Option<i32>,
    pub is_fill: bool,
    /// Millilitres of a dose.
    pub ml: Option<i64>,
    pub product_id: Option<Uuid>,
}

/// Fills, tests and doses of many units at once, oldest first; on one day in this order.
pub async fn latest_lines(db: impl PgExecutor<'_>, ids: &[Uuid]) -> Result<Vec<Line>> {
    let rows = sqlx::query_as!(
        Line,
        r#"SELECT x.unit_id AS "unit_id!", x.day AS "day!", x.level, x.kind = -1 AS "is_fill!", x.ml, x.product_id FROM units u CROSS JOIN LATERAL (
             (SELECT f.unit_id, f.filled_on AS day, -1 AS kind, f.made_at, 0 AS level, NULL::bigint AS ml, NULL::uuid AS product_id
              FROM fills f WHERE f.unit_id = u.id AND f.superseded_at IS NULL ORDER BY f.filled_on DESC LIMIT 2)
             UNION ALL
             (SELECT t.unit_id, t.taken_on AS day, 0 AS kind, t.made_at, level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS level, NULL::bigint AS ml, NULL::uuid
              FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' AND read_for(u.programme_code, i.basis)
              WHERE t.unit_id = u.id AND t.superseded_at IS NULL AND t.of_water = 'unit' AND t.made_by <> 'customer' ORDER BY t.taken_on DESC LIMIT 12)
             UNION ALL
             (SELECT d.unit_id, d.given_on, 1, d.made_at, NULL, d.amount_ml, d.product_id FROM doses d WHERE d.unit_id = u.id AND d.superseded_at IS NULL ORDER BY d.given_on DESC LIMIT 12)
           ) x WHERE u.id = ANY($1) ORDER BY 1, 2, x.kind, x.made_at"#,
        ids
    );
    Ok(rows.fetch_all(db).await?)
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
        r#"SELECT t.id, t.taken_on, t.note, r.what, CASE WHEN r.what <> 'inhibitor' THEN r.value_milli ELSE level_as(u.programme_code, r.basis, r.value_milli, r.programme_mg_l)::bigint * 1000 END AS "milli"
           FROM (SELECT id, unit_id, taken_on, note, made_at FROM water_tests WHERE unit_id = $1 AND superseded_at IS NULL AND of_water = $2 AND made_by <> 'customer'
                 ORDER BY taken_on DESC, made_at DESC LIMIT $3) t
           JOIN units u ON u.id = t.unit_id JOIN readings r ON r.test_id = t.id ORDER BY t.taken_on DESC, t.made_at DESC, t.id"#,
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

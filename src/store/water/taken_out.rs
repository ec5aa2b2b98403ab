//! Facts of a unit's water that were a slip. They stay with their mark; nothing counts on them any more.

use super::{
    super::{Error, Result},
    facts,
};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// What can be taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fact {
    Test,
    Dose,
    Fill,
    /// What the make-up meter showed, or what was drained.
    Event,
}

impl Fact {
    const ALL: [Self; 4] = [Self::Test, Self::Dose, Self::Fill, Self::Event];

    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Test => "test",
            Self::Dose => "dose",
            Self::Fill => "fill",
            Self::Event => "event",
        }
    }

    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.as_str() == text)
    }
}

/// One fact as a line.
#[derive(Clone, Debug)]
pub struct FactLine {
    pub fact: String,
    pub id: Uuid,
    pub day: Date,
    /// Who made the test, what was put in, what it was filled with, what the event is.
    pub about: String,
    /// mg/L of a test; millilitres of the others.
    pub amount: Option<i64>,
    /// pH of a test, in thousandths.
    pub ph_milli: Option<i64>,
    /// The visit report that carries it: there it is corrected.
    pub report_id: Option<Uuid>,
}

/// Facts of a unit's water that count, newest first.
pub async fn fact_lines(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<FactLine>> {
    let rows = sqlx::query_as!(
        FactLine,
        r#"SELECT fact AS "fact!", id AS "id!", day AS "day!", about AS "about!", amount, ph_milli, report_id FROM (
             (SELECT 'test' AS fact, t.id, t.taken_on AS day, t.made_at, CASE WHEN t.of_water = 'fill' THEN 'source water' ELSE t.made_by END AS about,
                i.programme_mg_l::bigint AS amount, h.value_milli AS ph_milli, t.report_id
              FROM water_tests t LEFT JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' LEFT JOIN readings h ON h.test_id = t.id AND h.what = 'ph'
              WHERE t.unit_id = $1 AND t.superseded_at IS NULL ORDER BY t.taken_on DESC, t.made_at DESC LIMIT $2)
             UNION ALL
             (SELECT 'dose', d.id, d.given_on, d.made_at, p.name, d.amount_ml, NULL, d.report_id FROM doses d JOIN products p ON p.id = d.product_id
              WHERE d.unit_id = $1 AND d.superseded_at IS NULL ORDER BY d.given_on DESC, d.made_at DESC LIMIT $2)
             UNION ALL
             (SELECT 'fill', f.id, f.filled_on, f.made_at, f.source_water, f.amount_ml, NULL, f.report_id FROM fills f
              WHERE f.unit_id = $1 AND f.superseded_at IS NULL ORDER BY f.filled_on DESC, f.made_at DESC LIMIT $2)
             UNION ALL
             (SELECT 'event', e.id, e.happened_on, e.made_at, e.what, e.amount_ml, NULL, e.report_id FROM water_events e
              WHERE e.unit_id = $1 AND e.superseded_at IS NULL ORDER BY e.happened_on DESC, e.made_at DESC LIMIT $2)) x
           ORDER BY day DESC, made_at DESC, id LIMIT $2"#,
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// One that was taken out, as its line stood.
#[derive(Clone, Debug)]
pub struct OutLine {
    pub day: Date,
    pub says: String,
    pub why: String,
    pub by: Option<String>,
}

/// What was taken out of a unit's record, the latest first.
pub async fn taken_out(db: impl PgExecutor<'_>, unit_id: Uuid, limit: i64) -> Result<Vec<OutLine>> {
    let rows = sqlx::query_as!(
        OutLine,
        r#"SELECT o.day, o.says, o.why, s.name AS "by?" FROM taken_out o LEFT JOIN staff s ON s.id = o.by_staff WHERE o.unit_id = $1 ORDER BY o.at DESC, o.id LIMIT $2"#,
        unit_id,
        limit
    );
    Ok(rows.fetch_all(db).await?)
}

/// What is taken out, why and by whom, under the number of its form.
#[derive(Clone, Copy, Debug)]
pub struct TakeOut<'a> {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub fact: Fact,
    pub fact_id: Uuid,
    /// Its day and its words, as they stay in the list of what was taken out.
    pub day: Date,
    pub says: &'a str,
    pub why: &'a str,
    pub by: Uuid,
}

/// Takes one fact out of a unit's record. A dose goes back onto the shelf; a fill takes its source water's test, its first charge and
/// the volume read at it along, and the water before it counts as the unit's again. What is due is worked out by the caller.
///
/// [`Error::Clash`] when it is out already, is no fact of this unit, or stands in a visit report, which is corrected instead.
pub async fn take_out(db: &mut PgConnection, out: &TakeOut<'_>, now: OffsetDateTime) -> Result<()> {
    let done = if out.fact == Fact::Fill { fill(&mut *db, out, now).await? } else { mark(&mut *db, out, now).await? };
    if !done {
        return Err(Error::Clash);
    }
    if out.fact == Fact::Dose {
        facts::back_on_the_shelf(&mut *db, &[out.fact_id], now).await?;
    }
    sqlx::query!(
        "INSERT INTO taken_out (id, unit_id, fact, fact_id, day, says, why, by_staff, at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        out.id,
        out.unit_id,
        out.fact.as_str(),
        out.fact_id,
        out.day,
        out.says,
        out.why,
        out.by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Marks a test, a dose or an event that no report carries. `false`: there is none such that counts.
async fn mark(db: &mut PgConnection, out: &TakeOut<'_>, now: OffsetDateTime) -> Result<bool> {
    let marked = sqlx::query_scalar!(
        r#"WITH t AS (UPDATE water_tests SET superseded_at = $3 WHERE $4 = 'test' AND id = $1 AND unit_id = $2 AND report_id IS NULL AND superseded_at IS NULL RETURNING id),
             d AS (UPDATE doses SET superseded_at = $3 WHERE $4 = 'dose' AND id = $1 AND unit_id = $2 AND report_id IS NULL AND superseded_at IS NULL RETURNING id),
             e AS (UPDATE water_events SET superseded_at = $3 WHERE $4 = 'event' AND id = $1 AND unit_id = $2 AND report_id IS NULL AND superseded_at IS NULL RETURNING id)
           SELECT id AS "id!" FROM t UNION ALL SELECT id FROM d UNION ALL SELECT id FROM e"#,
        out.fact_id,
        out.unit_id,
        now,
        out.fact.as_str()
    );
    Ok(marked.fetch_optional(db).await?.is_some())
}

/// Marks a fill with what belongs to it. `false`: there is none such that counts.
async fn fill(db: &mut PgConnection, out: &TakeOut<'_>, now: OffsetDateTime) -> Result<bool> {
    let fill = sqlx::query!(
        "SELECT filled_on, made_at FROM fills WHERE id = $1 AND unit_id = $2 AND report_id IS NULL AND superseded_at IS NULL FOR UPDATE",
        out.fact_id,
        out.unit_id
    );
    let Some(fill) = fill.fetch_optional(&mut *db).await? else { return Ok(false) };
    sqlx::query!("UPDATE water_tests SET superseded_at = $2 WHERE fill_id = $1 AND superseded_at IS NULL", out.fact_id, now)
        .execute(&mut *db)
        .await?;
    // The first charge was kept in the same moment as its fill.
    let charges = sqlx::query_scalar!(
        "UPDATE doses SET superseded_at = $4 WHERE unit_id = $1 AND given_on = $2 AND made_at = $3 AND report_id IS NULL AND superseded_at IS NULL RETURNING id",
        out.unit_id,
        fill.filled_on,
        fill.made_at,
        now
    );
    let charges = charges.fetch_all(&mut *db).await?;
    facts::back_on_the_shelf(&mut *db, &charges, now).await?;
    facts::end_fill(db, out.fact_id, now).await?;
    Ok(true)
}

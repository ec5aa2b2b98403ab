//! Everything about one unit's water that the dose function asks for, in one query for any number of units.

use super::super::{Result, catalogue, corrupt, units};
use crate::{
    units::{MgPerLitre, Ph},
    water::{BeforeTheTest, Occasion, Product, Programme, Reading, Site, TestKit, WaterFacts, WaterVolume, before_the_test},
};
use sqlx::PgExecutor;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// The last test of a unit's water that counts.
#[derive(Clone, Copy, Debug)]
pub struct LastTest {
    pub id: Uuid,
    pub taken_on: Date,
    /// In the basis of the unit's programme.
    pub level: MgPerLitre,
    pub ph: Option<Ph>,
}

/// What is known of a unit's water.
#[derive(Clone, Debug)]
pub struct UnitWater {
    pub unit_id: Uuid,
    pub kind_code: String,
    pub programme: Programme,
    /// The product to dose with, where there is one for the programme.
    pub product: Option<(Uuid, Product)>,
    pub kit: Option<TestKit>,
    pub volume: Option<WaterVolume>,
    pub facts: WaterFacts,
    pub fluid: Option<(String, i16)>,
    pub filled_on: Option<Date>,
    /// Never filled, as far as the records know, or drained since.
    pub empty: bool,
    pub last_test: Option<LastTest>,
    pub last_dose: Option<(Date, i64)>,
}

impl UnitWater {
    /// The question to the dose function, for a dose on `day`. `None` without a product to dose with.
    pub fn site(&self, occasion: Occasion, day: Date) -> Option<Site<'_>> {
        let (_, product) = self.product.as_ref()?;
        Some(Site { volume: self.volume, programme: &self.programme, product, facts: self.facts, occasion, day })
    }

    /// What holds whatever the next test will say.
    pub fn before_the_test(&self, day: Date) -> BeforeTheTest {
        let no_product = || BeforeTheTest {
            cautions: Vec::new(),
            held: vec!["No product is kept for this programme, so no dose can be worked out.".to_owned()],
        };
        self.site(Occasion::Scheduled, day).map_or_else(no_product, |site| before_the_test(&site, day))
    }

    /// Why no dose can be worked out, whatever a test will say; empty where one can, where the unit was never filled, and for a
    /// glycol mix that is not low: it is looked after otherwise.
    pub fn held(&self, day: Date) -> Vec<String> {
        let known = !self.empty || self.last_test.is_some();
        if !known || (self.facts.glycol_percent > 0 && !self.is_low()) {
            return Vec::new();
        }
        self.before_the_test(day).held
    }

    /// The last test of this water is at the minimum of the programme or below: it wants a dose.
    pub fn is_low(&self) -> bool {
        let of_this_water = |t: &LastTest| self.facts.water_changed_on.is_none_or(|changed| changed <= t.taken_on);
        self.last_test.filter(of_this_water).is_some_and(|t| t.level <= self.programme.levels.min())
    }

    /// The last test as a reading.
    pub fn last_reading(&self) -> Option<Reading> {
        self.last_test.map(|t| Reading { level: t.level, ph: t.ph, tested_on: t.taken_on })
    }
}

struct Row {
    unit_id: Uuid,
    kind_code: String,
    aluminium: bool,
    programme_code: String,
    product_id: Option<Uuid>,
    kit_code: Option<String>,
    volume_ml: Option<i64>,
    plus_minus_ml: Option<i64>,
    method: Option<String>,
    filled_on: Option<Date>,
    drained_on: Option<Date>,
    fluid: Option<String>,
    glycol_percent: Option<i16>,
    hardness: Option<i64>,
    chloride: Option<i64>,
    sulfate: Option<i64>,
    programmes: i64,
    test_id: Option<Uuid>,
    taken_on: Option<Date>,
    level: Option<i32>,
    ph: Option<i64>,
    given_on: Option<Date>,
    dose_ml: Option<i64>,
}

async fn rows(db: impl PgExecutor<'_>, ids: &[Uuid]) -> Result<Vec<Row>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT u.id AS unit_id, u.kind_code, u.aluminium, u.programme_code, u.product_id, u.kit_code,
             v.volume_ml AS "volume_ml?", v.plus_minus_ml AS "plus_minus_ml?", v.method AS "method?",
             f.filled_on AS "filled_on?", f.drained_on AS "drained_on?", f.fluid AS "fluid?", f.glycol_percent AS "glycol_percent?",
             r.hardness AS "hardness?", r.chloride AS "chloride?", r.sulfate AS "sulfate?", coalesce(m.programmes, 0) AS "programmes!",
             t.id AS "test_id?", t.taken_on AS "taken_on?", t.level AS "level?", t.ph AS "ph?", d.given_on AS "given_on?", d.amount_ml AS "dose_ml?"
           FROM units u
           LEFT JOIN LATERAL volume_now(u.id) v ON true
           LEFT JOIN LATERAL (SELECT id, filled_on, drained_on, fluid, glycol_percent FROM fills WHERE unit_id = u.id AND superseded_at IS NULL ORDER BY filled_on DESC, made_at DESC LIMIT 1) f ON true
           LEFT JOIN LATERAL (
             SELECT max(x.value_milli) FILTER (WHERE x.what = 'hardness') AS hardness, max(x.value_milli) FILTER (WHERE x.what = 'chloride') AS chloride,
                    max(x.value_milli) FILTER (WHERE x.what = 'sulfate') AS sulfate
             FROM water_tests w JOIN readings x ON x.test_id = w.id WHERE w.fill_id = f.id AND w.of_water = 'fill' AND w.superseded_at IS NULL) r ON true
           LEFT JOIN LATERAL (
             SELECT count(DISTINCT p.programme_code) + 1 AS programmes FROM doses x JOIN products p ON p.id = x.product_id
             WHERE x.unit_id = u.id AND x.superseded_at IS NULL AND x.given_on >= coalesce(f.filled_on, date '1970-01-01')
               AND p.programme_code <> u.programme_code) m ON true
           LEFT JOIN LATERAL (
             SELECT w.id, w.taken_on, level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS level, h.value_milli AS ph
             FROM water_tests w JOIN readings i ON i.test_id = w.id AND i.what = 'inhibitor' AND read_for(u.programme_code, i.basis) LEFT JOIN readings h ON h.test_id = w.id AND h.what = 'ph'
             WHERE w.unit_id = u.id AND w.superseded_at IS NULL AND w.of_water = 'unit' AND w.made_by <> 'customer'
             ORDER BY w.taken_on DESC, w.made_at DESC LIMIT 1) t ON true
           LEFT JOIN LATERAL (SELECT given_on, amount_ml FROM doses WHERE unit_id = u.id AND superseded_at IS NULL ORDER BY given_on DESC, made_at DESC LIMIT 1) d ON true
           WHERE u.id = ANY($1)"#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The water of these units; a unit that does not exist is left out.
pub async fn unit_waters(db: impl PgExecutor<'_>, known: &catalogue::Treatments, ids: &[Uuid]) -> Result<HashMap<Uuid, UnitWater>> {
    let rows = rows(db, ids).await?;
    rows.into_iter().map(|r| Ok((r.unit_id, unit_water(r, known)?))).collect()
}

fn unit_water(r: Row, known: &catalogue::Treatments) -> Result<UnitWater> {
    let id = r.unit_id;
    let programme = known.programme(&r.programme_code).ok_or_else(|| corrupt("units", id, "its programme is gone"))?.clone();
    let volume = match (r.volume_ml, r.plus_minus_ml, &r.method) {
        (Some(ml), Some(spread), Some(method)) => Some(units::volume(id, ml, spread, method)?),
        _ => None,
    };
    let facts = WaterFacts {
        aluminium: r.aluminium,
        fill_hardness: mg_l(r.hardness),
        fill_chloride_sulfate: r.chloride.zip(r.sulfate).and_then(|(c, s)| mg_l(Some(c.saturating_add(s)))),
        water_changed_on: r.drained_on.or(r.filled_on),
        mixed_programmes: r.programmes > 1,
        glycol_percent: r.glycol_percent.and_then(|p| u16::try_from(p).ok()).unwrap_or(0),
    };
    let last_test = match (r.test_id, r.taken_on, r.level) {
        (Some(test), Some(taken_on), Some(level)) => {
            let level = MgPerLitre::new(i64::from(level)).map_err(|e| corrupt("readings", test, e))?;
            Some(LastTest { id: test, taken_on, level, ph: r.ph.and_then(|p| Ph::new(p / 10).ok()) })
        }
        _ => None,
    };
    Ok(UnitWater {
        unit_id: id,
        kind_code: r.kind_code,
        product: ready_product(known, r.product_id, &programme.code),
        kit: r.kit_code.as_deref().and_then(|c| known.kit_in_use(c)).or_else(|| known.usual_kit(&programme)).cloned(),
        programme,
        volume,
        facts,
        fluid: r.fluid.zip(r.glycol_percent),
        empty: r.filled_on.is_none() || r.drained_on.is_some(),
        filled_on: r.filled_on,
        last_test,
        last_dose: r.given_on.zip(r.dose_ml),
    })
}

/// The product to dose with: the unit's own, if it serves the programme and is in use; else the programme's usual one.
pub fn ready_product(known: &catalogue::Treatments, own: Option<Uuid>, programme: &str) -> Option<(Uuid, Product)> {
    let own = own.and_then(|id| known.products_for(programme).find(|p| p.id == id));
    own.or_else(|| known.usual_product(programme)).map(|p| (p.id, p.product.clone()))
}

fn mg_l(milli: Option<i64>) -> Option<MgPerLitre> {
    MgPerLitre::new(milli?.saturating_add(500) / 1000).ok()
}

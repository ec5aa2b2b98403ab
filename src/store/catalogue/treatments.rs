//! Programmes, products, kits and kinds of unit as types.

use super::super::{Result, corrupt};
use crate::{
    units::{MgPerLitre, Millilitres, Ph},
    water::{Basis, Counts, Levels, Measure, PhBand, Product, Programme, RecheckDays, Strength, TestKit},
};
use sqlx::PgConnection;
use sqlx::PgExecutor;
use std::num::NonZero;
use time::Date;
use uuid::Uuid;

#[derive(Clone, Debug)]
pub struct ProductRow {
    pub id: Uuid,
    pub product: Product,
    /// Doses are given of it; else only past ones were.
    pub active: bool,
}

#[derive(Clone, Debug)]
pub struct KitRow {
    pub kit: TestKit,
    /// The sample it takes, in microlitres.
    pub sample_ul: Option<i32>,
    pub reagent_lot: String,
    pub reagent_expires_on: Option<Date>,
    /// Tests are made with it; else only past ones were.
    pub active: bool,
}

/// What a programme's units are dosed with and tested by, where the owner has said so.
#[derive(Clone, Debug)]
pub struct Usual {
    pub programme: String,
    pub product: Option<Uuid>,
    pub kit: Option<String>,
}

/// All programmes, products and kits: a few dozen rows at most, read together.
#[derive(Clone, Debug)]
pub struct Treatments {
    pub programmes: Vec<Programme>,
    /// Those that are not used any more among them: past doses were of them.
    pub products: Vec<ProductRow>,
    pub kits: Vec<KitRow>,
    pub usual: Vec<Usual>,
}

impl Treatments {
    pub fn programme(&self, code: &str) -> Option<&Programme> {
        self.programmes.iter().find(|p| p.code == code)
    }
    pub fn product(&self, id: Uuid) -> Option<&ProductRow> {
        self.products.iter().find(|p| p.id == id)
    }
    pub fn kit(&self, code: &str) -> Option<&TestKit> {
        self.kits.iter().map(|k| &k.kit).find(|k| k.code == code)
    }
    /// A kit that tests are made with.
    pub fn kit_in_use(&self, code: &str) -> Option<&TestKit> {
        self.kits_in_use().find(|k| k.code == code)
    }
    pub fn kits_in_use(&self) -> impl Iterator<Item = &TestKit> {
        self.kits.iter().filter(|k| k.active).map(|k| &k.kit)
    }
    /// The programme's usual kit, else the first that measures what it counts.
    pub fn usual_kit<'a>(&'a self, programme: &'a Programme) -> Option<&'a TestKit> {
        let usual = self.usual.iter().find(|u| u.programme == programme.code).and_then(|u| u.kit.as_deref());
        usual.and_then(|code| self.kits_for(programme).find(|k| k.code == code)).or_else(|| self.kits_for(programme).next())
    }
    pub fn kits_for<'a>(&'a self, programme: &'a Programme) -> impl Iterator<Item = &'a TestKit> {
        self.kits_in_use().filter(move |k| k.serves(programme))
    }
    /// The products that a programme is dosed with.
    pub fn products_for<'a>(&'a self, programme: &'a str) -> impl Iterator<Item = &'a ProductRow> {
        self.products.iter().filter(move |p| p.active && p.product.programme == programme)
    }
    /// The programme's usual product, else the first that serves it.
    pub fn usual_product<'a>(&'a self, programme: &'a str) -> Option<&'a ProductRow> {
        let usual = self.usual.iter().find(|u| u.programme == programme).and_then(|u| u.product);
        usual.and_then(|id| self.products_for(programme).find(|p| p.id == id)).or_else(|| self.products_for(programme).next())
    }
}

pub async fn treatments(db: &mut PgConnection) -> Result<Treatments> {
    let (programmes, usual) = programmes(&mut *db).await?;
    Ok(Treatments { programmes, usual, products: products(&mut *db).await?, kits: kits(&mut *db).await? })
}

async fn programmes(db: impl PgExecutor<'_>) -> Result<(Vec<Programme>, Vec<Usual>)> {
    let rows = sqlx::query!(
        "SELECT code, name, basis, min_mg_l, target_mg_l, max_mg_l, alarm_low_mg_l, top_up_below_mg_l, ph_min, ph_max, ph_min_aluminium, ph_max_aluminium,
           hardness_stop_mg_l, hardness_advise_mg_l, cl_so4_stop_mg_l, recheck_from_days, recheck_to_days, source, dose_ph_min, dose_ph_max,
           usual_product_id, usual_kit_code
         FROM programmes ORDER BY name, code LIMIT 100"
    )
    .fetch_all(db)
    .await?;
    let usual =
        rows.iter().map(|r| Usual { programme: r.code.clone(), product: r.usual_product_id, kit: r.usual_kit_code.clone() }).collect();
    let programmes: Result<Vec<Programme>> = rows
        .into_iter()
        .map(|r| {
            let bad = |e: &dyn std::fmt::Display| corrupt("programmes", &r.code, e);
            let mg = |v: i32| MgPerLitre::new(v.into()).map_err(|e| bad(&e));
            let ph = |a: i32, b: i32| {
                PhBand::new(Ph::new(a.into()).map_err(|e| bad(&e))?, Ph::new(b.into()).map_err(|e| bad(&e))?).map_err(|e| bad(&e))
            };
            let days = |d: i32| u16::try_from(d).map_err(|e| bad(&e));
            let levels = Levels::new(mg(r.alarm_low_mg_l)?, mg(r.min_mg_l)?, mg(r.target_mg_l)?, mg(r.max_mg_l)?).map_err(|e| bad(&e))?;
            Ok(Programme {
                basis: r.basis.parse::<Basis>().map_err(|e| bad(&e))?,
                levels: levels.with_top_up_below(mg(r.top_up_below_mg_l)?).map_err(|e| bad(&e))?,
                ph: ph(r.ph_min, r.ph_max)?,
                ph_with_aluminium: Some(ph(r.ph_min_aluminium, r.ph_max_aluminium)?),
                dose_ph: r.dose_ph_min.zip(r.dose_ph_max).map(|(a, b)| ph(a, b)).transpose()?,
                hardness_stop: r.hardness_stop_mg_l.map(mg).transpose()?,
                hardness_advise: r.hardness_advise_mg_l.map(mg).transpose()?,
                chloride_sulfate_stop: r.cl_so4_stop_mg_l.map(mg).transpose()?,
                recheck: RecheckDays::new(days(r.recheck_from_days)?, days(r.recheck_to_days)?).map_err(|e| bad(&e))?,
                name: r.name.clone(),
                source: r.source.clone(),
                code: r.code.clone(),
            })
        })
        .collect();
    Ok((programmes?, usual))
}

async fn products(db: impl PgExecutor<'_>) -> Result<Vec<ProductRow>> {
    let rows = sqlx::query!(
        "SELECT id, name, programme_code, active_basis, active_ppm_mass, density_g_l, pack_ml, step_ml, hazards, active FROM products ORDER BY name, id LIMIT 200"
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|r| {
            let bad = |e: &dyn std::fmt::Display| corrupt("products", r.id, e);
            let ml = |v: i64| Millilitres::new(v).map_err(|e| bad(&e));
            let ppm = |v: i32| u32::try_from(v).map_err(|e| bad(&e));
            let product = Product {
                name: r.name.clone(),
                programme: r.programme_code.clone(),
                basis: r.active_basis.parse().map_err(|e: crate::water::BasisError| bad(&e))?,
                strength: Strength::new(ppm(r.active_ppm_mass)?, ppm(r.density_g_l)?).map_err(|e| bad(&e))?,
                measure: Measure::new(ml(r.pack_ml)?, ml(r.step_ml)?).map_err(|e| bad(&e))?,
                hazards: r.hazards.lines().filter(|l| !l.trim().is_empty()).map(str::to_owned).collect(),
            };
            Ok(ProductRow { id: r.id, product, active: r.active })
        })
        .collect()
}

/// Relative standard deviation of a comparator read by eye, in ‰ (common practice, no source).
pub const COMPARATOR_SD: u16 = 150;

async fn kits(db: impl PgExecutor<'_>) -> Result<Vec<KitRow>> {
    let rows = sqlx::query!(
        "SELECT code, name, basis, per_drop_centi, max_drops, dilution, reagent_lot, reagent_expires_on, source, relative_sd_pm, steps, sample_ul, active FROM test_kits ORDER BY name, code LIMIT 100"
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|r| {
            let bad = |e: &dyn std::fmt::Display| corrupt("test_kits", &r.code, e);
            let counts = match r.per_drop_centi.zip(r.max_drops) {
                Some((per, max)) => Counts::Drops {
                    per_drop: u32::try_from(per).and_then(NonZero::try_from).map_err(|e| bad(&e))?,
                    max_drops: u16::try_from(max).map_err(|e| bad(&e))?,
                },
                None => Counts::Direct { relative_sd: r.relative_sd_pm.and_then(|pm| u16::try_from(pm).ok()).unwrap_or(COMPARATOR_SD) },
            };
            let kit = TestKit {
                basis: r.basis.parse().map_err(|e: crate::water::BasisError| bad(&e))?,
                counts,
                dilution: u16::try_from(r.dilution).and_then(NonZero::try_from).map_err(|e| bad(&e))?,
                steps: r.steps.iter().map(|step| MgPerLitre::new((*step).into())).collect::<Result<_, _>>().map_err(|e| bad(&e))?,
                name: r.name.clone(),
                source: r.source.clone(),
                code: r.code.clone(),
            };
            Ok(KitRow {
                kit,
                sample_ul: r.sample_ul,
                reagent_lot: r.reagent_lot,
                reagent_expires_on: r.reagent_expires_on,
                active: r.active,
            })
        })
        .collect()
}

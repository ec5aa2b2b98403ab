//! Changing programmes, products and kits. The types have checked the figures before they come here.

use super::super::{Error, Result};
use crate::water::{Counts, Product, Programme, TestKit};
use sqlx::PgExecutor;
use time::Date;
use uuid::Uuid;

/// The row versions that a page was made from.
#[derive(Clone, Debug)]
pub struct Versions {
    pub programmes: Vec<(String, i32)>,
    pub products: Vec<(Uuid, i32, String)>,
    pub kits: Vec<(String, i32)>,
}

/// Versions of everything that can be changed, and the products' sources.
pub async fn versions(db: &mut sqlx::PgConnection) -> Result<Versions> {
    let programmes = sqlx::query!("SELECT code, row_version FROM programmes LIMIT 100").fetch_all(&mut *db).await?;
    let products = sqlx::query!("SELECT id, row_version, source FROM products LIMIT 200").fetch_all(&mut *db).await?;
    let kits = sqlx::query!("SELECT code, row_version FROM test_kits LIMIT 100").fetch_all(&mut *db).await?;
    Ok(Versions {
        programmes: programmes.into_iter().map(|r| (r.code, r.row_version)).collect(),
        products: products.into_iter().map(|r| (r.id, r.row_version, r.source)).collect(),
        kits: kits.into_iter().map(|r| (r.code, r.row_version)).collect(),
    })
}

fn whole(value: i64) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}

fn only_one(rows: u64) -> Result<()> {
    if rows == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Changes the levels of a programme. Its basis stays: readings are kept in it.
pub async fn change_programme(db: impl PgExecutor<'_>, p: &Programme, row_version: i32) -> Result<()> {
    let aluminium = p.ph_with_aluminium.unwrap_or(p.ph);
    let done = sqlx::query!(
        "UPDATE programmes SET name = $3, min_mg_l = $4, target_mg_l = $5, max_mg_l = $6, alarm_low_mg_l = $7, top_up_below_mg_l = $8, ph_min = $9, ph_max = $10,
           ph_min_aluminium = $11, ph_max_aluminium = $12, hardness_stop_mg_l = $13, hardness_advise_mg_l = $14, cl_so4_stop_mg_l = $15,
           recheck_from_days = $16, recheck_to_days = $17, source = $18, dose_ph_min = $19, dose_ph_max = $20, row_version = row_version + 1
         WHERE code = $1 AND row_version = $2",
        p.code,
        row_version,
        p.name,
        whole(p.levels.min().get()),
        whole(p.levels.target().get()),
        whole(p.levels.max().get()),
        whole(p.levels.alarm_low().get()),
        whole(p.levels.top_up_below().get()),
        whole(p.ph.min().get()),
        whole(p.ph.max().get()),
        whole(aluminium.min().get()),
        whole(aluminium.max().get()),
        p.hardness_stop.map(|v| whole(v.get())),
        p.hardness_advise.map(|v| whole(v.get())),
        p.chloride_sulfate_stop.map(|v| whole(v.get())),
        i32::from(p.recheck.first()),
        i32::from(p.recheck.last()),
        p.source,
        p.dose_ph.map(|band| whole(band.min().get())),
        p.dose_ph.map(|band| whole(band.max().get()))
    )
    .execute(db)
    .await?;
    only_one(done.rows_affected())
}

/// Adds a programme: its row, then everything that can be changed later.
pub async fn add_programme(db: &mut sqlx::PgConnection, p: &Programme) -> Result<()> {
    let level = whole(p.levels.target().get());
    sqlx::query!(
        "INSERT INTO programmes (code, name, basis, min_mg_l, target_mg_l, max_mg_l, alarm_low_mg_l, top_up_below_mg_l, ph_min, ph_max, ph_min_aluminium,
           ph_max_aluminium, recheck_from_days, recheck_to_days, source)
         VALUES ($1, $2, $3, $4, $4, $4, $4, $4, 0, 1400, 0, 1400, 1, 1, $5)",
        p.code,
        p.name,
        p.basis.as_str(),
        level,
        p.source
    )
    .execute(&mut *db)
    .await?;
    change_programme(db, p, 1).await
}

/// Adds a product, or changes it when a version is given.
pub async fn keep_product(db: impl PgExecutor<'_>, id: Uuid, p: &Product, source: &str, row_version: Option<i32>) -> Result<()> {
    let done = sqlx::query!(
        "INSERT INTO products (id, name, programme_code, active_basis, active_ppm_mass, density_g_l, pack_ml, step_ml, hazards, source)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
         ON CONFLICT (id) DO UPDATE SET name = excluded.name, programme_code = excluded.programme_code, active_basis = excluded.active_basis,
           active_ppm_mass = excluded.active_ppm_mass, density_g_l = excluded.density_g_l, pack_ml = excluded.pack_ml, step_ml = excluded.step_ml,
           hazards = excluded.hazards, source = excluded.source, row_version = products.row_version + 1
         WHERE products.row_version = $11",
        id,
        p.name,
        p.programme,
        p.basis.as_str(),
        i32::try_from(p.strength.active_ppm()).unwrap_or(i32::MAX),
        i32::try_from(p.strength.density_g_per_l()).unwrap_or(i32::MAX),
        p.measure.pack().get(),
        p.measure.step().get(),
        p.hazards.join("\n"),
        source,
        row_version
    )
    .execute(db)
    .await?;
    only_one(done.rows_affected())
}

/// Adds a kit, or changes it when a version is given. `reagent`: lot and the day it expires.
pub async fn keep_kit(
    db: impl PgExecutor<'_>,
    k: &TestKit,
    sample_ul: Option<i32>,
    reagent: (&str, Option<Date>),
    row_version: Option<i32>,
) -> Result<()> {
    let (per_drop, max_drops) = match k.counts {
        Counts::Drops { per_drop, max_drops } => (i32::try_from(per_drop.get()).ok(), Some(i32::from(max_drops))),
        Counts::Direct { .. } => (None, None),
    };
    let relative_sd = match k.counts {
        Counts::Direct { relative_sd } => i16::try_from(relative_sd).ok(),
        Counts::Drops { .. } => None,
    };
    let steps: Vec<i32> = k.steps.iter().map(|step| whole(step.get())).collect();
    let done = sqlx::query!(
        "INSERT INTO test_kits (code, name, basis, per_drop_centi, max_drops, dilution, reagent_lot, reagent_expires_on, source, relative_sd_pm, steps, sample_ul)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $11, $12, $13)
         ON CONFLICT (code) DO UPDATE SET name = excluded.name, basis = excluded.basis, per_drop_centi = excluded.per_drop_centi, max_drops = excluded.max_drops,
           dilution = excluded.dilution, reagent_lot = excluded.reagent_lot, reagent_expires_on = excluded.reagent_expires_on, source = excluded.source,
           relative_sd_pm = excluded.relative_sd_pm, steps = excluded.steps, sample_ul = excluded.sample_ul, row_version = test_kits.row_version + 1
         WHERE test_kits.row_version = $10",
        k.code,
        k.name,
        k.basis.as_str(),
        per_drop,
        max_drops,
        i32::from(k.dilution.get()),
        reagent.0,
        reagent.1,
        k.source,
        row_version,
        relative_sd,
        &steps,
        sample_ul
    )
    .execute(db)
    .await?;
    only_one(done.rows_affected())
}

/// From now on the units of the product's programme are dosed with it, unless one says otherwise. [`Error::Clash`] when it is not in use.
pub async fn make_product_usual(db: impl PgExecutor<'_>, id: Uuid) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE programmes g SET usual_product_id = p.id, row_version = g.row_version + 1 FROM products p WHERE p.id = $1 AND p.active AND g.code = p.programme_code",
        id
    );
    only_one(done.execute(db).await?.rows_affected())
}

/// From now on the units of that programme are tested with it, unless one says otherwise.
pub async fn make_kit_usual(db: impl PgExecutor<'_>, code: &str, programme: &str) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE programmes g SET usual_kit_code = k.code, row_version = g.row_version + 1 FROM test_kits k WHERE k.code = $1 AND k.active AND g.code = $2",
        code,
        programme
    );
    only_one(done.execute(db).await?.rows_affected())
}

/// Leaves a product out from now on, or uses it again.
pub async fn use_product(db: impl PgExecutor<'_>, id: Uuid, active: bool) -> Result<()> {
    let done = sqlx::query!("UPDATE products SET active = $2, row_version = row_version + 1 WHERE id = $1 AND active <> $2", id, active);
    only_one(done.execute(db).await?.rows_affected())
}

/// Leaves a kit out from now on, or uses it again.
pub async fn use_kit(db: impl PgExecutor<'_>, code: &str, active: bool) -> Result<()> {
    let done =
        sqlx::query!("UPDATE test_kits SET active = $2, row_version = row_version + 1 WHERE code = $1 AND active <> $2", code, active);
    only_one(done.execute(db).await?.rows_affected())
}

/// Programmes that units in service or at rest are on.
pub async fn programmes_of_units(db: impl PgExecutor<'_>) -> Result<Vec<String>> {
    let codes = sqlx::query_scalar!(
        "SELECT code FROM programmes g WHERE EXISTS (SELECT FROM units u WHERE u.programme_code = g.code AND u.status <> 'retired') ORDER BY code"
    );
    Ok(codes.fetch_all(db).await?)
}

//! Many rows at once: lists that are brought in, and the demo's invented dealership. One statement a table.

mod bring;
mod water;

pub use bring::{Brought, Plan, Waiting, keep, plan, sweep};
pub use water::{DoseRow, ReportRow, TestRow, add_doses, add_reports, add_tests};

use super::Result;
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

#[derive(Clone, Debug, Default)]
pub struct CustomerRow {
    pub id: Uuid,
    pub reference: Option<String>,
    pub name: String,
    pub phone: String,
    pub email: String,
    pub note: String,
}

pub async fn add_customers(db: &mut PgConnection, rows: &[CustomerRow], now: OffsetDateTime) -> Result<()> {
    let text = |f: fn(&CustomerRow) -> &String| rows.iter().map(|r| f(r).clone()).collect::<Vec<_>>();
    sqlx::query!(
        "INSERT INTO customers (id, ref, name, phone, email, note, made_at)
         SELECT *, $7::timestamptz FROM unnest($1::uuid[], $2::text[], $3::text[], $4::text[], $5::text[], $6::text[])",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.reference.clone()).collect::<Vec<_>>() as &[Option<String>],
        &text(|r| &r.name),
        &text(|r| &r.phone),
        &text(|r| &r.email),
        &text(|r| &r.note),
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

#[derive(Clone, Debug, Default)]
pub struct PlaceRow {
    pub id: Uuid,
    pub customer_id: Uuid,
    pub name: String,
    pub address: String,
    pub town: String,
    pub pin: Option<(f64, f64)>,
    pub pin_origin: &'static str,
    pub access_note: String,
    pub hazards: String,
}

pub async fn add_places(db: &mut PgConnection, rows: &[PlaceRow]) -> Result<()> {
    let text = |f: fn(&PlaceRow) -> &String| rows.iter().map(|r| f(r).clone()).collect::<Vec<_>>();
    sqlx::query!(
        "INSERT INTO places (id, customer_id, name, address, town, lat, lon, pin_origin, access_note, hazards)
         SELECT * FROM unnest($1::uuid[], $2::uuid[], $3::text[], $4::text[], $5::text[], $6::float8[], $7::float8[], $8::text[], $9::text[], $10::text[])",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.customer_id).collect::<Vec<_>>(),
        &text(|r| &r.name),
        &text(|r| &r.address),
        &text(|r| &r.town),
        &rows.iter().map(|r| r.pin.map(|p| p.0)).collect::<Vec<_>>() as &[Option<f64>],
        &rows.iter().map(|r| r.pin.map(|p| p.1)).collect::<Vec<_>>() as &[Option<f64>],
        &rows.iter().map(|r| if r.pin.is_some() { r.pin_origin } else { "none" }.to_owned()).collect::<Vec<_>>(),
        &text(|r| &r.access_note),
        &text(|r| &r.hazards)
    )
    .execute(db)
    .await?;
    Ok(())
}

#[derive(Clone, Debug, Default)]
pub struct UnitRow {
    pub id: Uuid,
    pub place_id: Uuid,
    pub customer_id: Uuid,
    pub reference: Option<String>,
    pub name: String,
    pub kind_code: String,
    pub serial: String,
    pub installed_on: Option<Date>,
    pub jacket_ml: Option<i64>,
    pub aluminium: bool,
    pub programme_code: String,
    pub kit_code: Option<String>,
}

pub async fn add_units(db: &mut PgConnection, rows: &[UnitRow]) -> Result<()> {
    let text = |f: fn(&UnitRow) -> &String| rows.iter().map(|r| f(r).clone()).collect::<Vec<_>>();
    sqlx::query!(
        "INSERT INTO units (id, place_id, customer_id, ref, name, kind_code, serial, installed_on, jacket_ml, aluminium, programme_code, kit_code)
         SELECT * FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::text[], $5::text[], $6::text[], $7::text[], $8::date[], $9::bigint[], $10::bool[], $11::text[], $12::text[])",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.place_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.customer_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.reference.clone()).collect::<Vec<_>>() as &[Option<String>],
        &text(|r| &r.name),
        &text(|r| &r.kind_code),
        &text(|r| &r.serial),
        &rows.iter().map(|r| r.installed_on).collect::<Vec<_>>() as &[Option<Date>],
        &rows.iter().map(|r| r.jacket_ml).collect::<Vec<_>>() as &[Option<i64>],
        &rows.iter().map(|r| r.aluminium).collect::<Vec<_>>(),
        &text(|r| &r.programme_code),
        &rows.iter().map(|r| r.kit_code.clone()).collect::<Vec<_>>() as &[Option<String>]
    )
    .execute(db)
    .await?;
    Ok(())
}

#[derive(Clone, Debug)]
pub struct VolumeRow {
    pub unit_id: Uuid,
    pub volume_ml: i64,
    pub plus_minus_ml: i64,
    pub method: &'static str,
    pub found_on: Date,
}

pub async fn add_volumes(db: &mut PgConnection, rows: &[VolumeRow], now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO water_volumes (id, unit_id, volume_ml, plus_minus_ml, method, found_on, made_at)
         SELECT *, $7::timestamptz FROM unnest($1::uuid[], $2::uuid[], $3::bigint[], $4::bigint[], $5::text[], $6::date[])",
        &rows.iter().map(|_| Uuid::now_v7()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.unit_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.volume_ml).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.plus_minus_ml).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.method.to_owned()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.found_on).collect::<Vec<_>>(),
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

#[derive(Clone, Debug)]
pub struct FillRow {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub filled_on: Date,
    pub source_water: &'static str,
    pub softened: Option<bool>,
    pub fluid: &'static str,
    pub glycol_percent: i32,
    pub amount_ml: Option<i64>,
}

pub async fn add_fills(db: &mut PgConnection, rows: &[FillRow], now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO fills (id, unit_id, customer_id, filled_on, source_water, softened, fluid, glycol_percent, amount_ml, made_at)
         SELECT f.id, u.id, u.customer_id, f.filled_on, f.source, f.softened, f.fluid, f.percent, f.ml, $9
         FROM unnest($1::uuid[], $2::uuid[], $3::date[], $4::text[], $5::bool[], $6::text[], $7::int[], $8::bigint[])
           AS f(id, unit_id, filled_on, source, softened, fluid, percent, ml) JOIN units u ON u.id = f.unit_id",
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.unit_id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.filled_on).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.source_water.to_owned()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.softened).collect::<Vec<_>>() as &[Option<bool>],
        &rows.iter().map(|r| r.fluid.to_owned()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.glycol_percent).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.amount_ml).collect::<Vec<_>>() as &[Option<i64>],
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

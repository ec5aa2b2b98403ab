//! Installed units, their fills and water volumes.

use super::{Result, corrupt};
use crate::{
    units::Millilitres,
    water::{Method, WaterVolume},
};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "a row as it is kept")]
pub struct Unit {
    pub id: Uuid,
    pub place_id: Uuid,
    pub customer_id: Uuid,
    pub reference: Option<String>,
    pub name: String,
    pub kind_code: String,
    pub kind_name: String,
    pub serial: String,
    pub installed_on: Option<Date>,
    pub jacket_ml: Option<i64>,
    pub status: String,
    pub aluminium: bool,
    pub stainless: bool,
    pub copper: bool,
    /// Heat output of its kind, in watts.
    pub output_w: Option<i32>,
    pub programme_code: String,
    pub kit_code: Option<String>,
    pub product_id: Option<Uuid>,
    pub ask_fuel_moisture: bool,
    pub row_version: i32,
    pub place_name: String,
    pub town: String,
    pub customer_name: String,
}

macro_rules! unit_query {
    ($rest:literal, $($arg:expr),+) => {
        sqlx::query_as!(
            Unit,
            "SELECT u.id, u.place_id, u.customer_id, u.ref AS reference, u.name, u.kind_code, k.name AS kind_name, u.serial, u.installed_on,
               u.jacket_ml, u.status, u.aluminium, u.stainless, u.copper, k.output_w, u.programme_code, u.kit_code, u.product_id, u.ask_fuel_moisture, u.row_version,
               p.name AS place_name, p.town, c.name AS customer_name
             FROM units u JOIN unit_kinds k ON k.code = u.kind_code JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id "
                + $rest,
            $($arg),+
        )
    };
}

pub async fn get(db: impl PgExecutor<'_>, id: Uuid) -> Result<Unit> {
    Ok(unit_query!("WHERE u.id = $1", id).fetch_one(db).await?)
}

pub async fn of_customer(db: impl PgExecutor<'_>, customer_id: Uuid) -> Result<Vec<Unit>> {
    Ok(unit_query!("WHERE u.customer_id = $1 ORDER BY lower(p.name), lower(u.name), u.id LIMIT 200", customer_id).fetch_all(db).await?)
}

/// What the unit's page may change.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "a row as it is kept")]
pub struct UnitChange<'a> {
    pub id: Uuid,
    pub reference: Option<&'a str>,
    pub name: &'a str,
    /// One of its customer's.
    pub place_id: Uuid,
    /// Where it is not as its kind's.
    pub jacket_ml: Option<i64>,
    pub kind_code: &'a str,
    pub serial: &'a str,
    pub installed_on: Option<Date>,
    pub status: &'a str,
    pub aluminium: bool,
    pub stainless: bool,
    pub copper: bool,
    pub programme_code: &'a str,
    pub kit_code: Option<&'a str>,
    /// Where it is dosed with another than its programme's usual product.
    pub product_id: Option<Uuid>,
    pub ask_fuel_moisture: bool,
    pub row_version: i32,
}

/// Keeps a changed unit. To another place, or out of service for good, it goes only while no visit of it stands on a route (the rule
/// `unit_on_route`): somebody would drive there for nothing. [`super::Error::Clash`] when somebody was quicker, or the place is another customer's.
pub async fn change(db: &mut PgConnection, u: &UnitChange<'_>) -> Result<()> {
    let away = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM visits v JOIN units u ON u.id = v.unit_id
             WHERE u.id = $1 AND (u.place_id <> $2 OR (u.status <> $3 AND $3 = 'retired')) AND v.status IN ('planned', 'confirmed')) AS "away!""#,
        u.id,
        u.place_id,
        u.status
    );
    if away.fetch_one(&mut *db).await? {
        return Err(super::Error::Rule("unit_on_route".to_owned()));
    }
    sqlx::query!(
        "UPDATE visits SET place_id = $2, status = CASE WHEN $3 = 'retired' THEN 'cancelled' ELSE status END, row_version = row_version + 1
         WHERE unit_id = $1 AND status = 'unplaced' AND (place_id <> $2 OR $3 = 'retired')",
        u.id,
        u.place_id,
        u.status
    )
    .execute(&mut *db)
    .await?;
    let done = sqlx::query!(
        "UPDATE units SET name = $2, kind_code = $3, serial = $4, installed_on = $5, status = $6, aluminium = $7, programme_code = $8, kit_code = $9,
         ask_fuel_moisture = $10, stainless = $12, copper = $13, place_id = $14, jacket_ml = $15, product_id = $16, ref = $17, row_version = row_version + 1
         WHERE id = $1 AND row_version = $11 AND EXISTS (SELECT FROM places p WHERE p.id = $14 AND p.customer_id = units.customer_id)",
        u.id,
        u.name,
        u.kind_code,
        u.serial,
        u.installed_on,
        u.status,
        u.aluminium,
        u.programme_code,
        u.kit_code,
        u.ask_fuel_moisture,
        u.row_version,
        u.stainless,
        u.copper,
        u.place_id,
        u.jacket_ml,
        u.product_id,
        u.reference
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::Clash) }
}

/// Reads a stored water volume back into its type.
pub(super) fn volume(id: Uuid, ml: i64, plus_minus: i64, method: &str) -> Result<WaterVolume> {
    let read = || {
        let method: Method = method.parse().ok()?;
        WaterVolume::new(Millilitres::new(ml).ok()?, Millilitres::new(plus_minus).ok()?, method).ok()
    };
    read().ok_or_else(|| corrupt("water_volumes of unit", id, "volume, its error or its method cannot be read"))
}

/// Where a volume or a fill comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct From {
    /// Report and version.
    pub report: Option<(Uuid, i32)>,
    /// The fill at which a volume was read.
    pub fill: Option<Uuid>,
}

/// Notes how much water a unit and its loop hold, and how that was found. Earlier figures stay.
pub async fn add_volume(
    db: impl PgExecutor<'_>,
    unit_id: Uuid,
    v: &WaterVolume,
    (found_on, note): (Date, &str),
    from: From,
    now: OffsetDateTime,
) -> Result<()> {
    sqlx::query!(
        "INSERT INTO water_volumes (id, unit_id, volume_ml, plus_minus_ml, method, found_on, note, made_at, report_id, version, fill_id)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        Uuid::now_v7(),
        unit_id,
        v.volume().get(),
        v.plus_minus().get(),
        v.method().as_str(),
        found_on,
        note,
        now,
        from.report.map(|r| r.0),
        from.report.map(|r| r.1),
        from.fill
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The volume that counts at present, as [`super::water::unit_waters`] reads it.
pub async fn newest_volume(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Option<Millilitres>> {
    let ml = sqlx::query_scalar!(r#"SELECT volume_ml AS "ml!" FROM volume_now($1)"#, unit_id).fetch_optional(db).await?;
    Ok(ml.and_then(|ml| Millilitres::new(ml).ok()))
}

/// Units whose reference it is, or of a customer or in a town that [`super::customers::search`] finds.
pub async fn find(db: &mut sqlx::PgConnection, words: &str, limit: i64) -> Result<Vec<Unit>> {
    let of: Vec<Uuid> = super::customers::search(&mut *db, words, limit).await?.into_iter().map(|c| c.id).collect();
    let refs = [words.trim().to_owned(), words.trim().to_uppercase()];
    Ok(unit_query!(
        "WHERE u.status <> 'retired' AND (u.customer_id = ANY($1) OR u.ref = ANY($2)) ORDER BY lower(c.name), lower(p.name), lower(u.name), u.id LIMIT $3",
        &of,
        &refs,
        limit
    )
    .fetch_all(db)
    .await?)
}

/// The other units that stand at the same places.
pub async fn beside(db: impl PgExecutor<'_>, unit_ids: &[Uuid], limit: i64) -> Result<Vec<Unit>> {
    Ok(unit_query!(
        "WHERE u.status <> 'retired' AND u.id <> ALL($1) AND u.place_id IN (SELECT place_id FROM units WHERE id = ANY($1))
         ORDER BY lower(c.name), lower(p.name), lower(u.name), u.id LIMIT $2",
        unit_ids,
        limit
    )
    .fetch_all(db)
    .await?)
}

/// One charge of water.
#[derive(Clone, Debug)]
pub struct Fill {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub filled_on: Date,
    pub drained_on: Option<Date>,
    pub source_water: String,
    pub softened: Option<bool>,
    pub fluid: String,
    pub glycol_percent: i16,
    pub amount_ml: Option<i64>,
    pub note: String,
    /// What stood between house line and heater.
    pub fill_device: String,
    /// What was said of the source water on the day.
    pub answer: String,
}

/// Keeps a fill. One that is heard of late, after a newer one, ended with that. `report`: the report that says so, and its version; none:
/// it has a sheet of its own.
pub async fn add_fill(db: impl PgExecutor<'_>, f: &Fill, report: Option<(Uuid, i32)>, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO fills (id, unit_id, customer_id, filled_on, drained_on, source_water, softened, fluid, glycol_percent, amount_ml, note, made_at, fill_device, answer, report_id, version)
         SELECT $1, u.id, u.customer_id, $3, coalesce($4, (SELECT min(l.filled_on) FROM fills l WHERE l.unit_id = $2 AND l.filled_on > $3 AND l.superseded_at IS NULL)),
           $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15 FROM units u WHERE u.id = $2",
        f.id,
        f.unit_id,
        f.filled_on,
        f.drained_on,
        f.source_water,
        f.softened,
        f.fluid,
        f.glycol_percent,
        f.amount_ml,
        f.note,
        now,
        f.fill_device,
        f.answer,
        report.map(|r| r.0),
        report.map(|r| r.1)
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The water that was in the unit before a fill was drained by its day at the latest.
pub async fn drained_before(db: impl PgExecutor<'_>, unit_id: Uuid, day: Date) -> Result<()> {
    sqlx::query!(
        "UPDATE fills SET drained_on = $2 WHERE unit_id = $1 AND drained_on IS NULL AND filled_on <= $2 AND superseded_at IS NULL",
        unit_id,
        day
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Of these units, those that have no water at present, as far as the records know.
pub async fn without_fill(db: impl PgExecutor<'_>, unit_ids: &[Uuid]) -> Result<Vec<Uuid>> {
    let rows = sqlx::query_scalar!(
        r#"SELECT u.id AS "id!" FROM unnest($1::uuid[]) AS u(id)
           WHERE NOT EXISTS (SELECT FROM fills f WHERE f.unit_id = u.id AND f.drained_on IS NULL AND f.superseded_at IS NULL)"#,
        unit_ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

pub async fn fills(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Vec<Fill>> {
    let rows = sqlx::query_as!(
        Fill,
        "SELECT id, unit_id, filled_on, drained_on, source_water, softened, fluid, glycol_percent, amount_ml, note, fill_device, answer
         FROM fills WHERE unit_id = $1 AND superseded_at IS NULL ORDER BY filled_on DESC, made_at DESC LIMIT 20",
        unit_id
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// One part of what a unit's water runs through, besides its jacket.
#[derive(Clone, Debug)]
pub struct LoopPartRow {
    pub id: Uuid,
    pub kind: String,
    pub label: String,
    pub length_mm: Option<i32>,
    pub both_ways: bool,
    pub volume_ml: i64,
}

/// At most so many parts a unit.
pub const LOOP_PARTS: i64 = 40;

pub async fn loop_parts(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Vec<LoopPartRow>> {
    let rows = sqlx::query_as!(
        LoopPartRow,
        "SELECT id, kind, label, length_mm, both_ways, volume_ml FROM loop_parts WHERE unit_id = $1 ORDER BY id LIMIT $2",
        unit_id,
        LOOP_PARTS
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

pub async fn add_loop_part(db: impl PgExecutor<'_>, unit_id: Uuid, p: &LoopPartRow) -> Result<()> {
    sqlx::query!(
        "INSERT INTO loop_parts (id, unit_id, kind, label, length_mm, both_ways, volume_ml) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        p.id,
        unit_id,
        p.kind,
        p.label,
        p.length_mm,
        p.both_ways,
        p.volume_ml
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn remove_loop_part(db: impl PgExecutor<'_>, unit_id: Uuid, part: Uuid) -> Result<()> {
    sqlx::query!("DELETE FROM loop_parts WHERE id = $1 AND unit_id = $2", part, unit_id).execute(db).await?;
    Ok(())
}

/// What the jacket holds: the unit's own label, else its kind's.
pub async fn jacket(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Option<i64>> {
    let found = sqlx::query_scalar!(
        r#"SELECT coalesce(u.jacket_ml, k.jacket_ml) AS "ml?" FROM units u JOIN unit_kinds k ON k.code = u.kind_code WHERE u.id = $1"#,
        unit_id
    )
    .fetch_one(db)
    .await?;
    Ok(found)
}

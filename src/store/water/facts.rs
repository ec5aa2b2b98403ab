//! Tests and doses as they come in. Appended; a correction marks the earlier ones as superseded.

use super::super::Result;
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// What a reading is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    Inhibitor,
    Ph,
    Hardness,
    Conductivity,
    Temperature,
    Chloride,
    Sulfate,
    Alkalinity,
    Iron,
    Glycol,
}

impl What {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Inhibitor => "inhibitor",
            Self::Ph => "ph",
            Self::Hardness => "hardness",
            Self::Conductivity => "conductivity",
            Self::Temperature => "temperature",
            Self::Chloride => "chloride",
            Self::Sulfate => "sulfate",
            Self::Alkalinity => "alkalinity",
            Self::Iron => "iron",
            Self::Glycol => "glycol",
        }
    }

    /// The basis in which the figure is kept, for all but the inhibitor, which names its own.
    pub fn basis(self) -> &'static str {
        match self {
            Self::Inhibitor => "",
            Self::Ph => "pH",
            Self::Hardness | Self::Alkalinity => "CaCO3",
            Self::Conductivity => "uS/cm",
            Self::Temperature => "C",
            Self::Chloride => "Cl",
            Self::Sulfate => "SO4",
            Self::Iron => "Fe",
            Self::Glycol => "% by volume",
        }
    }
}

/// Who made a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Maker {
    Technician,
    Customer,
    Laboratory,
    Office,
}

impl Maker {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Customer => "customer",
            Self::Laboratory => "laboratory",
            Self::Office => "office",
        }
    }
}

/// A figure as it was read, in its own basis.
#[derive(Clone, Debug)]
pub struct NewReading {
    pub what: What,
    pub kit_code: Option<String>,
    pub drops: Option<i16>,
    /// Thousandths of the figure.
    pub value_milli: i64,
    pub basis: String,
    /// Inhibitor only: in the programme's basis, mg/L.
    pub programme_mg_l: Option<i32>,
}

impl NewReading {
    /// A reading in its usual basis.
    pub fn plain(what: What, value_milli: i64) -> Self {
        Self { what, kit_code: None, drops: None, value_milli, basis: what.basis().to_owned(), programme_mg_l: None }
    }
}

#[derive(Clone, Debug)]
pub struct NewTest<'a> {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub taken_on: Date,
    pub maker: Maker,
    pub staff_id: Option<Uuid>,
    /// Report and version that brought it.
    pub report: Option<(Uuid, i32)>,
    /// The fill whose source water this is a test of.
    pub fill_id: Option<Uuid>,
    /// What identifies a row of a brought-in list.
    pub list_row: Option<&'a str>,
    pub note: &'a str,
    pub readings: &'a [NewReading],
}

/// Appends a test and its readings. `false`: a row of a list that was brought in before; nothing was written.
pub async fn add_test(db: &mut PgConnection, t: &NewTest<'_>, now: OffsetDateTime) -> Result<bool> {
    let of_water = if t.fill_id.is_some() { "fill" } else { "unit" };
    let done = sqlx::query!(
        "INSERT INTO water_tests (id, unit_id, customer_id, taken_on, of_water, made_by, staff_id, report_id, version, fill_id, list_row, note, made_at)
         SELECT $1, u.id, u.customer_id, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12 FROM units u WHERE u.id = $2
         ON CONFLICT (list_row) WHERE list_row IS NOT NULL DO NOTHING",
        t.id,
        t.unit_id,
        t.taken_on,
        of_water,
        t.maker.as_str(),
        t.staff_id,
        t.report.map(|r| r.0),
        t.report.map(|r| r.1),
        t.fill_id,
        t.list_row,
        t.note,
        now
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    for r in t.readings {
        sqlx::query!(
            "INSERT INTO readings (test_id, what, kit_code, drops, value_milli, basis, programme_mg_l) VALUES ($1, $2, $3, $4, $5, $6, $7)",
            t.id,
            r.what.as_str(),
            r.kit_code,
            r.drops,
            r.value_milli,
            r.basis,
            r.programme_mg_l
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(true)
}

#[derive(Clone, Debug)]
pub struct NewDose<'a> {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub given_on: Date,
    pub product_id: Uuid,
    pub lot_id: Option<Uuid>,
    pub amount_ml: i64,
    pub staff_id: Option<Uuid>,
    pub report: Option<(Uuid, i32)>,
    pub note: &'a str,
}

/// Appends a dose, and takes it from the shelf when its lot is known.
pub async fn add_dose(db: &mut PgConnection, d: &NewDose<'_>, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO doses (id, unit_id, customer_id, given_on, product_id, lot_id, amount_ml, staff_id, report_id, version, note, made_at)
         SELECT $1, u.id, u.customer_id, $3, $4, $5, $6, $7, $8, $9, $10, $11 FROM units u WHERE u.id = $2",
        d.id,
        d.unit_id,
        d.given_on,
        d.product_id,
        d.lot_id,
        d.amount_ml,
        d.staff_id,
        d.report.map(|r| r.0),
        d.report.map(|r| r.1),
        d.note,
        now
    )
    .execute(&mut *db)
    .await?;
    if let Some(lot_id) = d.lot_id {
        move_shelf(db, lot_id, d.given_on, -d.amount_ml, "used", Some(d.id), d.staff_id, now).await?;
    }
    Ok(())
}

#[expect(clippy::too_many_arguments, reason = "one row, one call inside this file")]
async fn move_shelf(
    db: impl PgExecutor<'_>,
    lot: Uuid,
    day: Date,
    ml: i64,
    why: &str,
    dose: Option<Uuid>,
    staff: Option<Uuid>,
    now: OffsetDateTime,
) -> Result<()> {
    sqlx::query!(
        "INSERT INTO shelf_moves (id, lot_id, moved_on, amount_ml, why, dose_id, staff_id, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        Uuid::now_v7(),
        lot,
        day,
        ml,
        why,
        dose,
        staff,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Marks the tests and doses of a report's earlier versions as superseded, and puts their doses back on the shelf.
pub async fn supersede_report(db: &mut PgConnection, report_id: Uuid, version: i32, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "UPDATE water_tests SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL",
        report_id,
        version,
        now
    )
    .execute(&mut *db)
    .await?;
    let back = sqlx::query!(
        "UPDATE doses SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL RETURNING id, lot_id, amount_ml, given_on, staff_id",
        report_id,
        version,
        now
    )
    .fetch_all(&mut *db)
    .await?;
    for d in back {
        if let Some(lot) = d.lot_id {
            move_shelf(&mut *db, lot, d.given_on, d.amount_ml, "taken back", Some(d.id), d.staff_id, now).await?;
        }
    }
    Ok(())
}

//! Tests and doses as they come in. Appended; a correction marks the earlier ones as superseded.

use super::super::Result;
use crate::{
    units::{MgPerLitre, Ph},
    water::{Basis, KitError, Shown, TestKit},
};
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
    Manganese,
    Ammonium,
    Nitrate,
    Molybdenum,
    Boron,
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
            Self::Manganese => "manganese",
            Self::Ammonium => "ammonium",
            Self::Nitrate => "nitrate",
            Self::Molybdenum => "molybdenum",
            Self::Boron => "boron",
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
            Self::Manganese => "Mn",
            Self::Ammonium => "NH4",
            Self::Nitrate => "NO3",
            Self::Molybdenum => "Mo",
            Self::Boron => "B",
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
    pub drops: Option<u16>,
    /// Thousandths of the figure.
    pub value_milli: i64,
    pub basis: String,
    /// Inhibitor only: in the programme's basis, mg/L.
    pub programme_mg_l: Option<i32>,
}

impl NewReading {
    /// What a kit showed of the inhibitor; `to` is the basis of the unit's programme.
    pub fn inhibitor(kit: &TestKit, shown: Shown, to: Basis) -> std::result::Result<Self, KitError> {
        let level = kit.measure(shown, to)?.level;
        let own = kit.own_milli(shown)?;
        Ok(Self { kit_code: Some(kit.code.clone()), drops: shown.drops(), ..Self::of_inhibitor(own, kit.basis, level) })
    }

    /// A level of the inhibitor that says its basis, without a kit; `level` is the same in the programme's basis.
    pub fn inhibitor_as(value: MgPerLitre, basis: Basis, level: MgPerLitre) -> Self {
        Self::of_inhibitor(value.get() * 1000, basis, level)
    }

    fn of_inhibitor(value_milli: i64, basis: Basis, level: MgPerLitre) -> Self {
        let programme_mg_l = i32::try_from(level.get()).ok();
        Self { basis: basis.as_str().to_owned(), programme_mg_l, ..Self::plain(What::Inhibitor, value_milli) }
    }

    pub fn ph(ph: Ph) -> Self {
        Self::plain(What::Ph, ph.get() * 10)
    }

    /// Anything that is kept in mg/L in one basis: hardness, chloride, sulfate …
    pub fn mg_l(what: What, value: MgPerLitre) -> Self {
        Self::plain(what, value.get() * 1000)
    }

    /// Any figure in the basis that [`What::basis`] names, in thousandths.
    pub fn figure(what: What, value_milli: i64) -> Self {
        Self::plain(what, value_milli)
    }

    /// As the column holds it; a kit counts far fewer.
    pub(in crate::store) fn drops_kept(&self) -> Option<i16> {
        self.drops.and_then(|n| i16::try_from(n).ok())
    }

    fn plain(what: What, value_milli: i64) -> Self {
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
    pub note: &'a str,
    pub readings: &'a [NewReading],
}

/// Appends a test and its readings.
pub async fn add_test(db: &mut PgConnection, t: &NewTest<'_>, now: OffsetDateTime) -> Result<()> {
    let of_water = if t.fill_id.is_some() { "fill" } else { "unit" };
    sqlx::query!(
        "INSERT INTO water_tests (id, unit_id, customer_id, taken_on, of_water, made_by, staff_id, report_id, version, fill_id, note, made_at)
         SELECT $1, u.id, coalesce(b.customer_id, u.customer_id), $3, $4, $5, $6, $7, $8, $9, $10, $11
         FROM units u LEFT JOIN visit_reports b ON b.report_id = $7 AND b.version = $8 WHERE u.id = $2",
        t.id,
        t.unit_id,
        t.taken_on,
        of_water,
        t.maker.as_str(),
        t.staff_id,
        t.report.map(|r| r.0),
        t.report.map(|r| r.1),
        t.fill_id,
        t.note,
        now
    )
    .execute(&mut *db)
    .await?;
    for r in t.readings {
        sqlx::query!(
            "INSERT INTO readings (test_id, what, kit_code, drops, value_milli, basis, programme_mg_l, reagent_expired)
             VALUES ($1, $2, $3, $4, $5, $6, $7, coalesce((SELECT reagent_expires_on < $8::date FROM test_kits WHERE code = $3), false))",
            t.id,
            r.what.as_str(),
            r.kit_code,
            r.drops_kept(),
            r.value_milli,
            r.basis,
            r.programme_mg_l,
            t.taken_on
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
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
         SELECT $1, u.id, coalesce(b.customer_id, u.customer_id), $3, $4, $5, $6, $7, $8, $9, $10, $11
         FROM units u LEFT JOIN visit_reports b ON b.report_id = $8 AND b.version = $9 WHERE u.id = $2",
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

/// What else was seen or done with the water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// What the make-up meter shows.
    Meter,
    /// How much was let out.
    Drained,
}

impl Event {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Meter => "meter",
            Self::Drained => "drained",
        }
    }
}

#[derive(Clone, Debug)]
pub struct NewEvent<'a> {
    pub unit_id: Uuid,
    pub happened_on: Date,
    pub what: Event,
    pub amount_ml: i64,
    /// Where drained water went.
    pub where_to: &'a str,
    pub staff_id: Option<Uuid>,
    pub report: Option<(Uuid, i32)>,
}

/// Appends what the make-up meter showed, or what was drained.
pub async fn add_event(db: impl PgExecutor<'_>, e: &NewEvent<'_>, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO water_events (id, unit_id, customer_id, happened_on, what, amount_ml, where_to, staff_id, report_id, version, made_at)
         SELECT $1, u.id, coalesce(b.customer_id, u.customer_id), $3, $4, $5, $6, $7, $8, $9, $10
         FROM units u LEFT JOIN visit_reports b ON b.report_id = $8 AND b.version = $9 WHERE u.id = $2",
        Uuid::now_v7(),
        e.unit_id,
        e.happened_on,
        e.what.as_str(),
        e.amount_ml,
        e.where_to,
        e.staff_id,
        e.report.map(|r| r.0),
        e.report.map(|r| r.1),
        now
    )
    .execute(db)
    .await?;
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

/// Marks the tests, doses, water events, fills and volumes of a report's earlier versions as superseded, and puts their doses back on the
/// shelf.
pub async fn supersede_report(db: &mut PgConnection, report_id: Uuid, version: i32, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "UPDATE water_tests SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL",
        report_id,
        version,
        now
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "UPDATE water_events SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL",
        report_id,
        version,
        now
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "UPDATE water_volumes SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL",
        report_id,
        version,
        now
    )
    .execute(&mut *db)
    .await?;
    let fills = sqlx::query_scalar!(
        "SELECT id FROM fills WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL ORDER BY id LIMIT 10",
        report_id,
        version
    );
    for fill in fills.fetch_all(&mut *db).await? {
        end_fill(&mut *db, fill, now).await?;
    }
    let back = sqlx::query_scalar!(
        "UPDATE doses SET superseded_at = $3 WHERE report_id = $1 AND version < $2 AND superseded_at IS NULL RETURNING id",
        report_id,
        version,
        now
    )
    .fetch_all(&mut *db)
    .await?;
    back_on_the_shelf(db, &back, now).await
}

/// A fill's own sheet takes the place of what a report said of the same fill.
pub async fn end_reported_fills(db: &mut PgConnection, unit_id: Uuid, day: Date, now: OffsetDateTime) -> Result<()> {
    let fills = sqlx::query_scalar!(
        "SELECT id FROM fills WHERE unit_id = $1 AND report_id IS NOT NULL AND superseded_at IS NULL AND abs(filled_on - $2) <= $3 ORDER BY id LIMIT 10",
        unit_id,
        day,
        super::super::reports::ONE_FILL_DAYS
    );
    for fill in fills.fetch_all(&mut *db).await? {
        end_fill(&mut *db, fill, now).await?;
    }
    Ok(())
}

/// Marks a fill as superseded, with the volume that was read at it; the water before it counts as the unit's again.
pub(super) async fn end_fill(db: &mut PgConnection, fill_id: Uuid, now: OffsetDateTime) -> Result<()> {
    sqlx::query!("UPDATE water_volumes SET superseded_at = $2 WHERE fill_id = $1 AND superseded_at IS NULL", fill_id, now)
        .execute(&mut *db)
        .await?;
    let ended = sqlx::query!("UPDATE fills SET superseded_at = $2 WHERE id = $1 RETURNING unit_id, filled_on", fill_id, now);
    let ended = ended.fetch_one(&mut *db).await?;
    // The water before it was drained by the next fill that stands, if there is one.
    sqlx::query!(
        "UPDATE fills f SET drained_on = (SELECT min(l.filled_on) FROM fills l WHERE l.unit_id = f.unit_id AND l.superseded_at IS NULL AND l.filled_on > f.filled_on)
         WHERE f.unit_id = $1 AND f.drained_on = $2 AND f.superseded_at IS NULL",
        ended.unit_id,
        ended.filled_on
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Puts doses that were not given back onto the shelf they were noted from.
pub(super) async fn back_on_the_shelf(db: &mut PgConnection, doses: &[Uuid], now: OffsetDateTime) -> Result<()> {
    let from = sqlx::query!(
        r#"SELECT id, lot_id AS "lot_id!", amount_ml, given_on, staff_id FROM doses WHERE id = ANY($1) AND lot_id IS NOT NULL"#,
        doses
    );
    for d in from.fetch_all(&mut *db).await? {
        move_shelf(&mut *db, d.lot_id, d.given_on, d.amount_ml, "taken back", Some(d.id), d.staff_id, now).await?;
    }
    Ok(())
}

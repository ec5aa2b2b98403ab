//! Old water tests of a list: each finds its unit, and is turned into the basis of the unit's programme.

use super::{
    super::{DoseRow, TestRow},
    Plan, also_look_at, references,
};
use crate::{
    listing::{self, Inhibitor, Known, List},
    secrets,
    store::{
        Result,
        catalogue::Treatments,
        corrupt,
        water::{NewReading, ready_product},
    },
    units::MgPerLitre,
    water::{Basis, Programme, Shown, TestKit, convert},
};
use sqlx::PgConnection;
use std::collections::{HashMap, HashSet};
use time::Date;
use uuid::Uuid;

/// A unit that is kept.
struct Kept {
    id: Uuid,
    programme_code: String,
    kit_code: Option<String>,
    product_id: Option<Uuid>,
}

/// Why a row cannot be kept: the column, and what to do.
type Wrong = (&'static str, String);

const UNKNOWN: &str = "No unit of this reference is kept. Bring in the units first, or correct it.";

async fn kept(db: &mut PgConnection, references: &[String]) -> Result<HashMap<String, Kept>> {
    let rows =
        sqlx::query!(r#"SELECT ref AS "reference!", id, programme_code, kit_code, product_id FROM units WHERE ref = ANY($1)"#, references)
            .fetch_all(db)
            .await?;
    let kept = |id, programme_code, kit_code, product_id| Kept { id, programme_code, kit_code, product_id };
    Ok(rows.into_iter().map(|r| (r.reference, kept(r.id, r.programme_code, r.kit_code, r.product_id))).collect())
}

pub(super) async fn plan(db: &mut PgConnection, list: &List, known: &Known, treatments: &Treatments) -> Result<Plan> {
    let (rows, complaints) = listing::tests(list, known);
    let mut plan = Plan { complaints, ..Plan::default() };
    let units = kept(&mut *db, &references(list, "unit")).await?;
    for row in also_look_at(&plan.complaints, list, "unit") {
        if !units.contains_key(&list.text(row, "unit")) {
            plan.complaints.push(list.complaint(row, "unit", UNKNOWN));
        }
    }
    let mut seen: HashMap<String, &listing::TestRow> = HashMap::new();
    let mut ready = Vec::new();
    for row in &rows {
        let Some(unit) = units.get(&row.unit) else {
            plan.complaints.push(list.complaint(row.row, "unit", UNKNOWN));
            continue;
        };
        let programme = treatments.programme(&unit.programme_code).ok_or_else(|| corrupt("units", unit.id, "its programme is gone"))?;
        let made = readings(row, unit, programme, treatments).and_then(|r| Ok((r, dose(row, unit, treatments)?)));
        let (readings, dose) = match made {
            Ok(made) => made,
            Err((column, what)) => {
                plan.complaints.push(list.complaint(row.row, column, what));
                continue;
            }
        };
        let mark = mark(unit.id, row);
        let first = *seen.entry(mark.clone()).or_insert(row);
        if first.row == row.row {
            ready.push((mark, unit.id, row, readings, dose));
        } else if *first == (listing::TestRow { row: first.row, ..row.clone() }) {
            plan.already += 1;
        } else {
            let what =
                format!("Line {} holds the same test with another kit, basis or dose. Take one of the two out.", list.line(first.row));
            plan.complaints.push(list.complaint(row.row, "unit", what));
        }
    }
    write(db, list, ready, &mut plan).await?;
    Ok(plan)
}

/// A row that can be kept: its mark, its unit, the row, its readings and its dose.
type Ready<'a> = (String, Uuid, &'a listing::TestRow, Vec<NewReading>, Option<DoseRow>);

/// Plans what is new of the rows.
async fn write(db: &mut PgConnection, list: &List, ready: Vec<Ready<'_>>, plan: &mut Plan) -> Result<()> {
    let marks: Vec<String> = ready.iter().map(|r| r.0.clone()).collect();
    let here = here_already(&mut *db, &marks).await?;
    let otherwise = here_otherwise(db, &ready.iter().map(|r| r.1).collect::<Vec<_>>(), &marks).await?;
    for (mark, unit_id, row, readings, dose) in ready {
        if here.contains(&mark) {
            plan.already += 1;
            continue;
        }
        if otherwise.contains(&(unit_id, row.taken_on, row.made_by.to_owned())) {
            plan.complaints.push(list.complaint(row.row, "unit", OTHERWISE));
            continue;
        }
        let test = TestRow {
            id: Uuid::now_v7(),
            unit_id,
            taken_on: row.taken_on,
            made_by: row.made_by,
            report_id: None,
            fill_id: None,
            list_row: Some(mark),
            readings,
        };
        plan.writes.tests.push(test);
        plan.writes.doses.extend(dose);
    }
    Ok(())
}

const OTHERWISE: &str =
    "An earlier list had other figures for this day. Take that test and its dose out first, at the unit under “Wrong in the record?”.";

/// Tests of these units that an earlier list brought and this one does not hold: unit, day and maker.
async fn here_otherwise(db: &mut PgConnection, units: &[Uuid], marks: &[String]) -> Result<HashSet<(Uuid, Date, String)>> {
    let rows = sqlx::query!(
        "SELECT unit_id, taken_on, made_by FROM water_tests
         WHERE unit_id = ANY($1) AND list_row IS NOT NULL AND superseded_at IS NULL AND list_row NOT IN (SELECT unnest($2::text[]))",
        units,
        marks
    );
    Ok(rows.fetch_all(db).await?.into_iter().map(|r| (r.unit_id, r.taken_on, r.made_by)).collect())
}

async fn here_already(db: &mut PgConnection, marks: &[String]) -> Result<HashSet<String>> {
    let rows =
        sqlx::query_scalar!(r#"SELECT list_row AS "mark!" FROM water_tests WHERE list_row = ANY($1) AND superseded_at IS NULL"#, marks)
            .fetch_all(db)
            .await?;
    Ok(rows.into_iter().collect())
}

/// What makes a row the same test on another day of bringing it in: unit, day, maker and the figures as they were read. Kit and basis
/// are left out, so that naming them later does not double the test.
fn mark(unit: Uuid, row: &listing::TestRow) -> String {
    let figure = match row.inhibitor {
        Some(Inhibitor::Drops(n)) => format!("{n} drops"),
        Some(Inhibitor::Value(v, _)) => format!("{} mg/L", v.get()),
        None => String::new(),
    };
    let ph = row.ph.map(|p| p.get().to_string()).unwrap_or_default();
    let text = format!("{unit} {} {} {figure} pH {ph}", row.taken_on, row.made_by);
    secrets::hex(&secrets::sha256(text.as_bytes()))
}

fn readings(row: &listing::TestRow, unit: &Kept, programme: &Programme, treatments: &Treatments) -> Result<Vec<NewReading>, Wrong> {
    let named = row.kit.as_deref().and_then(|code| treatments.kit(code));
    let inhibitor = match row.inhibitor {
        None => None,
        Some(Inhibitor::Drops(n)) => Some(from_drops(n, named.or_else(|| drop_kit(unit, programme, treatments)), programme)?),
        Some(Inhibitor::Value(v, basis)) => Some(from_value(v, basis, named, programme)?),
    };
    Ok(inhibitor.into_iter().chain(row.ph.map(NewReading::ph)).collect())
}

/// A level: the basis as the row says it, else the kit's.
fn from_value(value: MgPerLitre, basis: Option<Basis>, kit: Option<&TestKit>, programme: &Programme) -> Result<NewReading, Wrong> {
    let wrong = |says: String| ("value", says);
    let Some(basis) = basis else {
        let kit = kit.ok_or_else(|| wrong("What is it counted as? Write the basis, or the kit it was read with.".to_owned()))?;
        return NewReading::inhibitor(kit, Shown::Value(value), programme.basis).map_err(|e| wrong(e.to_string()));
    };
    let level = convert(value, basis, programme.basis).map_err(|e| wrong(e.to_string()))?;
    Ok(NewReading { kit_code: kit.map(|k| k.code.clone()), ..NewReading::inhibitor_as(value, basis, level) })
}

/// The kit whose drops were counted when the row names none: the unit's own, else the first for its programme that counts drops.
fn drop_kit<'a>(unit: &Kept, programme: &'a Programme, treatments: &'a Treatments) -> Option<&'a TestKit> {
    let own = unit.kit_code.as_deref().and_then(|code| treatments.kit(code));
    let usual = treatments.usual_kit(programme).filter(|k| k.max_drops().is_some());
    own.or(usual).or_else(|| treatments.kits_for(programme).find(|k| k.max_drops().is_some()))
}

fn from_drops(drops: u16, kit: Option<&TestKit>, programme: &Programme) -> Result<NewReading, Wrong> {
    let none = || ("drops", format!("No kit that counts drops is kept for the programme “{}”. Name one under “kit”.", programme.name));
    let kit = kit.ok_or_else(none)?;
    NewReading::inhibitor(kit, Shown::Drops(drops), programme.basis).map_err(|e| ("drops", format!("{e} The kit is “{}”.", kit.name)))
}

fn dose(row: &listing::TestRow, unit: &Kept, treatments: &Treatments) -> Result<Option<DoseRow>, Wrong> {
    let Some(cells) = &row.dose else { return Ok(None) };
    let named = cells.product.as_deref().and_then(|code| code.parse().ok());
    let usual = || ready_product(treatments, unit.product_id, &unit.programme_code).map(|(id, _)| id);
    let none = || ("amount", "No treatment product is kept for this unit’s programme. Name one under “product”.".to_owned());
    let product_id = named.or_else(usual).ok_or_else(none)?;
    Ok(Some(DoseRow { unit_id: unit.id, given_on: row.taken_on, product_id, lot_id: None, amount_ml: cells.amount.get(), report_id: None }))
}

//! Units of a list: each finds its customer, its place, its programme.

use super::{
    super::{FillRow, PlaceRow, TestRow, UnitRow, VolumeRow},
    Plan, also_look_at, customers, references, same_name,
};
use crate::{
    listing::{self, FillCells, Known, List},
    store::{
        Result,
        catalogue::{Treatments, UnitKind},
        due::DoneRow,
        water::{NewReading, What},
    },
    water::Programme,
};
use sqlx::PgConnection;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// Where units may stand, and what is kept already.
struct Ground<'a> {
    list: &'a List,
    treatments: &'a Treatments,
    kinds: &'a [UnitKind],
    usual_programme: Option<&'a Programme>,
    customers: HashMap<String, customers::Kept>,
    /// Places that are kept, by customer: name and id.
    places: HashMap<Uuid, Vec<(String, Uuid)>>,
    /// Places that this list makes: by customer and name.
    made: HashMap<(Uuid, String), Uuid>,
    today: Date,
}

/// Why a row cannot be kept: the column, and what to do.
type Wrong = (&'static str, String);

pub(super) async fn plan(db: &mut PgConnection, list: &List, known: &Known, treatments: &Treatments, kinds: &[UnitKind]) -> Result<Plan> {
    let (rows, complaints) = listing::units(list, known);
    let mut plan = Plan { complaints, ..Plan::default() };
    let kept = kept(&mut *db, &references(list, "reference")).await?;
    let customers = customers::by_reference(&mut *db, &references(list, "customer")).await?;
    let ids: Vec<Uuid> = customers.values().map(|c| c.id).collect();
    let mut places: HashMap<Uuid, Vec<(String, Uuid)>> = HashMap::new();
    for (customer, name, id) in customers::places(&mut *db, &ids).await? {
        places.entry(customer).or_default().push((name, id));
    }
    let usual_programme = usual_programme(db, treatments).await?;
    let mut ground = Ground { list, treatments, kinds, usual_programme, customers, places, made: HashMap::new(), today: known.today };
    for row in also_look_at(&plan.complaints, list, "customer") {
        let found = ground.customer(&list.text(row, "customer")).and_then(|c| ground.find_place(&list.text(row, "place"), c));
        if let Err((column, what)) = found {
            plan.complaints.push(list.complaint(row, column, what));
        }
    }
    let mut gaps = false;
    for row in rows {
        if let Some((customer, name)) = kept.get(&row.reference) {
            if customer.as_ref() == Some(&row.customer) {
                plan.already += 1;
            } else {
                let what =
                    format!("The unit of this reference is kept under another customer, “{name}”. Correct one of the two references.");
                plan.complaints.push(list.complaint(row.row, "customer", what));
            }
            continue;
        }
        gaps |= row.programme.is_none();
        if let Err((column, what)) = ground.add(&row, &mut plan) {
            plan.complaints.push(list.complaint(row.row, column, what));
        }
    }
    if let Some(usual) = usual_programme.filter(|_| gaps) {
        plan.remarks
            .push(format!("Where the list names no programme, “{}” is taken. A wrong programme makes a wrong dose: check it.", usual.name));
    }
    Ok(plan)
}

/// Units that are kept under these references: their customer's reference and name.
async fn kept(db: &mut PgConnection, references: &[String]) -> Result<HashMap<String, (Option<String>, String)>> {
    let rows = sqlx::query!(
        r#"SELECT u.ref AS "reference!", c.ref AS customer, c.name FROM units u JOIN customers c ON c.id = u.customer_id WHERE u.ref = ANY($1)"#,
        references
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.reference, (r.customer, r.name))).collect())
}

/// The programme that most units have; with none kept yet, the first of the book.
async fn usual_programme<'a>(db: &mut PgConnection, treatments: &'a Treatments) -> Result<Option<&'a Programme>> {
    let code =
        sqlx::query_scalar!("SELECT programme_code FROM units GROUP BY programme_code ORDER BY count(*) DESC, programme_code LIMIT 1")
            .fetch_optional(db)
            .await?;
    let usual = code.and_then(|c| treatments.programme(&c));
    Ok(usual.or_else(|| treatments.programmes.first()))
}

impl Ground<'_> {
    fn add(&mut self, row: &listing::UnitRow, plan: &mut Plan) -> Result<(), Wrong> {
        let programme = self.programme(row)?;
        let customer_id = self.customer(&row.customer)?;
        let place_id = match self.find_place(&row.place, customer_id)? {
            Some(id) => id,
            None => self.make_place(&row.place, customer_id, &mut plan.writes.places),
        };
        let id = Uuid::now_v7();
        let kind = self.kinds.iter().find(|k| k.code == row.kind);
        plan.writes.units.push(UnitRow {
            id,
            place_id,
            customer_id,
            reference: Some(row.reference.clone()),
            name: if row.name.is_empty() { kind.map_or_else(|| row.kind.clone(), |k| k.name.clone()) } else { row.name.clone() },
            kind_code: row.kind.clone(),
            serial: row.serial.clone(),
            installed_on: row.installed_on,
            // Without a figure of its own it goes by its kind's, whatever that becomes.
            jacket_ml: row.jacket.map(crate::units::Millilitres::get),
            aluminium: row.aluminium,
            programme_code: programme,
            kit_code: row.kit.clone(),
        });
        plan.writes.volumes.extend(row.volume.map(|v| VolumeRow {
            unit_id: id,
            volume_ml: v.volume().get(),
            plus_minus_ml: v.plus_minus().get(),
            method: v.method().as_str(),
            // As old as what it comes from, so that whatever is found later counts more.
            found_on: row.fill.map(|f| f.filled_on).or(row.installed_on).unwrap_or(self.today),
        }));
        plan.writes.done.extend(row.done.iter().map(|(job, day)| DoneRow {
            id: Uuid::now_v7(),
            unit_id: id,
            job_code: (*job).to_owned(),
            done_on: *day,
            by_whom: String::new(),
        }));
        if let Some(cells) = &row.fill {
            let fill_id = Uuid::now_v7();
            plan.writes.fills.push(fill(fill_id, id, cells));
            plan.writes.tests.extend(fill_test(fill_id, id, cells));
        }
        Ok(())
    }

    fn programme(&self, row: &listing::UnitRow) -> Result<String, Wrong> {
        let named = row.programme.as_deref().and_then(|code| self.treatments.programme(code));
        let programme =
            named.or(self.usual_programme).ok_or_else(|| ("programme", "No treatment programme is kept yet. Add one first.".to_owned()))?;
        let kit = row.kit.as_deref().and_then(|code| self.treatments.kit(code));
        if kit.is_some_and(|k| !k.serves(programme)) {
            return Err((
                "kit",
                format!(
                    "This kit does not measure what the programme “{}” counts. Name another kit, or leave the cell empty.",
                    programme.name
                ),
            ));
        }
        Ok(programme.code.clone())
    }

    fn customer(&self, reference: &str) -> Result<Uuid, Wrong> {
        let kept = self.customers.get(reference).map(|c| c.id);
        kept.ok_or_else(|| ("customer", "No customer of this reference is kept. Bring in the customers first, or correct it.".to_owned()))
    }

    /// The place a row means; `None` when the customer has none yet. A name that is none of several is taken for a slip, because a
    /// second yard without a pin could not be routed.
    fn find_place(&self, place: &str, customer: Uuid) -> Result<Option<Uuid>, Wrong> {
        let kept = self.places.get(&customer).map_or(&[][..], Vec::as_slice);
        let wanted = same_name(place);
        match kept {
            [] => return Ok(None),
            [(_, only)] if wanted.is_empty() => return Ok(Some(*only)),
            _ => {}
        }
        if let Some((_, id)) = kept.iter().find(|(name, _)| same_name(name) == wanted) {
            return Ok(Some(*id));
        }
        let names: Vec<String> = kept.iter().map(|(name, _)| format!("“{name}”")).collect();
        let what = if wanted.is_empty() { "This customer has several places" } else { "This customer has no place of this name" };
        let advice =
            format!("Write {} under “{}”, or bring in the new place with the customers.", names.join(" or "), self.list.title("place"));
        Err(("place", format!("{what}. {advice}")))
    }

    /// The place that the list names for a customer who has none yet.
    fn make_place(&mut self, place: &str, customer: Uuid, places: &mut Vec<PlaceRow>) -> Uuid {
        let name = if place.is_empty() { "Home" } else { place };
        *self.made.entry((customer, same_name(name))).or_insert_with(|| {
            let new = PlaceRow { id: Uuid::now_v7(), customer_id: customer, name: name.to_owned(), ..PlaceRow::default() };
            let id = new.id;
            places.push(new);
            id
        })
    }
}

const fn fill(id: Uuid, unit_id: Uuid, cells: &FillCells) -> FillRow {
    FillRow {
        id,
        unit_id,
        filled_on: cells.filled_on,
        source_water: cells.source_water,
        softened: cells.softened,
        fluid: cells.fluid,
        glycol_percent: cells.glycol_percent,
        amount_ml: None,
    }
}

/// The hardness of the fill water is a test of that fill.
fn fill_test(fill_id: Uuid, unit_id: Uuid, cells: &FillCells) -> Option<TestRow> {
    let hardness = cells.hardness?;
    Some(TestRow {
        id: Uuid::now_v7(),
        unit_id,
        taken_on: cells.filled_on,
        made_by: "office",
        report_id: None,
        fill_id: Some(fill_id),
        list_row: None,
        readings: vec![NewReading::mg_l(What::Hardness, hardness)],
    })
}

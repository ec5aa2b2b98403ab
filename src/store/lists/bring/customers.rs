//! Customers and places of a list, held against those that are kept.

use super::{
    super::{CustomerRow, PlaceRow},
    Plan, references, same_name,
};
use crate::{
    listing::{self, List, PlaceCells},
    store::Result,
};
use sqlx::PgConnection;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

/// A customer that is kept.
pub(super) struct Kept {
    pub(super) id: Uuid,
    pub(super) name: String,
}

/// Customers by the dealer's own references.
pub(super) async fn by_reference(db: &mut PgConnection, references: &[String]) -> Result<HashMap<String, Kept>> {
    let rows = sqlx::query!(r#"SELECT ref AS "reference!", id, name FROM customers WHERE ref = ANY($1)"#, references).fetch_all(db).await?;
    Ok(rows.into_iter().map(|r| (r.reference, Kept { id: r.id, name: r.name })).collect())
}

/// Places of these customers: customer, name, id.
pub(super) async fn places(db: &mut PgConnection, customers: &[Uuid]) -> Result<Vec<(Uuid, String, Uuid)>> {
    let rows =
        sqlx::query!("SELECT customer_id, name, id FROM places WHERE customer_id = ANY($1) ORDER BY id", customers).fetch_all(db).await?;
    Ok(rows.into_iter().map(|r| (r.customer_id, r.name, r.id)).collect())
}

pub(super) async fn plan(db: &mut PgConnection, list: &List) -> Result<Plan> {
    let (rows, complaints) = listing::customers(list);
    let mut plan = Plan { complaints, ..Plan::default() };
    let kept = by_reference(&mut *db, &references(list, "reference")).await?;
    let ids: Vec<Uuid> = kept.values().map(|k| k.id).collect();
    let mut places: HashSet<(Uuid, String)> =
        places(db, &ids).await?.into_iter().map(|(customer, name, _)| (customer, same_name(&name))).collect();
    let mut made: HashMap<String, Uuid> = HashMap::new();
    for row in rows {
        let known = kept.get(&row.reference);
        if let Some(other) = known.filter(|k| same_name(&k.name) != same_name(&row.name)) {
            let what =
                format!("This reference is kept for “{}”. Write that name, or give this customer a reference of their own.", other.name);
            plan.complaints.push(list.complaint(row.row, "name", what));
            continue;
        }
        let before = known.map(|k| k.id).or_else(|| made.get(&row.reference).copied());
        let id = before.unwrap_or_else(Uuid::now_v7);
        if before.is_none() {
            made.insert(row.reference.clone(), id);
            plan.writes.customers.push(CustomerRow {
                id,
                reference: Some(row.reference),
                name: row.name,
                phone: row.phone,
                email: row.email,
                note: row.note,
            });
        }
        let new_place = row.place.filter(|p| places.insert((id, same_name(&p.name))));
        if before.is_some() && new_place.is_none() {
            plan.already += 1;
        }
        plan.writes.places.extend(new_place.map(|p| place(id, p)));
    }
    Ok(plan)
}

fn place(customer_id: Uuid, p: PlaceCells) -> PlaceRow {
    PlaceRow {
        id: Uuid::now_v7(),
        customer_id,
        name: p.name,
        address: p.address,
        town: p.town,
        pin: p.pin,
        pin_origin: "office",
        access_note: p.access,
        hazards: p.hazards,
    }
}

//! Bringing in a list: its rows held against what is kept, then written in one transaction.

mod customers;
mod tests;
mod units;
mod waiting;

pub use waiting::{Waiting, sweep};

use super::{
    super::{
        Result, catalogue,
        due::{self, DoneRow},
        events::{self, Actor},
    },
    CustomerRow, DoseRow, FillRow, PlaceRow, TestRow, UnitRow, VolumeRow, add_customers, add_doses, add_fills, add_places, add_tests,
    add_units, add_volumes,
};
use crate::{
    listing::{Complaint, Kind, Known, List, Named},
    units::thousands,
};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::collections::{BTreeSet, HashSet};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// From how many units on a list is large.
const MANY: usize = 500;

/// What a list would change, and what is wrong with it.
#[derive(Debug, Default)]
pub struct Plan {
    /// What keeps the list from being read at all; empty when nothing does.
    pub missing: Vec<String>,
    pub complaints: Vec<Complaint>,
    /// What the reader should know of how gaps are filled.
    pub remarks: Vec<String>,
    rows: usize,
    already: usize,
    writes: Writes,
}

/// Rows for the tables, in the order in which they are written.
#[derive(Debug, Default)]
struct Writes {
    customers: Vec<CustomerRow>,
    places: Vec<PlaceRow>,
    units: Vec<UnitRow>,
    volumes: Vec<VolumeRow>,
    fills: Vec<FillRow>,
    tests: Vec<TestRow>,
    doses: Vec<DoseRow>,
    done: Vec<DoneRow>,
}

/// What came in, or would.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Brought {
    /// Rows in the list.
    pub rows: usize,
    pub already: usize,
    pub to_fix: usize,
    pub customers: usize,
    pub places: usize,
    pub units: usize,
    pub volumes: usize,
    pub fills: usize,
    pub tests: usize,
    pub doses: usize,
    /// Jobs that were done before.
    pub done: usize,
}

impl Brought {
    /// Rows that bring in something.
    pub const fn new_rows(&self) -> usize {
        self.rows.saturating_sub(self.already).saturating_sub(self.to_fix)
    }

    /// "5 customers, 6 places"; "nothing new" when there is nothing.
    pub fn words(&self) -> String {
        let things = [
            (self.customers, "customer", "customers"),
            (self.places, "place", "places"),
            (self.units, "unit", "units"),
            (self.volumes, "water volume", "water volumes"),
            (self.fills, "fill", "fills"),
            (self.tests, "water test", "water tests"),
            (self.doses, "dose", "doses"),
            (self.done, "job done before", "jobs done before"),
        ];
        let said: Vec<String> =
            things.iter().filter(|t| t.0 > 0).map(|(n, one, many)| format!("{} {}", count(*n), if *n == 1 { one } else { many })).collect();
        if said.is_empty() { "nothing new".to_owned() } else { said.join(", ") }
    }
}

fn count(n: usize) -> String {
    thousands(i64::try_from(n).unwrap_or(i64::MAX))
}

impl Plan {
    /// What keeping the good rows would bring in.
    pub fn brought(&self) -> Brought {
        let w = &self.writes;
        let to_fix: HashSet<usize> = self.complaints.iter().map(|c| c.row).collect();
        Brought {
            rows: self.rows,
            already: self.already,
            to_fix: to_fix.len(),
            customers: w.customers.len(),
            places: w.places.len(),
            units: w.units.len(),
            volumes: w.volumes.len(),
            fills: w.fills.len(),
            tests: w.tests.iter().filter(|t| t.fill_id.is_none()).count(),
            doses: w.doses.len(),
            done: w.done.len(),
        }
    }

    /// The units whose due items may change.
    fn touched(&self) -> Vec<Uuid> {
        let w = &self.writes;
        let all = w.units.iter().map(|u| u.id).chain(w.tests.iter().map(|t| t.unit_id));
        let once: HashSet<Uuid> = all.collect();
        once.into_iter().collect()
    }
}

/// Reads a list and holds it against what is kept. Writes nothing.
pub async fn plan(db: &mut PgConnection, list: &List, today: Date) -> Result<Plan> {
    let rows = list.sheet.rows.len();
    let missing = list.missing();
    if !missing.is_empty() {
        return Ok(Plan { missing, rows, ..Plan::default() });
    }
    let treatments = catalogue::treatments(&mut *db).await?;
    let kinds = catalogue::unit_kinds(&mut *db, None).await?;
    let known = known(&treatments, &kinds, today);
    let mut plan = match list.kind {
        Kind::Customers => customers::plan(db, list).await?,
        Kind::Units => units::plan(db, list, &known, &treatments, &kinds).await?,
        Kind::Tests => tests::plan(db, list, &known, &treatments).await?,
    };
    plan.rows = rows;
    plan.complaints.sort_by_key(|c| c.row);
    Ok(plan)
}

/// Keeps a list: all of it, or with `only_good_rows` those that nothing is wrong with. `None`: something is wrong, and nothing was kept.
///
/// Part of the caller's transaction. Lists are brought in one after the other, so that two of the same change nothing twice.
pub async fn keep(
    db: &mut PgConnection,
    list: &List,
    only_good_rows: bool,
    who: &Actor,
    today: Date,
    now: OffsetDateTime,
) -> Result<(Plan, Option<Brought>)> {
    sqlx::raw_sql("SET LOCAL statement_timeout = '30s'; SET LOCAL lock_timeout = '30s'; SELECT FROM dealer WHERE id = 1 FOR NO KEY UPDATE")
        .execute(&mut *db)
        .await?;
    let plan = plan(&mut *db, list, today).await?;
    if !plan.missing.is_empty() || (!plan.complaints.is_empty() && !only_good_rows) {
        return Ok((plan, None));
    }
    let brought = plan.brought();
    write(&mut *db, &plan.writes, now).await?;
    let touched = plan.touched();
    if touched.len() >= MANY {
        // Postgres learns by itself that the tables have grown, but only minutes later.
        sqlx::raw_sql("ANALYZE units, fills, water_volumes, water_tests, readings, doses").execute(&mut *db).await?;
    }
    due::refresh(&mut *db, Some(&touched), today).await?;
    events::note(db, now, who, "brought in a list", &format!("{}: {}", list.kind.as_str(), brought.words())).await?;
    Ok((plan, Some(brought)))
}

async fn write(db: &mut PgConnection, w: &Writes, now: OffsetDateTime) -> Result<()> {
    add_customers(&mut *db, &w.customers, now).await?;
    add_places(&mut *db, &w.places).await?;
    add_units(&mut *db, &w.units).await?;
    add_volumes(&mut *db, &w.volumes, now).await?;
    add_fills(&mut *db, &w.fills, now).await?;
    add_tests(&mut *db, &w.tests, now).await?;
    add_doses(&mut *db, &w.doses, now).await?;
    due::add_done(db, &w.done, None, now).await
}

fn known(treatments: &catalogue::Treatments, kinds: &[catalogue::UnitKind], today: Date) -> Known {
    let named = |code: &str, name: &str| Named { code: code.to_owned(), name: name.to_owned() };
    Known {
        kinds: kinds.iter().map(|k| named(&k.code, &k.name)).collect(),
        programmes: treatments.programmes.iter().map(|p| named(&p.code, &p.name)).collect(),
        kits: treatments.kits.iter().map(|k| named(&k.kit.code, &k.kit.name)).collect(),
        products: treatments.products.iter().map(|p| named(&p.id.to_string(), &p.product.name)).collect(),
        today,
    }
}

/// Every reference that the list writes under a column, without repetition.
fn references(list: &List, column: &str) -> Vec<String> {
    let all: HashSet<String> = (0..list.sheet.rows.len()).map(|row| list.text(row, column)).collect();
    all.into_iter().filter(|r| !r.is_empty()).collect()
}

/// Rows that are complained about, but not in this column nor as a whole: their references are still worth looking up, so that
/// everything is said at once.
fn also_look_at(complaints: &[Complaint], list: &List, column: &str) -> Vec<usize> {
    let title = list.title(column);
    let all: BTreeSet<usize> = complaints.iter().map(|c| c.row).collect();
    let said: HashSet<usize> = complaints.iter().filter(|c| c.column == title || c.column.starts_with('(')).map(|c| c.row).collect();
    all.into_iter().filter(|row| !said.contains(row)).collect()
}

/// A name as two lists may write it: case and the number of spaces do not matter.
fn same_name(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

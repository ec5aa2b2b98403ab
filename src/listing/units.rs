//! Rows of units, each at a customer's place.

use super::{
    Complaint, List,
    cells::{Cells, Known},
};
use crate::{
    units::{MgPerLitre, Millilitres, parse_mg_per_litre},
    water::{JACKET_ML, Method, WaterVolume},
};
use std::collections::HashMap;
use time::Date;

/// A unit as one row has it. Codes are those of [`Known`].
#[derive(Clone, Debug, PartialEq)]
pub struct UnitRow {
    /// Its place among the rows.
    pub row: usize,
    pub reference: String,
    /// The customer's reference.
    pub customer: String,
    /// Empty: the customer's only place.
    pub place: String,
    /// Empty: the name of its kind.
    pub name: String,
    pub kind: String,
    pub serial: String,
    pub installed_on: Option<Date>,
    pub jacket: Option<Millilitres>,
    pub volume: Option<WaterVolume>,
    pub aluminium: bool,
    pub programme: Option<String>,
    pub kit: Option<String>,
    pub fill: Option<FillCells>,
    /// Codes of jobs, and when each was done last.
    pub done: Vec<(&'static str, Date)>,
}

/// The columns that say when a shipped kind of job was done last, and its code.
const DONE: [(&str, &str); 3] =
    [("last start-up", "fall-start-up"), ("last shut-down", "spring-shut-down"), ("last clean", "yearly-clean")];

/// The present fill, as one row has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FillCells {
    pub filled_on: Date,
    pub source_water: &'static str,
    pub softened: Option<bool>,
    pub fluid: &'static str,
    pub glycol_percent: i32,
    pub hardness: Option<MgPerLitre>,
}

/// Smallest and largest water volume, in mL.
const LEAST: i64 = 1_000;
const MOST: i64 = 40_000_000;
/// Softest to hardest water that is believed, in mg/L as `CaCO3`.
const HARDEST: i64 = 5_000;

/// Reads every row.
pub fn units(list: &List, known: &Known) -> (Vec<UnitRow>, Vec<Complaint>) {
    let mut complaints = Vec::new();
    let mut lines = HashMap::new();
    let rows = (0..list.sheet.rows.len()).filter_map(|row| {
        let mut cells = Cells::new(list, row);
        let value = unit(&mut cells, known, &mut lines);
        cells.done(value, &mut complaints)
    });
    let rows = rows.collect();
    (rows, complaints)
}

fn unit(cells: &mut Cells<'_>, known: &Known, lines: &mut HashMap<String, usize>) -> Option<UnitRow> {
    let reference = cells.needed("reference", 40);
    if !reference.is_empty() {
        let line = cells.list.line(cells.row);
        let first = *lines.entry(reference.clone()).or_insert(line);
        if first != line {
            cells.complain(
                "reference",
                format!("Line {first} has this reference already. Give each unit one of its own, or take one row out."),
            );
        }
    }
    let customer = cells.needed("customer", 40);
    let place = cells.text("place", 120);
    let name = cells.text("name", 120);
    cells.require("kind");
    let kind = cells.code("kind", &known.kinds, "kind of unit");
    let serial = cells.text("serial", 60);
    let installed_on = cells.day("installed on", known.today);
    let jacket = cells.volume("jacket", *JACKET_ML.start(), *JACKET_ML.end());
    let volume = volume(cells, jacket);
    let aluminium = cells.yes_or_no("aluminium").unwrap_or(false);
    let programme = cells.code("programme", &known.programmes, "treatment programme");
    let kit = cells.code("kit", &known.kits, "test kit");
    let fill = fill(cells, known.today);
    let done = DONE.iter().filter_map(|(column, code)| Some((*code, cells.day(column, known.today)?))).collect();
    let kind = kind?;
    Some(UnitRow {
        row: cells.row,
        reference,
        customer,
        place,
        name,
        kind,
        serial,
        installed_on,
        jacket,
        volume,
        aluminium,
        programme,
        kit,
        fill,
        done,
    })
}

const METHODS: [(&str, Method); 16] = [
    ("label", Method::Label),
    ("from the label", Method::Label),
    ("plate", Method::Label),
    ("piping", Method::Piping),
    ("pipes", Method::Piping),
    ("label and piping", Method::Piping),
    ("from the label and the piping", Method::Piping),
    ("meter", Method::WaterMeter),
    ("metered", Method::WaterMeter),
    ("water meter", Method::WaterMeter),
    ("by water meter at filling", Method::WaterMeter),
    ("tracer", Method::Tracer),
    ("from the rise of a measured dose", Method::Tracer),
    ("guess", Method::Guess),
    ("a guess", Method::Guess),
    ("estimate", Method::Guess),
];

/// Without a method a volume is a guess: the widest ±, so that no dose is trusted more than it should be.
fn volume(cells: &mut Cells<'_>, jacket: Option<Millilitres>) -> Option<WaterVolume> {
    let volume = cells.volume("volume", LEAST, MOST);
    let method = cells.word("volume method", &METHODS, "Write label, piping, water meter, tracer or guess.");
    if cells.is_empty("volume") && !cells.is_empty("volume method") {
        cells.complain("volume", "The method stands alone. Write the volume as well, or leave both cells empty.");
    }
    let volume = volume?;
    if jacket.is_some_and(|j| j > volume) {
        cells.complain(
            "volume",
            "This is less than the jacket alone holds. It is jacket and loop together: check both numbers and their units.",
        );
    }
    match WaterVolume::by(volume, method.unwrap_or(Method::Guess)) {
        Ok(volume) => Some(volume),
        Err(e) => {
            cells.complain("volume", e.to_string());
            None
        }
    }
}

const SOURCES: [(&str, &str); 13] = [
    ("well", "well"),
    ("well water", "well"),
    ("spring", "well"),
    ("town supply", "town supply"),
    ("town", "town supply"),
    ("town water", "town supply"),
    ("city", "town supply"),
    ("city water", "town supply"),
    ("municipal", "town supply"),
    ("hauled", "hauled"),
    ("rain", "rain"),
    ("rain water", "rain"),
    ("unknown", "unknown"),
];

const FLUIDS: [(&str, &str); 5] = [
    ("water", "water"),
    ("propylene glycol", "propylene glycol"),
    ("propylene", "propylene glycol"),
    ("ethylene glycol", "ethylene glycol"),
    ("ethylene", "ethylene glycol"),
];

fn fill(cells: &mut Cells<'_>, today: Date) -> Option<FillCells> {
    let filled_on = cells.day("filled on", today);
    let source_water = cells.word("source water", &SOURCES, "Write well, town supply, hauled, rain or unknown.").unwrap_or("unknown");
    let softened = cells.yes_or_no("softened");
    let hardness = cells.read("hardness", |c| match parse_mg_per_litre(c) {
        Ok(h) if h.get() > HARDEST => {
            Err("No fill water is that hard. Give it in mg/L as CaCO3 (ppm), or write gpg behind the number.".to_owned())
        }
        other => other.map_err(|e| e.to_string()),
    });
    let (fluid, glycol_percent) = fluid(cells);
    if cells.is_empty("filled on") {
        for name in ["source water", "softened", "hardness", "fluid", "glycol percent"] {
            if !cells.is_empty(name) {
                cells.complain(
                    name,
                    format!(
                        "This belongs to a fill. Write the day of the fill under “{}”, or leave this cell empty.",
                        cells.list.title("filled on")
                    ),
                );
            }
        }
    }
    Some(FillCells { filled_on: filled_on?, source_water, softened, fluid, glycol_percent, hardness })
}

fn fluid(cells: &mut Cells<'_>) -> (&'static str, i32) {
    let fluid = cells
        .word("fluid", &FLUIDS, "Write water, propylene glycol or ethylene glycol. Which glycol it is matters: one of them is poisonous.")
        .unwrap_or("water");
    let percent = cells.read("glycol percent", |c| {
        let number: Option<i32> = c.trim_end_matches('%').trim().parse().ok();
        number.filter(|n| (0..=70).contains(n)).ok_or("Write a whole number from 1 to 70.")
    });
    let unread = percent.is_none() && !cells.is_empty("glycol percent");
    let share = percent.unwrap_or(0);
    if fluid == "water" && share > 0 {
        cells.complain("fluid", "There is a share of glycol, but the fluid is water. Write which glycol it is.");
    } else if fluid != "water" && share == 0 && !unread {
        cells.complain("glycol percent", "The fluid is glycol. Write its share as a whole number from 1 to 70.");
    }
    (fluid, share)
}

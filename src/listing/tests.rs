//! Rows of old water tests, each of a unit, perhaps with the dose that followed.

use super::{
    Complaint, List,
    cells::{Cells, Known},
};
use crate::{
    units::{MgPerLitre, Millilitres, Ph, parse_drops, parse_mg_per_litre, parse_ph},
    water::Basis,
};
use time::Date;

/// A water test as one row has it. Codes are those of [`Known`].
#[derive(Clone, Debug, PartialEq)]
pub struct TestRow {
    /// Its place among the rows.
    pub row: usize,
    /// The unit's reference.
    pub unit: String,
    pub taken_on: Date,
    /// technician, customer, laboratory or office.
    pub made_by: &'static str,
    pub inhibitor: Option<Inhibitor>,
    pub kit: Option<String>,
    pub ph: Option<Ph>,
    pub dose: Option<DoseCells>,
}

/// The inhibitor as it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Inhibitor {
    Drops(u16),
    /// Without a basis, the kit says what it is counted as.
    Value(MgPerLitre, Option<Basis>),
}

/// The dose that followed a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DoseCells {
    /// None: the usual product of the unit's programme.
    pub product: Option<String>,
    pub amount: Millilitres,
}

/// Most drops that any kit counts.
const MOST_DROPS: u16 = 200;

/// Reads every row.
pub fn tests(list: &List, known: &Known) -> (Vec<TestRow>, Vec<Complaint>) {
    let mut complaints = Vec::new();
    let rows = (0..list.sheet.rows.len()).filter_map(|row| {
        let mut cells = Cells::new(list, row);
        let value = test(&mut cells, known);
        cells.done(value, &mut complaints)
    });
    let rows = rows.collect();
    (rows, complaints)
}

const MAKERS: [(&str, &str); 8] = [
    ("technician", "technician"),
    ("dealer", "technician"),
    ("us", "technician"),
    ("customer", "customer"),
    ("owner", "customer"),
    ("laboratory", "laboratory"),
    ("lab", "laboratory"),
    ("office", "office"),
];

fn test(cells: &mut Cells<'_>, known: &Known) -> Option<TestRow> {
    let unit = cells.needed("unit", 40);
    cells.require("date");
    let taken_on = cells.day("date", known.today);
    let kit = cells.code("kit", &known.kits, "test kit");
    let inhibitor = inhibitor(cells);
    let ph = cells.read("ph", parse_ph);
    let made_by = cells
        .word("by", &MAKERS, "Write technician, customer, laboratory or office; a person’s name does not say which.")
        .unwrap_or("technician");
    let dose = dose(cells, known);
    if ["drops", "value", "ph"].iter().all(|n| cells.is_empty(n)) {
        let column = ["drops", "value", "ph"].into_iter().find(|n| cells.list.matching.place(cells.list.kind, n).is_some());
        cells.complain(column.unwrap_or("drops"), "This row holds no reading. Write the drops, a value or the pH.");
    }
    Some(TestRow { row: cells.row, unit, taken_on: taken_on?, made_by, inhibitor, kit, ph, dose })
}

fn inhibitor(cells: &mut Cells<'_>) -> Option<Inhibitor> {
    let drops = cells.read("drops", |c| match parse_drops(c) {
        Ok(n) if n > MOST_DROPS => Err("No kit counts that many drops. Check the number; a figure in mg/L goes under “value”.".to_owned()),
        other => other.map_err(|e| e.to_string()),
    });
    let value = cells.read("value", value);
    let basis = cells.read("basis", |c| c.strip_prefix("as ").unwrap_or(c).parse::<Basis>());
    let (drops_empty, value_empty) = (cells.is_empty("drops"), cells.is_empty("value"));
    if !drops_empty && !value_empty {
        cells.complain("value", "There are drops and a value. Leave one of the two cells empty.");
        return None;
    }
    if value_empty && !cells.is_empty("basis") {
        let what = if drops_empty {
            "The basis stands alone. Write a value, or leave this cell empty."
        } else {
            "Drops are counted as their kit says. Leave this cell empty."
        };
        cells.complain("basis", what);
    }
    if let Some(drops) = drops {
        return Some(Inhibitor::Drops(drops));
    }
    let (value, own) = value?;
    if own.zip(basis).is_some_and(|(a, b)| a != b) {
        cells.complain("basis", "The value names another basis. Write one of the two.");
    }
    let basis_written = own.is_some() || !cells.is_empty("basis");
    if !basis_written && cells.is_empty("kit") {
        cells.complain("value", "What is it counted as? Write the basis, as in “1050 as NO2”, or the kit it was read with.");
    }
    Some(Inhibitor::Value(value, own.or(basis)))
}

/// "1,050", "1050 mg/L", "1050 ppm as NO2".
fn value(cell: &str) -> Result<(MgPerLitre, Option<Basis>), String> {
    let (number, basis) = match cell.to_ascii_lowercase().find(" as ") {
        Some(at) => (cell.get(..at).unwrap_or(cell), cell.get(at + 4..)),
        None => (cell, None),
    };
    if number.to_lowercase().contains("gpg") || number.to_lowercase().contains("grain") {
        return Err("Grains are for hardness. Write the inhibitor in mg/L (ppm).".to_owned());
    }
    let value = parse_mg_per_litre(number).map_err(|e| e.to_string())?;
    let basis = basis.map(str::parse::<Basis>).transpose().map_err(|e| e.to_string())?;
    Ok((value, basis))
}

fn dose(cells: &mut Cells<'_>, known: &Known) -> Option<DoseCells> {
    let product = cells.code("product", &known.products, "treatment product");
    let amount = cells.volume("amount", 1, 1_000_000);
    if cells.is_empty("amount") && !cells.is_empty("product") {
        cells.complain("amount", "A product is named, but not how much of it was put in. Write the amount, or leave both cells empty.");
    }
    Some(DoseCells { product, amount: amount? })
}

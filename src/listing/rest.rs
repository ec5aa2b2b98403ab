//! The rows that need fixing, given back as a list with one more column.

use super::{
    Complaint,
    sheet::{Separator, Sheet, looks_like_formula},
};
use std::collections::BTreeMap;

/// The added column.
const FIX: &str = "fix";

pub(super) fn is_fix(title: &str) -> bool {
    title.eq_ignore_ascii_case(FIX)
}

/// The rows that are complained about, under their own column names, with what to fix in a last column.
///
/// UTF-8 with a byte order mark, so that spreadsheets read it as what it is; line ends by RFC 4180. Cells that a spreadsheet
/// might take for a formula get an apostrophe in front; [`Sheet::read`] takes it off again.
pub fn rest(sheet: &Sheet, complaints: &[Complaint]) -> String {
    let mut by_row: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    for c in complaints {
        by_row.entry(c.row).or_default().push(format!("{}: {}", c.column, c.what));
    }
    let kept: Vec<usize> = (0..sheet.header.len()).filter(|i| sheet.header.get(*i).is_some_and(|t| !is_fix(t))).collect();
    let mut text = String::from("\u{FEFF}");
    write_row(&mut text, sheet.separator, kept.iter().filter_map(|i| sheet.header.get(*i)).map(String::as_str).chain([FIX]));
    for (row, says) in by_row {
        let Some(row) = sheet.rows.get(row) else { continue };
        let cell = |i: &usize| row.cells.get(*i).map_or("", String::as_str);
        // Cells beyond the last column name are told in the last cell, so that nothing is lost.
        let fix = says.join(" | ");
        let beyond: Vec<&str> = row.cells.iter().skip(sheet.header.len()).map(String::as_str).filter(|c| !c.is_empty()).collect();
        let beyond = if beyond.is_empty() { String::new() } else { format!(" | beyond the last column stood: {}", beyond.join(", ")) };
        write_row(&mut text, sheet.separator, kept.iter().map(cell).chain([format!("{fix}{beyond}").as_str()]));
    }
    text
}

fn write_row<'a>(text: &mut String, separator: Separator, cells: impl Iterator<Item = &'a str>) {
    write_cells(text, separator, cells.map(|cell| (cell, true)));
}

/// Adds one line by RFC 4180. A cell that somebody typed gets an apostrophe in front where a spreadsheet might take it for a formula.
pub fn write_cells<'a>(text: &mut String, separator: Separator, cells: impl Iterator<Item = (&'a str, bool)>) {
    for (i, (cell, typed)) in cells.enumerate() {
        if i > 0 {
            text.push(separator.as_char());
        }
        let guard = if typed && looks_like_formula(cell) { "'" } else { "" };
        if cell.contains([separator.as_char(), '"', '\r', '\n']) {
            text.extend(["\"", guard, &cell.replace('"', "\"\""), "\""]);
        } else {
            text.extend([guard, cell]);
        }
    }
    text.push_str("\r\n");
}

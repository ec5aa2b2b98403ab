//! The listing room: lists in CSV, read and complained about cell by cell.
//!
//! A file becomes a [`Sheet`]; a [`Matching`] says which of its columns is which; [`customers()`], [`units()`] and [`tests()`] read its
//! rows into types. Whatever is wrong becomes a [`Complaint`] with its line, its column and what to do, and [`rest()`] gives the rows
//! back that need fixing.
//!
//! Pure: no database, no network, no clock. Whether a reference is kept already is for the store to say.

mod cells;
mod columns;
mod customers;
mod rest;
mod sheet;
mod tests;
mod units;

pub use cells::{Known, Named};
pub use columns::{Column, Kind, Matching};
pub use customers::{CustomerRow, PlaceCells, customers};
pub use rest::{rest, write_cells};
pub use sheet::{MAX_BYTES, MAX_ROWS, Row, Separator, Sheet, SheetError};
pub use tests::{DoseCells, Inhibitor, TestRow, tests};
pub use units::{FillCells, UnitRow, units};

/// One thing that is wrong with one row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Complaint {
    /// Its place among [`Sheet::rows`].
    pub row: usize,
    /// The line of the file on which the row starts.
    pub line: usize,
    /// The column as the file calls it, or as the list does when the file has none.
    pub column: String,
    /// What stands there, shortened.
    pub cell: String,
    /// What is wrong, and what to do.
    pub what: String,
}

/// A file, what it holds, and which of its columns is which.
#[derive(Clone, Debug)]
pub struct List {
    pub kind: Kind,
    pub sheet: Sheet,
    pub matching: Matching,
}

impl List {
    /// A file with its columns matched by name.
    pub fn by_name(kind: Kind, bytes: &[u8]) -> Result<Self, SheetError> {
        let sheet = Sheet::read(bytes)?;
        let matching = Matching::by_name(kind, &sheet.header);
        Ok(Self { kind, sheet, matching })
    }

    /// What keeps the list from being read at all; empty when nothing does.
    pub fn missing(&self) -> Vec<String> {
        self.matching.missing(self.kind)
    }

    /// What a row says under a column of the list; empty when it has none.
    pub fn cell(&self, row: usize, name: &str) -> &str {
        let place = self.matching.place(self.kind, name);
        let cell = place.and_then(|i| self.sheet.rows.get(row)?.cells.get(i));
        cell.map_or("", String::as_str)
    }

    /// The same on one line, with single spaces: as references and names are compared.
    pub fn text(&self, row: usize, name: &str) -> String {
        one_line(self.cell(row, name))
    }

    /// A column of the list as the file calls it.
    pub fn title<'a>(&'a self, name: &'a str) -> &'a str {
        let title = self.matching.place(self.kind, name).and_then(|i| self.sheet.header.get(i));
        title.map_or(name, String::as_str)
    }

    /// The line of the file on which a row starts.
    pub fn line(&self, row: usize) -> usize {
        self.sheet.rows.get(row).map_or(0, |r| r.line)
    }

    /// Something wrong with one cell.
    pub fn complaint(&self, row: usize, name: &str, what: impl Into<String>) -> Complaint {
        Complaint { row, line: self.line(row), column: self.title(name).to_owned(), cell: shorten(self.cell(row, name)), what: what.into() }
    }

    /// Cells that lie beyond the last column name: most often a separator that should stand in quotation marks.
    fn too_long(&self, row: usize) -> Option<Complaint> {
        let cells = &self.sheet.rows.get(row)?.cells;
        let width = self.sheet.header.len();
        let beyond = cells.iter().skip(width).find(|c| !c.is_empty())?;
        let what = format!(
            "This row has {} cells, but there are {width} column names. Put a cell that holds a {} in quotation marks.",
            cells.len(),
            self.separator_word()
        );
        Some(Complaint { row, line: self.line(row), column: "(beyond the last)".to_owned(), cell: shorten(beyond), what })
    }

    const fn separator_word(&self) -> &'static str {
        match self.sheet.separator {
            Separator::Comma => "comma",
            Separator::Semicolon => "semicolon",
            Separator::Tab => "tab",
        }
    }
}

/// Several spaces and line breaks become one space.
fn one_line(cell: &str) -> String {
    cell.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The start of a cell, on one line.
fn shorten(cell: &str) -> String {
    let one_line = one_line(cell);
    if one_line.chars().count() <= 60 { one_line } else { format!("{} …", one_line.chars().take(60).collect::<String>()) }
}

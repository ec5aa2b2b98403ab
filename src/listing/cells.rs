//! One row's cells as typed values; what cannot be read becomes a complaint.

use super::{Complaint, List, columns, one_line};
use crate::units::{Millilitres, VolumeUnit, parse_date, parse_volume};
use time::Date;

/// Something that a cell may name by its code or its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    pub code: String,
    pub name: String,
}

/// What the cells may name, and the day it is.
#[derive(Clone, Debug)]
pub struct Known {
    pub kinds: Vec<Named>,
    pub programmes: Vec<Named>,
    pub kits: Vec<Named>,
    /// Their codes are whatever the caller knows them by.
    pub products: Vec<Named>,
    pub today: Date,
}

/// Earliest day that a record may have.
const FIRST_YEAR: i32 = 1970;

/// The cells of one row, and what was wrong with them.
pub(super) struct Cells<'a> {
    pub(super) list: &'a List,
    pub(super) row: usize,
    complaints: Vec<Complaint>,
}

impl<'a> Cells<'a> {
    pub(super) fn new(list: &'a List, row: usize) -> Self {
        Self { list, row, complaints: list.too_long(row).into_iter().collect() }
    }

    /// `value` when nothing was wrong; what was wrong goes to `all`. In a row with too many cells everything is shifted, so that only
    /// this is said.
    pub(super) fn done<T>(self, value: Option<T>, all: &mut Vec<Complaint>) -> Option<T> {
        let good = self.complaints.is_empty();
        match self.list.too_long(self.row) {
            Some(complaint) => all.push(complaint),
            None => all.extend(self.complaints),
        }
        value.filter(|_| good)
    }

    pub(super) fn complain(&mut self, name: &str, what: impl Into<String>) {
        let complaint = self.list.complaint(self.row, name, what);
        self.complaints.push(complaint);
    }

    pub(super) fn is_empty(&self, name: &str) -> bool {
        self.list.cell(self.row, name).is_empty()
    }

    /// Text that may run over several lines.
    pub(super) fn lines(&mut self, name: &str, most: usize) -> String {
        let cell = self.list.cell(self.row, name).replace("\r\n", "\n").replace('\r', "\n");
        if cell.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\t')) {
            self.complain(name, "This cell holds a character that cannot be shown. Type it again.");
        }
        let length = cell.chars().count();
        if length > most {
            self.complain(name, format!("This is {length} characters long; there is room for {most}. Shorten it."));
        }
        cell
    }

    /// Text on one line.
    pub(super) fn text(&mut self, name: &str, most: usize) -> String {
        one_line(&self.lines(name, most))
    }

    /// Text that every row needs.
    pub(super) fn needed(&mut self, name: &str, most: usize) -> String {
        self.require(name);
        self.text(name, most)
    }

    /// Complains when a cell is empty.
    pub(super) fn require(&mut self, name: &str) {
        if self.is_empty(name) {
            let says = self.list.kind.column(name).map_or("", |c| c.says);
            self.complain(name, format!("Nothing is written here. {says}"));
        }
    }

    /// What `parse` makes of a cell; `None` when it is empty or wrong.
    pub(super) fn read<T, E: ToString>(&mut self, name: &str, parse: impl FnOnce(&str) -> Result<T, E>) -> Option<T> {
        if self.is_empty(name) {
            return None;
        }
        match parse(&self.with_unit(name)) {
            Ok(value) => Some(value),
            Err(why) => {
                self.complain(name, why.to_string());
                None
            }
        }
    }

    /// A bare number with the unit that stands in its column's name.
    fn with_unit(&self, name: &str) -> String {
        let cell = self.list.cell(self.row, name);
        match columns::unit_in(self.list.title(name)) {
            Some(unit) if cell.ends_with(|c: char| c.is_ascii_digit()) => format!("{cell} {unit}"),
            _ => cell.to_owned(),
        }
    }

    /// A day that is not to come.
    pub(super) fn day(&mut self, name: &str, today: Date) -> Option<Date> {
        self.read(name, |cell| match parse_date(cell) {
            Ok(day) if day > today => Err("This day is still to come. Check the year.".to_owned()),
            Ok(day) if day.year() < FIRST_YEAR => Err(format!("Days before {FIRST_YEAR} cannot be kept. Check the year.")),
            Ok(day) => Ok(day),
            Err(e) => Err(e.to_string()),
        })
    }

    /// A volume with its unit, in the cell or in the column's name.
    pub(super) fn volume(&mut self, name: &str, least: i64, most: i64) -> Option<Millilitres> {
        let example = if most > 1_000_000 { "400 gal or 1514 L" } else { "650 mL or 22 fl oz" };
        self.read(name, |cell| {
            if cell.ends_with(|c: char| c.is_ascii_digit()) {
                return Err(format!("The unit is missing. Write it behind the number, as in {example}, or in the column’s name."));
            }
            let (volume, _) = parse_volume(cell, VolumeUnit::Litre).map_err(|e| e.to_string())?;
            if (least..=most).contains(&volume.get()) {
                return Ok(volume);
            }
            let bound = |ml: i64| if ml < 1000 { format!("{ml} mL") } else { format!("{} L", crate::units::thousands(ml / 1000)) };
            Err(format!("This must be from {} to {}. Check the number and its unit.", bound(least), bound(most)))
        })
    }

    pub(super) fn yes_or_no(&mut self, name: &str) -> Option<bool> {
        self.read(name, |cell| match columns::plain(cell).as_str() {
            "yes" | "y" | "true" | "1" | "x" => Ok(true),
            "no" | "n" | "false" | "0" => Ok(false),
            _ => Err("Write yes or no."),
        })
    }

    /// One of several words; each comes with what it stands for.
    pub(super) fn word<T: Copy>(&mut self, name: &str, words: &[(&str, T)], says: &str) -> Option<T> {
        self.read(name, |cell| {
            let wanted = columns::plain(cell);
            let found = words.iter().find(|(word, _)| columns::plain(word) == wanted);
            found.map(|(_, meaning)| *meaning).ok_or_else(|| says.to_owned())
        })
    }

    /// The code of something that is named by its code or its name.
    pub(super) fn code(&mut self, name: &str, known: &[Named], what: &str) -> Option<String> {
        self.read(name, |cell| {
            let wanted = columns::plain(cell);
            let found = known.iter().find(|k| columns::plain(&k.code) == wanted || columns::plain(&k.name) == wanted);
            found.map(|k| k.code.clone()).ok_or_else(|| format!("There is no {what} of this name here. {}", one_of(known)))
        })
    }
}

/// "Use one of: …".
fn one_of(known: &[Named]) -> String {
    const SHOWN: usize = 8;
    if known.is_empty() {
        return "None is kept yet.".to_owned();
    }
    let names: Vec<String> = known.iter().take(SHOWN).map(|k| format!("“{}”", k.name)).collect();
    let more = if known.len() > SHOWN { " …" } else { "" };
    format!("Use one of: {}{more}.", names.join(", "))
}

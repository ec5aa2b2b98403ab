//! From the bytes of a file to rows of cells, each row with the line it starts on.
//!
//! Quoting is that of RFC 4180; beyond it, a comma, a semicolon or a tab may separate, and a line may end in LF, CRLF or CR.

use thiserror::Error;

/// Largest file.
pub const MAX_BYTES: usize = 5 * 1024 * 1024;
/// Most rows under the column names.
pub const MAX_ROWS: usize = 10_000;
/// Most columns.
const MAX_COLUMNS: usize = 200;
/// Rows that are looked at to find the separator.
const SNIFFED: usize = 20;

/// Why a file cannot be read as a list at all, and what to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum SheetError {
    #[error("The file is empty. Write the list out again.")]
    Empty,
    #[error("The file is larger than 5 MB. Split it, and give each part the line of column names.")]
    TooLarge,
    #[error("This is a workbook, not a CSV file. Open it and save the sheet as CSV in UTF-8.")]
    Workbook,
    #[error("This file is UTF-16 text. Save it again as CSV in UTF-8.")]
    Utf16,
    #[error(
        "Line {line} is not UTF-8 text, so accented letters and degree signs would come in wrong. Save the file again as CSV in UTF-8."
    )]
    NotUtf8 { line: usize },
    #[error("The quotation mark that opens on line {line} is never closed. Close it, or take it out.")]
    OpenQuote { line: usize },
    #[error("There are column names, but no rows under them.")]
    NoRows,
    #[error("There are more than 10,000 rows. Split the list, and give each part the line of column names.")]
    TooManyRows,
    #[error("There are more than 200 columns. Leave out those that are not needed.")]
    TooManyColumns,
}

/// What stands between two cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Separator {
    Comma,
    Semicolon,
    Tab,
}

impl Separator {
    const ALL: [Self; 3] = [Self::Comma, Self::Semicolon, Self::Tab];

    pub const fn as_char(self) -> char {
        match self {
            Self::Comma => ',',
            Self::Semicolon => ';',
            Self::Tab => '\t',
        }
    }

    /// In words, for a page: "commas".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Comma => "commas",
            Self::Semicolon => "semicolons",
            Self::Tab => "tabs",
        }
    }

    const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }
}

/// One row of cells, without spaces round them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The line of the file on which the row starts; the first is 1.
    pub line: usize,
    pub cells: Vec<String>,
}

/// A file as rows under column names. Rows without anything in them are left out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    pub separator: Separator,
    pub header: Vec<String>,
    pub rows: Vec<Row>,
}

impl Sheet {
    /// Reads a file.
    pub fn read(bytes: &[u8]) -> Result<Self, SheetError> {
        let text = text(bytes)?;
        let separator = sniff(text);
        let mut reader = Reader::new(text, separator);
        let Some(header) = reader.row()? else { return Err(SheetError::Empty) };
        if header.cells.len() > MAX_COLUMNS {
            return Err(SheetError::TooManyColumns);
        }
        let mut rows = Vec::new();
        while let Some(row) = reader.row()? {
            if rows.len() == MAX_ROWS {
                return Err(SheetError::TooManyRows);
            }
            rows.push(row);
        }
        if rows.is_empty() {
            return Err(SheetError::NoRows);
        }
        Ok(Self { separator, header: header.cells, rows })
    }
}

/// The file as text, without its byte order mark.
fn text(bytes: &[u8]) -> Result<&str, SheetError> {
    if bytes.len() > MAX_BYTES {
        return Err(SheetError::TooLarge);
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(SheetError::Workbook);
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(SheetError::Utf16);
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|e| SheetError::NotUtf8 { line: line_at(bytes, e.valid_up_to()) })
}

/// The line on which a byte stands.
fn line_at(bytes: &[u8], at: usize) -> usize {
    let before = bytes.get(..at).unwrap_or(bytes);
    let breaks = before.iter().enumerate().filter(|(i, b)| match b {
        b'\n' => true,
        b'\r' => bytes.get(i + 1) != Some(&b'\n'),
        _ => false,
    });
    breaks.count() + 1
}

/// The separator under which the first rows agree best with the column names; the one that makes most columns when several do.
fn sniff(text: &str) -> Separator {
    let score = |separator: &Separator| {
        let mut reader = Reader::new(text, *separator);
        let Ok(Some(header)) = reader.row() else { return (0, 0) };
        let columns = header.cells.len();
        let rows = (0..SNIFFED).map_while(|_| reader.row().ok().flatten());
        let (mut all, mut agree) = (0_usize, 0_usize);
        for row in rows {
            all += 1;
            agree += usize::from(row.cells.len() == columns);
        }
        // Agreement in steps of a tenth: one short row does not outweigh several columns.
        if columns < 2 { (0, 0) } else { (1 + (agree * 10).checked_div(all).unwrap_or(0), columns) }
    };
    // The last of equals wins `max_by_key`; so the list goes backwards, and a comma wins.
    Separator::ALL.into_iter().rev().max_by_key(score).unwrap_or(Separator::Comma)
}

/// How a cell ended.
#[derive(PartialEq, Eq)]
enum End {
    Cell,
    Row,
    File,
}

struct Reader<'a> {
    text: &'a str,
    separator: u8,
    at: usize,
    line: usize,
}

impl<'a> Reader<'a> {
    const fn new(text: &'a str, separator: Separator) -> Self {
        Self { text, separator: separator.byte(), at: 0, line: 1 }
    }

    /// The next row that holds anything.
    fn row(&mut self) -> Result<Option<Row>, SheetError> {
        loop {
            let line = self.line;
            let mut cells = Vec::new();
            let end = loop {
                let (cell, end) = self.cell()?;
                cells.push(tidy(&cell));
                if end != End::Cell {
                    break end;
                }
            };
            if cells.iter().any(|c| !c.is_empty()) {
                return Ok(Some(Row { line, cells }));
            }
            if end == End::File {
                return Ok(None);
            }
        }
    }

    fn cell(&mut self) -> Result<(String, End), SheetError> {
        let mut cell = String::new();
        if self.peek() == Some(b'"') {
            self.quoted(&mut cell)?;
        }
        let start = self.at;
        let end = loop {
            match self.peek() {
                None => break End::File,
                Some(b) if b == self.separator => break End::Cell,
                Some(b'\r' | b'\n') => break End::Row,
                Some(_) => self.at += 1,
            }
        };
        cell.push_str(self.since(start));
        match end {
            End::Cell => self.at += 1,
            End::Row => self.line_break(),
            End::File => {}
        }
        Ok((cell, end))
    }

    /// What stands between quotation marks; two of them in there are one.
    fn quoted(&mut self, cell: &mut String) -> Result<(), SheetError> {
        let opened = self.line;
        self.at += 1;
        let mut start = self.at;
        loop {
            match self.peek() {
                None => return Err(SheetError::OpenQuote { line: opened }),
                Some(b'\r' | b'\n') => self.line_break(),
                Some(b'"') => {
                    cell.push_str(self.since(start));
                    self.at += 1;
                    if self.peek() != Some(b'"') {
                        return Ok(());
                    }
                    cell.push('"');
                    self.at += 1;
                    start = self.at;
                }
                Some(_) => self.at += 1,
            }
        }
    }

    fn line_break(&mut self) {
        let pair = self.text.as_bytes().get(self.at..self.at + 2) == Some(b"\r\n");
        self.at += if pair { 2 } else { 1 };
        self.line += 1;
    }

    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    /// Cells are cut at ASCII bytes only, which never lie inside another character.
    fn since(&self, start: usize) -> &'a str {
        self.text.get(start..self.at).unwrap_or_default()
    }
}

/// Whether a spreadsheet might take a cell for a formula (OWASP, "CSV Injection").
pub(super) fn looks_like_formula(cell: &str) -> bool {
    cell.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A cell without the spaces round it, and without the apostrophe that [`super::rest()`] puts before what looks like a formula.
fn tidy(cell: &str) -> String {
    let cell = cell.trim();
    let bare = cell.strip_prefix('\'').filter(|rest| looks_like_formula(rest)).unwrap_or(cell);
    bare.to_owned()
}

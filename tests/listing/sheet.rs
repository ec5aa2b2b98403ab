//! Bytes to rows. Quoting is checked against the examples of RFC 4180, section 2, and against the general-purpose reader `csv`.

use embertide::listing::{MAX_BYTES, Separator, Sheet, SheetError};
use proptest::prelude::*;

fn cells(text: &str) -> Vec<Vec<String>> {
    let sheet = Sheet::read(text.as_bytes()).unwrap();
    std::iter::once(sheet.header).chain(sheet.rows.into_iter().map(|r| r.cells)).collect()
}

fn lines(text: &str) -> Vec<usize> {
    Sheet::read(text.as_bytes()).unwrap().rows.iter().map(|r| r.line).collect()
}

/// RFC 4180, section 2, rules 1, 2, 5, 6 and 7, with its own examples under a line of names.
#[test]
fn quoting_is_that_of_rfc_4180() {
    let same = [["a", "b", "c"], ["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]];
    assert_eq!(cells("a,b,c\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), same);
    assert_eq!(cells("a,b,c\r\naaa,bbb,ccc\r\nzzz,yyy,xxx"), same);
    assert_eq!(cells("a,b,c\r\n\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"), same);
    assert_eq!(cells("a,b,c\r\n\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx")[1][1], "b\r\nbb");
    assert_eq!(cells("a,b,c\r\n\"aaa\",\"b\"\"bb\",\"ccc\"")[1][1], "b\"bb");
}

#[test]
fn lines_are_counted_as_the_file_counts_them() {
    assert_eq!(lines("a,b\n1,2\n3,4\n"), [2, 3]);
    assert_eq!(lines("a,b\r\n1,2\r\n3,4\r\n"), [2, 3], "CRLF");
    assert_eq!(lines("a,b\r1,2\r3,4\r"), [2, 3], "CR");
    assert_eq!(lines("a,b\n1,\"x\ny\"\n3,4\n"), [2, 4], "a quoted line break");
    assert_eq!(lines("a,b\r\n1,\"x\r\ny\r\nz\"\r\n3,4\r\n"), [2, 5], "quoted line breaks in CRLF");
    assert_eq!(lines("\n\na,b\n\n1,2\n,\n\n3,4\n"), [5, 8], "empty lines and empty rows count, but are no rows");
}

#[test]
fn a_byte_order_mark_is_no_part_of_the_first_name() {
    let sheet = Sheet::read(b"\xEF\xBB\xBFname,town\nA,B\n").unwrap();
    assert_eq!(sheet.header, ["name", "town"]);
}

#[test]
fn separators_are_found() {
    for (separator, expected) in [(",", Separator::Comma), (";", Separator::Semicolon), ("\t", Separator::Tab)] {
        let text = "reference|name|town\n1|A|B\n2|C|D\n".replace('|', separator);
        assert_eq!(Sheet::read(text.as_bytes()).unwrap().separator, expected);
    }
    let decimals = "reference;name, and first name;latitude\n1;A, B;44,6\n2;C;44,7\n";
    assert_eq!(Sheet::read(decimals.as_bytes()).unwrap().separator, Separator::Semicolon, "commas inside cells");
    let names = "number;name, first, middle, last;town\n1;A;B\n2;C;D\n";
    assert_eq!(Sheet::read(names.as_bytes()).unwrap().separator, Separator::Semicolon, "more commas than semicolons in the names alone");
    assert_eq!(Sheet::read(b"name\nA\n").unwrap().separator, Separator::Comma, "one column");
}

#[test]
fn what_is_no_list_is_refused_with_a_reason() {
    let refused = |bytes: &[u8]| Sheet::read(bytes).unwrap_err();
    assert_eq!(refused(b""), SheetError::Empty);
    assert_eq!(refused(b"\xEF\xBB\xBF\r\n , \r\n"), SheetError::Empty);
    assert_eq!(refused(b"name,town\r\n"), SheetError::NoRows);
    assert_eq!(refused(b"PK\x03\x04rest of a workbook"), SheetError::Workbook);
    assert_eq!(refused(b"\xFF\xFEn\0a\0m\0e\0"), SheetError::Utf16);
    // "é" is E9 in ISO 8859-1 and Windows-1252, and no UTF-8 by itself.
    assert_eq!(refused(b"name,town\r\nA,B\r\nC,Montr\xE9al\r\n"), SheetError::NotUtf8 { line: 3 });
    assert_eq!(refused(b"name,town\nA,B\nC,\"D\nE,F\n"), SheetError::OpenQuote { line: 3 });
    assert_eq!(refused(&vec![b'a'; MAX_BYTES + 1]), SheetError::TooLarge);
    assert_eq!(refused(vec!["a"; 201].join(",").as_bytes()), SheetError::TooManyColumns);
    let rows = |n: usize| format!("name\n{}", "a\n".repeat(n));
    assert_eq!(Sheet::read(rows(10_000).as_bytes()).unwrap().rows.len(), 10_000);
    assert_eq!(refused(rows(10_001).as_bytes()), SheetError::TooManyRows);
    assert!(SheetError::NotUtf8 { line: 3 }.to_string().contains("UTF-8"));
}

/// Rows as the general-purpose reader `csv` sees them, without those that hold nothing.
fn reference(text: &str, separator: u8) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(separator).from_reader(text.as_bytes());
    let rows = reader.records().map(|r| r.unwrap().iter().map(|c| c.trim().to_owned()).collect::<Vec<_>>());
    rows.filter(|cells| cells.iter().any(|c| !c.is_empty())).collect()
}

proptest! {
    #[test]
    fn no_bytes_panic_the_reader(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = Sheet::read(&bytes);
    }

    #[test]
    fn no_text_panics_the_reader(text in "[a-c,;\t\"'=é\r\n ]{0,80}") {
        let _ = Sheet::read(text.as_bytes());
    }

    #[test]
    fn rows_are_those_of_the_reference_reader(text in "[ab,\"\r\n ]{0,60}") {
        if let Ok(sheet) = Sheet::read(text.as_bytes()) {
            let own: Vec<Vec<String>> = std::iter::once(sheet.header).chain(sheet.rows.into_iter().map(|r| r.cells)).collect();
            prop_assert_eq!(own, reference(&text, b','));
        }
    }

    #[test]
    fn a_row_starts_on_its_line(cells in prop::collection::vec(prop::collection::vec("[ab\r\n\"]{0,4}", 2..=2), 1..8), end in prop::sample::select(vec!["\n", "\r\n"])) {
        let quoted = |c: &String| format!("\"{}\"", c.replace('"', "\"\""));
        let mut text = format!("x,y{end}");
        let mut expected = Vec::new();
        for row in &cells {
            // What stands before a row, with every CRLF, CR and LF as one line break.
            let line = text.replace("\r\n", "\n").replace('\r', "\n").matches('\n').count() + 1;
            if row.iter().any(|c| !c.trim().is_empty()) {
                expected.push(line);
            }
            text.push_str(&row.iter().map(quoted).collect::<Vec<_>>().join(","));
            text.push_str(end);
        }
        match Sheet::read(text.as_bytes()) {
            Ok(sheet) => prop_assert_eq!(sheet.rows.iter().map(|r| r.line).collect::<Vec<_>>(), expected),
            Err(e) => prop_assert!(e == SheetError::NoRows && expected.is_empty(), "{}", e),
        }
    }
}

//! The rows that need fixing, given back.

use super::known;
use embertide::listing::{Complaint, Kind, List, Sheet, customers, rest, tests};
use proptest::prelude::*;

#[test]
fn bad_rows_come_back_with_what_to_fix() {
    let list = List::by_name(Kind::Customers, include_bytes!("../data/customers-with-faults.csv")).unwrap();
    let (_, complaints) = customers(&list);
    let text = rest(&list.sheet, &complaints);
    assert!(text.starts_with("\u{FEFF}reference,name,email,place,address,town,latitude,longitude,note,fix\r\n"), "{text}");
    let again = Sheet::read(text.as_bytes()).unwrap();
    assert_eq!(again.rows.len(), 11, "the two good rows are not among them");
    let fix = |row: usize| again.rows[row].cells.last().unwrap();
    assert!(fix(0).starts_with("reference: Nothing is written here."), "{}", fix(0));
    assert!(fix(9).contains("beyond the last column stood: one cell too many"), "{}", fix(9));
    let (_, same) = customers(&List::by_name(Kind::Customers, text.as_bytes()).unwrap());
    assert!(same.len() >= 8, "brought in unmended, the rows are refused again: {}", same.len());
    assert!(List::by_name(Kind::Customers, text.as_bytes()).unwrap().matching.unused(&again.header).is_empty(), "fix is known as our own");
}

/// OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return are made text by an apostrophe.
#[test]
fn formulas_are_disarmed_and_come_back_as_they_were() {
    let text = "reference,name,phone,latitude,longitude\n1,=1+1,+1 555 0100,44.6,-73.2\n2,@SUM(A1),-5,44.6,200\n";
    let list = List::by_name(Kind::Customers, text.as_bytes()).unwrap();
    let (_, complaints) = customers(&list);
    let given = rest(&list.sheet, &complaints);
    assert!(given.contains("'@SUM(A1),'-5,44.6,200,"), "{given}");
    let all: Vec<Complaint> = (0..2).map(|row| list.complaint(row, "name", "Only to see it come back.")).collect();
    let given = rest(&list.sheet, &all);
    assert!(given.contains("1,'=1+1,'+1 555 0100,44.6,'-73.2,"), "{given}");
    let again = Sheet::read(given.as_bytes()).unwrap();
    assert_eq!(
        again.rows.iter().map(|r| r.cells[..5].to_vec()).collect::<Vec<_>>(),
        list.sheet.rows.iter().map(|r| r.cells.clone()).collect::<Vec<_>>()
    );
}

#[test]
fn a_mended_list_is_taken() {
    let list = List::by_name(Kind::Tests, b"unit;date;drops\nU1;10/5/26;9\n").unwrap();
    let (_, complaints) = tests(&list, &known());
    let mended = rest(&list.sheet, &complaints).replace("10/5/26;9", "2026-10-05;9");
    let (rows, complaints) = tests(&List::by_name(Kind::Tests, mended.as_bytes()).unwrap(), &known());
    assert_eq!((rows.len(), complaints.len()), (1, 0));
}

proptest! {
    /// Whatever stands in the cells, nothing of it is lost and no cell begins like a formula.
    #[test]
    fn cells_survive_the_way_out_and_in(cells in prop::collection::vec(prop::collection::vec("[a=+@',;\"\n-]{1,6}", 3..=3), 1..5)) {
        let quoted = |c: &String| format!("\"{}\"", c.replace('"', "\"\""));
        let body: Vec<String> = cells.iter().map(|row| row.iter().map(quoted).collect::<Vec<_>>().join(",")).collect();
        let text = format!("x,y,z\n{}\n", body.join("\n"));
        if let Ok(sheet) = Sheet::read(text.as_bytes()) {
            let wrong: Vec<Complaint> = (0..sheet.rows.len()).map(|row| Complaint { row, line: 1, column: "x".to_owned(), cell: String::new(), what: "Look.".to_owned() }).collect();
            let given = rest(&sheet, &wrong);
            let plain = csv::ReaderBuilder::new().from_reader(given.as_bytes()).into_records().map(Result::unwrap).collect::<Vec<_>>();
            prop_assert!(plain.iter().flatten().all(|c| !c.starts_with(['=', '+', '-', '@', '\t', '\r'])), "{}", given);
            let again = Sheet::read(given.as_bytes()).unwrap();
            let inner = |s: &Sheet| s.rows.iter().map(|r| r.cells[..3].to_vec()).collect::<Vec<_>>();
            prop_assert_eq!(inner(&again), inner(&sheet));
        }
    }
}

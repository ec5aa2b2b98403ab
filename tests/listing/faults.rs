//! Lists with every kind of fault: each is complained about once, in its place, with what to do. All data are invented.

use super::{known, places};
use embertide::listing::{Complaint, Kind, List, customers, tests, units};
use std::collections::HashSet;

/// Every complaint says something, and none is said twice.
fn each_once(complaints: &[Complaint]) {
    let mut seen = HashSet::new();
    for c in complaints {
        assert!(c.what.ends_with('.') && c.what.len() > 15, "{c:?}");
        assert!(seen.insert((c.line, c.column.clone(), c.what.clone())), "said twice: {c:?}");
    }
}

#[test]
fn of_customers() {
    let list = List::by_name(Kind::Customers, include_bytes!("../data/customers-with-faults.csv")).unwrap();
    let (rows, complaints) = customers(&list);
    each_once(&complaints);
    let expected = [
        (3, "reference"),
        (4, "name"),
        (5, "email"),
        (6, "latitude"),
        (7, "longitude"),
        (10, "latitude"),
        (11, "latitude"),
        (12, "name"),
        (13, "place"),
        (14, "(beyond the last)"),
        (15, "reference"),
    ];
    assert_eq!(places(&complaints), expected);
    assert_eq!(rows.len(), 2, "the rows on lines 2 and 8 are good");
    assert!(complaints[7].what.contains("Line 2") && complaints[7].what.contains("Invented Faultless"), "{:?}", complaints[7]);
}

#[test]
fn of_units() {
    let list = List::by_name(Kind::Units, include_bytes!("../data/units-with-faults.csv")).unwrap();
    let (rows, complaints) = units(&list, &known());
    each_once(&complaints);
    let expected = [
        (3, "kind"),
        (4, "installed"),
        (5, "installed"),
        (6, "jacket"),
        (7, "volume"),
        (8, "volume"),
        (9, "volume"),
        (10, "method"),
        (11, "aluminium"),
        (11, "programme"),
        (11, "kit"),
        (12, "source"),
        (12, "softened"),
        (12, "hardness"),
        (13, "source"),
        (13, "hardness"),
        (13, "fluid"),
        (14, "glycol percent"),
        (15, "fluid"),
        (16, "reference"),
        (17, "customer"),
        (17, "kind"),
        (17, "volume"),
    ];
    assert_eq!(places(&complaints), expected);
    assert_eq!(rows.len(), 1);
    let says = |line: usize| &complaints.iter().find(|c| c.line == line).unwrap().what;
    assert!(says(4).contains("2026-10-05"), "an ambiguous day is refused with an example: {}", says(4));
    assert!(says(6).contains("400 gal or 1514 L"), "{}", says(6));
    assert!(says(7).contains("imperial"), "{}", says(7));
}

#[test]
fn of_tests() {
    let list = List::by_name(Kind::Tests, include_bytes!("../data/tests-with-faults.csv")).unwrap();
    let (rows, complaints) = tests(&list, &known());
    each_once(&complaints);
    let expected = [
        (3, "unit"),
        (4, "date"),
        (5, "date"),
        (6, "drops"),
        (7, "drops"),
        (8, "value"),
        (9, "value"),
        (10, "basis"),
        (11, "basis"),
        (12, "basis"),
        (13, "ph"),
        (14, "drops"),
        (15, "kit"),
        (15, "by"),
        (16, "product"),
        (17, "amount"),
        (18, "amount"),
        (19, "value"),
    ];
    assert_eq!(places(&complaints), expected);
    assert_eq!(rows.len(), 1);
}

#[test]
fn a_control_character_is_not_kept() {
    let list = List::by_name(Kind::Customers, b"reference,name\n1,A\x00B\n2,A\x07B\n").unwrap();
    let (rows, complaints) = customers(&list);
    assert_eq!((rows.len(), places(&complaints)), (0, vec![(2, "name"), (3, "name")]));
}

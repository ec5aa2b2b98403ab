//! Lists without faults, as typed rows. All data are invented.

use super::known;
use embertide::{
    listing::{Inhibitor, Kind, List, customers, tests, units},
    water::{Basis, Method},
};
use time::macros::date;

fn list(kind: Kind, bytes: &[u8]) -> List {
    let list = List::by_name(kind, bytes).unwrap();
    assert_eq!(list.missing(), Vec::<String>::new());
    list
}

#[test]
fn customers_come_with_their_places() {
    let (rows, complaints) = customers(&list(Kind::Customers, include_bytes!("../data/customers.csv")));
    assert_eq!(complaints, []);
    assert_eq!(rows.len(), 5);
    let first = rows[0].place.as_ref().unwrap();
    assert_eq!((first.name.as_str(), first.pin), ("Home", Some((44.612, -73.201))));
    assert_eq!(first.access, "Gate code at the mailbox,\nclose it behind you", "a line break in quotation marks stays");
    assert_eq!(rows[1].reference, rows[0].reference);
    assert_eq!(rows[2].name, "Invented Ridge, A. and B.");
    assert_eq!(rows[2].place.as_ref().unwrap().name, "7 Specimen Lane", "without a name a place is called by its address");
    assert_eq!(rows[3].note, "Says \"ring first\"");
    assert_eq!(rows[4].place, None, "nothing is said of a place");
}

/// Volumes by 1 US gal = 3.785411784 L (NIST Handbook 44, appendix C); hardness by 1 gpg = 17.118 mg/L
/// (64.79891 mg a grain, same source).
#[test]
fn units_come_with_their_water() {
    let (rows, complaints) = units(&list(Kind::Units, include_bytes!("../data/units.csv")), &known());
    assert_eq!(complaints, []);
    let [first, second, third, fourth] = rows.as_slice() else { panic!("four rows") };
    let volume = first.volume.unwrap();
    assert_eq!((volume.volume().get(), volume.method()), (1_627_727, Method::Piping), "430 in a column of gallons");
    assert_eq!(first.jacket.unwrap().get(), 1_135_624);
    assert_eq!((first.kind.as_str(), second.kind.as_str()), ("medium", "large"), "by code and by name");
    let fill = first.fill.unwrap();
    assert_eq!(
        (fill.filled_on, fill.source_water, fill.softened, fill.hardness.unwrap().get()),
        (date!(2019 - 10 - 06), "well", Some(true), 205)
    );
    assert_eq!(first.done, [("fall-start-up", date!(2025 - 09 - 15)), ("yearly-clean", date!(2026 - 05 - 02))]);
    assert!(second.done.is_empty());
    assert_eq!(second.volume.unwrap().volume().get(), 1_890_000, "a unit in the cell wins over the one in the column’s name");
    assert_eq!(second.fill.unwrap().source_water, "town supply");
    let guess = third.volume.unwrap();
    assert_eq!((guess.method(), guess.plus_minus().get() * 5), (Method::Guess, guess.volume().get() / 5 * 5), "no method: a guess, ± 20 %");
    assert_eq!(
        (third.aluminium, third.programme.as_deref(), third.kit.as_deref()),
        (true, Some("nitrite-molybdate"), Some("molybdate-comparator"))
    );
    let glycol = fourth.fill.unwrap();
    assert_eq!((glycol.fluid, glycol.glycol_percent), ("propylene glycol", 30));
}

#[test]
fn tests_come_with_basis_and_dose() {
    let (rows, complaints) = tests(&list(Kind::Tests, include_bytes!("../data/tests.csv")), &known());
    assert_eq!(complaints, []);
    assert_eq!(rows[0].inhibitor, Some(Inhibitor::Drops(28)));
    assert_eq!(rows[0].dose.as_ref().unwrap().amount.get(), 1300, "mL by the column’s name");
    assert_eq!(rows[1].taken_on, date!(2024 - 10 - 03));
    let value = |row: usize| match rows[row].inhibitor {
        Some(Inhibitor::Value(v, basis)) => (v.get(), basis),
        other => panic!("{other:?}"),
    };
    assert_eq!(value(2), (1050, Some(Basis::Nitrite)));
    assert_eq!(value(3), (1410, Some(Basis::SodiumNitrite)));
    assert_eq!(value(4), (100, None), "its kit says what it is counted as");
    assert_eq!(rows[4].dose.as_ref().unwrap().product.as_deref(), Some("102"));
    assert_eq!(rows[4].dose.as_ref().unwrap().amount.get(), 651, "22 fl oz of 29.5735 mL");
    assert_eq!(
        rows.iter().map(|r| r.made_by).collect::<Vec<_>>(),
        ["technician", "technician", "laboratory", "customer", "office", "technician"]
    );
    assert_eq!((rows[5].inhibitor, rows[5].ph.unwrap().get()), (None, 820));
}

#[test]
fn a_formula_is_only_text_on_the_way_in() {
    let text = "reference,name,note\n1,\"=HYPERLINK(\"\"http://example.org\"\",\"\"A\"\")\",+1 and more\n";
    let (rows, complaints) = customers(&list(Kind::Customers, text.as_bytes()));
    assert_eq!(complaints, []);
    assert_eq!(rows[0].name, "=HYPERLINK(\"http://example.org\",\"A\")");
}

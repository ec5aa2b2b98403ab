//! Which column of a file is which.

use embertide::listing::{Kind, List, Matching};

fn header(titles: &[&str]) -> Vec<String> {
    titles.iter().map(|t| (*t).to_owned()).collect()
}

#[test]
fn case_spaces_and_underscores_do_not_matter() {
    for title in ["filled_on", "Filled On", "FILLED-ON", "filledOn", " filled  on "] {
        let titles = header(&["reference", "customer", "kind", title]);
        assert_eq!(Matching::by_name(Kind::Units, &titles).place(Kind::Units, "filled on"), Some(3), "{title}");
    }
}

#[test]
fn other_names_and_units_in_names_are_known() {
    let titles = header(&["Unit no.", "Customer number", "Type", "Volume (US gal)", "Water hardness gpg", "Colour"]);
    let matching = Matching::by_name(Kind::Units, &titles);
    let place = |name| matching.place(Kind::Units, name);
    assert_eq!(
        [place("reference"), place("customer"), place("kind"), place("volume"), place("hardness")],
        [Some(0), Some(1), Some(2), Some(3), Some(4)]
    );
    assert_eq!(matching.unused(&titles), ["Colour"]);
    assert!(matching.missing(Kind::Units).is_empty());
}

#[test]
fn every_column_is_found_by_each_of_its_names_alone() {
    for kind in Kind::ALL {
        for column in kind.columns() {
            for name in std::iter::once(&column.name).chain(column.also) {
                let found = Matching::by_name(kind, &header(&[name])).place(kind, column.name);
                let shared = kind
                    .columns()
                    .iter()
                    .take_while(|c| c.name != column.name)
                    .any(|c| Matching::by_name(kind, &header(&[name])).place(kind, c.name).is_some());
                assert!(found == Some(0) && !shared, "{} of {}: {name}", column.name, kind.as_str());
            }
        }
    }
}

#[test]
fn a_column_serves_once_and_what_is_missing_is_said() {
    let titles = header(&["name", "name"]);
    let matching = Matching::by_name(Kind::Customers, &titles);
    assert_eq!(matching.place(Kind::Customers, "name"), Some(0));
    let missing = matching.missing(Kind::Customers);
    assert!(missing.len() == 1 && missing[0].contains("“reference”"), "{missing:?}");
    let tests = Matching::by_name(Kind::Tests, &header(&["unit", "date"])).missing(Kind::Tests);
    assert!(tests.len() == 1 && tests[0].contains("“drops”"), "{tests:?}");
}

#[test]
fn a_chosen_matching_wins_over_names() {
    let matching = Matching::chosen(Kind::Tests, 3, |name| match name {
        "unit" => Some(2),
        "date" => Some(0),
        "ph" => Some(1),
        "drops" => Some(99),
        _ => None,
    });
    assert_eq!(matching.place(Kind::Tests, "unit"), Some(2));
    assert_eq!(matching.place(Kind::Tests, "drops"), None, "no such column in the file");
    assert!(matching.missing(Kind::Tests).is_empty());
    let twice = Matching::chosen(Kind::Tests, 3, |name| ["unit", "date", "ph"].contains(&name).then_some(1));
    assert_eq!(twice.missing(Kind::Tests).len(), 2, "one column cannot serve as three");
    let kept: Matching = serde_json::from_str(&serde_json::to_string(&matching).unwrap()).unwrap();
    assert_eq!(kept, matching);
}

#[test]
fn a_matching_of_another_list_finds_nothing_it_should_not() {
    let list = List::by_name(Kind::Tests, b"unit,date,ph\nU,2024-01-01,8.9\n").unwrap();
    assert_eq!(list.cell(0, "ph"), "8.9");
    assert_eq!(list.cell(7, "ph"), "");
    assert_eq!(list.cell(0, "nonsense"), "");
}

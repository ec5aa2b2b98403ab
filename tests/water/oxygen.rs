//! Oxygen in water beside air, against two tables that know nothing of each other (tests/reference/oxygen.py).

use embertide::{
    units::{Millilitres, UnitsFirst},
    water::oxygen::{saturation, words},
};

use crate::{carbonate::degrees, near};

/// 0 to 90 °C: within 1 % of the oceanographers' fit where it holds, and of PHREEQC throughout.
#[test]
fn oxygen_of_air_saturated_water() {
    let mut rows = 0;
    for line in include_str!("../reference/oxygen.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let found = saturation(degrees(cells[0].parse().unwrap()));
        for cell in cells[1..].iter().filter(|cell| !cell.is_empty()) {
            let expected: f64 = cell.parse().unwrap();
            near(found / expected, 1.0, 0.01);
            rows += 1;
        }
    }
    assert_eq!(rows, 19 + 9);
}

/// Standard tables give 14.6, 11.3, 9.1 and 8.3 mg/L at 0, 10, 20 and 25 °C (from memory): within 1 %.
#[test]
fn oxygen_of_the_standard_tables() {
    for (t, mg) in [(0, 14.6), (10, 11.3), (20, 9.1), (25, 8.3)] {
        near(saturation(degrees(t)) / mg, 1.0, 0.01);
    }
    assert!(saturation(degrees(100)) < 0.2, "water at its boiling point holds next to none");
}

/// 400 gal at 10 °C: 1,514 L × 11.35 mg/L = 17 g; at 80 °C 2.8 mg/L.
#[test]
fn oxygen_in_words() {
    let says = words(Millilitres::from_us_gallons(400).unwrap(), UnitsFirst::Us);
    assert!(
        says.starts_with("400 gal (1,514 L) of cold water in balance with air bring 17 g of oxygen") && says.contains("2.8 mg/L"),
        "{says}"
    );
}

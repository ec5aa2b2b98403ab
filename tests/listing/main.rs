//! The listing room: files in the forms that dealers have them, and every kind of fault in them.
#![expect(clippy::unwrap_used, reason = "a test may stop at once")]

mod columns;
mod faults;
mod good;
mod rest;
mod sheet;

use embertide::listing::{Complaint, Known, Named};
use time::macros::date;

/// What the shipped defaults hold, by the same codes and names; the day is fixed.
fn known() -> Known {
    let named =
        |pairs: &[(&str, &str)]| pairs.iter().map(|(code, name)| Named { code: (*code).to_owned(), name: (*name).to_owned() }).collect();
    Known {
        kinds: named(&[
            ("small", "Small outdoor heater"),
            ("medium", "Medium outdoor heater"),
            ("large", "Large outdoor heater"),
            ("farm", "Farm-size outdoor heater"),
        ]),
        programmes: named(&[("nitrite-borate", "Nitrite-borate"), ("nitrite-molybdate", "Nitrite-molybdate, by its molybdenum")]),
        kits: named(&[("nitrite-drops-5", "Nitrite drop test, 5 mL sample"), ("molybdate-comparator", "Molybdate colour comparator")]),
        products: named(&[("101", "Nitrite-borate liquid, 20 %"), ("102", "Nitrite-molybdate liquid, 6 % molybdate")]),
        today: date!(2026 - 11 - 25),
    }
}

/// Where the complaints lie: line and column.
fn places(complaints: &[Complaint]) -> Vec<(usize, &str)> {
    complaints.iter().map(|c| (c.line, c.column.as_str())).collect()
}

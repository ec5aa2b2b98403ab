//! Times that suit, as people write them.

use embertide::season::{Suit, not_before, parse_suits, suits_text};
use proptest::prelude::*;

fn days(text: &str) -> Vec<u8> {
    parse_suits(text).unwrap().iter().map(|s| s.weekday).collect()
}

#[test]
fn days_and_hours_are_read_as_people_write_them() {
    assert_eq!(parse_suits("Tue 8:00 to 12:00").unwrap(), [Suit { weekday: 2, from: 480, to: 720 }]);
    assert_eq!(parse_suits("thursday 1 pm to 3:30 pm").unwrap(), [Suit { weekday: 4, from: 780, to: 930 }]);
    assert_eq!(days("Mon-Fri 8:00-12:00"), [1, 2, 3, 4, 5]);
    assert_eq!(days("Sat to Mon 9:00 to 17:00"), [1, 6, 7], "over the end of the week");
    assert_eq!(days("Tue, Thu and Sat 16:00 to 18:00"), [2, 4, 6]);
    assert_eq!(days("weekdays: 7:30 am to 9 am"), [1, 2, 3, 4, 5]);
    assert_eq!(days("8:00 to 10:00").len(), 7, "no day named is every day");
    assert_eq!(days("Mon 8:00 to 10:00\nMon 16:00 to 18:00; Wed 8:00 to 10:00"), [1, 1, 3]);
    assert!(parse_suits("  \n ").unwrap().is_empty());
}

#[test]
fn what_cannot_be_read_is_named() {
    for wrong in ["whenever", "Mon", "Mon 12:00 to 8:00", "Blursday 8:00 to 9:00", "Mon 8:00", "Mon 25:00 to 26:00", "Mon 8:61 to 9:00"] {
        let says = parse_suits(wrong).unwrap_err().to_string();
        assert!(says.contains(wrong) && says.contains("Mon-Fri"), "{says}");
    }
}

#[test]
fn of_a_day_under_way_only_what_is_left_suits() {
    let monday = time::macros::date!(2026 - 10 - 05);
    let morning = |weekday| Suit { weekday, from: 480, to: 720 };
    assert_eq!(not_before(&[morning(1), morning(2)], monday, 600), Some(vec![Suit { from: 600, ..morning(1) }, morning(2)]));
    assert_eq!(not_before(&[morning(1), morning(2)], monday, 720), Some(vec![morning(2)]));
    assert_eq!(not_before(&[morning(1)], monday, 720), None, "that week is over for them");
    let any_time = not_before(&[], monday, 600).unwrap();
    assert_eq!((any_time.len(), any_time[0]), (7, Suit { weekday: 1, from: 600, to: 1440 }));
}

proptest! {
    #[test]
    fn what_is_shown_is_read_back_the_same(times in prop::collection::btree_set((1_u8..=7, 0_i32..1439, 1_i32..400), 0..12)) {
        let mut suits: Vec<Suit> = times.into_iter().map(|(weekday, from, length)| Suit { weekday, from, to: (from + length).min(1440) }).collect();
        suits.sort_unstable();
        suits.dedup_by_key(|s| (s.weekday, s.from));
        prop_assert_eq!(parse_suits(&suits_text(&suits)).unwrap(), suits);
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,80}") {
        let _ = parse_suits(&text);
    }
}

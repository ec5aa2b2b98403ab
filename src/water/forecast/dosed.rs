//! The level that a dose is held to have left: the test before it and the rise it makes.

use time::{Date, Duration};

use super::{Change, Changed, Tested};
use crate::{units::MgPerLitre, water::kit::Measured};

/// A test so many days before a dose still says what it was put into (a visit's paperwork; our own value).
const BEFORE_DAYS: i64 = 7;
/// Days in which a test takes the place of what was worked out: by then it has mixed and been re-checked (our own value).
const SHOWN_DAYS: i64 = 30;

/// What a dose raises the level by, with the ± that the water volume brings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dosed {
    pub on: Date,
    pub rise: Measured,
}

/// The levels after these doses, each a day later, when it has mixed (24 h of circulation). Left out where nothing says
/// what the dose was put into, where water was changed that day, or where a test has shown it since.
pub fn levels_after(tests: &[Tested], changes: &[Changed], doses: &[Dosed]) -> Vec<Tested> {
    let mut days: Vec<Date> = doses.iter().map(|dose| dose.on).collect();
    days.sort_unstable();
    days.dedup();
    days.into_iter().filter_map(|day| level_after(tests, changes, doses, day)).collect()
}

fn level_after(tests: &[Tested], changes: &[Changed], doses: &[Dosed], day: Date) -> Option<Tested> {
    let shown = day.saturating_add(Duration::days(SHOWN_DAYS));
    if tests.iter().any(|test| test.on > day && test.on <= shown) {
        return None;
    }
    let before = put_into(tests, changes, doses, day)?;
    let rises = doses.iter().filter(|dose| dose.on == day).map(|dose| dose.rise);
    let sum = rises.fold(before, |sum, rise| Measured {
        level: MgPerLitre::new(sum.level.get().saturating_add(rise.level.get())).unwrap_or(MgPerLitre::MAX),
        sd: both(sum.sd, rise.sd),
    });
    Some(Tested { on: day.next_day()?, measured: sum, worked_out: true })
}

fn both(a: MgPerLitre, b: MgPerLitre) -> MgPerLitre {
    #[expect(clippy::cast_possible_truncation, reason = "two levels in range give no more than MgPerLitre checks again")]
    MgPerLitre::new(a.as_f64().hypot(b.as_f64()).ceil() as i64).unwrap_or(MgPerLitre::MAX)
}

/// The level that the dose of a day went into: the last test, or nothing in water that is new.
fn put_into(tests: &[Tested], changes: &[Changed], doses: &[Dosed], day: Date) -> Option<Measured> {
    let since = day.saturating_sub(Duration::days(BEFORE_DAYS));
    let test = tests.iter().filter(|test| test.on >= since && test.on <= day).max_by_key(|test| (test.on, test.measured.level));
    let water = changes.iter().filter(|change| matches!(change.what, Change::Drain | Change::Refill) && change.on <= day);
    let newest = water.max_by_key(|change| (change.on, change.what == Change::Refill));
    let dosed_between = |from: Date| doses.iter().any(|dose| dose.on >= from && dose.on < day);
    match (test, newest) {
        (Some(test), None) => (!dosed_between(test.on)).then_some(test.measured),
        (Some(test), Some(change)) if test.on > change.on => (!dosed_between(test.on)).then_some(test.measured),
        (_, Some(Changed { on, what: Change::Refill })) if *on >= since && !dosed_between(*on) => {
            Some(Measured { level: MgPerLitre::MIN, sd: MgPerLitre::MIN })
        }
        _ => None,
    }
}

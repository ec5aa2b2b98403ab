//! An invented dealer's seasons and job kinds.

use std::collections::BTreeMap;

use embertide::season::{
    Cadence, DueItem, DueRules, FillState, JobKind, MonthDay, Request, SeasonCalendar, SeasonName, Seasons, Status, UnitFacts, due,
};
use time::{Date, Month};

pub(crate) fn day(month: Month, day: u8) -> MonthDay {
    MonthDay::new(month, day).unwrap()
}

/// Spring April 13 to May 22, fall September 7 to October 30.
pub(crate) fn calendar() -> SeasonCalendar {
    let spring = (day(Month::April, 13), day(Month::May, 22));
    SeasonCalendar::new(spring, (day(Month::September, 7), day(Month::October, 30))).unwrap()
}

pub(crate) fn kinds() -> Vec<JobKind> {
    let kind = |code, name, minutes, cadence| JobKind::new(code, name, minutes, cadence).unwrap();
    let mut test = kind("water-test", "Water test", (25, 10), Cadence::EverySeason(Seasons::SpringAndFall)).with_lead_days(30).unwrap();
    (test.done_by_test, test.while_idle) = (true, true);
    let mut recheck = kind("recheck", "Re-check after a dose", (20, 10), Cadence::AfterDose { first_day: 7, last_day: 21 });
    recheck.done_by_test = true;
    let mut repair = kind("repair", "Repair", (90, 15), Cadence::OnRequest);
    (repair.joins, repair.skills) = (false, ["welding".to_owned()].into());
    let mut clean =
        kind("clean", "Yearly clean of the air passages", (40, 15), Cadence::Yearly(SeasonName::Spring)).with_lead_days(150).unwrap();
    clean.cold = true;
    vec![
        kind("first-fill", "First fill", (180, 20), Cadence::OnceAtFill),
        kind("fall-start", "Fall start-up", (45, 10), Cadence::EverySeason(Seasons::Fall)),
        test,
        clean,
        recheck,
        repair,
    ]
}

/// In service, filled long ago, nothing on record.
pub(crate) fn unit() -> UnitFacts {
    UnitFacts {
        status: Status::InService,
        installed_on: None,
        fill: FillState::FilledSomeTime,
        last_done: BTreeMap::new(),
        last_test_on: None,
        last_dose: None,
        requests: Vec::new(),
        last_verdict: None,
        lit_on: None,
        foreseen: None,
    }
}

pub(crate) fn request(kind: &str, asked_on: Date, note: &str) -> Request {
    Request { kind: kind.into(), asked_on, by_day: None, note: note.into() }
}

pub(crate) fn on(facts: &UnitFacts, today: Date) -> Vec<DueItem> {
    due(facts, &kinds(), &calendar(), &DueRules::default(), today)
}

pub(crate) fn of(items: &[DueItem], kind: &str) -> Option<DueItem> {
    items.iter().find(|item| item.kind == kind).cloned()
}

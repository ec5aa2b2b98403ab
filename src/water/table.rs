//! The dose table of a stop: the dose function's own answer for every possible drop count. The phone and the
//! printed sheet look a row up; neither works anything out.

use serde::Serialize;
use time::Date;

use super::advice::{Action, Amount, Verdict};
use super::dose::{Reading, Site, advise};
use super::kit::{KitError, TestKit};
use crate::units::MgPerLitre;

/// One row: what to do for one count of drops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct TableRow {
    pub drops: u16,
    /// In the programme's basis.
    pub level: MgPerLitre,
    pub verdict: Verdict,
    /// None when nothing is put in.
    pub dose: Option<Amount>,
    /// "Put in", "Leave", "Drain some", "Hold", "Test again" or "Ask the office".
    pub word: &'static str,
}

/// One row for each drop count from 0 to the kit's largest, for a test made on `tested_on`.
///
/// Errors when the kit does not count drops, measures something else than the programme, or its largest count
/// is out of range.
pub fn table(site: &Site<'_>, kit: &TestKit, tested_on: Date) -> Result<Vec<TableRow>, KitError> {
    let max = kit.max_drops().ok_or(KitError::ReadsOff)?;
    (0..=max).map(|drops| row(site, kit, tested_on, drops)).collect()
}

fn row(site: &Site<'_>, kit: &TestKit, tested_on: Date, drops: u16) -> Result<TableRow, KitError> {
    let level = kit.from_drops(drops, site.programme.basis)?.level;
    let advice = advise(site, Reading { level, ph: None, tested_on });
    Ok(TableRow {
        drops,
        level,
        verdict: super::dose::verdict(site.programme.levels, level),
        dose: advice.dose().map(|dose| dose.amount),
        word: advice.action.word(),
    })
}

/// What holds at a unit whatever the test will say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BeforeTheTest {
    /// Cautions of dosing there.
    pub cautions: Vec<String>,
    /// Why nothing may be put in yet; empty where a dose may be given.
    pub held: Vec<String>,
}

/// The dose function asked at a reading that wants a dose.
pub fn before_the_test(site: &Site<'_>, day: Date) -> BeforeTheTest {
    let advice = advise(site, Reading { level: site.programme.levels.alarm_low(), ph: None, tested_on: day });
    let held = match &advice.action {
        Action::Blocked(why) => why.iter().map(ToString::to_string).collect(),
        _ => Vec::new(),
    };
    BeforeTheTest { cautions: advice.cautions, held }
}

//! The dose table of a stop: the dose function's own answer for every possible drop count, or every field of a comparator. The phone and the
//! printed sheet look a row up; neither works anything out.

use serde::Serialize;
use time::Date;

use super::advice::{Action, Amount, Verdict};
use super::dose::{Reading, Site, advise};
use super::kit::{KitError, Shown, TestKit};
use super::programme::PhBand;
use crate::units::MgPerLitre;

/// One row: what to do for what the kit shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct TableRow {
    pub shown: Shown,
    /// In the programme's basis.
    pub level: MgPerLitre,
    pub verdict: Verdict,
    /// None when nothing is put in.
    pub dose: Option<Amount>,
    /// "Put in", "Leave", "Drain some", "Hold", "Test again" or "Ask the office".
    pub word: &'static str,
}

/// One row for each drop count from 0 to the kit's largest, or for each field of a comparator, for a test made on `tested_on`.
///
/// Errors when the kit can show anything at all, measures something else than the programme, or its largest figure is out
/// of range.
pub fn table(site: &Site<'_>, kit: &TestKit, tested_on: Date) -> Result<Vec<TableRow>, KitError> {
    let shows = kit.shows();
    if shows.is_empty() {
        return Err(KitError::ReadsOff);
    }
    shows.into_iter().map(|shown| row(site, kit, tested_on, shown)).collect()
}

fn row(site: &Site<'_>, kit: &TestKit, tested_on: Date, shown: Shown) -> Result<TableRow, KitError> {
    let level = kit.measure(shown, site.programme.basis)?.level;
    let advice = advise(site, Reading { level, ph: None, tested_on });
    Ok(TableRow {
        shown,
        level,
        verdict: super::dose::verdict(site.programme.levels, level),
        dose: advice.dose().map(|dose| dose.amount),
        word: advice.action.word(),
    })
}

/// The other band of the table: what to do at every count when the pH lies outside.
pub fn ph_rule(band: PhBand) -> String {
    format!("pH below {} or above {}: put nothing in, whatever the drops say, and ask the office.", band.min(), band.max())
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
    let mut cautions: Vec<String> = site.programme.dose_ph.map(ph_rule).into_iter().collect();
    cautions.extend(advice.cautions);
    let held = match &advice.action {
        Action::Blocked(why) => why.iter().map(ToString::to_string).collect(),
        _ => Vec::new(),
    };
    BeforeTheTest { cautions, held }
}

//! A unit's water as the pages show it: the last test and what follows from it, the history, the drawing.

use super::{
    draw::{self, Ahead, Point},
    error::{Error, Result},
    words::{self, State},
};
use crate::{
    store::{
        catalogue::Treatments,
        dealer::Dealer,
        water::{self, DoseLine, Loss, NewReading, Seen, TestLine, UnitRecord, UnitWater},
    },
    units::{amount, day_long, day_with_year, thousands},
    water::{Action, Advice, Forecast, Occasion, PhVerdict, Programme, advise, dose::verdict, forecast::Use},
};
use sqlx::PgConnection;
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// One test of the history, ready for the page.
pub(super) struct TestView {
    pub(super) day: String,
    /// Who made it, where that was no technician.
    pub(super) by: &'static str,
    pub(super) own: bool,
    pub(super) level: String,
    pub(super) counted: String,
    pub(super) ph: String,
    pub(super) state: Option<State>,
    pub(super) put_in: String,
    pub(super) note: String,
}

/// The last test and what it asks for.
pub(super) struct LastView {
    pub(super) day: String,
    pub(super) level: String,
    pub(super) state: State,
    /// The state as the customer reads it.
    pub(super) protection: &'static str,
    pub(super) ph: String,
    /// What to do, as a word and a sentence.
    pub(super) word: &'static str,
    pub(super) says: Vec<String>,
    pub(super) dosed_since: String,
}

pub(super) struct WaterView {
    pub(super) programme: String,
    pub(super) band: String,
    pub(super) ph_band: String,
    pub(super) volume: String,
    pub(super) fluid: String,
    pub(super) filled: String,
    pub(super) empty: bool,
    pub(super) last: Option<LastView>,
    /// What is foreseen, in words; empty when nothing was ever tested.
    pub(super) foreseen: String,
    /// What it loses, where that is more than the error of the tests.
    pub(super) loses: String,
    pub(super) drawing: String,
    pub(super) tests: Vec<TestView>,
}

/// Everything about a unit's water for a page; `lines` tests at most.
pub(super) async fn load(db: &mut PgConnection, treatments: &Treatments, unit_id: Uuid, dealer: &Dealer, lines: i64) -> Result<WaterView> {
    let water = water::unit_waters(&mut *db, treatments, &[unit_id]).await?.remove(&unit_id).ok_or(Error::NotFound)?;
    let tests = water::tests(&mut *db, unit_id, lines).await?;
    let doses = water::doses(&mut *db, unit_id, lines).await?;
    let usual = water::usual_losses(&mut *db).await?;
    let waters = HashMap::from([(unit_id, water)]);
    let record = water::records(db, treatments, &waters).await?.remove(&unit_id);
    let water = &waters[&unit_id];
    let seen = record.as_ref().map(|record| water::foresee(water, record, &usual, dealer.today));
    Ok(view(water, &tests, &doses, record.as_ref().zip(seen.as_ref()), dealer))
}

fn view(water: &UnitWater, tests: &[TestLine], doses: &[DoseLine], known: Option<(&UnitRecord, &Seen)>, dealer: &Dealer) -> WaterView {
    let seen = known.map(|(_, seen)| seen);
    let levels = water.programme.levels;
    let band = whole_band(&water.programme);
    let what = format!("Inhibitor ({})", water.programme.basis);
    let points: Vec<Point> = tests
        .iter()
        .filter(|t| t.of_water == "unit")
        .filter_map(|t| {
            let own = t.made_by == "customer";
            Some(Point {
                day: t.taken_on,
                level: t.level?,
                dosed: known.filter(|_| !own).and_then(|(record, _)| dosed(record, t.taken_on)),
                own,
            })
        })
        .collect();
    let ph = water.programme.ph_band(water.facts.aluminium);
    WaterView {
        programme: water.programme.name.clone(),
        band: format!("{} to {} {}", thousands(levels.min().get()), levels.max(), water.programme.basis),
        ph_band: format!("{} to {}", ph.min(), ph.max()),
        volume: water.volume.map(|v| format!("{}, {}", v.text(dealer.units), v.method().words())).unwrap_or_default(),
        fluid: water.fluid.as_ref().map(|(f, p)| if *p > 0 { format!("{f}, {p} % by volume") } else { f.clone() }).unwrap_or_default(),
        filled: water.filled_on.map(day_with_year).unwrap_or_default(),
        empty: water.empty,
        last: last(water, dealer),
        foreseen: seen.map(|seen| seen.forecast.words()).unwrap_or_default(),
        loses: seen.and_then(|seen| seen.loss).map(|loss| loses(&loss, dealer)).unwrap_or_default(),
        drawing: draw::history(&points, band, &what, seen.and_then(ahead)),
        tests: tests.iter().map(|t| test(t, doses, water, dealer)).collect(),
    }
}

/// The level that a dose of `day` is held to have left; it counts from the day after.
fn dosed(record: &UnitRecord, day: Date) -> Option<i32> {
    let after = record.tests.iter().find(|test| test.worked_out && test.on.previous_day() == Some(day))?;
    i32::try_from(after.measured.level.get()).ok()
}

fn ahead(seen: &Seen) -> Option<Ahead> {
    match &seen.forecast {
        Forecast::Foreseen(found) => Some(Ahead { wedge: found.wedge, test_by: found.test_by }),
        _ => None,
    }
}

/// "0.62 gal ± 0.19 a day while heating, 57 % of its water in a year; half of the inhibitor is gone in 445 days."
pub(super) fn loses(loss: &Loss, dealer: &Dealer) -> String {
    let when = match loss.used {
        Use::Heating => "while heating",
        Use::Resting => "at rest",
    };
    let half = loss.rate.half_life().map(|days| format!("; half of the inhibitor is gone in {days:.0} days")).unwrap_or_default();
    format!("{} {when}, {} % of its water in a year{half}", loss.per_day.text(dealer.units), loss.share_of_a_year() / 10)
}

/// The wanted band in whole mg/L.
pub(super) fn whole_band(programme: &Programme) -> (i32, i32) {
    let whole = |v: crate::units::MgPerLitre| i32::try_from(v.get()).unwrap_or(i32::MAX);
    (whole(programme.levels.min()), whole(programme.levels.max()))
}

fn last(water: &UnitWater, dealer: &Dealer) -> Option<LastView> {
    let test = water.last_test?;
    let reading = water.last_reading()?;
    let dosed = water.last_dose.filter(|(on, _)| *on >= test.taken_on);
    let (word, says) = match water.site(Occasion::Scheduled, dealer.today) {
        Some(site) => {
            let advice = advise(&site, reading);
            (advice.action.word(), sentences(&advice, dealer))
        }
        None => {
            ("Hold", vec!["No product is kept for this programme, so no dose can be worked out. Add one under the programme.".to_owned()])
        }
    };
    let stands = verdict(water.programme.levels, test.level);
    Some(LastView {
        day: day_long(test.taken_on),
        level: format!("{} {}", test.level, water.programme.basis),
        state: words::verdict(stands),
        protection: words::protection(stands),
        ph: test.ph.map(|p| p.to_string()).unwrap_or_default(),
        word,
        says,
        dosed_since: dosed.map(|(on, ml)| format!("{} was put in on {}.", amount(ml, dealer.units), day_with_year(on))).unwrap_or_default(),
    })
}

/// What the dose function says, in sentences.
pub(super) fn sentences(advice: &Advice, dealer: &Dealer) -> Vec<String> {
    let mut says = Vec::new();
    match &advice.action {
        Action::PutIn(dose) => {
            let packs = match dose.packs.whole {
                0 => String::new(),
                1 => format!(" That is 1 pack and {}.", amount(dose.packs.rest.get(), dealer.units)),
                n => format!(" That is {n} packs and {}.", amount(dose.packs.rest.get(), dealer.units)),
            };
            says.push(format!("Put in {}.{packs}", dose.amount.text(dealer.units)));
            says.push(format!(
                "Then about {} is expected, {} to {} with the ± of the volume.",
                dose.expected,
                thousands(dose.expected_from.get()),
                dose.expected_to
            ));
        }
        Action::Drain(over) => {
            says.push(format!(
                "Too much inhibitor. Drain {} % of the water ({}) and refill, or let {} run through.",
                over.drain_percent(),
                over.drain.both(dealer.units),
                over.flush.both(dealer.units)
            ));
        }
        Action::Leave => says.push("Nothing to put in.".to_owned()),
        Action::Blocked(why) => says.extend(why.iter().map(ToString::to_string)),
        Action::MeasureTooCoarse => {}
    }
    says.extend(advice.ph.iter().filter(|p| p.verdict != PhVerdict::InBand).map(|p| p.words.clone()));
    says.extend(advice.notes.iter().cloned());
    says
}

fn test(t: &TestLine, doses: &[DoseLine], water: &UnitWater, dealer: &Dealer) -> TestView {
    let level = t.level.and_then(|l| crate::units::MgPerLitre::new(l.into()).ok());
    let of_unit = t.of_water == "unit";
    TestView {
        day: day_with_year(t.taken_on),
        by: match t.made_by.as_str() {
            "customer" => "customer’s own test",
            "laboratory" => "laboratory",
            "office" => "office",
            _ => "",
        },
        own: t.made_by == "customer",
        level: level.map_or_else(|| other(t), |l| l.to_string()),
        counted: t.drops.map(|d| format!("{d} drops")).unwrap_or_default(),
        ph: t.ph_milli.map(words::ph).unwrap_or_default(),
        state: level.filter(|_| of_unit).map(|l| words::verdict(verdict(water.programme.levels, l))),
        put_in: put_in(t.taken_on, of_unit, doses, dealer),
        note: match (of_unit, t.reagent_expired) {
            (false, _) => "source water, before the fill".to_owned(),
            (true, true) => format!("Reagent past its day: not counted on. {}", t.note).trim().to_owned(),
            (true, false) => t.note.clone(),
        },
    }
}

/// What was read of another substance, for the programme that the unit was on then.
fn other(t: &TestLine) -> String {
    let read = t.other_milli.zip(t.other_basis.as_ref());
    read.map(|(milli, basis)| format!("{} mg/L as {basis}", thousands((milli + 500) / 1000))).unwrap_or_default()
}

/// The dose that belongs to a test: given on its day.
fn put_in(day: Date, of_unit: bool, doses: &[DoseLine], dealer: &Dealer) -> String {
    let ml: i64 = doses.iter().filter(|d| of_unit && d.given_on == day).map(|d| d.amount_ml).sum();
    if ml > 0 { amount(ml, dealer.units) } else { String::new() }
}

/// An inhibitor reading as it was typed: drops for a kit that counts them, else mg/L in the kit's basis. No kit named: the usual one.
pub(super) fn inhibitor(treatments: &Treatments, programme: &Programme, kit: &str, typed: &str) -> Result<NewReading> {
    // A reading is never counted with another kit than the one that was named.
    let kit = match kit {
        "" => treatments.usual_kit(programme).ok_or("No test kit is kept for this programme. Add one first."),
        code => treatments.kit(code).ok_or("That test kit is not kept here. Choose another one."),
    };
    let kit = kit.map_err(|says| Error::Bad(says.to_owned()))?;
    let shown = kit.parse(typed).map_err(|e| Error::Bad(e.to_string()))?;
    NewReading::inhibitor(kit, shown, programme.basis).map_err(|e| Error::Bad(e.to_string()))
}

//! What a unit's history says: what it loses and where to, what the last two tests look like together, lime that came in.

use super::super::{
    app::App,
    error::{Error, Result},
    guard::Office,
    html::{Frame, html},
    water_view::{self, WaterView},
};
use crate::{
    store::{
        catalogue,
        dealer::Dealer,
        units::{self, Fill, Unit},
        water::{self, Figures, Loser, UnitRecord, UnitWater, What},
    },
    units::{Millilitres, UnitsFirst, day_with_year},
    water::{
        Analyte, Signatures, TwoTests,
        dilution::share_left,
        fill::lime::{film_micrometres, lime_grams, mass},
        forecast::{History, Run, Use, balance, runs},
        signature::{Bounds, signatures},
        volume::WaterVolume,
    },
};
use askama::Template;
use axum::extract::Path;
use time::Date;
use uuid::Uuid;

/// Tests that are read for the page.
const TESTS: i64 = 30;
/// Wall of the firebox that lime settles on, m²: a start value of our own, no source.
const HOT_WALL_M2: f64 = 3.0;
/// What a make-up meter is taken to read to (common practice, no source).
const METER_PER_MILLE: i64 = 20;

/// One stretch between two levels with nothing put in between.
struct StretchView {
    days: String,
    used: &'static str,
    from_to: String,
    says: String,
}

struct LookView {
    looks_like: &'static str,
    check: &'static str,
    evidence: String,
}

#[derive(Template)]
#[template(path = "office/history.html")]
struct HistoryPage {
    f: Frame,
    u: Unit,
    water: WaterView,
    stretches: Vec<StretchView>,
    looks: Vec<LookView>,
    looks_between: String,
    missing: String,
    caution: &'static str,
    lime: Vec<String>,
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let u = units::get(&app.pool, id).await?;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let waters = water::unit_waters(&mut *c, &treatments, &[id]).await?;
    let own = waters.get(&id).ok_or(Error::NotFound)?;
    let record = water::records(&mut *c, &treatments, &waters).await?.remove(&id).unwrap_or_default();
    let tests = water::figures(&mut *c, id, false, TESTS).await?;
    let source = water::figures(&mut *c, id, true, 1).await?.into_iter().next();
    let fills = units::fills(&mut *c, id).await?;
    let (between, found) = look(own, &record, &tests, source.as_ref());
    let page = HistoryPage {
        f: Frame::of(&who, "customers"),
        water: water_view::load(&mut c, &treatments, id, &who.dealer, TESTS).await?,
        stretches: stretches(own, &record, &who.dealer),
        looks_between: between,
        looks: found.iter().flat_map(|s| &s.found).map(look_view).collect(),
        missing: found.as_ref().map(|s| s.missing.join(", ")).unwrap_or_default(),
        caution: Signatures::CAUTION,
        lime: lime(&record, fills.first(), source.as_ref(), who.dealer.units),
        u,
    };
    html(&page)
}

fn look_view(s: &crate::water::signature::Signature) -> LookView {
    LookView { looks_like: s.looks_like.words(), check: s.looks_like.check(), evidence: s.evidence.join("; ") }
}

/// Every stretch of the record, newest first: where the water went.
fn stretches(own: &UnitWater, record: &UnitRecord, dealer: &Dealer) -> Vec<StretchView> {
    let history = record.history(own);
    let mut all: Vec<StretchView> = runs(&history).iter().flat_map(|run| stretches_of(run, own.volume, record, dealer)).collect();
    all.reverse();
    all
}

fn stretches_of(run: &Run, volume: Option<WaterVolume>, record: &UnitRecord, dealer: &Dealer) -> Vec<StretchView> {
    let view = |pair: &[crate::water::forecast::Tested]| {
        let [from, to] = pair else { return None };
        let metered = metered(record, from.on, to.on);
        let says = volume
            .and_then(|volume| balance(volume, from.measured, to.measured, metered))
            .map_or_else(|| "The water volume is not known, so no loss in water can be worked out.".to_owned(), |b| b.words(dealer.units));
        Some(StretchView {
            days: format!("{} to {}", day_with_year(from.on), day_with_year(to.on)),
            used: if run.used == Use::Resting { "at rest" } else { "heating" },
            from_to: format!("{}{} to {}", from.measured.level, if from.worked_out { " (after the dose)" } else { "" }, to.measured.level),
            says,
        })
    };
    run.tests.windows(2).filter_map(view).collect()
}

/// What the make-up meter saw between two days, where it was read within a week of each.
fn metered(record: &UnitRecord, from: Date, to: Date) -> Option<(Millilitres, Millilitres)> {
    let near =
        |day: Date| record.meter.iter().filter(|m| (m.0 - day).whole_days().abs() <= 7).min_by_key(|m| (m.0 - day).whole_days().abs());
    let (a, b) = (near(from)?, near(to)?);
    let added = b.1.get().checked_sub(a.1.get()).filter(|_| b.0 > a.0)?;
    let spread = added * METER_PER_MILLE / 1000;
    Some((Millilitres::new(added).ok()?, Millilitres::new(spread).ok()?))
}

/// What the last two tests of one water look like together; only where nitrite is what the programme counts.
fn look(own: &UnitWater, record: &UnitRecord, tests: &[Figures], source: Option<&Figures>) -> (String, Option<Signatures>) {
    if own.programme.analyte() != Analyte::Nitrite {
        return ("Only nitrite leaves a pattern that can be read; this programme counts something else.".to_owned(), None);
    }
    let Some((before, after)) = last_two(own, record, tests) else {
        return ("Two tests with nothing put in between are needed.".to_owned(), None);
    };
    let between = format!("{} and {}", day_with_year(before.taken_on), day_with_year(after.taken_on));
    match two_tests(before, after, record, source).map(|two| signatures(&two, &Bounds::default())) {
        Some(Ok(found)) => (between, Some(found)),
        Some(Err(e)) => (e.to_string(), None),
        None => ("Two tests of the inhibitor are needed.".to_owned(), None),
    }
}

/// The newest two tests of the open run, older first.
fn last_two<'a>(own: &UnitWater, record: &UnitRecord, tests: &'a [Figures]) -> Option<(&'a Figures, &'a Figures)> {
    let history: History<'_> = record.history(own);
    let run = runs(&history).pop()?;
    let first = run.tests.iter().find(|test| !test.worked_out)?.on;
    let mut within = tests.iter().filter(|test| test.taken_on >= first && test.get(What::Inhibitor).is_some());
    let after = within.next()?;
    let before = within.find(|test| test.taken_on < after.taken_on)?;
    Some((before, after))
}

fn two_tests(before: &Figures, after: &Figures, record: &UnitRecord, source: Option<&Figures>) -> Option<TwoTests> {
    let pair = |what: What| before.get(what).zip(after.get(what));
    let ph = |test: &Figures| {
        #[expect(clippy::cast_possible_truncation, reason = "a pH lies from 0 to 14")]
        test.get(What::Ph).and_then(|ph| crate::units::Ph::new((ph * 100.0).round() as i64).ok())
    };
    let conserved = [What::Molybdenum, What::Boron].into_iter().find_map(pair).filter(|(b, _)| *b > 0.0).map(|(b, a)| a / b);
    let by_conductivity = || {
        let (b, a) = pair(What::Conductivity)?;
        share_left(b, a, source?.get(What::Conductivity)?).ok()
    };
    let added = metered(record, before.taken_on, after.taken_on);
    Some(TwoTests {
        nitrite: pair(What::Inhibitor)?,
        tracer_left: conserved.or_else(by_conductivity),
        ph: ph(before).zip(ph(after)),
        ammonium: after.get(What::Ammonium),
        nitrate: pair(What::Nitrate),
        iron: pair(What::Iron),
        black: after.note.to_lowercase().contains("black"),
        nothing_added: added.is_some_and(|(ml, _)| ml.get() == 0),
    })
}

/// Lime that the make-up has brought since the fill.
fn lime(record: &UnitRecord, fill: Option<&Fill>, source: Option<&Figures>, first: UnitsFirst) -> Vec<String> {
    let since = fill.map_or(Date::MIN, |fill| fill.filled_on);
    let meter: Vec<_> = record.meter.iter().filter(|m| m.0 >= since).collect();
    let (Some(from), Some(to)) = (meter.first(), meter.last()) else {
        return vec!["No make-up meter was read, so nothing can be said of the lime that make-up brings.".to_owned()];
    };
    let added = Millilitres::new(to.1.get().saturating_sub(from.1.get()).max(0)).unwrap_or(Millilitres::MIN);
    let amount = format!("{} of make-up since {}", added.both(first), day_with_year(from.0));
    let Some(hardness) = source.and_then(|s| s.get(What::Hardness)) else {
        return vec![format!("{amount}. The hardness of the source water is not on record, so its lime is not known.")];
    };
    let lime = source.and_then(|s| s.get(What::Alkalinity)).map_or(hardness, |alkalinity| hardness.min(alkalinity));
    let grams = lime_grams(added, lime);
    let thickness =
        film_micrometres(grams, HOT_WALL_M2).map(|um| format!(" Laid evenly on {HOT_WALL_M2:.0} m² of hot wall that is {um:.0} µm."));
    vec![format!(
        "{amount} at {hardness:.0} mg/L hardness brings up to {} of lime.{} One fill's worth is tolerable, repeated make-up is not: find where the water goes, and soften what goes in.",
        mass(grams, first),
        thickness.unwrap_or_default()
    )]
}

struct LoserView {
    unit: Loser,
    loss: String,
    share: String,
}

#[derive(Template)]
#[template(path = "office/losing.html")]
struct LosingPage {
    f: Frame,
    from: i32,
    units: Vec<LoserView>,
    full: bool,
}

/// Units listed at most.
const LISTED: i64 = 200;
/// A loss from here on is listed, % of the water in a year: as much as the unit holds. A start value of our own, no source;
/// the published rule for closed systems, 2 % in four months (UFC 3-240-13FN (2005) p. 150), would list every vented unit.
const LISTED_FROM_PERCENT: i32 = 100;

pub(super) async fn losing(who: Office, app: App, (): ()) -> Result {
    let mut c = app.pool.acquire().await?;
    let found = water::losing(&mut c, LISTED_FROM_PERCENT * 10, LISTED).await?;
    let full = i64::try_from(found.len()).unwrap_or(LISTED) >= LISTED;
    let whole = |ml: i64| Millilitres::new(ml).unwrap_or(Millilitres::MIN);
    let view = |unit: Loser| LoserView {
        loss: crate::water::forecast::LossPerDay { ml: whole(unit.loss_ml_a_day), plus_minus: whole(unit.loss_plus_minus_ml) }
            .text(who.dealer.units),
        share: format!("{} %", unit.loss_share_pm / 10),
        unit,
    };
    html(&LosingPage { f: Frame::of(&who, "due"), from: LISTED_FROM_PERCENT, units: found.into_iter().map(view).collect(), full })
}

//! Keeping a fill that was judged: with its source water's test, its volume by meter and its first charge.

use super::{
    app::App,
    error::Result,
    fill_view::{Answer, Asked, FillSheet, Read, glycol, read, sheet, volume, words},
    form::Posted,
};
use crate::{
    store::{
        catalogue,
        dealer::Dealer,
        due,
        sessions::SignedIn,
        units::{self, Fill, Unit},
        water::{self, Maker, NewDose, NewReading, NewTest, UnitWater, What},
    },
    units::{VolumeUnit, parse_date, parse_volume},
    water::{
        Method, WaterVolume,
        carbonate::{Alkalinity, Hardness},
        fill::FillTest,
    },
};
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// What became of a fill's form.
pub(super) enum Outcome {
    Kept,
    /// Only asked, or not fit to be kept: the sheet again, which says what is wrong.
    Again(Box<FillSheet>),
}

/// A fill as it was typed, checked.
struct FillRead {
    fill: Fill,
    readings: Vec<NewReading>,
    volume: Option<WaterVolume>,
    put_in: Option<i64>,
    lot: Option<Uuid>,
}

const SOURCES: [&str; 5] = ["well", "town supply", "hauled", "rain", "unknown"];
const FLUIDS: [&str; 3] = ["water", "propylene glycol", "ethylene glycol"];

fn one_of(typed: &str, of: &[&'static str], usual: &'static str) -> &'static str {
    of.iter().copied().find(|known| *known == typed).unwrap_or(usual)
}

fn fill_read(asked: &Asked, unit: &Unit, answer: &Answer, dealer: &Dealer, id: Uuid) -> Read<FillRead> {
    let filled_on = filled_on(asked, dealer.today)?;
    let (raw, test) = read(asked)?;
    let volume = volume(asked, dealer.units)?;
    let metered = asked.metered == "yes";
    let glycol_percent = glycol(asked)?;
    let fluid = one_of(&asked.fluid, &FLUIDS, "water");
    if (fluid == "water") != (glycol_percent == 0) {
        return Err("Say which glycol and how many % by volume, or choose plain water and leave the % empty.".to_owned());
    }
    let softened = test.hardness != raw.hardness;
    let mut note: String = asked.note.trim().chars().take(800).collect();
    if let Some(hard) = raw.hardness.filter(|_| softened) {
        note = format!("Hardness before softening {:.0} mg/L. {note}", hard.total_as_caco3());
    }
    let put_in = if matches!(asked.put_in.trim(), "" | "0") {
        None
    } else {
        let ml = parse_volume(&asked.put_in, VolumeUnit::Millilitre).map_err(words)?.0.get();
        Some(ml).filter(|ml| (0..=1_000_000).contains(ml)).map(Some).ok_or("More than 1,000 L in one charge? Check the unit.")?
    };
    let fill = Fill {
        id,
        unit_id: unit.id,
        filled_on,
        drained_on: None,
        source_water: one_of(&asked.source_water, &SOURCES, "unknown").to_owned(),
        softened: (softened || raw.hardness.is_some()).then_some(softened),
        fluid: fluid.to_owned(),
        glycol_percent,
        amount_ml: metered.then_some(volume.get()),
        note,
        fill_device: catalogue::device_text(asked.device()),
        answer: answer.headline.chars().take(600).collect(),
    };
    let by_meter = metered.then(|| WaterVolume::by(volume, Method::WaterMeter).map_err(words)).transpose()?;
    Ok(FillRead {
        fill,
        readings: source_readings(&test),
        volume: by_meter,
        put_in: put_in.filter(|ml| *ml > 0),
        lot: asked.lot.parse().ok(),
    })
}

fn filled_on(asked: &Asked, today: Date) -> Read<Date> {
    if asked.filled_on.trim().is_empty() {
        return Ok(today);
    }
    let day = parse_date(&asked.filled_on).map_err(words)?;
    if day > today { Err("The day of the fill lies ahead. Check the date.".to_owned()) } else { Ok(day) }
}

fn source_readings(test: &FillTest) -> Vec<NewReading> {
    #[expect(clippy::cast_possible_truncation, reason = "checked figures of a water test")]
    let milli = |what: What, value: Option<f64>| value.map(|v| NewReading::figure(what, (v * 1000.0).round() as i64));
    let figures = [
        milli(What::Hardness, test.hardness.map(Hardness::total_as_caco3)),
        milli(What::Alkalinity, test.alkalinity.map(Alkalinity::as_caco3)),
        milli(What::Conductivity, test.conductivity),
        milli(What::Chloride, test.chloride),
        milli(What::Sulfate, test.sulfate),
        milli(What::Iron, test.iron),
        milli(What::Manganese, test.manganese),
        test.ph.map(NewReading::ph),
    ];
    figures.into_iter().flatten().collect()
}

/// A fill that can be kept: read and checked, its unit and that unit's water as they are.
pub(super) struct Ready {
    unit: Unit,
    own: UnitWater,
    read: FillRead,
    maker: Maker,
    who: SignedIn,
    now: OffsetDateTime,
}

impl Ready {
    /// What was typed of a fill, under the number of its form; else what is wrong with it, in words, beside the sheet.
    pub(super) fn of(app: &App, who: &SignedIn, maker: Maker, id: Uuid, sheet: FillSheet) -> Read<Self, (Box<FillSheet>, String)> {
        match fill_read(&sheet.asked, &sheet.u, &sheet.answer, &who.dealer, id) {
            Ok(read) => Ok(Self { unit: sheet.u, own: sheet.own, read, maker, who: who.clone(), now: app.clock.now() }),
            Err(wrong) => Err((Box::new(sheet), wrong)),
        }
    }
}

/// Takes a fill's form: judges the water, or keeps the fill, once.
pub(super) async fn take(app: &App, who: &SignedIn, maker: Maker, unit_id: Uuid, posted: &Posted<Asked>) -> Result<Outcome> {
    let mut tx = app.pool.begin().await?;
    let sheet = sheet(&mut tx, unit_id, posted.form.clone(), &who.dealer).await?;
    if posted.form.act == "judge" {
        return Ok(Outcome::Again(Box::new(sheet)));
    }
    let ready = match Ready::of(app, who, maker, posted.id, sheet) {
        Ok(ready) => ready,
        Err((mut sheet, wrong)) => {
            sheet.wrong = wrong;
            return Ok(Outcome::Again(sheet));
        }
    };
    if posted.first_time(&mut tx, who, "fill", ready.now).await? {
        keep(&mut tx, &ready).await?;
    }
    tx.commit().await?;
    Ok(Outcome::Kept)
}

/// Keeps a fill with its source water's test, its volume by meter and its first charge. The water before it counts as drained.
///
/// Once for each number: the caller sees to it that the same form is not kept twice.
pub(super) async fn keep(db: &mut PgConnection, ready: &Ready) -> Result<()> {
    let Ready { unit, own, read, maker, who, now } = ready;
    let day = read.fill.filled_on;
    water::end_reported_fills(&mut *db, unit.id, day, *now).await?;
    units::drained_before(&mut *db, unit.id, day).await?;
    units::add_fill(&mut *db, &read.fill, None, *now).await?;
    if !read.readings.is_empty() {
        let test = NewTest {
            id: Uuid::now_v7(),
            unit_id: unit.id,
            taken_on: day,
            maker: *maker,
            staff_id: Some(who.staff_id),
            report: None,
            fill_id: Some(read.fill.id),
            note: "",
            readings: &read.readings,
        };
        water::add_test(&mut *db, &test, *now).await?;
    }
    if let Some(volume) = read.volume {
        let from = units::From { fill: Some(read.fill.id), report: None };
        units::add_volume(&mut *db, unit.id, &volume, (day, "read at the fill"), from, *now).await?;
    }
    if let Some((amount_ml, (product_id, _))) = read.put_in.zip(own.product.as_ref()) {
        let dose = NewDose {
            id: Uuid::now_v7(),
            unit_id: unit.id,
            given_on: day,
            product_id: *product_id,
            lot_id: read.lot,
            amount_ml,
            staff_id: Some(who.staff_id),
            report: None,
            note: "first charge",
        };
        water::add_dose(&mut *db, &dose, *now).await?;
    }
    Ok(due::refresh(db, Some(&[unit.id]), who.dealer.today).await?)
}

//! Source water before a fill, for the office and the yard alike: usable or not, by which limit, will it lime, how to soften
//! it, what keeps it out of the house line, and the first charge. Kept with its fill once the unit is filled.

use super::{
    error::{Error, Result},
    water_view,
};
use crate::{
    store::{
        catalogue::{self, ProfileRow},
        dealer::Dealer,
        due,
        sessions::SignedIn,
        units::{self, Fill, Unit},
        water::{self, Maker, NewDose, NewReading, NewTest, UnitWater, What},
    },
    units::{Millilitres, Ph, UnitsFirst, VolumeUnit, parse_date, parse_mg_per_litre, parse_ph, parse_volume},
    water::{
        Analysis, Assessment, Finding, Method, Occasion, Site, SourceWater, WaterFacts, WaterVolume, assess,
        carbonate::{Alkalinity, Hardness},
        fill::{
            Against, FillTest,
            device::FillDevice,
            edition::{self, FillSystem},
            lime::{LimeOutlook, LimeRules, why_soften},
            metals::{self, Metals},
            profile::{FillVerdict, Profile},
        },
        first_charge, oxygen,
        softening::{self, Canister, Compensation, HardFill},
    },
};
use serde::Deserialize;
use sqlx::PgConnection;
use std::ops::RangeInclusive;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// What was typed; any of it may be empty. The first part is asked, the second only kept.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    pub(super) ph: String,
    pub(super) hardness: String,
    pub(super) alkalinity: String,
    pub(super) conductivity: String,
    pub(super) chloride: String,
    pub(super) sulfate: String,
    pub(super) iron: String,
    pub(super) manganese: String,
    pub(super) volume: String,
    pub(super) output: String,
    pub(super) grains: String,
    pub(super) device: String,
    /// At the hose, once softened; empty when it was not.
    pub(super) softened: String,
    pub(super) stainless: String,
    pub(super) aluminium: String,
    pub(super) copper: String,

    /// Which button was pressed.
    pub(super) act: String,
    pub(super) filled_on: String,
    pub(super) metered: String,
    pub(super) source_water: String,
    pub(super) fluid: String,
    pub(super) glycol: String,
    pub(super) put_in: String,
    pub(super) lot: String,
    pub(super) note: String,
}

impl Asked {
    /// Whether anything of the water was tested.
    pub(super) fn tested(&self) -> bool {
        let figures = [&self.ph, &self.hardness, &self.alkalinity, &self.conductivity, &self.chloride, &self.sulfate, &self.iron];
        figures.iter().any(|text| !text.trim().is_empty())
    }

    /// With the usual figures where nothing was typed: those of the unit, else of a heater of 200,000 Btu/h.
    pub(super) fn with_usual(self, unit: Option<(&Unit, &UnitWater)>, first: UnitsFirst) -> Self {
        let volume = unit.and_then(|(_, water)| water.volume).map(|v| v.volume().both(first));
        let volume = volume.as_deref().and_then(|text| text.split(" (").next()).unwrap_or(if first == UnitsFirst::Us {
            "400 gal"
        } else {
            "1500 L"
        });
        let output = unit.and_then(|(unit, _)| unit.output_w).map_or(200_000.0, |w| f64::from(w) / 1000.0 * BTU_H_PER_KW);
        let yes = |typed: &str, own: bool| if typed.is_empty() && own { "yes".to_owned() } else { typed.to_owned() };
        let of = |metal: fn(&Unit) -> bool| unit.is_some_and(|(unit, _)| metal(unit));
        Self {
            volume: or_usual(&self.volume, volume),
            output: or_usual(&self.output, &format!("{output:.0}")),
            grains: or_usual(&self.grains, "3000"),
            device: or_usual(&self.device, &catalogue::device_text(FillDevice::NotKnown)),
            stainless: yes(&self.stainless, of(|u| u.stainless)),
            aluminium: yes(&self.aluminium, of(|u| u.aluminium)),
            copper: yes(&self.copper, of(|u| u.copper)),
            ..self
        }
    }

    fn metals(&self) -> Metals {
        Metals { stainless: self.stainless == "yes", aluminium: self.aluminium == "yes", copper: self.copper == "yes" }
    }

    fn device(&self) -> FillDevice {
        FillDevice::ALL.into_iter().find(|d| catalogue::device_text(*d) == self.device).unwrap_or(FillDevice::NotKnown)
    }
}

/// What stands between house line and heater, for a list.
pub(super) fn devices() -> Vec<(String, &'static str)> {
    FillDevice::ALL.iter().map(|d| (catalogue::device_text(*d), d.words())).collect()
}

/// One figure against one limit, ready for the page.
pub(super) struct FindingView {
    pub(super) class: &'static str,
    pub(super) word: &'static str,
    pub(super) what: String,
    pub(super) limit: String,
    pub(super) profile: String,
    pub(super) why: String,
    pub(super) source: String,
}

/// All that can be said of a water before it goes in.
#[derive(Default)]
pub(super) struct Answer {
    pub(super) headline: String,
    pub(super) reasons: Vec<String>,
    pub(super) findings: Vec<FindingView>,
    pub(super) lime: Vec<String>,
    pub(super) soften: Vec<String>,
    pub(super) not_tested: String,
    pub(super) metals: Vec<String>,
    /// The first charge in words; empty where no unit was named.
    pub(super) charge: Vec<String>,
    pub(super) charge_cautions: Vec<String>,
    pub(super) backflow: Vec<String>,
    /// Oxygen that the fill brings.
    pub(super) oxygen: String,
}

type Read<T> = std::result::Result<T, String>;

fn words(e: impl std::fmt::Display) -> String {
    e.to_string()
}

/// What was typed, or the usual text.
fn or_usual(text: &str, usual: &str) -> String {
    Some(text.trim()).filter(|t| !t.is_empty()).unwrap_or(usual).to_owned()
}

/// A number as it was typed; `None` when nothing was.
pub(super) fn figure(text: &str, what: &str, range: RangeInclusive<f64>) -> Read<Option<f64>> {
    let tidy = text.trim().trim_start_matches('$').trim_end_matches('%').trim().replace(',', "");
    if tidy.is_empty() {
        return Ok(None);
    }
    let read = tidy.parse::<f64>().ok().filter(|v| v.is_finite() && range.contains(v));
    let says = || {
        let typed: String = text.chars().take(20).collect();
        format!("{what}: “{typed}” does not fit. Write a number from {} to {}.", range.start(), range.end())
    };
    read.map(Some).ok_or_else(says)
}

fn mg_l(text: &str) -> Read<Option<f64>> {
    if text.trim().is_empty() { Ok(None) } else { parse_mg_per_litre(text).map(|v| Some(v.as_f64())).map_err(words) }
}

/// The water as it comes, and as it goes in: the second has the hardness at the hose where it was softened.
fn read(asked: &Asked) -> Read<(FillTest, FillTest)> {
    let raw = FillTest {
        ph: if asked.ph.trim().is_empty() { None } else { Some(parse_ph(&asked.ph).map_err(words)?) },
        hardness: mg_l(&asked.hardness)?.map(Hardness::TotalAsCaCO3),
        alkalinity: mg_l(&asked.alkalinity)?.map(Alkalinity::AsCaCO3),
        conductivity: figure(&asked.conductivity, "The conductivity", 0.0..=50_000.0)?,
        chloride: mg_l(&asked.chloride)?,
        sulfate: mg_l(&asked.sulfate)?,
        iron: figure(&asked.iron, "Iron", 0.0..=100.0)?,
        manganese: figure(&asked.manganese, "Manganese", 0.0..=100.0)?,
        ..FillTest::default()
    };
    let softened = mg_l(&asked.softened)?.map(Hardness::TotalAsCaCO3);
    Ok((raw, FillTest { hardness: softened.or(raw.hardness), ..raw }))
}

/// Btu in an hour for one kilowatt.
const BTU_H_PER_KW: f64 = 3412.14;

fn volume(asked: &Asked, units: UnitsFirst) -> Read<Millilitres> {
    let usual = if units == UnitsFirst::Us { VolumeUnit::UsGallon } else { VolumeUnit::Litre };
    parse_volume(&asked.volume, usual).map(|v| v.0).map_err(words)
}

/// The answer to what was typed, against the dealer's profiles; with the first charge where the unit's water is known.
pub(super) fn answer(asked: &Asked, profiles: &[ProfileRow], own: Option<&UnitWater>, dealer: &Dealer) -> Read<Answer> {
    let units = dealer.units;
    let (raw, test) = read(asked)?;
    let volume = volume(asked, units)?;
    let output_kw = figure(&asked.output, "The output in Btu/h", 10_000.0..=5e6)?.unwrap_or(200_000.0) / BTU_H_PER_KW;
    let system = FillSystem::one_heater(volume, output_kw, Some(volume));
    let profiles: Vec<Profile> = profiles.iter().map(|row| row.profile.clone()).collect();
    let editions = [edition::vdi_2035_1_2005(), edition::oenorm_h_5195_1_by_content(), edition::oenorm_h_5195_1_2006()];
    let lime = LimeRules::usual().map_err(words)?;
    let found = assess(&test, &Against { profiles: &profiles, editions: &editions, system: Some(&system), lime: &lime }).map_err(words)?;
    let softened = if test.hardness == raw.hardness { "" } else { "As softened: " };
    let (charge, charge_cautions) = own.map(|own| charge(own, asked, &test, volume, dealer)).transpose()?.unwrap_or_default();
    Ok(Answer {
        headline: format!("{softened}{}", found.headline(Some(volume), units)),
        reasons: found.reasons.clone(),
        lime: lime_lines(&found, &test, volume, &lime, units),
        soften: soften_lines(asked, &raw, volume)?,
        not_tested: found.not_tested.iter().map(|p| p.words()).collect::<Vec<_>>().join(", "),
        findings: found.findings.iter().map(finding).collect(),
        metals: metals::cautions(&test, asked.metals()),
        charge,
        charge_cautions,
        oxygen: oxygen::words(volume, units),
        backflow: asked.device().caution(true).into_iter().collect(),
    })
}

fn finding(f: &Finding) -> FindingView {
    let class = match f.verdict {
        FillVerdict::Ok => "in-band",
        FillVerdict::Caution => "low",
        FillVerdict::Act => "high",
    };
    FindingView {
        class,
        word: f.verdict.word(),
        what: format!("{}: {}", f.parameter.words(), f.parameter.figure(f.value)),
        limit: f.limit.clone(),
        profile: if f.decides { f.profile.clone() } else { format!("{}, for comparison", f.profile) },
        why: f.why.clone(),
        source: f.source.clone(),
    }
}

/// Will it lime, and what an alkaline inhibitor would do to it unsoftened.
fn lime_lines(found: &Assessment, test: &FillTest, volume: Millilitres, rules: &LimeRules, units: UnitsFirst) -> Vec<String> {
    let mut lines: Vec<String> = found.lime.iter().map(LimeOutlook::words).collect();
    lines.extend(found.lime_missing.clone());
    let water = test.analysis().and_then(|a: Analysis| SourceWater::new(a).ok());
    let raised = water.zip(Ph::new(900).ok()).and_then(|(w, ph)| why_soften(&w, ph, rules).ok());
    lines.extend(raised.map(|r| r.words(Some(volume), units)));
    if !found.assumed.is_empty() {
        let assumed: Vec<String> = found.assumed.iter().map(|a| a.words()).collect();
        lines.push(format!("Assumed: {}", assumed.join(" ")));
    }
    lines
}

fn soften_lines(asked: &Asked, test: &FillTest, volume: Millilitres) -> Read<Vec<String>> {
    let Some(hardness) = test.hardness.map(Hardness::total_as_caco3) else { return Ok(Vec::new()) };
    let typed = figure(&asked.grains, "The canister's grains", 100.0..=1e6)?.unwrap_or(3000.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded above and below")]
    let grains = typed as u32;
    let canister = Canister::new(grains, Canister::USUAL_PERCENT).map_err(words)?;
    let fill = HardFill { volume, hardness, iron: test.iron.unwrap_or(0.0), manganese: test.manganese.unwrap_or(0.0) };
    let Ok(plan) = softening::plan(fill, canister, Compensation::default()) else { return Ok(Vec::new()) };
    let mut lines = vec![format!(
        "{:.1} grains per gallon, {:.0} grains in all: {} canister(s) of {grains} grains, counted on at {} %, each good for about {:.0} gal. Sodium rises by {:.0} mg/L.",
        plan.grains_per_gallon,
        plan.grains,
        plan.canisters,
        Canister::USUAL_PERCENT,
        plan.gallons_each,
        plan.sodium_added
    )];
    lines.push(plan.reminder);
    lines.extend(plan.cautions);
    Ok(lines)
}

fn mg(value: Option<f64>) -> Option<crate::units::MgPerLitre> {
    #[expect(clippy::cast_possible_truncation, reason = "MgPerLitre refuses what is out of range")]
    crate::units::MgPerLitre::new(value?.round() as i64).ok()
}

fn glycol(asked: &Asked) -> Read<i16> {
    #[expect(clippy::cast_possible_truncation, reason = "0 to 70")]
    Ok(figure(&asked.glycol, "Glycol in % by volume", 0.0..=70.0)?.unwrap_or(0.0).round() as i16)
}

/// The first charge for this water, or why none may go in yet.
fn charge(own: &UnitWater, asked: &Asked, test: &FillTest, volume: Millilitres, dealer: &Dealer) -> Read<(Vec<String>, Vec<String>)> {
    let Some((_, product)) = own.product.as_ref() else {
        return Ok((vec!["No product is kept for this programme, so no charge can be worked out.".to_owned()], Vec::new()));
    };
    let facts = WaterFacts {
        aluminium: asked.aluminium == "yes",
        fill_hardness: mg(test.hardness.map(Hardness::total_as_caco3)),
        fill_chloride_sulfate: mg(test.chloride.zip(test.sulfate).map(|(c, s)| c + s)),
        glycol_percent: u16::try_from(glycol(asked)?).unwrap_or(0),
        ..WaterFacts::default()
    };
    let volume = WaterVolume::by(volume, Method::WaterMeter).map_err(words)?;
    let site = Site { volume: Some(volume), programme: &own.programme, product, facts, occasion: Occasion::Scheduled, day: dealer.today };
    let advice = first_charge(&site);
    let mut says = vec![format!("{}. {}", advice.action.word(), product.name)];
    says.extend(water_view::sentences(&advice, dealer));
    Ok((says, advice.cautions))
}

/// Everything needed to keep a fill: who, when, by which form.
pub(super) struct Keeping<'a> {
    pub(super) who: &'a SignedIn,
    pub(super) maker: Maker,
    /// The form's own id: that of the fill.
    pub(super) id: Uuid,
    pub(super) now: OffsetDateTime,
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

fn fill_read(asked: &Asked, unit: &Unit, answer: &Answer, k: &Keeping<'_>) -> Read<FillRead> {
    let dealer = &k.who.dealer;
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
        id: k.id,
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

/// Keeps a fill with its source water's test, its volume by meter and its first charge. The water before it counts as drained.
/// `Err(Error::Bad)` says what does not fit; nothing is written then.
pub(super) async fn keep(
    db: &mut PgConnection,
    unit: &Unit,
    own: &UnitWater,
    asked: &Asked,
    answer: &Answer,
    k: &Keeping<'_>,
) -> Result<()> {
    let read = fill_read(asked, unit, answer, k).map_err(Error::Bad)?;
    let day = read.fill.filled_on;
    units::drained_before(&mut *db, unit.id, day).await?;
    units::add_fill(&mut *db, &read.fill, k.now).await?;
    if !read.readings.is_empty() {
        let test = NewTest {
            id: Uuid::now_v7(),
            unit_id: unit.id,
            taken_on: day,
            maker: k.maker,
            staff_id: Some(k.who.staff_id),
            report: None,
            fill_id: Some(k.id),
            note: "",
            readings: &read.readings,
        };
        water::add_test(&mut *db, &test, k.now).await?;
    }
    if let Some(volume) = read.volume {
        units::add_volume(&mut *db, unit.id, &volume, day, "read at the fill", k.now).await?;
    }
    if let Some((amount_ml, (product_id, _))) = read.put_in.zip(own.product.as_ref()) {
        let dose = NewDose {
            id: Uuid::now_v7(),
            unit_id: unit.id,
            given_on: day,
            product_id: *product_id,
            lot_id: read.lot,
            amount_ml,
            staff_id: Some(k.who.staff_id),
            report: None,
            note: "first charge",
        };
        water::add_dose(&mut *db, &dose, k.now).await?;
    }
    Ok(due::refresh(db, Some(&[unit.id]), k.who.dealer.today).await?)
}

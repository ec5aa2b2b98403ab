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
        shelf,
        units::{self, Unit},
        water::{self, UnitWater},
    },
    units::{Millilitres, Ph, UnitsFirst, VolumeUnit, parse_mg_per_litre, parse_ph, parse_volume},
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

    pub(super) fn device(&self) -> FillDevice {
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

pub(super) type Read<T, E = String> = std::result::Result<T, E>;

pub(super) fn words(e: impl std::fmt::Display) -> String {
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
pub(super) fn read(asked: &Asked) -> Read<(FillTest, FillTest)> {
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

pub(super) fn volume(asked: &Asked, units: UnitsFirst) -> Read<Millilitres> {
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

pub(super) fn glycol(asked: &Asked) -> Read<i16> {
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

/// What helps to judge a fill where no office answers: worked out beforehand, for reading off.
#[derive(Default)]
pub(super) struct ByHand {
    /// Of what, and its limits in words.
    pub(super) limits: Vec<(String, String)>,
    /// Grains per gallon, mg/L, and the canisters that the unit's water takes.
    pub(super) canisters: Vec<(u16, u16, u32)>,
    /// The canister that is meant, in grains.
    pub(super) grains: String,
    /// Water that went in, and its first charge.
    pub(super) charges: Vec<(String, String)>,
    pub(super) product: String,
    pub(super) cautions: Vec<String>,
}

/// One grain per US gallon is 17.118 mg/L as `CaCO3` (64.79891 mg over 3.785411784 L, both exact).
const MG_L_PER_GRAIN: f64 = 17.118;

pub(super) fn by_hand(s: &FillSheet, profiles: &[ProfileRow], dealer: &Dealer) -> Read<ByHand> {
    let volume = volume(&s.asked, dealer.units)?;
    let typed = figure(&s.asked.grains, "The canister's grains", 100.0..=1e6)?.unwrap_or(3000.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded above and below")]
    let canister = Canister::new(typed as u32, Canister::USUAL_PERCENT).map_err(words)?;
    let canisters = |grains: u16| {
        let hardness = f64::from(grains) * MG_L_PER_GRAIN;
        let plan = softening::plan(HardFill { volume, hardness, iron: 0.0, manganese: 0.0 }, canister, Compensation::default()).ok()?;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a hardness of a few hundred")]
        Some((grains, hardness.round() as u16, plan.canisters))
    };
    let deciding = profiles.iter().filter(|row| row.profile.decides).flat_map(|row| &row.profile.limits);
    let (charges, cautions) = charges(&s.own, volume, dealer)?;
    Ok(ByHand {
        limits: deciding.map(|l| (l.parameter().words().to_owned(), l.words())).collect(),
        canisters: [5, 10, 15, 20, 25, 30, 40].into_iter().filter_map(canisters).collect(),
        grains: s.asked.grains.clone(),
        charges,
        product: s.own.product.as_ref().map(|p| p.1.name.clone()).unwrap_or_default(),
        cautions,
    })
}

/// What went in beside what to put in, a line each, and the cautions of doing so.
type Charges = (Vec<(String, String)>, Vec<String>);

/// The first charge for water that keeps every limit: for the unit's own volume, and for what a meter may show.
fn charges(own: &UnitWater, usual: Millilitres, dealer: &Dealer) -> Read<Charges> {
    let Some((_, product)) = own.product.as_ref() else { return Ok((Vec::new(), Vec::new())) };
    // 50 US gallons, or 200 L, in µL.
    let each = if dealer.units == UnitsFirst::Us { 189_270_589 } else { 200_000_000 };
    let mut rows = Vec::new();
    let mut cautions = Vec::new();
    let near = usual.get() * 1000 / each;
    for step in (near - 4).max(1)..=near + 5 {
        let litres = Millilitres::new(step * each / 1000).map_err(words)?;
        let volume = WaterVolume::by(litres, Method::WaterMeter).map_err(words)?;
        let facts = WaterFacts { aluminium: own.facts.aluminium, fill_hardness: mg(Some(0.0)), ..WaterFacts::default() };
        let site =
            Site { volume: Some(volume), programme: &own.programme, product, facts, occasion: Occasion::Scheduled, day: dealer.today };
        let advice = first_charge(&site);
        let says = advice.dose().map_or_else(|| water_view::sentences(&advice, dealer).join(" "), |d| d.amount.text(dealer.units));
        rows.push((litres.both(dealer.units), says));
        cautions = advice.cautions;
    }
    Ok((rows, cautions))
}

/// A unit's fill page, whoever looks at it.
pub(super) struct FillSheet {
    pub(super) u: Unit,
    pub(super) asked: Asked,
    pub(super) tested: bool,
    pub(super) devices: Vec<(String, &'static str)>,
    pub(super) answer: Answer,
    pub(super) wrong: String,
    pub(super) lots: Vec<shelf::LotLine>,
    pub(super) own: UnitWater,
    pub(super) by_hand: ByHand,
}

/// Reads the unit and answers what was asked of its water.
pub(super) async fn sheet(db: &mut PgConnection, unit_id: Uuid, asked: Asked, dealer: &Dealer) -> Result<FillSheet> {
    let u = units::get(&mut *db, unit_id).await?;
    let treatments = catalogue::treatments(&mut *db).await?;
    let own = water::unit_waters(&mut *db, &treatments, &[unit_id]).await?.remove(&unit_id).ok_or(Error::NotFound)?;
    let profiles = catalogue::profiles(&mut *db).await?;
    let tested = asked.tested();
    let asked = asked.with_usual(Some((&u, &own)), dealer.units);
    let (answer, wrong) = match tested.then(|| answer(&asked, &profiles, Some(&own), dealer)) {
        Some(Ok(answer)) => (answer, String::new()),
        Some(Err(wrong)) => (Answer::default(), wrong),
        None => (Answer::default(), String::new()),
    };
    let product = own.product.as_ref().map(|p| p.0);
    let lots = shelf::lots(db).await?.into_iter().filter(|l| Some(l.product_id) == product).collect();
    let mut sheet = FillSheet { u, asked, tested, devices: devices(), answer, wrong, lots, own, by_hand: ByHand::default() };
    if sheet.wrong.is_empty() {
        sheet.by_hand = by_hand(&sheet, &profiles, dealer).unwrap_or_default();
    }
    Ok(sheet)
}

//! Source water before a fill: usable or not, by which limit, will it lime, how to soften it, what keeps it out of the house line.

use super::{
    super::super::{
        app::App,
        error::Result,
        guard::Office,
        html::{Frame, html},
    },
    number, or_usual,
};
use crate::{
    units::{Millilitres, Ph, UnitsFirst, VolumeUnit, parse_mg_per_litre, parse_ph, parse_volume},
    water::{
        Analysis, SourceWater,
        carbonate::{Alkalinity, Hardness},
        fill::{
            Against, Assessment, FillTest, assess, defaults,
            device::FillDevice,
            edition::{self, FillSystem},
            lime::{LimeRules, why_soften},
            profile::FillVerdict,
        },
        softening::{self, Canister, Compensation, HardFill},
    },
};
use askama::Template;
use axum::extract::Query;
use serde::Deserialize;

#[derive(Debug, Default, Deserialize)]
pub(in crate::web::office) struct Asked {
    #[serde(default)]
    ph: String,
    #[serde(default)]
    hardness: String,
    #[serde(default)]
    alkalinity: String,
    #[serde(default)]
    conductivity: String,
    #[serde(default)]
    chloride: String,
    #[serde(default)]
    sulfate: String,
    #[serde(default)]
    iron: String,
    #[serde(default)]
    manganese: String,
    #[serde(default)]
    volume: String,
    #[serde(default)]
    output: String,
    #[serde(default)]
    grains: String,
    #[serde(default)]
    device: usize,
}

/// One figure against one limit, ready for the page.
struct FindingView {
    class: &'static str,
    word: &'static str,
    what: String,
    limit: String,
    profile: String,
    why: String,
    source: String,
}

#[derive(Default)]
struct Answer {
    headline: String,
    reasons: Vec<String>,
    findings: Vec<FindingView>,
    lime: Vec<String>,
    soften: Vec<String>,
    not_tested: String,
    cautions: Vec<String>,
}

#[derive(Template)]
#[template(path = "office/source_water.html")]
struct SourceWaterPage {
    f: Frame,
    asked: Asked,
    tested: bool,
    devices: Vec<(usize, &'static str)>,
    answer: Answer,
    wrong: String,
}

pub(in crate::web::office) async fn page(who: Office, _: App, Query(asked): Query<Asked>) -> Result {
    let units = who.dealer.units;
    let us = units == UnitsFirst::Us;
    let tested = ![&asked.ph, &asked.hardness, &asked.alkalinity, &asked.conductivity, &asked.chloride, &asked.sulfate, &asked.iron]
        .iter()
        .all(|t| t.trim().is_empty());
    let asked = Asked {
        volume: or_usual(&asked.volume, if us { "400 gal" } else { "1500 L" }),
        output: or_usual(&asked.output, "200000"),
        grains: or_usual(&asked.grains, "3000"),
        device: asked.device.min(FillDevice::ALL.len() - 1),
        ..asked
    };
    let (answer, wrong) = match tested.then(|| answer(&asked, units)) {
        Some(Ok(answer)) => (answer, String::new()),
        Some(Err(wrong)) => (Answer::default(), wrong),
        None => (Answer::default(), String::new()),
    };
    let devices = FillDevice::ALL.iter().map(|d| d.words()).enumerate().collect();
    html(&SourceWaterPage { f: Frame::of(&who, "answers"), tested, devices, asked, answer, wrong })
}

type Read<T> = std::result::Result<T, String>;

fn words(e: impl std::fmt::Display) -> String {
    e.to_string()
}

fn mg_l(text: &str) -> Read<Option<f64>> {
    if text.trim().is_empty() { Ok(None) } else { parse_mg_per_litre(text).map(|v| Some(v.as_f64())).map_err(words) }
}

/// Iron and manganese are given in tenths of a mg/L.
fn small(text: &str, what: &str) -> Read<Option<f64>> {
    if text.trim().is_empty() { Ok(None) } else { number(text, 0.0, what, 0.0..=100.0).map(Some) }
}

fn read(asked: &Asked) -> Read<FillTest> {
    let ph = if asked.ph.trim().is_empty() { None } else { Some(parse_ph(&asked.ph).map_err(words)?) };
    let conductivity = if asked.conductivity.trim().is_empty() {
        None
    } else {
        Some(number(&asked.conductivity, 0.0, "The conductivity", 0.0..=50_000.0)?)
    };
    Ok(FillTest {
        ph,
        hardness: mg_l(&asked.hardness)?.map(Hardness::TotalAsCaCO3),
        alkalinity: mg_l(&asked.alkalinity)?.map(Alkalinity::AsCaCO3),
        conductivity,
        chloride: mg_l(&asked.chloride)?,
        sulfate: mg_l(&asked.sulfate)?,
        iron: small(&asked.iron, "Iron")?,
        manganese: small(&asked.manganese, "Manganese")?,
        ..FillTest::default()
    })
}

/// Btu in an hour for one kilowatt.
const BTU_H_PER_KW: f64 = 3412.14;

fn answer(asked: &Asked, units: UnitsFirst) -> Read<Answer> {
    let test = read(asked)?;
    let usual = if units == UnitsFirst::Us { VolumeUnit::UsGallon } else { VolumeUnit::Litre };
    let (volume, _) = parse_volume(&asked.volume, usual).map_err(words)?;
    let output_kw = number(&asked.output, 200_000.0, "The output in Btu/h", 10_000.0..=5e6)? / BTU_H_PER_KW;
    let system = FillSystem::one_heater(volume, output_kw, Some(volume));
    let profiles = [defaults::steel_vented_inhibited().map_err(words)?, defaults::drinking_water_frame().map_err(words)?];
    let editions = [edition::vdi_2035_1_2005(), edition::oenorm_h_5195_1_by_content(), edition::oenorm_h_5195_1_2006()];
    let lime = LimeRules::usual().map_err(words)?;
    let found = assess(&test, &Against { profiles: &profiles, editions: &editions, system: Some(&system), lime: &lime }).map_err(words)?;
    Ok(Answer {
        headline: found.headline(Some(volume), units),
        reasons: found.reasons.clone(),
        lime: lime_lines(&found, &test, volume, &lime, units),
        soften: soften_lines(asked, &test, volume)?,
        not_tested: found.not_tested.iter().map(|p| p.words()).collect::<Vec<_>>().join(", "),
        findings: found.findings.iter().map(finding).collect(),
        cautions: FillDevice::ALL[asked.device].caution(true).into_iter().collect(),
    })
}

fn finding(f: &crate::water::Finding) -> FindingView {
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
    let mut lines: Vec<String> = found.lime.iter().map(crate::water::fill::lime::LimeOutlook::words).collect();
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
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded above and below")]
    let grains = number(&asked.grains, 3000.0, "The canister's grains", 100.0..=1e6)? as u32;
    let canister = Canister::new(grains, Canister::USUAL_PERCENT).map_err(words)?;
    let fill = HardFill { volume, hardness, iron: test.iron.unwrap_or(0.0), manganese: test.manganese.unwrap_or(0.0) };
    let plan = softening::plan(fill, canister, Compensation::default()).map_err(words)?;
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

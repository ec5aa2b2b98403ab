//! Antifreeze: how strong, how much, and what it costs in heat carried. Both sides of the trade-off, worked out.

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
    units::{Celsius, TemperatureUnit, UnitsFirst, VolumeUnit, degrees, parse_celsius, parse_volume},
    water::{
        Method, WaterVolume,
        antifreeze::{
            AntifreezeRules, By, Glycol, MixStrength, Scale, by_hydrometer, by_refractometer, fluid, freezing_point, new_fill_by_volume,
            protection, raise, target,
        },
    },
};
use askama::Template;
use axum::extract::Query;
use serde::Deserialize;

#[derive(Debug, Default, Deserialize)]
pub(in crate::web::office) struct Asked {
    #[serde(default)]
    glycol: String,
    #[serde(default)]
    coldest: String,
    #[serde(default)]
    volume: String,
    #[serde(default)]
    now: String,
    #[serde(default)]
    wanted: String,
    #[serde(default)]
    goes_in: String,
    #[serde(default)]
    works_at: String,
    /// How the strength now was found: empty for % by volume, else `mass`, `hydrometer` or `refractometer`.
    #[serde(default)]
    gauge: String,
    /// `mass` where the strength wanted is by mass.
    #[serde(default)]
    by: String,
}

/// One of the two glycols beside water, for the table.
struct BesideWater {
    name: &'static str,
    freezes: String,
    less_heat: String,
    more_flow: String,
    thickness: String,
    by_mass: String,
}

/// The answer, in lines for the page.
#[derive(Default)]
struct Answer {
    wanted: String,
    cold: String,
    notes: Vec<String>,
    mix: Vec<String>,
    trade: Vec<String>,
    beside: Vec<BesideWater>,
    cautions: Vec<&'static str>,
}

#[derive(Template)]
#[template(path = "office/antifreeze.html")]
struct AntifreezePage {
    f: Frame,
    asked: Asked,
    ethylene: bool,
    answer: Answer,
    wrong: String,
}

pub(in crate::web::office) async fn page(who: Office, _: App, Query(asked): Query<Asked>) -> Result {
    let units = who.dealer.units;
    let us = units == UnitsFirst::Us;
    let asked = Asked {
        coldest: or_usual(&asked.coldest, if us { "-20 F" } else { "-29 C" }),
        volume: or_usual(&asked.volume, if us { "400 gal" } else { "1500 L" }),
        works_at: or_usual(&asked.works_at, if us { "160 F" } else { "70 C" }),
        now: or_usual(&asked.now, "0"),
        goes_in: or_usual(&asked.goes_in, "100"),
        ..asked
    };
    let (answer, wrong) = match answer(&asked, units) {
        Ok(answer) => (answer, String::new()),
        Err(wrong) => (Answer::default(), wrong),
    };
    html(&AntifreezePage { f: Frame::of(&who, "answers"), ethylene: asked.glycol == "ethylene", asked, answer, wrong })
}

fn temperature(text: &str, units: UnitsFirst) -> std::result::Result<Celsius, String> {
    let usual = if units == UnitsFirst::Us { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
    parse_celsius(text, usual).map_err(|e| e.to_string())
}

fn answer(asked: &Asked, units: UnitsFirst) -> std::result::Result<Answer, String> {
    let words = |e: &dyn std::fmt::Display| e.to_string();
    let glycol = if asked.glycol == "ethylene" { Glycol::Ethylene } else { Glycol::Propylene };
    let coldest = temperature(&asked.coldest, units)?;
    let rules = AntifreezeRules::default();
    let wanted = if asked.wanted.trim().is_empty() {
        target(glycol, coldest, rules).map_err(|e| words(&e))?
    } else {
        let by = if asked.by == "mass" { By::Mass } else { By::Volume };
        MixStrength::new(number(&asked.wanted, 0.0, "The strength wanted", 0.0..=60.0)?, by).map_err(|e| words(&e))?
    };
    let held = protection(glycol, wanted, coldest, rules).map_err(|e| words(&e))?;
    let works_at = temperature(&asked.works_at, units)?;
    let carried = fluid(glycol, wanted, works_at.as_f64() / 10.0).map_err(|e| words(&e))?;
    Ok(Answer {
        wanted: format!("{} of {}", wanted.words(), glycol.words()),
        cold: format!(
            "{}: the first ice forms at {}; the coldest day is {}.",
            held.verdict.word(),
            degrees(held.freezing_point, units),
            degrees(coldest.as_f64() / 10.0, units)
        ),
        notes: held.notes,
        mix: mix_lines(asked, glycol, wanted, units)?,
        trade: vec![
            format!("For: the loop does not freeze when the fire is out, down to {}.", degrees(held.freezing_point, units)),
            format!("Against, at {}: {}", degrees(works_at.as_f64() / 10.0, units), carried.words()),
            "Against: the mix has to be kept in order like the water, and a drain costs it again.".to_owned(),
        ],
        beside: [Glycol::Propylene, Glycol::Ethylene].into_iter().filter_map(|g| beside(g, wanted, works_at, units)).collect(),
        cautions: held.cautions,
    })
}

/// Both glycols at the same strength: what each carries beside water.
fn beside(glycol: Glycol, strength: MixStrength, works_at: Celsius, units: UnitsFirst) -> Option<BesideWater> {
    let carried = fluid(glycol, strength, works_at.as_f64() / 10.0).ok()?;
    Some(BesideWater {
        name: glycol.words(),
        freezes: degrees(freezing_point(glycol, strength).ok()?, units),
        less_heat: format!("{:.1} %", (1.0 - carried.heat_carried) * 100.0),
        more_flow: format!("{:.1} %", (carried.flow_needed - 1.0) * 100.0),
        thickness: format!("{:.1} times", carried.thickness),
        by_mass: format!("{:.1} % by mass, {:.1} % by volume", strength.by_mass(glycol), strength.by_volume(glycol)),
    })
}

/// The strength in the loop now, by what it was found with.
fn strength_now(asked: &Asked, glycol: Glycol, units: UnitsFirst) -> std::result::Result<MixStrength, String> {
    let words = |e: crate::water::antifreeze::AntifreezeError| e.to_string();
    match asked.gauge.as_str() {
        "hydrometer" => by_hydrometer(glycol, number(&asked.now, 1.0, "The specific gravity", 0.9..=1.2)?).map_err(words),
        "refractometer" => {
            let scale = if glycol == Glycol::Ethylene { Scale::Ethylene } else { Scale::Propylene };
            by_refractometer(glycol, scale, temperature(&asked.now, units)?).map_err(words)
        }
        gauge => {
            let by = if gauge == "mass" { By::Mass } else { By::Volume };
            MixStrength::new(number(&asked.now, 0.0, "The strength now", 0.0..=60.0)?, by).map_err(words)
        }
    }
}

fn mix_lines(asked: &Asked, glycol: Glycol, wanted: MixStrength, units: UnitsFirst) -> std::result::Result<Vec<String>, String> {
    let usual = if units == UnitsFirst::Us { VolumeUnit::UsGallon } else { VolumeUnit::Litre };
    let (ml, _) = parse_volume(&asked.volume, usual).map_err(|e| e.to_string())?;
    let volume = WaterVolume::by(ml, Method::Piping).map_err(|e| e.to_string())?;
    let from = strength_now(asked, glycol, units)?;
    let goes_in = number(&asked.goes_in, 100.0, "The strength of what goes in", 1.0..=100.0)?;
    let mut lines = Vec::new();
    if from.percent() <= 0.0 {
        let fill = new_fill_by_volume(glycol, volume, wanted.by_volume(glycol), goes_in).map_err(|e| e.to_string())?;
        lines.push(format!(
            "New fill of {}: {} glycol as it comes, {} water.",
            volume.text(units),
            fill.glycol.both(units),
            fill.water.both(units)
        ));
        lines.extend(fill.notes.iter().map(|n| (*n).to_owned()));
    }
    let raised = raise(glycol, volume, from, wanted, goes_in).map_err(|e| e.to_string())?;
    lines.push(format!(
        "Full system at {}: drain {} and put in as much glycol as it comes, ± {}.",
        from.words(),
        raised.drain.both(units),
        raised.plus_minus.both(units)
    ));
    lines.extend(raised.notes.iter().map(|n| (*n).to_owned()));
    Ok(lines)
}

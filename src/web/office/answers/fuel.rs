//! Wood as fuel, on one page that can be printed for a customer: what a cord holds, what wet wood costs, wood beside another fuel.

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
    units::thousands,
    water::fuel::{
        Based, CAUTIONS, Cord, Efficiency, FUELS, Fuel, HeatBasis, Moisture, SPECIES, Species, break_even_cord, cost_of_wetter, load,
        saving,
    },
};
use askama::Template;
use axum::extract::Query;
use serde::Deserialize;

#[derive(Debug, Default, Deserialize)]
pub(in crate::web::office) struct Asked {
    #[serde(default)]
    species: usize,
    #[serde(default)]
    moisture: String,
    #[serde(default)]
    wet: String,
    #[serde(default)]
    cord_price: String,
    #[serde(default)]
    burner: String,
    #[serde(default)]
    fuel: usize,
    #[serde(default)]
    fuel_price: String,
    #[serde(default)]
    fuel_burner: String,
    #[serde(default)]
    heat: String,
    #[serde(default)]
    outlay: String,
    #[serde(default)]
    demand: String,
    #[serde(default)]
    hours: String,
}

/// One figure with the words that say what it counts.
struct Line {
    what: String,
    figure: String,
    basis: String,
}

#[derive(Template)]
#[template(path = "office/fuel.html")]
struct FuelPage {
    f: Frame,
    asked: Asked,
    species: Vec<(usize, &'static str)>,
    fuels: Vec<(usize, String)>,
    lines: Vec<Line>,
    cautions: [&'static str; 4],
    wrong: String,
}

pub(in crate::web::office) async fn page(who: Office, _: App, Query(asked): Query<Asked>) -> Result {
    let asked = Asked {
        moisture: or_usual(&asked.moisture, "20"),
        wet: or_usual(&asked.wet, "35"),
        cord_price: or_usual(&asked.cord_price, "250"),
        burner: or_usual(&asked.burner, "60"),
        fuel_price: or_usual(&asked.fuel_price, "2.50"),
        fuel_burner: or_usual(&asked.fuel_burner, "90"),
        heat: or_usual(&asked.heat, "120"),
        outlay: or_usual(&asked.outlay, "9000"),
        demand: or_usual(&asked.demand, "50000"),
        hours: or_usual(&asked.hours, "12"),
        species: asked.species.min(SPECIES.len() - 1),
        fuel: asked.fuel.min(FUELS.len() - 1),
    };
    let (lines, wrong) = match lines(&asked) {
        Ok(lines) => (lines, String::new()),
        Err(wrong) => (Vec::new(), wrong),
    };
    html(&FuelPage {
        f: Frame::of(&who, "answers"),
        species: SPECIES.iter().map(|s| s.name).enumerate().collect(),
        fuels: FUELS.iter().map(|f| format!("{} by the {}", f.0, f.1)).enumerate().collect(),
        asked,
        lines,
        cautions: CAUTIONS,
        wrong,
    })
}

type Answer<T> = std::result::Result<T, String>;

fn percent(text: &str, what: &str) -> Answer<f64> {
    Ok(number(text, 0.0, what, 1.0..=400.0)? / 100.0)
}

fn gross(share: f64) -> Answer<Efficiency> {
    Efficiency::new(share, HeatBasis::Gross).map_err(|e| e.to_string())
}

fn line(what: &str, figure: String, basis: String) -> Line {
    Line { what: what.to_owned(), figure, basis }
}

fn dollars(b: &Based) -> String {
    if b.value.abs() < 100.0 { format!("${:.2}", b.value) } else { format!("${}", whole(b.value)) }
}

fn whole(value: f64) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "rounded and bounded before")]
    thousands(value.clamp(-1e15, 1e15).round() as i64)
}

fn lines(asked: &Asked) -> Answer<Vec<Line>> {
    let words = |e: crate::water::fuel::FuelError| e.to_string();
    let species: Species = SPECIES[asked.species];
    let moisture = |text: &str| Moisture::wet_basis(number(text, 20.0, "The moisture", 0.0..=80.0)?).map_err(words);
    let (dry, wet) = (moisture(&asked.moisture)?, moisture(&asked.wet)?);
    let cord = Cord::of(species, dry);
    let burner = gross(percent(&asked.burner, "The heater's efficiency")?)?;
    let price = number(&asked.cord_price, 250.0, "The price of a cord", 1.0..=10_000.0)?;
    let cord_heat = cord.heat(HeatBasis::Gross).map_err(words)?;
    let wood = Fuel { btu: cord_heat.value, price, efficiency: burner };
    let (name, unit, btu, source) = FUELS[asked.fuel];
    let other = Fuel {
        btu,
        price: number(&asked.fuel_price, 2.5, "The other fuel's price", 0.01..=1000.0)?,
        efficiency: gross(percent(&asked.fuel_burner, "The other heater's efficiency")?)?,
    };
    let heat = number(&asked.heat, 120.0, "The yearly heat", 1.0..=10_000.0)?;
    let mut lines = vec![
        line(&format!("A cord of {}", species.name), format!("{} million Btu", decimal(cord_heat.value / 1e6)), cord_heat.basis.clone()),
        line(
            "Wood, per million useful Btu",
            dollars(&wood.per_million_useful().map_err(words)?),
            wood.per_million_useful().map_err(words)?.basis,
        ),
        line(
            &format!("The same from {name}"),
            dollars(&other.per_million_useful().map_err(words)?),
            format!("{}; {btu} Btu per {unit}: {source}", other.per_million_useful().map_err(words)?.basis),
        ),
    ];
    let even = break_even_cord(other, cord_heat.value, burner).map_err(words)?;
    lines.push(line(&format!("A cord may cost, to equal {name}"), dollars(&even), even.basis.clone()));
    lines.extend(saving_lines(heat, other, wood, asked)?);
    lines.push(wet_line(species, (dry, wet), heat, price, burner)?);
    lines.push(load_line(asked, dry, burner)?);
    Ok(lines)
}

fn decimal(value: f64) -> String {
    format!("{value:.1}")
}

fn saving_lines(heat: f64, other: Fuel, wood: Fuel, asked: &Asked) -> Answer<Vec<Line>> {
    let outlay = number(&asked.outlay, 9000.0, "What the heater costs more", 1.0..=1e7)?;
    Ok(match saving(heat, other, wood, outlay) {
        Ok(s) => vec![
            line("Saved in a year", dollars(&s.per_year), s.per_year.basis),
            line("Paid back in", format!("{} years", decimal(s.years)), "simple payback: no interest, no change of prices".to_owned()),
        ],
        Err(e) => vec![line("Saved in a year", "nothing".to_owned(), e.to_string())],
    })
}

/// The same useful heat from wetter wood, with the heater doing no worse on it: the least it can cost.
fn wet_line(species: Species, (dry, wet): (Moisture, Moisture), heat: f64, price: f64, burner: Efficiency) -> Answer<Line> {
    let words = |e: crate::water::fuel::FuelError| e.to_string();
    let net = Efficiency::new(burner.share(), HeatBasis::Net).map_err(words)?;
    let dry_cord = Cord::of(species, dry);
    let cords = dry_cord.cords_for(heat, net).map_err(words)?;
    let cost = cost_of_wetter(dry_cord, Cord::of(species, wet), (net, net), cords, price).map_err(words)?;
    let what = format!("Wood at {} instead costs at least", wet.words());
    Ok(line(&what, dollars(&cost), format!("{}; on net heat, the heater doing no worse on it: in truth it does", cost.basis)))
}

fn load_line(asked: &Asked, dry: Moisture, burner: Efficiency) -> Answer<Line> {
    let demand = number(&asked.demand, 50_000.0, "The heat demand", 1000.0..=5e6)?;
    let hours = number(&asked.hours, 12.0, "The hours", 1.0..=72.0)?;
    let pounds = load(demand, hours, dry, burner).map_err(|e| e.to_string())?;
    Ok(line(&format!("Wood for {hours:.0} hours at {} Btu/h", whole(demand)), format!("{} lb", whole(pounds.value)), pounds.basis))
}

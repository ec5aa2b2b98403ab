//! Antifreeze: how cold a mix may get, how strong it is, how to reach a strength, and what it costs in heat carried.
//!
//! Strengths are in percent, always with their basis: by mass, or by volume (parts measured before mixing, at 20 °C; the
//! slight shrinking on mixing is left out). Tables are data with their sources in `grid`; an inhibited product differs a
//! little, so its maker's table comes first.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::units::{Celsius, Millilitres};

mod curve;
mod grid;
mod mix;

use curve::smooth;
use grid::{ETHYLENE, Grid, PROPYLENE, PROPYLENE_AT_60_F, Table};
pub use mix::{Mix, new_fill_by_volume, new_fill_by_weight, raise};

/// Water at 20 °C, kg/m³ (IAPWS; 998.2 in every handbook).
const WATER_AT_20: f64 = 998.2;
/// Strongest mix in the tables, %.
pub const MAX_PERCENT: f64 = 60.0;

/// Which glycol.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Glycol {
    Propylene,
    Ethylene,
}

/// What a strength counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    Mass,
    Volume,
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum AntifreezeError {
    #[error("The strength must be from 0 to 60 %: the tables end there.")]
    Strength,
    #[error("The temperature must be from 20 to 80 °C (68 to 176 °F): the tables end there.")]
    Temperature,
    #[error("No mix up to 60 % stays liquid that cold.")]
    TooCold,
    #[error("The mix is at that strength already. Nothing to drain.")]
    StrongEnough,
    #[error("What goes in must be stronger than the mix that is wanted.")]
    TooWeak,
    #[error("That specific gravity is outside the table (1.006 to 1.040 at 60 °F, 10 to 50 % by volume). Check the sample and the glycol.")]
    Gravity,
    #[error("There is no table of specific gravities for ethylene glycol here. Use the product's own table.")]
    NoGravityTable,
    #[error(
        "The refractometer's scale is for another fluid. It gives a wrong answer; use the scale for this glycol or the product's own table."
    )]
    WrongScale,
    #[error("That is no freezing point of a mix from 10 to 60 %. Check the sample and the scale.")]
    NotOnScale,
    #[error("The volume is out of range.")]
    Volume,
}

type Result<T> = std::result::Result<T, AntifreezeError>;

/// The dealer's figures for antifreeze (data).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AntifreezeRules {
    /// The freezing point is to lie so many °C below the coldest day (5; common practice, no source).
    pub margin: f64,
    /// Weakest mix whose inhibitor still protects the steel, % by volume (25; ÖNORM H 5195 as quoted in a trade extract).
    pub weakest: f64,
}

impl Default for AntifreezeRules {
    fn default() -> Self {
        Self { margin: 5.0, weakest: 25.0 }
    }
}

/// A strength with its basis, 0 to 60 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MixStrength {
    percent: f64,
    by: By,
}

impl MixStrength {
    pub fn new(percent: f64, by: By) -> Result<Self> {
        if (0.0..=MAX_PERCENT).contains(&percent) { Ok(Self { percent, by }) } else { Err(AntifreezeError::Strength) }
    }

    pub const fn percent(self) -> f64 {
        self.percent
    }

    pub const fn by(self) -> By {
        self.by
    }

    /// The same mix by mass. Parts by volume are weighed at 20 °C.
    pub fn by_mass(self, glycol: Glycol) -> f64 {
        match self.by {
            By::Mass => self.percent,
            By::Volume => share(self.percent, glycol.density_at_20(), WATER_AT_20),
        }
    }

    /// The same mix by volume at 20 °C.
    pub fn by_volume(self, glycol: Glycol) -> f64 {
        match self.by {
            By::Volume => self.percent,
            By::Mass => share(self.percent, WATER_AT_20, glycol.density_at_20()),
        }
    }

    /// "40 % by volume".
    pub fn words(self) -> String {
        let by = if self.by == By::Mass { "mass" } else { "volume" };
        format!("{:.0} % by {by}", self.percent)
    }
}

fn share(percent: f64, its: f64, other: f64) -> f64 {
    100.0 * percent * its / (percent * its + (100.0 - percent) * other)
}

impl Glycol {
    const fn grid(self) -> &'static Grid {
        match self {
            Self::Propylene => &PROPYLENE,
            Self::Ethylene => &ETHYLENE,
        }
    }

    /// Specific gravity of the neat fluid at 20 °C: propylene 1.038, ethylene 1.1155 (published dosing examples).
    pub const fn specific_gravity(self) -> f64 {
        match self {
            Self::Propylene => 1.038,
            Self::Ethylene => 1.1155,
        }
    }

    fn density_at_20(self) -> f64 {
        self.specific_gravity() * WATER_AT_20
    }

    pub const fn words(self) -> &'static str {
        match self {
            Self::Propylene => "propylene glycol",
            Self::Ethylene => "ethylene glycol",
        }
    }

    /// What to know before it is opened, shown at the step.
    pub fn cautions(self) -> Vec<&'static str> {
        let own: &[&str] = match self {
            Self::Propylene => &[
                "Use a glycol made for heating systems, with its own inhibitor. Do not mix it with another glycol or another maker's.",
                "Behind a single-wall exchanger for tap water it is for the local code to say whether propylene glycol may be used. Ask before filling.",
            ],
            Self::Ethylene => &[
                "Ethylene glycol is poisonous: it harms kidneys and nerves, and a small cupful can kill. It tastes sweet; keep it from children and animals, and wipe up every spill.",
                "Never use ethylene glycol behind a single-wall exchanger for tap water.",
            ],
        };
        let both = [
            "Drain only when cold; hot mix scalds. Catch it: it does not go to a well, ditch, storm drain or septic tank. Local rules say where it goes.",
            "Fill through an air gap or a reduced-pressure backflow assembly, as the local code asks, and take the hose off afterwards.",
            "Read the strength with a scale made for this glycol. The wrong scale, or a sugar scale, gives a wrong answer.",
        ];
        own.iter().chain(&both).copied().collect()
    }
}

/// Freezing point in °C: where the first crystals form.
pub fn freezing_point(glycol: Glycol, strength: MixStrength) -> Result<f64> {
    let grid = glycol.grid();
    let found = match strength.by {
        By::Mass => smooth(0.0, 5.0, &grid.freezing_by_mass, strength.percent),
        By::Volume if strength.percent >= 10.0 => smooth(10.0, 5.0, &grid.freezing_by_volume, strength.percent),
        // The table by volume starts at 10 %; below, a straight line from that of water.
        By::Volume => Some(grid.freezing_by_volume[0] * strength.percent / 10.0),
    };
    found.ok_or(AntifreezeError::Strength)
}

/// Strength by volume, in tenths of a percent rounded up, whose freezing point is `celsius` or lower.
pub fn strength_for(glycol: Glycol, celsius: f64) -> Result<MixStrength> {
    let at = |tenths: u32| MixStrength::new(f64::from(tenths) / 10.0, By::Volume);
    let cold_enough = |tenths: u32| Ok(freezing_point(glycol, at(tenths)?)? <= celsius);
    let (mut low, mut high) = (0_u32, 600_u32);
    if !cold_enough(high)? {
        return Err(AntifreezeError::TooCold);
    }
    while low < high {
        let middle = u32::midpoint(low, high);
        if cold_enough(middle)? {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    at(high)
}

/// Strength by volume from a hydrometer: specific gravity of a sample at 60 °F (15.6 °C).
pub fn by_hydrometer(glycol: Glycol, gravity: f64) -> Result<MixStrength> {
    if glycol == Glycol::Ethylene {
        return Err(AntifreezeError::NoGravityTable);
    }
    let pair = PROPYLENE_AT_60_F.windows(2).find(|pair| (pair[0].1..=pair[1].1).contains(&gravity)).ok_or(AntifreezeError::Gravity)?;
    let (a, b) = (pair[0], pair[1]);
    MixStrength::new(a.0 + (b.0 - a.0) * (gravity - a.1) / (b.1 - a.1), By::Volume)
}

/// The fluid a refractometer's scale is made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    Propylene,
    Ethylene,
    /// Percent of sugar.
    Sugar,
}

/// Strength by volume from the freezing point a refractometer shows; refused on a scale made for another fluid.
pub fn by_refractometer(glycol: Glycol, scale: Scale, shown: Celsius) -> Result<MixStrength> {
    match (glycol, scale) {
        (Glycol::Propylene, Scale::Propylene) | (Glycol::Ethylene, Scale::Ethylene) => {
            let celsius = shown.as_f64() / 10.0;
            let table = &glycol.grid().freezing_by_volume;
            if !(table[10]..=table[0]).contains(&celsius) {
                return Err(AntifreezeError::NotOnScale);
            }
            strength_for(glycol, celsius)
        }
        _ => Err(AntifreezeError::WrongScale),
    }
}

/// What a mix is like at a working temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fluid {
    /// kg/m³.
    pub density: f64,
    /// J/(kg K).
    pub heat_capacity: f64,
    /// mPa s.
    pub viscosity: f64,
    /// Heat carried beside water, at the same flow and temperature drop.
    pub heat_carried: f64,
    /// Flow needed beside water, for the same heat and temperature drop.
    pub flow_needed: f64,
    /// Kinematic viscosity beside water.
    pub thickness: f64,
}

impl Fluid {
    /// "At the same flow this mix carries 10 % less heat than water; …".
    pub fn words(self) -> String {
        format!(
            "At the same flow and temperature drop this mix carries {:.0} % less heat than water; the same heat needs {:.0} % more flow. It is {:.1} times as thick as water, so the pump moves less of it and the exchangers pass less heat: figure that in as well.",
            (1.0 - self.heat_carried) * 100.0,
            (self.flow_needed - 1.0) * 100.0,
            self.thickness
        )
    }
}

/// Density, heat capacity and viscosity at 20 to 80 °C, and what that means beside water (the table's own 0 % row).
/// A strength by mass goes by the IIR tables, one by volume by the ASHRAE tables but for its viscosity.
pub fn fluid(glycol: Glycol, strength: MixStrength, celsius: f64) -> Result<Fluid> {
    if !(20.0..=80.0).contains(&celsius) {
        return Err(AntifreezeError::Temperature);
    }
    let grid = glycol.grid();
    let at = |table: &Table, percent: f64| look_up(table, percent, celsius).ok_or(AntifreezeError::Strength);
    let (densities, heats) = match strength.by {
        By::Mass => (&grid.density, &grid.heat_capacity),
        By::Volume => (&grid.density_by_volume, &grid.heat_capacity_by_volume),
    };
    let (density, heat_capacity) = (at(densities, strength.percent)?, at(heats, strength.percent)?);
    // 60 % of ethylene glycol by volume is 62.6 % by mass; the table of viscosities ends at 60.
    let viscosity = at(&grid.viscosity, strength.by_mass(glycol).min(MAX_PERCENT))?;
    let water = (at(&grid.density, 0.0)?, at(&grid.heat_capacity, 0.0)?, at(&grid.viscosity, 0.0)?);
    let heat_carried = density * heat_capacity / (water.0 * water.1);
    let thickness = (viscosity / density) / (water.2 / water.0);
    Ok(Fluid { density, heat_capacity, viscosity, heat_carried, flow_needed: heat_carried.recip(), thickness })
}

/// Between the points of a table, on logarithms (viscosity falls like an exponential), first along temperature.
fn look_up(table: &Table, percent: f64, celsius: f64) -> Option<f64> {
    let mut at_temperature = [0.0; 7];
    for (value, row) in at_temperature.iter_mut().zip(table) {
        *value = smooth(20.0, 10.0, &row.map(f64::ln), celsius)?;
    }
    smooth(0.0, 10.0, &at_temperature, percent).map(f64::exp)
}

/// Whether a mix holds against the cold and against rust.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// Where the first crystals form, °C.
    pub freezing_point: f64,
    pub verdict: Cold,
    /// Too weak for its inhibitor to protect the steel.
    pub too_weak: bool,
    /// What to know, in words.
    pub notes: Vec<String>,
    pub cautions: Vec<&'static str>,
}

/// How a freezing point stands to the coldest day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Cold {
    /// Below it by the margin or more.
    Holds,
    /// Below it, by less than the margin.
    LittleMargin,
    /// Not below it.
    Freezes,
}

impl Cold {
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holds => "Holds",
            Self::LittleMargin => "Little margin",
            Self::Freezes => "Can freeze",
        }
    }
}

/// Judges a mix against the coldest day of the place.
pub fn protection(glycol: Glycol, strength: MixStrength, coldest: Celsius, rules: AntifreezeRules) -> Result<Protection> {
    let freezing_point = freezing_point(glycol, strength)?;
    let coldest = coldest.as_f64() / 10.0;
    let verdict = if freezing_point <= coldest - rules.margin {
        Cold::Holds
    } else if freezing_point < coldest {
        Cold::LittleMargin
    } else {
        Cold::Freezes
    };
    let too_weak = strength.by_volume(glycol) < rules.weakest;
    let mut notes = vec![
        "Go by the freezing point, where the first ice forms. “Burst protection” on a label is colder: there the mix is slush that may not burst a pipe, but a pump cannot move it. Only the maker's table gives it, and only for a loop that stands still.".to_owned(),
    ];
    if too_weak {
        notes.push(format!(
            "Below {:.0} % by volume there is too little inhibitor against rust, and thin glycol feeds bacteria.",
            rules.weakest
        ));
    }
    if verdict == Cold::LittleMargin {
        notes.push(format!("Less than {:.0} °C between the freezing point and the coldest day.", rules.margin));
    }
    Ok(Protection { freezing_point, verdict, too_weak, notes, cautions: glycol.cautions() })
}

/// The strength to aim for at a place: cold enough with the margin, never weaker than protects the steel; % by volume.
pub fn target(glycol: Glycol, coldest: Celsius, rules: AntifreezeRules) -> Result<MixStrength> {
    let needed = strength_for(glycol, coldest.as_f64() / 10.0 - rules.margin)?;
    MixStrength::new(needed.percent.max(rules.weakest), By::Volume)
}

/// A volume from computed millilitres.
fn millilitres(ml: f64) -> Result<Millilitres> {
    Millilitres::from_f64(ml).map_err(|_| AntifreezeError::Volume)
}

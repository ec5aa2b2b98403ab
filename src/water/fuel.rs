//! Wood as fuel: moisture, heat in a cord, what wetter wood costs, and wood beside other fuels. Every figure of heat or
//! money carries its basis in words, because tables of the trade differ by 15 % for want of it.
//!
//! Heat of dry wood 8,600 Btu/lb gross (hardwood; up to 9,000 resinous), net by 6 % hydrogen and 1,050 Btu/lb of water:
//! `8600 - 1050 × 8.936 × 0.06 = 8037`, both published practice. A cord is 128 ft³ stacked, 70 to 90 of them solid.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Pounds of water in a cubic foot.
const WATER_LB_PER_FT3: f64 = 62.4;
/// Btu to warm and boil off a pound of water.
const BTU_PER_LB_OF_WATER: f64 = 1_050.0;
/// Pounds of water from a pound of hydrogen, and the share of hydrogen in dry wood.
const WATER_FROM_HYDROGEN: f64 = 8.936 * 0.06;
/// Btu in a kWh.
pub const BTU_PER_KWH: f64 = 3_412.14;

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum FuelError {
    #[error("{0} must be a number above 0.")]
    NotPositive(&'static str),
    #[error("Moisture on wet basis must be from 0 to 80 %; on dry basis from 0 to 400 %.")]
    Moisture,
    #[error("The efficiency must be above 0 and at most 100 %.")]
    Efficiency,
    #[error("A cord holds from 40 to 128 cubic feet of solid wood.")]
    Solid,
    #[error("One efficiency counts gross heat, the other net heat. Give both on the same basis.")]
    MixedBases,
    #[error("There is no saving: the wood costs as much as the other fuel, or more.")]
    NoSaving,
    #[error("That wood holds no useful heat: it is too wet.")]
    TooWet,
}

type Result<T> = std::result::Result<T, FuelError>;

fn positive(value: f64, name: &'static str) -> Result<f64> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(FuelError::NotPositive(name)) }
}

fn efficiency(value: f64) -> Result<f64> {
    if value > 0.0 && value <= 1.0 { Ok(value) } else { Err(FuelError::Efficiency) }
}

/// Water in wood, kept as its share of the whole (wet basis).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Moisture(f64);

impl Moisture {
    /// Percent of the whole weight, as stove guidance counts.
    pub fn wet_basis(percent: f64) -> Result<Self> {
        if (0.0..=80.0).contains(&percent) { Ok(Self(percent / 100.0)) } else { Err(FuelError::Moisture) }
    }

    /// Percent of the dry weight, as forestry tables and most pin meters count.
    pub fn dry_basis(percent: f64) -> Result<Self> {
        if (0.0..=400.0).contains(&percent) { Ok(Self(percent / (100.0 + percent))) } else { Err(FuelError::Moisture) }
    }

    pub fn wet_percent(self) -> f64 {
        self.0 * 100.0
    }

    pub fn dry_percent(self) -> f64 {
        self.0 / (1.0 - self.0) * 100.0
    }

    /// "20 % of the whole weight (25 % on a meter that reads dry basis)".
    pub fn words(self) -> String {
        format!("{:.0} % of the whole weight ({:.0} % on a meter that reads dry basis)", self.wet_percent(), self.dry_percent())
    }

    /// Dry enough to burn: at most 20 % of the whole weight (common practice, no source).
    pub fn is_dry_wood(self) -> bool {
        self.0 <= 0.20 + 1e-9
    }
}

/// Whether the heat of the vapour in the smoke is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeatBasis {
    /// Higher heating value.
    Gross,
    /// Lower heating value.
    Net,
}

impl HeatBasis {
    pub const fn words(self) -> &'static str {
        match self {
            Self::Gross => "gross heat (higher heating value)",
            Self::Net => "net heat (lower heating value)",
        }
    }
}

/// An efficiency with the heat it is counted on; the two are never mixed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Efficiency {
    share: f64,
    basis: HeatBasis,
}

impl Efficiency {
    pub fn new(share: f64, basis: HeatBasis) -> Result<Self> {
        Ok(Self { share: efficiency(share)?, basis })
    }

    pub const fn share(self) -> f64 {
        self.share
    }

    pub const fn basis(self) -> HeatBasis {
        self.basis
    }
}

/// A figure with its basis.
#[derive(Debug, Clone, PartialEq)]
pub struct Based {
    pub value: f64,
    /// What it counts, in words.
    pub basis: String,
}

/// Btu in a pound of wood as it is fired. `dry_gross`: Btu/lb of dry wood, 8,600 for hardwood.
pub fn btu_per_lb(moisture: Moisture, basis: HeatBasis, dry_gross: f64) -> Result<Based> {
    let value = per_lb(moisture, basis, positive(dry_gross, "The heat of dry wood")?)?;
    Ok(Based { value, basis: format!("Btu per pound as fired, {}, at {}", basis.words(), moisture.words()) })
}

fn per_lb(moisture: Moisture, basis: HeatBasis, dry_gross: f64) -> Result<f64> {
    let dry = 1.0 - moisture.0;
    let value = match basis {
        HeatBasis::Gross => dry_gross * dry,
        HeatBasis::Net => (dry_gross - BTU_PER_LB_OF_WATER * WATER_FROM_HYDROGEN) * dry - BTU_PER_LB_OF_WATER * moisture.0,
    };
    if value > 0.0 { Ok(value) } else { Err(FuelError::TooWet) }
}

/// Heat of dry hardwood, gross Btu/lb; resinous wood up to 9,000.
pub const HARDWOOD_BTU: f64 = 8_600.0;

/// A kind of wood by its basic specific gravity: dry weight over green volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Species {
    pub name: &'static str,
    pub basic_gravity: f64,
}

/// Basic specific gravities (values from memory of the Wood Handbook, Forest Products Laboratory, not read again).
pub const SPECIES: [Species; 11] = [
    Species { name: "hickory", basic_gravity: 0.64 },
    Species { name: "white oak", basic_gravity: 0.60 },
    Species { name: "red oak, sugar maple, beech", basic_gravity: 0.56 },
    Species { name: "yellow birch, white ash", basic_gravity: 0.55 },
    Species { name: "red maple", basic_gravity: 0.49 },
    Species { name: "paper birch", basic_gravity: 0.48 },
    Species { name: "black cherry", basic_gravity: 0.47 },
    Species { name: "silver maple", basic_gravity: 0.44 },
    Species { name: "hemlock", basic_gravity: 0.38 },
    Species { name: "aspen", basic_gravity: 0.35 },
    Species { name: "white pine", basic_gravity: 0.34 },
];

/// Solid wood in a cord, ft³ (70 to 90 published).
pub const SOLID_FT3: f64 = 85.0;

/// A cord of wood as it is sold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cord {
    pub basic_gravity: f64,
    pub solid_ft3: f64,
    pub moisture: Moisture,
    /// Btu/lb of dry wood, gross.
    pub dry_gross: f64,
}

impl Cord {
    /// Hardwood of a species at a moisture, with the usual solid share.
    pub const fn of(species: Species, moisture: Moisture) -> Self {
        Self { basic_gravity: species.basic_gravity, solid_ft3: SOLID_FT3, moisture, dry_gross: HARDWOOD_BTU }
    }

    /// Pounds of it as fired. The dry wood in a cord is the same however wet it is.
    pub fn pounds(self) -> Result<f64> {
        if !(40.0..=128.0).contains(&self.solid_ft3) {
            return Err(FuelError::Solid);
        }
        let dry = self.solid_ft3 * positive(self.basic_gravity, "The specific gravity")? * WATER_LB_PER_FT3;
        Ok(dry / (1.0 - self.moisture.0))
    }

    /// Btu in it. Gross heat does not change with moisture, cord for cord; net heat does, and useful heat more.
    pub fn heat(self, basis: HeatBasis) -> Result<Based> {
        let value = self.pounds()? * per_lb(self.moisture, basis, positive(self.dry_gross, "The heat of dry wood")?)?;
        let words = format!("Btu per cord of {:.0} ft³ solid wood, {}, at {}", self.solid_ft3, basis.words(), self.moisture.words());
        Ok(Based { value, basis: words })
    }

    /// Btu of it that reach the water.
    pub fn useful(self, burner: Efficiency) -> Result<Based> {
        let heat = self.heat(burner.basis)?;
        Ok(Based {
            value: heat.value * burner.share,
            basis: format!("useful {} × {:.0} % efficiency on {}", heat.basis, burner.share * 100.0, burner.basis.words()),
        })
    }

    /// Cords of it that bring `million_btu` into the water.
    pub fn cords_for(self, million_btu: f64, burner: Efficiency) -> Result<f64> {
        Ok(positive(million_btu, "The heat")? * 1e6 / self.useful(burner)?.value)
    }
}

/// How much more wood, by weight, does the same work when it is wetter: net heat per pound, dry over wet, less 1.
pub fn more_wood_by_weight(dry: Moisture, wet: Moisture) -> Result<Based> {
    let value = per_lb(dry, HeatBasis::Net, HARDWOOD_BTU)? / per_lb(wet, HeatBasis::Net, HARDWOOD_BTU)? - 1.0;
    let basis = format!("share more pounds, by net heat, from {} to {}", dry.words(), wet.words());
    Ok(Based { value, basis })
}

/// What wetter wood costs in a year: the cords burned dry, their price, and the same useful heat from wet cords.
/// The burner may also do worse on wet wood: give both efficiencies.
pub fn cost_of_wetter(dry: Cord, wet: Cord, burners: (Efficiency, Efficiency), cords: f64, price: f64) -> Result<Based> {
    let need = dry.useful(burners.0)?.value * positive(cords, "The number of cords")?;
    let more = need / wet.useful(burners.1)?.value - cords;
    Ok(Based {
        value: more * positive(price, "The price")?,
        basis: format!("dollars a year for {more:.1} cords more at the same price, for the same useful heat"),
    })
}

/// A fuel to compare with: Btu in one unit of it (on the basis of its efficiency), the price of that unit, and the efficiency it is burned with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fuel {
    pub btu: f64,
    pub price: f64,
    pub efficiency: Efficiency,
}

/// Heat in one unit of other fuels, gross Btu: name, unit, Btu, source.
pub const FUELS: [(&str, &str, f64, &str); 5] = [
    ("propane", "gallon", 91_333.0, "US Energy Information Administration, averages of 2012"),
    ("heating oil", "gallon", 138_690.0, "US Energy Information Administration, averages of 2012"),
    ("natural gas", "100 cubic feet", 103_600.0, "US Energy Information Administration, 1,036 Btu per cubic foot"),
    ("natural gas", "therm", 100_000.0, "by definition"),
    ("electricity", "kWh", BTU_PER_KWH, "1 kWh, exact conversion rounded"),
];

impl Fuel {
    /// Dollars for a million Btu as bought.
    pub fn per_million_bought(self) -> Result<f64> {
        Ok(positive(self.price, "The price")? / positive(self.btu, "The heat of a unit")? * 1e6)
    }

    /// Dollars for a million useful Btu.
    pub fn per_million_useful(self) -> Result<Based> {
        let value = self.per_million_bought()? / self.efficiency.share;
        Ok(Based {
            value,
            basis: format!(
                "dollars per million useful Btu, at {:.0} % efficiency on {}",
                self.efficiency.share * 100.0,
                self.efficiency.basis.words()
            ),
        })
    }
}

/// The price of a cord at which wood costs the same as another fuel. `cord_btu` on the basis of `burner`.
pub fn break_even_cord(other: Fuel, cord_btu: f64, burner: Efficiency) -> Result<Based> {
    let useful = positive(cord_btu, "The heat of a cord")? * burner.share;
    let value = other.per_million_useful()?.value * useful / 1e6;
    Ok(Based { value, basis: format!("dollars per cord, at {:.0} % efficiency on {}", burner.share * 100.0, burner.basis.words()) })
}

/// Money saved in a year, and the years until it has paid for the outlay.
#[derive(Debug, Clone, PartialEq)]
pub struct Saving {
    pub per_year: Based,
    /// Simple payback: no interest, no change of prices.
    pub years: f64,
}

/// Saving of wood beside another fuel for a yearly useful heat (million Btu), and the simple payback of what it costs more.
pub fn saving(million_btu: f64, other: Fuel, wood: Fuel, outlay: f64) -> Result<Saving> {
    let heat = positive(million_btu, "The yearly heat")?;
    let value = (other.per_million_useful()?.value - wood.per_million_useful()?.value) * heat;
    if value <= 0.0 {
        return Err(FuelError::NoSaving);
    }
    let years = positive(outlay, "The outlay")? / value;
    let basis = format!("dollars a year on {heat:.0} million useful Btu; the wood bought, own work not counted");
    Ok(Saving { per_year: Based { value, basis }, years })
}

/// Share of wood saved by a cleaner burner that gives the same heat from the same wood: 1 - old/new efficiency.
pub fn less_wood(old: Efficiency, new: Efficiency) -> Result<f64> {
    if old.basis == new.basis { Ok(1.0 - old.share / new.share) } else { Err(FuelError::MixedBases) }
}

/// Pounds of wood to put in for `hours` at a heat demand in Btu/h.
pub fn load(demand: f64, hours: f64, moisture: Moisture, burner: Efficiency) -> Result<Based> {
    let heat = positive(demand, "The heat demand")? * positive(hours, "The burn time")?;
    let value = heat / (per_lb(moisture, burner.basis, HARDWOOD_BTU)? * burner.share);
    Ok(Based { value, basis: format!("pounds as fired, {}, by {}", moisture.words(), burner.basis.words()) })
}

/// What to know at the woodpile and the door (federal rule on trash from the EPA's text; the rest common practice).
pub const CAUTIONS: [&str; 4] = [
    "Burn clean, seasoned wood only. Household trash, painted or treated wood is against federal law and makes poisonous smoke and ash.",
    "Firebox door: fan off, wait, open a little, stand aside, then open. Unburnt gas can flash out.",
    "Never run it in a closed shed without air for the fire, and have a carbon monoxide alarm in every building it heats or stands in.",
    "States and towns may say when and where an outdoor wood heater may burn. Ask first.",
];

//! Source water as it was tested: what is known, in which basis, and what had to be assumed.

use thiserror::Error;

use super::balance::{Carbon, Totals, at_ph};
use super::constants::Constants;
use crate::units::Ph;

/// mg in one mmol of `CaCO3`, and of the ions.
pub(crate) const CACO3: f64 = 100.086;
const CA: f64 = 40.078;
const MG: f64 = 24.305;
const NA: f64 = 22.989_77;
const CL: f64 = 35.45;
const SO4: f64 = 96.056;
const SIO2: f64 = 60.083;
const HCO3: f64 = 61.017;

/// Calcium that no field test sees, mg/L: taken where the test said less.
const LEAST_CALCIUM: f64 = 0.1;
/// Likewise alkalinity, mg/L as `CaCO3`.
const LEAST_ALKALINITY: f64 = 1.0;

/// Alkalinity with its basis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Alkalinity {
    /// mg/L counted as `CaCO3`, as most kits do.
    AsCaCO3(f64),
    /// mg/L of bicarbonate, as laboratories often print it.
    AsBicarbonate(f64),
}

impl Alkalinity {
    /// mg/L as `CaCO3`.
    pub fn as_caco3(self) -> f64 {
        match self {
            Self::AsCaCO3(mg) => mg,
            Self::AsBicarbonate(mg) => mg * CACO3 / (2.0 * HCO3),
        }
    }
}

/// Hardness with its basis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hardness {
    /// mg/L of the ions.
    Ions { calcium: f64, magnesium: f64 },
    /// mg/L of each, counted as `CaCO3`.
    AsCaCO3 { calcium: f64, magnesium: f64 },
    /// mg/L of both together, counted as `CaCO3`; taken as 70 % calcium and 30 % magnesium.
    TotalAsCaCO3(f64),
}

impl Hardness {
    /// Calcium and magnesium in mg/L, both counted as `CaCO3`.
    pub fn parts_as_caco3(self) -> (f64, f64) {
        match self {
            Self::Ions { calcium, magnesium } => (calcium * CACO3 / CA, magnesium * CACO3 / MG),
            Self::AsCaCO3 { calcium, magnesium } => (calcium, magnesium),
            Self::TotalAsCaCO3(total) => (0.7 * total, 0.3 * total),
        }
    }

    /// Both together in mg/L as `CaCO3`.
    pub fn total_as_caco3(self) -> f64 {
        match self {
            Self::TotalAsCaCO3(total) => total,
            parts => parts.parts_as_caco3().0 + parts.parts_as_caco3().1,
        }
    }
}

/// A test of source water; pH, alkalinity and hardness are enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Analysis {
    /// At 25 °C, of a cooled and stoppered sample.
    pub ph: Ph,
    pub alkalinity: Alkalinity,
    pub hardness: Hardness,
    /// mg/L of the ion.
    pub sodium: Option<f64>,
    /// mg/L of the ion.
    pub chloride: Option<f64>,
    /// mg/L of the ion, not of sulfur.
    pub sulfate: Option<f64>,
    /// mg/L as `SiO2`; matters where alkalinity is low and pH high. Taken as none when not tested.
    pub silica: Option<f64>,
    /// µS/cm at 25 °C.
    pub conductivity: Option<f64>,
}

/// Why a source water is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SourceError {
    #[error("{quantity} must be {range}. Check the figure and its unit.")]
    OutOfRange { quantity: &'static str, range: &'static str },
    #[error("This pH needs more alkalinity than was found. Test both again, on a fresh sample.")]
    PhAgainstAlkalinity,
    #[error("The temperature must be from 0 to 90 °C (32 to 194 °F).")]
    Temperature,
    #[error("The pH to raise to must be above the pH of the water, up to 10.5.")]
    NotARise,
}

/// Something that was not tested and had to be assumed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Assumed {
    HardnessSplit,
    LeastCalcium,
    LeastAlkalinity,
    SodiumFromBalance,
    NoChloride,
    NoSulfate,
    StrengthFromConductivity,
    StrengthFromIons,
    /// The charges of the ions given differ by so many per cent of their sum.
    ChargesDiffer(u8),
}

impl Assumed {
    /// In words, for the page.
    pub fn words(self) -> String {
        match self {
            Self::HardnessSplit => "Only total hardness was tested: taken as 70 % calcium and 30 % magnesium.".to_owned(),
            Self::LeastCalcium => format!("Calcium was below what a kit reads: taken as {LEAST_CALCIUM} mg/L."),
            Self::LeastAlkalinity => format!("Alkalinity was below what a kit reads: taken as {LEAST_ALKALINITY} mg/L as CaCO3."),
            Self::SodiumFromBalance => "Sodium was not tested: taken from the balance of charges.".to_owned(),
            Self::NoChloride => "Chloride was not tested: taken as none.".to_owned(),
            Self::NoSulfate => "Sulfate was not tested: taken as none.".to_owned(),
            Self::StrengthFromConductivity => "The total of salts is taken from the conductivity.".to_owned(),
            Self::StrengthFromIons => "The total of salts is taken from the few ions tested; a conductivity would be better.".to_owned(),
            Self::ChargesDiffer(percent) => {
                format!("The charges of the ions tested differ by {percent} %: one of the figures may be off.")
            }
        }
    }
}

/// A source water whose figures can all be true together. pH 4.5 to 10.5, mg/L: alkalinity 0 to 1,500 and hardness
/// 0 to 3,000 as `CaCO3`, sodium 0 to 2,000, chloride and sulfate 0 to 3,000 each, silica 0 to 150; 0 to 8,000 µS/cm.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceWater {
    analysis: Analysis,
    pub(super) totals: Totals,
    pub(super) inorganic_carbon: f64,
    pub(super) saturation: f64,
    assumed: Vec<Assumed>,
}

fn within(value: f64, range: std::ops::RangeInclusive<f64>, quantity: &'static str, words: &'static str) -> Result<f64, SourceError> {
    if range.contains(&value) { Ok(value) } else { Err(SourceError::OutOfRange { quantity, range: words }) }
}

fn optional(value: Option<f64>, top: f64, quantity: &'static str, words: &'static str) -> Result<f64, SourceError> {
    value.map_or(Ok(0.0), |value| within(value, 0.0..=top, quantity, words))
}

impl SourceWater {
    /// Refuses what is out of range, and a pH that the alkalinity cannot carry.
    pub fn new(analysis: Analysis) -> Result<Self, SourceError> {
        let ph = within(analysis.ph.as_f64() / 100.0, 4.5..=10.5, "The pH of source water", "from 4.5 to 10.5")?;
        let alkalinity = within(analysis.alkalinity.as_caco3(), 0.0..=1_500.0, "Alkalinity", "from 0 to 1,500 mg/L as CaCO3")?;
        let (calcium, magnesium) = analysis.hardness.parts_as_caco3();
        for part in [calcium, magnesium, calcium + magnesium] {
            within(part, 0.0..=3_000.0, "Hardness", "from 0 to 3,000 mg/L as CaCO3")?;
        }
        let sodium = optional(analysis.sodium, 2_000.0, "Sodium", "from 0 to 2,000 mg/L")?;
        let chloride = optional(analysis.chloride, 3_000.0, "Chloride", "from 0 to 3,000 mg/L")?;
        let sulfate = optional(analysis.sulfate, 3_000.0, "Sulfate", "from 0 to 3,000 mg/L")?;
        let silica = optional(analysis.silica, 150.0, "Silica", "from 0 to 150 mg/L as SiO2")?;
        optional(analysis.conductivity, 8_000.0, "Conductivity", "from 0 to 8,000 µS/cm")?;
        let mut assumed = Vec::new();
        if alkalinity < LEAST_ALKALINITY {
            assumed.push(Assumed::LeastAlkalinity);
        }
        let alkalinity = alkalinity.max(LEAST_ALKALINITY);
        if matches!(analysis.hardness, Hardness::TotalAsCaCO3(_)) {
            assumed.push(Assumed::HardnessSplit);
        }
        let least = LEAST_CALCIUM / CA / 1_000.0;
        let calcium = calcium / CACO3 / 1_000.0;
        if calcium < least {
            assumed.push(Assumed::LeastCalcium);
        }
        let totals = Totals {
            positive: [calcium.max(least), magnesium / CACO3 / 1_000.0, sodium / NA / 1_000.0],
            sulfate: sulfate / SO4 / 1_000.0,
            silica: silica / SIO2 / 1_000.0,
            alkalinity: alkalinity * 2.0 / CACO3 / 1_000.0,
            background: 0.0,
        };
        let totals = with_salts(&analysis, totals, chloride / CL / 1_000.0, ph, &mut assumed)?;
        let tested = at_ph(&Constants::at(25.0), &totals, ph, Carbon::Alkalinity).ok_or(SourceError::PhAgainstAlkalinity)?;
        Ok(Self { analysis, totals, inorganic_carbon: tested.inorganic_carbon, saturation: tested.saturation, assumed })
    }

    /// The test as it was given.
    pub const fn analysis(&self) -> &Analysis {
        &self.analysis
    }

    /// What had to be assumed.
    pub fn assumed(&self) -> &[Assumed] {
        &self.assumed
    }

    pub(super) fn ph(&self) -> f64 {
        self.analysis.ph.as_f64() / 100.0
    }
}

/// Sodium and the total of salts: from the ions when chloride and sulfate are known, else from the conductivity.
fn with_salts(analysis: &Analysis, totals: Totals, chloride: f64, ph: f64, assumed: &mut Vec<Assumed>) -> Result<Totals, SourceError> {
    let mut totals = totals;
    let [ca, mg, na] = totals.positive;
    let (plus, minus) = (2.0 * (ca + mg) + na, totals.alkalinity + chloride + 2.0 * totals.sulfate);
    if analysis.sodium.is_none() {
        assumed.push(Assumed::SodiumFromBalance);
        totals.positive[2] = (minus - plus).max(0.0);
    }
    if analysis.chloride.is_none() {
        assumed.push(Assumed::NoChloride);
    }
    if analysis.sulfate.is_none() {
        assumed.push(Assumed::NoSulfate);
    }
    let ions_known = analysis.chloride.is_some() && analysis.sulfate.is_some();
    let unpaired = (2.0 * (ca + mg) + totals.positive[2] - minus).abs();
    totals.background = 0.5 * (chloride + unpaired);
    let share = 100.0 * unpaired / (plus + minus);
    if ions_known && share > 10.0 {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 10 and 100")]
        assumed.push(Assumed::ChargesDiffer(share.round().min(100.0) as u8));
    }
    match analysis.conductivity {
        Some(conductivity) if !ions_known => {
            assumed.push(Assumed::StrengthFromConductivity);
            totals.background = 0.0;
            let rest = at_ph(&Constants::at(25.0), &totals, ph, Carbon::Alkalinity).ok_or(SourceError::PhAgainstAlkalinity)?;
            // Standard Methods 2330 B: 1.6e-5 mol/L for each µS/cm; from memory.
            totals.background = 1.6e-5 * conductivity - rest.strength;
        }
        None if !ions_known => assumed.push(Assumed::StrengthFromIons),
        _ => {}
    }
    Ok(totals)
}

//! The simple saturation index in its two published forms. It answers "may lime form?", yes or no; it says
//! nothing about corrosion, and nothing at all of treated or hot water tested cold (a cold pH overstates it).
//!
//! `pHs = (9.3 + A + B) - (C + D)`, A = (log TDS - 1)/10, C = log calcium - 0.4, D = log alkalinity, all in
//! mg/L (calcium and alkalinity as `CaCO3`); B stands for the temperature. Source: UFC 3-240-13FN (2005)
//! pp. 212-217. Its printed table of B and the formula for B differ by up to 0.11: each answer says which it used.

use thiserror::Error;

use crate::units::{Celsius, MgPerLitre, Ph};

/// Where the temperature term comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TemperatureTerm {
    /// UFC 3-240-13FN (2005) table B-2, interpolated; ends at 32 and 178 °F.
    Table,
    /// 34.55 - 13.12 log(t + 273), t in °C.
    Formula,
}

impl TemperatureTerm {
    /// The label to show beside the figure.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Table => "temperature term by table",
            Self::Formula => "temperature term by formula",
        }
    }
}

/// Raw water for the index, in mg/L; calcium and alkalinity as `CaCO3`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RawWater {
    pub dissolved_solids: MgPerLitre,
    pub calcium: MgPerLitre,
    pub alkalinity: MgPerLitre,
    pub ph: Ph,
    pub temperature: Celsius,
}

/// Why there is no index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum IndexError {
    #[error("Dissolved solids, calcium and alkalinity must each be at least 1 mg/L.")]
    NothingDissolved,
    #[error("The table of this index runs from 32 to 178 °F.")]
    OutsideTable,
}

/// The figures of the index, with the form that gave them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    pub term: TemperatureTerm,
    /// pH at which the water would be just saturated.
    pub ph_saturation: f64,
    /// pH - pHs: above 0 lime may form.
    pub saturation: f64,
    /// 2 pHs - pH: below 6 scaling grows as it falls.
    pub stability: f64,
    /// 2 pHs - pHeq, with pHeq = 1.465 log alkalinity + 4.54.
    pub practical: f64,
}

/// UFC 3-240-13FN (2005) table B-2: °F and B.
const TABLE_B: [(f64, f64); 9] =
    [(32.0, 2.60), (50.0, 2.34), (76.0, 2.00), (86.0, 1.88), (100.0, 1.74), (120.0, 1.57), (140.0, 1.40), (160.0, 1.26), (178.0, 1.16)];

/// The index of a raw water.
pub fn simple_index(water: RawWater, term: TemperatureTerm) -> Result<Index, IndexError> {
    let parts = [water.dissolved_solids, water.calcium, water.alkalinity];
    if parts.iter().any(|part| part.get() < 1) {
        return Err(IndexError::NothingDissolved);
    }
    let [solids, calcium, alkalinity] = parts.map(|part| part.as_f64().log10());
    let a = (solids - 1.0) / 10.0;
    let b = temperature_term(water.temperature, term)?;
    let ph_saturation = (9.3 + a + b) - (calcium - 0.4 + alkalinity);
    let ph = water.ph.as_f64() / 100.0;
    Ok(Index {
        term,
        ph_saturation,
        saturation: ph - ph_saturation,
        stability: 2.0 * ph_saturation - ph,
        practical: 2.0 * ph_saturation - equilibrium_ph(alkalinity),
    })
}

/// pHeq from log10 of alkalinity. UFC p. 217 prints 1.485, but its own worked value 7.47 needs 1.465.
fn equilibrium_ph(log_alkalinity: f64) -> f64 {
    1.465 * log_alkalinity + 4.54
}

/// B at a temperature.
pub fn temperature_term(temperature: Celsius, term: TemperatureTerm) -> Result<f64, IndexError> {
    let celsius = temperature.as_f64() / 10.0;
    match term {
        TemperatureTerm::Formula => Ok(34.55 - 13.12 * (celsius + 273.0).log10()),
        TemperatureTerm::Table => between(celsius * 1.8 + 32.0).ok_or(IndexError::OutsideTable),
    }
}

fn between(fahrenheit: f64) -> Option<f64> {
    // A tenth of a degree Celsius cannot hit 178 °F exactly, so the ends are a little wider than printed.
    let f = if (-0.1..=0.1).contains(&(fahrenheit - 178.0)) { 178.0 } else { fahrenheit };
    let pair = TABLE_B.windows(2).find(|pair| (pair[0].0..=pair[1].0).contains(&f))?;
    let ((f0, b0), (f1, b1)) = (pair[0], pair[1]);
    Some(b0 + (b1 - b0) * (f - f0) / (f1 - f0))
}

//! Lime and pH of a source water when it is heated, closed or vented. It answers "will lime form, and how much?"; it
//! does not foretell corrosion.
//!
//! Why this and not the simple index: a cold pH is wrong in hot water (in a closed sample it falls on heating), and a
//! vented heater loses carbon dioxide, which raises pH and drops lime. So the whole carbonate balance is solved at the
//! asked temperature: carbonic acid, calcium, magnesium and sodium with their carbonate, bicarbonate and sulfate
//! pairs, magnesium hydroxide, and silica where it was tested. Steps: carbon from pH and alkalinity at 25 °C; *closed*: the same carbon at the new
//! temperature; *vented*: carbon dioxide as in the air; in both, the pH at which the alkalinity is unchanged.
//!
//! Not in it: borate and phosphate as bases, ammonia, organic acids; treated water therefore needs a
//! laboratory. Against the general geochemical program `PHREEQC`, over 200 waters at 5 to 80 °C (tests/reference): index and
//! pH to 0.03 and lime to 5 % or 3 mg/L where the main ions were tested; the index to 0.15 with calcium, magnesium,
//! alkalinity, pH and conductivity, to 0.2 where only total hardness is known ([`SourceWater::good_to`]).

mod balance;
mod constants;
mod source;

pub(crate) use source::CACO3;
pub use source::{Alkalinity, Analysis, Assumed, Hardness, SourceError, SourceWater};

use crate::units::{Celsius, Ph};
use balance::{Carbon, Totals, at_ph, lime, settle};
use constants::Constants;

/// log10 of the carbon dioxide pressure of plain air, in atm (400 parts per million).
pub const AIR: f64 = -3.4;

/// How the water stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    pub ph: f64,
    /// Saturation index for calcite: above 0 lime can form.
    pub saturation: f64,
    /// mg/L of `CaCO3` that falls out until the water is just saturated; 0 when it would rather dissolve lime.
    pub lime: f64,
}

/// One source water at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heated {
    /// Nothing lost to the air: a full, closed loop.
    pub closed: State,
    /// In balance with the air above: an open jacket. The honest one for a vented heater.
    pub vented: State,
}

/// A source water whose pH is raised with alkali, as an alkaline inhibitor does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Raised {
    /// Saturation index at 25 °C before anything falls out.
    pub saturation: f64,
    /// mg/L of `CaCO3` that falls out at 25 °C.
    pub lime_cold: f64,
    /// mg/L of `CaCO3` that falls out at the asked temperature, closed.
    pub lime_hot: f64,
}

fn celsius(temperature: Celsius) -> Result<f64, SourceError> {
    let celsius = temperature.as_f64() / 10.0;
    if (0.0..=90.0).contains(&celsius) { Ok(celsius) } else { Err(SourceError::Temperature) }
}

/// -log10 of the second step of carbonic acid and of the solubility of calcite, for checking.
pub fn constants_at(temperature: Celsius) -> Result<(f64, f64), SourceError> {
    let kelvin = celsius(temperature)? + 273.15;
    Ok((constants::pk2(kelvin), constants::pk_calcite(kelvin)))
}

fn state(k: &Constants, totals: &Totals, carbon: Carbon) -> Result<State, SourceError> {
    let settled = settle(k, totals, carbon).ok_or(SourceError::PhAgainstAlkalinity)?;
    let lime = lime(k, totals, carbon, &settled) * CACO3 * 1_000.0;
    Ok(State { ph: settled.ph, saturation: settled.species.saturation, lime })
}

impl SourceWater {
    /// Saturation index at 25 °C, as tested.
    pub const fn saturation(&self) -> f64 {
        self.saturation
    }

    /// How far the indices may be off for want of tests (not counting the error of the tests themselves).
    pub fn good_to(&self) -> f64 {
        let analysis = self.analysis();
        match analysis.hardness {
            Hardness::TotalAsCaCO3(_) => 0.2,
            _ if analysis.chloride.is_none() || analysis.sulfate.is_none() => 0.15,
            _ => 0.03,
        }
    }

    /// The water at a temperature from 0 to 90 °C.
    pub fn heated(&self, temperature: Celsius) -> Result<Heated, SourceError> {
        let k = Constants::at(celsius(temperature)?);
        let closed = state(&k, &self.totals, Carbon::Closed(self.inorganic_carbon))?;
        let vented = state(&k, &self.totals, Carbon::Vented(AIR))?;
        Ok(Heated { closed, vented })
    }

    /// What falls out when the pH (at 25 °C) is raised to `ph` with sodium hydroxide or the like. How much alkali
    /// that takes is not worked out: dosing follows the product's label.
    pub fn raised(&self, ph: Ph, temperature: Celsius) -> Result<Raised, SourceError> {
        if ph <= self.analysis().ph || ph.get() > 1_050 {
            return Err(SourceError::NotARise);
        }
        let hot = Constants::at(celsius(temperature)?);
        let cold = Constants::at(25.0);
        let carbon = Carbon::Closed(self.inorganic_carbon);
        let mut totals = self.totals;
        // The alkali brings as much sodium as alkalinity; twice is enough for the ionic strength to settle.
        for _ in 0..3 {
            let at = at_ph(&cold, &totals, ph.as_f64() / 100.0, carbon).ok_or(SourceError::PhAgainstAlkalinity)?;
            totals.positive[2] += (at.alkalinity - totals.alkalinity).max(0.0);
            totals.alkalinity = at.alkalinity;
        }
        let cold = state(&cold, &totals, carbon)?;
        Ok(Raised { saturation: cold.saturation, lime_cold: cold.lime, lime_hot: state(&hot, &totals, carbon)?.lime })
    }

    /// The other indices people ask for.
    pub fn indices(&self) -> Indices {
        let at_saturation = self.ph() - self.saturation;
        let alkalinity = self.analysis().alkalinity.as_caco3().max(1.0);
        Indices {
            stability: 2.0 * at_saturation - self.ph(),
            practical: 2.0 * at_saturation - (1.465 * alkalinity.log10() + 4.54),
            larson: larson_ratio(self.analysis()),
        }
    }
}

/// Indices of a cold raw water. They are not for treated or hot water: show [`Indices::LABEL`] beside them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Ryznar: 2 pHs - pH. Below 6 scaling grows as it falls; above 8 mild steel corrodes more.
    pub stability: f64,
    /// Puckorius: 2 pHs - pHeq, pHeq = 1.465 log alkalinity + 4.54 (UFC 3-240-13FN (2005) p. 217; its printed 1.485
    /// does not give its own worked value).
    pub practical: f64,
    /// Larson and Skold: chloride and sulfate to alkalinity, by charge; `None` when either was not tested.
    pub larson: Option<f64>,
}

impl Indices {
    /// To be shown beside every one of them.
    pub const LABEL: &'static str = "raw fill only, indicative";
}

/// (Cl/35.45 + SO4/48.03) / (alkalinity/50.04), all mg/L, alkalinity as `CaCO3`. Found on mild steel in lake water at
/// 15 to 30 °C, pH 6.8 to 8.3; outside of that it only hints.
pub fn larson_ratio(analysis: &Analysis) -> Option<f64> {
    let (chloride, sulfate) = (analysis.chloride?, analysis.sulfate?);
    let alkalinity = analysis.alkalinity.as_caco3();
    let ratio = (chloride / 35.45 + sulfate / 48.03) / (alkalinity / 50.04);
    ratio.is_finite().then_some(ratio)
}

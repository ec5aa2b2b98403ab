//! Oxygen that fresh water takes from moist air of one atmosphere, and what that means for a vented jacket.

use crate::units::{Celsius, Millilitres, UnitsFirst};

/// Share of oxygen in dry air.
const SHARE: f64 = 0.209_46;
const KELVIN: f64 = 273.15;
/// A well's water, and a jacket at work, °C.
const COLD: f64 = 10.0;
const HOT: f64 = 80.0;
/// Grams in one mol of O2.
const MOLAR: f64 = 31.998_8;
/// What the closed-system rules allow in the circulating water, mg/L (VDI 2035 and EN 12953-10, quoted second-hand).
pub const CLOSED_RULE: f64 = 0.1;

/// Pressure of water vapour over water, atm: Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783.
fn vapour(kelvin: f64) -> f64 {
    let v = 1.0 - kelvin / 647.096;
    let terms =
        [(-7.859_517_83, 1.0), (1.844_082_59, 1.5), (-11.786_649_7, 3.0), (22.680_741_1, 3.5), (-15.961_871_9, 4.0), (1.801_225_02, 7.5)];
    let sum: f64 = terms.iter().map(|(a, n)| a * v.powf(*n)).sum();
    22.064e6 / 101_325.0 * (647.096 / kelvin * sum).exp()
}

/// mg/L at saturation; 0 where the water boils. From 0 to 90 °C within 1 % of the oceanographers' tables and of PHREEQC.
///
/// Henry's constant as in phreeqc.dat: log10 K = -7.5001 + 0.0078981 T + 200270/T², T in kelvin.
pub fn saturation(temperature: Celsius) -> f64 {
    at(temperature.as_f64() / 10.0 + KELVIN)
}

fn at(kelvin: f64) -> f64 {
    let henry = 10_f64.powf(-7.5001 + 7.898_1e-3 * kelvin + 2.002_7e5 / (kelvin * kelvin));
    (henry * SHARE * (1.0 - vapour(kelvin)).max(0.0) * MOLAR * 1000.0).max(0.0)
}

/// What a fill brings along and what a vented jacket keeps, in words.
pub fn words(volume: Millilitres, first: UnitsFirst) -> String {
    let grams = at(COLD + KELVIN) * volume.as_f64() / 1e6;
    format!(
        "{} of cold water in balance with air bring {grams:.0} g of oxygen, once. Hot and vented, air still puts back up to {:.1} mg/L, \
         against {CLOSED_RULE} mg/L that the rules for closed systems allow: here only the inhibitor protects the steel. Every drain \
         and refill brings it anew.",
        volume.both(first),
        at(HOT + KELVIN)
    )
}

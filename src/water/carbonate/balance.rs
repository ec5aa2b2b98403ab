//! The carbonate balance itself: who is bound to whom, at which pH, and how much lime falls out. mol/L throughout.
//!
//! For a given pH the free ions are found by alternating between the positive and the negative ones. Starting with
//! all positive ions free, each round moves every figure the same way towards the one answer, so it cannot swing;
//! the rounds are bounded all the same. The pH is found by bisection, the lime by bisection on the amount taken out.

use super::constants::{BICARBONATE, CALCIUM, CARBONATE, Constants, HYDROXIDE, MAGNESIUM, NEGATIVE, POSITIVE, SODIUM, SULFATE};

/// What is in the water, besides carbon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Totals {
    /// Calcium, magnesium and sodium, free or bound.
    pub(super) positive: [f64; 3],
    pub(super) sulfate: f64,
    pub(super) silica: f64,
    /// Eq/L.
    pub(super) alkalinity: f64,
    /// Ionic strength from what neither pairs nor counts as alkalinity.
    pub(super) background: f64,
}

/// What is held fixed of the carbon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Carbon {
    /// The alkalinity at a known pH: a test of the raw water.
    Alkalinity,
    /// All inorganic carbon: nothing comes or goes.
    Closed(f64),
    /// The carbon dioxide of the air above, log10 of its pressure in atm.
    Vented(f64),
}

/// The water at one temperature, pH and ionic strength.
#[derive(Debug, Clone, Copy)]
pub(super) struct Species {
    pub(super) alkalinity: f64,
    pub(super) inorganic_carbon: f64,
    pub(super) strength: f64,
    /// log10 of (activity of Ca × activity of CO3) + pK of calcite.
    pub(super) saturation: f64,
}

/// A settled water.
#[derive(Debug, Clone, Copy)]
pub(super) struct Settled {
    pub(super) ph: f64,
    pub(super) species: Species,
}

const SMALLEST: f64 = 1e-30;

/// Ion by ion at a given pH. `None` when the alkalinity is less than the pH alone needs.
fn speciate(k: &Constants, totals: &Totals, ph: f64, strength: f64, carbon: Carbon) -> Option<Species> {
    let g = k.activity(strength);
    let acid = 10_f64.powf(-ph);
    let mut pair = [[0.0; 4]; 3];
    for (row, (constants, p)) in pair.iter_mut().zip(k.pairs.iter().zip(POSITIVE)) {
        for (cell, (constant, n)) in row.iter_mut().zip(constants.iter().zip(NEGATIVE)) {
            *cell = constant * gamma(g, p) * gamma(g, n) / gamma(g, p - n);
        }
    }
    let hydroxide = k.water / acid / g[1];
    let silicate = totals.silica / (1.0 + acid * g[1] / k.silicic);
    // Of one free carbonate: so much bicarbonate, so much dissolved carbon dioxide.
    let bicarbonate = k.bicarbonate * acid * g[2] / g[1];
    let dissolved = k.dissolved * acid * acid * g[2];
    let from_air = match carbon {
        Carbon::Vented(pressure) => k.henry * 10_f64.powf(pressure) / dissolved,
        Carbon::Alkalinity | Carbon::Closed(_) => 0.0,
    };
    let mut positive = totals.positive;
    let mut negative = [0.0; 4];
    let mut possible = true;
    for _ in 0..200 {
        let (mut needs, mut carbons) = (2.0 + bicarbonate, 1.0 + bicarbonate + dissolved);
        let (mut other, mut sulfate) = (hydroxide + silicate - acid / g[1], 1.0);
        for (free, row) in positive.iter().zip(&pair) {
            needs += free * (2.0 * row[CARBONATE] + bicarbonate * row[BICARBONATE]);
            carbons += free * (row[CARBONATE] + bicarbonate * row[BICARBONATE]);
            other += free * row[HYDROXIDE] * hydroxide;
            sulfate += free * row[SULFATE];
        }
        let carbonate = match carbon {
            Carbon::Alkalinity => (totals.alkalinity - other) / needs,
            Carbon::Closed(all) => all / carbons,
            Carbon::Vented(_) => from_air,
        };
        possible = carbonate > SMALLEST;
        let carbonate = carbonate.max(SMALLEST);
        negative = [carbonate, carbonate * bicarbonate, totals.sulfate / sulfate, hydroxide];
        let mut moved: f64 = 0.0;
        for ((free, row), all) in positive.iter_mut().zip(&pair).zip(totals.positive) {
            let bound: f64 = row.iter().zip(negative).map(|(k, n)| k * n).sum();
            let now = all / (1.0 + bound);
            moved = moved.max((*free - now).abs() / now.max(SMALLEST));
            *free = now;
        }
        if moved < 1e-11 {
            break;
        }
    }
    possible.then(|| sum_up(k, totals, [g[1], acid, dissolved, silicate], &pair, (positive, negative)))
}

fn gamma(g: [f64; 3], charge: i32) -> f64 {
    g[usize::try_from(charge.abs()).unwrap_or(2).min(2)]
}

type Ions = ([f64; 3], [f64; 4]);

fn sum_up(k: &Constants, totals: &Totals, [single, acid, dissolved, silicate]: [f64; 4], pair: &[[f64; 4]; 3], ions: Ions) -> Species {
    let (positive, negative) = ions;
    let free_acid = acid / single;
    let mut alkalinity = 2.0 * negative[CARBONATE] + negative[BICARBONATE] + negative[HYDROXIDE] + silicate - free_acid;
    let mut inorganic_carbon = negative[CARBONATE] * (1.0 + dissolved) + negative[BICARBONATE];
    let mut charges = free_acid + silicate;
    for (n, charge) in negative.iter().zip(NEGATIVE) {
        charges += n * f64::from(charge * charge);
    }
    for ((p, row), charge) in positive.iter().zip(pair).zip(POSITIVE) {
        charges += p * f64::from(charge * charge);
        let bound = [0, 1, 2, 3].map(|n| p * negative[n] * row[n]);
        alkalinity += 2.0 * bound[CARBONATE] + bound[BICARBONATE] + bound[HYDROXIDE];
        inorganic_carbon += bound[CARBONATE] + bound[BICARBONATE];
        for (amount, other) in bound.iter().zip(NEGATIVE) {
            charges += amount * f64::from((charge - other).pow(2));
        }
    }
    let strength = (totals.background + 0.5 * charges).clamp(1e-6, 0.5);
    let product = positive[CALCIUM].max(SMALLEST) * negative[CARBONATE] * single.powi(8);
    Species { alkalinity, inorganic_carbon, strength, saturation: product.log10() + k.calcite }
}

/// Ionic strength to begin with: everything free.
fn first_guess(totals: &Totals) -> f64 {
    let [ca, mg, na] = [CALCIUM, MAGNESIUM, SODIUM].map(|ion| totals.positive[ion]);
    (totals.background + 2.0 * (ca + mg + totals.sulfate) + 0.5 * (na + totals.alkalinity)).clamp(1e-6, 0.5)
}

/// Repeats `step` with the ionic strength it found, until that stands still (at most 12 times).
fn with_strength<T>(totals: &Totals, step: impl Fn(f64) -> Option<(f64, T)>) -> Option<T> {
    let mut strength = first_guess(totals);
    let mut last = None;
    for _ in 0..12 {
        let (found, answer) = step(strength)?;
        last = Some(answer);
        if (found - strength).abs() < 1e-8 {
            break;
        }
        strength = found;
    }
    last
}

/// The water as tested: pH and alkalinity are known.
pub(super) fn at_ph(k: &Constants, totals: &Totals, ph: f64, carbon: Carbon) -> Option<Species> {
    with_strength(totals, |strength| speciate(k, totals, ph, strength, carbon).map(|s| (s.strength, s)))
}

/// The pH at which the alkalinity is what it is, with the carbon held as said.
pub(super) fn settle(k: &Constants, totals: &Totals, carbon: Carbon) -> Option<Settled> {
    with_strength(totals, |strength| settle_at(k, totals, strength, carbon).map(|s| (s.species.strength, s)))
}

fn settle_at(k: &Constants, totals: &Totals, strength: f64, carbon: Carbon) -> Option<Settled> {
    let at = |ph| speciate(k, totals, ph, strength, carbon);
    let (mut low, mut high) = (2.0, 12.5);
    for _ in 0..36 {
        let middle = f64::midpoint(low, high);
        if at(middle)?.alkalinity < totals.alkalinity { low = middle } else { high = middle }
    }
    let ph = f64::midpoint(low, high);
    at(ph).map(|species| Settled { ph, species })
}

/// mol/L of `CaCO3` that must leave for the water to be just saturated; 0 for water that is not over-saturated.
/// Each mole takes 3 mol/L of ionic strength along (a calcium and two bicarbonates).
pub(super) fn lime(k: &Constants, totals: &Totals, carbon: Carbon, now: &Settled) -> f64 {
    if now.species.saturation <= 0.0 {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, totals.positive[CALCIUM].min(most(totals, carbon)));
    for _ in 0..26 {
        let middle = f64::midpoint(low, high);
        let (left, carbon) = without(totals, carbon, middle);
        let strength = (now.species.strength - 3.0 * middle).max(1e-6);
        let over = settle_at(k, &left, strength, carbon).is_some_and(|s| s.species.saturation > 0.0);
        if over { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// No more lime can fall out than there is carbon for.
fn most(totals: &Totals, carbon: Carbon) -> f64 {
    match carbon {
        Carbon::Closed(all) => all,
        Carbon::Alkalinity | Carbon::Vented(_) => totals.alkalinity.max(0.0),
    }
}

fn without(totals: &Totals, carbon: Carbon, amount: f64) -> (Totals, Carbon) {
    let mut left = *totals;
    left.positive[CALCIUM] = (left.positive[CALCIUM] - amount).max(0.0);
    left.alkalinity -= 2.0 * amount;
    let carbon = match carbon {
        Carbon::Closed(all) => Carbon::Closed((all - amount).max(SMALLEST)),
        other => other,
    };
    (left, carbon)
}

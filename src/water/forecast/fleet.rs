//! What is usual for a kind of unit, from many units' own rates.

use std::collections::BTreeMap;

use super::line::Rate;

/// Fewest units that make a usual rate (start value of our own, no source).
const FEWEST: usize = 5;
/// Least spread between units, as a share of the mean: no two are alike (start value of our own, no source).
pub(super) const LEAST_SPREAD: f64 = 0.2;

/// The usual rate of each kind, as mean and standard deviation of a unit not seen yet. A kind of fewer than five units,
/// or one that does not lose anything on the whole, has none.
///
/// Random effects by moments (R. `DerSimonian` and N. Laird, Controlled Clinical Trials 7 (1986) 177).
pub fn fleet<'a>(units: impl IntoIterator<Item = (&'a str, Rate)>) -> BTreeMap<&'a str, Rate> {
    let mut kinds: BTreeMap<&str, Vec<Rate>> = BTreeMap::new();
    for (kind, rate) in units {
        if rate.per_day.is_finite() && rate.sd.is_finite() && rate.sd > 0.0 {
            kinds.entry(kind).or_default().push(rate);
        }
    }
    kinds.into_iter().filter_map(|(kind, rates)| usual(&rates).map(|rate| (kind, rate))).collect()
}

fn usual(rates: &[Rate]) -> Option<Rate> {
    if rates.len() < FEWEST {
        return None;
    }
    let weighed = |between: f64| {
        let (mut sum, mut squares, mut mean) = (0.0, 0.0, 0.0);
        for rate in rates {
            let weight = (rate.sd.powi(2) + between).recip();
            (sum, squares, mean) = (sum + weight, squares + weight * weight, mean + weight * rate.per_day);
        }
        (sum, squares, mean / sum)
    };
    let (sum, squares, mean) = weighed(0.0);
    let q: f64 = rates.iter().map(|rate| ((rate.per_day - mean) / rate.sd).powi(2)).sum();
    let freedom = f64::from(u32::try_from(rates.len() - 1).ok()?);
    let between = ((q - freedom) / (sum - squares / sum)).max(0.0);
    let (sum, _, mean) = weighed(between);
    let sd = (between + sum.recip()).sqrt().max(LEAST_SPREAD * mean);
    (mean > 0.0 && sd.is_finite()).then_some(Rate { per_day: mean, sd })
}

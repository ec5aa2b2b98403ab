//! Reaching a strength: in a full system by draining, and in a new fill.

use super::{AntifreezeError, By, Glycol, MAX_PERCENT, MixStrength, Result, millilitres};
use crate::units::Millilitres;
use crate::water::WaterVolume;

/// What to drain and what to put in.
#[derive(Debug, Clone, PartialEq)]
pub struct Mix {
    /// Drained first; 0 for a new fill.
    pub drain: Millilitres,
    /// Glycol, neat or premixed, to put in.
    pub glycol: Millilitres,
    /// Plain water to put in; none when a full system is topped up again with glycol.
    pub water: Millilitres,
    /// One standard uncertainty of `glycol`, from the ± of the volume.
    pub plus_minus: Millilitres,
    pub notes: Vec<&'static str>,
    pub cautions: Vec<&'static str>,
}

/// Strength of what goes in, % by volume: 100 for neat glycol, else the premix's.
fn stronger(goes_in: f64, wanted: f64) -> Result<f64> {
    if (0.0..=100.0).contains(&goes_in) && goes_in > wanted { Ok(goes_in) } else { Err(AntifreezeError::TooWeak) }
}

/// Raises a full system from `now` to `wanted` with neat glycol (`goes_in` 100) or a premix:
/// drain V (Pt - P)/(Pin - P), and put in as much. All by volume.
pub fn raise(glycol: Glycol, volume: WaterVolume, now: MixStrength, wanted: MixStrength, goes_in: f64) -> Result<Mix> {
    let (now, wanted) = (now.by_volume(glycol), wanted.by_volume(glycol));
    if wanted <= now {
        return Err(AntifreezeError::StrongEnough);
    }
    let share = (wanted - now) / (stronger(goes_in, wanted)? - now);
    let drain = millilitres(volume.volume().as_f64() * share)?;
    let plus_minus = millilitres(volume.plus_minus().as_f64() * share)?;
    let notes = vec![
        "Drain with the pump off and the mix cold, then put in as much glycol as was drained, and let it run for a day before it is tested.",
        "What is drained carries inhibitor away: test the inhibitor as well, and top it up by its own programme.",
    ];
    Ok(Mix { drain, glycol: drain, water: Millilitres::MIN, plus_minus, notes, cautions: glycol.cautions() })
}

/// Glycol and water for a new fill of strength `wanted` by volume.
pub fn new_fill_by_volume(glycol: Glycol, volume: WaterVolume, wanted: f64, goes_in: f64) -> Result<Mix> {
    if !(0.0..=MAX_PERCENT).contains(&wanted) {
        return Err(AntifreezeError::Strength);
    }
    fill(glycol, volume, wanted / stronger(goes_in, wanted)?)
}

/// Neat glycol and water for a new fill of strength `wanted` by weight: V / (1 + SG (100 - P)/P).
pub fn new_fill_by_weight(glycol: Glycol, volume: WaterVolume, wanted: f64) -> Result<Mix> {
    let wanted = MixStrength::new(wanted, By::Mass)?.percent();
    fill(glycol, volume, wanted / (wanted + glycol.specific_gravity() * (100.0 - wanted)))
}

fn fill(glycol: Glycol, volume: WaterVolume, share: f64) -> Result<Mix> {
    let (whole, spread) = (volume.volume().as_f64(), volume.plus_minus().as_f64());
    let notes = vec![
        "Use softened or demineralised water. Mix before filling, or put the glycol in first, and let it run for a day before it is tested.",
    ];
    Ok(Mix {
        drain: Millilitres::MIN,
        glycol: millilitres(whole * share)?,
        water: millilitres(whole * (1.0 - share))?,
        plus_minus: millilitres(spread * share)?,
        notes,
        cautions: glycol.cautions(),
    })
}

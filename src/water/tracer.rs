//! Water volume from the charge itself: a measured amount of product and the rise it made once it had mixed.

use super::{
    dilution::{DilutionError, tracer_litres, tracer_uncertainty},
    dose::{Occasion, Site, WaterFacts, rise},
    kit::Measured,
    programme::{Product, Programme},
    volume::{Method, VolumeError, WaterVolume},
};
use crate::units::Millilitres;
use thiserror::Error;
use time::Date;

/// Why no volume comes out.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TracerError {
    #[error("This product does not hold what the programme measures.")]
    DoesNotServe,
    #[error("The rise is not more than the error of the two tests: put in more, or take a finer kit.")]
    TooSmallARise,
    #[error(transparent)]
    Dilution(#[from] DilutionError),
    #[error(transparent)]
    Volume(#[from] VolumeError),
}

/// Relative standard uncertainty of the amount put in (common practice, no source).
const MEASURED: f64 = 0.02;
/// Water in which the rise of the whole amount is worked out, mL.
const IN_ML: i64 = 1_000_000_000;
/// A rise smaller than so many of its standard deviations says nothing (1.645: one-sided 5 % of the normal distribution).
const LEAST: f64 = 1.645;

/// The volume that `ml` of the product raised from `before` to `after`, both in the programme's basis.
/// `Vs = m/(C1 - C0)`, its ± from the two tests and the measuring (mass balance of a well-mixed vessel).
pub fn by_tracer(
    product: &Product,
    programme: &Programme,
    ml: Millilitres,
    before: Measured,
    after: Measured,
) -> Result<WaterVolume, TracerError> {
    let large = WaterVolume::by(Millilitres::new(IN_ML).map_err(|_| VolumeError::TooLarge)?, Method::Guess)?;
    let site =
        Site { volume: Some(large), programme, product, facts: WaterFacts::default(), occasion: Occasion::Scheduled, day: Date::MIN };
    // A thousand times the amount into a million litres, so that nothing is lost in rounding to whole mg/L.
    let thousandfold = Millilitres::new(ml.get().saturating_mul(1000)).map_err(|_| VolumeError::TooLarge)?;
    let grams = rise(&site, thousandfold).ok_or(TracerError::DoesNotServe)?.level.as_f64();
    let (c0, c1) = ((before.level.as_f64(), before.sd.as_f64()), (after.level.as_f64(), after.sd.as_f64()));
    if c1.0 - c0.0 < LEAST * c0.1.hypot(c1.1) {
        return Err(TracerError::TooSmallARise);
    }
    let litres = tracer_litres(grams, c0.0, c1.0)?;
    let share = tracer_uncertainty(MEASURED, c0, c1)?;
    let volume = Millilitres::from_f64(litres * 1000.0).map_err(|_| VolumeError::TooLarge)?;
    let plus_minus = Millilitres::from_f64(litres * 1000.0 * share).map_err(|_| VolumeError::TooLarge)?;
    Ok(WaterVolume::new(volume, plus_minus, Method::Tracer)?)
}

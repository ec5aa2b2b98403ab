//! What water does to what is dissolved in it: charge, drain, flush, leak, half-life, tracer.
//!
//! Well-mixed vessel, no reaction. Plain numbers in consistent units (a volume in the unit of the other volume,
//! a concentration in the basis of the other concentration); every function refuses what is not finite and
//! positive, so no NaN comes out. Formulas: mass balance; the holding-time form as in cooling-water practice.

use thiserror::Error;

use crate::units::{GRAMS_PER_POUND, LITRES_PER_US_GALLON};

/// Why nothing could be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum DilutionError {
    #[error("{0} must be a number above 0.")]
    NotPositive(&'static str),
    #[error("{0} must be a number, 0 or more.")]
    Negative(&'static str),
    #[error("{0} must be higher than {1}.")]
    MustExceed(&'static str, &'static str),
}

type Result<T> = std::result::Result<T, DilutionError>;

fn positive(value: f64, name: &'static str) -> Result<f64> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(DilutionError::NotPositive(name)) }
}

fn not_negative(value: f64, name: &'static str) -> Result<f64> {
    if value.is_finite() && value >= 0.0 { Ok(value) } else { Err(DilutionError::Negative(name)) }
}

fn higher(high: f64, low: f64, high_name: &'static str, low_name: &'static str) -> Result<()> {
    if high > low { Ok(()) } else { Err(DilutionError::MustExceed(high_name, low_name)) }
}

/// Pounds of a substance for `ppm` (mg/L) in `gallons` US gallons: ppm × gal × 8.3454e-6.
pub fn pounds(ppm: f64, gallons: f64) -> Result<f64> {
    let mg = not_negative(ppm, "The concentration")? * not_negative(gallons, "The volume")? * LITRES_PER_US_GALLON;
    Ok(mg / 1_000.0 / GRAMS_PER_POUND)
}

/// Grams for a rise from `from` to `to` mg/L in `litres`; 0 when already there.
pub fn top_up_grams(from: f64, to: f64, litres: f64) -> Result<f64> {
    let rise = not_negative(to, "The target")? - not_negative(from, "The reading")?;
    Ok(rise.max(0.0) * not_negative(litres, "The volume")? / 1_000.0)
}

/// Share of the water to drain and refill: (C - Ct) / (C - Cr), with refill strength `refill` below the target.
pub fn drain_fraction(reading: f64, target: f64, refill: f64) -> Result<f64> {
    let (c, t, r) = three(reading, target, refill)?;
    Ok((c - t) / (c - r))
}

/// Volumes of water to run through, in system volumes, while filling and draining at once: ln((C-Cr)/(Ct-Cr)).
pub fn flush_volumes(reading: f64, target: f64, refill: f64) -> Result<f64> {
    let (c, t, r) = three(reading, target, refill)?;
    Ok(((c - r) / (t - r)).ln())
}

fn three(reading: f64, target: f64, refill: f64) -> Result<(f64, f64, f64)> {
    let (c, t) = (positive(reading, "The reading")?, positive(target, "The target")?);
    let r = not_negative(refill, "The refill strength")?;
    higher(c, t, "The reading", "the target")?;
    higher(t, r, "The target", "the refill strength")?;
    Ok((c, t, r))
}

/// Concentration after `volumes` system volumes of water of strength `refill` ran through: Cr + (C0-Cr) e^-v.
pub fn continuous(start: f64, refill: f64, volumes: f64) -> Result<f64> {
    let (c, r) = (not_negative(start, "The start")?, not_negative(refill, "The refill strength")?);
    Ok(r + (c - r) * (-not_negative(volumes, "The exchange")?).exp())
}

/// Concentration after one batch: `share` (0 to 1) of the water drained, then refilled.
pub fn batch(start: f64, refill: f64, share: f64) -> Result<f64> {
    let (c, r) = (not_negative(start, "The start")?, not_negative(refill, "The refill strength")?);
    let share = not_negative(share, "The share")?.min(1.0);
    Ok(c * (1.0 - share) + r * share)
}

/// Liquid lost, in the unit of `volume`, from the fall of a conserved substance: Vs ln(C0/C1).
pub fn liquid_loss(volume: f64, before: f64, after: f64) -> Result<f64> {
    Ok(positive(volume, "The volume")? * fall(before, after)?)
}

/// The same when the loss came as `batches` equal drains: n Vs (1 - (C1/C0)^(1/n)).
pub fn batch_loss(volume: f64, before: f64, after: f64, batches: u16) -> Result<f64> {
    let n = positive(f64::from(batches), "The number of batches")?;
    Ok(n * positive(volume, "The volume")? * (1.0 - (-fall(before, after)? / n).exp()))
}

fn fall(before: f64, after: f64) -> Result<f64> {
    Ok((positive(before, "The earlier reading")? / positive(after, "The later reading")?).ln())
}

/// Standard uncertainty of [`liquid_loss`]: sqrt( Vs² (r0² + r1²) + ln(C0/C1)² u(Vs)² ), r relative per test.
pub fn liquid_loss_uncertainty(volume: f64, u_volume: f64, before: (f64, f64), after: (f64, f64)) -> Result<f64> {
    let volume = positive(volume, "The volume")?;
    let tests = volume * not_negative(before.1, "The test error")?.hypot(not_negative(after.1, "The test error")?);
    Ok(tests.hypot(fall(before.0, after.0)? * not_negative(u_volume, "The ± of the volume")?))
}

/// Evaporation, given what a meter saw added and the liquid lost: M - L. Below 0 the meter misses water, or the
/// inhibitor was lost another way; then None.
pub fn evaporation(added: f64, lost: f64) -> Result<Option<f64>> {
    let rest = not_negative(added, "The added water")? - not_negative(lost, "The loss")?;
    Ok((rest >= 0.0).then_some(rest))
}

/// A dissolved ion that comes in with added water and leaves only with liquid, not with vapour:
/// X0 e^(-L/Vs) + Xfill (M/L)(1 - e^(-L/Vs)); with no loss X0 + Xfill M / Vs.
pub fn build_up(start: f64, fill: f64, volume: f64, added: f64, lost: f64) -> Result<f64> {
    let (x0, xf) = (not_negative(start, "The start")?, not_negative(fill, "The fill strength")?);
    let (vs, m) = (positive(volume, "The volume")?, not_negative(added, "The added water")?);
    let l = not_negative(lost, "The loss")?;
    if l < vs * 1e-9 {
        return Ok(x0 + xf * m / vs);
    }
    let stays = (-l / vs).exp();
    Ok(x0 * stays + xf * (m / l) * (1.0 - stays))
}

/// Time in which half of what is dissolved is gone, at a steady loss `rate` (volume per time): ln 2 × Vs / rate.
pub fn half_life(volume: f64, rate: f64) -> Result<f64> {
    Ok(std::f64::consts::LN_2 * positive(volume, "The volume")? / positive(rate, "The rate")?)
}

/// Water volume in litres from a tracer: grams of it and the rise it made in mg/L, same basis.
pub fn tracer_litres(grams: f64, before: f64, after: f64) -> Result<f64> {
    let (c0, c1) = (not_negative(before, "The earlier reading")?, positive(after, "The later reading")?);
    higher(c1, c0, "The later reading", "the earlier one")?;
    Ok(positive(grams, "The amount")? * 1_000.0 / (c1 - c0))
}

/// Relative standard uncertainty of [`tracer_litres`]: sqrt( (um/m)² + (u0² + u1²)/(C1-C0)² ).
pub fn tracer_uncertainty(relative_mass: f64, before: (f64, f64), after: (f64, f64)) -> Result<f64> {
    higher(after.0, before.0, "The later reading", "the earlier one")?;
    let readings = not_negative(before.1, "The test error")?.hypot(not_negative(after.1, "The test error")?);
    let rise = positive(after.0 - before.0, "The rise")?;
    Ok((readings / rise).hypot(not_negative(relative_mass, "The weighing error")?))
}

/// Share left of what was dissolved, from conductivity corrected for the fill: (EC1-ECfill)/(EC0-ECfill).
pub fn share_left(before: f64, after: f64, fill: f64) -> Result<f64> {
    let fill = not_negative(fill, "The fill conductivity")?;
    let (c0, c1) = (positive(before, "The earlier conductivity")?, positive(after, "The later conductivity")?);
    higher(c0, fill, "The earlier conductivity", "that of the fill")?;
    higher(c1, fill, "The later conductivity", "that of the fill")?;
    Ok((c1 - fill) / (c0 - fill))
}

/// How a fall of inhibitor splits, given the share `left` of a conserved tracer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// What dilution alone would have left.
    pub expected: f64,
    /// What is missing beyond that; 0 when nothing is.
    pub excess: f64,
    /// Share of the (logarithmic) loss that is not dilution, 0 to 1.
    pub not_dilution: f64,
}

/// Splits the fall from `before` to `after` into dilution (the tracer's share `left`) and the rest.
pub fn split_loss(before: f64, after: f64, left: f64) -> Result<Split> {
    fall(before, after)?;
    let left = positive(left, "The tracer's share")?;
    higher(before, after, "The earlier reading", "the later one")?;
    // The difference of the logarithms stays finite where the ratio itself would not.
    let total = before.ln() - after.ln();
    let expected = before * left;
    let not_dilution = ((total + left.ln()) / total).clamp(0.0, 1.0);
    Ok(Split { expected, excess: (expected - after).max(0.0), not_dilution })
}

//! Test kits: from a count of drops, or a value read off, to mg/L in a programme's basis, with its uncertainty.

use std::num::{NonZeroU16, NonZeroU32};

use serde::Serialize;
use thiserror::Error;

use super::{
    basis::{Basis, BasisError},
    programme::Programme,
};
use crate::units::{MgPerLitre, UnitError, parse_drops, parse_mg_per_litre, round_div};

/// How a kit gives its result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// Titration by counting drops. `per_drop`: hundredths of mg/L per drop, in the kit's basis.
    Drops { per_drop: NonZeroU32, max_drops: u16 },
    /// A value read off in mg/L (photometer, comparator, strip), with its relative standard deviation in ‰:
    /// photometer 50, strip 200 (common practice, no source).
    Direct { relative_sd: u16 },
}

/// A test kit. Factor, basis and sample size differ from kit to kit, so they are data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestKit {
    pub code: String,
    pub name: String,
    pub basis: Basis,
    pub counts: Counts,
    /// How many times the sample was diluted before the test; 1 when not.
    pub dilution: NonZeroU16,
    /// The fields of a colour comparator, mg/L in the kit's basis, lowest first; empty where any figure can be read.
    pub steps: Vec<MgPerLitre>,
    pub source: String,
}

/// What a kit showed, as it was noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    Drops(u16),
    /// Read off in mg/L of the kit's basis, before the dilution.
    Value(MgPerLitre),
}

impl Shown {
    /// The bare figure, as it goes into a field.
    pub fn typed(self) -> String {
        match self {
            Self::Drops(n) => n.to_string(),
            Self::Value(value) => value.get().to_string(),
        }
    }

    /// The drops, where they were counted.
    pub const fn drops(self) -> Option<u16> {
        match self {
            Self::Drops(n) => Some(n),
            Self::Value(_) => None,
        }
    }
}

/// A reading in the asked basis and its standard deviation, both in mg/L.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measured {
    pub level: MgPerLitre,
    /// One standard deviation, rounded up.
    pub sd: MgPerLitre,
}

/// Why a kit gives no reading.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum KitError {
    #[error("{drops} drops is more than this kit counts ({max}). Take a smaller or diluted sample and test again.")]
    TooManyDrops { drops: u16, max: u16 },
    #[error("This kit counts drops. Enter the number of drops.")]
    CountsDrops,
    #[error("This kit is read off in mg/L. Enter the value it shows.")]
    ReadsOff,
    #[error(transparent)]
    Basis(#[from] BasisError),
    #[error(transparent)]
    OutOfRange(#[from] UnitError),
}

impl TestKit {
    /// Whether it measures what a programme counts, in whatever basis.
    pub fn serves(&self, programme: &Programme) -> bool {
        self.basis.analyte() == programme.analyte()
    }

    /// The reading for a count of drops, in mg/L counted as `to`, rounded to the nearest.
    ///
    /// Uncertainty: ± 1 drop taken as uniform gives sd = 0.58 × factor, with a floor of 3 % of the reading
    /// (common practice, no source).
    pub fn from_drops(&self, drops: u16, to: Basis) -> Result<Measured, KitError> {
        let Counts::Drops { per_drop, max_drops } = self.counts else { return Err(KitError::ReadsOff) };
        if drops > max_drops {
            return Err(KitError::TooManyDrops { drops, max: max_drops });
        }
        let one_drop = i128::from(per_drop.get()) * self.times_diluted();
        let drop_sd = self.scaled(one_drop * 58, to, 10_000, Rounding::Up)?;
        let level = self.scaled(one_drop * i128::from(drops), to, 100, Rounding::Nearest)?;
        Ok(Measured { level, sd: drop_sd.max(per_mille_up(level, 30)?) })
    }

    /// The reading for a value read off in mg/L in the kit's basis (before the dilution factor).
    pub fn from_value(&self, value: MgPerLitre, to: Basis) -> Result<Measured, KitError> {
        let Counts::Direct { relative_sd } = self.counts else { return Err(KitError::CountsDrops) };
        let level = self.scaled(i128::from(value.get()) * self.times_diluted(), to, 1, Rounding::Nearest)?;
        let field = self.scaled(i128::from(self.field_sd_milli(value)) * self.times_diluted(), to, 1_000, Rounding::Up)?;
        Ok(Measured { level, sd: per_mille_up(level, relative_sd)?.max(field) })
    }

    /// Between two fields of a comparator nothing can be told: uniform over the wider gap beside the field, so gap/√12
    /// (0.289), in thousandths of mg/L of the kit's basis.
    fn field_sd_milli(&self, value: MgPerLitre) -> i64 {
        let below = self.steps.iter().filter(|step| **step < value).max();
        let above = self.steps.iter().filter(|step| **step > value).min();
        let gaps = [below.map(|b| value.get() - b.get()), above.map(|a| a.get() - value.get())];
        gaps.into_iter().flatten().max().filter(|_| !self.steps.is_empty()).unwrap_or(0).saturating_mul(289)
    }

    /// Everything the kit can show that a table can list: each count of drops, or each field of a comparator.
    pub fn shows(&self) -> Vec<Shown> {
        match self.counts {
            Counts::Drops { max_drops, .. } => (0..=max_drops).map(Shown::Drops).collect(),
            Counts::Direct { .. } => self.steps.iter().copied().map(Shown::Value).collect(),
        }
    }

    /// What was typed for this kit: a count of drops, or the value it shows.
    pub fn parse(&self, text: &str) -> Result<Shown, UnitError> {
        match self.counts {
            Counts::Drops { .. } => parse_drops(text).map(Shown::Drops),
            Counts::Direct { .. } => parse_mg_per_litre(text).map(Shown::Value),
        }
    }

    /// [`Self::from_drops`] or [`Self::from_value`].
    pub fn measure(&self, shown: Shown, to: Basis) -> Result<Measured, KitError> {
        match shown {
            Shown::Drops(drops) => self.from_drops(drops, to),
            Shown::Value(value) => self.from_value(value, to),
        }
    }

    /// The water's level in thousandths of mg/L of the kit's own basis, the dilution counted, nothing rounded.
    pub fn own_milli(&self, shown: Shown) -> Result<i64, KitError> {
        let one = match (shown, self.counts) {
            (Shown::Drops(n), Counts::Drops { per_drop, .. }) => i64::from(n) * i64::from(per_drop.get()) * 10,
            (Shown::Value(value), Counts::Direct { .. }) => value.get() * 1_000,
            (Shown::Drops(_), Counts::Direct { .. }) => return Err(KitError::ReadsOff),
            (Shown::Value(_), Counts::Drops { .. }) => return Err(KitError::CountsDrops),
        };
        Ok(one.saturating_mul(i64::from(self.dilution.get())))
    }

    /// What it showed, from the drops and what [`Self::own_milli`] gave for it.
    pub fn shown(&self, drops: Option<u16>, own_milli: i64) -> Result<Shown, UnitError> {
        let value = || MgPerLitre::new(own_milli / 1_000 / i64::from(self.dilution.get()));
        drops.map_or_else(|| value().map(Shown::Value), |n| Ok(Shown::Drops(n)))
    }

    /// The largest count of drops, for a kit that counts them.
    pub const fn max_drops(&self) -> Option<u16> {
        match self.counts {
            Counts::Drops { max_drops, .. } => Some(max_drops),
            Counts::Direct { .. } => None,
        }
    }

    fn times_diluted(&self) -> i128 {
        i128::from(self.dilution.get())
    }

    fn scaled(&self, value: i128, to: Basis, den: i128, rounding: Rounding) -> Result<MgPerLitre, KitError> {
        let ratio = self.basis.ratio_to(to)?;
        let (num, den) = (value * ratio.num(), den * ratio.den());
        let wide = match rounding {
            Rounding::Nearest => round_div(num, den),
            Rounding::Up => (num + den - 1) / den,
        };
        Ok(MgPerLitre::new(i64::try_from(wide).unwrap_or(i64::MAX))?)
    }
}

#[derive(Debug, Clone, Copy)]
enum Rounding {
    Nearest,
    Up,
}

fn per_mille_up(level: MgPerLitre, per_mille: u16) -> Result<MgPerLitre, UnitError> {
    MgPerLitre::new((level.get() * i64::from(per_mille) + 999) / 1_000)
}

//! Treatment programmes and the products that serve them. All limits are data with their source beside them.

use serde::Serialize;
use thiserror::Error;

use super::basis::{Analyte, Basis};
use crate::units::{MgPerLitre, Millilitres, Ph};

/// Why a programme or product record is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum ProgrammeError {
    #[error("The levels must rise: alarm, minimum, top-up, target, maximum; and the target must be above 0.")]
    LevelsOutOfOrder,
    #[error("The lower end of the pH band must be below its upper end.")]
    PhBandReversed,
    #[error("The first re-check day must not come after the last, and both within a year.")]
    RecheckDaysReversed,
    #[error("The active share must be above 0 and at most 1,000,000 parts per million.")]
    ActiveShare,
    #[error("The density must be from 500 to 3,000 g/L.")]
    Density,
    #[error("The measuring step must be above 0 and not larger than the pack.")]
    Step,
}

/// The levels of a programme in mg/L of its basis: `alarm_low ≤ min ≤ top_up_below ≤ target ≤ max`, target above 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Levels {
    alarm_low: MgPerLitre,
    min: MgPerLitre,
    top_up_below: MgPerLitre,
    target: MgPerLitre,
    max: MgPerLitre,
}

/// A pH that no treated water and no source water has, so that a slip is likelier: outside 5 to 12. Common practice, no source.
pub fn is_doubtful_ph(ph: Ph) -> bool {
    !(500..=1_200).contains(&ph.get())
}

impl Levels {
    /// Levels with a top-up advised, at a scheduled visit, whenever the reading is below the target.
    pub fn new(alarm_low: MgPerLitre, min: MgPerLitre, target: MgPerLitre, max: MgPerLitre) -> Result<Self, ProgrammeError> {
        Self { alarm_low, min, top_up_below: target, target, max }.checked()
    }

    /// The same with another level below which a top-up is advised at a scheduled visit.
    pub fn with_top_up_below(self, top_up_below: MgPerLitre) -> Result<Self, ProgrammeError> {
        Self { top_up_below, ..self }.checked()
    }

    fn checked(self) -> Result<Self, ProgrammeError> {
        let rising = [self.alarm_low, self.min, self.top_up_below, self.target, self.max].is_sorted();
        if rising && self.target.get() > 0 { Ok(self) } else { Err(ProgrammeError::LevelsOutOfOrder) }
    }

    /// A reading so high that a slip is likelier than the water: more than a tenth above the maximum. Common practice, no source.
    pub const fn is_doubtful(self, level: MgPerLitre) -> bool {
        10 * level.get() > 11 * self.max.get()
    }

    pub const fn alarm_low(self) -> MgPerLitre {
        self.alarm_low
    }

    pub const fn min(self) -> MgPerLitre {
        self.min
    }

    pub const fn top_up_below(self) -> MgPerLitre {
        self.top_up_below
    }

    pub const fn target(self) -> MgPerLitre {
        self.target
    }

    pub const fn max(self) -> MgPerLitre {
        self.max
    }
}

/// A pH band, lower end below upper end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct PhBand {
    min: Ph,
    max: Ph,
}

impl PhBand {
    pub fn new(min: Ph, max: Ph) -> Result<Self, ProgrammeError> {
        if min < max { Ok(Self { min, max }) } else { Err(ProgrammeError::PhBandReversed) }
    }

    pub const fn min(self) -> Ph {
        self.min
    }

    pub const fn max(self) -> Ph {
        self.max
    }

    /// Both ends belong to it.
    pub fn holds(self, ph: Ph) -> bool {
        (self.min..=self.max).contains(&ph)
    }
}

/// From which to which day after a dose its re-check is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RecheckDays {
    first: u16,
    last: u16,
}

impl RecheckDays {
    pub fn new(first: u16, last: u16) -> Result<Self, ProgrammeError> {
        if first <= last && last <= 365 { Ok(Self { first, last }) } else { Err(ProgrammeError::RecheckDaysReversed) }
    }

    pub const fn first(self) -> u16 {
        self.first
    }

    pub const fn last(self) -> u16 {
        self.last
    }
}

/// A treatment programme: which inhibitor is kept at which level, and what stops a dose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Programme {
    pub code: String,
    pub name: String,
    /// The substance in which `levels` are counted.
    pub basis: Basis,
    pub levels: Levels,
    pub ph: PhBand,
    /// The band where aluminium is wetted; the ordinary one applies when none is given.
    pub ph_with_aluminium: Option<PhBand>,
    /// Nothing is put in while the pH lies outside this band; `None` where the programme does not ask for the pH.
    pub dose_ph: Option<PhBand>,
    /// No dose above this hardness of the fill water, mg/L as `CaCO3`.
    pub hardness_stop: Option<MgPerLitre>,
    /// Softening is advised above this hardness, mg/L as `CaCO3`.
    pub hardness_advise: Option<MgPerLitre>,
    /// No dose above this sum of chloride and sulfate in the fill water, mg/L.
    pub chloride_sulfate_stop: Option<MgPerLitre>,
    pub recheck: RecheckDays,
    /// Where the limits come from, with the edition.
    pub source: String,
}

impl Programme {
    /// What the programme's test measures.
    pub const fn analyte(&self) -> Analyte {
        self.basis.analyte()
    }

    /// The pH band for a unit with or without wetted aluminium.
    pub fn ph_band(&self, aluminium: bool) -> PhBand {
        match self.ph_with_aluminium {
            Some(band) if aluminium => band,
            _ => self.ph,
        }
    }
}

/// How much active substance a product holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Strength {
    active_ppm: u32,
    density_g_per_l: u32,
}

impl Strength {
    /// `active_ppm`: active substance, parts per million by mass (200,000 is 20 %). `density_g_per_l`: g/L.
    pub fn new(active_ppm: u32, density_g_per_l: u32) -> Result<Self, ProgrammeError> {
        if !(1..=1_000_000).contains(&active_ppm) {
            return Err(ProgrammeError::ActiveShare);
        }
        if !(500..=3_000).contains(&density_g_per_l) {
            return Err(ProgrammeError::Density);
        }
        Ok(Self { active_ppm, density_g_per_l })
    }

    pub const fn active_ppm(self) -> u32 {
        self.active_ppm
    }

    pub const fn density_g_per_l(self) -> u32 {
        self.density_g_per_l
    }
}

/// How a product is measured out: whole packs, and steps of a measuring jug.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Measure {
    pack: Millilitres,
    step: Millilitres,
}

impl Measure {
    /// `step` must be above 0 and at most `pack`.
    pub fn new(pack: Millilitres, step: Millilitres) -> Result<Self, ProgrammeError> {
        if step.get() > 0 && step <= pack { Ok(Self { pack, step }) } else { Err(ProgrammeError::Step) }
    }

    pub const fn pack(self) -> Millilitres {
        self.pack
    }

    pub const fn step(self) -> Millilitres {
        self.step
    }
}

/// A liquid treatment product that serves a programme.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Product {
    pub name: String,
    /// Code of the programme it serves.
    pub programme: String,
    /// The substance in which its active share is counted.
    pub basis: Basis,
    pub strength: Strength,
    pub measure: Measure,
    /// Cautions from its label and safety data sheet, shown at the dose.
    pub hazards: Vec<String>,
}

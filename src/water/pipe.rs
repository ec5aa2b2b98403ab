//! What pipes and vessels hold. Inside diameters in thousandths of an inch.
//!
//! Sources: PEX tubing ASTM F876/F877 SDR-9, average inside diameters (3/8 to 3/4 confirmed in published
//! charts, 1 from its published volume, larger ones from memory by the 9:1 rule); copper ASTM B88 type L,
//! type M walls from memory; steel ASME B36.10 schedule 40. Published PEX charts print an inside diameter
//! that does not match their own volume by 4 %; the average inside diameter matches it.

use super::volume::VolumeError;
use crate::units::{Micrometres, Millilitres};

/// A family of pipe with one table of inside diameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PipeKind {
    Pex,
    CopperL,
    CopperM,
    SteelSchedule40,
}

/// One size of pipe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pipe {
    pub kind: PipeKind,
    /// The name people use: "1-1/4".
    pub nominal: &'static str,
    inner_mil: u32,
}

const fn pipe(kind: PipeKind, nominal: &'static str, inner_mil: u32) -> Pipe {
    Pipe { kind, nominal, inner_mil }
}

/// Every size in the tables.
pub const PIPES: [Pipe; 30] = [
    pipe(PipeKind::Pex, "3/8", 350),
    pipe(PipeKind::Pex, "1/2", 475),
    pipe(PipeKind::Pex, "5/8", 574),
    pipe(PipeKind::Pex, "3/4", 671),
    pipe(PipeKind::Pex, "1", 862),
    pipe(PipeKind::Pex, "1-1/4", 1_054),
    pipe(PipeKind::Pex, "1-1/2", 1_244),
    pipe(PipeKind::Pex, "2", 1_629),
    pipe(PipeKind::CopperL, "3/8", 430),
    pipe(PipeKind::CopperL, "1/2", 545),
    pipe(PipeKind::CopperL, "3/4", 785),
    pipe(PipeKind::CopperL, "1", 1_025),
    pipe(PipeKind::CopperL, "1-1/4", 1_265),
    pipe(PipeKind::CopperL, "1-1/2", 1_505),
    pipe(PipeKind::CopperL, "2", 1_985),
    pipe(PipeKind::CopperM, "3/8", 450),
    pipe(PipeKind::CopperM, "1/2", 569),
    pipe(PipeKind::CopperM, "3/4", 811),
    pipe(PipeKind::CopperM, "1", 1_055),
    pipe(PipeKind::CopperM, "1-1/4", 1_291),
    pipe(PipeKind::CopperM, "1-1/2", 1_527),
    pipe(PipeKind::CopperM, "2", 2_009),
    pipe(PipeKind::SteelSchedule40, "1/2", 622),
    pipe(PipeKind::SteelSchedule40, "3/4", 824),
    pipe(PipeKind::SteelSchedule40, "1", 1_049),
    pipe(PipeKind::SteelSchedule40, "1-1/4", 1_380),
    pipe(PipeKind::SteelSchedule40, "1-1/2", 1_610),
    pipe(PipeKind::SteelSchedule40, "2", 2_067),
    pipe(PipeKind::SteelSchedule40, "2-1/2", 2_469),
    pipe(PipeKind::SteelSchedule40, "3", 3_068),
];

/// US gallons in one foot of a bore of one inch: (π/4) × 12 / 231.
const GALLONS_PER_FOOT_INCH2: f64 = std::f64::consts::FRAC_PI_4 * 12.0 / 231.0;

/// Millilitres in one micrometre of a bore of one inch.
const ML_PER_UM_INCH2: f64 = std::f64::consts::FRAC_PI_4 * 2.54 * 2.54 / 10_000.0;

impl Pipe {
    /// The pipe of that kind and nominal size, if the tables have it.
    pub fn find(kind: PipeKind, nominal: &str) -> Option<Self> {
        PIPES.into_iter().find(|pipe| pipe.kind == kind && pipe.nominal == nominal)
    }

    /// Inside diameter in inches.
    pub fn inner_inches(self) -> f64 {
        f64::from(self.inner_mil) / 1_000.0
    }

    /// US gallons in 100 ft.
    pub fn gallons_per_100_ft(self) -> f64 {
        gallons_per_foot(self.inner_inches()) * 100.0
    }

    /// What a run of this pipe holds, in millilitres.
    fn holds(self, length: Micrometres) -> f64 {
        self.inner_inches().powi(2) * ML_PER_UM_INCH2 * length.as_f64()
    }
}

/// US gallons in one foot of a bore of `inches`.
pub fn gallons_per_foot(inches: f64) -> f64 {
    GALLONS_PER_FOOT_INCH2 * inches * inches
}

/// An upright or lying full cylinder by its inside measures.
pub fn cylinder(diameter: Micrometres, height: Micrometres) -> Result<Millilitres, VolumeError> {
    let ml = std::f64::consts::FRAC_PI_4 * (diameter.as_f64() / 10_000.0).powi(2) * (height.as_f64() / 10_000.0);
    Millilitres::from_f64(ml).map_err(|_| VolumeError::TooLarge)
}

/// One part of what a unit's water runs through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoopPart {
    /// Jacket, buffer tank, exchanger, radiators: by plate or label.
    Vessel(Millilitres),
    /// A single run of pipe of this length.
    Run { pipe: Pipe, length: Micrometres },
    /// Supply and return over this distance: the pipe counts twice.
    RoundTrip { pipe: Pipe, distance: Micrometres },
}

/// The sum of all parts.
pub fn sum(parts: &[LoopPart]) -> Result<Millilitres, VolumeError> {
    let holds = |part: &LoopPart| match *part {
        LoopPart::Vessel(volume) => volume.as_f64(),
        LoopPart::Run { pipe, length } => pipe.holds(length),
        LoopPart::RoundTrip { pipe, distance } => 2.0 * pipe.holds(distance),
    };
    let total: f64 = parts.iter().map(holds).sum();
    Millilitres::from_f64(total).map_err(|_| VolumeError::TooLarge)
}

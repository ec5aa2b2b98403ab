//! What the dose function answers: verdicts, amounts, reasons and words.

use std::fmt;

use serde::Serialize;
use time::Date;

use super::programme::PhBand;
use crate::units::{MgPerLitre, Millilitres, Ph, UnitsFirst, day_with_year, dose_text, thousands};

/// Where the inhibitor reading lies against the programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Below the programme's alarm level: the steel may pit.
    VeryLow,
    Low,
    InBand,
    High,
}

impl Verdict {
    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::VeryLow => "Very low",
            Self::Low => "Low",
            Self::InBand => "In band",
            Self::High => "High",
        }
    }
}

/// Where the pH lies against the programme's band for this unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PhVerdict {
    Below,
    InBand,
    Above,
}

impl PhVerdict {
    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Below => "pH below band",
            Self::InBand => "pH in band",
            Self::Above => "pH above band",
        }
    }
}

/// What the pH asks for, in words. No amount of acid or alkali is ever worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhAdvice {
    pub reading: Ph,
    pub band: PhBand,
    pub verdict: PhVerdict,
    pub words: String,
}

/// An amount to measure out. `us_fl_oz` is about the same amount: rounded up, or down where rounding up
/// would pass the maximum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Amount {
    pub ml: Millilitres,
    pub us_fl_oz: u32,
}

impl Amount {
    /// In both units: "650 mL (22 fl oz)".
    pub fn text(self, first: UnitsFirst) -> String {
        dose_text(self.ml, self.us_fl_oz, first)
    }
}

/// An amount as whole packs and a rest to measure out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Packs {
    pub whole: i64,
    pub rest: Millilitres,
}

/// First and last good day for the re-check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecheckWindow {
    pub first: Date,
    pub last: Date,
}

/// A dose to put in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dose {
    pub amount: Amount,
    pub packs: Packs,
    /// The level after it has mixed, never above the programme's maximum.
    pub expected: MgPerLitre,
    /// The same if the water volume is one ± larger (lower end) or smaller (upper end) than thought.
    pub expected_from: MgPerLitre,
    pub expected_to: MgPerLitre,
    pub recheck: RecheckWindow,
}

/// Two ways down to the target, with plain water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Overtreatment {
    /// Share of the water to drain and refill, in ‰ (rounded up): 1 - target / reading.
    pub drain_per_mille: i64,
    /// That share as a volume.
    pub drain: Millilitres,
    /// Volume to run through while filling and draining at the same time: ln(reading / target) × volume.
    pub flush: Millilitres,
}

impl Overtreatment {
    /// The share to drain in whole %, rounded up.
    pub const fn drain_percent(&self) -> i64 {
        (self.drain_per_mille + 9) / 10
    }
}

/// Why no dose is given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Block {
    VolumeUnknown,
    /// Fill hardness above the programme's stop, mg/L as `CaCO3`.
    Hardness {
        found: MgPerLitre,
        stop: MgPerLitre,
    },
    /// Chloride and sulfate of the fill together above the programme's stop, mg/L.
    ChlorideSulfate {
        found: MgPerLitre,
        stop: MgPerLitre,
    },
    /// The sample is older than the water.
    ReadingOlderThanWater {
        tested: Date,
        changed: Date,
    },
    MixedProgrammes,
    /// The programme asks for another pH before anything goes in.
    PhOutside {
        found: Ph,
        band: PhBand,
    },
    /// A glycol mix, which brings an inhibitor of its own.
    Glycol {
        percent: u16,
    },
    /// The product's active substance is not what the programme measures, or it serves another programme.
    ProductDoesNotServe {
        product: String,
        programme: String,
    },
    /// A full charge would be more than a tenth of the water volume.
    ProductTooWeak {
        product: String,
    },
}

impl Block {
    /// True when the reading itself says nothing about today's water: test again.
    pub const fn spoils_reading(&self) -> bool {
        matches!(self, Self::ReadingOlderThanWater { .. } | Self::MixedProgrammes)
    }
}

impl fmt::Display for Block {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::VolumeUnknown => {
                write!(f, "The water volume is not known. Find it from the label and the piping, or meter it at the next fill.")
            }
            Self::Glycol { percent } => write!(
                f,
                "The loop holds a mix with {percent} % glycol, which has its own inhibitor; doses here are for plain water. The maker of the mix says what may go in."
            ),
            Self::Hardness { found, stop } => write!(
                f,
                "The fill water has {} mg/L hardness; this programme stops at {}. Soften the fill first.",
                thousands(found.get()),
                thousands(stop.get())
            ),
            Self::ChlorideSulfate { found, stop } => write!(
                f,
                "The fill water has {} mg/L chloride and sulfate; this programme stops at {}. Use other water or another programme.",
                thousands(found.get()),
                thousands(stop.get())
            ),
            Self::ReadingOlderThanWater { tested, changed } => write!(
                f,
                "The test of {} is older than the drain or refill of {}. Test again.",
                day_with_year(*tested),
                day_with_year(*changed)
            ),
            Self::MixedProgrammes => {
                write!(f, "Two programmes are mixed in this water. Ask the product maker or a water laboratory, or drain and start again.")
            }
            Self::PhOutside { found, band } => write!(
                f,
                "The pH is {found}; this programme puts nothing in outside {} to {}. Test a fresh, cooled sample, and find out why: acid sets \
                 poisonous gas free from nitrite.",
                band.min(),
                band.max()
            ),
            Self::ProductDoesNotServe { product, programme } => {
                write!(f, "{product} does not serve the programme {programme}. Choose another product.")
            }
            Self::ProductTooWeak { product } => {
                write!(f, "A full charge of {product} would be more than a tenth of the water. Check its strength and the water volume.")
            }
        }
    }
}

/// What to do with the inhibitor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// No dose is given, for all of these reasons.
    Blocked(Vec<Block>),
    /// Nothing to put in.
    Leave,
    PutIn(Dose),
    /// Too much inhibitor: drain some.
    Drain(Overtreatment),
    /// The smallest measure of this product would pass the maximum.
    MeasureTooCoarse,
}

impl Action {
    /// The word on the page and in the table.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Blocked(reasons) if reasons.iter().any(Block::spoils_reading) => "Test again",
            Self::Blocked(_) => "Hold",
            Self::Leave => "Leave",
            Self::PutIn(_) => "Put in",
            Self::Drain(_) => "Drain some",
            Self::MeasureTooCoarse => "Ask the office",
        }
    }
}

/// The dose function's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// None for a first charge: nothing was measured yet.
    pub verdict: Option<Verdict>,
    pub ph: Option<PhAdvice>,
    pub action: Action,
    /// What else to know, in words.
    pub notes: Vec<String>,
    /// Cautions to show at this step.
    pub cautions: Vec<String>,
}

impl Advice {
    /// The dose, if one is to be put in.
    pub const fn dose(&self) -> Option<&Dose> {
        match &self.action {
            Action::PutIn(dose) => Some(dose),
            _ => None,
        }
    }
}

//! What a fill is held against: limits as data, each with why and where it comes from.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// What is looked at. mg/L of the ion where nothing else is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Parameter {
    Ph,
    /// mg/L as `CaCO3`.
    Hardness,
    /// mg/L as `CaCO3`.
    Alkalinity,
    /// µS/cm at 25 °C.
    Conductivity,
    DissolvedSolids,
    Chloride,
    Sulfate,
    ChlorideAndSulfate,
    Iron,
    Manganese,
    Copper,
    LarsonRatio,
}

impl Parameter {
    /// Every parameter, in the order of the pages.
    pub const ALL: [Self; 12] = [
        Self::Ph,
        Self::Hardness,
        Self::Alkalinity,
        Self::Conductivity,
        Self::DissolvedSolids,
        Self::Chloride,
        Self::Sulfate,
        Self::ChlorideAndSulfate,
        Self::Iron,
        Self::Manganese,
        Self::Copper,
        Self::LarsonRatio,
    ];

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ph => "pH",
            Self::Hardness => "hardness",
            Self::Alkalinity => "alkalinity",
            Self::Conductivity => "conductivity",
            Self::DissolvedSolids => "dissolved solids",
            Self::Chloride => "chloride",
            Self::Sulfate => "sulfate",
            Self::ChlorideAndSulfate => "chloride and sulfate together",
            Self::Iron => "iron",
            Self::Manganese => "manganese",
            Self::Copper => "copper",
            Self::LarsonRatio => "Larson ratio (raw fill only, indicative)",
        }
    }

    /// What stands behind its figures.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Ph | Self::LarsonRatio => "",
            Self::Hardness | Self::Alkalinity => " mg/L as CaCO3",
            Self::Conductivity => " µS/cm",
            _ => " mg/L",
        }
    }

    /// A figure with as many places as it deserves.
    pub fn figure(self, value: f64) -> String {
        let places = match self {
            Self::Ph | Self::LarsonRatio | Self::Iron | Self::Manganese | Self::Copper => 2,
            _ if value < 9.95 => 1,
            _ => 0,
        };
        let text = format!("{value:.places$}");
        let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        format!("{text}{}", self.unit())
    }
}

/// What helps when a limit is passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Remedy {
    Soften,
    Filter,
    OtherSource,
}

/// Where a figure lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FillVerdict {
    Ok,
    Caution,
    Act,
}

impl Remedy {
    pub const ALL: [Self; 3] = [Self::Soften, Self::Filter, Self::OtherSource];

    /// In words, for a list.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Soften => "soften",
            Self::Filter => "filter",
            Self::OtherSource => "another source",
        }
    }
}

impl FillVerdict {
    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ok => "Good",
            Self::Caution => "Caution",
            Self::Act => "Act",
        }
    }
}

/// From and to, both included; an open end is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    pub from: Option<f64>,
    pub to: Option<f64>,
}

impl Bounds {
    pub const fn up_to(to: f64) -> Self {
        Self { from: None, to: Some(to) }
    }

    pub const fn between(from: f64, to: f64) -> Self {
        Self { from: Some(from), to: Some(to) }
    }

    fn holds(self, value: f64) -> bool {
        self.from.is_none_or(|from| value >= from) && self.to.is_none_or(|to| value <= to)
    }

    /// Finite, and not upside-down.
    fn sound(self) -> bool {
        let ends = [self.from, self.to];
        ends.into_iter().flatten().all(f64::is_finite) && self.from.zip(self.to).is_none_or(|(from, to)| from <= to)
    }

    fn inside(self, outer: Self) -> bool {
        outer.from.is_none_or(|o| self.from.is_some_and(|i| i >= o)) && outer.to.is_none_or(|o| self.to.is_some_and(|i| i <= o))
    }

    fn words(self, parameter: Parameter) -> String {
        let show = |value| parameter.figure(value);
        match (self.from, self.to) {
            (Some(from), Some(to)) => format!("{from} to {}", show(to)),
            (Some(from), None) => format!("at least {}", show(from)),
            (None, Some(to)) => format!("at most {}", show(to)),
            (None, None) => "anything".to_owned(),
        }
    }
}

/// Why a limit is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum ProfileError {
    #[error("The good range must lie inside the caution range, each from low to high.")]
    BoundsOutOfOrder,
}

/// One limit: good within `ok`, caution within `caution`, act beyond.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    parameter: Parameter,
    ok: Bounds,
    caution: Bounds,
    remedy: Remedy,
    pub why: String,
    /// With the edition; "common practice, no source" where there is none.
    pub source: String,
}

impl Limit {
    /// A limit without reason and source yet; add them with [`Limit::because`].
    pub fn new(parameter: Parameter, ok: Bounds, caution: Bounds, remedy: Remedy) -> Result<Self, ProfileError> {
        if !(ok.sound() && caution.sound() && ok.inside(caution)) {
            return Err(ProfileError::BoundsOutOfOrder);
        }
        Ok(Self { parameter, ok, caution, remedy, why: String::new(), source: String::new() })
    }

    /// The same with why it is there and where it comes from.
    #[must_use]
    pub fn because(self, why: &str, source: &str) -> Self {
        Self { why: why.to_owned(), source: source.to_owned(), ..self }
    }

    pub const fn parameter(&self) -> Parameter {
        self.parameter
    }

    /// The good range.
    pub const fn ok(&self) -> Bounds {
        self.ok
    }

    /// The range round it that still passes, with caution.
    pub const fn caution(&self) -> Bounds {
        self.caution
    }

    pub const fn remedy(&self) -> Remedy {
        self.remedy
    }

    /// A figure exactly on a bound counts as the better side.
    pub fn verdict(&self, value: f64) -> FillVerdict {
        if self.ok.holds(value) {
            FillVerdict::Ok
        } else if self.caution.holds(value) {
            FillVerdict::Caution
        } else {
            FillVerdict::Act
        }
    }

    /// "good: at most 100 mg/L; caution: at most 250 mg/L".
    pub fn words(&self) -> String {
        let good = format!("good: {}", self.ok.words(self.parameter));
        if self.ok == self.caution { good } else { format!("{good}; caution: {}", self.caution.words(self.parameter)) }
    }
}

/// A named set of limits in one edition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Profile {
    /// With the edition.
    pub name: String,
    /// Whether passing a limit decides the answer, or is only shown for comparison.
    pub decides: bool,
    pub limits: Vec<Limit>,
}

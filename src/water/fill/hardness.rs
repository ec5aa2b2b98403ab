//! Hardness in the units people use, and the words for it.

use serde::{Deserialize, Serialize};

use super::super::carbonate::CACO3;
use super::super::softening::MG_PER_GRAIN_PER_GALLON;

/// A unit of hardness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HardnessUnit {
    /// mg/L as `CaCO3`, which trade tables call ppm.
    MgCaCO3PerLitre,
    /// Grains per US gallon.
    GrainsPerGallon,
    /// German degree: 10 mg/L `CaO`, 17.848 mg/L as `CaCO3`.
    GermanDegree,
    /// French degree: 10 mg/L as `CaCO3`.
    FrenchDegree,
    /// mmol/L of calcium and magnesium, the same as mol/m³.
    MillimolePerLitre,
}

impl HardnessUnit {
    pub const ALL: [Self; 5] =
        [Self::MgCaCO3PerLitre, Self::GrainsPerGallon, Self::GermanDegree, Self::FrenchDegree, Self::MillimolePerLitre];

    /// mg/L as `CaCO3` in one of it.
    pub const fn mg_caco3(self) -> f64 {
        match self {
            Self::MgCaCO3PerLitre => 1.0,
            Self::GrainsPerGallon => MG_PER_GRAIN_PER_GALLON,
            // 10 mg CaO (56.077 g/mol).
            Self::GermanDegree => 10.0 / 56.077 * CACO3,
            Self::FrenchDegree => 10.0,
            Self::MillimolePerLitre => CACO3,
        }
    }

    /// The short form behind a figure.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::MgCaCO3PerLitre => "mg/L as CaCO3",
            Self::GrainsPerGallon => "grains/gal",
            Self::GermanDegree => "°dH",
            Self::FrenchDegree => "°fH",
            Self::MillimolePerLitre => "mmol/L",
        }
    }

    /// A value in this unit, in another.
    pub fn convert(self, value: f64, to: Self) -> f64 {
        value * self.mg_caco3() / to.mg_caco3()
    }
}

/// One class of a scale: its word, and the mg/L as `CaCO3` up to which it holds (`None`: above all others).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardnessClass {
    pub word: &'static str,
    pub up_to: Option<f64>,
}

/// A published scale of words. Sources disagree, so a word always stands with its scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardnessScale {
    pub source: &'static str,
    pub classes: [HardnessClass; 4],
}

const fn class(word: &'static str, up_to: f64) -> HardnessClass {
    HardnessClass { word, up_to: Some(up_to) }
}

const fn top(word: &'static str) -> HardnessClass {
    HardnessClass { word, up_to: None }
}

/// US Geological Survey, as quoted in secondary sources.
pub const SURVEY_SCALE: HardnessScale = HardnessScale {
    source: "US Geological Survey classes",
    classes: [class("soft", 60.0), class("moderately hard", 120.0), class("hard", 180.0), top("very hard")],
};

/// US Army TI 814-01 (1998) table 4-1, the same in UFC 3-230-07A.
pub const SUPPLY_SCALE: HardnessScale = HardnessScale {
    source: "TI 814-01 (1998) table 4-1",
    classes: [
        class("very soft to soft", 100.0),
        class("soft to moderately hard", 200.0),
        class("hard to very hard", 300.0),
        top("extremely hard"),
    ],
};

impl HardnessScale {
    /// The word for a hardness in mg/L as `CaCO3`.
    pub fn word(&self, hardness: f64) -> &'static str {
        let fits = |class: &&HardnessClass| class.up_to.is_none_or(|top| hardness <= top);
        self.classes.iter().find(fits).map_or("unknown", |class| class.word)
    }
}

//! How much lime a fill brings, and what raising its pH does.

use super::super::carbonate::{SourceError, SourceWater};
use crate::units::{Celsius, GRAMS_PER_POUND, Millilitres, Ph, UnitsFirst};

/// g in one cm³ of calcite (handbook value).
const CALCITE_DENSITY: f64 = 2.71;

/// When a lime index counts. For a vented jacket at its working temperature; common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimeRules {
    pub temperature: Celsius,
    /// From 0 to this there is some lime; above it will lime.
    pub will: f64,
    /// Below this there is none.
    pub some: f64,
}

impl LimeRules {
    /// 80 °C, 0.5 and 0.
    pub fn usual() -> Result<Self, crate::units::UnitError> {
        Ok(Self { temperature: Celsius::new(800)?, will: 0.5, some: 0.0 })
    }
}

/// What to expect on the hot wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outlook {
    NoLime,
    SomeLime,
    WillLime,
}

impl Outlook {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoLime => "no lime to expect",
            Self::SomeLime => "some lime to expect",
            Self::WillLime => "will lime at the fire-side wall until it is spent: soften",
        }
    }
}

/// The lime outlook of a source water, vented and hot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimeOutlook {
    pub outlook: Outlook,
    pub temperature: Celsius,
    /// pH in the hot vented jacket.
    pub ph: f64,
    /// Saturation index there.
    pub saturation: f64,
    /// The same in a closed loop.
    pub saturation_closed: f64,
    /// How far the indices may be off for want of tests.
    pub good_to: f64,
    /// mg/L of `CaCO3` that can fall out.
    pub lime: f64,
}

impl LimeOutlook {
    /// "Vented at 80 °C the lime index is +2.11 ± 0.03: will lime …".
    pub fn words(&self) -> String {
        let whole = self.temperature.as_f64() / 10.0;
        let index = if self.saturation.abs() < 0.005 { 0.0 } else { self.saturation };
        format!("Vented at {whole} °C the lime index is {index:+.2} ± {:.2}: {}.", self.good_to, self.outlook.words())
    }
}

/// The lime outlook by these rules.
pub fn outlook(water: &SourceWater, rules: &LimeRules) -> Result<LimeOutlook, SourceError> {
    let hot = water.heated(rules.temperature)?;
    let saturation = hot.vented.saturation;
    let outlook = if saturation > rules.will {
        Outlook::WillLime
    } else if saturation >= rules.some {
        Outlook::SomeLime
    } else {
        Outlook::NoLime
    };
    Ok(LimeOutlook {
        outlook,
        temperature: rules.temperature,
        ph: hot.vented.ph,
        saturation,
        good_to: water.good_to(),
        saturation_closed: hot.closed.saturation,
        lime: hot.vented.lime,
    })
}

/// Grams of lime in a volume at so many mg/L.
pub fn lime_grams(volume: Millilitres, lime: f64) -> f64 {
    volume.as_f64() / 1_000.0 * lime / 1_000.0
}

/// The most lime a fill can bring: the smaller of calcium hardness and alkalinity, both mg/L as `CaCO3`.
pub fn largest_lime_grams(volume: Millilitres, calcium: f64, alkalinity: f64) -> f64 {
    lime_grams(volume, calcium.min(alkalinity))
}

/// Thickness in µm if all of it settles evenly on an area; `None` without an area.
pub fn film_micrometres(grams: f64, square_metres: f64) -> Option<f64> {
    (square_metres > 0.0 && grams >= 0.0).then(|| grams / (CALCITE_DENSITY * square_metres)).filter(|um| um.is_finite())
}

/// What raising the pH of this very water drops, and so why to soften before an alkaline inhibitor goes in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhySoften {
    pub target: Ph,
    /// Saturation index at 25 °C once raised.
    pub saturation: f64,
    /// mg/L of `CaCO3` that falls out cold.
    pub cold: f64,
    /// mg/L that falls out hot.
    pub hot: f64,
}

impl WhySoften {
    /// In words, with this water's own figures.
    pub fn words(&self, volume: Option<Millilitres>, first: UnitsFirst) -> String {
        if self.hot < 1.0 {
            return format!("Raising this water to pH {} drops hardly any lime.", self.target);
        }
        let mass =
            volume.map_or_else(String::new, |volume| format!(", {} in {}", mass(lime_grams(volume, self.hot), first), volume.both(first)));
        format!(
            "An alkaline inhibitor that brings this water to pH {} drops {:.0} mg/L of lime cold and {:.0} mg/L hot{mass}. Soften first, \
             then put the inhibitor in.",
            self.target, self.cold, self.hot
        )
    }
}

/// A mass in both units: "12.4 oz (351 g)".
pub fn mass(grams: f64, first: UnitsFirst) -> String {
    let ounces = grams / (GRAMS_PER_POUND / 16.0);
    let us = if ounces < 32.0 { format!("{ounces:.1} oz") } else { format!("{:.1} lb", ounces / 16.0) };
    let metric = if grams < 10_000.0 { format!("{grams:.0} g") } else { format!("{:.1} kg", grams / 1_000.0) };
    match first {
        UnitsFirst::Us => format!("{us} ({metric})"),
        UnitsFirst::Metric => format!("{metric} ({us})"),
    }
}

/// What raising the pH to `target` does to this water.
pub fn why_soften(water: &SourceWater, target: Ph, rules: &LimeRules) -> Result<WhySoften, SourceError> {
    let raised = water.raised(target, rules.temperature)?;
    Ok(WhySoften { target, saturation: raised.saturation, cold: raised.lime_cold, hot: raised.lime_hot })
}

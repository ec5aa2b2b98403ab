//! Softening a fill: how many canisters, how far one carries, how much sodium comes in.
//!
//! Grains per US gallon = mg/L / 17.118 (64.79891 mg / 3.785411784 L). Iron and manganese load the resin too, so the
//! hardness is compensated: a published rule adds 2 grains for each mg/L of iron, and as much for manganese; other
//! rules of the trade use 3 to 5, so the factors are data. Softening trades ions one for one by charge: 0.4594 mg
//! sodium for each mg of `CaCO3` (computed from molar masses).

use thiserror::Error;

use crate::units::{Millilitres, thousands};

/// mg/L as `CaCO3` in one grain per US gallon.
pub const MG_PER_GRAIN_PER_GALLON: f64 = 64.798_91 / 3.785_411_784;
/// mg of sodium for each mg of `CaCO3` taken out: 2 × 22.98977 / 100.086.
pub const SODIUM_PER_CACO3: f64 = 2.0 * 22.989_77 / 100.086;

/// Why nothing was worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SofteningError {
    #[error("{0} must be a number, 0 or more, and not larger than {1}.")]
    OutOfRange(&'static str, &'static str),
    #[error("A canister must hold from 1 to 1,000,000 grains, of which 10 to 100 % may be counted on.")]
    Canister,
    #[error("There is no hardness to take out.")]
    NothingToDo,
}

/// Grains per US gallon that one mg/L of each counts as, beside the hardness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compensation {
    pub iron: f64,
    pub manganese: f64,
}

impl Default for Compensation {
    /// 2 for each: published rule for iron; for manganese common practice, no source.
    fn default() -> Self {
        Self { iron: 2.0, manganese: 2.0 }
    }
}

/// A softening canister: what its label says it holds, and how much of that to count on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Canister {
    grains: u32,
    counted_on_percent: u8,
}

impl Canister {
    /// Share to count on when nobody knows better (common practice, no source).
    pub const USUAL_PERCENT: u8 = 80;

    pub fn new(grains: u32, counted_on_percent: u8) -> Result<Self, SofteningError> {
        let fits = (1..=1_000_000).contains(&grains) && (10..=100).contains(&counted_on_percent);
        if fits { Ok(Self { grains, counted_on_percent }) } else { Err(SofteningError::Canister) }
    }

    /// Grains to count on.
    pub fn usable_grains(self) -> f64 {
        f64::from(self.grains) * f64::from(self.counted_on_percent) / 100.0
    }
}

/// What is taken out: hardness in mg/L as `CaCO3`, iron and manganese in mg/L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardFill {
    pub volume: Millilitres,
    pub hardness: f64,
    pub iron: f64,
    pub manganese: f64,
}

/// How a fill is softened.
#[derive(Debug, Clone, PartialEq)]
pub struct SofteningPlan {
    /// Compensated, grains per US gallon.
    pub grains_per_gallon: f64,
    /// Grains to take out of the whole fill.
    pub grains: f64,
    pub canisters: u32,
    /// US gallons one canister carries before hardness breaks through.
    pub gallons_each: f64,
    /// mg/L of sodium in the softened water above what it had, when all hardness is taken out.
    pub sodium_added: f64,
    /// When to change the canister, in words.
    pub reminder: String,
    pub cautions: Vec<String>,
}

fn within(value: f64, top: f64, name: &'static str, words: &'static str) -> Result<f64, SofteningError> {
    if (0.0..=top).contains(&value) { Ok(value) } else { Err(SofteningError::OutOfRange(name, words)) }
}

/// Grains per US gallon of a hardness in mg/L as `CaCO3`.
pub fn grains_per_gallon(hardness: f64) -> f64 {
    hardness / MG_PER_GRAIN_PER_GALLON
}

/// Hardness with what iron and manganese (mg/L) add to the load, in grains per US gallon.
pub fn compensated(grains: f64, iron: f64, manganese: f64, factors: Compensation) -> f64 {
    grains + factors.iron * iron + factors.manganese * manganese
}

/// mg/L of sodium that comes in for a hardness (mg/L as `CaCO3`) that goes out.
pub fn sodium_added(hardness: f64) -> f64 {
    hardness * SODIUM_PER_CACO3
}

/// How to soften a fill with canisters of one kind.
pub fn plan(fill: HardFill, canister: Canister, factors: Compensation) -> Result<SofteningPlan, SofteningError> {
    let hardness = within(fill.hardness, 3_000.0, "Hardness", "3,000 mg/L as CaCO3")?;
    let iron = within(fill.iron, 100.0, "Iron", "100 mg/L")?;
    let manganese = within(fill.manganese, 100.0, "Manganese", "100 mg/L")?;
    within(factors.iron, 10.0, "The factor for iron", "10")?;
    within(factors.manganese, 10.0, "The factor for manganese", "10")?;
    let each = compensated(grains_per_gallon(hardness), iron, manganese, factors);
    let grains = each * fill.volume.us_gallons();
    if each < 0.01 || grains <= 0.0 {
        return Err(SofteningError::NothingToDo);
    }
    // A hair under a whole canister is that canister: figures that come out even must not ask for one more.
    let needed = (grains / canister.usable_grains() - 1e-6).ceil().max(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 264,172 gal × 575 grains / 0.1")]
    let canisters = needed as u32;
    let gallons_each = canister.usable_grains() / each;
    Ok(SofteningPlan {
        grains_per_gallon: each,
        grains,
        canisters,
        gallons_each,
        sodium_added: sodium_added(hardness),
        reminder: reminder(canisters, gallons_each),
        cautions: cautions(iron),
    })
}

fn reminder(canisters: u32, gallons_each: f64) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "a rounded volume; saturates")]
    let gallons = thousands(gallons_each.floor() as i64);
    let number = if canisters == 1 { "One canister".to_owned() } else { format!("{} canisters", thousands(i64::from(canisters))) };
    format!(
        "{number}; each should carry about {gallons} gal. Test the hardness at the end of the hose well before that and after it, \
         and stop at the first hardness found: the test decides, not the meter."
    )
}

fn cautions(iron: f64) -> Vec<String> {
    let mut words = vec![
        "Softening takes out calcium and magnesium only. Chloride, sulfate and alkalinity stay, and the total of salts rises a little."
            .to_owned(),
        "In a vented jacket the pH of softened water still climbs as carbon dioxide leaves. Check it again once the water has been hot."
            .to_owned(),
        "Published rules disagree on softened fill. Follow what the heater's and the inhibitor's makers ask for.".to_owned(),
    ];
    if iron > 0.3 {
        words.push("Iron above 0.3 mg/L fouls the resin: filter it out first.".to_owned());
    }
    words
}

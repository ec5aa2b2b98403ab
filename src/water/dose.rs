//! THE dose function: what to put into a unit's water after a test.
//!
//! Level rise of m mL of product in V mL of water, in the programme's basis:
//! `rise (mg/L) = m · density · active_ppm · den / (1000 · V · num)`, where `num/den` turns the programme's
//! basis into the product's. Everything is worked out in exact integers (i128) from mg/L, mL, ppm and g/L;
//! only the continuous flush uses a logarithm. The product's own volume is taken as small against the water
//! (a dose above a tenth of it is refused).
//!
//! Top-up `(target - reading) × volume`: the pounds formula of water treatment in metric form
//! (UFC 3-240-13FN (2005) p. 148 gives the same charge; see the checks C1, C2, D1, D2).

use time::{Date, Duration};

use super::advice::{Action, Advice, Amount, Block, Dose, Overtreatment, Packs, PhAdvice, PhVerdict, RecheckWindow, Verdict};
use super::basis::Ratio;
use super::kit::Measured;
use super::programme::{Levels, Product, Programme};
use super::volume::{Method, WaterVolume};
use crate::units::{MgPerLitre, Millilitres, Ph, VolumeUnit, day_with_year, round_div, thousands};

/// What is known of the water besides the reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WaterFacts {
    /// Aluminium is wetted somewhere in the loop.
    pub aluminium: bool,
    /// Hardness of the fill as it went in, mg/L as `CaCO3`.
    pub fill_hardness: Option<MgPerLitre>,
    /// Chloride and sulfate of the fill together, mg/L.
    pub fill_chloride_sulfate: Option<MgPerLitre>,
    /// The last day on which water was drained or refilled.
    pub water_changed_on: Option<Date>,
    /// Water of two programmes is mixed in this unit.
    pub mixed_programmes: bool,
    /// Glycol in % by volume; 0 for plain water.
    pub glycol_percent: u16,
}

/// On which occasion the water was tested.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Occasion {
    /// A visit of the season: bring the level up to target when it is below the programme's top-up level.
    Scheduled,
    /// A re-check, a repair, a customer's own test: put in only what is below the minimum.
    Between,
}

/// Everything about the unit that the dose depends on.
#[derive(Debug, Clone, Copy)]
pub struct Site<'a> {
    /// None when nobody knows it yet.
    pub volume: Option<WaterVolume>,
    pub programme: &'a Programme,
    pub product: &'a Product,
    pub facts: WaterFacts,
    pub occasion: Occasion,
    /// The civil day of the dose.
    pub day: Date,
}

/// One sample's readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// Inhibitor, in the programme's basis.
    pub level: MgPerLitre,
    /// pH of the cooled sample.
    pub ph: Option<Ph>,
    pub tested_on: Date,
}

/// What to do after a water test.
pub fn advise(site: &Site<'_>, reading: Reading) -> Advice {
    let levels = site.programme.levels;
    let verdict = verdict(levels, reading.level);
    let mut blocks = reading_blocks(site, reading.tested_on);
    let wants = wants(site, verdict, reading.level);
    if wants != Wants::Nothing {
        blocks.extend(water_blocks(site));
    }
    if wants == Wants::Dose {
        blocks.extend(product_block(site));
        blocks.extend(ph_block(site.programme, reading.ph));
    }
    let action = match (wants, site.volume) {
        _ if !blocks.is_empty() => Action::Blocked(blocks),
        (Wants::Dose, Some(volume)) => put_in(site, volume, reading.level),
        (Wants::Drain, Some(volume)) => Action::Drain(drain(volume, reading.level, levels.target())),
        _ => Action::Leave,
    };
    let mut notes = notes(site, Some(verdict), &action);
    if site.facts.water_changed_on == Some(reading.tested_on) {
        notes.push("The water was changed on the day of the test. Make sure the sample was taken after it.".into());
    }
    let ph = reading.ph.map(|ph| ph_advice(site, ph));
    Advice { verdict: Some(verdict), ph, cautions: cautions(site, &action), action, notes }
}

/// The first charge of inhibitor for a new fill: from nothing to target.
pub fn first_charge(site: &Site<'_>) -> Advice {
    let mut blocks = water_blocks(site);
    blocks.extend(product_block(site));
    if site.facts.mixed_programmes {
        blocks.push(Block::MixedProgrammes);
    }
    let action = match site.volume {
        Some(volume) if blocks.is_empty() => put_in(site, volume, MgPerLitre::MIN),
        _ => Action::Blocked(blocks),
    };
    Advice { verdict: None, ph: None, notes: notes(site, None, &action), cautions: cautions(site, &action), action }
}

/// The level once `ml` of the product has mixed into water at `level`; `None` when the volume is unknown or the product
/// does not serve the programme.
pub fn level_after(site: &Site<'_>, level: MgPerLitre, ml: Millilitres) -> Option<MgPerLitre> {
    let volume = site.volume?.volume();
    let effect = Effect::of(site, volume)?;
    let nominal = i128::from(volume.get());
    Some(effect.after(level, i128::from(ml.get()), nominal, nominal, Rounding::Nearest))
}

/// What `ml` of the product raises the level by, with one standard deviation from the ± of the volume; `None` as for
/// [`level_after`].
pub fn rise(site: &Site<'_>, ml: Millilitres) -> Option<Measured> {
    let level = level_after(site, MgPerLitre::MIN, ml)?;
    let volume = site.volume?;
    let share = i128::from(volume.plus_minus().get()) * i128::from(level.get());
    let sd = i64::try_from(round_div(share, i128::from(volume.volume().get()))).ok()?;
    Some(Measured { level, sd: MgPerLitre::new(sd).ok()? })
}

/// The verdict on a reading in the programme's basis.
pub fn verdict(levels: Levels, level: MgPerLitre) -> Verdict {
    if level < levels.alarm_low() {
        Verdict::VeryLow
    } else if level < levels.min() {
        Verdict::Low
    } else if level <= levels.max() {
        Verdict::InBand
    } else {
        Verdict::High
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wants {
    Nothing,
    Dose,
    Drain,
}

fn wants(site: &Site<'_>, verdict: Verdict, level: MgPerLitre) -> Wants {
    let top_up = site.occasion == Occasion::Scheduled && level < site.programme.levels.top_up_below();
    match verdict {
        Verdict::VeryLow | Verdict::Low => Wants::Dose,
        Verdict::InBand if top_up => Wants::Dose,
        Verdict::InBand => Wants::Nothing,
        Verdict::High => Wants::Drain,
    }
}

/// Reasons that spoil the reading itself.
fn reading_blocks(site: &Site<'_>, tested: Date) -> Vec<Block> {
    let mut blocks = Vec::new();
    if let Some(changed) = site.facts.water_changed_on
        && tested < changed
    {
        blocks.push(Block::ReadingOlderThanWater { tested, changed });
    }
    if site.facts.mixed_programmes {
        blocks.push(Block::MixedProgrammes);
    }
    blocks
}

fn ph_block(programme: &Programme, ph: Option<Ph>) -> Option<Block> {
    let (found, band) = ph.zip(programme.dose_ph)?;
    (!band.holds(found)).then_some(Block::PhOutside { found, band })
}

/// Reasons that hold back a dose or a drain, whatever the reading.
fn water_blocks(site: &Site<'_>) -> Vec<Block> {
    let programme = site.programme;
    let mut blocks = Vec::new();
    if let (Some(found), Some(stop)) = (site.facts.fill_hardness, programme.hardness_stop)
        && found > stop
    {
        blocks.push(Block::Hardness { found, stop });
    }
    if let (Some(found), Some(stop)) = (site.facts.fill_chloride_sulfate, programme.chloride_sulfate_stop)
        && found > stop
    {
        blocks.push(Block::ChlorideSulfate { found, stop });
    }
    if site.facts.glycol_percent > 0 {
        blocks.push(Block::Glycol { percent: site.facts.glycol_percent });
    }
    if site.volume.is_none() {
        blocks.push(Block::VolumeUnknown);
    }
    blocks
}

/// Why this product is not for this unit, if so.
fn product_block(site: &Site<'_>) -> Option<Block> {
    let (programme, product) = (site.programme, site.product);
    // Any volume will do to see whether the product serves.
    let volume = site.volume.map_or(Millilitres::MAX, WaterVolume::volume);
    match Effect::of(site, volume) {
        None => Some(Block::ProductDoesNotServe { product: product.name.clone(), programme: programme.name.clone() }),
        Some(effect) if effect.is_too_weak(programme.levels, volume) => Some(Block::ProductTooWeak { product: product.name.clone() }),
        Some(_) => None,
    }
}

/// mg/L of rise for each mL of product, as the exact fraction `num / den`, both positive.
#[derive(Debug, Clone, Copy)]
struct Effect {
    num: i128,
    den: i128,
}

impl Effect {
    /// None when the product does not serve the programme.
    fn of(site: &Site<'_>, volume: Millilitres) -> Option<Self> {
        let (programme, product) = (site.programme, site.product);
        let ratio: Ratio = programme.basis.ratio_to(product.basis).ok()?;
        if product.programme != programme.code {
            return None;
        }
        let density = i128::from(product.strength.density_g_per_l());
        let active = i128::from(product.strength.active_ppm());
        Some(Self { num: density * active * ratio.den(), den: 1_000 * i128::from(volume.get()) * ratio.num() })
    }

    fn is_too_weak(self, levels: Levels, volume: Millilitres) -> bool {
        let full_charge = i128::from(levels.target().get()) * self.den / self.num;
        full_charge > i128::from(volume.get()) / 10
    }

    /// True when `ml / per` millilitres on top of `level` stay at or below `max`.
    fn stays_below(self, level: MgPerLitre, (ml, per): (i128, i128), max: MgPerLitre) -> bool {
        ml * self.num <= i128::from(max.get() - level.get()) * self.den * per
    }

    /// The level after `ml`, if the water is `volume` and not `nominal`: rounded down, to the nearest, or up.
    fn after(self, level: MgPerLitre, ml: i128, volume: i128, nominal: i128, rounding: Rounding) -> MgPerLitre {
        let (num, den) = (ml * self.num * nominal, self.den * volume);
        let rise = match rounding {
            Rounding::Down => num / den,
            Rounding::Nearest => round_div(num, den),
            Rounding::Up => (num + den - 1) / den,
        };
        let level = i64::try_from(rise).unwrap_or(i64::MAX).saturating_add(level.get());
        MgPerLitre::new(level).unwrap_or(MgPerLitre::MAX)
    }
}

#[derive(Debug, Clone, Copy)]
enum Rounding {
    Down,
    Nearest,
    Up,
}

/// The dose from `level` to target, rounded up to the product's measuring step, or down where up would pass
/// the maximum. Only called with a level below the target.
fn put_in(site: &Site<'_>, water: WaterVolume, level: MgPerLitre) -> Action {
    let levels = site.programme.levels;
    let Some(effect) = Effect::of(site, water.volume()) else { return Action::MeasureTooCoarse };
    let lacking = i128::from((levels.target().get() - level.get()).max(0)) * effect.den;
    let step = i128::from(site.product.measure.step().get());
    let up = step * ((lacking + effect.num * step - 1) / (effect.num * step));
    let passes = !effect.stays_below(level, (up, 1), levels.max());
    let ml = if passes { step * (lacking / (effect.num * step)) } else { up };
    let (oz_num, oz_den) = VolumeUnit::UsFluidOunce.ratio();
    let oz_up = (ml * oz_den + oz_num - 1) / oz_num;
    let oz_passes = !effect.stays_below(level, (oz_up * oz_num, oz_den), levels.max());
    let oz = if oz_passes { ml * oz_den / oz_num } else { oz_up };
    let amount = i64::try_from(ml).ok().and_then(|ml| Millilitres::new(ml).ok());
    let (Some(amount), true) = (amount, ml > 0) else { return Action::MeasureTooCoarse };
    let nominal = i128::from(water.volume().get());
    let spread = i128::from(water.plus_minus().get());
    let pack = site.product.measure.pack().get();
    let after_days = |days: u16| site.day.saturating_add(Duration::days(i64::from(days)));
    Action::PutIn(Dose {
        amount: Amount { ml: amount, us_fl_oz: u32::try_from(oz).unwrap_or(u32::MAX) },
        packs: Packs { whole: amount.get() / pack, rest: Millilitres::new(amount.get() % pack).unwrap_or(Millilitres::MIN) },
        expected: effect.after(level, ml, nominal, nominal, Rounding::Nearest),
        expected_from: effect.after(level, ml, nominal + spread, nominal, Rounding::Down),
        expected_to: effect.after(level, ml, nominal - spread, nominal, Rounding::Up),
        recheck: RecheckWindow { first: after_days(site.programme.recheck.first()), last: after_days(site.programme.recheck.last()) },
    })
}

/// Drain and refill `1 - target/reading`; continuous `ln(reading/target)`. The form "add water until it is
/// thin enough" needs free space and is never offered: the jacket is full.
fn drain(water: WaterVolume, level: MgPerLitre, target: MgPerLitre) -> Overtreatment {
    let (level_wide, over) = (i128::from(level.get()), i128::from(level.get() - target.get()));
    let up = |whole: i128| i64::try_from((whole * over + level_wide - 1) / level_wide).unwrap_or(i64::MAX);
    let volume = water.volume();
    let flush = (level.as_f64() / target.as_f64()).ln() * volume.as_f64();
    Overtreatment {
        drain_per_mille: up(1_000),
        drain: Millilitres::new(up(i128::from(volume.get()))).unwrap_or(volume),
        flush: Millilitres::from_f64(flush).unwrap_or(Millilitres::MAX),
    }
}

/// pH advice: common practice, no source; limits come from the programme.
fn ph_advice(site: &Site<'_>, reading: Ph) -> PhAdvice {
    let band = site.programme.ph_band(site.facts.aluminium);
    let asked = format!("{} to {}", band.min(), band.max());
    let (verdict, words) = if reading < band.min() {
        let words = format!(
            "pH {reading} is below {asked}. Put in any inhibitor dose first, let it circulate for 24 hours, then test \
             again: most products carry their own buffer. Still below: ask the product maker or a water laboratory. \
             Never put an acid cleaner into treated water."
        );
        (PhVerdict::Below, words)
    } else if reading > band.max() {
        let metal = if site.facts.aluminium { " Aluminium in this loop is attacked above it." } else { "" };
        let words = format!(
            "pH {reading} is above {asked}.{metal} Test a second, cooled and stoppered sample. Still above: add \
             nothing, and ask the product maker or a water laboratory before draining. Never correct it with acid."
        );
        (PhVerdict::Above, words)
    } else {
        (PhVerdict::InBand, format!("pH {reading} is within {asked}."))
    };
    PhAdvice { reading, band, verdict, words }
}

fn notes(site: &Site<'_>, verdict: Option<Verdict>, action: &Action) -> Vec<String> {
    let (programme, facts) = (site.programme, site.facts);
    let mut notes = Vec::new();
    if let (Some(found), Some(advise)) = (facts.fill_hardness, programme.hardness_advise)
        && found > advise
    {
        let (found, advise) = (thousands(found.get()), thousands(advise.get()));
        notes.push(format!("Fill hardness {found} mg/L is above {advise}: soften the next fill."));
    }
    if facts.fill_hardness.is_none() && programme.hardness_stop.is_some() {
        notes.push("The hardness of the fill is not known. Test it.".into());
    }
    if facts.fill_chloride_sulfate.is_none() && programme.chloride_sulfate_stop.is_some() {
        notes.push("Chloride and sulfate of the fill are not known. Have them tested.".into());
    }
    match action {
        Action::PutIn(dose) => notes.extend(dose_notes(site, dose, verdict)),
        Action::MeasureTooCoarse => {
            let name = &site.product.name;
            notes.push(format!("The smallest measure of {name} would pass the maximum. Use a finer measure."));
        }
        Action::Drain(_) => notes.push("Refill with water that suits the programme, then test again.".into()),
        Action::Blocked(_) | Action::Leave => {}
    }
    notes
}

fn dose_notes(site: &Site<'_>, dose: &Dose, verdict: Option<Verdict>) -> Vec<String> {
    let levels = site.programme.levels;
    let (first, last) = (day_with_year(dose.recheck.first), day_with_year(dose.recheck.last));
    let mut notes = vec![match verdict {
        // A top-up from within the band is checked by the next season's test (common practice, no source).
        Some(Verdict::InBand) => "Let it circulate. The next season's test shows how it took.".to_owned(),
        _ => format!("Let it circulate, then re-check between {first} and {last}."),
    }];
    if dose.expected < levels.target() {
        let max = thousands(levels.max().get());
        notes.push(format!("Rounded down: one step more would pass the maximum of {max} mg/L."));
    }
    if dose.expected_to > levels.max() {
        let to = thousands(dose.expected_to.get());
        notes.push(format!(
            "If the water volume is smaller than thought, this reaches {to} mg/L, above the maximum. Put in half, let it circulate, test, then the rest."
        ));
    }
    if site.volume.is_some_and(|volume| volume.method() == Method::Guess) {
        notes.push("The water volume is a guess. Meter it at the next fill.".into());
    }
    notes
}

/// Cautions of the step itself; those of the product come with the product. Sources: treated water must not
/// reach a drinking-water line (2018 IRC P2902.3; US limit for nitrite 1 mg/L as N); the others are common
/// practice, no source.
fn cautions(site: &Site<'_>, action: &Action) -> Vec<String> {
    let fixed: &[&str] = match action {
        Action::PutIn(_) => &[
            "Wear gloves and eye protection. Read the product's label and safety data sheet first.",
            "The water may be 70 to 90 °C (160 to 195 °F). Open no cap, vent or drain while it is hot.",
            "Treated water must never reach a drinking-water line: take the hose off, keep the backflow protection local code asks for.",
            "Local code and licensed practice come first.",
        ],
        Action::Drain(_) => &[
            "The water may be 70 to 90 °C (160 to 195 °F). Let the fire go out and the water cool before draining.",
            "Drained water holds treatment: not into a well, ditch, storm drain or septic tank. Ask the sewer authority, and note the amount and place.",
            "Never add cold water to a hot or low vessel.",
            "Use the backflow protection local code asks for, and take the hose off after filling.",
            "Local code and licensed practice come first.",
        ],
        Action::Blocked(_) | Action::Leave | Action::MeasureTooCoarse => &[],
    };
    let from_product = if matches!(action, Action::PutIn(_)) { site.product.hazards.as_slice() } else { &[] };
    from_product.iter().cloned().chain(fixed.iter().map(|text| (*text).to_owned())).collect()
}

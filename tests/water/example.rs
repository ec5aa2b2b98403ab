//! An invented dealer's programme, product, kit and unit. Not a real product.

use std::num::{NonZeroU16, NonZeroU32};

use embertide::units::{MgPerLitre, Millilitres, Ph};
use embertide::water::{
    Basis, Counts, Levels, Measure, Method, Occasion, PhBand, Product, Programme, RecheckDays, Site, Strength, TestKit, WaterFacts,
    WaterVolume,
};
use time::{Date, macros::date};

pub(crate) const TODAY: Date = date!(2026 - 10 - 12);

pub(crate) fn mg(n: i64) -> MgPerLitre {
    MgPerLitre::new(n).unwrap()
}

pub(crate) fn ml(n: i64) -> Millilitres {
    Millilitres::new(n).unwrap()
}

pub(crate) fn nonzero(n: u32) -> NonZeroU32 {
    NonZeroU32::new(n).unwrap()
}

pub(crate) fn ph(hundredths: i64) -> Ph {
    Ph::new(hundredths).unwrap()
}

/// 600 to 1,000 mg/L as NO2, pH 8.5 to 9.5, soften above 250 mg/L, no nitrite above 800 mg/L chloride and sulfate:
/// UFC 3-240-13FN (2005) pp. 148-150. Maximum, alarm and the aluminium band: common practice, no source.
pub(crate) fn nitrite() -> Programme {
    Programme {
        code: "nitrite-borate".into(),
        name: "Nitrite and borate".into(),
        basis: Basis::Nitrite,
        levels: Levels::new(mg(300), mg(600), mg(1_000), mg(1_500)).unwrap(),
        ph: PhBand::new(ph(850), ph(950)).unwrap(),
        ph_with_aluminium: Some(PhBand::new(ph(820), ph(900)).unwrap()),
        dose_ph: None,
        hardness_stop: Some(mg(250)),
        hardness_advise: Some(mg(100)),
        chloride_sulfate_stop: Some(mg(800)),
        recheck: RecheckDays::new(7, 21).unwrap(),
        source: "UFC 3-240-13FN (2005) p. 148".into(),
    }
}

/// 20 % sodium nitrite at 9.6 lb/gal (1,150 g/L).
pub(crate) fn product() -> Product {
    Product {
        name: "Invented nitrite blend".into(),
        programme: "nitrite-borate".into(),
        basis: Basis::SodiumNitrite,
        strength: Strength::new(200_000, 1_150).unwrap(),
        measure: Measure::new(ml(3_785), ml(50)).unwrap(),
        hazards: vec!["Never mix with acid cleaners: toxic gases.".into()],
    }
}

/// 34.5 mg/L as `NaNO2` per drop: 0.05 mL drops, 0.1 N titrant, 5 mL sample (computed: 0.05 x 0.1 x 23002.5 / 5 = 23.0 as NO2).
pub(crate) fn kit() -> TestKit {
    TestKit {
        code: "drops-5ml".into(),
        name: "Invented drop kit".into(),
        basis: Basis::SodiumNitrite,
        counts: Counts::Drops { per_drop: nonzero(3_450), max_drops: 80 },
        dilution: NonZeroU16::MIN,
        steps: Vec::new(),
        source: "computed".into(),
    }
}

pub(crate) fn gallons(n: i64) -> WaterVolume {
    WaterVolume::by(Millilitres::from_us_gallons(n).unwrap(), Method::Label).unwrap()
}

/// Known fill water, so that nothing blocks.
pub(crate) fn clean_facts() -> WaterFacts {
    WaterFacts { fill_hardness: Some(mg(80)), fill_chloride_sulfate: Some(mg(100)), ..WaterFacts::default() }
}

pub(crate) fn site<'a>(programme: &'a Programme, product: &'a Product) -> Site<'a> {
    Site { volume: Some(gallons(400)), programme, product, facts: clean_facts(), occasion: Occasion::Scheduled, day: TODAY }
}

//! What the dose function promises for every programme, product, unit and reading.

use std::num::NonZeroU16;

use embertide::units::{MgPerLitre, Millilitres};
use embertide::water::{
    Action, Basis, Counts, Levels, Measure, Method, Occasion, Product, Programme, Reading, Shown, Site, Strength, TestKit, Verdict,
    WaterVolume, advise, convert, dilution, level_after, renewed_rows, table,
};
use proptest::prelude::*;

use crate::example::{TODAY, clean_facts, mg, ml, nitrite, nonzero, product};

#[derive(Debug, Clone)]
struct World {
    programme: Programme,
    product: Product,
    kit: TestKit,
    volume: WaterVolume,
    occasion: Occasion,
}

impl World {
    fn site(&self) -> Site<'_> {
        Site {
            volume: Some(self.volume),
            programme: &self.programme,
            product: &self.product,
            facts: clean_facts(),
            occasion: self.occasion,
            day: TODAY,
        }
    }

    fn dose(&self, level: i64) -> Option<i64> {
        let advice = advise(&self.site(), Reading { level: mg(level), ph: None, tested_on: TODAY });
        advice.dose().map(|dose| dose.amount.ml.get())
    }

    /// Level after a dose by plain floating-point mass balance, written apart from the function under test.
    fn level_after(&self, level: i64, ml: f64) -> f64 {
        let grams = ml * f64::from(self.product.strength.density_g_per_l()) / 1_000.0;
        let active = grams * f64::from(self.product.strength.active_ppm()) / 1e6;
        let factor = self.product.basis.ratio_to(self.programme.basis).unwrap().factor();
        mg(level).as_f64() + active * 1_000.0 * factor / (self.volume.volume().as_f64() / 1_000.0)
    }
}

fn world() -> impl Strategy<Value = World> {
    let nitrites = prop_oneof![Just(Basis::Nitrite), Just(Basis::SodiumNitrite), Just(Basis::NitriteNitrogen)];
    let levels = (0_i64..400, 0_i64..500, 1_i64..800, 0_i64..800, 0_u8..=2);
    let product_parts = (10_000_u32..1_000_000, 800_u32..1_600, 1_i64..600, 1_i64..40);
    let parts = (nitrites.clone(), nitrites, levels, product_parts, (20_i64..3_000, 1_u32..9_000, 1_u16..60), any::<bool>());
    parts.prop_map(|(basis, product_basis, levels, (ppm, density, step, packs), (gallons, per_drop, max_drops), scheduled)| {
        let (alarm, over_alarm, over_min, over_target, top_up) = levels;
        let (min, target) = (alarm + over_alarm, alarm + over_alarm + over_min);
        let set = Levels::new(mg(alarm), mg(min), mg(target), mg(target + over_target)).unwrap();
        let set = set.with_top_up_below(mg([min, i64::midpoint(min, target), target][usize::from(top_up)])).unwrap();
        let volume = Millilitres::from_us_gallons(gallons).unwrap();
        World {
            programme: Programme { basis, levels: set, ..nitrite() },
            product: Product {
                basis: product_basis,
                strength: Strength::new(ppm, density).unwrap(),
                measure: Measure::new(ml(step * packs), ml(step)).unwrap(),
                ..product()
            },
            kit: TestKit {
                code: "any".into(),
                name: "any".into(),
                basis: Basis::SodiumNitrite,
                counts: Counts::Drops { per_drop: nonzero(per_drop), max_drops },
                dilution: NonZeroU16::MIN,
                steps: Vec::new(),
                source: "invented".into(),
            },
            volume: WaterVolume::by(volume, Method::Guess).unwrap(),
            occasion: if scheduled { Occasion::Scheduled } else { Occasion::Between },
        }
    })
}

proptest! {
    #![proptest_config(crate::cases(1_500))]

    /// The level after the dose, worked out apart, is the one foretold, never above the maximum, and at target to
    /// within one measuring step.
    #[test]
    fn a_dose_lands_where_it_says(world in world(), level in 0_i64..2_000) {
        let advice = advise(&world.site(), Reading { level: mg(level), ph: None, tested_on: TODAY });
        let Some(dose) = advice.dose() else { return Ok(()) };
        let levels = world.programme.levels;
        let ml = dose.amount.ml.as_f64();
        let after = world.level_after(level, ml);
        let step = world.product.measure.step();
        prop_assert!(ml > 0.0 && dose.amount.ml.get() % step.get() == 0);
        prop_assert!((after - dose.expected.as_f64()).abs() <= 0.5 + 1e-6, "{} {:?}", after, dose);
        prop_assert!(after <= levels.max().as_f64() + 1e-6 && dose.expected <= levels.max());
        let one_step = world.level_after(0, step.as_f64());
        prop_assert!((after - levels.target().as_f64()).abs() <= one_step + 1e-6);
        prop_assert!(dose.expected_from <= dose.expected && dose.expected <= dose.expected_to);
        let by_ounces = world.level_after(level, f64::from(dose.amount.us_fl_oz) * 29.573_529_562_5);
        prop_assert!(by_ounces <= levels.max().as_f64() + 1e-6, "the fluid ounces pass the maximum");
        prop_assert_eq!(dose.packs.whole * world.product.measure.pack().get() + dose.packs.rest.get(), dose.amount.ml.get());
        prop_assert!(dose.packs.rest < world.product.measure.pack());
        prop_assert_eq!(level_after(&world.site(), mg(level), dose.amount.ml), Some(dose.expected));
    }

    /// After the dose a between-visits test finds nothing to do, unless the step is too coarse to reach the band.
    #[test]
    fn a_dosed_unit_is_in_band(world in world(), level in 0_i64..2_000) {
        let advice = advise(&world.site(), Reading { level: mg(level), ph: None, tested_on: TODAY });
        let Some(dose) = advice.dose() else { return Ok(()) };
        let again = advise(&world.site(), Reading { level: dose.expected, ph: None, tested_on: TODAY });
        let coarse = dose.expected < world.programme.levels.target();
        prop_assert!(again.verdict == Some(Verdict::InBand) || coarse);
    }

    #[test]
    fn a_higher_reading_never_gets_more(world in world(), level in 0_i64..2_000, higher in 0_i64..300) {
        if let (Some(here), Some(there)) = (world.dose(level), world.dose(level + higher)) {
            prop_assert!(there <= here);
        }
        if let (None, Some(there)) = (world.dose(level), world.dose(level + higher)) {
            prop_assert!(false, "no dose at {level} but {there} mL at {}", level + higher);
        }
    }

    /// Part of the water renewed after the test: the row that the table names is the last one at or below the level of one
    /// batch, C (1 - share) (mass balance, UFC 3-240-13FN; worked out apart in `dilution`), so the dose is never too small.
    #[test]
    fn renewed_water_is_dosed_by_the_row_of_what_it_came_to(world in world()) {
        let rows = table(&world.site(), &world.kit, TODAY).unwrap();
        for (row, to) in rows.iter().zip(renewed_rows(&rows)) {
            for (quarters, at) in (1_i32..).zip(to) {
                let mixed = dilution::batch(row.level.as_f64(), 0.0, f64::from(quarters) / 4.0).unwrap();
                prop_assert!(rows[at].level.as_f64() <= mixed.max(rows[0].level.as_f64()) + 1e-6);
                prop_assert!(rows.get(at + 1).is_none_or(|next| next.level.as_f64() > mixed - 1.0));
                prop_assert!(quarters < 4 || rows[at].level == rows[0].level);
            }
        }
    }

    /// The table is the function, row by row, and more drops never mean more dose.
    #[test]
    fn every_row_is_the_function(world in world()) {
        let rows = table(&world.site(), &world.kit, TODAY).unwrap();
        let mut last = i64::MAX;
        for (drops, row) in (0_u16..).zip(&rows) {
            let level = world.kit.from_drops(drops, world.programme.basis).unwrap().level;
            let advice = advise(&world.site(), Reading { level, ph: None, tested_on: TODAY });
            prop_assert_eq!(row.shown, Shown::Drops(drops));
            prop_assert_eq!(row.level, level);
            prop_assert_eq!(Some(row.verdict), advice.verdict);
            prop_assert_eq!(row.dose, advice.dose().map(|dose| dose.amount));
            prop_assert_eq!(row.word, advice.action.word());
            let ml = row.dose.map_or(0, |dose| dose.ml.get());
            prop_assert!(ml <= last);
            last = ml;
        }
        prop_assert_eq!(rows.len(), usize::from(world.kit.max_drops().unwrap()) + 1);
    }

    /// A drain brings the level to the target, not below by more than a rounding.
    #[test]
    fn a_drain_lands_on_target(world in world(), level in 0_i64..5_000) {
        let advice = advise(&world.site(), Reading { level: mg(level), ph: None, tested_on: TODAY });
        let Action::Drain(drain) = advice.action else { return Ok(()) };
        let (volume, target) = (world.volume.volume().as_f64(), world.programme.levels.target().as_f64());
        let left = mg(level).as_f64() * (1.0 - drain.drain.as_f64() / volume);
        let flushed = mg(level).as_f64() * (-drain.flush.as_f64() / volume).exp();
        prop_assert!((left - target).abs() < 0.1 && (flushed - target).abs() < 0.1, "{} {} {}", left, flushed, target);
        prop_assert!((1..=1_000).contains(&drain.drain_per_mille));
    }

    #[test]
    fn conversions_round_trip(value in 0_i64..100_000, from in 0_usize..18, to in 0_usize..18) {
        let (from, to) = (Basis::ALL[from], Basis::ALL[to]);
        let Ok(there) = convert(mg(value), from, to) else { return Ok(()) };
        let back = convert(there, to, from).unwrap();
        let half_step = to.ratio_to(from).unwrap().factor() * 0.5 + 0.5;
        prop_assert!((back.as_f64() - mg(value).as_f64()).abs() <= half_step);
    }

    /// The widest inputs the types allow are answered, not panicked over.
    #[test]
    fn extremes_are_answered(level in 0_i64..=1_000_000, target in 1_i64..=1_000_000, ppm in 1_u32..=1_000_000,
            volume in 1_000_i64..=1_000_000_000, step in 1_i64..=1_000_000_000) {
        let levels = Levels::new(MgPerLitre::MIN, mg(1), mg(target), MgPerLitre::MAX).unwrap();
        let programme = Programme { levels, ..nitrite() };
        let product = Product {
            strength: Strength::new(ppm, 3_000).unwrap(),
            measure: Measure::new(Millilitres::MAX, ml(step)).unwrap(),
            ..product()
        };
        let volume = WaterVolume::new(ml(volume), ml(volume - 1), Method::Guess).unwrap();
        let site = Site { volume: Some(volume), programme: &programme, product: &product, facts: clean_facts(),
            occasion: Occasion::Scheduled, day: time::Date::MAX };
        let advice = advise(&site, Reading { level: mg(level), ph: None, tested_on: time::Date::MIN });
        if let Some(dose) = advice.dose() {
            prop_assert!(dose.amount.ml.get() > 0 && dose.expected <= MgPerLitre::MAX);
        }
    }
}

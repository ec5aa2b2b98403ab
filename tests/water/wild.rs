//! What the source water side promises for any input.

use crate::profiles::steel_vented_inhibited;
use embertide::units::{Celsius, Millilitres, Ph, UnitsFirst};
use embertide::water::carbonate::{Alkalinity, Analysis, Hardness, State};
use embertide::water::fill::edition::{FillSystem, oenorm_h_5195_1_by_content, vdi_2035_1_2005};
use embertide::water::fill::hardness::HardnessUnit;
use embertide::water::fill::lime::{LimeRules, why_soften};
use embertide::water::signature::{Bounds, TwoTests, signatures};
use embertide::water::softening::{Canister, Compensation, HardFill, plan};
use embertide::water::{Against, FillTest, SourceWater, assess};
use proptest::prelude::*;

use crate::carbonate::degrees;
use crate::example::ph;

/// Any number at all, often one near the bounds.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), 0.0..1.0, 0.0..400.0, 0.0..3_100.0, Just(0.0), Just(f64::NAN), Just(f64::INFINITY), Just(-0.0)]
}

fn maybe() -> impl Strategy<Value = Option<f64>> {
    proptest::option::of(any_number())
}

fn wild() -> impl Strategy<Value = Analysis> {
    let hardness = prop_oneof![
        any_number().prop_map(Hardness::TotalAsCaCO3),
        (any_number(), any_number()).prop_map(|(calcium, magnesium)| Hardness::Ions { calcium, magnesium }),
        (any_number(), any_number()).prop_map(|(calcium, magnesium)| Hardness::AsCaCO3 { calcium, magnesium }),
    ];
    let alkalinity = prop_oneof![any_number().prop_map(Alkalinity::AsCaCO3), any_number().prop_map(Alkalinity::AsBicarbonate)];
    (0_i64..=1_400, alkalinity, hardness, (maybe(), maybe(), maybe(), maybe(), maybe())).prop_map(|(p, alkalinity, hardness, rest)| {
        let (sodium, chloride, sulfate, silica, conductivity) = rest;
        Analysis { ph: ph(p), alkalinity, hardness, sodium, chloride, sulfate, silica, conductivity }
    })
}

/// The widest waters that are accepted: corners of the ranges.
fn accepted() -> impl Strategy<Value = Analysis> {
    let part = |top: f64| prop_oneof![Just(0.0), Just(top), 0.0..top];
    let rest = (part(2_000.0), part(3_000.0), part(3_000.0), part(150.0), proptest::option::of(part(8_000.0)));
    (450_i64..=1_050, prop_oneof![Just(1.0), Just(1_500.0), 1.0..1_500.0], (part(1_500.0), part(1_500.0)), rest).prop_map(
        |(p, alkalinity, (calcium, magnesium), (sodium, chloride, sulfate, silica, conductivity))| Analysis {
            ph: ph(p),
            alkalinity: Alkalinity::AsCaCO3(alkalinity),
            hardness: Hardness::AsCaCO3 { calcium, magnesium },
            sodium: Some(sodium),
            chloride: conductivity.is_none().then_some(chloride),
            sulfate: Some(sulfate),
            silica: Some(silica),
            conductivity,
        },
    )
}

/// Waters as they come from wells and surfaces: pH 6.5 to 8.5, hardness 10 to 400, alkalinity 30 to 400.
fn raw() -> impl Strategy<Value = Analysis> {
    (650_i64..=850, 30.0..400.0, 10.0..400.0, 0.4..0.9, (1.0..100.0, 1.0..100.0)).prop_map(|(p, alkalinity, total, share, (cl, so4))| {
        Analysis {
            ph: ph(p),
            alkalinity: Alkalinity::AsCaCO3(alkalinity),
            hardness: Hardness::AsCaCO3 { calcium: total * share, magnesium: total * (1.0 - share) },
            sodium: None,
            chloride: Some(cl),
            sulfate: Some(so4),
            silica: None,
            conductivity: None,
        }
    })
}

fn finite(state: State) -> bool {
    state.ph.is_finite() && state.saturation.is_finite() && state.lime.is_finite() && state.lime >= 0.0
}

fn saturation(analysis: Analysis, t: i64) -> f64 {
    SourceWater::new(analysis).unwrap().heated(degrees(t)).unwrap().closed.saturation
}

proptest! {
    #![proptest_config(crate::cases(150))]

    #[test]
    fn wild_waters_are_refused_or_answered(analysis in wild(), t in -600_i64..=2_000, target in 0_i64..=1_400) {
        let Ok(water) = SourceWater::new(analysis) else { return Ok(()) };
        prop_assert!(water.saturation().is_finite());
        let indices = water.indices();
        prop_assert!(indices.stability.is_finite() && indices.practical.is_finite() && indices.larson.is_none_or(f64::is_finite));
        if let Ok(hot) = water.heated(Celsius::new(t).unwrap()) {
            prop_assert!((0..=900).contains(&t) && finite(hot.closed) && finite(hot.vented), "{:?}", hot);
        }
        if let Ok(raised) = water.raised(ph(target), degrees(80)) {
            prop_assert!(raised.lime_cold.is_finite() && raised.lime_hot.is_finite() && raised.saturation.is_finite());
        }
    }

    /// At the corners of what is accepted: finite, and no more lime than calcium or alkalinity can give.
    #[test]
    fn accepted_waters_are_answered(analysis in accepted(), t in 0_i64..=90) {
        let Ok(water) = SourceWater::new(analysis) else { return Ok(()) };
        let hot = water.heated(degrees(t)).unwrap();
        let most = analysis.hardness.parts_as_caco3().0.min(analysis.alkalinity.as_caco3()) + 0.5;
        for state in [hot.closed, hot.vented] {
            prop_assert!(finite(state) && state.lime <= most, "{:?} {}", state, most);
        }
    }

    #[test]
    fn more_calcium_or_a_higher_ph_means_more_lime(analysis in raw(), t in 0_i64..=90, more in 2.0..200.0, rise in 2_i64..=100) {
        let here = saturation(analysis, t);
        let (calcium, magnesium) = analysis.hardness.parts_as_caco3();
        let harder = Analysis { hardness: Hardness::AsCaCO3 { calcium: calcium + more, magnesium }, ..analysis };
        prop_assert!(saturation(harder, t) > here);
        let higher = Analysis { ph: ph(analysis.ph.get() + rise), ..analysis };
        prop_assert!(saturation(higher, t) > here);
    }

    /// Heating a closed water above pH 8 never raises its pH.
    #[test]
    fn a_closed_ph_above_8_falls_on_heating(analysis in raw(), p in 801_i64..=950, t in 26_i64..=90) {
        let analysis = Analysis { ph: ph(p), ..analysis };
        let Ok(water) = SourceWater::new(analysis) else { return Ok(()) };
        let hot = water.heated(degrees(t)).unwrap();
        prop_assert!(hot.closed.ph <= analysis.ph.as_f64() / 100.0 + 1e-6, "{:?}", hot.closed);
    }

    /// A hot vented jacket loses carbon dioxide, so it limes more than a closed loop.
    #[test]
    fn vented_limes_more_than_closed(analysis in raw()) {
        let hot = SourceWater::new(analysis).unwrap().heated(degrees(80)).unwrap();
        prop_assert!(hot.vented.saturation >= hot.closed.saturation - 1e-9 && hot.vented.lime >= hot.closed.lime - 0.01, "{:?}", hot);
    }

    /// Nothing heated, nothing changed.
    #[test]
    fn at_25_degrees_closed_is_the_water_as_tested(analysis in raw()) {
        let water = SourceWater::new(analysis).unwrap();
        let same = water.heated(degrees(25)).unwrap().closed;
        prop_assert!((same.saturation - water.saturation()).abs() < 1e-6);
        prop_assert!((same.ph - analysis.ph.as_f64() / 100.0).abs() < 1e-6);
        prop_assert_eq!(same.lime > 0.0, same.saturation > 0.0);
    }

    #[test]
    fn any_test_is_assessed_or_refused(a in wild(), iron in maybe(), manganese in maybe(), kw in any_number(), volume in 0_i64..1_000_000_000) {
        let test = FillTest { ph: Some(a.ph), hardness: Some(a.hardness), alkalinity: Some(a.alkalinity), conductivity: a.conductivity,
            sodium: a.sodium, chloride: a.chloride, sulfate: a.sulfate, silica: a.silica, iron, manganese, ..FillTest::default() };
        let volume = Millilitres::new(volume).unwrap();
        let system = FillSystem::one_heater(volume, kw, Some(volume));
        let (profiles, editions) = ([steel_vented_inhibited().unwrap()], [vdi_2035_1_2005(), oenorm_h_5195_1_by_content()]);
        let rules = LimeRules::usual().unwrap();
        if let Ok(found) = assess(&test, &Against { profiles: &profiles, editions: &editions, system: Some(&system), lime: &rules }) {
            let text = format!("{} {:?} {:?}", found.headline(Some(volume), UnitsFirst::Us), found.reasons, found.findings);
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
            prop_assert!((found.answer.is_some() || found.lime.is_none()) && found.lime.is_some() != found.lime_missing.is_some());
        }
        if let Ok(why) = SourceWater::new(a).and_then(|water| why_soften(&water, ph(900), &rules)) {
            prop_assert!(!why.words(Some(volume), UnitsFirst::Metric).contains("NaN"));
        }
    }
}

proptest! {
    #![proptest_config(crate::cases(1_500))]

    #[test]
    fn any_softening_is_planned_or_refused(hardness in any_number(), iron in any_number(), manganese in any_number(),
            ml in 0_i64..1_000_000_000, grains in 0_u32..1_100_000, share in 0_u8..=110) {
        let Ok(canister) = Canister::new(grains, share) else { return Ok(()) };
        let volume = Millilitres::new(ml).unwrap();
        if let Ok(found) = plan(HardFill { volume, hardness, iron, manganese }, canister, Compensation::default()) {
            prop_assert!(found.canisters >= 1 && found.gallons_each > 0.0 && found.sodium_added.is_finite());
            let enough = f64::from(found.canisters) * found.gallons_each;
            let gallons = volume.us_gallons();
            prop_assert!(enough >= gallons * (1.0 - 1e-5) && (found.canisters == 1 || enough - found.gallons_each <= gallons));
        }
    }

    #[test]
    fn any_two_tests_are_read_or_refused(n in (any_number(), any_number()), tracer_left in maybe(), p in (0_i64..=1_400, 0_i64..=1_400),
            ammonium in maybe(), nitrate in (any_number(), any_number()), iron in (any_number(), any_number()), black: bool, nothing_added: bool) {
        let pair: (Ph, Ph) = (ph(p.0), ph(p.1));
        let tests = TwoTests { nitrite: n, tracer_left, ph: Some(pair), ammonium, nitrate: Some(nitrate), iron: Some(iron), black, nothing_added };
        if let Ok(found) = signatures(&tests, &Bounds::default()) {
            prop_assert!(!format!("{found:?}").contains("NaN"), "{:?}", found);
        }
    }

    #[test]
    fn hardness_round_trips(value in 0.0..10_000.0, from in 0_usize..5, to in 0_usize..5) {
        let (from, to) = (HardnessUnit::ALL[from], HardnessUnit::ALL[to]);
        prop_assert!((to.convert(from.convert(value, to), from) - value).abs() <= 1e-9 * value.max(1.0));
        prop_assert!(!from.symbol().is_empty());
        let ions = Hardness::Ions { calcium: value, magnesium: value };
        let (calcium, magnesium) = ions.parts_as_caco3();
        let same = Hardness::AsCaCO3 { calcium, magnesium };
        prop_assert!((same.total_as_caco3() - ions.total_as_caco3()).abs() < 1e-6);
    }
}

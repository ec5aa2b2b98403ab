//! The dose function on worked cases: verdicts, amounts, stops, words.

use embertide::units::{Millilitres, UnitsFirst};
use embertide::water::{
    Action, Advice, Basis, Block, KitError, Levels, Measure, Method, Occasion, PhBand, PhVerdict, Product, Programme, Reading, Site,
    Strength, TestKit, Verdict, WaterFacts, WaterVolume, advise, before_the_test, first_charge, table,
};
use time::macros::date;

use crate::example::{TODAY, clean_facts, gallons, kit, mg, ml, nitrite, ph, product, site};
use crate::near;

fn at(level: i64) -> Reading {
    Reading { level: mg(level), ph: None, tested_on: TODAY }
}

fn blocks(advice: &Advice) -> &[Block] {
    match &advice.action {
        Action::Blocked(blocks) => blocks,
        _ => &[],
    }
}

/// D2 through the dose function: 620 to 1,000 mg/L in 400 gal with 20 % `NaNO2` at 9.6 lb/gal is 0.991 gal = 3,751 mL
/// (computed; density rounded to 1,150 g/L, so 3 mL), rounded up to the 50 mL step.
#[test]
fn d2_by_the_dose_function() {
    let (programme, mut product) = (nitrite(), product());
    product.measure = Measure::new(ml(3_785), ml(1)).unwrap();
    let fine = advise(&site(&programme, &product), at(620));
    near(fine.dose().unwrap().amount.ml.as_f64(), 0.991 * 3_785.4, 3.0);
    product.measure = Measure::new(ml(3_785), ml(50)).unwrap();
    let coarse = advise(&site(&programme, &product), at(620));
    let dose = coarse.dose().unwrap();
    assert_eq!(dose.amount.ml, ml(3_800));
    assert_eq!(dose.amount.text(UnitsFirst::Metric), "3,800 mL (1 gal 1 fl oz)");
    assert_eq!((dose.packs.whole, dose.packs.rest), (1, ml(15)));
    assert_eq!(dose.expected, mg(1_005));
    assert!(dose.expected_from < dose.expected && dose.expected < dose.expected_to);
    assert_eq!((dose.recheck.first, dose.recheck.last), (date!(2026 - 10 - 19), date!(2026 - 11 - 02)));
    assert!(coarse.cautions.iter().any(|caution| caution.contains("acid")), "the product's own cautions are shown");
    assert!(coarse.cautions.iter().any(|caution| caution.contains("Local code")));
}

/// D1 through the dose function: a first charge of 400 gal holds 2,270.8 g of `NaNO2` (computed, one step).
#[test]
fn d1_by_the_dose_function() {
    let (programme, product) = (nitrite(), product());
    let advice = first_charge(&site(&programme, &product));
    assert_eq!(advice.verdict, None);
    let ml = advice.dose().unwrap().amount.ml.as_f64();
    near(ml * 1.150 * 0.20, 2_270.8, 50.0 * 1.150 * 0.20);
}

#[test]
fn verdicts_at_the_edges() {
    let (programme, product) = (nitrite(), product());
    let verdict = |level| advise(&site(&programme, &product), at(level)).verdict.unwrap();
    assert_eq!((verdict(0), verdict(299)), (Verdict::VeryLow, Verdict::VeryLow));
    assert_eq!((verdict(300), verdict(599)), (Verdict::Low, Verdict::Low));
    assert_eq!((verdict(600), verdict(1_500)), (Verdict::InBand, Verdict::InBand));
    assert_eq!(verdict(1_501), Verdict::High);
    assert_eq!(Verdict::VeryLow.word(), "Very low");
}

#[test]
fn in_band_is_topped_up_only_on_a_scheduled_visit() {
    let (mut programme, product) = (nitrite(), product());
    let scheduled = site(&programme, &product);
    assert!(advise(&scheduled, at(800)).dose().is_some());
    assert_eq!(advise(&scheduled, at(1_000)).action, Action::Leave);
    let between = Site { occasion: Occasion::Between, ..scheduled };
    assert_eq!(advise(&between, at(800)).action, Action::Leave);
    assert!(advise(&between, at(599)).dose().is_some());
    programme.levels = programme.levels.with_top_up_below(mg(700)).unwrap();
    let later = site(&programme, &product);
    assert_eq!(advise(&later, at(700)).action, Action::Leave);
    assert!(advise(&later, at(699)).dose().is_some());
}

/// D7 through the dose function: 1,600 to 1,000 drains 0.375 or runs 0.4700 volumes through (computed, 1e-4).
#[test]
fn d7_by_the_dose_function() {
    let (programme, product) = (nitrite(), product());
    let advice = advise(&site(&programme, &product), at(1_600));
    let Action::Drain(drain) = &advice.action else { panic!("{:?}", advice.action) };
    let volume = gallons(400).volume().as_f64();
    assert_eq!(drain.drain_per_mille, 375);
    near(drain.drain.as_f64() / volume, 0.375, 1e-4);
    near(drain.flush.as_f64() / volume, 0.470_0, 1e-4);
    assert!(advice.cautions.iter().any(|caution| caution.contains("septic")));
}

/// UFC 3-240-13FN (2005) pp. 148-150: more than 800 mg/L chloride and sulfate stops a nitrite programme, 800 does not;
/// more than 250 mg/L hardness is softened first. Exact.
#[test]
fn fill_water_stops_a_dose_above_its_limit_only() {
    let (programme, product) = (nitrite(), product());
    let with = |hardness, ions| {
        let facts = WaterFacts { fill_hardness: Some(mg(hardness)), fill_chloride_sulfate: Some(mg(ions)), ..clean_facts() };
        advise(&Site { facts, ..site(&programme, &product) }, at(400))
    };
    assert!(with(250, 800).dose().is_some());
    assert_eq!(blocks(&with(251, 800)), [Block::Hardness { found: mg(251), stop: mg(250) }]);
    assert_eq!(blocks(&with(250, 820)), [Block::ChlorideSulfate { found: mg(820), stop: mg(800) }]);
    assert!(with(180, 100).notes.iter().any(|note| note.contains("soften")));
}

/// Inhibited heating glycols bring their own inhibitor; what may be added is the maker's word (common practice, no source).
#[test]
fn a_glycol_mix_gets_no_dose_that_was_worked_out_for_water() {
    let (programme, product) = (nitrite(), product());
    let with = |glycol_percent| {
        let facts = WaterFacts { glycol_percent, ..clean_facts() };
        advise(&Site { facts, ..site(&programme, &product) }, at(400))
    };
    assert!(with(0).dose().is_some());
    assert_eq!(blocks(&with(40)), [Block::Glycol { percent: 40 }]);
}

#[test]
fn every_reason_to_hold_is_given_in_words() {
    let (programme, product) = (nitrite(), product());
    let facts = WaterFacts {
        fill_hardness: Some(mg(400)),
        fill_chloride_sulfate: Some(mg(900)),
        water_changed_on: Some(date!(2026 - 10 - 13)),
        mixed_programmes: true,
        glycol_percent: 40,
        ..WaterFacts::default()
    };
    let advice = advise(&Site { volume: None, facts, ..site(&programme, &product) }, at(100));
    assert_eq!(blocks(&advice).len(), 6);
    assert_eq!(advice.action.word(), "Test again");
    assert_eq!(advice.verdict, Some(Verdict::VeryLow));
    let words: Vec<String> = blocks(&advice).iter().map(ToString::to_string).collect();
    assert!(words.iter().any(|w| w == "The test of Oct 12, 2026 is older than the drain or refill of Oct 13, 2026. Test again."));
    assert!(words.iter().any(|w| w.contains("400 mg/L hardness; this programme stops at 250")));
    assert!(words.iter().any(|w| w.contains("volume is not known")));
    assert!(advice.cautions.is_empty() && advice.dose().is_none());
}

#[test]
fn a_good_reading_needs_no_volume() {
    let (programme, product) = (nitrite(), product());
    let unknown = Site { volume: None, ..site(&programme, &product) };
    assert_eq!(advise(&unknown, at(1_200)).action, Action::Leave);
    assert_eq!(blocks(&advise(&unknown, at(500))), [Block::VolumeUnknown]);
    assert_eq!(advise(&unknown, at(500)).action.word(), "Hold");
    assert_eq!(blocks(&first_charge(&unknown)), [Block::VolumeUnknown]);
    let mixed = WaterFacts { mixed_programmes: true, ..clean_facts() };
    assert_eq!(blocks(&advise(&Site { facts: mixed, ..unknown }, at(1_200))), [Block::MixedProgrammes]);
}

#[test]
fn the_wrong_product_is_never_dosed() {
    let (programme, product) = (nitrite(), product());
    let other = Product { basis: Basis::Molybdenum, ..product.clone() };
    assert!(matches!(blocks(&advise(&site(&programme, &other), at(100))), [Block::ProductDoesNotServe { .. }]));
    let strange = Product { programme: "another".into(), ..product.clone() };
    assert!(matches!(blocks(&advise(&site(&programme, &strange), at(100))), [Block::ProductDoesNotServe { .. }]));
    assert!(matches!(advise(&site(&programme, &strange), at(1_600)).action, Action::Drain(_)), "draining needs no product");
    let weak = Product { strength: Strength::new(1_000, 1_000).unwrap(), ..product };
    assert!(matches!(blocks(&advise(&site(&programme, &weak), at(100))), [Block::ProductTooWeak { .. }]));
}

/// Where the step up would pass the maximum the dose is rounded down (and its fluid ounces too).
#[test]
fn rounding_never_passes_the_maximum() {
    let (mut programme, mut product) = (nitrite(), product());
    programme.levels = Levels::new(mg(300), mg(600), mg(1_000), mg(1_000)).unwrap();
    product.measure = Measure::new(ml(5_000), ml(500)).unwrap();
    let advice = advise(&site(&programme, &product), at(620));
    let dose = advice.dose().unwrap();
    assert_eq!(dose.amount.ml, ml(3_500), "3,751 rounded down");
    assert_eq!(dose.amount.us_fl_oz, 119, "118.3 rounded up stays below");
    assert!(dose.expected < mg(1_000));
    assert!(advice.notes.iter().any(|note| note.contains("Rounded down")));
    product.measure = Measure::new(ml(5_000), ml(5_000)).unwrap();
    assert_eq!(advise(&site(&programme, &product), at(620)).action, Action::MeasureTooCoarse);
}

#[test]
fn a_guessed_volume_is_said_to_be_one() {
    let (mut programme, product) = (nitrite(), product());
    programme.levels = Levels::new(mg(300), mg(600), mg(1_000), mg(1_100)).unwrap();
    let volume = WaterVolume::by(Millilitres::from_us_gallons(400).unwrap(), Method::Guess).unwrap();
    let advice = advise(&Site { volume: Some(volume), ..site(&programme, &product) }, at(100));
    assert!(advice.notes.iter().any(|note| note.contains("guess")));
    assert!(advice.notes.iter().any(|note| note.contains("Put in half")));
}

#[test]
fn ph_gets_words_and_never_an_amount() {
    let (programme, product) = (nitrite(), product());
    let advice = |hundredths, aluminium| {
        let facts = WaterFacts { aluminium, ..clean_facts() };
        let reading = Reading { ph: Some(ph(hundredths)), ..at(1_200) };
        advise(&Site { facts, ..site(&programme, &product) }, reading).ph.unwrap()
    };
    assert_eq!(advice(850, false).verdict, PhVerdict::InBand);
    assert_eq!(advice(849, false).verdict, PhVerdict::Below);
    assert_eq!(advice(951, false).verdict, PhVerdict::Above);
    assert_eq!(advice(820, true).verdict, PhVerdict::InBand);
    assert_eq!(advice(901, true).verdict, PhVerdict::Above);
    assert!(advice(790, false).words.starts_with("pH 7.9 is below 8.5 to 9.5."));
    assert!(advice(901, true).words.contains("Aluminium"));
    for hundredths in [0, 790, 1_400] {
        let words = advice(hundredths, false).words;
        assert!(!words.contains("mL") && !words.contains("fl oz"), "{words}");
    }
}

#[test]
fn a_test_on_the_day_of_the_refill_is_used_with_a_note() {
    let (programme, product) = (nitrite(), product());
    let facts = WaterFacts { water_changed_on: Some(TODAY), ..clean_facts() };
    let advice = advise(&Site { facts, ..site(&programme, &product) }, at(500));
    assert!(advice.dose().is_some());
    assert!(advice.notes.iter().any(|note| note.contains("day of the test")));
}

#[test]
fn the_table_has_a_row_for_every_count() {
    let (programme, product) = (nitrite(), product());
    let rows = table(&site(&programme, &product), &kit(), TODAY).unwrap();
    assert_eq!(rows.len(), 81);
    assert_eq!((rows[13].level, rows[13].verdict, rows[13].word), (mg(299), Verdict::VeryLow, "Put in"));
    assert_eq!((rows[44].dose, rows[44].word), (None, "Leave"));
    assert_eq!((rows[80].level, rows[80].word), (mg(1_840), "Drain some"));
    let stale = table(&site(&programme, &product), &kit(), TODAY).unwrap();
    assert_eq!(rows, stale, "same in, same out");
    let other = TestKit { basis: Basis::Chloride, ..kit() };
    assert!(matches!(table(&site(&programme, &product), &other, TODAY), Err(KitError::Basis(_))));
}

/// Where a programme asks for the pH, the table has two bands: inside it the dose as ever, outside of it nothing, with the
/// reason. A pH that was not read holds nothing back; both ends belong to the band.
#[test]
fn a_dose_by_ph_band_where_the_programme_asks() {
    let asks = Programme { dose_ph: Some(PhBand::new(ph(700), ph(1_100)).unwrap()), ..nitrite() };
    let (product, volume) = (product(), gallons(400));
    let advice = |programme: &Programme, read: Option<i64>, level: i64| {
        let site =
            Site { volume: Some(volume), programme, product: &product, facts: clean_facts(), occasion: Occasion::Scheduled, day: TODAY };
        advise(&site, Reading { level: mg(level), ph: read.map(ph), tested_on: TODAY })
    };
    for inside in [Some(700), Some(880), Some(1_100), None] {
        assert_eq!(advice(&asks, inside, 500).dose(), advice(&nitrite(), None, 500).dose(), "{inside:?}");
    }
    for outside in [650, 699, 1_101] {
        let Action::Blocked(why) = advice(&asks, Some(outside), 500).action else { panic!("{outside}") };
        assert!(why.len() == 1 && why[0].to_string().contains("outside 7.0 to 11.0"), "{why:?}");
        assert!(advice(&nitrite(), Some(outside), 500).dose().is_some(), "this programme does not ask");
        assert_eq!(advice(&asks, Some(outside), 1_000).action, Action::Leave, "nothing to hold back");
    }
    let site =
        Site { volume: Some(volume), programme: &asks, product: &product, facts: clean_facts(), occasion: Occasion::Scheduled, day: TODAY };
    assert!(before_the_test(&site, TODAY).cautions[0].contains("pH below 7.0 or above 11.0: put nothing in"));
}

//! Forecasts: checks J1 to J7, D10 through the balance, the distributions behind them, and every refusal in words.

use embertide::units::{Millilitres, UnitsFirst};
use embertide::water::forecast::chance::{normal_quantile, normal_share, t_quantile};
use embertide::water::forecast::{
    Change, Changed, ForecastRules, Line, Point, Rate, Tested, Use, Vapour, balance, fleet, forecast, loss_per_day, own_rate, runs,
    used_now, usual_rate,
};
use embertide::water::{Forecast, History, Measured, Method, WaterVolume};
use time::{Date, Duration, macros::date};

use crate::example::mg;
use crate::near;

const START: Date = date!(2025 - 10 - 01);
const MIN: f64 = 600.0;

pub(crate) fn point(day: f64, level: f64, relative_sd: f64) -> Point {
    Point { day, ln_level: level.ln(), relative_sd }
}

fn two(first: f64, second: f64, days: f64, r: f64) -> Line {
    Line::through(&[point(0.0, first, r), point(days, second, r)]).unwrap()
}

pub(crate) fn tested(day: i64, level: i64, sd: i64) -> Tested {
    Tested { on: START + Duration::days(day), measured: Measured { level: mg(level), sd: mg(sd) }, worked_out: false }
}

fn four_hundred(plus_minus: i64) -> WaterVolume {
    let gallons = |n| Millilitres::from_us_gallons(n).unwrap();
    WaterVolume::new(gallons(400), gallons(plus_minus), Method::Piping).unwrap()
}

fn look(tests: &[Tested], changes: &[Changed], usual: Option<Rate>) -> Forecast {
    let history = History { tests, changes, volume: Some(four_hundred(20)) };
    forecast(&history, mg(600), usual, &ForecastRules::default())
}

/// scipy 1.17.1 `norm.ppf`; AS 241 PPND7 promises about one part in ten million; 6e-7.
#[test]
fn normal_quantiles() {
    for (share, z) in [
        (1e-6, -4.753_424_308_8),
        (0.001, -3.090_232_306_2),
        (0.05, -1.644_853_627),
        (0.1, -1.281_551_565_5),
        (0.3, -0.524_400_512_7),
        (0.5, 0.0),
        (0.9, 1.281_551_565_5),
        (0.95, 1.644_853_627),
        (0.975, 1.959_963_984_5),
        (0.999, 3.090_232_306_2),
        (0.999_999_99, 5.612_001_243_3),
    ] {
        near(normal_quantile(share), z, 6e-7);
    }
}

/// scipy 1.17.1 `norm.cdf`; 1e-12.
#[test]
fn normal_shares() {
    for (z, share) in [
        (-6.0, 9.865_876_450_377e-10),
        (-3.0, 0.001_349_898_031_630),
        (-1.3, 0.096_800_484_585_610),
        (0.0, 0.5),
        (0.5, 0.691_462_461_274_013),
        (1.645, 0.950_015_094_460_879),
        (5.0, 0.999_999_713_348_428),
    ] {
        near(normal_share(z), share, 1e-12);
    }
    assert!(normal_share(-9.0) <= 0.0 && normal_share(9.0) >= 1.0 && normal_share(f64::NAN).is_finite());
}

/// scipy 1.17.1 `t.ppf` at 0.90, 0.95, 0.99; 2e-6.
#[test]
fn t_quantiles() {
    for (degrees, ninety, ninety_five, ninety_nine) in [
        (1, 3.077_684, 6.313_752, 31.820_516),
        (2, 1.885_618, 2.919_986, 6.964_557),
        (3, 1.637_744, 2.353_363, 4.540_703),
        (4, 1.533_206, 2.131_847, 3.746_947),
        (5, 1.475_884, 2.015_048, 3.364_930),
        (8, 1.396_815, 1.859_548, 2.896_459),
        (13, 1.350_171, 1.770_933, 2.650_309),
        (18, 1.330_391, 1.734_064, 2.552_380),
        (30, 1.310_415, 1.697_261, 2.457_262),
        (199, 1.285_820, 1.652_547, 2.345_232),
    ] {
        near(t_quantile(0.90, degrees), ninety, 2e-6);
        near(t_quantile(0.95, degrees), ninety_five, 2e-6);
        near(t_quantile(0.99, degrees), ninety_nine, 2e-6);
    }
}

/// 1,200 to 950 in 150 d, minimum 600, tests ± 5 %: k 0.0015574 ± 0.000471, significance 3.30, 445.1 d, bound 338.8 d
/// (computed, and by Monte Carlo; 0.2 d).
#[test]
fn j1_two_tests() {
    let line = two(1_200.0, 950.0, 150.0, 0.05);
    near(line.rate.per_day, 0.001_557_4, 1e-7);
    near(line.rate.sd, 0.000_471, 1e-6);
    near(line.rate.significance(), 3.30, 0.005);
    near(line.meets(MIN.ln()).unwrap(), 445.1, 0.2);
    near(line.bound(MIN.ln(), 150.0).unwrap(), 338.8, 0.2);
}

/// The same with ± 10 %: significance 1.652, bound 277.6 d, a rise to be seen 4.9 % of the time (computed, 0.5 d).
#[test]
fn j2_poorer_tests() {
    let line = two(1_200.0, 950.0, 150.0, 0.10);
    near(line.rate.significance(), 1.652, 0.001);
    near(line.bound(MIN.ln(), 150.0).unwrap(), 277.6, 0.5);
    near(normal_share(-line.rate.significance()), 0.049, 0.001);
    assert!(matches!(look(&[tested(0, 1_200, 120), tested(150, 950, 95)], &[], None), Forecast::Foreseen(_)));
}

/// 1,000 to 980 in 120 d ± 5 %: ratio 0.286, so no date; a rise 38.8 % of the time (0.2 points); naive 3,034 d (computed, 0.5 d; exact verdict).
#[test]
fn j3_no_fall_to_speak_of() {
    let line = two(1_000.0, 980.0, 120.0, 0.05);
    near(line.rate.significance(), 0.286, 0.000_5);
    near(normal_share(-line.rate.significance()), 0.388, 0.002);
    near(line.meets(MIN.ln()).unwrap(), 3_034.0, 0.5);
    assert!(matches!(look(&[tested(0, 1_000, 50), tested(120, 980, 49)], &[], None), Forecast::NotEnoughChange { .. }));
}

/// 1,000 to 900 in 120 d: 581.8 d, bound 337.6 d, ratio 1.49, so no date (computed, 0.5 d).
#[test]
fn j4_not_quite_enough() {
    let line = two(1_000.0, 900.0, 120.0, 0.05);
    near(line.meets(MIN.ln()).unwrap(), 581.8, 0.5);
    near(line.bound(MIN.ln(), 120.0).unwrap(), 337.6, 0.5);
    near(line.rate.significance(), 1.49, 0.005);
    let found = look(&[tested(0, 1_000, 50), tested(120, 900, 45)], &[], None);
    assert_eq!(found, Forecast::NotEnoughChange { test_by: START + Duration::days(120 + 183) });
    assert!(found.words().starts_with("Not enough change to predict"), "{}", found.words());
}

/// Days 0, 60, 120, 180; 1,180, 1,090, 960, 900: start 1,182.1, slope -0.0015660, s 0.01818, 433.0 d, bound of the mean
/// 362.2 d, of a reading 355.9 d (computed; 0.5 d). The errors of the readings are left out here, as in the example.
#[test]
fn j5_four_tests() {
    let run = [(0.0, 1_180.0), (60.0, 1_090.0), (120.0, 960.0), (180.0, 900.0)];
    let line = Line::through(&run.map(|(day, level)| point(day, level, 1e-6))).unwrap();
    near(line.ln_at(0.0).exp(), 1_182.1, 0.05);
    near(line.rate.per_day, 0.001_566_0, 5e-8);
    near(line.scatter, 0.018_18, 5e-6);
    near(line.meets(MIN.ln()).unwrap(), 433.0, 0.5);
    near(line.bound(MIN.ln(), 180.0).unwrap(), 362.2, 0.5);
    near(line.bound_of_reading(MIN.ln(), 180.0).unwrap(), 355.9, 0.5);
    let poorer = Line::through(&run.map(|(day, level)| point(day, level, 0.05))).unwrap();
    near(poorer.scatter, 0.05, 1e-9);
    assert!(poorer.bound(MIN.ln(), 180.0) < line.bound(MIN.ln(), 180.0), "a lucky fit is no better than its readings");
}

/// A third test in line with two others makes the bound at 95 % better, not worse: 318.3 d by two, 319.6 by three
/// (computed in scipy; 0.5 d).
#[test]
fn another_test_in_line_does_no_harm() {
    let three = Line::through(&[point(0.0, 1_200.0, 0.05), point(75.0, 1_068.0, 0.05), point(150.0, 950.0, 0.05)]).unwrap();
    near(three.bound(MIN.ln(), 150.0).unwrap(), 319.6, 0.5);
    let two = Line { quantile: normal_quantile(0.95), ..two(1_200.0, 950.0, 150.0, 0.05) };
    near(two.bound(MIN.ln(), 150.0).unwrap(), 318.3, 0.5);
}

/// 0.0015574 ± 0.0004714 drawn toward 0.0020 ± 0.0010: 0.001638 ± 0.000426; 950 to 600 in 280.6 d, early 210.4 d
/// (computed; 0.3 d).
#[test]
fn j6_drawn_toward_the_fleet() {
    let rate = Rate { per_day: 0.001_557_4, sd: 0.000_471_4 }.shrunk(Rate { per_day: 0.002_0, sd: 0.001_0 });
    near(rate.per_day, 0.001_638, 1e-6);
    near(rate.sd, 0.000_426, 1e-6);
    let line = Line::from_one(point(0.0, 950.0, 1e-9), rate);
    near(line.meets(MIN.ln()).unwrap(), 280.6, 0.3);
    near(line.bound(MIN.ln(), 0.0).unwrap(), 210.4, 0.3);
}

/// 0.0015574 a day of 400 gal: 0.623 gal a day, 227 gal a year (computed, 0.5 %); ± from the tests and the volume.
#[test]
fn j7_loss_as_water() {
    let rate = Rate { per_day: 0.001_557_4, sd: 0.000_471 };
    let loss = loss_per_day(rate, four_hundred(40)).unwrap();
    near(loss.ml.us_gallons(), 0.623, 0.003);
    near(loss.ml.us_gallons() * 365.0, 227.0, 1.1);
    near(loss.plus_minus.us_gallons(), (0.000_471_f64 * 400.0).hypot(0.001_557_4 * 40.0), 0.001);
    assert_eq!(loss.text(UnitsFirst::Us), "0.62 gal ± 0.20 a day");
}

/// 400 gal, 100 metered, 1,000 to 900: 42.14 gal of liquid, 57.86 of vapour (computed, 0.05); in words where they do not add up.
#[test]
fn d10_leak_apart_from_vapour() {
    let sure = |level| Measured { level: mg(level), sd: mg(1) };
    let gallons = |n| Millilitres::from_us_gallons(n).unwrap();
    let found = balance(four_hundred(1), sure(1_000), sure(900), Some((gallons(100), gallons(1)))).unwrap();
    near(found.liquid.ml / 3_785.411_784, 42.14, 0.05);
    let Vapour::Gone(vapour) = found.vapour else { panic!("{found:?}") };
    near(vapour.ml / 3_785.411_784, 57.86, 0.05);
    let missing = balance(four_hundred(1), sure(1_000), sure(900), Some((gallons(10), gallons(1)))).unwrap();
    assert!(matches!(missing.vapour, Vapour::Missing(_)));
    assert!(missing.words(UnitsFirst::Us).ends_with("meter missing or inhibitor lost otherwise."), "{}", missing.words(UnitsFirst::Us));
    let unmetered = balance(four_hundred(1), sure(1_000), sure(900), None).unwrap();
    assert_eq!(unmetered.vapour, Vapour::NotMetered);
    let rough = Measured { level: mg(1_000), sd: mg(50) };
    let poor = balance(four_hundred(40), rough, Measured { level: mg(980), sd: mg(49) }, Some((gallons(12), gallons(1)))).unwrap();
    assert!(matches!(poor.vapour, Vapour::WithinError(_)) && poor.words(UnitsFirst::Metric).starts_with("No loss of liquid to be told"));
    let little = balance(four_hundred(40), rough, Measured { level: mg(980), sd: mg(49) }, Some((gallons(5), gallons(1)))).unwrap();
    assert!(matches!(little.vapour, Vapour::WithinError(share) if share.ml < 0.0), "{little:?}");
    assert!(balance(four_hundred(1), sure(0), sure(900), None).is_none());
}

#[test]
fn a_forecast_with_all_its_parts() {
    let found = look(&[tested(150, 950, 48), tested(0, 1_200, 60)], &[], None);
    let Forecast::Foreseen(foreseen) = &found else { panic!("{found:?}") };
    assert_eq!(foreseen.expected, START + Duration::days(445));
    assert_eq!(foreseen.test_by, START + Duration::days(333), "the normal interval ends before the bound");
    assert_eq!(foreseen.wedge.expected[1], (START + Duration::days(445), mg(600)));
    assert!((START + Duration::days(337)..=START + Duration::days(339)).contains(&foreseen.wedge.early[1].0));
    assert_eq!(foreseen.wedge.expected[0], (START + Duration::days(150), mg(950)));
    near(foreseen.half_life_days, std::f64::consts::LN_2 / 0.001_557_4, 0.1);
    near(foreseen.loss_per_day.unwrap().ml.us_gallons(), 0.623, 0.003);
    assert!(!foreseen.far_ahead && foreseen.past_season && !foreseen.with_usual && foreseen.tests == 2);
    assert_eq!(
        found.words(),
        "Expected at the minimum about Dec 20, 2026, if it goes on so past the season, by 2 tests. Test by Aug 30, 2026."
    );
    let later = look(&[tested(0, 1_500, 45), tested(60, 1_350, 41)], &[], None);
    assert!(later.words().contains("more than twice as far ahead"), "{}", later.words());
    // 295 days ahead of 150 observed are not more than twice as many; 306 are.
    let history = History { tests: &[tested(0, 1_200, 60), tested(150, 950, 48)], changes: &[], volume: None };
    let lower = forecast(&history, mg(590), None, &ForecastRules::default());
    assert!(matches!(lower, Forecast::Foreseen(found) if found.far_ahead && found.loss_per_day.is_none()));
}

/// A kit that claims no error is not believed: 1,000 to 940 is no fall at the least error of 3 %.
#[test]
fn no_kit_is_perfect() {
    assert!(matches!(look(&[tested(0, 1_000, 0), tested(120, 940, 0)], &[], None), Forecast::NotEnoughChange { .. }));
}

/// J6 through the whole: middle at day 75 and 1,067.7 mg/L, 0.001638 a day, so 427 d (by hand; 2 d, for the errors of the
/// readings are rounded to whole mg/L here).
#[test]
fn the_fleet_is_weighed_in() {
    let usual = Some(Rate { per_day: 0.002_0, sd: 0.001_0 });
    let found = look(&[tested(0, 1_200, 60), tested(150, 950, 48)], &[], usual);
    let Forecast::Foreseen(foreseen) = &found else { panic!("{found:?}") };
    near(f64::from(i32::try_from((foreseen.expected - START).whole_days()).unwrap()), 427.0, 2.0);
    assert!(foreseen.with_usual && found.words().contains("what it and its kind usually lose"));
}

#[test]
fn refusals_in_words() {
    let tests = [tested(0, 1_200, 60), tested(150, 950, 48)];
    let at = |day: i64, what| Changed { on: START + Duration::days(day), what };
    assert_eq!(look(&[], &[], None).words(), "No test on record.");
    assert_eq!(look(&tests, &[at(150, Change::Dose)], None).words(), "No test since the dose of Feb 28, 2026.");
    let older = "The test is older than the water, which was changed on Mar 1, 2026.";
    assert_eq!(look(&tests, &[at(151, Change::Refill), at(151, Change::Dose)], None).words(), older);
    assert_eq!(look(&tests, &[at(151, Change::Drain)], None).words(), older);
    assert_eq!(
        look(&tests, &[at(160, Change::ShutDown)], None).words(),
        "No test since the unit was started or shut down on Mar 10, 2026."
    );
    let one = look(&tests, &[at(10, Change::Dose)], None);
    assert_eq!(one, Forecast::OneTest { test_by: START + Duration::days(333) });
    assert!(matches!(look(&tests, &[at(150, Change::StartUp)], None), Forecast::OneTest { .. }), "the level stands, the loss is new");
    assert!(look(&[tested(0, 900, 30), tested(100, 1_200, 40)], &[], None).words().contains("risen since Oct 1, 2025"));
    assert!(look(&[tested(0, 900, 30), tested(100, 600, 20)], &[], None).words().starts_with("At or below the minimum"));
    assert_eq!(look(&tests, &[], None).test_by(), Some(START + Duration::days(333)));
    assert_eq!(look(&[], &[], None).test_by(), None);
}

/// What is usual for the kind brings the day to test forward where a unit's own tests say nothing yet.
#[test]
fn the_fleet_makes_a_new_unit_careful() {
    let usual = Rate { per_day: 0.004, sd: 0.001 };
    let one = look(&[tested(0, 900, 45)], &[], Some(usual));
    assert!(one.test_by().unwrap() < START + Duration::days(90), "{one:?}");
    // 900 to 600 at 0.004 a day: ln(1.5) / 0.004 = 101.4 d.
    assert!(matches!(&one, Forecast::Foreseen(found) if found.expected == START + Duration::days(101)), "{one:?}");
    let hardly = Rate { per_day: 0.001, sd: 0.001 };
    assert!(matches!(look(&[tested(0, 900, 45)], &[], Some(hardly)), Forecast::OneTest { .. }), "a rate that may be nothing names no date");
    let flat = look(&[tested(0, 1_000, 50), tested(120, 980, 49)], &[], Some(usual));
    assert!(flat.test_by().unwrap() < START + Duration::days(120 + 100), "{flat:?}");
}

/// Moments by hand: five equal rates give their mean, held to a spread of a fifth; four give nothing.
#[test]
fn what_is_usual_for_a_kind() {
    let rates = [0.001_0, 0.001_5, 0.002_0, 0.002_5, 0.003_0];
    let units = rates.iter().map(|k| ("boiler shed", Rate { per_day: *k, sd: 0.000_1 }));
    let few = rates[1..].iter().map(|k| ("small", Rate { per_day: *k, sd: 0.000_1 }));
    let found = fleet(units.chain(few));
    assert_eq!(found.len(), 1);
    let usual = found["boiler shed"];
    near(usual.per_day, 0.002_0, 1e-12);
    // Q = 250 on 4 degrees; τ² = (250 - 4)/(5e8 - 5e16/5e8) = 6.15e-7; sd² = τ² + (τ² + 1e-8)/5.
    near(usual.sd, (6.15e-7_f64 + 6.25e-7 / 5.0).sqrt(), 1e-9);
    let alike = fleet((0..5).map(|_| ("a", Rate { per_day: 0.002, sd: 0.001 })));
    near(alike["a"].sd, (0.001_f64 * 0.001 / 5.0).sqrt(), 1e-12);
    let too_alike = fleet((0..5).map(|_| ("a", Rate { per_day: 0.002, sd: 0.000_1 })));
    near(too_alike["a"].sd, 0.2 * 0.002, 1e-12);
    let history = History { tests: &[tested(0, 1_200, 60), tested(150, 950, 48)], changes: &[], volume: None };
    near(own_rate(&history, Use::Heating, true, &ForecastRules::default()).unwrap().per_day, 0.001_557_4, 1e-7);
}

/// A winter, a summer and a winter again, tested at each turn: two rates, kept apart, and the open run after the last dose.
#[test]
fn a_record_is_cut_into_runs_by_use() {
    let at = |day: i64, what| Changed { on: START + Duration::days(day), what };
    let tests = [tested(0, 1_000, 30), tested(200, 700, 21), tested(380, 690, 21), tested(381, 1_000, 60), tested(470, 850, 26)];
    let changes = [at(0, Change::StartUp), at(200, Change::ShutDown), at(380, Change::StartUp), at(380, Change::Dose)];
    let history = History { tests: &tests, changes: &changes, volume: None };
    let found = runs(&history);
    // Those of two tests: the winter, the summer, and the winter that is open. The test of day 0 and of day 200 stand in two runs.
    let shape: Vec<(Use, usize, bool)> = found.iter().map(|run| (run.used, run.tests.len(), run.open)).collect();
    assert_eq!(shape, [(Use::Heating, 1, false), (Use::Heating, 2, false), (Use::Resting, 2, false), (Use::Heating, 2, true)]);
    assert_eq!(used_now(&history), Use::Heating);
    let rules = ForecastRules::default();
    let earlier = own_rate(&history, Use::Heating, false, &rules).unwrap();
    near(earlier.per_day, (1_000.0_f64 / 700.0).ln() / 200.0, 1e-9);
    near(own_rate(&history, Use::Resting, true, &rules).unwrap().per_day, (700.0_f64 / 690.0).ln() / 180.0, 1e-9);
    let both = own_rate(&history, Use::Heating, true, &rules).unwrap();
    let open = (1_000.0_f64 / 850.0).ln() / 89.0;
    assert!(both.per_day > earlier.per_day.min(open) && both.per_day < earlier.per_day.max(open) && both.sd < earlier.sd);
    // A season is never quite like another: the sd of one winter is widened by a fifth of its rate.
    near(earlier.sd, (0.03_f64.hypot(0.03) / 200.0).hypot(0.2 * earlier.per_day), 1e-9);
    let usual = usual_rate(Some(earlier), None).unwrap();
    assert_eq!(usual, earlier);
    let leaking = Rate { per_day: 0.007_6, sd: 0.001_5 };
    assert_eq!(usual_rate(Some(leaking), Some(earlier)), Some(leaking), "a leak is not of its kind");
    assert_eq!(usual_rate(None, Some(earlier)), Some(earlier));
    assert_eq!(usual_rate(None, None), None);
    assert!(usual_rate(Some(earlier), Some(both)).unwrap().sd < usual.sd.min(both.sd));
}

/// The level that a dose left counts until a test has shown it, and is not called a test.
#[test]
fn a_level_worked_out_is_no_test() {
    let after = Tested { worked_out: true, ..tested(0, 1_000, 60) };
    let found = look(&[after, tested(150, 750, 30)], &[], None);
    assert!(found.words().contains("by 1 test."), "{}", found.words());
    let usual = Rate { per_day: 0.002, sd: 0.000_5 };
    assert!(look(&[after], &[], Some(usual)).words().contains("by the last dose and what it and its kind usually lose"));
}

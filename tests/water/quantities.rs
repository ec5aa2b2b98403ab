//! Quantities: parsing, refusing, display.

use embertide::units::*;
use proptest::prelude::*;
use time::macros::date;

#[test]
fn people_type_numbers_in_many_ways() {
    assert_eq!(parse_mg_per_litre("1,050").unwrap().get(), 1_050);
    assert_eq!(parse_mg_per_litre(" 1050 ppm ").unwrap().get(), 1_050);
    assert_eq!(parse_drops("13 drops").unwrap(), 13);
    assert_eq!(parse_drops("13.0").unwrap(), 13);
    assert_eq!(parse_ph("7.9").unwrap().get(), 790);
    assert_eq!(parse_ph("pH 8.55").unwrap().to_string(), "8.55");
    assert_eq!(parse_ph("pH8.5").unwrap().to_string(), "8.5");
    assert_eq!(parse_volume("400 gal", VolumeUnit::Litre).unwrap().0.get(), 1_514_165);
    assert_eq!(parse_volume("1514 L", VolumeUnit::UsGallon).unwrap(), (Millilitres::new(1_514_000).unwrap(), VolumeUnit::Litre));
    assert_eq!(parse_volume("400", VolumeUnit::UsGallon).unwrap().0.get(), 1_514_165);
    assert_eq!(parse_volume("22 fl. oz.", VolumeUnit::Litre).unwrap().0.get(), 651);
    // NIST SP 811 (2008), B.8: 1 Btu (IT) an hour is 0.293 071 1 W.
    assert_eq!(parse_output("200,000 Btu/h", UnitsFirst::Metric).unwrap(), 58_614);
    assert_eq!((parse_output("58.6 kW", UnitsFirst::Us).unwrap(), parse_output("58.6", UnitsFirst::Metric).unwrap()), (58_600, 58_600));
    assert_eq!((output(58_614, UnitsFirst::Us), output(58_600, UnitsFirst::Metric)), ("200,000 Btu/h".to_owned(), "59 kW".to_owned()));
    assert!(parse_output("58", UnitsFirst::Us).is_err() && parse_output("3 MW", UnitsFirst::Us).is_err(), "a slip of the unit");
    assert_eq!(parse_celsius("180 F", TemperatureUnit::Celsius).unwrap().get(), 822);
    assert_eq!(parse_celsius("-40 °F", TemperatureUnit::Celsius).unwrap().get(), -400);
    assert_eq!(parse_length("150 ft", UnitsFirst::Metric).unwrap().get(), 45_720_000);
    // 1 grain per US gallon is 17.118 mg/L (64.79891 mg / 3.785411784 L, computed).
    assert_eq!(parse_mg_per_litre("17 gpg").unwrap().get(), 291);
}

#[test]
fn wrong_input_is_refused_with_what_to_do() {
    assert!(matches!(parse_ph("7,9"), Err(UnitError::DecimalComma { .. })));
    assert!(parse_ph("7,9").unwrap_err().to_string().contains("7.9"));
    assert!(matches!(parse_mg_per_litre("1.050,5"), Err(UnitError::DecimalComma { .. })));
    assert!(matches!(parse_mg_per_litre("0,500"), Err(UnitError::DecimalComma { .. })));
    assert!(matches!(parse_mg_per_litre("10,50"), Err(UnitError::DecimalComma { .. })));
    assert!(matches!(parse_volume("400 gal (imp)", VolumeUnit::Litre), Err(UnitError::Imperial { .. })));
    assert!(parse_volume("3 buckets", VolumeUnit::Litre).unwrap_err().to_string().contains("US gal"));
    assert!(matches!(parse_volume("22 oz", VolumeUnit::Litre), Err(UnitError::UnknownUnit { .. })));
    assert!(matches!(parse_drops("13.5"), Err(UnitError::NotWhole { .. })));
    assert!(matches!(parse_drops("-1"), Err(UnitError::OutOfRange { .. })));
    assert!(matches!(parse_ph("14.01"), Err(UnitError::OutOfRange { .. })));
    assert!(matches!(parse_ph(""), Err(UnitError::Empty { .. })));
    for text in ["NaN", "inf", "-", "1 000", "twelve", "."] {
        assert!(matches!(parse_mg_per_litre(text), Err(UnitError::NotANumber { .. })), "{text}");
    }
    assert!(parse_mg_per_litre("1e3").is_err());
    assert!(matches!(parse_mg_per_litre("99999999999999999999"), Err(UnitError::TooManyDigits { .. })));
}

#[test]
fn both_units_stand_on_every_dose() {
    let amount = Millilitres::new(650).unwrap();
    // 650 mL is 21.98 fl oz: rounded up.
    assert_eq!(dose_text(amount, amount.us_fl_oz_up(), UnitsFirst::Metric), "650 mL (22 fl oz)");
    assert_eq!(dose_text(amount, amount.us_fl_oz_up(), UnitsFirst::Us), "22 fl oz (650 mL)");
    let large = Millilitres::new(12_350).unwrap();
    assert_eq!(dose_text(large, large.us_fl_oz_up(), UnitsFirst::Metric), "12.35 L (3 gal 34 fl oz)");
    assert_eq!(dose_text(Millilitres::new(10).unwrap(), 0, UnitsFirst::Metric), "10 mL (less than 1 fl oz)");
    let jacket = Millilitres::from_us_gallons(400).unwrap();
    assert_eq!(jacket.both(UnitsFirst::Us), "400 gal (1,514 L)");
    assert_eq!(jacket.both(UnitsFirst::Metric), "1,514 L (400 gal)");
    assert_eq!(jacket.plus_minus(Millilitres::from_us_gallons(20).unwrap(), UnitsFirst::Us), "400 gal ± 20");
    assert_eq!(Millilitres::new(1_500).unwrap().both(UnitsFirst::Us), "0.4 gal (1.5 L)");
    assert_eq!(thousands(-1_234_567), "-1,234,567");
    assert_eq!(thousands(i64::MIN), "-9,223,372,036,854,775,808");
}

#[test]
fn dates_are_read_and_shown_in_one_way_only() {
    let day = date!(2026 - 10 - 05);
    assert_eq!(day_short(day), "Mon Oct 5");
    assert_eq!(day_long(day), "Monday, October 5, 2026");
    assert_eq!(day_with_year(day), "Oct 5, 2026");
    for text in ["2026-10-05", "Oct 5, 2026", "October 5 2026", "5 Oct 2026", "oct 5, 2026", "5-Oct-2026", "Oct. 5, 2026", "2026/10/05"] {
        assert_eq!(parse_date(text).unwrap(), day, "{text}");
    }
    for text in ["10/5/26", "10/5/2026", "10-5-2026", "5.10.2026"] {
        assert!(matches!(parse_date(text), Err(UnitError::AmbiguousDate { .. })), "{text}");
    }
    for text in ["Oct 5, 26", "Feb 29, 2026", "2026-13-01", "tomorrow", "2026-10", "June 31, 2026"] {
        assert!(matches!(parse_date(text), Err(UnitError::NotADate { .. })), "{text}");
    }
    assert_eq!(parse_date("Feb 29, 2028").unwrap(), date!(2028 - 02 - 29));
}

#[test]
fn a_stored_number_out_of_range_is_refused() {
    assert_eq!(serde_json::from_str::<Ph>("850").unwrap().get(), 850);
    assert!(serde_json::from_str::<Ph>("1401").is_err());
    assert!(serde_json::from_str::<Millilitres>("-1").is_err());
    assert_eq!(serde_json::to_string(&Millilitres::new(650).unwrap()).unwrap(), "650");
}

/// NIST Handbook 44, appendix C: 1 US gal = 3.785411784 L, 1 qt = gal/4, 1 pt = gal/8, 1 fl oz = gal/128.
#[test]
fn us_measures_match_their_definitions() {
    let ml = |text: &str| parse_volume(text, VolumeUnit::Litre).unwrap().0.get();
    assert_eq!(ml("1000 gal"), 3_785_412);
    assert_eq!(ml("4000 qt"), ml("1000 gal"));
    assert_eq!(ml("8000 pt"), ml("1000 gal"));
    assert_eq!(ml("128000 fl oz"), ml("1000 gal"));
}

proptest! {
    #![proptest_config(crate::cases(2_000))]

    #[test]
    fn no_text_panics(text in ".{0,30}") {
        let _ = (parse_volume(&text, VolumeUnit::UsGallon), parse_drops(&text), parse_ph(&text), parse_date(&text));
        let _ = (parse_mg_per_litre(&text), parse_celsius(&text, TemperatureUnit::Fahrenheit), parse_length(&text, UnitsFirst::Us));
    }

    #[test]
    fn no_number_like_text_panics(text in "[-+0-9.,]{0,24} ?(gal|L|F|gpg|ft|fl oz)?") {
        let _ = (parse_volume(&text, VolumeUnit::UsGallon), parse_drops(&text), parse_ph(&text), parse_date(&text));
        let _ = (parse_mg_per_litre(&text), parse_celsius(&text, TemperatureUnit::Fahrenheit), parse_length(&text, UnitsFirst::Us));
    }

    #[test]
    fn what_is_shown_can_be_typed_back(n in 0_i64..1_000_000) {
        let value = MgPerLitre::new(n).unwrap();
        prop_assert_eq!(parse_mg_per_litre(&value.to_string()).unwrap(), value);
        let ph = Ph::new(n % 1_401).unwrap();
        prop_assert_eq!(parse_ph(&ph.to_string()).unwrap(), ph);
    }

    /// A volume in gallons, litres and fluid ounces comes back within half of its last shown place.
    #[test]
    fn volumes_round_trip(gallons in 20_i64..20_000) {
        let volume = Millilitres::from_us_gallons(gallons).unwrap();
        let text = volume.both(UnitsFirst::Us);
        let (us, metric) = text.split_once(" (").unwrap();
        prop_assert_eq!(parse_volume(us, VolumeUnit::Litre).unwrap().0, volume);
        let back = parse_volume(metric.trim_end_matches(')'), VolumeUnit::UsGallon).unwrap().0;
        prop_assert!((back.get() - volume.get()).abs() <= 500);
        let oz = i64::from(volume.us_fl_oz_up());
        let by_oz = parse_volume(&format!("{oz} fl oz"), VolumeUnit::Litre).unwrap().0.get();
        prop_assert!((0..=31).contains(&(by_oz - volume.get())), "{} {}", by_oz, volume.get());
    }

    #[test]
    fn dates_round_trip(days in 0_i64..90_000) {
        let day = date!(1950 - 01 - 01) + time::Duration::days(days);
        prop_assert_eq!(parse_date(&day.to_string()).unwrap(), day);
        prop_assert_eq!(parse_date(&day_with_year(day)).unwrap(), day);
    }
}

#[test]
fn parts_of_a_whole_are_written_as_people_write_them() {
    let written = [(20_000, 1000), (6_500, 1000), (-3_500, 1000), (-500, 1000), (0, 100), (230_000, 10_000), (7, 1), (i64::MIN, 10)];
    let written = written.map(|(value, per)| embertide::units::decimal(value, per));
    assert_eq!(written, ["20", "6.5", "-3.5", "-0.5", "0", "23", "7", "-922337203685477580.8"]);
}

#[test]
fn a_ph_that_no_heater_has_is_doubted() {
    let doubted = |hundredths| embertide::water::is_doubtful_ph(embertide::units::Ph::new(hundredths).unwrap());
    assert!([0, 300, 499, 1201, 1400].into_iter().all(doubted), "vinegar and lye");
    assert!(![500, 700, 890, 1050, 1200].into_iter().any(doubted), "rain to the strongest programme");
}

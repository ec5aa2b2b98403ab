//! Onset and end of the heating season: checks I1, I2, the interpolation example, and the windows around them.

use embertide::season::onset::{
    MonthlyNormals, OnsetError, OnsetRules, ServiceWindows, daily_degree_days, day_of_year, monthly_degree_days, service_windows,
};
use embertide::season::{MonthDay, SeasonCalendar};
use proptest::prelude::*;
use time::Month;

/// Monthly means of a place in the south-east of the US, °C: September 20.08 and October 13.12 from a typical
/// meteorological year, the others made up to fit.
const MEANS: [f64; 12] = [3.5, 5.2, 9.8, 14.6, 19.2, 23.4, 25.3, 24.6, 20.08, 13.12, 9.0, 4.6];

fn day(month: Month, day: u8) -> MonthDay {
    MonthDay::new(month, day).unwrap()
}

/// A textbook's solved example (Denver, May): mean 57.2 °F, deviation 8.7, 31 days, base 60: 156.5 °F-days; 0.1.
#[test]
fn i1_monthly_degree_days() {
    let found = monthly_degree_days(57.2, 8.7, 31, 60.0).unwrap();
    println!("off by {}", (found - 156.5).abs());
    assert!((found - 156.5).abs() <= 0.1, "{found}");
}

/// A regional climate centre's page: a day of 50 °F has 15 degree-days at base 65; exact.
#[test]
#[expect(clippy::float_cmp, reason = "exact by definition")]
fn i2_daily_degree_days() {
    assert_eq!(daily_degree_days(50.0, 65.0), 15.0);
    assert_eq!(daily_degree_days(70.0, 65.0), 0.0);
}

/// 20.08 in September and 13.12 in October cross 15 °C on day 258 + 30 × 5.08/6.96 = 279.9, Oct 7 (by hand; the daily
/// record of that year gives day 278); 0.05.
#[test]
fn onset_between_two_months() {
    let season = MonthlyNormals::new(MEANS).unwrap().season(15.0).unwrap();
    assert!((season.onset - 279.9).abs() <= 0.05, "{}", season.onset);
    assert_eq!(day_of_year(season.onset).unwrap(), day(Month::October, 7));
    // By hand: day 105 + 30 × 0.4/4.6 = 107.6.
    assert!((season.end - 107.6).abs() <= 0.05, "{}", season.end);
}

/// Oct 7 less 42 and 14 days, and 42 days from Apr 18 on (default figures of our own).
#[test]
fn windows_around_a_season() {
    let season = MonthlyNormals::new(MEANS).unwrap().season(15.0).unwrap();
    let windows = service_windows(season, &OnsetRules::default()).unwrap();
    let spring = (day(Month::April, 18), day(Month::May, 30));
    let fall = (day(Month::August, 26), day(Month::September, 23));
    assert_eq!(windows, ServiceWindows { spring, fall });
    SeasonCalendar::new(windows.spring, windows.fall).unwrap();
    let crossed = OnsetRules { fall_opens_before: 7, ..OnsetRules::default() };
    assert!(matches!(service_windows(season, &crossed), Err(OnsetError::Window(_))));
}

#[test]
fn places_without_a_season() {
    assert_eq!(MonthlyNormals::new([25.0; 12]).unwrap().season(15.0), Err(OnsetError::NeverCold));
    assert_eq!(MonthlyNormals::new([5.0; 12]).unwrap().season(15.0), Err(OnsetError::AlwaysCold));
    assert_eq!(MonthlyNormals::new([f64::NAN; 12]), Err(OnsetError::Normals));
    assert_eq!(MonthlyNormals::new(MEANS).unwrap().season(f64::NAN), Err(OnsetError::Normals));
    for bad in [f64::NAN, 0.0, -1.0] {
        assert_eq!(monthly_degree_days(10.0, bad, 30, 18.0), Err(OnsetError::Spread));
    }
}

/// By hand: at a vanishing spread the year's degree-days are the plain sum of days × what is lacking.
#[test]
fn degree_days_of_a_year() {
    let days = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
    let plain: f64 = MEANS.iter().zip(days).map(|(mean, n)| daily_degree_days(*mean, 18.33) * n).sum();
    let normals = MonthlyNormals::new(MEANS).unwrap();
    let found = normals.degree_days([1e-6; 12], 18.33).unwrap();
    assert!((found - plain).abs() < 1e-3, "{found} {plain}");
    assert!(normals.degree_days([4.0; 12], 18.33).unwrap() > plain, "a spread only adds");
}

proptest! {
    #![proptest_config(crate::cases(1_000))]

    /// Any normals give a season within the year or a reason, and a lower threshold never begins sooner in one fall.
    #[test]
    fn always_within_the_year(means in prop::array::uniform12(-30.0_f64..35.0), threshold in 0.0_f64..20.0) {
        let normals = MonthlyNormals::new(means).unwrap();
        if let Ok(season) = normals.season(threshold) {
            prop_assert!((1.0..366.0).contains(&season.onset) && (1.0..366.0).contains(&season.end), "{season:?}");
            prop_assert!(day_of_year(season.onset).is_ok());
        }
    }

    /// Degree-days never fall when the base rises, and are never below those of the mean alone.
    #[test]
    fn degree_days_grow_with_the_base(mean in -40.0_f64..40.0, spread in 0.1_f64..9.0, base in -10.0_f64..25.0, more in 0.0_f64..10.0) {
        let low = monthly_degree_days(mean, spread, 30, base).unwrap();
        prop_assert!(monthly_degree_days(mean, spread, 30, base + more).unwrap() >= low - 1e-9);
        prop_assert!(low >= 30.0 * daily_degree_days(mean, base) - 1e-6);
    }
}

/// Two typical years (`tests/reference/degree_days.py`): the closed form equals the integral of the normal distribution, and a
/// year summed from monthly means and spreads is within 1 % of the sum of its days.
#[test]
fn degree_days_of_two_typical_years() {
    let (mut by_days, mut by_means) = ([0.0; 2], [0.0; 2]);
    for line in include_str!("../reference/degree_days.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let figure = |at: usize| cells[at].parse::<f64>().unwrap();
        let days: u8 = cells[2].parse().unwrap();
        let found = monthly_degree_days(figure(3), figure(4), days, 18.33).unwrap();
        assert!((found - figure(6)).abs() < 0.001, "{line}: {found}");
        let station = usize::from(cells[0] != "Greensboro");
        by_days[station] += figure(5);
        by_means[station] += found;
    }
    for station in 0..2 {
        let off = (by_means[station] / by_days[station] - 1.0).abs();
        println!("{:.1} by days, {:.1} by means, off by {:.3} %", by_days[station], by_means[station], off * 100.0);
        assert!(off < 0.01);
    }
}

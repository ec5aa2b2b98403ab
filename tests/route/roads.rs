//! Estimated driving.

use embertide::roads::{Estimate, Position, great_circle_m};
use embertide::route::Matrix;

fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

fn close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{got} is not {want} within {tolerance}");
}

/// Expected values: Python geographiclib 2.1, `Geodesic(6371008.8, 0).Inverse(..)["s12"]`, the geodesic of a sphere.
/// Tolerance 1 mm, 1 in 10^9 of the longest; near the antipode, where haversine is weakest, 10 cm.
#[test]
fn great_circles_equal_a_geodesic_library_on_the_sphere() {
    for (a, b, metres, tolerance) in [
        (at(44.5, -72.5), at(44.6, -72.3), 19_360.119_201, 0.001),
        (at(45.0, -90.0), at(46.0, -91.0), 135_786.278_183, 0.001),
        (at(44.0, -73.0), at(44.0001, -73.0), 11.119_508, 0.001),
        (at(89.9, 10.0), at(89.9, -170.0), 22_239.016_047, 0.001),
        (at(-33.0, 179.9), at(-33.2, -179.8), 35_714.113_116, 0.001),
        (at(60.0, 0.0), at(60.0, 90.0), 4_604_546.252_881, 0.01),
        (at(0.0, 0.0), at(0.0, 180.0), 20_015_114.442_036, 0.1),
        (at(10.0, 20.0), at(-10.0, -159.5), 19_960_361.558_719, 0.1),
    ] {
        close(great_circle_m(a, b), metres, tolerance);
        close(great_circle_m(b, a), metres, tolerance);
    }
}

/// Worked example of the Aviation Formulary (section "Worked examples", Los Angeles to New York,
/// 33°57'N 118°24'W to 40°38'N 73°47'W): 0.623585 radians. Value from memory; the library above gives 0.6235847.
#[test]
fn the_great_circle_of_a_published_example() {
    let (a, b) = (at(33.0 + 57.0 / 60.0, -118.4), at(40.0 + 38.0 / 60.0, -(73.0 + 47.0 / 60.0)));
    close(great_circle_m(a, b) / 6_371_008.8, 0.623_585, 0.000_000_5);
}

/// Expected distances on the ellipsoid: geographiclib 2.1, WGS 84. A sphere is at most 0.56 % off:
/// little beside the road factor, which is only an estimate.
#[test]
fn the_sphere_is_near_enough_to_the_ellipsoid() {
    for (a, b, metres) in [
        (at(44.5, -72.5), at(44.6, -72.3), 19_391.967),
        (at(45.0, -90.0), at(46.0, -91.0), 135_869.091),
        (at(60.0, 0.0), at(60.0, 90.0), 4_621_284.366),
    ] {
        close(great_circle_m(a, b) / metres, 1.0, 0.0056);
    }
}

#[test]
fn what_is_not_on_earth_is_refused() {
    for (lat, lon) in [
        (f64::NAN, 0.0),
        (0.0, f64::NAN),
        (f64::INFINITY, 0.0),
        (0.0, f64::NEG_INFINITY),
        (90.1, 0.0),
        (-90.1, 0.0),
        (0.0, 180.1),
        (0.0, -180.1),
    ] {
        assert!(Position::new(lat, lon).is_err(), "{lat} {lon}");
    }
    assert!(Position::new(-90.0, 180.0).is_ok());
    let said = Position::new(91.0, 5.0).unwrap_err().to_string();
    assert_eq!(said, "latitude 91 and longitude 5 are not a position on earth");
}

/// By hand: a degree of latitude is 6371008.8 m x pi / 180 = 111195.080 m; x 1.3 = 144553.604 m = 89.8214 miles.
/// Speed 55 - 25 exp(-89.8214 / 8) = 54.99967 mph, so 5879.26 s, and 60 s for the stop.
#[test]
fn a_drive_worked_by_hand() {
    let drive = Estimate::default().drive(at(44.0, -73.0), at(45.0, -73.0)).unwrap();
    assert_eq!(drive, (5_939, 144_554));
}

/// By hand: with no rise, no factor and no stop, 10 miles at 30 mph are 20 min. 10 miles are 16093.44 m of a
/// meridian, 16093.44 / 111195.080 = 0.1447316 degrees.
#[test]
fn ten_miles_at_thirty_are_twenty_minutes() {
    let flat = Estimate { road_factor: 1.0, fast_mph: 30.0, per_stop_s: 0.0, ..Estimate::default() };
    assert_eq!(flat.drive(at(44.0, -73.0), at(44.144_731_6, -73.0)).unwrap(), (1_200, 16_093));
}

#[test]
fn a_table_is_square_symmetric_and_fit_for_planning() {
    let places = [at(44.0, -73.0), at(44.2, -73.1), at(44.0, -73.0), at(-89.0, 90.0)];
    let (seconds, metres) = Estimate::default().matrix(&places).unwrap();
    for a in 0..4 {
        for b in 0..4 {
            assert_eq!(seconds[a * 4 + b], seconds[b * 4 + a]);
            assert_eq!(seconds[a * 4 + b] == 0, a == b || (a + b == 2 && a != 1), "{a} {b}");
        }
    }
    assert_eq!((seconds[1], metres[1]), Estimate::default().drive(places[0], places[1]).unwrap());
    assert!(Matrix::new(4, seconds).and_then(|m| m.with_metres(metres)).is_ok());
    assert_eq!(Estimate::default().matrix(&[]).unwrap(), (vec![], vec![]));
}

#[test]
fn the_slowest_way_round_the_earth_is_fit_for_planning() {
    let slow = Estimate { road_factor: 10.0, slow_mph: 5.0, fast_mph: 5.0, ..Estimate::default() };
    let (seconds, metres) = slow.matrix(&[at(0.0, 0.0), at(0.0, 180.0)]).unwrap();
    assert!(Matrix::new(2, seconds).and_then(|m| m.with_metres(metres)).is_ok());
}

#[test]
fn an_estimate_out_of_range_is_refused() {
    let good = Estimate::default();
    for bad in [
        Estimate { road_factor: 0.9, ..good },
        Estimate { road_factor: f64::NAN, ..good },
        Estimate { slow_mph: 0.0, ..good },
        Estimate { fast_mph: 20.0, ..good },
        Estimate { rise_miles: 0.0, ..good },
        Estimate { per_stop_s: -1.0, ..good },
        Estimate { per_stop_s: f64::INFINITY, ..good },
    ] {
        assert!(bad.matrix(&[at(0.0, 0.0)]).is_err(), "{bad:?}");
    }
}

//! Seconds between stops, by road or estimated, and how good each is.

use crate::world::{at, node, read, way};
use embertide::{
    roads::{
        Calibration, Drives, Estimate, Position, Quality, Roads,
        drives::{Recorded, TimeModel},
    },
    route::Matrix,
};
use std::sync::Arc;

/// A straight road of 0.1 degrees north, 11 119.5 m, at 65 km/h.
fn one_road() -> Drives {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.1, -90.0)];
    let (network, _) = read(&nodes, &[way(1, &[1, 2], &[("highway", "tertiary"), ("name", "Long Road")])]);
    Drives::new(Some(Arc::new(Roads::new(network))), Estimate::default()).unwrap()
}

/// By hand: 615.85 s on the road × 1.12 + 20 s = 709.75 s; 11 119.5 m.
#[test]
fn a_drive_by_road_worked_by_hand() {
    let table = one_road().table(&[at(44.0, -90.0), at(44.1, -90.0)]);
    assert_eq!(table.seconds, [0, 710, 710, 0]);
    assert!((table.metres[1] - 11_120).abs() <= 1, "{table:?}");
    assert_eq!(table.quality, [Quality::Road, Quality::Road]);
    assert_eq!(TimeModel::default(), TimeModel { factor: 1.12, per_leg_s: 20.0, off_road_factor: 1.3, off_road_kmh: 15.0 });
}

/// By hand: 0.005 degrees on the parallel of 44.05° are 555.975 m × cos 44.05° = 399.6 m off the road; × 1.3 at 15 km/h that is
/// 519.5 m and 124.7 s. With half the road, 307.93 × 1.12 + 20 = 364.88 s: 489.6 s.
#[test]
fn the_way_off_the_road_counts() {
    let table = one_road().table(&[at(44.0, -90.0), at(44.05, -89.995)]);
    assert!((table.seconds[1] - 490).abs() <= 1, "{table:?}");
    assert!((table.metres[1] - (5_560 + 520)).abs() <= 2, "{table:?}");
    assert!(matches!(table.quality[1], Quality::OffRoad { metres: 399..=400 }), "{table:?}");
    assert_eq!(table.quality[1].words(), "by road, the last 400 m off it");
}

#[test]
fn a_stop_without_a_road_is_estimated_and_says_so() {
    let drives = one_road();
    let far = at(44.0, -89.5);
    let stops = [at(44.0, -90.0), far, at(44.1, -90.0)];
    let table = drives.table(&stops);
    assert_eq!(table.quality, [Quality::Road, Quality::StraightLine, Quality::Road]);
    let straight = Estimate::default().drive(stops[0], far).unwrap();
    assert_eq!((table.seconds[1], table.metres[1]), straight);
    assert_eq!((table.seconds[3], table.metres[3]), straight);
    assert_eq!(table.seconds[2], 710, "the other two still go by road");
    let legs = drives.route(&stops);
    assert_eq!(legs.iter().map(|l| l.estimated).collect::<Vec<_>>(), [true, true]);
    assert_eq!(legs[0].shape.len(), 2);
}

#[test]
fn without_roads_all_is_the_estimate() {
    let drives = Drives::new(None, Estimate::default()).unwrap();
    let stops = [at(44.0, -90.0), at(44.3, -90.2), at(44.1, -90.0)];
    let table = drives.table(&stops);
    assert_eq!((table.seconds, table.metres), Estimate::default().matrix(&stops).unwrap());
    assert_eq!(table.quality, [Quality::StraightLine; 3]);
    assert_eq!([drives.label(), one_road().label()], ["estimated", "by road"]);
    assert!(Drives::new(None, Estimate { road_factor: 0.0, ..Estimate::default() }).is_err());
}

/// Two yards beside the same spot of the road are still a drive apart; a stop and itself are not.
#[test]
fn never_a_silent_nought() {
    let stops = [at(44.05, -90.000_1), at(44.05, -89.999_9), at(44.05, -90.000_1), at(80.0, 0.0), at(80.0, 0.000_01)];
    let table = one_road().table(&stops);
    for i in 0..5 {
        for j in 0..5 {
            let same = i == j || (i + j == 2 && i != 1);
            assert_eq!(table.seconds[i * 5 + j] == 0, same, "{i} {j}");
        }
    }
    assert!(Matrix::new(5, table.seconds).and_then(|m| m.with_metres(table.metres)).is_ok(), "fit for planning");
}

#[test]
fn a_route_costs_what_the_table_says() {
    let drives = one_road();
    let stops = [at(44.0, -90.0), at(44.05, -89.995), at(44.1, -90.0), at(44.1, -90.0), at(44.02, -90.0)];
    let table = drives.table(&stops);
    let legs = drives.route(&stops);
    assert_eq!(legs.len(), 4);
    for (i, leg) in legs.iter().enumerate() {
        assert_eq!((leg.seconds, leg.metres), (table.seconds[i * 5 + i + 1], table.metres[i * 5 + i + 1]), "leg {i}");
        assert!(!leg.estimated);
    }
    assert!(drives.route(&[]).is_empty() && drives.route(&stops[..1]).is_empty());
    assert!(drives.table(&[]).seconds.is_empty());
}

#[test]
fn recorded_drives_correct_the_times() {
    let drives = one_road();
    let (from, to) = (at(44.0, -90.0), at(44.1, -90.0));
    let drive = |seconds| Recorded { from, to, seconds };
    let few = drives.calibrate(&[drive(852); 19]);
    assert_eq!((few.drives, few.factor.to_bits()), (19, 1.0_f64.to_bits()));
    assert_eq!(few.sentence(), "19 of 20 recorded drives so far; times are not corrected yet.");
    // 852 s on the clock for 710 reckoned: a fifth longer. One who stopped for lunch does not count for more than one.
    let mut all = vec![drive(852); 24];
    all.push(drive(9_000));
    let known = drives.calibrate(&all);
    assert_eq!(known.drives, 25);
    assert!((known.factor - 1.2).abs() < 1e-9, "{known:?}");
    assert_eq!(known.sentence(), "Times are 20 % longer than reckoned, after 25 recorded drives.");
    let corrected = drives.clone().calibrated(known);
    assert_eq!(corrected.table(&[from, to]).seconds[1], 852);
    assert_eq!(corrected.calibrate(&all), known, "corrections do not add up");
    assert_eq!(drives.calibrate(&[drive(100); 20]).factor.to_bits(), 0.8_f64.to_bits(), "kept within its range");
    assert_eq!(drives.calibrate(&[drive(9_000); 20]).factor.to_bits(), 1.6_f64.to_bits());
    let odd = Calibration::of((1..=21).map(|i| 0.9 + f64::from(i) / 100.0));
    assert!((odd.factor - 1.01).abs() < 1e-12, "the middle one of 21: {odd:?}");
    let nothing = Calibration::of([f64::NAN, f64::INFINITY, 0.0, -1.0]);
    assert_eq!(nothing, Calibration::default());
}

/// The same stop written twice, as a customer with two units: no leg of its own.
#[test]
fn two_units_in_one_yard_need_no_drive() {
    let yard: Position = at(44.05, -90.000_1);
    let leg = &one_road().route(&[yard, yard])[0];
    assert_eq!((leg.seconds, leg.metres), (0, 0));
}

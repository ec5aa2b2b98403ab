//! Against other libraries: an extract that one wrote, and drives that another found. See `tests/reference/roads.py`.

use embertide::roads::{Point, Position, Roads, Snap, import};
use std::{fs, io::Cursor, path::Path};

fn file(name: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(name)).unwrap()
}

/// The junction or bend itself: a stop right on the road.
fn stop(roads: &Roads, lat: f64, lon: f64) -> Snap {
    let p = Position::new(lat, lon).unwrap();
    let snap = roads.snap(p).unwrap();
    assert!(snap.off_m < 0.1, "{lat} {lon}: {snap:?}");
    snap
}

/// Times to 0.1 s: each piece is rounded to a millisecond here, and its place on the road found to a centimetre. Lengths to a metre where the way is the same.
#[test]
fn every_drive_is_the_one_that_scipy_finds() {
    let (network, _) = import(Cursor::new(file("roads.osm.pbf")), None).unwrap();
    let roads = Roads::new(network);
    let table = String::from_utf8(file("roads.csv")).unwrap();
    let rows: Vec<Vec<f64>> = table.lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect();
    assert_eq!(rows.len(), 900);
    let stops: Vec<Snap> = rows[..30].iter().map(|r| stop(&roads, r[2], r[3])).collect();
    let costs = roads.costs(&stops, &stops);
    let mut reached = 0;
    for (k, row) in rows.iter().enumerate() {
        let cost = costs.at(k / 30, k % 30);
        let (seconds, metres) = (f64::from(cost.ms()) / 1_000.0, f64::from(cost.dm()) / 10.0);
        assert!((seconds - row[4]).abs() < 0.1, "{row:?}: {seconds} s");
        assert!((metres - row[5]).abs() < 2.0, "{row:?}: {metres} m");
        reached += usize::from(row[4] > 0.0);
    }
    assert_eq!(reached, 870, "all but each stop to itself");
}

#[test]
fn what_osmium_wrote_is_read() {
    let (network, report) = import(Cursor::new(file("roads.osm.pbf")), None).unwrap();
    // 2026-01-02 03:04:05 UTC.
    assert_eq!(report.data_of, Some(1_767_323_045));
    let parts = network.parts();
    assert_eq!(parts.towns.len(), 1);
    assert_eq!((parts.towns[0].name.as_str(), parts.towns[0].at), ("Tarnford", Point::new(440_550_000, -909_200_000).unwrap()));
    let houses: Vec<(&str, Point)> = parts.houses.iter().map(|h| (h.number.as_str(), h.at)).collect();
    let (node, building) = (Point::new(440_500_000, -909_500_000).unwrap(), Point::new(440_601_000, -909_399_000).unwrap());
    assert!(houses.contains(&("12", node)) && houses.contains(&("14", building)), "{houses:?}");
    assert!(report.parts_left_out > 0, "the island");
    assert!(!parts.origin.invented);
}

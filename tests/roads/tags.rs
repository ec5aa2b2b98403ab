//! Tags read as the OpenStreetMap wiki means them (pages "Key:access", "Key:oneway", "Key:maxspeed", "Key:barrier").

use embertide::roads::speeds::{Class, Driven, SPEEDS, Tags, blocks, driven, posted_kmh};

fn road(tags: &[(&str, &str)]) -> Option<Driven> {
    driven(Tags(tags), &SPEEDS)
}

#[test]
fn posted_limits() {
    for (text, kmh) in [
        ("50", Some(50.0)),
        ("55 mph", Some(88.513_92)),
        ("55mph", Some(88.513_92)),
        ("25 MPH", Some(40.2336)),
        ("60 km/h", Some(60.0)),
        ("30;50", Some(30.0)),
        ("10 knots", Some(18.52)),
        ("none", Some(130.0)),
        ("walk", Some(7.0)),
        ("signals", None),
        ("RU:urban", None),
        ("", None),
        ("mph", None),
        ("-20", None),
        ("0", None),
        ("1e3", None),
        ("99999", None),
        ("1.2.3", None),
        ("55 furlongs", None),
        ("55 möh", None),
    ] {
        let read = posted_kmh(text);
        assert_eq!(read.is_some(), kmh.is_some(), "{text}: {read:?}");
        assert!((read.unwrap_or(0.0) - kmh.unwrap_or(0.0)).abs() < 1e-6, "{text}: {read:?}");
    }
}

#[test]
fn the_most_specific_access_decides() {
    for (tags, open) in [
        (vec![("access", "no")], false),
        (vec![("access", "no"), ("motor_vehicle", "yes")], true),
        (vec![("access", "yes"), ("vehicle", "no")], false),
        (vec![("vehicle", "no"), ("motorcar", "destination")], true),
        (vec![("motor_vehicle", "agricultural")], false),
        (vec![("access", "private")], true),
        (vec![("access", "customers")], true),
        (vec![("area", "yes")], false),
        (vec![("tracktype", "grade2")], true),
        (vec![("tracktype", "grade4")], false),
        (vec![("smoothness", "impassable")], false),
        (vec![("service", "emergency_access")], false),
    ] {
        let all: Vec<_> = std::iter::once(("highway", "track")).chain(tags.iter().copied()).collect();
        assert_eq!(road(&all).is_some(), open, "{tags:?}");
    }
    for not_a_road in ["footway", "cycleway", "construction", "proposed", "steps", "service_link", ""] {
        assert_eq!(road(&[("highway", not_a_road)]), None, "{not_a_road}");
    }
    assert_eq!(road(&[("name", "No road")]), None);
}

#[test]
fn one_ways() {
    let ways = |tags: &[(&str, &str)]| road(tags).map(|d| (d.forward.is_some(), d.backward.is_some()));
    for (tags, both) in [
        (vec![("highway", "primary")], (true, true)),
        (vec![("highway", "primary"), ("oneway", "yes")], (true, false)),
        (vec![("highway", "primary"), ("oneway", "1")], (true, false)),
        (vec![("highway", "primary"), ("oneway", "-1")], (false, true)),
        (vec![("highway", "primary"), ("oneway", "no")], (true, true)),
        (vec![("highway", "primary"), ("junction", "roundabout")], (true, false)),
        (vec![("highway", "primary"), ("junction", "roundabout"), ("oneway", "no")], (true, true)),
        (vec![("highway", "motorway")], (true, false)),
        (vec![("highway", "motorway_link")], (true, true)),
        (vec![("highway", "motorway"), ("oneway", "no")], (true, true)),
        (vec![("highway", "primary"), ("oneway", "yes"), ("oneway:motor_vehicle", "no")], (true, true)),
    ] {
        assert_eq!(ways(&tags), Some(both), "{tags:?}");
    }
}

#[test]
fn speeds_driven() {
    for (tags, ahead, back) in [
        // 55 mph is 88.514 km/h, and nine tenths of it are driven.
        (vec![("highway", "tertiary"), ("maxspeed", "55 mph")], 79.662_528, 79.662_528),
        (vec![("highway", "tertiary"), ("maxspeed", "50"), ("maxspeed:backward", "30")], 45.0, 27.0),
        (vec![("highway", "tertiary"), ("maxspeed", "signals")], 65.0, 65.0),
        (vec![("highway", "tertiary"), ("surface", "gravel"), ("maxspeed", "55 mph")], 55.0, 55.0),
        (vec![("highway", "tertiary"), ("surface", "asphalt")], 65.0, 65.0),
        (vec![("highway", "unclassified"), ("surface", "dirt")], 30.0, 30.0),
        (vec![("highway", "unclassified"), ("access", "private")], 15.0, 15.0),
        (vec![("highway", "secondary_link")], 50.0, 50.0),
        (vec![("highway", "service"), ("maxspeed", "2")], 5.0, 5.0),
    ] {
        let d = road(&tags).unwrap();
        assert!((d.forward.unwrap() - ahead).abs() < 1e-6 && (d.backward.unwrap() - back).abs() < 1e-6, "{tags:?}: {d:?}");
    }
    let ramp = road(&[("highway", "motorway_link")]).unwrap();
    assert_eq!((ramp.class, ramp.link), (Class::Motorway, true));
}

#[test]
fn bollards_block_and_gates_do_not() {
    assert!(blocks(Tags(&[("barrier", "bollard")])));
    assert!(!blocks(Tags(&[("barrier", "bollard"), ("motor_vehicle", "yes")])));
    assert!(!blocks(Tags(&[("barrier", "gate")])));
    assert!(!blocks(Tags(&[("barrier", "cattle_grid")])));
    assert!(!blocks(Tags(&[])));
}

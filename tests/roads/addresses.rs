//! Addresses found as they are written, misspelt, or between their neighbours.

use crate::world::{county, node, read, tagged, way};
use embertide::roads::{House, Roads, address::How, import};
use std::io::Cursor;

fn county_roads() -> Roads {
    Roads::new(import(Cursor::new(county().extract()), None).unwrap().0)
}

fn asked(houses: &[House]) -> Vec<&House> {
    houses.iter().step_by((houses.len() / 60).max(1)).collect()
}

#[test]
fn every_address_is_found_as_it_is_written() {
    let roads = county_roads();
    let houses = &roads.network().parts().houses;
    assert_eq!(roads.addresses().len(), houses.len());
    for h in asked(houses) {
        let hits = roads.addresses().find(&format!("{} {}", h.number, h.street), 5);
        assert!(hits.iter().any(|f| f.how == How::Exact && f.at == h.at), "{h:?}: {hits:?}");
        assert_eq!(hits[0].how, How::Exact);
    }
}

#[test]
fn a_letter_left_out_does_no_harm() {
    let roads = county_roads();
    for h in asked(&roads.network().parts().houses) {
        let mut typed: Vec<char> = format!("{} {}", h.number, h.street).chars().collect();
        typed.remove(typed.len() - 3);
        let typed: String = typed.into_iter().collect();
        let hits = roads.addresses().find(&typed, 5);
        assert!(hits.iter().any(|f| f.at == h.at), "{typed}: {hits:?}");
    }
}

#[test]
fn numbers_between_neighbours_and_beyond_the_last() {
    let house = |id, lat, number, street: &str| {
        tagged(node(id, lat, -90.001), &[("addr:housenumber", number), ("addr:street", street), ("addr:city", "Tarnford")])
    };
    let nodes = [
        node(1, 44.0, -90.0),
        node(2, 44.1, -90.0),
        house(3, 44.010, "100", "Larch Road"),
        house(4, 44.020, "200", "Larch Road"),
        house(5, 44.090, "900", "Larch Road"),
        house(6, 44.050, "12a", "North Larch Road"),
    ];
    let (network, _) = read(&nodes, &[way(1, &[1, 2], &[("highway", "tertiary"), ("name", "Larch Road")])]);
    let roads = Roads::new(network);
    let first = |typed: &str| roads.addresses().find(typed, 3).into_iter().next();
    // By hand: 130 lies three tenths of the way from 100 to 200.
    let between = first("130 larch rd.").unwrap();
    assert_eq!((between.how, between.at.lat(), between.text.as_str()), (How::Between, 440_130_000, "130 Larch Road"));
    // 200 and 900 are 7.8 km apart: too far to say where 400 is.
    let near = first("400 Larch Rd").unwrap();
    assert_eq!((near.how, near.text.as_str()), (How::Near, "200 Larch Road, Tarnford"));
    assert_eq!(first("1000 LARCH ROAD").unwrap().text, "900 Larch Road, Tarnford");
    assert_eq!(first("12 N Larch Rd, Tarnford 01234").unwrap().text, "12a North Larch Road, Tarnford");
    assert_eq!(first("Larch Road").unwrap().how, How::Near);
    for nothing in ["", "   ", ",", "12", "99 Zzyzx Blvd", "\u{0}\u{ffff}", "99999999999999999999 Larch"] {
        let hits = roads.addresses().find(nothing, 3);
        assert!(hits.iter().all(|h| h.how == How::Near), "{nothing}: {hits:?}");
    }
    assert_eq!(roads.nearest_road(embertide::roads::Position::new(44.05, -90.001).unwrap()).unwrap().0, "Larch Road");
}

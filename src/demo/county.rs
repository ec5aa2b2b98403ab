//! The invented county that the demo drives in: its roads, and a house for every pin.

use super::{MIDDLE, chance, names, people::People};
use crate::{
    roads::{Grid, Network, Position, Size, closed::choices, import, invent::County},
    store::closures::RoadClosure,
};
use std::{collections::HashSet, io::Cursor};
use time::{Date, Duration};

/// Miles each way; every village of the demo lies well inside.
const WIDE: u16 = 64;

/// Makes the roads; `None` when they cannot be made, and the demo estimates its drives.
pub fn roads() -> Option<Network> {
    let towns = names::VILLAGES.iter().enumerate().filter_map(|(n, (name, north, east, _))| {
        let size = match n {
            0 => Size::Town,
            1..=4 => Size::Village,
            _ => Size::Hamlet,
        };
        Some(((*name).to_owned(), Position::new(MIDDLE.0 + north, MIDDLE.1 + east).ok()?, size))
    });
    let county = County { middle: Position::new(MIDDLE.0, MIDDLE.1).ok()?, wide: WIDE, high: WIDE, seed: 2024, towns: towns.collect() };
    import(Cursor::new(county.extract()), None).ok().map(|(network, _)| network)
}

/// A road that is closed in the demo.
struct Closed {
    /// degrees from the middle
    north: f64,
    east: f64,
    reach_m: i32,
    /// days before today on which it closed, and after today on which it still is
    since: i64,
    until: i64,
    why: &'static str,
}

const CLOSED: [Closed; 2] = [
    Closed { north: 0.0851, east: 0.1017, reach_m: 0, since: 3, until: 12, why: "new bridge deck, signed from both sides (invented)" },
    Closed { north: -0.0869, east: -0.0959, reach_m: 400, since: 1, until: 5, why: "water over the road (invented)" },
];

/// Two roads on the way to villages are closed for some days round today.
pub(super) fn closures(network: &Network, today: Date) -> Vec<RoadClosure> {
    let grid = Grid::new(network);
    let closed = (0..).zip(CLOSED).filter_map(|(n, c)| {
        let pin = Position::new(MIDDLE.0 + c.north, MIDDLE.1 + c.east).ok()?;
        let nearest = choices(network, &grid, pin, 1).pop()?;
        Some(RoadClosure {
            id: chance::id(11, n),
            at: nearest.at,
            reach_m: c.reach_m,
            road: nearest.road,
            from: today - Duration::days(c.since),
            to: Some(today + Duration::days(c.until)),
            note: c.why.to_owned(),
            row_version: 1,
        })
    });
    closed.collect()
}

/// Degrees within which a house is looked for: about four miles.
const NEAR: f64 = 0.06;

/// Every place moves to the nearest house that nobody else has yet, and takes its address.
pub(super) fn settle(people: &mut People, network: &Network) {
    let houses = &network.parts().houses;
    let at: Vec<Position> = houses.iter().map(|h| Position::from(h.at)).collect();
    let mut taken = HashSet::new();
    for place in &mut people.places {
        let Some(pin) = place.pin else { continue };
        let away = |p: &Position| (p.lat() - pin.0).abs().max((p.lon() - pin.1).abs() * 0.7);
        let free = at.iter().enumerate().filter(|(n, p)| away(p) < NEAR && !taken.contains(n));
        let Some((n, p)) = free.min_by(|a, b| away(a.1).total_cmp(&away(b.1))) else { continue };
        taken.insert(n);
        place.pin = Some((p.lat(), p.lon()));
        place.address = format!("{} {}", houses[n].number, houses[n].street);
    }
}

//! Closed roads: gone round by both searches alike, and whoever lives on one is reached from his own side.

use super::world::{Dice, at, county_network, network};
use embertide::roads::{
    Drives, Network, Point, Position, Quality, Roads, Snap,
    closed::{Closure, choices, closed},
    matrix::plainly,
};
use std::{collections::HashSet, sync::Arc};

fn shut(network: &Network, closures: &[Closure]) -> Network {
    closed(network, Roads::new(network.clone()).grid(), closures).unwrap()
}

fn snap(roads: &Roads, lat: f64, lon: f64) -> Snap {
    roads.snap(at(lat, lon)).unwrap()
}

#[test]
fn every_drive_round_closed_roads_is_the_one_that_the_plain_search_finds() {
    let open = county_network();
    let mut dice = Dice(7);
    let before = Roads::new(open.clone());
    let shape = &open.parts().shape;
    let mut place = || Position::from(shape[dice.below(shape.len())]);
    let closures: Vec<Closure> = (0..12).map(|n| Closure { at: place(), radius_m: if n % 3 == 0 { 300.0 } else { 0.0 } }).collect();
    let stops: Vec<Position> = (0..60).map(|_| place()).collect();
    let after = Roads::new(shut(&open, &closures));
    let (was, now): (Vec<Snap>, Vec<Snap>) = stops.iter().map(|p| (before.snap(*p).unwrap(), after.snap(*p).unwrap())).unzip();
    let costs = after.costs(&now, &now);
    assert_eq!(costs, plainly(after.network(), &now, &now), "in every cell");
    // A stop that was not moved by a closure is never nearer than before, and some are further.
    let old = before.costs(&was, &was);
    let same: Vec<usize> = (0..stops.len()).filter(|i| was[*i].at == now[*i].at).collect();
    let mut further = 0;
    for &i in &same {
        for &j in &same {
            assert!(u64::from(costs.at(i, j).ms()) + 5 >= u64::from(old.at(i, j).ms()), "{i} to {j}");
            further += usize::from(costs.at(i, j).ms() > old.at(i, j).ms() + 1_000);
        }
    }
    assert!(further > 100, "{further}");
}

/// A square of roads, 1 min a side; the north side is closed in its middle, or is a one-way closed there.
#[test]
fn a_closed_road_is_two_dead_ends_and_the_way_leads_round() {
    let corners = [(44.0, -91.0), (44.01, -91.0), (44.01, -90.98), (44.0, -90.98)];
    for back in [Some(60_000), None] {
        let min = Some(60_000);
        let roads = [(0, 1, min, min, 11_000), (1, 2, min, back, 16_000), (2, 3, min, min, 11_000), (3, 0, min, min, 16_000)];
        let after = Roads::new(shut(&network(&corners, &roads), &[Closure { at: at(44.01, -90.99), radius_m: 0.0 }]));
        let (west, east) = (snap(&after, 44.01, -90.995), snap(&after, 44.01, -90.985));
        let costs = after.costs(&[west, east], &[west, east]);
        // A quarter minute out of each dead end, and three sides of the square.
        for (i, j) in [(0, 1), (1, 0)] {
            let ms = costs.at(i, j).ms();
            assert!((209_900..=210_100).contains(&ms), "{i} to {j}: {ms} ms");
        }
    }
}

#[test]
fn a_closed_circle_takes_the_junction_with_it_and_leaves_what_lies_outside() {
    let cross = [(44.0, -91.0), (44.01, -91.0), (44.0, -90.98), (43.99, -91.0), (44.0, -91.02), (44.01, -90.98)];
    let min = Some(60_000);
    let arms = [(0, 1, min, min, 11_000), (0, 2, min, min, 16_000), (0, 3, min, min, 11_000), (0, 4, min, min, 16_000)];
    let ways: Vec<_> = arms.into_iter().chain([(1, 5, min, min, 16_000), (5, 2, min, min, 11_000)]).collect();
    let open = network(&cross, &ways);
    let after = Roads::new(shut(&open, &[Closure { at: at(44.0, -91.0), radius_m: 200.0 }]));
    let (north, east, south) = (snap(&after, 44.008, -91.0), snap(&after, 44.0, -90.984), snap(&after, 43.992, -91.0));
    let costs = after.costs(&[north], &[east, south]);
    assert!(costs.at(0, 0).is_drive(), "round by the corner");
    assert!(!costs.at(0, 1).is_drive(), "nothing else leads to the south arm");
    assert_eq!(after.network().edges().len(), 6, "each arm is left, shorter");
    assert!(snap(&after, 44.0005, -91.0).at.metres_to(at(44.0, -91.0).into()) > 199.0);
}

#[test]
fn a_pin_far_from_every_road_closes_nothing() {
    let open = county_network();
    let same = shut(&open, &[Closure { at: at(10.0, 10.0), radius_m: 0.0 }, Closure { at: at(10.0, 10.0), radius_m: 5_000.0 }]);
    assert_eq!(same.parts(), open.parts());
}

/// Whoever lies between two closures is reached by no road: straight lines, and the table says so.
#[test]
fn a_stop_that_no_road_leads_to_is_estimated_and_marked_so() {
    let line = [(44.0, -91.0), (44.0, -90.98), (44.0, -90.96), (44.0, -90.94)];
    let min = Some(60_000);
    let roads = [(0, 1, min, min, 16_000), (1, 2, min, min, 16_000), (2, 3, min, min, 16_000)];
    let open = Arc::new(Roads::new(network(&line, &roads)));
    let stops = [at(44.0, -90.998), at(44.0, -90.996), at(44.0, -90.985), at(44.0, -90.962)];
    let washed_out = [-90.99, -90.97].map(|lon| Closure { at: at(44.0, lon), radius_m: 0.0 });
    let shut = Arc::new(open.closing(&washed_out).unwrap());
    let (before, now) = (Drives::of(Some(Arc::clone(&open))).table(&stops), Drives::of(Some(shut)).round(2).table(&stops));
    assert_eq!(before.quality, [Quality::Road; 4]);
    assert_eq!(now.quality[2..], [Quality::StraightLine; 2], "{:?}", now.quality);
    let estimated = Drives::of(None).table(&stops);
    assert_eq!(now.seconds[2], estimated.seconds[2], "over the closed bridge");
    assert_eq!(now.seconds[1], before.seconds[1], "on the open side nothing changes");
}

#[test]
fn a_label_counts_the_closed_roads_and_says_when_they_are_not_gone_round() {
    let open = Arc::new(Roads::new(county_network()));
    let by_road = Drives::of(Some(open));
    assert_eq!(by_road.label(), "by road");
    assert_eq!(by_road.clone().round(1).label(), "by road, round a closed road");
    assert_eq!(by_road.round(3).label(), "by road, round 3 closed roads");
    assert_eq!(Drives::of(None).round(3).label(), "estimated, closed roads left out of account");
}

/// Beside a junction both roads are offered, and each closure cuts the road that it names.
#[test]
fn every_road_near_a_pin_is_offered_once_and_closing_it_closes_no_other() {
    let open = Roads::new(county_network());
    let (mut offered, mut several) = (0, 0);
    for node in open.network().parts().nodes.iter().step_by(31) {
        let pin = Position::from(*node);
        let found = choices(open.network(), open.grid(), pin, 5);
        let names: HashSet<&str> = found.iter().map(|c| c.road.as_str()).collect();
        assert_eq!(names.len(), found.len(), "each once");
        assert!(found.is_sorted_by(|a, b| a.off_m <= b.off_m) && found[0].off_m < 1.0, "a junction lies on a road");
        several += usize::from(found.len() > 1);
        for c in found.into_iter().filter(|c| !c.road.is_empty()) {
            assert_eq!(open.nearest_road(c.at).unwrap().0, c.road);
            assert!(Point::from(c.at).metres_to(*node) < 420.0);
            offered += 1;
        }
    }
    assert!(several > 20 && offered > 50, "{several} {offered}");
    assert_eq!(choices(open.network(), open.grid(), at(10.0, 10.0), 5), []);
}

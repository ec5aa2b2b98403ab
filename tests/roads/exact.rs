//! The quick way gives what Dijkstra's plain search gives, in every cell, in time and in length.

use crate::world::{Dice, Way, at, county_network, network, node, read, way};
use embertide::roads::{Cost, Grid, Hierarchy, Network, Plain, Point, Snap, Tracer, leg, matrix, plain_leg};
use proptest::prelude::*;

fn stops(network: &Network, n: usize, seed: u64) -> Vec<Snap> {
    let mut dice = Dice(seed);
    let one = |dice: &mut Dice| {
        let edge = u32::try_from(dice.below(network.edges().len())).unwrap();
        // Ends of a piece now and then.
        let share = [0.0, 1.0, dice.share(), dice.share(), dice.share()][dice.below(5)];
        Snap { edge, share, at: network.shape(edge)[0], off_m: 0.0 }
    };
    (0..n).map(|_| one(&mut dice)).collect()
}

#[test]
fn a_county_with_one_ways_and_stops_part_way_along() {
    let network = county_network();
    let (from, to) = (stops(&network, 70, 1), stops(&network, 45, 2));
    let plain = matrix::plainly(&network, &from, &to);
    assert!(plain.all().iter().all(|c| c.is_drive()), "the largest part reaches everything");
    for stop in [24, 2, 0] {
        let hierarchy = Hierarchy::with_stop(&network, stop);
        assert_eq!(matrix::between(&network, &hierarchy, &from, &to), plain, "with a stop at {stop}");
        if stop == 0 {
            assert!(hierarchy.core() > 100, "the safety stop leaves a core: {}", hierarchy.core());
        }
    }
}

/// Equal streets everywhere are the hard case: nothing is more important than anything else.
#[test]
fn a_street_grid_where_all_ways_are_equal() {
    let side = 14_u32;
    let f = f64::from;
    let points: Vec<(f64, f64)> = (0..side * side).map(|i| (44.0 + f(i / side) * 0.001, -90.0 + f(i % side) * 0.001)).collect();
    let mut edges = Vec::new();
    for i in 0..side * side {
        if i % side + 1 < side {
            edges.push((i, i + 1, Some(10_000), Some(10_000), 1_000));
        }
        if i + side < side * side {
            edges.push((i, i + side, Some(10_000), Some(10_000), 1_000));
        }
    }
    let network = network(&points, &edges);
    let (from, to) = (stops(&network, 20, 5), stops(&network, 20, 6));
    let hierarchy = Hierarchy::new(&network);
    assert_eq!(matrix::between(&network, &hierarchy, &from, &to), matrix::plainly(&network, &from, &to));
    // By hand: from one corner to the other are 26 streets of 10 s and 100 m.
    let last = u32::try_from(edges.len()).unwrap() - 1;
    let corner = |edge, share| Snap { edge, share, at: Point::from(at(44.0, -90.0)), off_m: 0.0 };
    let cost = matrix::between(&network, &hierarchy, &[corner(0, 0.0)], &[corner(last, 1.0)]).at(0, 0);
    assert_eq!((cost.ms(), cost.dm()), (260_000, 26_000));
}

fn edges(junctions: u32) -> impl Strategy<Value = Vec<Way>> {
    let ms = || prop_oneof![3 => (1_u32..2_000).prop_map(Some), 1 => Just(None)];
    prop::collection::vec((0..junctions, 0..junctions, ms(), ms(), 0_u32..5_000), 1..90)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    /// Loops, several roads between the same junctions, dead ends, parts that cannot be reached: all that chance makes.
    #[test]
    fn random_networks(edges in edges(25), seed in any::<u64>(), stop in prop_oneof![Just(0_usize), Just(1), Just(24)]) {
        let points: Vec<(f64, f64)> = (0..25).map(|i| (44.0 + f64::from(i / 5) * 0.01, -90.0 + f64::from(i % 5) * 0.01)).collect();
        let network = network(&points, &edges);
        let (from, to) = (stops(&network, 12, seed), stops(&network, 12, seed ^ 0xff));
        let hierarchy = Hierarchy::with_stop(&network, stop);
        let quick = matrix::between(&network, &hierarchy, &from, &to);
        let plain = matrix::plainly(&network, &from, &to);
        prop_assert_eq!(quick.all(), plain.all());
    }
}

/// Bellman and Ford's way of relaxing every arc until nothing changes shares no code with either search.
#[test]
fn the_plain_search_itself_against_relaxing_every_arc() {
    let network = county_network();
    let n = network.parts().nodes.len();
    let start = stops(&network, 20, 9).into_iter().find(|s| s.share > 0.0 && s.share < 1.0).unwrap();
    let e = network.edges()[start.edge as usize];
    let part = |ms: u32, share: f64| (f64::from(ms) * share).round();
    let mut best = vec![f64::INFINITY; n];
    if let Some(ms) = e.forward_ms {
        best[e.b as usize] = part(ms, 1.0 - start.share);
    }
    if let Some(ms) = e.backward_ms {
        best[e.a as usize] = best[e.a as usize].min(part(ms, start.share));
    }
    loop {
        let mut changed = false;
        for e in network.edges() {
            for (from, to, ms) in [(e.a, e.b, e.forward_ms), (e.b, e.a, e.backward_ms)] {
                let through = ms.map_or(f64::INFINITY, |ms| best[from as usize] + f64::from(ms));
                if through < best[to as usize] {
                    best[to as usize] = through;
                    changed = true;
                }
            }
        }
        if !changed {
            break;
        }
    }
    let mut search = Plain::new(&network);
    for to in stops(&network, 200, 11).iter().filter(|t| t.edge != start.edge) {
        let e = network.edges()[to.edge as usize];
        let ahead = e.forward_ms.map_or(f64::INFINITY, |ms| best[e.a as usize] + part(ms, to.share));
        let back = e.backward_ms.map_or(f64::INFINITY, |ms| best[e.b as usize] + part(ms, 1.0 - to.share));
        // A stop on a junction is reached by every road there.
        let least = match to.share {
            0.0 => best[e.a as usize],
            1.0 => best[e.b as usize],
            _ => ahead.min(back),
        };
        let found = search.row(&network, &start, &[*to])[0];
        assert!((f64::from(found.ms()) - least).abs() < 0.5, "{found:?}");
    }
}

#[test]
fn a_leg_costs_what_the_matrix_says_and_is_as_long_as_it_is_drawn() {
    legs(24);
    legs(1);
}

fn legs(stop: usize) {
    let network = county_network();
    let grid = Grid::new(&network);
    let on_road = |s: &Snap| {
        let shape = network.shape(s.edge);
        grid.nearest(&network, shape[shape.len() / 2]).unwrap()
    };
    let stops: Vec<Snap> = stops(&network, 30, 21).iter().map(on_road).collect();
    let hierarchy = Hierarchy::with_stop(&network, stop);
    let costs = matrix::between(&network, &hierarchy, &stops, &stops);
    let (mut search, mut tracer) = (Plain::new(&network), Tracer::new(&network, &hierarchy));
    for i in 0..stops.len() {
        for j in 0..stops.len() {
            let slow = plain_leg(&network, &mut search, &stops[i], &stops[j]).unwrap();
            let leg = leg(&network, &mut tracer, &stops[i], &stops[j]).unwrap();
            assert_eq!((leg.cost, slow.cost), (costs.at(i, j), costs.at(i, j)));
            let drawn: f64 = leg.shape.windows(2).map(|w| w[0].metres_to(w[1])).sum();
            let metres = f64::from(leg.cost.dm()) / 10.0;
            assert!((drawn - metres).abs() < 1.0 + metres / 1_000.0, "{drawn} drawn, {metres} driven");
            let (first, last) = (leg.shape[0], *leg.shape.last().unwrap());
            assert!(first.metres_to(stops[i].at) < 1.0 && last.metres_to(stops[j].at) < 1.0, "it begins and ends at the stops");
        }
    }
}

/// A ring driven one way: from the later stop the way leads all round.
#[test]
fn two_stops_on_a_one_way_piece() {
    let square = [(44.0, -90.0), (44.0, -89.99), (44.01, -89.99), (44.01, -90.0)];
    let nodes: Vec<_> = (1..).zip(square).map(|(id, p)| node(id, p.0, p.1)).collect();
    let tags = [("highway", "tertiary"), ("oneway", "yes")];
    let (network, _) = read(&nodes, &[way(1, &[1, 2, 3, 4, 1], &tags), way(2, &[1, 3], &[("highway", "tertiary"), ("oneway", "-1")])]);
    let grid = Grid::new(&network);
    let snap = |lon: f64| grid.nearest(&network, at(44.0, lon).into()).unwrap();
    let (early, late) = (snap(-89.998), snap(-89.992));
    assert_eq!(early.edge, late.edge);
    let costs = matrix::between(&network, &Hierarchy::new(&network), &[early, late], &[early, late]);
    assert_eq!((costs.at(0, 0), costs.at(1, 1)), (Cost::ZERO, Cost::ZERO), "a stop and itself");
    let ahead = f64::from(costs.at(0, 1).dm()) / 10.0;
    assert!((ahead - early.at.metres_to(late.at)).abs() < 1.0);
    // By hand: from the late stop on to the corners 2 and 3, and back to 1 by the diagonal, then to the early stop.
    let p: Vec<Point> = square.iter().map(|p| at(p.0, p.1).into()).collect();
    let round = late.at.metres_to(p[1]) + p[1].metres_to(p[2]) + p[2].metres_to(p[0]) + p[0].metres_to(early.at);
    assert!((f64::from(costs.at(1, 0).dm()) / 10.0 - round).abs() < 1.0, "{:?} is not {round} m", costs.at(1, 0));
}

#[test]
fn sums_too_large_for_a_number_are_no_drive() {
    let points: Vec<(f64, f64)> = (0..8).map(|i| (44.0, -90.0 + f64::from(i) * 0.01)).collect();
    let edges: Vec<Way> = (0..7).map(|i| (i, i + 1, Some(1_000_000_000), Some(1), 4_000_000)).collect();
    let network = network(&points, &edges);
    let end = |edge, share| Snap { edge, share, at: Point::from(at(44.0, -90.0)), off_m: 0.0 };
    let (from, to) = ([end(0, 0.0), end(6, 1.0)], [end(6, 1.0), end(0, 0.0)]);
    let costs = matrix::between(&network, &Hierarchy::new(&network), &from, &to);
    assert_eq!(costs, matrix::plainly(&network, &from, &to));
    assert!(!costs.at(0, 0).is_drive(), "81 days do not fit");
    assert_eq!(costs.at(1, 1).ms(), 7);
}

/// A two-way road of three junctions, and at the middle one a one-way street that begins there, and one that ends there. Whichever piece
/// a stop at the middle was put on, it is left and reached by the two-way road.
#[test]
fn a_stop_on_a_junction_is_left_and_reached_by_every_road() {
    let points = [(44.0, -90.0), (44.01, -90.0), (44.02, -90.0), (44.01, -89.99)];
    let edges: [Way; 4] = [
        (0, 1, Some(100), Some(100), 10),
        (1, 2, Some(100), Some(100), 10),
        (1, 3, Some(7_000), None, 700),
        (3, 1, Some(7_000), None, 700),
    ];
    let network = network(&points, &edges);
    let at_end = |edge, share| Snap { edge, share, at: Point::from(at(44.01, -90.0)), off_m: 0.0 };
    let middle = [at_end(0, 1.0), at_end(1, 0.0), at_end(2, 0.0), at_end(3, 1.0)];
    let far = Snap { edge: 1, share: 0.5, at: Point::from(at(44.015, -90.0)), off_m: 0.0 };
    let hierarchy = Hierarchy::new(&network);
    let mut tracer = Tracer::new(&network, &hierarchy);
    for m in middle {
        let costs = matrix::between(&network, &hierarchy, &[m, far], &[m, far]);
        assert_eq!((costs.at(0, 1), costs.at(1, 0)), (Cost::new(50, 5), Cost::new(50, 5)), "{m:?}");
        assert_eq!(costs, matrix::plainly(&network, &[m, far], &[m, far]));
        for other in middle {
            assert_eq!(matrix::between(&network, &hierarchy, &[m], &[other]).at(0, 0), Cost::ZERO, "the same spot");
        }
        let legs = [leg(&network, &mut tracer, &m, &far).unwrap(), leg(&network, &mut tracer, &far, &m).unwrap()];
        for leg in legs {
            assert!(leg.shape.iter().all(|p| p.lon() == -900_000_000), "not by the street: {leg:?}");
        }
    }
}

/// Between the same two junctions a slow straight track and a quick road round: the leg is drawn along the road.
#[test]
fn of_two_roads_between_the_same_junctions_the_quicker_is_drawn() {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.01, -90.0), node(3, 44.03, -90.0), node(4, 44.04, -90.0), node(5, 44.02, -89.99)];
    let ways = [
        way(1, &[1, 2], &[("highway", "primary")]),
        way(2, &[2, 3], &[("highway", "track")]),
        way(3, &[2, 5, 3], &[("highway", "primary"), ("name", "Round Road")]),
        way(4, &[3, 4], &[("highway", "primary")]),
    ];
    let (network, _) = read(&nodes, &ways);
    let grid = Grid::new(&network);
    let hierarchy = Hierarchy::new(&network);
    let snap = |lat: f64| grid.nearest(&network, at(lat, -90.0).into()).unwrap();
    let there = leg(&network, &mut Tracer::new(&network, &hierarchy), &snap(44.005), &snap(44.035)).unwrap();
    assert!(there.shape.contains(&Point::from(at(44.02, -89.99))), "{there:?}");
}

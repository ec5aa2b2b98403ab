//! Small extracts whose network is plain to see.

use crate::world::{at, county, county_network, extract, node, read, tagged, way};
use embertide::roads::{
    Extent, Grid, Hierarchy, Network, Position, Snap, import, matrix,
    report::{Served, sentence, served},
};
use std::io::Cursor;

const ROAD: &[(&str, &str)] = &[("highway", "tertiary"), ("name", "Long Road")];

fn seconds(network: &Network, from: Position, to: Position) -> f64 {
    let grid = Grid::new(network);
    let snap = |p: Position| -> Snap { grid.nearest(network, p.into()).unwrap() };
    let cost = matrix::between(network, &Hierarchy::new(network), &[snap(from)], &[snap(to)]).at(0, 0);
    f64::from(cost.ms()) / 1_000.0
}

/// By hand: 0.1 degrees of a meridian are 11 119.51 m (6 371 008.8 m × π / 1800), at 65 km/h 615.85 s.
#[test]
fn a_straight_road_worked_by_hand() {
    let (network, report) = read(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0)], &[way(1, &[1, 2], ROAD)]);
    let s = seconds(&network, at(44.0, -90.0), at(44.1, -90.0));
    assert!((s - 615.85).abs() < 0.01, "{s}");
    assert_eq!((report.junctions, report.pieces, report.data_of), (2, 1, Some(1_760_000_000)));
    let text = report.lines().join("\n");
    assert!(text.contains("2025-10-09") && text.contains("6.9 miles (11.1 km)"), "{text}");
}

#[test]
fn roads_meet_only_where_they_share_a_node() {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.02, -90.0), node(3, 44.01, -90.01), node(4, 44.01, -89.99), node(5, 44.01, -90.0)];
    let crossing = [way(1, &[1, 5, 2], ROAD), way(2, &[3, 5, 4], ROAD)];
    assert_eq!(read(&nodes, &crossing).1.pieces, 4);
    // A bridge: the lines cross but share nothing. Only one of the two is kept.
    let bridge = [way(1, &[1, 2], ROAD), way(2, &[3, 4], ROAD)];
    let report = read(&nodes, &bridge).1;
    assert_eq!((report.pieces, report.parts_left_out), (1, 1));
    assert!(report.km_left_out > 1.0);
}

#[test]
fn a_bollard_cuts_the_road_and_a_gate_does_not() {
    let ends = |barrier: &str| {
        let nodes =
            [node(1, 44.0, -90.0), tagged(node(2, 44.01, -90.0), &[("barrier", barrier)]), node(3, 44.02, -90.0), node(4, 44.01, -90.02)];
        // The short way leads past the barrier, the long one round.
        let (network, _) = read(&nodes, &[way(1, &[1, 2, 3], ROAD), way(2, &[1, 4, 3], ROAD)]);
        seconds(&network, at(44.0, -90.0), at(44.02, -90.0))
    };
    assert!(ends("gate") < 125.0, "{}", ends("gate"));
    assert!(ends("bollard") > 200.0, "{}", ends("bollard"));
}

#[test]
fn what_cannot_be_reached_is_never_snapped_to() {
    // An island with its own road beside the pin, the mainland a mile off.
    let nodes = [node(1, 44.0, -90.0), node(2, 44.0, -90.1), node(3, 44.01, -90.0), node(4, 44.01, -90.002), node(5, 44.0, -90.2)];
    let (network, _) = read(&nodes, &[way(1, &[1, 2, 5], ROAD), way(2, &[3, 4], ROAD)]);
    let snap = Grid::new(&network).nearest(&network, at(44.01, -90.001).into()).unwrap();
    // By hand: 0.01 degrees of a meridian are 1 111.95 m.
    assert!((snap.off_m - 1_111.95).abs() < 2.0, "{snap:?}");
}

/// Every piece looked at, one by one.
#[test]
fn the_grid_finds_what_looking_everywhere_finds() {
    let network = county_network();
    let grid = Grid::new(&network);
    let extent = network.extent().unwrap();
    let mut dice = crate::world::Dice(17);
    for _ in 0..150 {
        let lat = f64::from(extent.south) + dice.share() * (f64::from(extent.north) - f64::from(extent.south));
        let lon = f64::from(extent.west) + dice.share() * (f64::from(extent.east) - f64::from(extent.west));
        let p = at(lat / 1e7, lon / 1e7);
        let mut least = f64::INFINITY;
        for edge in 0..u32::try_from(network.edges().len()).unwrap() {
            for w in network.shape(edge).windows(2) {
                // Flat metres round the pin, and the nearest point of a segment in a hundred steps.
                let (a, b) = (Position::from(w[0]), Position::from(w[1]));
                let metres = |q: (f64, f64)| ((q.0 - p.lat()) * 111_195.0).hypot((q.1 - p.lon()) * 111_195.0 * p.lat().to_radians().cos());
                let near = metres((a.lat(), a.lon())).min(metres((b.lat(), b.lon())));
                if near < least + 2_000.0 {
                    for k in 0..=100 {
                        let t = f64::from(k) / 100.0;
                        least = least.min(metres((a.lat() + t * (b.lat() - a.lat()), a.lon() + t * (b.lon() - a.lon()))));
                    }
                }
            }
        }
        let found = grid.nearest(&network, p.into()).map_or(f64::INFINITY, |s| s.off_m);
        assert!(found <= least + 0.5 && (found.is_finite() || least > 1_990.0), "{found} found, {least} by looking everywhere");
        assert!(found.is_infinite() || found >= least - 20.0, "{found} found, {least} by looking everywhere");
    }
}

#[test]
fn roads_cut_at_the_edge_of_the_file_end_there() {
    // Node 3 is not in the file: the road ends at 2 and begins again at 4. No line is drawn across the gap.
    let nodes = [node(1, 44.0, -90.0), node(2, 44.01, -90.0), node(4, 44.2, -90.0), node(5, 44.21, -90.0)];
    let (network, report) = read(&nodes, &[way(1, &[1, 2, 3, 4, 5], ROAD)]);
    assert_eq!((report.missing_nodes, report.pieces, report.parts_left_out), (1, 1, 1));
    assert!(network.km().iter().sum::<f64>() < 1.2);
}

#[test]
fn absurd_steps_are_cut() {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.01, -90.0), node(3, 10.0, 20.0), node(4, 44.0, -90.01)];
    let (network, report) = read(&nodes, &[way(1, &[1, 2, 3], ROAD), way(2, &[1, 4], ROAD)]);
    assert_eq!(report.absurd_steps, 1);
    assert!(network.km().iter().sum::<f64>() < 3.0);
}

#[test]
fn ids_that_do_not_rise_are_read_all_the_same() {
    let mut nodes: Vec<_> = (0_i32..40).map(|i| node(i64::from(i * 7 % 40), 44.0 + f64::from(i * 7 % 40) * 0.001, -90.0)).collect();
    let ways = [way(9, &(0..40).collect::<Vec<i64>>(), ROAD), way(3, &[39, 0], ROAD)];
    let (shuffled, _) = read(&nodes, &ways);
    nodes.sort_by_key(|n| n.id);
    let (sorted, _) = read(&nodes, &ways);
    assert_eq!(shuffled.parts(), sorted.parts());
}

#[test]
fn the_same_file_gives_the_same_network() {
    let bytes = county().extract();
    assert_eq!(bytes, county().extract(), "and the same seed the same file");
    let once = import(Cursor::new(&bytes), None).unwrap();
    let twice = import(Cursor::new(&bytes), None).unwrap();
    assert_eq!(once.0.parts(), twice.0.parts());
    assert_eq!(once.1, twice.1);
}

#[test]
fn the_part_round_a_point_is_cut_out() {
    let bytes = county().extract();
    let (whole, _) = import(Cursor::new(&bytes), None).unwrap();
    let within = Extent::around(county().middle, 3.0);
    let (part, _) = import(Cursor::new(&bytes), Some(within)).unwrap();
    assert!(part.parts().shape.iter().all(|p| within.holds(*p)));
    let share = part.edges().len() * 100 / whole.edges().len();
    assert!((15..35).contains(&share), "6 of 12 miles each way are a quarter, not {share} %");
    let nowhere = Extent::around(at(10.0, 10.0), 5.0);
    let said = import(Cursor::new(&bytes), Some(nowhere)).unwrap_err().to_string();
    assert!(said.contains("round you"), "{said}");
}

#[test]
fn units_that_the_roads_do_not_serve_are_told() {
    let (network, _) = read(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0)], &[way(1, &[1, 2], ROAD)]);
    let grid = Grid::new(&network);
    let points = [at(44.05, -90.001), at(44.05, -90.01), at(45.0, -90.0)];
    let all = served(&network, &grid, &points);
    assert_eq!((all[0], all[2]), (Served::Well, Served::Outside));
    // By hand: 0.01 degrees on the 44.05th parallel are 1 111.95 m × cos 44.05° = 799.2 m.
    assert!(matches!(all[1], Served::FarFromRoad(m) if (m - 799.2).abs() < 1.0), "{all:?}");
    assert_eq!(sentence("Barn", all[0]), None);
    assert_eq!(sentence("Barn", all[1]).unwrap(), "Barn: 0.5 miles (799 m) from the nearest road. Is the pin right?");
    assert_eq!(sentence("Barn", all[2]).unwrap(), "Barn: outside the roads. Its drives stay estimated.");
}

#[test]
fn an_extract_without_roads_says_so() {
    let bytes = extract(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0)], &[way(1, &[1, 2], &[("highway", "footway")])]);
    let said = import(Cursor::new(bytes), None).unwrap_err().to_string();
    assert!(said.starts_with("the extract holds no road that a van may use."), "{said}");
}

#[test]
fn a_pin_beside_a_junction_stands_on_it() {
    let (network, _) = read(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0)], &[way(1, &[1, 2], ROAD)]);
    let grid = Grid::new(&network);
    // Half a metre of a meridian is 0.0000045 degrees; five metres are 0.000045.
    let share = |lat: f64| grid.nearest(&network, at(lat, -90.001).into()).unwrap().share;
    assert_eq!([share(44.000_004_5), share(44.099_995_5)].map(f64::to_bits), [0.0, 1.0].map(f64::to_bits));
    assert!([share(44.000_045), share(44.099_955)].iter().all(|s| *s > 0.0 && *s < 1.0));
}

/// A field of a message: number, then bytes (the public guide to the encoding of Protocol Buffers).
fn bytes(field: u64, value: &[u8]) -> Vec<u8> {
    [varint((field << 3) | 2), varint(value.len() as u64), value.to_vec()].concat()
}

fn varint(mut n: u64) -> Vec<u8> {
    let mut out = Vec::new();
    while n >= 0x80 {
        out.push(u8::try_from(n & 0x7f).unwrap() | 0x80);
        n >>= 7;
    }
    out.push(u8::try_from(n).unwrap());
    out
}

fn number(field: u64, n: u64) -> Vec<u8> {
    [varint(field << 3), varint(n)].concat()
}

fn zigzag(n: i64) -> u64 {
    ((n << 1) ^ (n >> 63)).cast_unsigned()
}

/// A blob that is not packed.
fn blob(kind: &str, message: &[u8]) -> Vec<u8> {
    let blob = [vec![0x0a], varint(message.len() as u64), message.to_vec()].concat();
    let header = [bytes(1, kind.as_bytes()), number(3, blob.len() as u64)].concat();
    [u32::try_from(header.len()).unwrap().to_be_bytes().to_vec(), header, blob].concat()
}

/// Single nodes, unpacked blobs, a granularity and offsets of their own: what other writers may do. The degrees are worked out by the formula of the
/// wiki's page "PBF Format", 10⁻⁹ × (offset + granularity × number).
#[test]
fn the_less_usual_forms_of_an_extract_are_read() {
    let strings: Vec<u8> =
        ["", "highway", "primary", "place", "town", "name", "Tarnford"].iter().flat_map(|s| bytes(1, s.as_bytes())).collect();
    // 44° = 10⁻⁹ × (43·10⁹ + 1000 × 10⁶), -90° = 10⁻⁹ × (-89·10⁹ + 1000 × -10⁶); the second node lies 0.1° further north.
    let plain = |id: i64, lat: i64, tags: &[u8]| {
        let place = [number(8, zigzag(lat)), number(9, zigzag(-1_000_000))].concat();
        let (keys, values): (Vec<u8>, Vec<u8>) =
            (tags.iter().step_by(2).copied().collect(), tags.iter().skip(1).step_by(2).copied().collect());
        bytes(1, &[number(1, zigzag(id)), bytes(2, &keys), bytes(3, &values), place].concat())
    };
    let nodes = [plain(7, 1_000_000, &[3, 4, 5, 6]), plain(3, 1_100_000, &[])].concat();
    let refs = [varint(zigzag(7)), varint(zigzag(-4))].concat();
    let way = bytes(3, &[number(1, 1), bytes(2, &[1]), bytes(3, &[2]), bytes(8, &refs)].concat());
    let offsets = [number(17, 1_000), number(19, 43_000_000_000), number(20, (-89_000_000_000_i64).cast_unsigned())].concat();
    let data = [bytes(1, &strings), bytes(2, &nodes), bytes(2, &way), offsets].concat();
    let header = [bytes(4, b"OsmSchema-V0.6"), bytes(16, b"by hand")].concat();
    let file = [blob("OSMHeader", &header), blob("Unknown", b"passed over"), blob("OSMData", &data)].concat();
    let (network, report) = import(Cursor::new(file), None).unwrap();
    let extent = report.extent.unwrap();
    assert_eq!((extent.south, extent.north, extent.west, extent.east), (440_000_000, 441_000_000, -900_000_000, -900_000_000));
    assert_eq!(network.parts().towns[0].name, "Tarnford");
    assert_eq!(report.data_of, None);
}

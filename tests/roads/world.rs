//! Small worlds to test on: extracts and networks made by hand or by chance.

use embertide::roads::{
    Edge, Network, Origin, Parts, Point, Position, import,
    invent::{
        County,
        write::{NodeOut, WayOut, write},
    },
    report::Report,
    speeds::Class,
};
use std::io::Cursor;

pub(crate) fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

pub(crate) fn node(id: i64, lat: f64, lon: f64) -> NodeOut {
    NodeOut::new(id, Point::from(at(lat, lon)))
}

pub(crate) fn tagged(mut node: NodeOut, tags: &[(&str, &str)]) -> NodeOut {
    node.tags = owned(tags);
    node
}

pub(crate) fn owned(tags: &[(&str, &str)]) -> Vec<(String, String)> {
    tags.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
}

pub(crate) fn way(id: i64, refs: &[i64], tags: &[(&str, &str)]) -> WayOut {
    WayOut { id, refs: refs.to_vec(), tags: owned(tags) }
}

pub(crate) fn extract(nodes: &[NodeOut], ways: &[WayOut]) -> Vec<u8> {
    let mut bytes = Vec::new();
    write(&mut bytes, "test", Some(1_760_000_000), nodes, ways).unwrap();
    bytes
}

pub(crate) fn read(nodes: &[NodeOut], ways: &[WayOut]) -> (Network, Report) {
    import(Cursor::new(extract(nodes, ways)), None).unwrap()
}

/// Twelve miles each way: small enough for the debug profile.
pub(crate) fn county() -> County {
    County { wide: 12, high: 12, seed: 3, ..County::default() }
}

pub(crate) fn county_network() -> Network {
    import(Cursor::new(county().extract()), None).unwrap().0
}

/// A source of chance for tests (an LCG with Knuth's MMIX constants).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % n
    }

    pub(crate) fn share(&mut self) -> f64 {
        f64::from(u32::try_from(self.below(1 << 30)).unwrap()) / f64::from(1 << 30)
    }
}

/// From and to, milliseconds ahead and back, decimetres.
pub(crate) type Way = (u32, u32, Option<u32>, Option<u32>, u32);

/// Junctions and the straight roads between them.
pub(crate) fn network(points: &[(f64, f64)], edges: &[Way]) -> Network {
    let nodes: Vec<Point> = points.iter().map(|p| at(p.0, p.1).into()).collect();
    let mut parts = Parts { names: vec![String::new()], origin: Origin { data_of: None, invented: true }, ..Parts::default() };
    for &(a, b, forward_ms, backward_ms, dm) in edges {
        let shape = u32::try_from(parts.shape.len()).unwrap();
        parts.shape.extend([nodes[a as usize], nodes[b as usize]]);
        let class = Class::Tertiary;
        parts.edges.push(Edge { a, b, forward_ms, backward_ms, dm, shape, name: 0, class, link: false, private: false });
    }
    Network::new(Parts { nodes, ..parts }).unwrap()
}

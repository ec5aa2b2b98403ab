//! An invented rural county, written as an extract: section roads every mile, township and county roads, winding lanes, farm lanes with an
//! address at their end, rivers with few bridges, lakes, small towns, a dual carriageway. For the demo and for tests. Nobody's data.

mod chance;
mod land;
mod names;
mod roads;
pub mod write;

use super::{
    graph::Size,
    point::Point,
    straight::{MILE_M, Position},
};
use land::Land;

/// Stands in the file as the program that wrote it; such roads are credited as invented.
pub const WRITER: &str = "invented roads";

/// What kind of county.
#[derive(Clone, Debug, PartialEq)]
pub struct County {
    pub middle: Position,
    /// miles from west to east, 4 to 400
    pub wide: u16,
    /// miles from south to north, 4 to 400
    pub high: u16,
    pub seed: u64,
    /// towns with their names, put at the nearest crossing of section roads; when empty, some are made up
    pub towns: Vec<(String, Position, Size)>,
}

impl Default for County {
    /// Forty miles each way round a middle in farm country, with made-up towns.
    fn default() -> Self {
        Self { middle: Position::within(44.0, -91.0), wide: 40, high: 40, seed: 7, towns: Vec::new() }
    }
}

impl County {
    /// The county as an extract in the PBF form. The same county gives the same bytes.
    pub fn extract(&self) -> Vec<u8> {
        let mut land = Land::new(self);
        land.waters();
        land.crossings();
        land.section_roads();
        land.towns(&self.towns);
        land.carriageway();
        let mut out = Vec::new();
        // Writing to memory does not fail.
        let _ = write::write(&mut out, WRITER, None, &land.nodes, &land.ways);
        out
    }
}

/// Flat metres from the south-west corner to a point.
#[derive(Clone, Copy, Debug)]
struct Plane {
    lat: f64,
    lon: f64,
    up: f64,
    across: f64,
}

impl Plane {
    fn new(county: &County) -> Self {
        let up = 111_195.0;
        let across = up * county.middle.lat().to_radians().cos().max(0.05);
        let (wide, high) = (f64::from(county.wide) * MILE_M, f64::from(county.high) * MILE_M);
        Self { lat: county.middle.lat() - high / 2.0 / up, lon: county.middle.lon() - wide / 2.0 / across, up, across }
    }

    fn point(&self, x: f64, y: f64) -> Point {
        Position::within(self.lat + y / self.up, self.lon + x / self.across).into()
    }

    fn flat(&self, p: Position) -> (f64, f64) {
        ((p.lon() - self.lon) * self.across, (p.lat() - self.lat) * self.up)
    }
}

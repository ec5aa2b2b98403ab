//! What an import found, in figures and in sentences.

use super::{
    graph::Network,
    point::{Extent, Point},
    snap::Grid,
    speeds::Class,
    straight::{MILE_M, Position},
};
use std::fmt::Write;
use time::OffsetDateTime;

/// A unit further than this from a road is told, in metres.
pub const FAR_M: f64 = 500.0;

/// What an import found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// day of the data, in seconds since 1970, where the file says it
    pub data_of: Option<i64>,
    pub ways_seen: u64,
    /// ways that a van may use
    pub ways_kept: usize,
    /// of these, how many have a posted limit
    pub posted: usize,
    /// places in a road's list of nodes that the file does not hold, or that lie outside the wanted box
    pub missing_nodes: u64,
    /// steps between two neighbouring nodes that were too long to be true
    pub absurd_steps: u64,
    /// parts that cannot be reached from the rest and back
    pub parts_left_out: usize,
    pub km_left_out: f64,
    pub junctions: usize,
    pub pieces: usize,
    /// in the order of [`Class::ALL`]
    pub km: [f64; 10],
    pub extent: Option<Extent>,
    pub towns: usize,
    pub houses: usize,
    pub lakes_and_rivers: usize,
}

impl Report {
    pub(super) fn finish(&mut self, network: &Network) {
        let parts = network.parts();
        self.junctions = parts.nodes.len();
        self.pieces = parts.edges.len();
        self.km = network.km();
        self.extent = network.extent();
        self.towns = parts.towns.len();
        self.houses = parts.houses.len();
        self.lakes_and_rivers = parts.waters.len();
    }

    /// The report as lines of text, miles first.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![match self.data_of.and_then(|s| OffsetDateTime::from_unix_timestamp(s).ok()) {
            Some(day) => format!("Map data of {}.", day.date()),
            None => "The file does not say of what day its map data is.".to_owned(),
        }];
        let total: f64 = self.km.iter().sum();
        lines.push(format!("{} of road in {} pieces between {} junctions:", length(total), self.pieces, self.junctions));
        for (class, km) in Class::ALL.into_iter().zip(self.km).filter(|c| c.1 > 0.0) {
            lines.push(format!("  {}: {}", class.words(), length(km)));
        }
        let share = 100 * self.posted / self.ways_kept.max(1);
        lines.push(format!("Posted limits on {} of {} roads ({share} %); the others go by their class.", self.posted, self.ways_kept));
        if let Some(e) = self.extent {
            let (wide, high) = e.km();
            lines.push(format!("Covers {} east to west and {} south to north.", length(wide), length(high)));
        }
        if self.parts_left_out > 0 {
            lines.push(format!(
                "Left out: {} in {} parts that cannot be reached from the rest and back.",
                length(self.km_left_out),
                self.parts_left_out
            ));
        }
        if self.absurd_steps > 0 {
            lines.push(format!("Cut: {} steps that are too long to be road.", self.absurd_steps));
        }
        if self.missing_nodes > 0 {
            lines.push(format!("Roads cut at the edge: {} of their points lie outside.", self.missing_nodes));
        }
        lines.push(format!("{} addresses, {} towns, {} lakes and rivers.", self.houses, self.towns, self.lakes_and_rivers));
        lines
    }
}

/// "12.3 miles (19.8 km)".
fn length(km: f64) -> String {
    let miles = km * 1_000.0 / MILE_M;
    if km < 100.0 { format!("{miles:.1} miles ({km:.1} km)") } else { format!("{miles:.0} miles ({km:.0} km)") }
}

/// How well the roads serve a point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Served {
    Well,
    /// Metres to the nearest road.
    FarFromRoad(f64),
    /// Outside the box that the roads cover, or no road within reach.
    Outside,
}

/// How well each point is served: within [`FAR_M`] of a road, further, or not at all.
pub fn served(network: &Network, grid: &Grid, points: &[Position]) -> Vec<Served> {
    let one = |p: &Position| match grid.nearest(network, Point::from(*p)) {
        Some(snap) if snap.off_m <= FAR_M => Served::Well,
        Some(snap) => Served::FarFromRoad(snap.off_m),
        None => Served::Outside,
    };
    points.iter().map(one).collect()
}

/// One sentence for a point that is not well served; `None` when it is.
pub fn sentence(name: &str, served: Served) -> Option<String> {
    let mut out = String::new();
    let _ = match served {
        Served::Well => return None,
        Served::FarFromRoad(m) => write!(out, "{name}: {:.1} miles ({m:.0} m) from the nearest road. Is the pin right?", m / MILE_M),
        Served::Outside => write!(out, "{name}: outside the roads. Its drives stay estimated."),
    };
    Some(out)
}

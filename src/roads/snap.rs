//! The nearest point on a road. A grid of cells, each with the pieces of road whose shape touches it.

use super::{
    graph::Network,
    point::{Extent, Local, Point, index, to_segment},
    straight::MILE_M,
};
use std::collections::HashSet;

/// A stop further than this from every road has none, in metres.
pub const REACH_M: f64 = 2_000.0;
/// A stop that meets the road so near to a junction stands on the junction, in metres.
const JUNCTION_M: f64 = 1.0;
/// Side of a cell in ten-millionths of a degree: about 550 m north to south.
const CELL: i64 = 50_000;

/// Where a stop meets the road.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Snap {
    /// piece of road
    pub edge: u32,
    /// how far along it, 0 at its junction `a` to 1 at `b`
    pub share: f64,
    pub at: Point,
    /// metres from the stop to the road, as the crow flies
    pub off_m: f64,
}

/// Which pieces of road lie where.
#[derive(Clone, Debug)]
pub struct Grid {
    extent: Extent,
    cell: i64,
    wide: i64,
    high: i64,
    first: Vec<u32>,
    items: Vec<u32>,
}

impl Grid {
    pub fn new(network: &Network) -> Self {
        let Some(extent) = network.extent() else {
            let nowhere = Extent { south: 0, west: 0, north: 0, east: 0 };
            return Self { extent: nowhere, cell: CELL, wide: 0, high: 0, first: vec![0], items: Vec::new() };
        };
        let (cell, wide, high) = cells(&extent, network.edges().len());
        let mut grid = Self { extent, cell, wide, high, first: Vec::new(), items: Vec::new() };
        let mut pairs: Vec<(u32, u32)> = Vec::new();
        let mut touched = Vec::new();
        for edge in 0..index(network.edges().len()) {
            touched.clear();
            network.shape(edge).windows(2).for_each(|w| grid.touched(w[0], w[1], &mut touched));
            touched.sort_unstable();
            touched.dedup();
            pairs.extend(touched.iter().map(|c| (*c, edge)));
        }
        grid.first = vec![0; usize::try_from(wide * high).unwrap_or(0) + 1];
        for (cell, _) in &pairs {
            grid.first[*cell as usize + 1] += 1;
        }
        for i in 1..grid.first.len() {
            grid.first[i] += grid.first[i - 1];
        }
        // Stable: within a cell the pieces stay in their order.
        pairs.sort_by_key(|p| p.0);
        grid.items = pairs.into_iter().map(|p| p.1).collect();
        grid
    }

    /// Row and column, which may lie outside.
    fn cell_of(&self, p: Point) -> (i64, i64) {
        let of = |v: i32, from: i32| (i64::from(v) - i64::from(from)).div_euclid(self.cell);
        (of(p.lat(), self.extent.south), of(p.lon(), self.extent.west))
    }

    /// The cells that a segment touches and a few beside; a long one is halved until that is few.
    fn touched(&self, p: Point, q: Point, out: &mut Vec<u32>) {
        let ((r0, c0), (r1, c1)) = (self.cell_of(p), self.cell_of(q));
        if ((r0 - r1).abs() + 1) * ((c0 - c1).abs() + 1) > 16 {
            let middle = p.towards(q, 0.5);
            self.touched(p, middle, out);
            self.touched(middle, q, out);
            return;
        }
        for r in r0.min(r1)..=r0.max(r1) {
            for c in c0.min(c1)..=c0.max(c1) {
                out.push(u32::try_from(r * self.wide + c).unwrap_or(0));
            }
        }
    }

    fn items(&self, r: i64, c: i64) -> &[u32] {
        if !(0..self.high).contains(&r) || !(0..self.wide).contains(&c) {
            return &[];
        }
        let i = usize::try_from(r * self.wide + c).unwrap_or(0);
        &self.items[self.first[i] as usize..self.first[i + 1] as usize]
    }

    /// The nearest point of any road within [`REACH_M`].
    pub fn nearest(&self, network: &Network, p: Point) -> Option<Snap> {
        let local = Local::at(p);
        let (row, col) = self.cell_of(p);
        let side = local.least(i32::try_from(self.cell).unwrap_or(i32::MAX)).max(1.0);
        let mut best: Option<Snap> = None;
        let mut ring = 0_i64;
        loop {
            // All that lies in this ring or beyond is at least so far away.
            let least = f64::from(i32::try_from(ring - 1).unwrap_or(i32::MAX).max(0)) * side;
            if least > best.map_or(REACH_M, |b| b.off_m) {
                return best;
            }
            for r in row - ring..=row + ring {
                let inner = (r - row).abs() < ring;
                let step = if inner { (2 * ring).max(1) } else { 1 };
                let mut c = col - ring;
                while c <= col + ring {
                    for &edge in self.items(r, c) {
                        let reach = best.map_or(REACH_M, |b| b.off_m);
                        best = on_edge(network, edge, &local, reach).or(best);
                    }
                    c += step;
                }
            }
            ring += 1;
        }
    }

    /// The nearest point of each road within so many metres, nearest first. Pieces of one name are one road, those without a name too.
    pub fn near(&self, network: &Network, p: Point, reach_m: f64) -> Vec<Snap> {
        let local = Local::at(p);
        let pieces = self.within(&Extent::around(p.into(), (reach_m / MILE_M).max(0.1)));
        let mut all: Vec<Snap> = pieces.into_iter().filter_map(|edge| on_edge(network, edge, &local, reach_m)).collect();
        all.sort_by(|a, b| a.off_m.total_cmp(&b.off_m).then(a.edge.cmp(&b.edge)));
        let mut names = HashSet::new();
        all.retain(|s| names.insert(network.edge(s.edge).name));
        all
    }

    /// Every piece with a cell in the box, in rising order, each once.
    pub fn within(&self, extent: &Extent) -> Vec<u32> {
        if self.items.is_empty() || !extent.meets(&self.extent) {
            return Vec::new();
        }
        let corner = |lat: i32, lon: i32| self.cell_of(Point::near(f64::from(lat), f64::from(lon)));
        let ((r0, c0), (r1, c1)) = (corner(extent.south, extent.west), corner(extent.north, extent.east));
        let (r0, c0, r1, c1) = (r0.max(0), c0.max(0), r1.min(self.high - 1), c1.min(self.wide - 1));
        let mut found = Vec::new();
        for r in r0..=r1 {
            for c in c0..=c1 {
                found.extend_from_slice(self.items(r, c));
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }

    pub fn bytes(&self) -> usize {
        size_of_val(&self.first[..]) + size_of_val(&self.items[..])
    }
}

/// Side, width and height of a grid that has no more cells than a few for each piece of road.
fn cells(extent: &Extent, edges: usize) -> (i64, i64, i64) {
    let most = i64::try_from(edges).unwrap_or(i64::MAX).saturating_mul(8).max(1 << 16);
    let mut cell = CELL;
    loop {
        let of = |high: i32, low: i32| (i64::from(high) - i64::from(low)) / cell + 1;
        let (wide, high) = (of(extent.east, extent.west), of(extent.north, extent.south));
        if wide * high <= most {
            return (cell, wide, high);
        }
        cell *= 2;
    }
}

/// Where on a piece the middle of `local` comes nearest, if that is less than `reach` metres.
fn on_edge(network: &Network, edge: u32, local: &Local, reach: f64) -> Option<Snap> {
    let line = network.shape(edge);
    let mut best = reach;
    let mut hit = None;
    let mut run = 0.0;
    for w in line.windows(2) {
        let (a, b) = (local.flat(w[0]), local.flat(w[1]));
        let (distance, t) = to_segment(a, b);
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        if distance < best {
            best = distance;
            hit = Some((run + t * length, (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1))));
        }
        run += length;
    }
    let (along, flat) = hit?;
    // So near to a junction, it stands on it.
    let share = if along < JUNCTION_M {
        0.0
    } else if along > run - JUNCTION_M {
        1.0
    } else {
        along / run
    };
    Some(Snap { edge, share, at: local.point(flat), off_m: best })
}

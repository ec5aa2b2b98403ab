//! Roads with some of them closed: each closed piece is cut out, and what is left of it on either side becomes a dead end, so that whoever lives on it is reached.

use super::{
    graph::{Edge, Misfit, Network},
    leg::cut,
    point::{Extent, Local, Point, counted, index},
    snap::Grid,
    straight::{MILE_M, Position},
};
use std::collections::HashMap;

/// A place where nobody drives through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closure {
    pub at: Position,
    /// 0: the road nearest to the pin, at the pin; else every road within so many metres of it
    pub radius_m: f64,
}

/// A road near a pin, and where on it a closure would lie.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// empty when the map has no name for it
    pub road: String,
    /// so far from a junction that the pin is nearest to this road and to no other
    pub at: Position,
    /// metres from the pin to the road
    pub off_m: f64,
}

/// Roads further than this from a pin are not offered, in metres, unless there is none nearer.
const OFFERED_M: f64 = 400.0;
/// A closure of one road lies so far from its junctions, in metres, or in the middle of a shorter piece.
const FROM_JUNCTION_M: f64 = 8.0;

/// The roads that may be meant by a pin, nearest first; empty when there is none within reach.
pub fn choices(network: &Network, grid: &Grid, pin: Position, most: usize) -> Vec<Choice> {
    let mut near = grid.near(network, pin.into(), OFFERED_M);
    if near.is_empty() {
        near.extend(grid.nearest(network, pin.into()));
    }
    near.truncate(most);
    let choice = |s: &super::Snap| {
        let length = f64::from(network.edge(s.edge).dm) / 10.0;
        let least = if length > 2.0 * FROM_JUNCTION_M { FROM_JUNCTION_M / length } else { 0.5 };
        let share = s.share.clamp(least, 1.0 - least);
        let at = cut(network.shape(s.edge), 0.0, share).last().copied().unwrap_or(s.at);
        Choice { road: network.name(s.edge).to_owned(), at: at.into(), off_m: s.off_m }
    };
    near.iter().map(choice).collect()
}

/// Which part of each piece is closed, as shares of its length.
type Shut = HashMap<u32, (f64, f64)>;

/// The network with these closures. A pin with no road within reach closes nothing.
///
/// What is left of a one-way is driven both ways: its dead end could not be left otherwise.
///
/// # Errors
/// [`Misfit`] when the roads become more than one file can hold.
pub fn closed(network: &Network, grid: &Grid, closures: &[Closure]) -> Result<Network, Misfit> {
    let mut shut = Shut::new();
    for c in closures {
        if c.radius_m > 0.0 {
            within(network, grid, c, &mut shut);
        } else if let Some(snap) = grid.nearest(network, c.at.into()) {
            add(&mut shut, snap.edge, (snap.share, snap.share));
        }
    }
    let mut parts = network.parts().clone();
    let (edges, mut nodes) = (std::mem::take(&mut parts.edges), std::mem::take(&mut parts.nodes));
    parts.shape.clear();
    for (i, e) in (0..).zip(&edges) {
        let line = network.shape(i);
        let Some(&(from, to)) = shut.get(&i) else {
            parts.edges.push(Edge { shape: index(parts.shape.len()), ..*e });
            parts.shape.extend_from_slice(line);
            continue;
        };
        for (begins, ends) in [(0.0, from), (to, 1.0)] {
            let Some((stub, shape)) = stub(e, line, (begins, ends), &mut nodes) else { continue };
            parts.edges.push(Edge { shape: index(parts.shape.len()), ..stub });
            parts.shape.extend(shape);
        }
    }
    parts.nodes = nodes;
    Network::new(parts)
}

fn add(shut: &mut Shut, edge: u32, (from, to): (f64, f64)) {
    let own = shut.entry(edge).or_insert((from, to));
    *own = (own.0.min(from), own.1.max(to));
}

/// What is left of a piece between two shares, one of which is its own end; `None` when that is nothing.
fn stub(e: &Edge, line: &[Point], (begins, ends): (f64, f64), nodes: &mut Vec<Point>) -> Option<(Edge, Vec<Point>)> {
    let mut shape = cut(line, begins, ends);
    if ends <= begins || shape.len() < 2 {
        return None;
    }
    let dead = index(nodes.len());
    let last = shape.len() - 1;
    let (a, b) = if begins <= 0.0 {
        shape[0] = line[0];
        nodes.push(shape[last]);
        (e.a, dead)
    } else {
        shape[last] = line[line.len() - 1];
        nodes.push(shape[0]);
        (dead, e.b)
    };
    let left = ends - begins;
    let ms = |own: Option<u32>, other: Option<u32>| own.or(other).map(|ms| counted(f64::from(ms) * left).max(1));
    let (forward_ms, backward_ms) = (ms(e.forward_ms, e.backward_ms), ms(e.backward_ms, e.forward_ms));
    Some((Edge { a, b, forward_ms, backward_ms, dm: counted(f64::from(e.dm) * left), ..*e }, shape))
}

/// Closes all that lies in the circle, of each piece from where it first comes in to where it last goes out.
fn within(network: &Network, grid: &Grid, c: &Closure, shut: &mut Shut) {
    let local = Local::at(c.at.into());
    for edge in grid.within(&Extent::around(c.at, (c.radius_m / MILE_M).max(0.2))) {
        let line: Vec<(f64, f64)> = network.shape(edge).iter().map(|p| local.flat(*p)).collect();
        let length = |w: &[(f64, f64)]| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1);
        let whole: f64 = line.windows(2).map(length).sum();
        let mut run = 0.0;
        for w in line.windows(2) {
            let step = length(w);
            if let Some((from, to)) = in_circle(w[0], w[1], c.radius_m) {
                let share = |t: f64| if whole > 0.0 { ((run + t * step) / whole).clamp(0.0, 1.0) } else { 0.0 };
                add(shut, edge, (share(from), share(to)));
            }
            run += step;
        }
    }
}

/// The shares of a segment between which it lies within `radius` of the origin.
fn in_circle(a: (f64, f64), b: (f64, f64), radius: f64) -> Option<(f64, f64)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (squared, along, beyond) = (dx * dx + dy * dy, a.0 * dx + a.1 * dy, a.0 * a.0 + a.1 * a.1 - radius * radius);
    if squared <= 0.0 {
        return (beyond <= 0.0).then_some((0.0, 1.0));
    }
    let root = along * along - squared * beyond;
    if root < 0.0 {
        return None;
    }
    let (from, to) = ((-along - root.sqrt()) / squared, (-along + root.sqrt()) / squared);
    (from <= 1.0 && to >= 0.0).then_some((from.max(0.0), to.min(1.0)))
}

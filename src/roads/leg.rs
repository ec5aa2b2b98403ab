//! One leg of a route with its shape on the road.

use super::{
    cost::Cost,
    ends::on_junction,
    graph::Network,
    plain::{Plain, Way},
    point::Point,
    snap::Snap,
    trace::Tracer,
};

/// A drive between two stops.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Leg {
    pub cost: Cost,
    /// along the road, from stop to stop; one point or more
    pub shape: Vec<Point>,
}

/// The quickest way between two stops, with its shape. `None` when there is none.
pub fn leg(network: &Network, tracer: &mut Tracer<'_>, from: &Snap, to: &Snap) -> Option<Leg> {
    Some(shaped(network, &tracer.way(from, to)?, from, to))
}

/// The same by the plain search: slow, and beyond doubt.
pub fn plain_leg(network: &Network, search: &mut Plain, from: &Snap, to: &Snap) -> Option<Leg> {
    Some(shaped(network, &search.way(network, from, to)?, from, to))
}

fn shaped(network: &Network, way: &Way, from: &Snap, to: &Snap) -> Leg {
    let mut shape = Vec::new();
    let Some((leaves, enters)) = way.ends else {
        add(&mut shape, cut(network.shape(from.edge), from.share, to.share));
        return Leg { cost: way.cost, shape };
    };
    add(&mut shape, first_piece(network, from, leaves));
    for &edge in &way.edges {
        let points = network.shape(edge >> 1);
        if edge & 1 == 0 { add(&mut shape, points.iter().copied()) } else { add(&mut shape, points.iter().rev().copied()) }
    }
    add(&mut shape, last_piece(network, to, enters));
    Leg { cost: way.cost, shape }
}

/// From the stop to the junction where the way leaves its piece. A piece that comes back to its own junction is left by the shorter side.
fn first_piece(network: &Network, s: &Snap, leaves: u32) -> Vec<Point> {
    if on_junction(s) {
        return cut(network.shape(s.edge), s.share, s.share);
    }
    let e = network.edge(s.edge);
    let ahead = e.b == leaves && e.forward_ms.is_some();
    let back = e.a == leaves && e.backward_ms.is_some();
    let end = if ahead && !(back && s.share < 0.5) { 1.0 } else { 0.0 };
    cut(network.shape(s.edge), s.share, end)
}

fn last_piece(network: &Network, t: &Snap, enters: u32) -> Vec<Point> {
    if on_junction(t) {
        return cut(network.shape(t.edge), t.share, t.share);
    }
    let e = network.edge(t.edge);
    let ahead = e.a == enters && e.forward_ms.is_some();
    let back = e.b == enters && e.backward_ms.is_some();
    let end = if ahead && !(back && t.share > 0.5) { 0.0 } else { 1.0 };
    cut(network.shape(t.edge), end, t.share)
}

/// Adds points, each only once where two stretches meet.
fn add(shape: &mut Vec<Point>, points: impl IntoIterator<Item = Point>) {
    for p in points {
        if shape.last() != Some(&p) {
            shape.push(p);
        }
    }
}

/// The stretch of a line between two shares of its length, turned round when the first is the larger.
pub(super) fn cut(line: &[Point], from: f64, to: f64) -> Vec<Point> {
    let steps: Vec<f64> = line.windows(2).map(|w| w[0].metres_to(w[1])).collect();
    let whole: f64 = steps.iter().sum();
    let (low, high) = (from.min(to) * whole, from.max(to) * whole);
    let mut out = Vec::new();
    let mut run = 0.0;
    for (w, step) in line.windows(2).zip(steps) {
        let at = |d: f64| w[0].towards(w[1], if step > 0.0 { ((d - run) / step).clamp(0.0, 1.0) } else { 0.0 });
        let end = run + step;
        if end >= low && run <= high {
            out.push(at(low));
            out.push(at(high));
        }
        run = end;
    }
    out.dedup();
    if from > to {
        out.reverse();
    }
    out
}

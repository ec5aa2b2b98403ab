//! Roads as lines of nodes, cut at junctions into pieces, and the largest part that hangs together.

use super::{
    connected,
    graph::{Arcs, Edge, LONGEST_MS, Misfit, Network, Parts, km},
    order,
    point::{Point, counted, index},
    report::Report,
    speeds::Driven,
};

/// A stretch of road with nothing missing in it: two nodes or more, no node twice in a row.
pub(super) struct Run {
    /// places in the list of needed nodes
    pub(super) nodes: Vec<u32>,
    pub(super) driven: Driven,
    pub(super) name: u32,
}

pub(super) fn sorted(of: impl Iterator<Item = u32>) -> Vec<u32> {
    let mut list: Vec<u32> = of.collect();
    list.sort_unstable();
    list.dedup();
    list
}

/// For each node whether a road begins, ends or meets another there.
fn junctions(runs: &[Run], nodes: usize) -> Vec<bool> {
    let mut used = vec![false; nodes];
    let mut junction = vec![false; nodes];
    for run in runs {
        for &n in &run.nodes {
            junction[n as usize] |= std::mem::replace(&mut used[n as usize], true);
        }
        for &end in [run.nodes.first(), run.nodes.last()].into_iter().flatten() {
            junction[end as usize] = true;
        }
    }
    junction
}

struct Builder<'a> {
    parts: Parts,
    /// junction of a needed node, once it has one
    junction: Vec<u32>,
    at: &'a [Option<Point>],
    blocked: &'a [u32],
}

impl Builder<'_> {
    fn point(&self, node: u32) -> Point {
        // Runs hold only nodes that were found.
        self.at[node as usize].unwrap_or(Point::near(0.0, 0.0))
    }

    /// A bollard cuts the road: each piece that ends at one gets an end of its own, so that nothing passes through.
    fn end(&mut self, node: u32) -> u32 {
        let known = self.junction[node as usize];
        if known != u32::MAX {
            return known;
        }
        let new = index(self.parts.nodes.len());
        self.parts.nodes.push(self.point(node));
        if self.blocked.binary_search(&node).is_err() {
            self.junction[node as usize] = new;
        }
        new
    }

    fn piece(&mut self, nodes: &[u32], driven: &Driven, name: u32) {
        let (Some(&first), Some(&last)) = (nodes.first(), nodes.last()) else { return };
        let shape = index(self.parts.shape.len());
        let points: Vec<Point> = nodes.iter().map(|n| self.point(*n)).collect();
        let metres: f64 = points.windows(2).map(|w| w[0].metres_to(w[1])).sum();
        self.parts.shape.extend(points);
        let ms = |kmh: f64| counted(metres / kmh * 3_600.0).clamp(1, LONGEST_MS);
        let (a, b) = (self.end(first), self.end(last));
        self.parts.edges.push(Edge {
            a,
            b,
            forward_ms: driven.forward.map(ms),
            backward_ms: driven.backward.map(ms),
            dm: counted(metres * 10.0),
            shape,
            name,
            class: driven.class,
            link: driven.link,
            private: driven.private,
        });
    }
}

/// Cuts the runs at junctions and bollards. `at` gives the needed nodes' points.
pub(super) fn parts(runs: &[Run], blocked: &[u32], at: &[Option<Point>]) -> Parts {
    let junction = junctions(runs, at.len());
    let mut builder = Builder { parts: Parts::default(), junction: vec![u32::MAX; at.len()], at, blocked };
    for run in runs {
        let mut from = 0;
        for i in 1..run.nodes.len() {
            let node = run.nodes[i];
            let cut = junction[node as usize] || blocked.binary_search(&node).is_ok();
            if cut {
                builder.piece(&run.nodes[from..=i], &run.driven, run.name);
                from = i;
            }
        }
    }
    builder.parts
}

/// Leaves out what cannot be reached from everywhere else and back, and puts the rest in order.
pub(super) fn largest_part(parts: Parts, report: &mut Report) -> Result<Network, Misfit> {
    let before: f64 = km(&parts.edges).iter().sum();
    let arcs = Arcs::of(parts.nodes.len(), &parts.edges);
    let (keep, found) = connected::largest(&arcs);
    drop(arcs);
    let parts = order::keep_in_order(parts, &keep);
    report.parts_left_out = found.saturating_sub(1);
    report.km_left_out = before - km(&parts.edges).iter().sum::<f64>();
    Network::new(parts)
}

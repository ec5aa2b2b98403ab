//! The quickest way between two stops by the hierarchy: two small searches, and shortcuts opened until only pieces of road are left.

use super::{
    contract::{Hierarchy, Links},
    cost::Cost,
    ends::{End, along, entries, exits},
    graph::{NO, Network},
    plain::{Heap, Way},
    snap::Snap,
};

/// One search up the hierarchy that remembers by which links it went.
#[derive(Clone, Debug)]
struct Side {
    best: Vec<Cost>,
    /// junction and link by which another was reached; `NO` at the start
    by: Vec<(u32, u32)>,
    touched: Vec<u32>,
    heap: Heap,
}

impl Side {
    fn new(junctions: usize) -> Self {
        Self { best: vec![Cost::NEVER; junctions], by: vec![(NO, NO); junctions], touched: Vec::new(), heap: Heap::default() }
    }

    fn reach(&mut self, v: u32, cost: Cost, by: (u32, u32)) {
        let known = self.best[v as usize];
        if cost >= known {
            return;
        }
        if known == Cost::NEVER {
            self.touched.push(v);
        }
        self.best[v as usize] = cost;
        self.by[v as usize] = by;
        self.heap.push(cost.ms(), v);
    }

    fn run(&mut self, links: &Links, starts: impl Iterator<Item = End>) {
        for v in self.touched.drain(..) {
            self.best[v as usize] = Cost::NEVER;
        }
        self.heap.clear();
        for (v, cost) in starts {
            self.reach(v, cost, (NO, NO));
        }
        while let Some((ms, v)) = self.heap.pop() {
            let cost = self.best[v as usize];
            if ms != cost.ms() {
                continue;
            }
            for link in links.range(v) {
                let (to, more) = links.at(link);
                self.reach(to, cost.plus(more), (v, link));
            }
        }
    }

    /// Links from the start to `v`, the last first, each with the junction it leaves.
    fn links(&self, mut v: u32) -> (u32, Vec<(u32, u32)>) {
        let mut links = Vec::new();
        while self.by[v as usize].0 != NO {
            links.push(self.by[v as usize]);
            v = self.by[v as usize].0;
        }
        (v, links)
    }
}

/// Room for one way after another on one network.
#[derive(Clone, Debug)]
pub struct Tracer<'a> {
    network: &'a Network,
    hierarchy: &'a Hierarchy,
    ahead: Side,
    back: Side,
}

impl<'a> Tracer<'a> {
    pub fn new(network: &'a Network, hierarchy: &'a Hierarchy) -> Self {
        let side = || Side::new(hierarchy.junctions());
        Self { network, hierarchy, ahead: side(), back: side() }
    }

    /// The same as `Plain::way`, but where two ways cost the same it may be the other.
    pub(super) fn way(&mut self, from: &Snap, to: &Snap) -> Option<Way> {
        let h = self.hierarchy;
        let placed = |e: End| (h.place(e.0), e.1);
        self.ahead.run(&h.up, exits(self.network, from).map(placed));
        self.back.run(&h.down, entries(self.network, to).map(placed));
        let through = |v: u32| self.ahead.best[v as usize].plus(self.back.best[v as usize]);
        let (cost, top) = self.back.touched.iter().map(|v| (through(*v), *v)).min()?;
        let direct = along(self.network, from, to);
        if direct.is_drive() && direct <= cost {
            return Some(Way { cost: direct, edges: Vec::new(), ends: None });
        }
        if !cost.is_drive() {
            return None;
        }
        let (first, up) = self.ahead.links(top);
        let (last, down) = self.back.links(top);
        let mut edges = Vec::new();
        for (tail, link) in up.into_iter().rev() {
            self.open(tail, h.up.at(link).0, h.up.at(link).1, h.up.via(link), &mut edges);
        }
        // A link down stands with the junction it leads to and is followed from its other end.
        for (head, link) in down {
            self.open(h.down.at(link).0, head, h.down.at(link).1, h.down.via(link), &mut edges);
        }
        Some(Way { cost, edges, ends: Some((h.junction(first), h.junction(last))) })
    }

    /// Opens a link into pieces of road, first to last.
    fn open(&self, tail: u32, head: u32, cost: Cost, via: u32, edges: &mut Vec<u32>) {
        let h = self.hierarchy;
        let mut open = vec![(tail, head, cost, via)];
        while let Some((tail, head, cost, via)) = open.pop() {
            if via == NO {
                let arcs = self.network.arcs().out(h.junction(tail)).iter();
                edges.extend(arcs.filter(|a| a.head == h.junction(head) && a.cost == cost).map(|a| a.edge).next());
                continue;
            }
            let (into, out) = (h.down.find(via, tail), h.up.find(via, head));
            open.extend(out.map(|l| (via, head, h.up.at(l).1, h.up.via(l))));
            open.extend(into.map(|l| (tail, via, h.down.at(l).1, h.down.via(l))));
        }
    }
}

//! Dijkstra's search over the whole network (Numerische Mathematik 1, 1959): what the quicker way is judged by, and what finds the shape of a leg.

use super::{
    cost::Cost,
    ends::{along, entries, exits},
    graph::{NO, Network},
    snap::Snap,
};

/// A heap whose entries are a time and a junction in one number, four children to a node.
#[derive(Clone, Debug, Default)]
pub(super) struct Heap(Vec<u64>);

impl Heap {
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }

    #[inline]
    pub(super) fn push(&mut self, ms: u32, v: u32) {
        let entry = (u64::from(ms) << 32) | u64::from(v);
        let heap = &mut self.0;
        let mut i = heap.len();
        heap.push(entry);
        while i > 0 {
            let up = (i - 1) / 4;
            if heap[up] <= entry {
                break;
            }
            heap[i] = heap[up];
            i = up;
        }
        heap[i] = entry;
    }

    #[inline]
    #[expect(clippy::cast_possible_truncation, reason = "the halves of 64 bits")]
    pub(super) fn pop(&mut self) -> Option<(u32, u32)> {
        let heap = &mut self.0;
        let moved = heap.pop()?;
        let Some(&top) = heap.first() else { return Some(((moved >> 32) as u32, moved as u32)) };
        let mut i = 0;
        loop {
            let first = 4 * i + 1;
            if first >= heap.len() {
                break;
            }
            let mut least = first;
            for child in first + 1..(first + 4).min(heap.len()) {
                if heap[child] < heap[least] {
                    least = child;
                }
            }
            if heap[least] >= moved {
                break;
            }
            heap[i] = heap[least];
            i = least;
        }
        heap[i] = moved;
        Some(((top >> 32) as u32, top as u32))
    }
}

/// Room for one search after another on one network.
#[derive(Clone, Debug)]
pub struct Plain {
    best: Vec<Cost>,
    /// the arc's edge by which a junction was reached, as `Arc::edge`; `NO` at the start
    by: Vec<u32>,
    touched: Vec<u32>,
    goal: Vec<bool>,
    heap: Heap,
}

impl Plain {
    pub fn new(network: &Network) -> Self {
        let n = network.arcs().len();
        Self { best: vec![Cost::NEVER; n], by: vec![NO; n], touched: Vec::new(), goal: vec![false; n], heap: Heap::default() }
    }

    fn reach(&mut self, v: u32, cost: Cost, by: u32) {
        let known = self.best[v as usize];
        if cost >= known {
            return;
        }
        if known == Cost::NEVER {
            self.touched.push(v);
        }
        self.best[v as usize] = cost;
        self.by[v as usize] = by;
        // With the same time but less road, its place in the heap is right already.
        if cost.ms() != known.ms() || known == Cost::NEVER {
            self.heap.push(cost.ms(), v);
        }
    }

    /// Searches from a stop until every goal junction is settled.
    fn run(&mut self, network: &Network, from: &Snap, goals: &[u32]) {
        for v in self.touched.drain(..) {
            self.best[v as usize] = Cost::NEVER;
        }
        self.heap.clear();
        let mut wanted = 0;
        for &g in goals {
            wanted += usize::from(!std::mem::replace(&mut self.goal[g as usize], true));
        }
        for (v, cost) in exits(network, from) {
            self.reach(v, cost, NO);
        }
        while let Some((ms, v)) = self.heap.pop() {
            let cost = self.best[v as usize];
            if ms != cost.ms() {
                continue;
            }
            if std::mem::replace(&mut self.goal[v as usize], false) {
                wanted -= 1;
                if wanted == 0 {
                    break;
                }
            }
            for arc in network.arcs().out(v) {
                self.reach(arc.head, cost.plus(arc.cost), arc.edge);
            }
        }
        for &g in goals {
            self.goal[g as usize] = false;
        }
    }

    /// From one stop to each of many.
    pub fn row(&mut self, network: &Network, from: &Snap, to: &[Snap]) -> Vec<Cost> {
        let goals: Vec<u32> = to.iter().flat_map(|t| entries(network, t)).map(|e| e.0).collect();
        self.run(network, from, &goals);
        let one = |t: &Snap| {
            let by_junctions = entries(network, t).map(|(v, cost)| self.best[v as usize].plus(cost)).min();
            by_junctions.unwrap_or(Cost::NEVER).min(along(network, from, t))
        };
        to.iter().map(one).collect()
    }

    /// The quickest way between two stops as edges, each as `Arc::edge`, without the pieces on which the stops lie. `None` = no way.
    ///
    /// With it the cost, and the junctions where it leaves and enters those pieces; no junctions when it stays on one.
    pub(super) fn way(&mut self, network: &Network, from: &Snap, to: &Snap) -> Option<Way> {
        let goals: Vec<u32> = entries(network, to).map(|e| e.0).collect();
        self.run(network, from, &goals);
        let (cost, last) = entries(network, to).map(|(v, cost)| (self.best[v as usize].plus(cost), v)).min()?;
        let direct = along(network, from, to);
        if direct.is_drive() && direct <= cost {
            return Some(Way { cost: direct, edges: Vec::new(), ends: None });
        }
        if !cost.is_drive() {
            return None;
        }
        let mut edges = Vec::new();
        let mut v = last;
        while self.by[v as usize] != NO {
            let by = self.by[v as usize];
            edges.push(by);
            let e = network.edge(by >> 1);
            v = if by & 1 == 0 { e.a } else { e.b };
        }
        edges.reverse();
        Some(Way { cost, edges, ends: Some((v, last)) })
    }
}

/// See [`Plain::way`].
pub(super) struct Way {
    pub(super) cost: Cost,
    pub(super) edges: Vec<u32>,
    pub(super) ends: Option<(u32, u32)>,
}

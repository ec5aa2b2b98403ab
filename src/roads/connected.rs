//! Which junctions can all be reached from one another.

use super::{
    graph::{Arcs, NO},
    point::index,
};

/// Tarjan's search for strongly connected parts (SIAM J. Comput. 1(2), 1972), without recursion.
struct Search<'a> {
    arcs: &'a Arcs,
    order: Vec<u32>,
    low: Vec<u32>,
    part: Vec<u32>,
    /// junctions whose part is not known yet
    open: Vec<u32>,
    /// the way down: junction, and how many of its arcs have been looked at
    way: Vec<(u32, u32)>,
    found: u32,
    sizes: Vec<u32>,
}

impl Search<'_> {
    fn enter(&mut self, v: u32) {
        self.order[v as usize] = self.found;
        self.low[v as usize] = self.found;
        self.found += 1;
        self.open.push(v);
        self.way.push((v, 0));
    }

    fn from(&mut self, start: u32) {
        self.enter(start);
        while let Some(&mut (v, ref mut looked)) = self.way.last_mut() {
            if let Some(arc) = self.arcs.out(v).get(*looked as usize) {
                *looked += 1;
                let w = arc.head as usize;
                if self.order[w] == NO {
                    self.enter(arc.head);
                } else if self.part[w] == NO {
                    self.low[v as usize] = self.low[v as usize].min(self.order[w]);
                }
            } else {
                self.leave(v);
            }
        }
    }

    fn leave(&mut self, v: u32) {
        self.way.pop();
        let low = self.low[v as usize];
        if let Some(&(before, _)) = self.way.last() {
            self.low[before as usize] = self.low[before as usize].min(low);
        }
        if low != self.order[v as usize] {
            return;
        }
        let mut size = 0;
        while let Some(w) = self.open.pop() {
            self.part[w as usize] = index(self.sizes.len());
            size += 1;
            if w == v {
                break;
            }
        }
        self.sizes.push(size);
    }
}

/// For each junction whether it belongs to the largest part (of equal ones the first found), and how many parts there are.
pub(super) fn largest(arcs: &Arcs) -> (Vec<bool>, usize) {
    let n = arcs.len();
    let unknown = || vec![NO; n];
    let mut search =
        Search { arcs, order: unknown(), low: unknown(), part: unknown(), open: Vec::new(), way: Vec::new(), found: 0, sizes: Vec::new() };
    for v in 0..index(n) {
        if search.order[v as usize] == NO {
            search.from(v);
        }
    }
    let sizes = &search.sizes;
    let best = (0..sizes.len()).rev().max_by_key(|&i| sizes[i]).map_or(NO, index);
    (search.part.iter().map(|&p| p == best).collect(), sizes.len())
}

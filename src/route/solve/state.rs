//! The plan being worked on, with what is needed to take a step back.

use super::ground::{Ground, NEVER, small};
use super::random::Random;
use super::timing::Route;

/// Marks a visit that is in no route.
pub(super) const OUT: u32 = u32::MAX;

/// The cheapest insertion of one visit into one route, true for that version of the route.
#[derive(Clone, Copy, Default)]
struct Known {
    version: u64,
    added: i32,
    position: u32,
}

struct Saved {
    shift: usize,
    version: u64,
    route: Route,
}

/// Routes, visits left out, cost, and the copies made since the step began.
pub(super) struct State<'a> {
    pub(super) ground: &'a Ground<'a>,
    pub(super) random: Random,
    pub(super) routes: Vec<Route>,
    /// shift of each visit or [`OUT`]
    pub(super) at: Vec<u32>,
    pub(super) out: Vec<u32>,
    pub(super) cost: i64,
    pub(super) best_cost: i64,
    pub(super) best: Vec<Vec<u32>>,
    pub(super) order: Vec<i64>,
    /// number of the step
    pub(super) step: u64,
    /// step in which a visit was out at the start
    pub(super) was_out: Vec<u64>,
    /// step in which a visit goes in at any price
    pub(super) forced: Vec<u64>,
    known: Vec<Known>,
    versions: Vec<u64>,
    last_version: u64,
    changed: Vec<u64>,
    saved: Vec<Saved>,
    saves: usize,
    out_before: Vec<u32>,
    cost_before: i64,
}

impl<'a> State<'a> {
    /// Empty routes, every visit out.
    pub(super) fn new(ground: &'a Ground<'a>, seed: u64) -> Self {
        let (n, m) = (ground.tasks.len(), ground.hours.len());
        let mut state = Self {
            ground,
            random: Random::new(seed),
            routes: vec![Route::default(); m],
            at: vec![OUT; n],
            out: ground.open.clone(),
            cost: ground.tasks.iter().map(|t| t.price).sum(),
            best_cost: i64::MAX,
            best: vec![Vec::new(); m],
            order: Vec::new(),
            step: 0,
            was_out: vec![0; n],
            forced: vec![0; n],
            known: vec![Known::default(); n * m],
            versions: vec![0; m],
            last_version: 0,
            changed: vec![0; m],
            saved: Vec::new(),
            saves: 0,
            out_before: Vec::new(),
            cost_before: 0,
        };
        for k in 0..m {
            state.retime(k);
        }
        state.begin();
        state
    }

    /// Starts a step that can be undone.
    pub(super) fn begin(&mut self) {
        self.step += 1;
        self.saves = 0;
        self.cost_before = self.cost;
        self.out_before.clone_from(&self.out);
        for &j in &self.out {
            self.was_out[j as usize] = self.step;
        }
    }

    /// Whether the route of shift `k` was touched in this step.
    pub(super) fn touched(&self, k: usize) -> bool {
        self.changed[k] == self.step
    }

    /// The shifts touched in this step.
    pub(super) fn touched_shifts(&self) -> usize {
        self.saves
    }

    /// The `x`-th of the shifts touched in this step.
    pub(super) fn touched_shift(&self, x: usize) -> usize {
        self.saved[x].shift
    }

    /// How much the cost rose in this step.
    pub(super) fn rise(&self) -> i64 {
        self.cost - self.cost_before
    }

    /// Times of the route of shift `k` anew; the cost follows.
    fn retime(&mut self, k: usize) {
        let before = self.routes[k].drive;
        self.last_version += 1;
        self.versions[k] = self.last_version;
        self.ground.retime(k, &mut self.routes[k]);
        self.cost += i64::from(self.routes[k].drive - before);
    }

    fn save(&mut self, k: usize) {
        if self.touched(k) {
            return;
        }
        self.changed[k] = self.step;
        if self.saves == self.saved.len() {
            self.saved.push(Saved { shift: k, version: 0, route: Route::default() });
        }
        let copy = &mut self.saved[self.saves];
        (copy.shift, copy.version) = (k, self.versions[k]);
        copy.route.clone_from(&self.routes[k]);
        self.saves += 1;
    }

    /// Puts visit `j` into the route of shift `k`; the caller knows that it fits.
    pub(super) fn put(&mut self, j: u32, k: usize, position: u32) {
        self.save(k);
        self.routes[k].seq.insert(position as usize, j);
        self.at[j as usize] = small(k);
        self.cost -= self.ground.tasks[j as usize].price;
        self.retime(k);
    }

    /// Takes the stops at the marked positions out of the route of shift `k`. Where leaving out a stop makes the
    /// rest too late (a set-up no longer shared, a matrix with shortcuts), stops go from the end until it holds.
    pub(super) fn take(&mut self, k: usize, goes: impl Fn(usize) -> bool) {
        self.save(k);
        let mut position = 0;
        let (at, out, cost, tasks) = (&mut self.at, &mut self.out, &mut self.cost, &self.ground.tasks);
        self.routes[k].seq.retain(|&j| {
            let go = goes(position);
            position += 1;
            if go {
                at[j as usize] = OUT;
                out.push(j);
                *cost += tasks[j as usize].price;
            }
            !go
        });
        self.retime(k);
        while !self.ground.holds(k, &self.routes[k]) {
            if let Some(j) = self.routes[k].seq.pop() {
                self.at[j as usize] = OUT;
                self.out.push(j);
                self.cost += self.ground.tasks[j as usize].price;
            }
            self.retime(k);
        }
    }

    /// The cheapest insertion of visit `j` into the route of shift `k`: seconds added ([`NEVER`] when it does
    /// not fit) and position.
    pub(super) fn insertion(&mut self, j: u32, k: usize) -> (i32, u32) {
        let cell = j as usize * self.routes.len() + k;
        let known = self.known[cell];
        if known.version == self.versions[k] {
            return (known.added, known.position);
        }
        let (added, position) = self.ground.cheapest(j, k, &self.routes[k], || false);
        self.known[cell] = Known { version: self.versions[k], added, position };
        (added, position)
    }

    /// The same, passing over about one position in eight.
    pub(super) fn loose_insertion(&mut self, j: u32, k: usize) -> (i32, u32) {
        let random = &mut self.random;
        self.ground.cheapest(j, k, &self.routes[k], || random.one_in(8))
    }

    /// Back to where the step began.
    pub(super) fn undo(&mut self) {
        for copy in &self.saved[..self.saves] {
            for &j in &self.routes[copy.shift].seq {
                self.at[j as usize] = OUT;
            }
        }
        for copy in &mut self.saved[..self.saves] {
            let k = copy.shift;
            self.versions[k] = copy.version;
            std::mem::swap(&mut self.routes[k], &mut copy.route);
            for &j in &self.routes[k].seq {
                self.at[j as usize] = small(k);
            }
        }
        std::mem::swap(&mut self.out, &mut self.out_before);
        self.cost = self.cost_before;
    }

    /// Keeps the present plan if it is the best so far.
    pub(super) fn note_best(&mut self) {
        if self.cost >= self.best_cost {
            return;
        }
        self.best_cost = self.cost;
        for (kept, route) in self.best.iter_mut().zip(&self.routes) {
            if *kept != route.seq {
                kept.clone_from(&route.seq);
            }
        }
    }

    /// Takes over a plan, possibly made for an older state of the world: what is unknown, doubled or does not
    /// fit any more stays out.
    pub(super) fn take_over(&mut self, plan: &[Vec<usize>]) {
        for (k, wanted) in plan.iter().enumerate().take(self.routes.len()) {
            let mut fresh = Vec::new();
            for &j in wanted {
                let known = j < self.at.len() && self.at[j] == OUT;
                if known && self.ground.tasks[j].may.contains(&small(k)) && !fresh.contains(&small(j)) {
                    fresh.push(small(j));
                }
            }
            let mut route = Route { seq: fresh, ..Route::default() };
            self.ground.retime(k, &mut route);
            if !self.ground.holds(k, &route) {
                route = self.what_fits(k, &route.seq);
            }
            for &j in &route.seq {
                self.at[j as usize] = small(k);
                self.cost -= self.ground.tasks[j as usize].price;
            }
            self.routes[k].seq = route.seq;
            self.retime(k);
        }
        let at = &self.at;
        self.out.retain(|&j| at[j as usize] == OUT);
        self.begin();
    }

    /// The visits that fit when they are added to shift `k` one by one, in this order.
    fn what_fits(&self, k: usize, wanted: &[u32]) -> Route {
        let mut route = Route::default();
        for &j in wanted {
            route.seq.push(j);
            self.ground.retime(k, &mut route);
            if !self.ground.holds(k, &route) {
                route.seq.pop();
            }
        }
        self.ground.retime(k, &mut route);
        route
    }

    /// The price of a visit as far as an insertion can reach it.
    pub(super) fn worth(&self, j: u32) -> i32 {
        i32::try_from(self.ground.tasks[j as usize].price).map_or(NEVER - 1, |p| p.min(NEVER - 1))
    }
}

//! The plan being worked on, with what is needed to take a step back.

use super::cross::Former;
use super::displace::{Displaced, Making};
use super::ground::{Ground, NEVER, small};
use super::insert::Spot;
use super::random::Random;
use super::recall::Recall;
use super::sets::Sets;
use super::timing::Route;

/// Marks a visit that is in no route.
pub(super) const OUT: u32 = u32::MAX;

/// More visits than this that are out are many.
const FEW_OUT: usize = 8;

/// Where a visit that stands in a route is among those that are out.
const NOWHERE: u32 = u32::MAX;

/// What the cheapest insertion of one visit into one route adds, true for that version of the route: the version, and in the
/// lowest bits the seconds from [`LEAST_ADDED`] on. Kept small, since most of a season's search waits for these cells.
#[derive(Clone, Copy, Default)]
struct Known(u64);

/// A drive is shorter than 2^16 seconds, so what fits adds less than 2^17.
const ADDED_BITS: u32 = 20;
const LEAST_ADDED: i32 = -(1 << (ADDED_BITS - 1));
/// It does not fit.
const NOT_AT_ALL: u64 = (1 << ADDED_BITS) - 1;

impl Known {
    fn new(version: u64, added: i32) -> Self {
        Self(version << ADDED_BITS | u64::try_from(added - LEAST_ADDED).map_or(NOT_AT_ALL, |a| a.min(NOT_AT_ALL)))
    }

    #[inline]
    fn added(self, version: u64) -> Option<i32> {
        let code = self.0 & NOT_AT_ALL;
        let added = || i32::try_from(code).map_or(NEVER, |a| a + LEAST_ADDED);
        (self.0 >> ADDED_BITS == version).then(|| if code == NOT_AT_ALL { NEVER } else { added() })
    }
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
    /// seconds of work that each shift could still take, were there no windows
    pub(super) room: Vec<i32>,
    /// one set: the shifts that have room for some visit, but for the copies of an empty one
    pub(super) roomy: Sets,
    /// which routes have no stops
    empty: Vec<bool>,
    /// routes that have stops
    pub(super) used: usize,
    used_before: usize,
    pub(super) out: Vec<u32>,
    pub(super) cost: i64,
    pub(super) best_cost: i64,
    pub(super) best: Vec<Vec<u32>>,
    /// plans of former rounds
    pub(super) former: Former,
    pub(super) order: Vec<i64>,
    /// number of the step
    pub(super) step: u64,
    /// step in which a visit was taken out last
    took: Vec<u64>,
    /// visits taken out in this step
    pub(super) taken: Vec<u32>,
    /// step in which a visit goes in at any price
    pub(super) forced: Vec<u64>,
    /// the visit round which this step works, or [`OUT`]
    pub(super) focus: u32,
    /// every shift is looked through for every visit
    pub(super) thorough: bool,
    /// the visit in whose neighbourhood the search is at present
    pub(super) home: u32,
    pub(super) picked: Vec<u32>,
    /// where a visit stands among those that are out, or [`NOWHERE`]
    out_at: Vec<u32>,
    out_before: usize,
    /// working seconds of each week
    week_work: Vec<i64>,
    known: Vec<Known>,
    /// position of each known insertion
    known_at: Vec<u16>,
    /// what it costs to make room, visit by visit; empty where none is made
    pub(super) making: Vec<Making>,
    /// share of the steps that go by regret
    pub(super) regret: f64,
    /// of 256 parts of a displaced visit's price, how many count in this step
    pub(super) counted: i64,
    versions: Vec<u64>,
    last_version: u64,
    changed: Vec<u64>,
    saved: Vec<Saved>,
    saves: usize,
    cost_before: i64,
    /// what it looks back on near its end
    pub(super) recall: Recall,
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
            room: vec![0; m],
            roomy: Sets::new(1, m),
            empty: vec![false; m],
            used: 0,
            used_before: 0,
            out: ground.open.clone(),
            cost: ground.tasks.iter().map(|t| t.price).sum(),
            best_cost: i64::MAX,
            best: vec![Vec::new(); m],
            former: Former::default(),
            order: Vec::new(),
            step: 0,
            took: vec![0; n],
            taken: Vec::new(),
            forced: vec![0; n],
            focus: OUT,
            thorough: false,
            home: OUT,
            picked: Vec::new(),
            out_at: vec![NOWHERE; n],
            out_before: 0,
            week_work: vec![0; ground.weeks.max(1)],
            known: vec![Known::default(); n * m],
            known_at: vec![0; n * m],
            making: Vec::new(),
            regret: 0.0,
            counted: 0,
            versions: vec![0; m],
            last_version: 0,
            changed: vec![0; m],
            saved: Vec::new(),
            saves: 0,
            cost_before: 0,
            recall: Recall::default(),
        };
        state.number_out();
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
        self.used_before = self.used;
        self.out_before = self.out.len();
        self.taken.clear();
    }

    fn number_out(&mut self) {
        self.out_at.fill(NOWHERE);
        for (x, &j) in self.out.iter().enumerate() {
            self.out_at[j as usize] = small(x);
        }
    }

    /// Whether visit `j`, which is out, was so when the step began.
    pub(super) fn was_out(&self, j: u32) -> bool {
        self.took[j as usize] != self.step
    }

    /// Visit `j` is no longer out.
    pub(super) fn drop_out(&mut self, j: u32) {
        let x = std::mem::replace(&mut self.out_at[j as usize], NOWHERE) as usize;
        self.out.swap_remove(x);
        if let Some(&moved) = self.out.get(x) {
            self.out_at[moved as usize] = small(x);
        }
    }

    /// Number of the present state of the route of shift `k`.
    pub(super) fn version(&self, k: usize) -> u64 {
        self.versions[k]
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

    /// Seconds of work that the `x`-th of the shifts touched in this step could still take before it.
    pub(super) fn room_before(&self, x: usize) -> i32 {
        let before = &self.saved[x];
        self.ground.hours[before.shift].work - before.route.busy
    }

    /// How much the cost rose in this step.
    pub(super) fn rise(&self) -> i64 {
        self.cost - self.cost_before
    }

    /// Times of the route of shift `k` anew; the cost follows.
    fn retime(&mut self, k: usize) {
        self.follow(k, |ground, route| ground.retime(k, route));
    }

    /// Changes the times of the route of shift `k`; the cost follows.
    fn follow(&mut self, k: usize, change: impl FnOnce(&Ground<'_>, &mut Route)) {
        let (drive, busy, told) = (self.routes[k].drive, self.routes[k].busy, self.routes[k].told);
        self.last_version += 1;
        self.versions[k] = self.last_version;
        self.used -= usize::from(self.routes[k].nodes.len() > 1);
        change(self.ground, &mut self.routes[k]);
        let (ground, route) = (self.ground, &self.routes[k]);
        self.used += usize::from(!route.seq.is_empty());
        self.cost += i64::from(route.drive - drive);
        if !ground.plain {
            let week = &mut self.week_work[ground.hours[k].week];
            let before = *week;
            *week += i64::from(route.busy) - i64::from(busy);
            self.cost += ground.week_price(k, *week) - ground.week_price(k, before);
            self.cost += ground.overtime(k, route.busy) - ground.overtime(k, busy) + route.told - told;
        }
        self.note_room(k);
    }

    fn note_room(&mut self, k: usize) {
        self.room[k] = self.ground.hours[k].work - self.routes[k].busy;
        let empty = self.routes[k].seq.is_empty();
        if std::mem::replace(&mut self.empty[k], empty) != empty {
            self.note_empty(k);
        }
        if !empty {
            self.roomy.put(0, k, self.room[k] >= self.ground.least);
        }
    }

    /// Of the shifts like `k` that are empty, only the first is tried.
    fn note_empty(&mut self, k: usize) {
        let mut tried = false;
        for &k in self.ground.alike.to(k).iter().filter(|&&k| self.empty[k]) {
            self.roomy.put(0, k, !tried && self.room[k] >= self.ground.least);
            tried = true;
        }
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

    /// What it is worth that shift `k` serves visit `j`.
    pub(super) fn worth_at(&self, j: u32, k: usize) -> i64 {
        self.ground.tasks[j as usize].price - self.ground.bias(j, k)
    }

    /// Puts visit `j`, which is out, where the caller knows that it fits.
    pub(super) fn put_at(&mut self, j: u32, spot: Spot) {
        self.drop_out(j);
        self.put(j, spot.shift as usize, spot.position);
    }

    /// Puts visit `j` into the route of shift `k`; the caller knows that it fits.
    fn put(&mut self, j: u32, k: usize, position: u32) {
        self.save(k);
        self.at[j as usize] = small(k);
        self.cost -= self.worth_at(j, k);
        self.follow(k, |ground, route| ground.insert(k, route, j, position as usize));
    }

    /// Takes the stops at the marked positions out of the route of shift `k`. Where leaving out a stop makes the
    /// rest too late (a set-up no longer shared, a matrix with shortcuts), stops go from the end until it holds.
    pub(super) fn take(&mut self, k: usize, goes: impl Fn(usize) -> bool) {
        self.save(k);
        let mut position = 0;
        let mut stops = std::mem::take(&mut self.routes[k].seq);
        stops.retain(|&j| {
            let go = goes(position);
            position += 1;
            if go {
                self.took_out(j, k);
            }
            !go
        });
        self.routes[k].seq = stops;
        self.settle(k);
    }

    /// Puts visit `j` in the place of some stops; what makes the rest too late goes from the end, as in [`Self::take`].
    pub(super) fn displace(&mut self, j: u32, room: Displaced) {
        let k = room.shift as usize;
        self.save(k);
        for x in room.stops() {
            self.took_out(self.routes[k].seq[x], k);
        }
        self.routes[k].seq.splice(room.stops(), [j]);
        self.drop_out(j);
        self.at[j as usize] = room.shift;
        self.cost -= self.worth_at(j, k);
        self.settle(k);
    }

    /// Gives shift `k`, which has no stops, this route; its visits are out.
    pub(super) fn lay(&mut self, k: usize, stops: &[u32]) {
        self.save(k);
        for &j in stops {
            self.drop_out(j);
            self.at[j as usize] = small(k);
            self.cost -= self.worth_at(j, k);
        }
        self.routes[k].seq.extend_from_slice(stops);
        self.settle(k);
    }

    /// Times anew; stops go from the end until they hold.
    fn settle(&mut self, k: usize) {
        self.retime(k);
        while !self.ground.holds(k, &self.routes[k]) {
            if let Some(j) = self.routes[k].seq.pop() {
                self.took_out(j, k);
            }
            self.retime(k);
        }
    }

    /// Visit `j` left the route of shift `k` in this step.
    fn took_out(&mut self, j: u32, k: usize) {
        self.at[j as usize] = OUT;
        self.add_out(j);
        self.took[j as usize] = self.step;
        self.taken.push(j);
        self.cost += self.worth_at(j, k);
    }

    fn add_out(&mut self, j: u32) {
        self.out_at[j as usize] = small(self.out.len());
        self.out.push(j);
    }

    /// The cheapest insertion of visit `j` into the route of shift `k`: seconds added ([`NEVER`] when it does
    /// not fit) and position.
    pub(super) fn insertion(&mut self, j: u32, k: usize, forced: bool) -> (i32, u32) {
        if forced {
            return self.ground.cheapest(j, k, &self.routes[k], NEVER, || false);
        }
        let cell = j as usize * self.routes.len() + k;
        let version = self.versions[k];
        if let Some(added) = self.known[cell].added(version) {
            return (added, u32::from(self.known_at[cell]));
        }
        let (added, position) = self.ground.cheapest(j, k, &self.routes[k], self.ground.tasks[j as usize].worth, || false);
        if let Ok(at) = u16::try_from(position) {
            (self.known[cell], self.known_at[cell]) = (Known::new(version, added), at);
        }
        (added, position)
    }

    /// The same, passing over about one position in eight.
    pub(super) fn loose_insertion(&mut self, j: u32, k: usize) -> (i32, u32) {
        let random = &mut self.random;
        self.ground.cheapest(j, k, &self.routes[k], NEVER, || random.one_in(8))
    }

    /// Back to where the step began.
    pub(super) fn undo(&mut self) {
        for copy in &self.saved[..self.saves] {
            for &j in &self.routes[copy.shift].seq {
                self.at[j as usize] = OUT;
            }
        }
        for x in 0..self.saves {
            self.restore(x);
        }
        // what had been put in and stands nowhere again
        for x in 0..self.saves {
            for y in 0..self.saved[x].route.seq.len() {
                let j = self.saved[x].route.seq[y];
                if self.at[j as usize] == OUT && self.out_at[j as usize] == NOWHERE {
                    self.add_out(j);
                }
            }
        }
        self.cost = self.cost_before;
        self.used = self.used_before;
    }

    /// Puts the `x`-th copy back in its place and keeps the present route there.
    fn restore(&mut self, x: usize) {
        let copy = &mut self.saved[x];
        let k = copy.shift;
        self.versions[k] = copy.version;
        let week = &mut self.week_work[self.ground.hours[k].week];
        *week += i64::from(copy.route.busy) - i64::from(self.routes[k].busy);
        std::mem::swap(&mut self.routes[k], &mut copy.route);
        for y in 0..self.routes[k].seq.len() {
            let j = self.routes[k].seq[y];
            self.at[j as usize] = small(k);
            if self.out_at[j as usize] != NOWHERE {
                self.drop_out(j);
            }
        }
        self.note_room(k);
    }

    /// Back to the best plan so far.
    pub(super) fn return_to_best(&mut self) {
        let (best, cost) = self.best_of_all();
        let best = best.to_vec();
        self.return_to(&best, cost);
    }

    /// Back to a plan that there was, which costs so much.
    pub(super) fn return_to(&mut self, plan: &[Vec<u32>], cost: i64) {
        self.at.fill(OUT);
        for (k, stops) in plan.iter().enumerate() {
            self.routes[k].seq.clone_from(stops);
            for &j in stops {
                self.at[j as usize] = small(k);
            }
            self.retime(k);
        }
        let at = &self.at;
        self.out.clone_from(&self.ground.open);
        self.out.retain(|&j| at[j as usize] == OUT);
        self.number_out();
        self.cost = cost;
        self.begin();
    }

    /// Keeps the present plan if it is the best so far of this round.
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
                if known && self.ground.allows(small(j), k) && !fresh.contains(&small(j)) {
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
                self.cost -= self.worth_at(j, k);
            }
            self.routes[k].seq = route.seq;
            self.retime(k);
        }
        let at = &self.at;
        self.out.retain(|&j| at[j as usize] == OUT);
        self.number_out();
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

    /// Whether a good many visits were out when the step began.
    pub(super) fn many_were_out(&self) -> bool {
        self.out_before > FEW_OUT
    }

    /// Whether a good many visits are out.
    pub(super) fn crowded(&self) -> bool {
        self.out.len() > FEW_OUT
    }

    /// What an insertion that adds so much driving costs in all, beside the price of leaving the visit out.
    pub(super) fn costs(&self, j: u32, k: usize, added: i32, position: u32) -> i64 {
        let ground = self.ground;
        let drive = i64::from(added);
        if ground.plain {
            return drive;
        }
        let (task, route) = (&ground.tasks[j as usize], &self.routes[k]);
        let shares = position > 0 && route.nodes[position as usize].place == task.place;
        let stay = if shares { task.service } else { task.service + task.set_up };
        let more = added.saturating_add(stay);
        drive + ground.bias(j, k) + self.price_of_work(k, more)
    }

    /// What it costs that the work of shift `k` grows by so many seconds.
    pub(super) fn price_of_work(&self, k: usize, more: i32) -> i64 {
        let (ground, busy) = (self.ground, self.routes[k].busy);
        let work = ground.overtime(k, busy.saturating_add(more)) - ground.overtime(k, busy);
        let week = self.week_work[ground.hours[k].week];
        work + ground.week_price(k, week + i64::from(more)) - ground.week_price(k, week)
    }
}

//! Times along one route, kept so that an insertion is judged in a fixed number of steps.
//!
//! Two states run along a route: lunch still to come (`before`) and lunch had (`after`).
//! For each position the earliest departure and the latest arrival at the next stop are kept in both.

use std::cmp::Ordering;
use std::ops::Range;

use crate::route::problem::{GROUPS, Groups};

use super::ground::{Ground, NEVER, Opening, Task, small};

/// A position: 0 is the depot, `i` is after stop `i - 1`. All times in seconds after midnight.
#[derive(Clone, Copy, Default)]
pub(super) struct Node {
    pub(super) place: u32,
    /// seconds to the next stop (or home)
    pub(super) leg: i32,
    leave_before: i32,
    leave_after: i32,
    /// latest arrival at the next stop when it pays its own set-up
    due_before: i32,
    due_after: i32,
    /// the same when it shares the set-up of a stop at its place
    shared_before: i32,
    shared_after: i32,
}

impl Node {
    /// Whether it is left later than `t` at the earliest.
    #[inline]
    pub(super) fn leaves_after(&self, t: i32) -> bool {
        self.leave_before.min(self.leave_after) > t
    }

    /// Whether what comes next is due before `t`, even if it pays no set-up.
    #[inline]
    fn is_due_before(&self, t: i32) -> bool {
        self.shared_before.max(self.shared_after) < t
    }

    /// What is due after this position, where and when `earlier` is left.
    #[inline]
    pub(super) fn with_leaves_of(self, earlier: &Self) -> Self {
        Self { place: earlier.place, leave_before: earlier.leave_before, leave_after: earlier.leave_after, ..self }
    }
}

/// One shift's ordered visits and what follows from the order.
#[derive(Clone, Default)]
pub(super) struct Route {
    pub(super) seq: Vec<u32>,
    pub(super) nodes: Vec<Node>,
    pub(super) load: i64,
    /// the same for each group of products, when they are told apart
    pub(super) loads: Groups,
    /// driving seconds, 0 when empty
    pub(super) drive: i32,
    /// driving and time on site, in seconds
    pub(super) busy: i32,
    /// what starts cost against told times
    pub(super) told: i64,
    /// the least price of a stop
    pub(super) least_price: i64,
}

impl Ground<'_> {
    /// Arrival with lunch had on a leg that is left at `t` with lunch still to come.
    #[inline]
    fn lunch_on_leg(&self, k: usize, t: i32, leg: i32) -> i32 {
        let h = &self.hours[k];
        if t <= h.lunch_to { (t + leg).max(h.lunch_from) + h.lunch_s } else { NEVER }
    }

    /// Works out all times of the route of shift `k` anew.
    pub(super) fn retime(&self, k: usize, route: &mut Route) {
        let h = &self.hours[k];
        let (leave_before, leave_after) = if h.lunch { (h.starts, NEVER) } else { (NEVER, h.starts) };
        route.nodes.clear();
        route.nodes.resize(route.seq.len() + 1, Node { place: h.depot, leave_before, leave_after, ..Node::default() });
        self.forward(k, route, 0);
        self.sums(route);
        let n = route.seq.len();
        let (before, after) = (h.ends.min(h.lunch_to), h.ends);
        let last = &mut route.nodes[n];
        (last.due_before, last.due_after) = (before, after);
        (last.shared_before, last.shared_after) = (before, after);
        self.backward(k, route, n);
        if !self.plain {
            route.told = self.told_costs(k, route);
        }
    }

    /// What the starts of a finished route cost against told times: follows the earliest way home backwards.
    fn told_costs(&self, k: usize, route: &Route) -> i64 {
        let h = &self.hours[k];
        let n = route.seq.len();
        let mut costs = 0;
        let mut next = None;
        for i in (0..n).rev() {
            let (node, leg) = (&route.nodes[i + 1], route.nodes[i + 1].leg);
            let after = match next {
                // home: with lunch had, or had later
                None => {
                    let had = node.leave_after.saturating_add(leg);
                    let later = node.leave_before.saturating_add(leg);
                    let later = if later <= h.lunch_to && later <= h.ends { later } else { NEVER };
                    had <= later && had <= self.lunch_on_leg(k, node.leave_before, leg)
                }
                Some(false) => false,
                Some(true) => self.lunch_was_had(k, route, i + 1),
            };
            let j = route.seq[i];
            let task = &self.tasks[j as usize];
            let shares = i > 0 && route.nodes[i].place == task.place;
            let stay = if shares { task.service } else { task.service + task.set_up };
            let leave = if after { node.leave_after } else { node.leave_before };
            costs += self.start_costs(j, k, leave - stay);
            next = Some(after);
        }
        costs
    }

    /// Whether lunch is had before the leg to stop `i`, when it is had after that stop.
    fn lunch_was_had(&self, k: usize, route: &Route, i: usize) -> bool {
        let (node, j) = (&route.nodes[i], route.seq[i]);
        let open = self.opening(j, k);
        let had = self.earliest(open, node.leave_after.saturating_add(node.leg));
        had <= self.earliest(open, self.lunch_on_leg(k, node.leave_before, node.leg))
    }

    /// Least seconds from driving off to being back at the earliest for `n` stops in shift `k`, the `i`-th being `stop(i)`;
    /// `NEVER` when it cannot be done. A later return might allow a shorter route; that is not looked for.
    pub(super) fn span(&self, k: usize, n: usize, stop: impl Fn(usize) -> u32) -> i32 {
        let h = &self.hours[k];
        let (mut place, none) = (h.depot, NEVER);
        let (mut before, mut after) = if h.lunch { (h.starts, none) } else { (none, h.starts) };
        for i in 0..n {
            let (j, leg, stay) = self.step_to(place, stop(i), i);
            let open = self.opening(j, k);
            let had = (after + leg).min(self.lunch_on_leg(k, before, leg));
            before = (self.earliest(open, before + leg) + stay).min(NEVER);
            after = (self.earliest(open, had) + stay).min(NEVER);
            place = self.tasks[j as usize].place;
        }
        let home = self.leg(place, h.depot);
        let back_after = (after + home).min(self.lunch_on_leg(k, before, home));
        let back_before = before + home;
        let mut least = NEVER;
        if back_after <= h.ends {
            least = back_after - self.latest_off(k, n, &stop, home, (-NEVER, back_after));
        }
        if back_before <= h.ends.min(h.lunch_to) {
            least = least.min(back_before - self.latest_off(k, n, &stop, home, (back_before, -NEVER)));
        }
        least
    }

    fn step_to(&self, place: u32, j: u32, i: usize) -> (u32, i32, i32) {
        let task = &self.tasks[j as usize];
        let stay = if i > 0 && place == task.place { task.service } else { task.service + task.set_up };
        (j, self.leg(place, task.place), stay)
    }

    /// The latest time to drive off that is back by `due` (lunch still to come, lunch had).
    fn latest_off(&self, k: usize, n: usize, stop: &impl Fn(usize) -> u32, home: i32, due: (i32, i32)) -> i32 {
        let h = &self.hours[k];
        let (mut before, mut after) = due;
        let mut leg = home;
        for i in (0..n).rev() {
            let place = if i > 0 { self.tasks[stop(i - 1) as usize].place } else { h.depot };
            let (j, to_here, stay) = self.step_to(place, stop(i), i);
            let mut leave = before - leg;
            if h.lunch_from + h.lunch_s <= after {
                leave = leave.max(h.lunch_to.min(after - h.lunch_s - leg));
            }
            let open = self.opening(j, k);
            (before, after) = (self.latest(open, leave - stay), self.latest(open, after - leg - stay));
            leg = to_here;
        }
        if !h.lunch {
            return after - leg;
        }
        let mut off = before - leg;
        if h.lunch_from + h.lunch_s <= after {
            off = off.max(h.lunch_to.min(after - h.lunch_s - leg));
        }
        // lunch at the depot before driving off is not on the way
        if after - leg >= h.starts.max(h.lunch_from) + h.lunch_s { off.max(after - leg) } else { off }
    }

    /// Puts visit `j` at position `at`; only the times that this changes are worked out anew.
    pub(super) fn insert(&self, k: usize, route: &mut Route, j: u32, at: usize) {
        let task = &self.tasks[j as usize];
        let (drive, on_site) = (route.drive, route.busy - route.drive);
        let place_before = if at > 0 { Some(route.nodes[at].place) } else { None };
        let stays = |before: Option<u32>, t: &Task| if before == Some(t.place) { t.service } else { t.service + t.set_up };
        let mut stay = stays(place_before, task);
        if let Some(&next) = route.seq.get(at) {
            let next = &self.tasks[next as usize];
            stay += stays(Some(task.place), next) - stays(place_before, next);
        }
        let leg = if route.seq.is_empty() { 0 } else { route.nodes[at].leg };
        route.seq.insert(at, j);
        // what is due at the stops after it stays as it was
        let node = Node { place: task.place, ..route.nodes[at] };
        route.nodes.insert(at + 1, node);
        self.forward(k, route, at);
        route.drive = drive.saturating_add(route.nodes[at].leg.saturating_add(route.nodes[at + 1].leg).saturating_sub(leg));
        route.busy = route.drive.saturating_add(on_site.saturating_add(stay));
        route.load += task.load;
        route.least_price = route.least_price.min(task.price);
        if self.grouped {
            route.loads = self.loads(&route.seq);
        }
        self.backward(k, route, at + 1);
        if !self.plain {
            route.told = self.told_costs(k, route);
        }
    }

    /// Works out the departures after position `from` anew; the node there holds, but for its leg.
    fn forward(&self, k: usize, route: &mut Route, from: usize) {
        let h = &self.hours[k];
        let mut here = route.nodes[from];
        for (i, &j) in route.seq.iter().enumerate().skip(from) {
            let task = &self.tasks[j as usize];
            let leg = self.leg(here.place, task.place);
            route.nodes[i].leg = leg;
            let shares = i > 0 && here.place == task.place;
            let stay = if shares { task.service } else { task.service + task.set_up };
            let open = self.opening(j, k);
            let had = (here.leave_after + leg).min(self.lunch_on_leg(k, here.leave_before, leg));
            let next = &mut route.nodes[i + 1];
            next.place = task.place;
            next.leave_before = (self.earliest(open, here.leave_before + leg) + stay).min(NEVER);
            next.leave_after = (self.earliest(open, had) + stay).min(NEVER);
            here = *next;
        }
        route.nodes[route.seq.len()].leg = self.leg(here.place, h.depot);
    }

    /// Load, driving and time on site of the whole route.
    fn sums(&self, route: &mut Route) {
        let (mut load, mut drive, mut on_site) = (0, 0_i32, 0_i32);
        let mut before = None;
        for (&j, node) in route.seq.iter().zip(&route.nodes) {
            let task = &self.tasks[j as usize];
            let stay = if before == Some(task.place) { task.service } else { task.service + task.set_up };
            before = Some(task.place);
            load += task.load;
            drive = drive.saturating_add(node.leg);
            on_site = on_site.saturating_add(stay);
        }
        route.load = load;
        route.find_least_price(|j| self.tasks[j as usize].price);
        if self.grouped {
            route.loads = self.loads(&route.seq);
        }
        route.drive = if route.seq.is_empty() { 0 } else { drive.saturating_add(route.nodes[route.seq.len()].leg) };
        route.busy = route.drive.saturating_add(on_site);
    }

    fn loads(&self, stops: &[u32]) -> Groups {
        let mut loads = Groups::default();
        for &j in stops {
            for (sum, takes) in loads.iter_mut().zip(self.tasks[j as usize].takes) {
                *sum += takes;
            }
        }
        loads
    }

    /// Whether the van of shift `k` has enough on board for one more.
    #[inline]
    fn carries(&self, k: usize, route: &Route, task: &Task) -> bool {
        let h = &self.hours[k];
        let group = |g: usize| route.loads[g] + task.takes[g] <= h.carries[g];
        route.load + task.load <= h.capacity && (!self.grouped || (0..GROUPS).all(group))
    }

    /// Works out the latest arrivals up to the stop at position `from` anew; what is due after it holds.
    fn backward(&self, k: usize, route: &mut Route, from: usize) {
        let h = &self.hours[k];
        let one_place = |route: &Route, i: usize| i > 0 && i < route.seq.len() && route.nodes[i].place == route.nodes[i + 1].place;
        let node = &route.nodes[from];
        let due = if one_place(route, from) { (node.shared_before, node.shared_after) } else { (node.due_before, node.due_after) };
        let (mut before, mut after) = due;
        for i in (0..from).rev() {
            let j = route.seq[i];
            let leg = route.nodes[i + 1].leg;
            let mut leave_before = before - leg;
            if h.lunch_from + h.lunch_s <= after {
                leave_before = leave_before.max(h.lunch_to.min(after - h.lunch_s - leg));
            }
            let open = self.opening(j, k);
            let joins = one_place(route, i);
            let node = &mut route.nodes[i];
            (node.due_before, node.shared_before) = self.latest_arrival(open, j, leave_before);
            (node.due_after, node.shared_after) = self.latest_arrival(open, j, after - leg);
            (before, after) = if joins { (node.shared_before, node.shared_after) } else { (node.due_before, node.due_after) };
        }
    }

    /// Whether the route keeps windows, lunch, hours and van load.
    pub(super) fn holds(&self, k: usize, route: &Route) -> bool {
        let n = &route.nodes[0];
        let in_time = || {
            n.leave_after + n.leg <= n.due_after
                || n.leave_before + n.leg <= n.due_before
                || self.lunch_on_leg(k, n.leave_before, n.leg) <= n.due_after
        };
        let short = || self.hours[k].most.is_none_or(|most| self.span(k, route.seq.len(), |i| route.seq[i]) <= most);
        let carried = || (0..GROUPS).all(|g| route.loads[g] <= self.hours[k].carries[g]);
        route.seq.is_empty() || route.load <= self.hours[k].capacity && carried() && in_time() && short()
    }

    /// Whether the route with visit `j` instead of some stops, maybe none, takes longer than the shift's longest time.
    #[inline]
    pub(super) fn too_long(&self, k: usize, route: &Route, j: u32, instead: Range<usize>) -> bool {
        self.hours[k].most.is_some_and(|most| self.longer_than(most, k, route, j, instead))
    }

    fn longer_than(&self, most: i32, k: usize, route: &Route, j: u32, instead: Range<usize>) -> bool {
        let fewer = instead.len();
        let stop = |i: usize| match i.cmp(&instead.start) {
            Ordering::Less => route.seq[i],
            Ordering::Equal => j,
            Ordering::Greater => route.seq[i + fewer - 1],
        };
        self.span(k, route.seq.len() + 1 - fewer, stop) > most
    }

    /// Whether the van of shift `k` has enough on board for visit `j` instead of some stops.
    #[inline]
    pub(super) fn carries_instead(&self, k: usize, route: &Route, j: u32, instead: Range<usize>) -> bool {
        let (h, task) = (&self.hours[k], &self.tasks[j as usize]);
        let gone = || route.seq[instead.clone()].iter().map(|&j| &self.tasks[j as usize]);
        let group = |g: usize| route.loads[g] + task.takes[g] - gone().map(|t| t.takes[g]).sum::<i64>() <= h.carries[g];
        route.load + task.load - gone().map(|t| t.load).sum::<i64>() <= h.capacity && (!self.grouped || (0..GROUPS).all(group))
    }

    /// Whether the stops after a position are still reached in time when `task` comes between. The position is given by
    /// its node, the next place, and whether it follows a stop; `ways` lead to the task and on from it.
    #[inline]
    pub(super) fn in_time(
        &self,
        task: &Task,
        k: usize,
        open: Opening,
        (x, next, follows): (&Node, u32, bool),
        (there, on): (i32, i32),
    ) -> bool {
        let stay = if follows && x.place == task.place { task.service } else { task.service + task.set_up };
        let (due_before, due_after) = if next == task.place { (x.shared_before, x.shared_after) } else { (x.due_before, x.due_after) };
        let had = (x.leave_after + there).min(self.lunch_on_leg(k, x.leave_before, there));
        let off_before = self.earliest(open, x.leave_before + there) + stay;
        let off_after = self.earliest(open, had) + stay;
        off_after + on <= due_after || off_before + on <= due_before || self.lunch_on_leg(k, off_before, on) <= due_after
    }

    /// The first position for a visit: what comes after those before it is due before the visit can be done, since what is due
    /// gets later along a route.
    #[inline]
    pub(super) fn first_position(&self, task: &Task, k: usize, open: Opening, route: &Route) -> usize {
        if open.from <= self.hours[k].starts {
            return 0;
        }
        let done = open.from + task.service;
        route.nodes.partition_point(|x| x.is_due_before(done))
    }

    /// The cheapest place in the route of shift `k` for visit `j`: driving seconds added and position,
    /// or `NEVER` when it does not fit. The early way out takes it that a detour does not shorten a drive.
    /// `skip` may tell to pass over a position.
    pub(super) fn cheapest(&self, j: u32, k: usize, route: &Route, below: i32, mut skip: impl FnMut() -> bool) -> (i32, u32) {
        let h = &self.hours[k];
        let task = &self.tasks[j as usize];
        // of what the shift has left, its time on site takes at least so much
        let below = below.min((h.work - route.busy - task.least).saturating_add(1));
        if below <= 0 || !self.carries(k, route, task) {
            return (NEVER, 0);
        }
        let open = self.opening(j, k);
        let row = self.layout.row(task.place);
        let n = route.seq.len();
        let mut best = (below, 0);
        let first = self.first_position(task, k, open, route);
        for (i, x) in route.nodes.iter().enumerate().skip(first) {
            if x.leaves_after(open.to) {
                break;
            }
            let next = if i < n { route.nodes[i + 1].place } else { h.depot };
            let (there, on) = (row.from(x.place), row.to(next));
            let added = there + on - x.leg;
            if added >= best.0 || skip() || !self.in_time(task, k, open, (x, next, i > 0), (there, on)) {
                continue;
            }
            if !self.too_long(k, route, j, i..i) {
                best = (added, small(i));
            }
        }
        if best.0 == below { (NEVER, 0) } else { best }
    }
}

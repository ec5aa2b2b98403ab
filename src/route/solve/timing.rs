//! Times along one route, kept so that an insertion is judged in a fixed number of steps.
//!
//! Two states run along a route: lunch still to come (`before`) and lunch had (`after`).
//! For each position the earliest departure and the latest arrival at the next stop are kept in both.

use super::ground::{Ground, NEVER, small};

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

/// One shift's ordered visits and what follows from the order.
#[derive(Clone, Default)]
pub(super) struct Route {
    pub(super) seq: Vec<u32>,
    pub(super) nodes: Vec<Node>,
    pub(super) load: i64,
    /// driving seconds, 0 when empty
    pub(super) drive: i32,
    /// driving and time on site, in seconds
    pub(super) busy: i32,
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
        self.forward(k, route);
        self.backward(k, route);
    }

    fn forward(&self, k: usize, route: &mut Route) {
        let h = &self.hours[k];
        let (starts, none) = (h.starts, NEVER);
        let (leave_before, leave_after) = if h.lunch { (starts, none) } else { (none, starts) };
        let mut here = Node { place: h.depot, leave_before, leave_after, ..Node::default() };
        let (mut load, mut drive, mut on_site) = (0, 0_i32, 0_i32);
        route.nodes.clear();
        for (i, &j) in route.seq.iter().enumerate() {
            let task = &self.tasks[j as usize];
            let leg = self.leg(here.place, task.place);
            here.leg = leg;
            let shares = i > 0 && here.place == task.place;
            let stay = if shares { task.service } else { task.service + task.set_up };
            let open = self.opening(j, k);
            let had = (here.leave_after + leg).min(self.lunch_on_leg(k, here.leave_before, leg));
            let next = Node {
                place: task.place,
                leave_before: (self.earliest(open, here.leave_before + leg) + stay).min(NEVER),
                leave_after: (self.earliest(open, had) + stay).min(NEVER),
                ..Node::default()
            };
            route.nodes.push(here);
            here = next;
            load += task.load;
            drive = drive.saturating_add(leg);
            on_site = on_site.saturating_add(stay);
        }
        here.leg = self.leg(here.place, h.depot);
        route.nodes.push(here);
        route.load = load;
        route.drive = if route.seq.is_empty() { 0 } else { drive.saturating_add(here.leg) };
        route.busy = route.drive.saturating_add(on_site);
    }

    fn backward(&self, k: usize, route: &mut Route) {
        let h = &self.hours[k];
        let n = route.seq.len();
        let (mut before, mut after) = (h.ends.min(h.lunch_to), h.ends);
        let last = &mut route.nodes[n];
        (last.due_before, last.due_after) = (before, after);
        (last.shared_before, last.shared_after) = (before, after);
        for i in (0..n).rev() {
            let j = route.seq[i];
            let leg = route.nodes[i + 1].leg;
            let mut leave_before = before - leg;
            if h.lunch_from + h.lunch_s <= after {
                leave_before = leave_before.max(h.lunch_to.min(after - h.lunch_s - leg));
            }
            let open = self.opening(j, k);
            let shares = i > 0 && route.nodes[i].place == self.tasks[j as usize].place;
            let node = &mut route.nodes[i];
            (node.due_before, node.shared_before) = self.latest_arrival(open, j, leave_before);
            (node.due_after, node.shared_after) = self.latest_arrival(open, j, after - leg);
            (before, after) = if shares { (node.shared_before, node.shared_after) } else { (node.due_before, node.due_after) };
        }
    }

    /// Whether the route keeps windows, lunch, hours and van load.
    pub(super) fn holds(&self, k: usize, route: &Route) -> bool {
        let n = &route.nodes[0];
        route.seq.is_empty()
            || route.load <= self.hours[k].capacity
                && (n.leave_after + n.leg <= n.due_after
                    || n.leave_before + n.leg <= n.due_before
                    || self.lunch_on_leg(k, n.leave_before, n.leg) <= n.due_after)
    }

    /// The cheapest place in the route of shift `k` for visit `j`: driving seconds added and position,
    /// or `NEVER` when it does not fit. The early way out takes it that a detour does not shorten a drive.
    /// `skip` may tell to pass over a position.
    pub(super) fn cheapest(&self, j: u32, k: usize, route: &Route, mut skip: impl FnMut() -> bool) -> (i32, u32) {
        let h = &self.hours[k];
        let task = &self.tasks[j as usize];
        let busy = h.starts + route.busy + task.least;
        let late = busy > h.ends || (busy + h.lunch_s > h.ends && busy > h.lunch_to);
        if late || route.load + task.load > h.capacity {
            return (NEVER, 0);
        }
        let open = self.opening(j, k);
        let row = task.place as usize * self.places;
        let (to, from) = (&self.back[row..][..self.places], &self.drive[row..][..self.places]);
        let paid = task.service + task.set_up;
        let n = route.seq.len();
        let mut best = (NEVER, 0);
        for (i, x) in route.nodes.iter().enumerate() {
            if x.leave_before.min(x.leave_after) > open.to {
                break;
            }
            let next = if i < n { route.nodes[i + 1].place } else { h.depot };
            let (there, on) = (to[x.place as usize], from[next as usize]);
            let added = there + on - x.leg;
            if added >= best.0 || skip() {
                continue;
            }
            let stay = if i > 0 && x.place == task.place { task.service } else { paid };
            let (due_before, due_after) = if next == task.place { (x.shared_before, x.shared_after) } else { (x.due_before, x.due_after) };
            let had = (x.leave_after + there).min(self.lunch_on_leg(k, x.leave_before, there));
            let off_before = self.earliest(open, x.leave_before + there) + stay;
            let off_after = self.earliest(open, had) + stay;
            if off_after + on <= due_after || off_before + on <= due_before || self.lunch_on_leg(k, off_before, on) <= due_after {
                best = (added, small(i));
            }
        }
        best
    }
}

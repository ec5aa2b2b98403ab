//! Making room: a visit that fits nowhere takes the place of stops that are worth less, which then look for another place.

use super::SEASON_SHIFTS;
use super::ground::small;
use super::sets::numbers_in;
use super::state::State;
use super::timing::Route;

/// At most so many stops, one after another, make room for one visit.
const MOST_STOPS: usize = 3;
/// In one step so many visits may make room for themselves.
const MOST_VISITS: usize = 8;
/// Share of the steps that trust in the displaced finding another place: they count for less than their price ...
const TRUSTING: f64 = 0.25;
/// ... for this share of it at least.
const TRUST: f64 = 0.5;
/// The whole price, in the parts it is counted in.
const WHOLE: i64 = 256;

/// Stops `from..to` of the route of shift `k`, which make room for a visit.
#[derive(Clone, Copy, Default)]
pub(super) struct Displaced {
    pub(super) shift: u32,
    pub(super) from: u32,
    pub(super) to: u32,
}

impl Displaced {
    pub(super) fn stops(self) -> std::ops::Range<usize> {
        self.from as usize..self.to as usize
    }
}

/// What it costs at least to make room for one visit in one route, true for that version of the route.
#[derive(Clone, Copy, Default)]
pub(super) struct Making {
    version: u64,
    cost: i64,
    from: u32,
    to: u32,
}

/// The cheapest room found so far, and what it costs.
struct Room {
    least: i64,
    at: Option<Displaced>,
}

impl State<'_> {
    /// From now on visits make room for themselves, if this is a week that has many more visits than fit.
    pub(super) fn make_room(&mut self) {
        if self.crowded() && self.routes.len() < SEASON_SHIFTS {
            self.making = vec![Making::default(); self.at.len() * self.routes.len()];
        }
    }

    /// How many visits may make room for themselves in this step.
    pub(super) fn may_displace(&mut self) -> usize {
        if self.thorough || self.making.is_empty() {
            return 0;
        }
        let trusts = self.random.share() < TRUSTING;
        let share = if trusts { TRUST + (1.0 - TRUST) * self.random.share() } else { 1.0 };
        #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "a share of 256")]
        let counted = (share * WHOLE as f64) as i64;
        self.counted = counted;
        MOST_VISITS
    }

    /// The stops whose loss costs less than leaving visit `j` out, if there are any. A visit that has been `waiting` looks in
    /// the touched shifts only.
    pub(super) fn displaces(&mut self, j: u32, waiting: bool) -> Option<Displaced> {
        let ground = self.ground;
        let task = &ground.tasks[j as usize];
        let mut best = Room { least: task.price, at: None };
        if waiting {
            for x in 0..self.touched_shifts() {
                let k = self.touched_shift(x);
                if ground.allows(j, k) {
                    self.makes_room(j, k, &mut best);
                }
            }
        } else {
            for (x, &may) in ground.may.words(j as usize).iter().enumerate() {
                for k in numbers_in(x, may) {
                    self.makes_room(j, k, &mut best);
                }
            }
        }
        best.at
    }

    /// Part of a price that counts in this step.
    fn counts(&self, price: i64) -> i64 {
        price.saturating_mul(self.counted) / WHOLE
    }

    /// Takes the cheapest room in the route of shift `k` if it costs less than the best so far.
    fn makes_room(&mut self, j: u32, k: usize, best: &mut Room) {
        if self.counts(self.routes[k].least_price) >= best.least {
            return;
        }
        if self.counted != WHOLE {
            return self.look_for_room(j, k, best);
        }
        let cell = j as usize * self.routes.len() + k;
        let version = self.version(k);
        if self.making[cell].version != version {
            let mut here = Room { least: self.ground.tasks[j as usize].price, at: None };
            self.look_for_room(j, k, &mut here);
            let at = here.at.unwrap_or_default();
            self.making[cell] = Making { version, cost: here.least, from: at.from, to: at.to };
        }
        let Making { cost, from, to, .. } = self.making[cell];
        if cost < best.least {
            *best = Room { least: cost, at: Some(Displaced { shift: small(k), from, to }) };
        }
    }

    /// Tries every one, two and three neighbouring stops of the route of shift `k`.
    fn look_for_room(&self, j: u32, k: usize, best: &mut Room) {
        let ground = self.ground;
        let (task, route, hours) = (&ground.tasks[j as usize], &self.routes[k], &ground.hours[k]);
        let open = ground.opening(j, k);
        let row = ground.layout.row(task.place);
        let n = route.seq.len();
        let first = ground.first_position(task, k, open, route);
        for (from, before) in route.nodes[..n].iter().enumerate().skip(first.saturating_sub(MOST_STOPS)) {
            if before.leaves_after(open.to) {
                break;
            }
            let (mut loss, mut spared, mut legs) = (0, 0, before.leg);
            for to in from + 1..=n.min(from + MOST_STOPS) {
                let gone = route.seq[to - 1];
                loss += self.counts(self.worth_at(gone, k));
                if loss >= best.least {
                    break;
                }
                let last = &route.nodes[to];
                spared += ground.tasks[gone as usize].longest();
                legs += last.leg;
                let next = if to < n { route.nodes[to + 1].place } else { hours.depot };
                let (there, on) = (row.from(before.place), row.to(next));
                let added = there + on - legs;
                let more = added.saturating_add(task.least).saturating_sub(spared);
                let sum = loss + i64::from(added) + self.price_of(j, k, more);
                let fits = || more <= self.room[k] && ground.carries_instead(k, route, j, from..to);
                if to < first || sum >= best.least || !fits() {
                    continue;
                }
                let between = last.with_leaves_of(before);
                let in_time = ground.in_time(task, k, open, (&between, next, from > 0), (there, on));
                if in_time && !ground.too_long(k, route, j, from..to) {
                    *best = Room { least: sum, at: Some(Displaced { shift: small(k), from: small(from), to: small(to) }) };
                }
            }
        }
    }

    /// What it costs, beside driving, that visit `j` comes into shift `k` and the shift's work grows by so much.
    fn price_of(&self, j: u32, k: usize, more: i32) -> i64 {
        if self.ground.plain {
            return 0;
        }
        self.ground.bias(j, k) + self.price_of_work(k, more)
    }
}

impl Route {
    /// The least price of a stop; more than any price when there is none.
    pub(super) fn find_least_price(&mut self, price: impl Fn(u32) -> i64) {
        self.least_price = self.seq.iter().map(|&j| price(j)).min().unwrap_or(i64::MAX / (2 * WHOLE));
    }
}

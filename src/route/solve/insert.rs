//! Putting visits back: which are tried, in what order, and where each costs least.

use super::SEASON_SHIFTS;
use super::ground::{NEVER, small};
use super::sets::numbers_in;
use super::state::{OUT, State};

/// Of 1024 looks at an insertion, how many are skipped.
const BLINKS: u64 = 10;
/// One step in so many passes over some positions.
const LOOSE_EVERY: usize = 16;
/// Of the visits that were out before the step, at least so many near its focus are tried ...
const REACH_FROM: usize = 8;
/// ... and up to so many more.
const REACH_MORE: usize = 40;
/// Share of the steps that try visits by their worth for the time they take, when some were out.
const BY_WORTH: f64 = 0.85;
/// How far chance stretches that worth: up to three times.
const STRETCH: i64 = 2;

/// Bits that hold any visit: there are at most 20,000. What is sorted by fits in the 46 above and a sign.
const VISIT_BITS: u32 = 15;

impl State<'_> {
    /// Puts visits that are out where they cost least, in an order drawn by lot, as long as they pay; some that find no place
    /// make room, and what they displace is tried last.
    /// Visits that were out before the step are tried only where something changed, but for one step in 16.
    pub(super) fn put_in(&mut self, cluster: bool) {
        let mut order = std::mem::take(&mut self.order);
        self.pick(cluster);
        self.sort_picked(&mut order);
        let loose = self.random.one_in(LOOSE_EVERY);
        let everywhere = self.random.one_in(16);
        if self.goes_by_regret() {
            let terms = |&packed: &i64| self.terms(visit_of(packed), cluster, everywhere);
            let all = order.iter().map(terms).collect();
            self.put_in_by_regret(all, loose);
            self.order = order;
            return;
        }
        let mut may_displace = self.may_displace();
        let mut x = 0;
        while let Some(&packed) = order.get(x) {
            x += 1;
            let j = visit_of(packed);
            let terms = self.terms(j, cluster, everywhere);
            if let Some(spot) = self.choose(terms, loose) {
                self.put_at(j, spot);
                continue;
            }
            if may_displace == 0 {
                continue;
            }
            if let Some(room) = self.displaces(j, terms.waiting) {
                may_displace -= 1;
                order.extend(self.routes[room.shift as usize].seq[room.stops()].iter().map(|&j| i64::from(j)));
                self.displace(j, room);
            }
        }
        self.order = order;
    }

    /// How a visit is put in in this step.
    fn terms(&self, visit: u32, cluster: bool, everywhere: bool) -> Terms {
        let forced = cluster && self.forced[visit as usize] == self.step;
        let waiting = self.was_out(visit) && !everywhere && !forced && !self.thorough;
        Terms { visit, forced, waiting }
    }

    /// Where a visit costs least, if it pays anywhere.
    fn choose(&mut self, terms: Terms, loose: bool) -> Option<Spot> {
        let mut best = None;
        let mut below = self.ceiling(terms);
        self.each_shift(terms, |state, k| {
            if let Some(spot) = state.look(terms, k, loose, below) {
                (below, best) = (spot.costs, Some(spot));
            }
        });
        best
    }

    /// An insertion costs less than this.
    pub(super) fn ceiling(&self, terms: Terms) -> i64 {
        if terms.forced { i64::from(NEVER) } else { self.ground.tasks[terms.visit as usize].price }
    }

    /// Calls `look` for the shifts that may have room for the visit.
    #[inline]
    pub(super) fn each_shift(&mut self, terms: Terms, mut look: impl FnMut(&mut Self, usize)) {
        let (ground, j) = (self.ground, terms.visit);
        if terms.waiting {
            for x in 0..self.touched_shifts() {
                let k = self.touched_shift(x);
                if self.may_fit(j, k) {
                    look(self, k);
                }
            }
            return;
        }
        let least = ground.tasks[j as usize].least;
        for (x, may) in ground.may.words(j as usize).iter().enumerate() {
            for k in numbers_in(x, may & self.roomy.words(0)[x]) {
                if self.room[k] >= least {
                    look(self, k);
                }
            }
        }
    }

    /// Whether shift `k` may serve visit `j` and has enough time left, were there no windows.
    pub(super) fn may_fit(&self, j: u32, k: usize) -> bool {
        self.room[k] >= self.ground.tasks[j as usize].least && self.ground.allows(j, k)
    }

    /// The cheapest insertion into the route of shift `k`, if it costs less than `below`; passes over some by chance.
    #[inline]
    pub(super) fn look(&mut self, terms: Terms, k: usize, loose: bool, below: i64) -> Option<Spot> {
        let j = terms.visit;
        // in a season only where something changed: the other shifts are many, and what is known of them is worth keeping
        let loose = loose && (self.touched(k) || self.routes.len() < SEASON_SHIFTS);
        let (added, position) = if loose { self.loose_insertion(j, k) } else { self.insertion(j, k, terms.forced) };
        if i64::from(added) >= below || added == NEVER {
            return None;
        }
        let costs = self.costs(j, k, added, position);
        (costs < below && self.random.next() & 1023 >= BLINKS).then(|| Spot { costs, shift: small(k), position })
    }

    /// Which of the visits that are out this step tries: those it took out itself, those it forces, and of the others
    /// the nearest to its focus; all of them now and then.
    fn pick(&mut self, cluster: bool) {
        let mut picked = std::mem::take(&mut self.picked);
        picked.clear();
        let reach = REACH_FROM + self.random.below(REACH_MORE);
        if self.focus == OUT || reach >= self.out.len() || self.random.one_in(16) {
            picked.extend_from_slice(&self.out);
        } else {
            picked.extend_from_slice(&self.taken);
            let fresh = |j: u32| !self.was_out(j) || (cluster && self.forced[j as usize] == self.step);
            if cluster {
                let forced = |&j: &u32| self.was_out(j) && fresh(j);
                picked.extend(self.out.iter().copied().filter(forced));
            }
            let near = self.ground.near(self.focus).iter().copied();
            picked.extend(near.filter(|&j| self.at[j as usize] == OUT && !fresh(j)).take(reach));
        }
        self.picked = picked;
    }

    /// The picked visits in the order in which to try them; mostly locked ones first.
    /// Each number holds the visit in its lowest [`VISIT_BITS`] and what it is sorted by above.
    fn sort_picked(&mut self, order: &mut Vec<i64>) {
        let by_worth = self.many_were_out() && self.random.share() < BY_WORTH;
        let mode = if by_worth { 5 } else { self.random.below(12) };
        let locked_first = !self.random.one_in(4);
        order.clear();
        for &j in &self.picked {
            let task = &self.ground.tasks[j as usize];
            let chance = (self.random.next() >> 18).cast_signed();
            let key = match mode {
                0..=3 => chance,
                4..=6 => -task.density * (1024 + STRETCH * (chance & 1023)),
                7 => -i64::from(task.service),
                8 => -i64::from(task.far),
                9 => i64::from(task.far),
                _ => task.open,
            };
            let first = if task.locked && locked_first { 1 << 62 } else { 0 };
            order.push((key << VISIT_BITS) + i64::from(j) - first);
        }
        order.sort_unstable();
    }
}

/// The visit in the lowest bits.
#[expect(clippy::cast_sign_loss, reason = "only the lowest bits are kept")]
fn visit_of(packed: i64) -> u32 {
    (packed & ((1 << VISIT_BITS) - 1)) as u32
}

/// How a visit is put in.
#[derive(Clone, Copy)]
pub(super) struct Terms {
    pub(super) visit: u32,
    /// at any price
    pub(super) forced: bool,
    /// it was out before the step: it is tried in the touched shifts only, since elsewhere nothing has changed
    pub(super) waiting: bool,
}

/// A place for a visit, and what it costs there.
#[derive(Clone, Copy)]
pub(super) struct Spot {
    pub(super) costs: i64,
    pub(super) shift: u32,
    pub(super) position: u32,
}
